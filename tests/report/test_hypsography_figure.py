"""The hypsographic curves are the rows of their table, depth downward, on axes that agree."""

from typing import Any

import numpy as np
import pandas as pd
import pytest

from toolbox.errors import LayerError
from toolbox.formats.picture_file import figure_of
from toolbox.layers import Table
from toolbox.report.hypsography_figure import draw_hypsography

# a cone 8 m deep with 30 000 m2 at the datum (derived): area falls with the square of what is left
# of the depth, volume with its cube
DEPTH = np.array([0.0, 2.0, 4.0, 6.0, 8.0])
LEFT = 1 - DEPTH / 8
AREA, VOLUME = 30_000 * LEFT**2, 80_000 * LEFT**3


def cone(*, banded: bool = True, shares: bool = True, **columns: Any) -> Table:
    frame = pd.DataFrame({"depth_m": DEPTH, "area_m2": AREA, "volume_below_m3": VOLUME} | columns)
    if banded:
        for name in ("area_{}_m2", "volume_below_{}_m3"):
            whole = frame[name.replace("_{}", "")]
            frame[name.format("low")], frame[name.format("high")] = 0.9 * whole, 1.2 * whole
    if shares:
        frame = frame.assign(area_share=AREA / 30_000, volume_share=VOLUME / 80_000)
    return Table(frame)


def panels(table: Table, **options: Any) -> tuple[Any, Any]:
    area, volume = figure_of(draw_hypsography(table, dpi=60, **options)).axes
    return area, volume


def curve(axes: Any) -> Any:
    (line,) = [line for line in axes.lines if line.get_gid() == "curve"]
    return line


def band(axes: Any) -> np.ndarray:
    (filled,) = [shape for shape in axes.collections if shape.get_gid() == "band"]
    return np.vstack([path.vertices for path in filled.get_paths()])


def test_the_curves_are_the_rows_of_the_table() -> None:
    area, volume = panels(cone())
    assert curve(area).get_ydata() == pytest.approx(DEPTH)
    assert curve(area).get_xdata() == pytest.approx(AREA / 1e4)
    assert area.get_xlabel() == "area at this depth, ha"
    assert curve(volume).get_xdata() == pytest.approx(VOLUME / 1e3)
    assert volume.get_xlabel() == "volume below this depth, 1000 m\u00b3"
    assert area.get_ylabel() == "depth below datum, m"


def test_depth_is_downward_on_one_axis() -> None:
    area, volume = panels(cone())
    low, high = area.get_ylim()
    assert low >= 8 > 0 >= high
    assert volume.get_ylim() == (low, high)
    assert (area.get_xlim()[0], volume.get_xlim()[0]) == (0, 0)


def test_in_feet_there_are_acres_and_acre_feet() -> None:
    area, volume = panels(cone(), unit="ft")
    # NIST Handbook 44 (2024), appendix C: an acre is 43 560 square feet; an acre-foot of water
    # stands one foot deep on it
    assert curve(area).get_xdata() == pytest.approx(AREA / (43_560 * 0.3048**2))
    assert curve(volume).get_xdata() == pytest.approx(VOLUME / (43_560 * 0.3048**3))
    assert curve(area).get_ydata() == pytest.approx(DEPTH / 0.3048)
    assert area.get_xlabel() == "area at this depth, acres"
    assert volume.get_xlabel() == "volume below this depth, acre-feet"
    assert area.get_ylabel() == "depth below datum, ft"


def test_the_band_is_that_of_the_table() -> None:
    area, volume = panels(cone())
    for axes, values in ((area, AREA / 1e4), (volume, VOLUME / 1e3)):
        drawn = band(axes)
        for depth, value in zip(DEPTH, values, strict=True):
            at = drawn[np.isclose(drawn[:, 1], depth), 0]
            assert (at.min(), at.max()) == pytest.approx((0.9 * value, 1.2 * value))


def test_shares_above_agree_with_the_figures_below() -> None:
    for axes, whole in zip(panels(cone()), (3.0, 80.0), strict=True):
        (shares,) = axes.child_axes
        assert shares.get_xlabel().startswith("share of the ")
        assert np.array(shares.get_xlim()) == pytest.approx(np.array(axes.get_xlim()) / whole * 100)


def test_what_the_table_lacks_is_not_drawn() -> None:
    area, volume = panels(cone(banded=False, shares=False))
    assert [len(axes.collections) + len(axes.child_axes) for axes in (area, volume)] == [0, 0]
    (legend,) = area.figure.legends
    assert [text.get_text() for text in legend.get_texts()] == ["rows of the table, joined"]


@pytest.mark.parametrize(
    ("size", "units"),
    [(1.0, ("m\u00b2", "m\u00b3")), (1e4, ("ha", "1000 m\u00b3")), (1e9, ("km\u00b2", "million"))],
)
def test_units_fit_the_size_of_the_water(size: float, units: tuple[str, str]) -> None:
    table = cone(banded=False, shares=False, area_m2=size * LEFT, volume_below_m3=9 * size * LEFT)
    for axes, unit in zip(panels(table), units, strict=True):
        assert unit in axes.get_xlabel()
        assert 0.9 <= curve(axes).get_xdata().max() < 1e5


def test_tables_that_do_not_fit_are_refused() -> None:
    with pytest.raises(LayerError, match=r"^the table has no column 'area_m2', only "):
        draw_hypsography(Table(cone().frame.drop(columns="area_m2")))
    with pytest.raises(LayerError, match=r"^the hypsographic table must have at least two rows "):
        draw_hypsography(Table(cone().frame.iloc[:1]))
    with pytest.raises(LayerError, match=r"^the hypsographic table must have at least two rows "):
        draw_hypsography(cone(area_m2=np.nan))
