"""Figures of a water over the draws of its bed: closed forms of cones and of boxes side by side."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import norm

from toolbox.errors import LayerError
from toolbox.layers import Tin, VertexKind
from toolbox.notes import Caution
from toolbox.volume.bands import (
    band_of_known,
    drawn_measures,
    standard_deviation,
    unsupported_shares,
)
from toolbox.volume.bottom_dynamics import bottom_dynamics
from toolbox.volume.hypsography import hypsography
from toolbox.volume.morphometry import morphometry

SECTORS, RADIUS, DEEPEST = 36, 200.0, 8.0
AREA = SECTORS / 2 * RADIUS**2 * np.sin(2 * np.pi / SECTORS)
FACTORS = 1 + 0.1 * norm.ppf((np.arange(101) + 0.5) / 101)
"""101 factors of a normal distribution: the 6th and the 96th bound 90 % of them."""


def cone(**changes: object) -> Tin:
    """Make a pyramid of many sides whose draws are as many times as deep."""
    angle = 2 * np.pi * np.arange(SECTORS) / SECTORS
    rim = RADIUS * np.column_stack([np.cos(angle), np.sin(angle)])
    depth = np.r_[np.zeros(SECTORS), DEEPEST]
    here = np.arange(SECTORS)
    triangles = np.column_stack([here, np.roll(here, -1), np.full(SECTORS, SECTORS)])
    kind = np.r_[np.full(SECTORS, VertexKind.SHORELINE), VertexKind.SOUNDING]
    bed = Tin(np.vstack([rim, [[0, 0]]]), depth, triangles, kind, None)
    shuffled = np.random.default_rng(1).permutation(FACTORS)
    return replace(bed, **({"draws": depth[:, None] * shuffled} | changes))  # type: ignore[arg-type]


def steps(support: list[float]) -> Tin:
    """Make two level boxes side by side, 2 m and 6 m deep, each with its own support."""
    square = np.array([[0, 0], [10, 0], [10, 10], [0, 10]], float)
    pair = np.array([[0, 1, 2], [0, 2, 3]])
    return Tin(
        np.vstack([square, square + np.array([10, 0])]),
        np.repeat([2.0, 6.0], 4),
        np.vstack([pair, pair + 4]),
        np.full(8, VertexKind.SOUNDING),
        None,
        support=np.repeat(support, 4),
    )


def test_measures_of_scaled_cones() -> None:
    # derived: depths, volume and the tangent of the slope go with the factor, the area does not
    found = {name: np.sort(values) for name, values in drawn_measures(cone(), 0.0).items()}
    near = 1e-12
    np.testing.assert_allclose(found["water area"], AREA, rtol=near)
    np.testing.assert_allclose(found["volume"], AREA * DEEPEST / 3 * FACTORS, rtol=near)
    np.testing.assert_allclose(found["greatest depth"], DEEPEST * FACTORS, rtol=near)
    np.testing.assert_allclose(found["mean depth"], DEEPEST / 3 * FACTORS, rtol=near)
    np.testing.assert_allclose(found["volume development"], 1, rtol=near)
    relative = 50 * DEEPEST * FACTORS * np.sqrt(np.pi / AREA)
    np.testing.assert_allclose(found["relative depth"], relative, rtol=near)
    apothem = RADIUS * np.cos(np.pi / SECTORS)
    slope = np.degrees(np.arctan(DEEPEST * FACTORS / apothem))
    np.testing.assert_allclose(found["mean slope"], slope, rtol=near)


def test_draws_like_the_bed_itself_measure_like_the_bed() -> None:
    # on a rough bed, where the steepness of triangles differs
    chance = np.random.default_rng(2)
    bed = cone()
    rough = replace(bed, depth=bed.depth + np.r_[np.zeros(SECTORS), chance.normal()])
    rough = replace(rough, draws=rough.depth[:, None])
    frame = morphometry(replace(rough, draws=None)).frame
    own = dict(zip(frame["measure"], frame["value"], strict=True))
    for name, values in drawn_measures(rough, 0.0).items():
        assert values[0] == pytest.approx(own[name], rel=1e-12), name


def test_the_band_and_the_spread_of_the_volume_in_the_table() -> None:
    # derived: of 101 scaled cones the 6th and the 96th; the sd of the factors times the volume
    frame = morphometry(cone()).frame
    assert list(frame) == ["measure", "value", "low", "high", "unit", "source"]
    row = frame.set_index("measure")
    volume = AREA * DEEPEST / 3
    assert row.loc["volume", "low"] == pytest.approx(volume * FACTORS[5], rel=1e-12)
    assert row.loc["volume", "high"] == pytest.approx(volume * FACTORS[95], rel=1e-12)
    assert row.loc["volume sd", "value"] == pytest.approx(volume * FACTORS.std(ddof=1), rel=1e-12)
    assert row.loc["volume sd", "source"] == "standard deviation of 101 beds drawn"
    without = ["islands", "shoreline length", "open edge length", "shoreline development"]
    assert row.loc[[*without, "volume sd"], ["low", "high"]].isna().all(axis=None)


def test_a_bed_that_was_not_fitted_keeps_its_table() -> None:
    plain = morphometry(cone(draws=None))
    banded = morphometry(cone())
    assert list(plain.frame) == ["measure", "value", "unit", "source"]
    drawn = ["volume sd", "mean slope", "median slope"]
    rows = banded.frame[~banded.frame["measure"].isin(drawn)].reset_index(drop=True)
    kept = plain.frame[~plain.frame["measure"].isin(drawn)].reset_index(drop=True)
    assert rows[list(plain.frame)].equals(kept)
    assert len(kept) == len(plain.frame) - 2


def test_the_mean_slope_is_that_of_the_draws() -> None:
    # derived: the median factor is 1, so here the median of the draws is the bed itself
    slope = {
        name: morphometry(bed).frame.set_index("measure").loc["mean slope"]
        for name, bed in (("plain", cone(draws=None)), ("drawn", cone()))
    }
    assert slope["drawn"]["value"] == pytest.approx(slope["plain"]["value"], rel=1e-9)
    assert slope["drawn"]["low"] < slope["drawn"]["value"] < slope["drawn"]["high"]
    assert "median of the beds drawn" in slope["drawn"]["source"]


def test_notes_of_a_banded_table() -> None:
    plain, banded = morphometry(cone(draws=None)), morphometry(cone())
    assert plain.notes == ()
    assert banded.notes == ("low and high: 90 % band of 101 beds drawn",)


@pytest.mark.parametrize(
    ("support", "least", "area", "volume"),
    [
        ([0.9, 0.1], 0.5, 0.5, 0.75),  # the deep box holds 600 of 800 m3
        ([0.1, 0.9], 0.5, 0.5, 0.25),
        ([0.5, 0.5], 0.5, 0.0, 0.0),  # what just reaches it is supported
        ([0.0, 0.2], 0.5, 1.0, 1.0),
        ([0.3, 0.2], 0.25, 0.5, 0.75),
    ],
)
def test_the_share_of_the_water_over_unsupported_bed(
    support: list[float], least: float, area: float, volume: float
) -> None:
    # derived: boxes of 100 m2, 2 m and 6 m deep
    bed = steps(support)
    assert unsupported_shares(bed, 0.0, least) == pytest.approx((area, volume))
    frame = morphometry(bed, least_support=least).frame.set_index("measure")
    assert frame.loc["unsupported area share", "value"] == pytest.approx(area)
    assert frame.loc["unsupported volume share", "value"] == pytest.approx(volume)
    assert frame.loc["unsupported volume share", "source"] == f"bed with support below {least:g}"


def test_shares_refer_to_the_level_asked_for() -> None:
    # derived: below 4 m only the deep box holds water
    assert unsupported_shares(steps([0.9, 0.1]), 4.0, 0.5) == pytest.approx((1.0, 1.0))


def test_the_spread_of_a_single_draw_is_not_known() -> None:
    assert np.isnan(standard_deviation(np.array([3.0])))
    assert standard_deviation(np.array([1.0, 3.0])) == pytest.approx(np.sqrt(2))
    frame = morphometry(cone(draws=cone().depth[:, None])).frame.set_index("measure")
    assert np.isnan(frame.loc["volume sd", "value"])


def test_a_bed_without_support_is_refused() -> None:
    message = "^the bed has no support: only a fitted bed tells its own error$"
    with pytest.raises(LayerError, match=message):
        unsupported_shares(cone(), 0.0, 0.5)


def test_the_table_of_depths_says_what_rests_on_nothing() -> None:
    # derived: half of the area, and 6 of 8 parts of the volume, are the second box
    notes = hypsography(steps([0.9, 0.2])).notes
    (told,) = [note for note in notes if "rest on bed nobody sounded" in note]
    assert told == (
        "50.0% of the area and 75.0% of the volume rest on bed nobody sounded: to that extent "
        "figures of the whole water are a guess"
    )
    assert isinstance(told, Caution)
    notes = hypsography(steps([0.9, 0.8])).notes
    assert "0.0% of the area and 0.0% of the volume rest on bed nobody sounded" in notes
    assert not any("nobody sounded" in note for note in hypsography(cone()).notes)


def test_draws_without_water_have_no_form() -> None:
    """Of a bed as shallow as its error some draws are dry: their depth is 0, their form nothing."""
    factors = np.r_[np.zeros(20), np.linspace(0.5, 1.5, 81)]
    bed = cone(draws=cone().depth[:, None] * factors)
    frame = morphometry(bed).frame.set_index("measure")
    assert frame.loc["greatest depth", "low"] == 0
    assert frame.loc["volume", "low"] == 0
    # derived: all draws that hold water are cones
    assert frame.loc["volume development", "low"] == pytest.approx(1)
    assert frame.loc["volume development", "high"] == pytest.approx(1)
    ratio = frame.loc["dynamic ratio"]
    assert ratio["low"] == pytest.approx(np.sqrt(AREA) / 1000 / (DEEPEST / 3 * 1.45), rel=0.01)
    ends = bottom_dynamics(bed).frame.set_index("measure")[["low", "high"]].drop("wave base")
    assert np.isfinite(ends.to_numpy(float)).all()
    assert all(np.isnan(band_of_known(np.full(3, np.nan))))
