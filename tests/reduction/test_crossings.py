"""Where lines cross, the depths of both are paired."""

from pathlib import Path

import numpy as np
import pandas as pd
import pyproj
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from toolbox.errors import ParameterError
from toolbox.layers import Soundings, Table
from toolbox.reduction.crossings import crossings_by_sides, find_crossings, find_near_pairs

Floats = NDArray[np.float64]
COLUMNS = [
    "line_a", "line_b", "easting", "northing", "depth_a", "depth_b", "difference", "heading_a",
    "heading_b", "speed_a", "speed_b", "gap_m", "angle_deg", "fall_a", "fall_b", "own_sd",
    "place_sd",
]  # fmt: skip


def plane(place: Floats) -> Floats:
    return np.asarray(10 + 0.02 * place[:, 0] - 0.03 * place[:, 1])


def survey(*lines: Floats, depth: Floats | None = None, **columns: object) -> Soundings:
    place = np.concatenate(lines)
    names = np.repeat([f"L{k}" for k in range(len(lines))], [len(line) for line in lines])
    given = {"line": names, "source": "track"} | columns
    return Soundings.from_arrays(place, plane(place) if depth is None else depth, crs=None, **given)


def straight(start: tuple[float, float], end: tuple[float, float], count: int) -> Floats:
    return np.linspace(start, end, count)


def only(table: Table) -> pd.Series:
    assert len(table.frame) == 1
    return table.frame.iloc[0]


WEST_EAST = straight((-50, 3.5), (50, 3.5), 21)
SOUTH_NORTH = straight((11, -42), (11, 42), 13)


def test_a_crossing_on_a_plane() -> None:
    table = find_crossings(survey(WEST_EAST, SOUTH_NORTH))
    found = only(table)
    assert list(table.frame.columns) == COLUMNS
    assert (found.line_a, found.line_b) == ("L0", "L1")
    assert (found.easting, found.northing) == pytest.approx((11, 3.5))
    # derived: the plane at the crossing
    assert found.depth_a == pytest.approx(10 + 0.22 - 0.105)
    assert found.difference == pytest.approx(0, abs=1e-12)
    assert (found.heading_a, found.heading_b) == pytest.approx((90, 0))
    assert found.angle_deg == pytest.approx(90)
    assert (found.fall_a, found.fall_b) == pytest.approx((0.02, -0.03))
    assert found.gap_m == pytest.approx(7)
    assert np.isnan(found.speed_a)


def test_the_difference_is_that_of_the_first_line_less_the_second() -> None:
    depth = np.r_[np.full(21, 5.3), np.full(13, 5.0)]
    found = only(find_crossings(survey(WEST_EAST, SOUTH_NORTH, depth=depth)))
    assert (found.depth_a, found.depth_b) == pytest.approx((5.3, 5.0))
    assert found.difference == pytest.approx(0.3)


def test_speeds_come_from_times() -> None:
    seconds = np.r_[np.arange(21) * 2.0, np.arange(13) * 3.5]
    time = pd.Timestamp("2026-05-12", tz="UTC") + pd.to_timedelta(seconds, unit="s")
    found = only(find_crossings(survey(WEST_EAST, SOUTH_NORTH, time=time)))
    assert (found.speed_a, found.speed_b) == pytest.approx((2.5, 2.0))


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 2**32 - 1))
def test_an_independent_library_finds_the_same_places(seed: int) -> None:
    random = np.random.default_rng(seed)
    lines = [random.uniform(0, 100, (8, 2)) for _ in range(2)]
    table = find_crossings(survey(*lines), max_step=1e9, min_angle=0).frame
    table = table[table.line_a != table.line_b]
    cut = shapely.intersection(*(shapely.LineString(line) for line in lines))
    expected = shapely.get_coordinates(cut)
    found = table[["easting", "northing"]].to_numpy()
    assert len(found) == len(expected)
    if len(found):
        np.testing.assert_allclose(
            found[np.lexsort(found.T.round(6))], expected[np.lexsort(expected.T.round(6))]
        )


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 2**32 - 1))
def test_turning_and_shifting_the_survey_changes_no_depth(seed: int) -> None:
    random = np.random.default_rng(seed)
    place = np.concatenate([WEST_EAST, SOUTH_NORTH])
    depth = random.uniform(1, 9, len(place))
    turn = random.uniform(0, 2 * np.pi)
    matrix = np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
    moved = place @ matrix.T + random.uniform(-1e5, 1e5, 2)
    before = only(find_crossings(survey(WEST_EAST, SOUTH_NORTH, depth=depth)))
    after = only(find_crossings(survey(moved[:21], moved[21:], depth=depth)))
    for name in ("depth_a", "depth_b", "gap_m", "angle_deg", "fall_a", "fall_b"):
        assert after[name] == pytest.approx(before[name], abs=1e-6)


def test_a_crossing_at_a_sounding_of_both_is_found_once() -> None:
    lines = straight((-10, 0), (10, 0), 5), straight((0, -10), (0, 10), 5)
    assert len(find_crossings(survey(*lines)).frame) == 1


def test_only_what_is_kept_takes_part() -> None:
    soundings = survey(WEST_EAST, SOUTH_NORTH)
    whole = soundings.reject(np.arange(34) >= 21, "double echo")
    assert find_crossings(whole).frame.empty
    one = soundings.reject(np.arange(34) == 12, "spike along the line")
    assert only(find_crossings(one)).gap_m == pytest.approx(10)


def test_nothing_is_interpolated_over_more_than_the_step_allowed() -> None:
    soundings = survey(WEST_EAST, SOUTH_NORTH)
    assert len(find_crossings(soundings, max_step=7).frame) == 1
    assert find_crossings(soundings, max_step=6.9).frame.empty
    coarse = survey(straight((-30, 0), (30, 0), 3), straight((5, -30), (5, 30), 3))
    assert find_crossings(coarse).frame.gap_m.tolist() == [30]  # 3 times the mean depth allow it
    shallow = Soundings.from_arrays(
        coarse.coordinates, np.ones(6), crs=None, line=coarse.frame["line"], source="track"
    )
    assert find_crossings(shallow).frame.empty  # 25 m do not


def test_near_parallel_stretches_are_left_out() -> None:
    slope = np.tan(np.radians(10))
    lines = straight((-50, -50 * slope), (50, 50 * slope), 21), straight((-50, 1), (50, 1), 21)
    assert find_crossings(survey(*lines)).frame.empty
    found = only(find_crossings(survey(*lines), min_angle=5))
    assert found.angle_deg == pytest.approx(10)
    back = survey(lines[0][::-1], lines[1])
    assert only(find_crossings(back, min_angle=5)).angle_deg == pytest.approx(10)


def test_a_line_that_comes_back_crosses_itself() -> None:
    turn = np.linspace(0, 1.5 * np.pi, 60)
    loop = 60 * np.column_stack([np.sin(turn), 1 - np.cos(turn)])
    line = np.concatenate(
        [straight((-90, 0), (-1, 0), 30), loop, straight((-50, 60), (-50, -40), 30)]
    )
    found = only(find_crossings(survey(line)))
    assert found.line_a == found.line_b == "L0"
    assert (found.easting, found.northing) == pytest.approx((-50, 0), abs=1e-6)


def test_a_boat_that_lies_still_does_not_cross_its_own_noise() -> None:
    noise = np.random.default_rng(4).normal(0, 1.0, (200, 2))
    assert find_crossings(survey(noise)).frame.empty


def test_points_of_no_line_do_not_take_part() -> None:
    soundings = survey(WEST_EAST, SOUTH_NORTH, line="", source="point")
    assert find_crossings(soundings).frame.empty


def test_more_soundings_on_each_side_halve_the_noise() -> None:
    random = np.random.default_rng(11)
    offsets = np.arange(0, 2000, 20.0)
    lines = [straight((x, -42), (x, 42), 13) for x in offsets]
    tie = straight((-50, 3.5), (2050, 3.5), 421)
    place = np.concatenate([*lines, tie])
    depth = plane(place) + random.normal(0, 1, len(place))
    spread = [
        find_crossings(survey(*lines, tie, depth=depth), each_side=k).frame.depth_a
        - 10 - 0.02 * offsets + 0.03 * 3.5
        for k in (1, 2)
    ]  # fmt: skip
    # derived: at a share s of the way, interpolating leaves s^2 + (1 - s)^2 of the variance, here
    # 0.5, and the fit through four soundings a quarter, both for s near a half
    assert spread[0].std() == pytest.approx(np.sqrt(0.5), abs=0.15)
    assert spread[1].std() == pytest.approx(0.5, abs=0.1)


@pytest.mark.parametrize("each_side", [1, 2, 5, 20])
def test_a_plane_is_met_by_any_fit(each_side: int) -> None:
    found = only(find_crossings(survey(WEST_EAST, SOUTH_NORTH), each_side=each_side))
    assert found.depth_a == pytest.approx(10.115)
    assert found.difference == pytest.approx(0, abs=1e-12)


def test_one_search_serves_several_fits() -> None:
    random = np.random.default_rng(2)
    lines = [straight((x, -42), (x, 42), 13) for x in (0.0, 20, 40)]
    lines += [straight((-30, y), (70, y), 21) for y in (-20.0, 3.5)]
    whole = survey(*lines, depth=random.uniform(4, 5, 81))
    for each_side, table in zip((1, 2), crossings_by_sides(whole, (1, 2)), strict=True):
        alone = find_crossings(whole, each_side=each_side)
        pd.testing.assert_frame_equal(table.frame, alone.frame)
        assert table.notes == alone.notes


def test_how_far_a_difference_may_be_off_by_itself() -> None:
    # derived: WEST_EAST has soundings at 10 and 15, a fifth of the way before the crossing at 11;
    # SOUTH_NORTH at 0 and 7, half-way before 3.5. What a line shares falls out of the difference's
    # own error; interpolating leaves s^2 + (1 - s)^2 of a variance
    spread = {"sd": 0.13, "sd_shared": 0.12, "sd_xy": np.repeat([1.5, 2.0], [21, 13])}
    found = only(find_crossings(survey(WEST_EAST, SOUTH_NORTH, **spread)))
    own = 0.05**2 * (0.2**2 + 0.8**2 + 0.5)
    assert found.own_sd == pytest.approx(np.sqrt(own))
    assert found.place_sd == pytest.approx(2.5)
    unknown = only(find_crossings(survey(WEST_EAST, SOUTH_NORTH)))
    assert np.isnan(unknown.own_sd)
    assert unknown.place_sd == pytest.approx(np.hypot(2, 2))  # gps.gov, 4.9 m at 95 %


def test_the_fall_is_that_over_what_the_place_may_be_off_by() -> None:
    # a drop-off 4 m east of the crossing: no fall for who knows the place to a metre
    line, tie = straight((-20, 0), (20, 0), 41), straight((0.5, -20), (0.5, 20), 41)
    place = np.concatenate([line, tie])
    depth = 3 + np.clip(place[:, 0] - 4, 0, 3)
    sure, unsure = (
        only(find_crossings(survey(line, tie, depth=depth, sd_xy=sd))) for sd in (1.0, 6.0)
    )
    assert sure.fall_a == pytest.approx(0, abs=1e-9)
    assert unsure.fall_a > 0.1
    assert unsure.fall_b == pytest.approx(0, abs=1e-9)


def test_near_pairs_are_of_the_nearest_soundings() -> None:
    # beside WEST_EAST at (0, 3.5), (5, 3.5) ...: 2.0 m and 2.83 m away, then too far
    other = np.array([[0, 5.5], [7, 5.5], [30, 9.5]])
    table = find_crossings(survey(WEST_EAST, other), within=3.0).frame
    assert table.gap_m.tolist() == pytest.approx([2, np.sqrt(8)])
    assert table.easting.tolist() == pytest.approx([0, 6])
    assert table.depth_a.tolist() == pytest.approx(plane(WEST_EAST[[10, 11]]).tolist())
    assert table.depth_b.tolist() == pytest.approx(plane(other[:2]).tolist())
    assert find_near_pairs(survey(WEST_EAST, other), within=1.9).frame.empty


def test_a_near_pair_is_nearest_both_ways() -> None:
    close = np.array([[0, 0], [1, 0], [2, 0.0]]), np.array([[0.2, 0.5], [40, 0.5]])
    assert only(find_near_pairs(survey(*close))).gap_m == pytest.approx(np.hypot(0.2, 0.5))


def test_a_bad_option_is_refused() -> None:
    message = r"^max_step must be > 0 m, got 0$"
    with pytest.raises(ParameterError, match=message):
        find_crossings(survey(WEST_EAST), max_step=0)


def test_the_sample_survey_agrees_within_the_errors_it_was_made_with() -> None:
    folder = Path(__file__).resolve().parents[2] / "sample_layers"
    points = pd.read_csv(folder / "boat_points.csv")
    move = pyproj.Transformer.from_crs(4326, 32625, always_xy=True)
    place = np.column_stack(move.transform(points.longitude, points.latitude))
    lines = points.line.astype(str).to_numpy(object)
    soundings = Soundings.from_arrays(
        place, points.depth.to_numpy(), crs="EPSG:32625", line=lines, source="track"
    )
    table = find_crossings(soundings).frame
    ties = table.line_b.isin(["21", "22"])
    assert ties.all()
    assert len(table) == 28
    # depth errors of 0.08 m on both lines, and about 1 m of position on the slopes of the bed
    assert 0.08 < table.difference.std() < 0.2
    assert abs(table.difference.mean()) < 3 * 0.14 / np.sqrt(28)
