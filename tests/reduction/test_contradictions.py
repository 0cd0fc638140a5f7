"""Stretches of a line that cannot be the bed if the lines they meet are."""

import numpy as np
import pytest
from numpy.typing import NDArray

from toolbox.layers import Soundings
from toolbox.reduction.contradictions import CONTRADICTS, reject_wrong_stretches
from toolbox.reduction.echoes import DOUBLE, TRIPLE
from toolbox.reduction.planes import UNLIKE

Floats = NDArray[np.float64]
ALONG = np.arange(0, 400, 2.5)


class Net:
    """Lines every 50 m to the north and every 80 m to the east, over a bed that falls eastward."""

    def __init__(self, north: int = 7, east: int = 4, noise: float = 0.05) -> None:
        lines = [(f"n{k}", np.full(160, 50.0 * k + 20), ALONG) for k in range(north)]
        lines += [(f"e{k}", ALONG, np.full(160, 80.0 * k + 40)) for k in range(east)]
        self.names = np.repeat([name for name, _, _ in lines], 160)
        self.place = np.concatenate([np.column_stack([e, n]) for _, e, n in lines])
        bed = 6 + 0.02 * self.place[:, 0] + np.sin(self.place[:, 1] / 60)
        self.depth = bed + np.random.default_rng(1).normal(0, noise, len(bed))

    def part(self, line: str, start: float, stop: float) -> NDArray[np.bool_]:
        along = self.place[:, 1 if line[0] == "n" else 0]
        return (self.names == line) & (along >= start) & (along < stop)

    def judged(self) -> Soundings:
        return reject_wrong_stretches(
            Soundings.from_arrays(self.place, self.depth, crs=None, line=self.names, source="track")
        )


def reasons(found: Soundings, which: NDArray[np.bool_]) -> set[str]:
    return set(found.frame["reason"][which])


def test_a_good_survey_is_left_alone() -> None:
    assert not Net().judged().flag.any()


@pytest.mark.parametrize("by", [-2.0, 1.0, 3.0, 14.0])
def test_a_stretch_that_two_lines_contradict(by: float) -> None:
    net = Net()
    part = net.part("n3", 100, 220)  # crossed at 120 and 200
    net.depth[part] += by
    found = net.judged()
    assert reasons(found, part) == {CONTRADICTS}
    assert not found.flag[~part].any()


def test_a_whole_line_that_all_others_contradict() -> None:
    net = Net()
    net.depth[net.names == "n3"] += 2
    found = net.judged()
    assert reasons(found, net.names == "n3") == {CONTRADICTS}
    assert reasons(found, net.names != "n3") == {""}


@pytest.mark.parametrize(("times", "reason"), [(2, DOUBLE), (3, TRIPLE)])
@pytest.mark.parametrize(("start", "stop"), [(130, 190), (100, 300)], ids=["uncrossed", "crossed"])
def test_a_multiple_with_a_leap_in_and_a_leap_out(
    times: int, reason: str, start: float, stop: float
) -> None:
    net = Net()
    part = net.part("n3", start, stop)
    net.depth[part] *= times
    found = net.judged()
    assert reasons(found, part) == {reason}
    assert not found.flag[~part].any()


def test_a_double_echo_to_the_end_of_a_line_needs_a_crossing() -> None:
    net = Net(north=1)
    part = net.part("n0", 300, 400)
    net.depth[part] *= 2
    assert not net.judged().flag.any()  # crossed nowhere: it may be a cliff
    net = Net(north=1)
    part = net.part("n0", 260, 400)  # crossed at 280
    net.depth[part] *= 2
    assert reasons(net.judged(), part) == {DOUBLE}


def test_double_echoes_that_agree_do_not_confirm_each_other() -> None:
    net = Net()
    part = net.part("n3", 60, 300) | net.part("e1", 150, 200)  # they cross at (170, 120)
    net.depth[part] *= 2
    found = net.judged()
    assert reasons(found, part) == {DOUBLE}
    assert not found.flag[~part].any()


def test_a_pit_that_the_crossing_lines_saw_too_is_kept() -> None:
    net = Net()
    pit = (np.abs(net.place[:, 0] - 170) < 45) & (np.abs(net.place[:, 1] - 160) < 70)
    net.depth[pit] *= 2
    assert not net.judged().flag.any()


def test_a_shaft_twice_as_deep_as_its_rim_that_two_lines_saw_is_kept() -> None:
    net = Net()
    shaft = np.hypot(net.place[:, 0] - 170, net.place[:, 1] - 120) < 12  # n3 and e1 cross there
    net.depth[shaft] *= 2
    assert set(net.names[shaft]) == {"n3", "e1"}
    assert not net.judged().flag.any()


@pytest.mark.parametrize("by", [-3.0, 3.0, 5.0])
def test_a_pit_or_a_rock_between_two_lines_is_kept(by: float) -> None:
    net = Net()
    part = net.part("n3", 148, 172)  # 24 m, where the next lines are 38 m away and more
    net.depth[part] += by
    assert not net.judged().flag.any()


def test_cliffs_across_the_survey_are_kept() -> None:
    net = Net()
    net.depth[net.place[:, 1] + 0.3 * net.place[:, 0] > 200] += 9
    net.depth[net.place[:, 0] > 240] += 5
    assert not net.judged().flag.any()


def test_of_two_lines_that_contradict_each_other_once_neither_is_flagged() -> None:
    net = Net(north=1, east=1)
    net.depth[net.names == "n0"] += 2
    assert not net.judged().flag.any()


def test_one_contradiction_decides_if_the_stretch_leaps_in_and_out() -> None:
    net = Net()
    part = net.part("n3", 110, 180)  # crossed at 120 only
    net.depth[part] += 2
    found = net.judged()
    assert reasons(found, part) == {CONTRADICTS}
    assert not found.flag[~part].any()


def test_a_short_run_gives_way_to_a_long_one() -> None:
    net = Net()
    part = net.part("n3", 0, 47.5) & (net.place[:, 1] >= 32.5)
    net.depth[net.part("n3", 0, 32.5)] = np.nan
    net.depth[part] += 7  # six soundings at the start of the line, crossed at 40
    soundings = Soundings.from_arrays(
        net.place, net.depth, crs=None, line=net.names, source="track"
    )
    found = reject_wrong_stretches(soundings)
    assert reasons(found, part) == {CONTRADICTS}


def test_without_crossings_the_lines_on_both_sides_tell() -> None:
    net = Net(north=7, east=0)
    part = net.part("n3", 100, 220)
    net.depth[part] -= 3
    found = net.judged()
    assert reasons(found, part) == {UNLIKE}
    assert not found.flag[~part].any()


def test_a_survey_in_one_line_judges_itself() -> None:
    # a log without line names: the boat goes there and back, then across
    net = Net()
    order = np.lexsort((np.arange(len(net.names)), net.names))
    place, depth = net.place[order], net.depth[order].copy()
    part = net.part("n3", 100, 220)[order]
    depth[part] += 3
    found = reject_wrong_stretches(
        Soundings.from_arrays(place, depth, crs=None, line="", source="track")
    )
    assert reasons(found, part) == {CONTRADICTS}
    assert not found.flag[~part].any()


def test_a_known_spread_of_position_excuses_more() -> None:
    slope = Net(noise=0.02)
    slope.depth += 0.3 * slope.place[:, 1]
    # 9 m off along its line, where the bed falls by 0.3 m a metre
    shifted = slope.place + np.where(slope.names == "n3", 9.0, 0.0)[:, None] * [0, 1]
    flags = [
        reject_wrong_stretches(
            Soundings.from_arrays(
                shifted, slope.depth, crs=None, line=slope.names, source="track", sd_xy=sd
            )
        ).flag.sum()
        for sd in (0.3, 8.0)
    ]
    assert flags[0] > 0
    assert flags[1] == 0
