"""The figure of the season shows its readings and the water of each species, depth downward."""

import io
from typing import Any

import matplotlib.dates
import numpy as np
import pandas as pd
import pytest
from PIL import Image

from toolbox.errors import LayerError, ParameterError
from toolbox.formats.picture_file import figure_of
from toolbox.layers import Profiles, Table
from toolbox.report.season_figure import draw_season, season_png

DAYS = ["2026-05-01", "2026-07-01", "2026-09-01"]
DEPTHS = np.arange(0.0, 9.0, 2.0)


def profiles(days: Any = DAYS, *, oxygen: bool = True) -> Profiles:
    """Return a water 20 degrees warm at the top and 2 colder each metre, oxygen 10 - depth."""
    frame = pd.DataFrame(
        {
            "time": np.repeat(pd.to_datetime(days, utc=True), len(DEPTHS)),
            "depth_m": np.tile(DEPTHS, len(days)),
            "temperature_c": np.tile(20 - 2 * DEPTHS, len(days)),
            "oxygen_mg_l": np.tile(10 - DEPTHS, len(days)),
        }
    )
    return Profiles(frame if oxygen else frame.drop(columns="oxygen_mg_l"))


def suitable(*names: str, text: bool = False) -> Table:
    frame = pd.DataFrame(
        {
            "species": np.repeat(list(names), len(DAYS)),
            "time": pd.to_datetime(DAYS * len(names), utc=True),
            "suitable_volume_m3": np.tile([5000.0, 0.0, 8000.0], len(names)),
            "suitable_volume_low_m3": np.tile([4000.0, 0.0, 7000.0], len(names)),
            "suitable_volume_high_m3": np.tile([6000.0, 100.0, 9000.0], len(names)),
        }
    )
    return Table(frame.assign(time=frame["time"].astype(str)) if text else frame)


def part(axes: Any, gid: str) -> Any:
    (found,) = [artist for artist in axes.get_children() if artist.get_gid() == gid]
    return found


@pytest.mark.parametrize(("unit", "foot"), [("m", 1.0), ("ft", 0.3048)])
def test_readings_and_temperatures_are_those_of_the_profiles(unit: Any, foot: float) -> None:
    axes = figure_of(draw_season(profiles(), unit=unit, dpi=60)).axes[0]
    assert axes.get_ylim() == pytest.approx((8 / foot, 0))  # deep water is below
    assert axes.get_ylabel() == f"depth below the surface, {unit}"
    assert part(axes, "readings").get_ydata() == pytest.approx(np.tile(DEPTHS, 3) / foot)
    values = np.asarray(part(axes, "temperature").get_array()).reshape(120, 240)
    # derived: linear in depth, the same all season
    assert values == pytest.approx(np.tile(np.linspace(20, 4, 120)[:, None], (1, 240)), abs=1e-9)


def test_lines_of_oxygen_lie_at_their_depth_and_are_numbered() -> None:
    axes = figure_of(draw_season(profiles(), dpi=60)).axes[0]
    numbers = {text.get_text(): text.get_position()[1] for text in axes.texts}
    # derived: oxygen is 10 less the depth, so 8 mg/L lies at 2 m; 2 mg/L is that of the deepest
    # reading and bounds no water
    assert numbers == pytest.approx({"4": 6, "6": 4, "8": 2}, abs=0.15)
    assert "oxygen (lines, mg/L)" in axes.get_title(loc="left")


def test_without_oxygen_none_is_told() -> None:
    axes = figure_of(draw_season(profiles(oxygen=False), dpi=60)).axes[0]
    assert axes.get_title(loc="left") == "Temperature (colour) and readings (dots)"
    assert list(axes.texts) == []


@pytest.mark.parametrize("text", [False, True])
@pytest.mark.parametrize(("unit", "size"), [("m", 1000.0), ("ft", 43_560 * 0.3048**3)])
def test_suitable_water_is_that_of_the_table(unit: Any, size: float, text: bool) -> None:
    # NIST Handbook 44 (2024), appendix C: an acre is 43 560 square feet, a foot 0.3048 m
    table = suitable("tench", "pike", text=text)
    lower = figure_of(draw_season(profiles(), table, unit=unit, dpi=60)).axes[1]
    tench, pike = lower.lines
    assert (tench.get_label(), pike.get_label()) == ("tench", "pike")
    assert tench.get_ydata() == pytest.approx(np.array([5000, 0, 8000]) / size)
    days = matplotlib.dates.num2date(lower.convert_xunits(tench.get_xdata()))
    assert [f"{day:%Y-%m-%d}" for day in days] == DAYS
    band = np.vstack([path.vertices for path in lower.collections[0].get_paths()])
    at = band[np.isclose(band[:, 0], band[:, 0].max()), 1]
    assert (at.min(), at.max()) == pytest.approx((7000 / size, 9000 / size))
    assert tench.get_linestyle() != pike.get_linestyle()


def test_four_species_are_drawn_and_names_are_taken_literally() -> None:
    names = ["$_{", "<script>" + "x" * 300, "pike", "carp", "fifth"]
    figure = figure_of(draw_season(profiles(), suitable(*names), dpi=60))
    texts = [text.get_text() for text in figure.legends[0].get_texts()]
    assert texts[0] == r"\$_{"
    assert texts[1].startswith("<script>xxx")
    assert len(texts[1]) < 40
    assert texts[2:] == ["pike", "carp"]


def test_no_season_is_refused_as_a_figure_and_left_out_of_a_report() -> None:
    one_day = profiles(DAYS[:1])
    assert season_png(one_day) is None
    with pytest.raises(LayerError, match=r"^profiles must have temperatures on two days at least "):
        draw_season(one_day)
    cold = profiles().frame.assign(temperature_c=np.nan)
    assert season_png(Profiles(cold)) is None


def test_tables_that_do_not_fit_are_refused() -> None:
    with pytest.raises(LayerError, match=r"^suitable must have a column 'species'$"):
        draw_season(profiles(), Table(suitable("pike").frame.drop(columns="species")))
    with pytest.raises(LayerError, match=r"^suitable must have times as its column 'time': "):
        draw_season(profiles(), Table(suitable("pike").frame.assign(time="soon")))
    with pytest.raises(LayerError, match=r"^the table has no column 'suitable_volume_m3', only "):
        draw_season(profiles(), Table(suitable("pike").frame[["species", "time"]]))
    with pytest.raises(ParameterError, match=r"nowhere"):
        draw_season(profiles(), stations=("nowhere",))


def test_a_report_gets_it_at_its_own_size() -> None:
    for table, panels in ((None, 1), (suitable("pike"), 2)):
        file = season_png(profiles(), table)
        assert file is not None
        with Image.open(io.BytesIO(file)) as image:
            # 8.6 by 3.4 inches a panel at 160 dots, which reports have room for
            assert image.size == pytest.approx((8.6 * 160, panels * 3.4 * 160), abs=1)


def test_shallow_and_single_readings_are_drawn() -> None:
    frame = profiles().frame
    for rows in (frame["depth_m"] == 0, frame["depth_m"] == 6):
        axes = figure_of(draw_season(Profiles(frame[rows]), dpi=60)).axes[0]
        assert len(part(axes, "readings").get_ydata()) == 3
