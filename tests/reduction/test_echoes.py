"""Short runs that leave the bed and come back to it; cliffs, slopes, humps and pits stay."""

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from toolbox.layers import Soundings
from toolbox.reduction.echoes import (
    DOUBLE,
    PLANTS,
    SPIKE,
    TRIPLE,
    is_multiple,
    reject_double_echoes,
    reject_plant_tops,
    reject_spikes,
)

Floats = NDArray[np.float64]


def line(depth: Floats, **columns: object) -> Soundings:
    place = np.column_stack([np.arange(len(depth)) * 2.5, np.zeros(len(depth))])
    return Soundings.from_arrays(place, depth, crs=None, line="a", source="track", **columns)


def quiet(count: int = 200, level: float = 8.0, noise: float = 0.05, seed: int = 1) -> Floats:
    """Return a level bed, read with errors that are bounded, so that none is an outlier."""
    return np.asarray(level + np.random.default_rng(seed).uniform(-noise, noise, count))


def where(soundings: Soundings, reason: str) -> list[int]:
    return np.flatnonzero((soundings.frame["reason"] == reason).to_numpy()).tolist()


@pytest.mark.parametrize("length", [1, 2, 3])
@pytest.mark.parametrize("by", [-1.0, 1.0, 30.0])
def test_a_spike_is_found(length: int, by: float) -> None:
    depth = quiet()
    depth[80 : 80 + length] += by
    found = reject_spikes(line(depth))
    assert where(found, SPIKE) == list(range(80, 80 + length))
    np.testing.assert_array_equal(found.depth, depth)


def test_a_longer_run_may_be_a_hump() -> None:
    depth = quiet()
    depth[80:84] += 2
    assert not reject_spikes(line(depth)).flag.any()


def test_a_spike_on_a_slope_is_found() -> None:
    depth = quiet() + 0.4 * np.arange(200)
    depth[90] += 1.0
    assert where(reject_spikes(line(depth)), SPIKE) == [90]


def test_neighbouring_spikes_are_found_one_after_the_other() -> None:
    depth = quiet()
    depth[[60, 62, 64, 66]] += [5, -3, 9, 4]
    assert where(reject_spikes(line(depth)), SPIKE) == [60, 62, 64, 66]


@pytest.mark.parametrize("height", [0.5, 3.0, 30.0])
def test_a_cliff_is_kept(height: float) -> None:
    depth = quiet() + np.where(np.arange(200) < 100, 0, height)
    assert not reject_spikes(line(depth)).flag.any()


def test_a_kink_a_hump_and_a_pit_are_kept() -> None:
    at = np.arange(200) * 2.5
    kink = np.abs(at - 250) * 0.5
    hump = -3 * np.exp(-(((at - 100) / 8) ** 2))
    pit = 5 * np.exp(-(((at - 400) / 8) ** 2))
    assert not reject_spikes(line(quiet() + kink + hump + pit)).flag.any()


def test_a_rough_stretch_excuses_more_than_a_smooth_one() -> None:
    depth = quiet(noise=0.02)
    depth[100:] += np.random.default_rng(3).uniform(-0.8, 0.8, 100)
    depth[[40, 150]] = 8.6
    found = reject_spikes(line(depth))
    assert found.flag[40]
    assert not found.flag[110:].any()


def test_the_ends_of_a_line_cannot_return_and_are_kept() -> None:
    depth = quiet()
    depth[[0, 199]] += 9
    assert not reject_spikes(line(depth)).flag.any()


@pytest.mark.parametrize(
    ("errors", "share"), [("normal", 0.005), ("laplace", 0.01)], ids=["normal", "laplace"]
)
def test_good_soundings_are_hardly_ever_flagged(errors: str, share: float) -> None:
    random = np.random.default_rng(20)
    noise = getattr(random, errors)(0, 0.1, 20_000)
    flagged = reject_spikes(line(10 + noise)).flag.mean()
    assert 0 < flagged <= share


def test_more_spreads_flag_less() -> None:
    depth = 10 + np.random.default_rng(20).normal(0, 0.1, 5000)
    counts = [reject_spikes(line(depth), sigmas=sigmas).flag.sum() for sigmas in (3, 4, 5, 6)]
    assert counts == sorted(counts, reverse=True)
    assert counts[0] > counts[3]


@pytest.mark.parametrize(("times", "reason"), [(2, DOUBLE), (3, TRIPLE)])
@pytest.mark.parametrize("draft", [0.0, 0.3])
@pytest.mark.parametrize("length", [1, 3])
def test_a_multiple_of_the_bed(times: int, reason: str, draft: float, length: int) -> None:
    depth = quiet()
    part = slice(100, 100 + length)
    # the echo has been to the bed several times, the draft is added once
    depth[part] = times * (depth[part] - draft) + draft
    found = reject_double_echoes(line(depth))
    assert where(found, reason) == list(range(100, 100 + length))
    assert found.flag.sum() == length


def test_a_spike_that_is_no_multiple_is_left_to_the_spikes() -> None:
    depth = quiet()
    depth[[50, 90, 130]] = [8 * 1.6, 8 / 2, 8 * 2.5]
    assert not reject_double_echoes(line(depth)).flag.any()
    assert where(reject_spikes(line(depth)), SPIKE) == [50, 90, 130]


def test_a_cliff_from_eight_to_sixteen_metres_is_no_double_echo() -> None:
    depth = quiet() + np.where(np.arange(200) < 100, 0, 8.0)
    assert not reject_double_echoes(line(depth)).flag.any()


def test_is_multiple() -> None:
    depth, bed = np.array([20.0, 21.0, 21.1, 19.4, 19.0]), np.full(5, 10.0)
    assert is_multiple(depth, bed, 2).tolist() == [True, True, False, True, True]
    # derived: with 0.3 m of draft a double echo over 1 m reads 2 x 0.7 + 0.3; never more than 2 m
    shallow = np.array([1.7, 1.41, 1.39, 2.11])
    assert is_multiple(shallow, np.ones(4), 2).tolist() == [True, True, False, False]
    assert is_multiple(shallow, np.ones(4), 2, noise=0.1).tolist() == [True, True, False, True]
    assert is_multiple(np.array([31.0]), np.array([10.0]), 3).tolist() == [True]


def weedy(tops: Floats) -> tuple[Floats, Floats]:
    """Return a bed at 3 m with plants up to 1.5 m, where some `tops` are read for the bed."""
    depth, canopy = quiet(120, 3.0), np.full(120, np.nan)
    canopy[30:90] = 1.5
    depth[50 : 50 + len(tops)] = tops
    canopy[50 : 50 + len(tops)] = np.nan
    return depth, canopy


@pytest.mark.parametrize("tops", [[1.5], [1.45, 1.6], [1.7, 1.4, 1.6]])
def test_a_plant_top_taken_for_the_bed(tops: list[float]) -> None:
    depth, canopy = weedy(np.array(tops))
    found = reject_plant_tops(line(depth, canopy=canopy))
    assert where(found, PLANTS) == list(range(50, 50 + len(tops)))


def test_shallow_soundings_without_plants_beside_them_are_no_plant_tops() -> None:
    depth, canopy = weedy(np.array([1.5]))
    assert not reject_plant_tops(line(depth)).flag.any()
    bare = np.where(np.arange(120) > 50, np.nan, canopy)  # plants on one side only
    assert not reject_plant_tops(line(depth, canopy=bare)).flag.any()


def test_a_reading_nearer_to_the_bed_than_to_the_plants_is_no_plant_top() -> None:
    depth, canopy = weedy(np.array([2.4]))
    assert not reject_plant_tops(line(depth, canopy=canopy)).flag.any()
    deeper, canopy = weedy(np.array([4.5]))
    assert not reject_plant_tops(line(deeper, canopy=canopy)).flag.any()


def test_lines_do_not_judge_each_other() -> None:
    depth = np.tile(quiet(40), 2)
    depth[40:] += 20
    place = np.column_stack([np.tile(np.arange(40) * 2.5, 2), np.repeat([0, 1.0], 40)])
    soundings = Soundings.from_arrays(
        place, depth, crs=None, line=np.repeat(["a", "b"], 40), source="track"
    )
    assert not reject_spikes(soundings).flag.any()


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 2**32 - 1), st.integers(0, 40))
@example(seed=0, count=35)
def test_nothing_is_lost_and_the_direction_of_travel_does_not_matter(seed: int, count: int) -> None:
    random = np.random.default_rng(seed)
    depth = np.round(random.exponential(3, count) + 0.3, 1)
    soundings = line(depth)
    for judge in (reject_double_echoes, reject_spikes):
        found = judge(soundings)
        assert len(found) == len(found.kept) + sum(found.rejections().values()) == count
        np.testing.assert_array_equal(found.depth, depth)
        back = Soundings(soundings.frame.iloc[::-1].reset_index(drop=True))
        np.testing.assert_array_equal(judge(back).flag[::-1], found.flag)
