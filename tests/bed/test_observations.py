"""Means keep counts and noise, legs follow time and way, and shared errors do what they do."""

from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from toolbox.bed.observations import LEG_M, LEG_S, LOOSE, Observations, observe
from toolbox.errors import LayerError
from toolbox.layers import Soundings

SPREAD = {"sd": 0.1, "sd_shared": 0.06, "sd_xy": 1.5}


def sounded(place: Any, depth: Any = 5.0, **columns: Any) -> Soundings:
    place = np.atleast_2d(np.asarray(place, float))
    depth = np.broadcast_to(np.asarray(depth, float), len(place))
    return Soundings.from_arrays(place, depth, crs=None, **(SPREAD | columns))


def track(count: int, step: float, **columns: Any) -> Soundings:
    """Sound along a line to the east, `step` metres between pings."""
    place = np.column_stack([np.arange(count) * step, np.zeros(count)])
    return sounded(place, **({"line": "a", "source": "track"} | columns))


def seconds(values: Any) -> np.ndarray:
    start = np.datetime64("2024-05-01T06:00:00", "ms")
    return np.asarray(start + (1000 * np.asarray(values, float)).astype("timedelta64[ms]"))


# ---- means ----


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 2**32 - 1), st.floats(0.5, 60))
def test_means_conserve_soundings_and_their_sums(seed: int, cell: float) -> None:
    rng = np.random.default_rng(seed)
    count = int(rng.integers(1, 80))
    line = rng.choice(np.array(["", "a", "b", "c"], object), count)
    sources = {"": "point", "a": "track", "b": "track", "c": "cast"}
    soundings = sounded(
        rng.uniform(0, 100, (count, 2)),
        rng.uniform(0, 9, count),
        line=line,
        source=np.array([sources[name] for name in line], object),
        sd=rng.uniform(0.02, 0.3, count),
        sd_shared=rng.uniform(0, 0.3, count),
    )
    seen = observe(soundings, cell=cell)
    assert seen.count.sum() == count
    assert seen.count.min() >= 1
    assert seen.count @ seen.depth == pytest.approx(soundings.depth.sum())
    np.testing.assert_allclose(seen.count @ seen.place, soundings.coordinates.sum(axis=0))
    bare = int((soundings.frame["line"] == "").sum())
    named = seen.line < len(seen.names)
    np.testing.assert_array_equal(named, seen.leg >= 0)
    assert (np.diff(seen.line) >= 0).all()
    assert set(seen.names) == set(soundings.frame["line"]) - {""}
    for number, name in enumerate(seen.names):
        wanted = int((soundings.frame["line"] == name).sum())
        assert seen.count[seen.line == number].sum() == wanted
    assert seen.count[~named].sum() == bare
    assert len(np.unique(seen.line[~named])) == (~named).sum()
    legs = np.unique(seen.leg[seen.leg >= 0])
    np.testing.assert_array_equal(legs, np.arange(len(legs)))


def test_own_noise_averages_out_and_shared_noise_stays() -> None:
    # derived: sd^2 = own^2 + shared^2, and own^2 over the number
    seen = observe(track(4, 1.0), cell=100)
    assert seen.count.tolist() == [4]
    assert seen.own_variance == pytest.approx([(0.1**2 - 0.06**2) / 4])
    assert seen.level_sd == pytest.approx([0.06])
    assert seen.shifts[0] == pytest.approx(1.5 * np.eye(2))
    assert seen.loose_variance == pytest.approx([LOOSE * 1.5**2])


def test_unlike_noises_add_as_variances_do() -> None:
    # derived: the variance of a plain mean of n is the sum of their variances over n^2
    seen = observe(track(3, 1.0, sd=np.array([0.1, 0.2, 0.3]), sd_shared=0.0), cell=100)
    assert seen.own_variance == pytest.approx([(0.01 + 0.04 + 0.09) / 9])


def test_half_the_variance_is_shared_where_nobody_told() -> None:
    frame = track(1, 1.0).frame.drop(columns="sd_shared")
    seen = observe(Soundings(frame), cell=10)
    assert seen.level_sd == pytest.approx([0.1 * np.sqrt(0.5)])
    assert seen.own_variance == pytest.approx([0.005])
    told = observe(track(1, 1.0, sd_shared=np.nan), cell=10)
    assert told.level_sd == pytest.approx(seen.level_sd)


def test_what_is_shared_is_never_more_than_all_and_something_is_always_own() -> None:
    seen = observe(track(1, 1.0, sd=0.05, sd_shared=0.4), cell=10)
    assert seen.level_sd == pytest.approx([0.05])
    assert seen.own_variance == pytest.approx([0.01**2])
    perfect = observe(track(1, 1.0, sd=0.0, sd_shared=0.0, sd_xy=0.0), cell=10)
    assert perfect.own_variance == pytest.approx([0.01**2])
    assert perfect.loose_variance == [0]


def test_flagged_soundings_are_left_out() -> None:
    soundings = track(5, 1.0, depth=np.array([1.0, 2, 3, 4, 90]))
    soundings = soundings.reject(np.arange(5) == 4, "echo")
    seen = observe(soundings, cell=100)
    assert seen.count.tolist() == [4]
    assert seen.depth == pytest.approx([2.5])


def test_lines_that_meet_in_a_cell_stay_apart() -> None:
    place = [[1, 1], [2, 2], [1, 2], [2, 1]]
    seen = observe(sounded(place, [1.0, 3, 7, 9], line=np.array(["a", "a", "b", "b"])), cell=50)
    assert seen.depth.tolist() == [2, 8]
    assert seen.names == ("a", "b")


def test_soundings_without_a_line_share_their_errors_within_a_cell_and_no_further() -> None:
    seen = observe(sounded([[0, 0], [0.1, 0], [0, 60], [0, 61]], [1.0, 3, 5, 9]), cell=50)
    assert seen.depth.tolist() == [2, 7]
    # derived: own variance over the number, what is shared whole
    assert seen.own_variance == pytest.approx([0.08**2 / 2 + 0.06**2] * 2)
    assert seen.loose_variance == pytest.approx([1.5**2] * 2)
    assert not seen.level_sd.any()
    assert seen.leg.tolist() == [-1, -1]
    assert seen.shared_effects(np.ones((2, 2))).shape == (2, 0)
    assert seen.balance.shape == (0,)
    assert seen.common_sd == 0


def test_a_line_and_soundings_without_one_do_not_mix() -> None:
    line = np.array(["", "a", "", "a"], object)
    seen = observe(sounded([[0, 0]] * 4, [1.0, 2, 3, 4], line=line), cell=50)
    assert seen.depth.tolist() == [3, 2]
    assert seen.leg.tolist() == [0, -1]
    assert seen.level_sd == pytest.approx([0.06, 0])


@pytest.mark.parametrize("name", ["sd", "sd_xy"])
def test_spread_must_be_there(name: str) -> None:
    broken = track(3, 1.0, **{name: np.array([0.1, np.nan, 0.1])})
    with pytest.raises(
        LayerError, match=r"^soundings need sd and sd_xy, estimate their spread first$"
    ):
        observe(broken, cell=10)


# ---- legs ----


def test_legs_last_a_minute_where_times_are_known() -> None:
    seen = observe(track(31, 1.0, time=seconds(np.arange(31) * LEG_S / 9.99)), cell=0.5)
    assert np.bincount(seen.leg).tolist() == [10, 10, 10, 1]
    # times in the order of pings are all that counts, not how far the boat went
    fast = observe(track(31, 500.0, time=seconds(np.arange(31) * LEG_S / 9.99)), cell=0.5)
    np.testing.assert_array_equal(fast.leg, seen.leg)


def test_legs_are_75_m_where_times_are_not_known() -> None:
    seen = observe(track(31, LEG_M / 9.99), cell=0.5)
    assert np.bincount(seen.leg).tolist() == [10, 10, 10, 1]


def test_a_gap_in_times_is_bridged_by_way() -> None:
    times = seconds(np.arange(20) * 1.0)
    times[10:] = np.datetime64("NaT", "ns")
    seen = observe(track(20, LEG_M / 4, time=times), cell=0.5)
    # 9 s of way by time, then a quarter of a leg with each ping
    assert np.bincount(seen.leg).tolist() == [10 + 3, 4, 3]


def test_a_new_line_is_a_new_leg_and_legs_do_not_cross_lines() -> None:
    line = np.repeat(np.array(["a", "b"], object), 5)
    seen = observe(track(10, 1.0, line=line), cell=0.5)
    assert np.bincount(seen.leg).tolist() == [5, 5]
    mixed = observe(track(10, 1.0, line=line[[0, 5] * 5]), cell=0.5)
    assert np.bincount(mixed.leg).tolist() == [5, 5]


def test_a_cast_is_one_leg_however_long() -> None:
    seen = observe(track(40, 10.0, source="cast", time=seconds(np.arange(40) * 30)), cell=0.5)
    assert set(seen.leg) == {0}
    assert not seen.loose_variance.any()


def test_cells_do_not_join_two_legs() -> None:
    # there and back over the same ground, a minute apart
    east = np.r_[np.arange(10.0), np.arange(10.0)[::-1]]
    place = np.column_stack([east, np.zeros(20)])
    times = seconds(np.r_[np.arange(10), 100 + np.arange(10)])
    seen = observe(sounded(place, line="a", source="track", time=times), cell=100)
    assert seen.count.tolist() == [10, 10]
    assert seen.leg.tolist() == [0, 1]


def test_order_of_rows_does_not_matter_where_times_are_known() -> None:
    soundings = track(60, 1.0, time=seconds(np.arange(60) * 5.0), depth=np.arange(60) / 10)
    order = np.random.default_rng(3).permutation(60)
    shuffled = Soundings(soundings.frame.iloc[order].reset_index(drop=True))
    first, second = observe(soundings, cell=7), observe(shuffled, cell=7)
    assert len(first) == len(second)
    np.testing.assert_allclose(np.sort(second.depth), np.sort(first.depth))
    np.testing.assert_array_equal(np.bincount(second.leg), np.bincount(first.leg))


# ---- shifts ----


@pytest.mark.parametrize(
    ("bearing", "along", "across"),
    [
        # derived: a bearing turns clockwise from north, and its right hand lies 90 degrees on
        (0, (0, 1), (1, 0)),
        (90, (1, 0), (0, -1)),
        (180, (0, -1), (-1, 0)),
        (270, (-1, 0), (0, 1)),
        (30, (0.5, np.sqrt(0.75)), (np.sqrt(0.75), -0.5)),
    ],
)
def test_shifts_of_a_cast_lie_along_and_across_its_bearing(
    bearing: float, along: tuple[float, float], across: tuple[float, float]
) -> None:
    seen = observe(
        track(1, 1.0, source="cast", sd_along=0.5, sd_across=4.0, bearing=bearing), cell=9
    )
    np.testing.assert_allclose(seen.shifts[0, 0], 0.5 * np.array(along), atol=1e-12)
    np.testing.assert_allclose(seen.shifts[0, 1], 4.0 * np.array(across), atol=1e-12)


def test_a_cast_that_does_not_know_its_bearing_may_be_off_any_way() -> None:
    columns = {"sd_along": 0.5, "sd_across": 4.0, "bearing": np.array([45.0, np.nan])}
    seen = observe(track(2, 100.0, source="cast", **columns), cell=9)
    np.testing.assert_allclose(seen.shifts[1], 1.5 * np.eye(2))
    assert np.hypot(*seen.shifts[0, 1]) == pytest.approx(4.0)


# ---- effects ----


def hand_made() -> Observations:
    """Return two lines of two legs, and one sounding alone."""
    shifts = np.random.default_rng(4).normal(0, 1, (6, 2, 2))
    return Observations(
        np.zeros((6, 2)),
        np.zeros(6),
        np.ones(6),
        np.ones(6),
        np.array([0, 0, 0, 1, 1, 2]),
        ("a", "b"),
        np.array([0, 0, 1, 2, 3, -1]),
        np.array([0.1, 0.2, 0.3, 0.4, 0.5, 0.6]),
        shifts,
        np.ones(6, np.int64),
    )


def test_effects_are_levels_then_two_shifts_for_each_leg() -> None:
    seen = hand_made()
    gradient = np.random.default_rng(5).normal(0, 1, (6, 2))
    effects = seen.shared_effects(gradient).toarray()
    assert effects.shape == (6, 2 + 2 * 4)
    wanted = np.zeros_like(effects)
    for row, (line, leg) in enumerate([(0, 0), (0, 0), (0, 1), (1, 2), (1, 3)]):
        wanted[row, line] = seen.level_sd[row]
        for which in range(2):
            wanted[row, 2 + 2 * leg + which] = -seen.shifts[row, which] @ gradient[row]
    np.testing.assert_allclose(effects, wanted, atol=1e-15)
    assert not effects[5].any()


def test_a_shift_of_a_whole_leg_over_a_plane_is_the_effect_exactly() -> None:
    # derived: read at p - s, believed at p, on z = g . x the reading is off by -g . s
    rng = np.random.default_rng(6)
    believed, gradient = rng.uniform(0, 60, (12, 2)), np.array([0.2, -0.05])
    soundings = sounded(
        believed, line="a", source="cast", sd_along=0.7, sd_across=2.0, bearing=70.0
    )
    seen = observe(soundings, cell=1e-3)
    size = np.array([0.4, -1.3])  # of both errors, in standard deviations
    there = seen.place - np.einsum("k,nks->ns", size, seen.shifts)
    read = there @ gradient + 3
    effects = seen.shared_effects(np.tile(gradient, (12, 1)))
    off = effects @ np.r_[0.0, size]
    np.testing.assert_allclose(read, seen.place @ gradient + 3 + off, atol=1e-12)
    assert np.abs(off).min() > 0.05


def test_an_error_of_bearing_grows_along_a_cast_and_is_found_on_a_plane() -> None:
    # a cast to the north, 3 degrees off: each sounding lies across by its distance times that
    far = np.arange(5.0, 60, 5)
    soundings = sounded(
        np.column_stack([np.zeros(len(far)), far]),
        line="a",
        source="cast",
        sd_along=0.0,
        sd_across=far * np.radians(1.0),
        bearing=0.0,
    )
    seen = observe(soundings, cell=1.0)
    gradient = np.array([0.1, 0.02])
    meant = np.radians(3.0)
    truly = seen.place - np.column_stack([far * meant, np.zeros(len(far))])
    off = truly @ gradient - seen.place @ gradient
    effects = seen.shared_effects(np.tile(gradient, (len(far), 1))).toarray()
    size, *_ = np.linalg.lstsq(effects[:, [2]], off, rcond=None)
    assert size == pytest.approx([3.0])
    np.testing.assert_allclose(effects[:, [2]] @ size, off, atol=1e-12)


def test_levels_are_balanced_by_what_they_move() -> None:
    seen = hand_made()
    pull = np.array([0.1 + 0.2 + 0.3, 0.4 + 0.5])
    np.testing.assert_allclose(seen.balance, pull / np.hypot(*pull))
    # derived: one z ~ N(0, 1) of all lines moves the mean of all readings by z sum(pull) / n
    assert seen.common_sd == pytest.approx(pull.sum() / 6)


def test_selected_means_keep_their_numbers() -> None:
    seen = hand_made()
    part = seen.select(np.array([True, False, False, False, True, True]))
    assert part.names == seen.names
    assert part.leg.tolist() == [0, 3, -1]
    gradient = np.ones((6, 2))
    which = [0, 4, 5]
    np.testing.assert_allclose(
        part.shared_effects(gradient[which]).toarray(),
        seen.shared_effects(gradient)[which].toarray(),
    )
