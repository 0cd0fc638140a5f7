"""A line that stays at one place sounds one depth, again and again."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from toolbox.layers import Soundings
from toolbox.reduction.standing import STATIONARY, reject_stationary

Floats = NDArray[np.float64]
SHARED = Path(__file__).resolve().parents[2].parent / "shared"


def line(place: Floats, depth: Floats | None = None, seconds: Floats | None = None) -> Soundings:
    depth = np.arange(len(place)) % 7 + 2.0 if depth is None else depth
    time = {}
    if seconds is not None:
        clock = pd.to_timedelta(seconds, unit="s")
        time = {"time": pd.Timestamp("2026-05-12", tz="UTC") + clock}
    return Soundings.from_arrays(place, depth, crs=None, line="a", source="track", **time)


def along(speed: float, count: int, step: float = 1.0) -> tuple[Floats, Floats]:
    seconds = np.arange(count) * step
    return np.column_stack([seconds * speed, np.zeros(count)]), seconds


def test_one_of_each_repeated_position_stays_and_it_has_the_median_depth() -> None:
    place = np.repeat([[0, 0], [30, 0], [60, 0.0]], [5, 1, 3], axis=0)
    depth = np.array([2.0, 9, 4, 3, 4, 7, 1, 5, 6])
    found = reject_stationary(line(place, depth))
    assert found.kept.depth.tolist() == [4, 7, 5]
    assert np.flatnonzero(~found.flag).tolist() == [2, 5, 7]
    assert found.rejections() == {STATIONARY: 6}


def test_a_moored_boat_swings() -> None:
    random = np.random.default_rng(7)
    place, seconds = random.uniform(-1.5, 1.5, (300, 2)), np.arange(300) * 1.0
    found = reject_stationary(line(place, seconds=seconds))
    assert found.flag.sum() == 299
    assert reject_stationary(line(place)).flag.sum() == 0  # no times: nobody knows how long


def test_a_boat_that_stops_on_its_way() -> None:
    out, _ = along(1.5, 100)
    pause = np.tile(out[-1], (120, 1)) + np.random.default_rng(1).normal(0, 0.5, (120, 2))
    place = np.concatenate([out, pause, out + out[-1] + [1.5, 0]])
    found = reject_stationary(line(place, seconds=np.arange(320) * 1.0))
    assert found.flag[110:210].sum() >= 99
    assert not found.flag[:90].any()
    assert not found.flag[230:].any()


@pytest.mark.parametrize(("speed", "flagged"), [(0.6, False), (0.25, False), (0.05, True)])
def test_a_cast_is_slow_and_not_stationary(speed: float, flagged: bool) -> None:
    place, seconds = along(speed, 400)
    assert reject_stationary(line(place, seconds=seconds)).flag.any() == flagged


def test_a_slow_drift_is_cut_into_groups() -> None:
    place, seconds = along(0.05, 2001)
    kept = reject_stationary(line(place, seconds=seconds), radius=5).kept.coordinates[:, 0]
    assert len(kept) == 20
    assert np.diff(kept).max() < 10


def test_a_clock_that_stands_still_makes_no_boat_stationary() -> None:
    place, _ = along(1.5, 200)
    assert not reject_stationary(line(place, seconds=np.zeros(200))).flag.any()


def test_radius_and_duration() -> None:
    place, seconds = along(0.2, 300)
    assert not reject_stationary(line(place, seconds=seconds)).flag.any()
    assert reject_stationary(line(place, seconds=seconds), radius=15).flag.any()
    assert reject_stationary(line(place, seconds=seconds), duration=20).flag.any()


def test_points_of_no_line_do_not_stand() -> None:
    soundings = Soundings.from_arrays(np.zeros((4, 2)), np.arange(4.0), crs=None)
    assert not reject_stationary(soundings).flag.any()


def test_the_moored_log_is_one_place() -> None:
    log = SHARED / "data" / "depth_sentences" / "moored.log"
    if not log.exists():
        pytest.skip("needs ../shared/data/depth_sentences, which is not part of the project")
    depths, places = [], []
    for sentence in log.read_text().splitlines():
        fields = sentence.split(",")
        if fields[0] == "$SDDBT":
            depths.append(float(fields[3]))
        if fields[0] == "$ECGLL" and len(places) < len(depths):
            minutes = [float(fields[1][2:]), float(fields[3][3:])]
            places.append([minutes[1] * 1160, minutes[0] * 1852])  # m, near 51 N
    count = len(places)
    found = reject_stationary(
        line(np.array(places), np.array(depths[:count]), np.arange(count) * 2.0)
    )
    assert count > 115
    assert len(found.kept) == 1
    assert 2.3 <= found.kept.depth[0] <= 2.5


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 2**32 - 1), st.integers(1, 80))
def test_nothing_is_lost_and_every_place_keeps_a_sounding(seed: int, count: int) -> None:
    random = np.random.default_rng(seed)
    place = np.cumsum(random.choice([0.0, 0.0, 2.0, 40.0], (count, 2)), axis=0)
    soundings = line(place, random.uniform(1, 9, count), np.cumsum(random.uniform(0, 40, count)))
    found = reject_stationary(soundings)
    assert len(found) == len(found.kept) + sum(found.rejections().values()) == count
    kept = found.kept.coordinates
    nearest = np.hypot(*(place[:, None] - kept).transpose(2, 0, 1)).min(axis=1)
    assert nearest.max() <= 2 * 5.0  # of a group within 5 m of its first
