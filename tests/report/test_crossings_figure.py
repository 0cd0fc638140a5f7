"""The figure of crossings counts its differences, and tells mean, spread and 95 % rightly."""

from typing import Any

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from toolbox.errors import LayerError
from toolbox.formats.picture_file import figure_of
from toolbox.layers import Table
from toolbox.reduction.quality import crossing_statistics
from toolbox.report.crossings_figure import draw_crossings

DIFFERENCES = np.random.default_rng(5).normal(0.1, 0.25, 200)


def table(differences: Any) -> Table:
    return Table(pd.DataFrame({"depth_a": 3.0, "depth_b": 3.0, "difference": differences}))


def drawn(differences: Any, **options: Any) -> Any:
    (axes,) = figure_of(draw_crossings(table(differences), dpi=60, **options)).axes
    return axes


def bars(axes: Any) -> list[tuple[float, float, float]]:
    """Left, right and height of each bar."""
    found = [bar for bar in axes.patches if bar.get_zorder() == 2]
    return [(bar.get_x(), bar.get_x() + bar.get_width(), bar.get_height()) for bar in found]


def words(axes: Any) -> list[str]:
    return [text.get_text() for text in axes.figure.legends[0].get_texts()]


@pytest.mark.parametrize(("unit", "foot"), [("m", 1.0), ("ft", 0.3048)])
def test_bars_count_the_differences(unit: Any, foot: float) -> None:
    axes = drawn(DIFFERENCES, unit=unit)
    values = DIFFERENCES / foot
    for left, right, height in bars(axes):
        assert ((values >= left) & (values < right)).sum() == height
    assert sum(height for *_, height in bars(axes)) == 200
    assert axes.get_xlabel() == f"difference in depth between crossing lines, {unit}"
    assert axes.get_ylabel() == "crossings"


def test_a_bar_begins_at_zero_and_all_are_of_one_round_width() -> None:
    lefts = np.array([left for left, *_ in bars(drawn(DIFFERENCES))])
    assert np.abs(lefts).min() < 1e-12
    width = np.diff(lefts)
    assert np.ptp(width) < 1e-12
    # Freedman and Diaconis 1981: twice the interquartile range over the cube root of the count,
    # cut to 1, 2 or 5 times a power of ten
    rule = 2 * stats.iqr(DIFFERENCES) / 200 ** (1 / 3)
    assert 0.4 * rule <= width[0] <= rule
    assert f"{width[0]:.0e}"[0] in "125"


def test_the_figures_are_those_of_the_statistics() -> None:
    told = crossing_statistics(table(DIFFERENCES)).frame.set_index("figure")["value"]
    axes = drawn(DIFFERENCES)
    solid, *limits = [line.get_xdata()[0] for line in axes.lines if len(line.get_xdata()) == 2]
    assert solid == pytest.approx(told["mean"])
    limit = told["95th percentile of absolute"]
    assert limits == pytest.approx([-limit, limit])
    assert (np.abs(DIFFERENCES) <= limit).mean() == 0.95
    (span,) = [patch for patch in axes.patches if patch.get_zorder() == 1]
    ends = span.get_x(), span.get_x() + span.get_width()
    sd = told["standard deviation"]
    assert ends == pytest.approx((told["mean"] - sd, told["mean"] + sd))
    assert words(axes) == [
        "200 crossings",
        f"mean, {told['mean']:+.2g} m"
        if abs(told["mean"]) < 0.1
        else f"mean, {told['mean']:+.2f} m",
        f"within one standard deviation, {sd:.2f} m",
        "normal curve of that mean and deviation",
        f"95 % lie within \u00b1{limit:.2f} m",
    ]


def test_the_normal_curve_is_that_of_mean_and_deviation() -> None:
    axes = drawn(DIFFERENCES)
    (curve,) = [line for line in axes.lines if len(line.get_xdata()) > 2]
    left, right, _ = bars(axes)[0]
    at, tall = curve.get_data()
    normal = stats.norm(DIFFERENCES.mean(), DIFFERENCES.std(ddof=1))  # SciPy is the other program
    assert tall == pytest.approx(200 * (right - left) * normal.pdf(at))


def test_all_that_is_told_is_within_the_axes() -> None:
    axes = drawn([0.5, 0.6, 0.55, 2.0])
    low, high = axes.get_xlim()
    assert low < -2 * 0.8
    assert high > 2.0
    assert axes.get_ylim()[1] > max(height for *_, height in bars(axes))


@pytest.mark.parametrize(
    ("differences", "count"),
    [([0.2], "1 crossing"), ([0.0] * 5, "5 crossings"), ([-3.0, 1e-9], "2 crossings")],
)
def test_too_few_or_equal_differences_have_no_spread(differences: Any, count: str) -> None:
    axes = drawn(differences)
    assert words(axes)[0] == count
    assert len(words(axes)) == 3
    assert sum(height for *_, height in bars(axes)) == len(differences)


def test_a_blunder_does_not_make_bars_without_end() -> None:
    assert len(bars(drawn([*DIFFERENCES, 1e5]))) <= 62


def test_unknown_differences_are_left_out_and_none_is_refused() -> None:
    assert words(drawn([0.1, np.nan, 0.2, np.inf]))[0] == "2 crossings"
    with pytest.raises(LayerError, match=r"^crossings must hold at least one difference, got none"):
        draw_crossings(table([np.nan]))
    with pytest.raises(LayerError, match=r"^crossings must have a column 'difference', .*got fig"):
        draw_crossings(Table(pd.DataFrame({"figure": ["mean"], "value": [0.1]})))
