"""Spread: the budget by hand, the documentation's own figures, and simulated instruments."""

import math
import re
from dataclasses import fields
from pathlib import Path

import numpy as np
import pytest
from affine import Affine
from hypothesis import given, settings
from hypothesis import strategies as st

from toolbox.errors import ParameterError
from toolbox.layers import Grid, Soundings
from toolbox.notes import Assumption
from toolbox.reduction.beam import footprint
from toolbox.reduction.sound_speed import correct_sound_speed, sound_speed
from toolbox.reduction.spread import DEFAULTS, Errors, estimate_spread

PAGE = Path(__file__).resolve().parents[2] / "docs" / "spread.md"


def soundings(depth: object, **columns: object) -> Soundings:
    depth = np.asarray(depth, float)
    place = np.column_stack([np.arange(len(depth)) * 3.0, np.zeros(len(depth))])
    return Soundings.from_arrays(place, depth, crs=None, **columns)


def slope(degrees: float) -> Grid:
    values = np.full((2, 2), degrees, np.float32)
    return Grid(values, Affine(1e4, 0, -1e4, 0, -1e4, 1e4), None, "slope", "degree")


# ---- where the defaults come from ----


def test_the_page_lists_the_defaults() -> None:
    rows = re.findall(r"^\| `(\w+)`.*? \| (.+) \| [a-f] \|$", PAGE.read_text("utf-8"), re.M)
    listed = {name: [float(cell) for cell in cells.split(" | ")] for name, cells in rows}
    assert set(listed) == {field.name for field in fields(Errors)}
    for name, values in listed.items():
        mine = [getattr(DEFAULTS[source], name) for source in ("cast", "track", "plummet", "point")]
        np.testing.assert_allclose(mine, values, rtol=2e-4, err_msg=name)


def test_points_of_unknown_origin_are_what_order_1b_allows() -> None:
    # IHO S-44, 6th ed. (2020), table 1, order 1b; TVU at 95 % worked out from its a and b
    depth = np.array([5, 10, 20, 50.0])
    frame = estimate_spread(soundings(depth, source="point")).frame
    np.testing.assert_allclose(1.96 * frame["sd"], [0.5042, 0.5166, 0.5636, 0.8201], atol=1e-3)
    # 5 m + 5 % of depth is a radius of 95 %: 2.4477 standard deviations in a plane (derived)
    np.testing.assert_allclose(2.4477 * frame["sd_xy"], [5.25, 5.5, 6.0, 7.5], atol=1e-3)


def test_position_of_small_receivers() -> None:
    # gps.gov, GPS accuracy: 4.9 m radius under open sky, for smartphones; taken as 95 %
    assert DEFAULTS["track"].position_sd == pytest.approx(4.9 / 2.4477, abs=0.01)


def test_speed_of_sound_by_the_water_it_may_be() -> None:
    water = np.linspace(4, 25, 2001)
    off = math.sqrt(np.mean((1500 - sound_speed(water)) ** 2))  # Marczak 1997; derived
    assert DEFAULTS["track"].sound_speed_sd == pytest.approx(off, abs=0.5)
    degree = float(sound_speed(10.5) - sound_speed(9.5))
    assert DEFAULTS["track"].corrected_sound_speed_sd == pytest.approx(degree, abs=0.1)


# ---- the budget ----


def test_the_example_by_hand() -> None:
    page = PAGE.read_text("utf-8")
    layer = correct_sound_speed(
        soundings([10], source="track"), speed_set=float(sound_speed(9.0)), temperature=9
    )
    row = estimate_spread(layer, slope(10)).frame.iloc[0]
    # derived: parts as the page lists them
    parts = [
        0.03,
        0.05,
        0.1 / 12**0.5,
        20 * math.tan(math.radians(10)) ** 2 / 12**0.5,
        0.02,
        0.02,
        10 * 4 / 1450,
    ]
    assert row["sd"] == pytest.approx(math.sqrt(sum(part**2 for part in parts)), rel=1e-5)
    assert row["sd_shared"] == pytest.approx(math.sqrt(sum(part**2 for part in parts[4:])))
    total = math.hypot(row["sd"], row["sd_xy"] * math.tan(math.radians(10)))
    level = estimate_spread(layer, slope(0)).frame["sd"].iloc[0]
    raw = estimate_spread(soundings([10], source="track"), slope(0)).frame["sd"].iloc[0]
    for text, value in (
        ("sd = {:.3f} m", row["sd"]),
        ("shared by the line {:.3f} m", row["sd_shared"]),
        ("= {:.3f} m: on a slope", total),
        ("an `sd` of {:.3f} m;", level),
        ("not corrected for temperature, {:.3f} m", raw),
    ):
        assert text.format(value) in " ".join(page.split())


def test_a_plummet_has_no_beam_and_hears_nothing() -> None:
    row = estimate_spread(soundings([8], source="plummet"), slope(40)).frame.iloc[0]
    assert row["sd"] == pytest.approx(math.sqrt(0.03**2 + 0.04**2 + 0.01 / 12 + 0.02**2))
    assert row["sd_shared"] == pytest.approx(0.02)


def test_points_of_unknown_origin_may_share_half_of_their_variance() -> None:
    # common practice, no source: the page's rule where nothing tells what a line has in common
    frame = estimate_spread(soundings([5, 20], source="point")).frame
    np.testing.assert_allclose(frame["sd_shared"], frame["sd"] * math.sqrt(0.5))
    told = estimate_spread(soundings([5, 20], source="point"), draft_sd=0.1).frame
    np.testing.assert_allclose(told["sd_shared"], 0.1)


def test_own_errors_of_what_was_thinned_before_have_averaged_out() -> None:
    one = estimate_spread(soundings([6.0, 6.0], source="plummet")).frame
    many = estimate_spread(
        soundings([6.0, 6.0], source="plummet", count=np.array([1, 16]), cell=1.0)
    ).frame
    assert many["sd"][0] == pytest.approx(one["sd"][0])
    own = one["sd"][1] ** 2 - one["sd_shared"][1] ** 2
    assert many["sd"][1] == pytest.approx(math.sqrt(own / 16 + one["sd_shared"][1] ** 2))
    assert many["sd_shared"][1] == one["sd_shared"][1]


@settings(max_examples=50, deadline=None)
@given(
    st.sampled_from(["instrument_sd", "relative_sd", "resolution", "draft_sd", "level_sd"]),
    st.floats(0, 5),
    st.floats(0, 40),
)
def test_each_part_adds_its_square_and_no_more(name: str, value: float, depth: float) -> None:
    none = dict.fromkeys([field.name for field in fields(Errors)][:5], 0.0)
    del none["position_sd"]
    none |= {"draft_sd": 0.0, "level_sd": 0.0, "sound_speed_sd": 0.0}
    layer = soundings([depth], source="track")
    with_it = estimate_spread(layer, slope(0), **none | {name: value}).frame["sd"].iloc[0]
    share = {"relative_sd": depth, "resolution": 12**-0.5}.get(name, 1.0)
    assert with_it == pytest.approx(value * share, abs=1e-12)


def test_what_is_there_is_kept() -> None:
    layer = soundings(
        [5, 5, 5, 5],
        source=["track", "track", "cast", "cast"],
        sd=[0.7, np.nan, np.nan, np.nan],
        sd_xy=[np.nan, 9.0, np.nan, np.nan],
        sd_along=[np.nan, np.nan, 3.0, np.nan],
        sd_across=[np.nan, np.nan, 4.0, np.nan],
    )
    done = estimate_spread(layer)
    assert done.frame["sd"].iloc[0] == 0.7
    np.testing.assert_array_equal(np.isnan(done.frame["sd_shared"]), [True, False, False, False])
    # derived: the root of the mean of 9 and 16
    np.testing.assert_allclose(done.frame["sd_xy"], [2.0, 9.0, 12.5**0.5, 3.0])
    assert done.notes == (
        "spread estimated for 2 of source cast, 1 of source track; 1 kept what they had",
        "3 depths not corrected for the speed of sound: taken to be off by 3% (one standard "
        "deviation), all in one sense; an instrument set to 1500 m/s reads fresh water too deep",
    )
    assert isinstance(done.notes[1], Assumption)
    assert len(estimate_spread(layer, sound_speed_sd=4.0).notes) == 1
    again = estimate_spread(done)
    for name in ("sd", "sd_xy", "sd_shared"):
        np.testing.assert_array_equal(again.frame[name], done.frame[name])
    assert again.notes[-1] == "spread: all soundings have an sd already, which is kept"


@pytest.mark.parametrize("correction", ["sound_speed_correction", "bar_check_correction"])
def test_of_joined_sources_each_is_corrected_or_not(correction: str) -> None:
    # derived: 10 m x 4 / 1450 and 10 m x 43 / 1450 beside draft and level of 0.02 m each
    mixed = soundings([10, 10], source="track", **{correction: [-0.3, np.nan]})
    shared = estimate_spread(mixed, slope(0)).frame["sd_shared"]
    expected = np.sqrt(2 * 0.02**2 + (10 * np.array([4.0, 43.0]) / 1450) ** 2)
    np.testing.assert_allclose(shared, expected)
    assert estimate_spread(mixed, slope(0)).notes[-1].startswith("1 depth not corrected")


def test_distance_to_the_bed_is_what_was_read() -> None:
    # a depth reduced by 4 m of water level was heard over 4 m less
    frame = estimate_spread(
        soundings([9, 9, -1], source="track", depth_read=[5.0, np.nan, np.nan]), slope(0)
    ).frame
    plain = estimate_spread(soundings([5, 9, 0], source="track"), slope(0)).frame
    np.testing.assert_array_equal(frame["sd"], plain["sd"])


def test_an_unknown_source_is_a_point() -> None:
    odd, point = (
        estimate_spread(soundings([5, 8], source=source)).frame["sd"] for source in ("odd", "point")
    )
    np.testing.assert_array_equal(odd, point)


def test_rejected_soundings_get_theirs_and_missing_depths_none() -> None:
    layer = soundings([5, np.nan, 6], source="track").reject(
        np.array([True, False, False]), "spike"
    )
    done = estimate_spread(layer)
    assert done.rejections() == {"spike": 1, "no depth": 1}
    np.testing.assert_array_equal(np.isnan(done.frame["sd"]), [False, True, False])
    assert len(estimate_spread(soundings([], source="track"))) == 0


def test_slope_of_the_soundings_themselves() -> None:
    rng = np.random.default_rng(7)
    place = rng.uniform(0, 200, (800, 2))
    depth = 10 + math.tan(math.radians(15)) * place[:, 0] / 5
    layer = Soundings.from_arrays(place, depth, crs=None, source=np.full(800, "track"))
    true = math.degrees(math.atan(math.tan(math.radians(15)) / 5))
    found, given = (
        estimate_spread(layer).frame["sd"],
        estimate_spread(layer, slope(true)).frame["sd"],
    )
    assert np.median(found / given) == pytest.approx(1, abs=1e-6)
    assert (found / given).max() <= 1 + 1e-6


@given(st.floats(0, 75), st.floats(0, 90))
def test_the_footprint_covers_every_echo_between_the_first_and_the_middle(
    steep: float, angle: float
) -> None:
    # derived: a plane is first heard at the foot of the perpendicular, or at the beam's edge; of an
    # error evenly between 0 and e, the root mean square is e / sqrt(3)
    incline = math.radians(steep)
    first = math.cos(incline) / math.cos(incline - min(math.radians(angle / 2), incline))
    error = (1 - first) / math.sqrt(3)
    spread = float(footprint(1.0, angle)) * math.tan(math.radians(steep)) / math.sqrt(12)
    assert spread >= error - 1e-9


def test_simulated_instrument() -> None:
    # errors drawn as the page says they are; what comes out scatters by what is stated
    rng = np.random.default_rng(8)
    n, depth, steep, angle = 200_000, 12.0, 20.0, 15.0
    wide = float(footprint(depth, angle))
    read = depth + rng.uniform(-wide / 2, wide / 2, n) * math.tan(math.radians(steep))
    read += rng.normal(0, 0.04, n) + 0.01 * depth * rng.normal(0, 1, n)
    read = np.round(read / 0.2) * 0.2
    read += rng.normal(0, 0.03, n) + rng.normal(0, 0.05, n)
    read *= 1 + rng.normal(0, 10 / 1450, n)
    place_error = rng.normal(0, 1.5, n)
    options = {
        "instrument_sd": 0.04,
        "relative_sd": 0.01,
        "resolution": 0.2,
        "beam_angle": angle,
        "position_sd": 1.5,
        "draft_sd": 0.03,
        "level_sd": 0.05,
        "sound_speed_sd": 10.0,
    }
    row = estimate_spread(soundings([depth], source="track"), slope(steep), **options).frame.iloc[0]
    error = read - depth
    assert error.std() == pytest.approx(row["sd"], rel=0.01)
    total = math.hypot(row["sd"], row["sd_xy"] * math.tan(math.radians(steep)))
    error += place_error * math.tan(math.radians(steep))
    assert error.std() == pytest.approx(total, rel=0.01)
    for level, share in ((1.0, 0.683), (1.96, 0.95)):
        assert (np.abs(error) < level * total).mean() == pytest.approx(share, abs=0.01)


def test_refusals() -> None:
    with pytest.raises(ParameterError, match=r"^level_sd must be >= 0 m, got -1$"):
        estimate_spread(soundings([1]), level_sd=-1)
    with pytest.raises(
        ParameterError, match=r"^beam_angle must be >= 0 and <= 120 degree, got 170$"
    ):
        estimate_spread(soundings([1]), beam_angle=170)
