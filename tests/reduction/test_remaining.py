"""Judging anew only what a flag may have changed finds what judging everything anew finds."""

from collections.abc import Callable

import numpy as np
import pytest
from numpy.typing import NDArray

from toolbox.layers import Soundings
from toolbox.reduction import echoes
from toolbox.reduction.remaining import Remaining
from toolbox.reduction.stretches import Stretches, along_lines

Floats = NDArray[np.float64]
Judge = Callable[[Soundings], Soundings]


class Everything(Remaining):
    """Everything that remains is judged anew every time."""

    def changed(self, since: int) -> tuple[Stretches, NDArray[np.int64], NDArray[np.bool_]]:
        return super().changed(-1)


class Counted(Remaining):
    """Notes how much is looked at."""

    looked: list[int]

    def changed(self, since: int) -> tuple[Stretches, NDArray[np.int64], NDArray[np.bool_]]:
        part = super().changed(since)
        self.looked.append(len(part[0]))
        return part


def survey(seed: int, *, count: int = 12_000, breaks: float = 0.0) -> Soundings:
    """Return lines over a rough bed with blunders, cut to short stretches in places."""
    random = np.random.default_rng(seed)
    pause = random.random(count) < np.where(np.arange(count) % 1000 < 200, breaks, 0.0)
    easting = np.cumsum(random.uniform(0, 3, count) + 60 * pause)
    depth = 9 + np.cumsum(random.normal(0, 0.03, count)) + random.normal(0, 0.1, count)
    for at in random.integers(0, count - 3, 60):
        depth[at : at + random.integers(1, 4)] += random.choice([-1.0, 0.7, 1.5, 20.0])
    double = random.integers(0, count, 40)
    depth[double] *= 2
    line = (np.arange(count) // 700).astype(str)
    place = np.column_stack([easting, np.zeros(count)])
    depth = depth.round(2)
    depth[random.integers(count)] += 0.0005  # a finer step, until it is flagged
    return Soundings.from_arrays(place, depth, crs=None, line=line, source="track")


@pytest.mark.parametrize("judge", [echoes.reject_spikes, echoes.reject_double_echoes])
@pytest.mark.parametrize("breaks", [0.0, 0.3, 0.8])
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_parts_tell_what_the_whole_tells(
    judge: Judge, breaks: float, seed: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    given = survey(seed, breaks=breaks)
    Counted.looked = []
    monkeypatch.setattr(echoes, "Remaining", Counted)
    parts = judge(given)
    monkeypatch.setattr(echoes, "Remaining", Everything)
    whole = judge(given)
    assert parts.frame["reason"].tolist() == whole.frame["reason"].tolist()
    assert parts.flag.sum() >= 20
    assert min(Counted.looked) < len(given) / 2


def test_a_finer_step_that_is_flagged_asks_for_everything_anew() -> None:
    depth = np.tile([4.0, 4.1, 4.2], 2000)
    depth[3000] = 4.05
    place = np.column_stack([np.arange(6000.0), np.zeros(6000)])
    given = Soundings.from_arrays(place, depth, crs=None, line="a", source="track")
    remaining = Remaining(along_lines(given))
    remaining.flag(np.array([10]))
    lines, place_of, anew = remaining.changed(0)
    assert lines.resolution == pytest.approx(0.05)
    assert (np.abs(place_of[anew] - 10) <= 40).all()
    remaining.flag(np.array([3000]))
    lines, _, anew = remaining.changed(1)
    assert lines.resolution == pytest.approx(0.1)
    assert len(lines) == 5998
    assert anew.all()


def test_parts_are_lines_of_their_own() -> None:
    place = np.column_stack([np.arange(20_000.0), np.zeros(20_000)])
    depth = np.random.default_rng(1).normal(8, 0.1, 20_000).round(1)
    given = Soundings.from_arrays(place, depth, crs=None, line="a", source="track")
    remaining = Remaining(along_lines(given))
    remaining.flag(np.array([5000, 15_000]))
    lines, where, anew = remaining.changed(0)
    assert lines.line[[0, -1]].tolist() == [0, 1]
    assert (np.diff(where)[np.diff(lines.line) == 0] <= 2).all()
    assert not np.isin([5000, 15_000], where).any()
    assert anew[np.isin(where, [4999, 5001, 14_999, 15_001])].all()
