"""Intervals are where all limits hold: by hand, and against a fine search."""

import math
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from toolbox.habitat.intervals import Interval, above_bed, intervals
from toolbox.habitat.species import Limit, Measure, OxygenDemand, Species
from toolbox.habitat.water_column import WaterColumn

DEPTH = np.array([0.0, 10.0])
WARM, RICH = np.array([25.0, 5.0]), np.array([10.0, 0.0])


def limit(measure: Measure, least: float | None = None, most: float | None = None) -> Limit:
    return Limit(measure, least, most, "illustrative")


def column(
    depth: np.ndarray = DEPTH, temperature: np.ndarray = WARM, oxygen: np.ndarray = RICH
) -> WaterColumn:
    return WaterColumn(depth, {"temperature_c": temperature, "oxygen_mg_l": oxygen}, 0.0)


COLD_AND_RICH = Species("x", (limit("temperature_c", most=20), limit("oxygen_mg_l", least=3)))


def test_limits_cross_lines_where_they_should() -> None:
    # derived: T = 25 - 2 z is 20 at 2.5 m, DO = 10 - z is 3 at 7 m
    (found,) = intervals(column(), COLD_AND_RICH)
    assert (found.upper, found.lower) == pytest.approx((2.5, 7.0))
    assert (found.upper_limit, found.lower_limit) == ("temperature_c", "oxygen_mg_l")
    assert found.known
    assert found.thickness == pytest.approx(4.5)


def test_no_limit_ends_it_at_surface_and_bed() -> None:
    easy = Species("x", (limit("temperature_c", 0, 30),))
    assert intervals(column(), easy) == [Interval(0.0, 10.0, True, "surface", "bed")]


def test_nothing_suits() -> None:
    assert intervals(column(), Species("x", (limit("oxygen_mg_l", least=11),))) == []
    apart = Species("x", (limit("temperature_c", most=10), limit("oxygen_mg_l", least=5)))
    assert intervals(column(), apart) == []
    # met in a single depth, 7.5 m, is thinner than any water
    touch = Species("x", (limit("temperature_c", most=10), limit("oxygen_mg_l", least=2.5)))
    assert intervals(column(), touch) == []


def test_limit_that_is_met_just_at_a_reading() -> None:
    depth, warm = np.array([0.0, 3.0, 6.0, 9.0]), np.array([26.0, 20.0, 14.0, 5.0])
    mild = Species("x", (limit("temperature_c", 14, 20),))
    assert intervals(column(depth, warm, warm), mild) == [
        Interval(3.0, 6.0, True, "temperature_c", "temperature_c")
    ]


def test_several_layers() -> None:
    # a minimum of oxygen between two layers, as below a thermocline
    depth, rich = np.array([0.0, 4.0, 6.0, 10.0]), np.array([9.0, 1.0, 1.0, 5.0])
    found = intervals(column(depth, rich, rich), Species("x", (limit("oxygen_mg_l", least=3),)))
    assert [(one.upper, one.lower) for one in found] == [
        (0.0, pytest.approx(3.0)),
        (pytest.approx(8.0), 10.0),
    ]
    assert [one.upper_limit for one in found] == ["surface", "oxygen_mg_l"]
    assert [one.lower_limit for one in found] == ["oxygen_mg_l", "bed"]


def test_limits_on_depth_and_light() -> None:
    shallow = Species("x", (limit("depth_m", 1, 6), limit("light", least=0.01)))
    # derived: 1 % of the light is left at ln(100) / k; k = 0.85 -> 5.418 m, as Poole and Atkins
    # 1929 give it for a Secchi depth of 2 m (k = 1.7 / Secchi, from memory)
    (found,) = intervals(column(), shallow, attenuation=0.85)
    assert (found.upper, found.lower) == pytest.approx((1.0, 5.418), abs=0.0005)
    assert (found.upper_limit, found.lower_limit) == ("depth_m", "light")
    (found,) = intervals(column(), shallow, attenuation=0.5)
    assert (found.lower, found.lower_limit) == (6.0, "depth_m")
    (dim,) = intervals(column(), Species("x", (limit("light", most=0.5),)), attenuation=0.5)
    assert dim.upper == pytest.approx(math.log(2) / 0.5)
    assert intervals(column(), Species("x", (limit("light", most=0),)), attenuation=0.5) == []


def test_what_was_not_read_is_unknown_where_known_limits_hold() -> None:
    depth = np.array([0.0, 4.0, 6.0, 10.0])
    warm, rich = np.array([25.0, 21.0, 15.0, 7.0]), np.array([10.0, 8.0, np.nan, np.nan])
    limits = (limit("temperature_c", most=24), limit("oxygen_mg_l", least=3))
    found = intervals(column(depth, warm, rich), Species("x", limits))
    assert [one.known for one in found] == [True, False]
    assert (found[0].upper, found[0].lower) == (1.0, 4.0)
    assert (found[0].upper_limit, found[0].lower_limit) == ("temperature_c", "unknown")
    assert (found[1].upper, found[1].lower) == (4.0, 10.0)
    # water that is too warm is known to be unsuitable, whatever its oxygen
    cold = (limit("temperature_c", most=11), limit("oxygen_mg_l", least=3))
    (unread,) = intervals(column(depth, warm, rich), Species("x", cold))
    assert (unread.upper, unread.lower, unread.known) == (8.0, 10.0, False)
    (dark,) = intervals(column(), Species("x", (limit("light", least=0.1),)))
    assert not dark.known


def test_oxygen_demand_holds_in_the_middle_of_a_line() -> None:
    # too warm above, too little oxygen below, though the two are one straight line each
    curve = OxygenDemand(0.40, 6e-6, 0.59, "Jacobson et al. 2008, from memory")
    (found,) = intervals(column(), Species("cisco", oxygen_demand=curve))
    assert (found.upper_limit, found.lower_limit) == ("oxygen_demand", "oxygen_demand")
    for depth in (found.upper, found.lower):
        assert 10 - depth == pytest.approx(float(curve.least(25 - 2 * depth)), abs=1e-9)
    assert 0 < found.upper < 2 < 9 < found.lower < 10


def test_oxygen_demand_that_is_met_in_a_thin_layer_alone() -> None:
    curve = OxygenDemand(6.65, 6e-6, 0.59, "illustrative")
    (found,) = intervals(column(), Species("x", oxygen_demand=curve))
    depth = np.linspace(0, 10, 200_001)
    held = depth[10 - depth >= curve.least(25 - 2 * depth)]
    assert 0 < held[-1] - held[0] < 1
    assert (found.upper, found.lower) == pytest.approx((held[0], held[-1]), abs=1e-4)
    thicker = OxygenDemand(6.75, 6e-6, 0.59, "illustrative")
    assert intervals(column(), Species("x", oxygen_demand=thicker)) == []


def test_cut_at_the_bed() -> None:
    parts = [Interval(1, 4, True, "surface", "x"), Interval(6, 9, True, "y", "unknown")]
    assert above_bed(parts, 8.0) == [parts[0], Interval(6, 8.0, True, "y", "bed")]
    assert above_bed(parts, 5.0) == parts[:1]


@st.composite
def waters(draw: st.DrawFn) -> WaterColumn:
    count = draw(st.integers(2, 7))
    steps = draw(st.lists(st.sampled_from([0.5, 1.0, 2.0]), min_size=count - 1, max_size=count - 1))
    read = st.one_of(st.just(math.nan), st.integers(0, 30))
    warm = draw(st.lists(read, min_size=count, max_size=count))
    rich = draw(st.lists(read, min_size=count, max_size=count))
    return column(np.r_[0.0, np.cumsum(steps)], np.array(warm, float), np.array(rich, float) / 2)


@st.composite
def kinds(draw: st.DrawFn) -> Species:
    warmth = draw(st.integers(0, 20))
    parts = [limit("temperature_c", warmth, warmth + draw(st.integers(1, 20)))]
    if draw(st.booleans()):
        parts.append(limit("oxygen_mg_l", draw(st.integers(0, 10))))
    if draw(st.booleans()):
        parts.append(limit("depth_m", draw(st.integers(0, 3)), draw(st.integers(3, 9))))
    rates = st.floats(0.05, 1.0)
    curve = OxygenDemand(0.4, draw(st.floats(1e-6, 0.1)), draw(rates), "illustrative")
    return Species("x", tuple(parts), curve if draw(st.booleans()) else None)


def search(water: WaterColumn, one: Species, depth: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Whether all limits hold at depths, and whether all that were read do, step by step."""
    at = {name: np.interp(depth, water.depth, values) for name, values in water.measured.items()}
    at["depth_m"] = depth
    holds, read = np.ones((2, len(depth)), bool)
    for measure in ("temperature_c", "oxygen_mg_l", "depth_m"):
        least, most = one.range_of(measure)
        if least > -math.inf or most < math.inf:
            missing = np.isnan(at[measure])
            read &= ~missing
            holds &= missing | ((at[measure] >= least) & (at[measure] <= most))
    if one.oxygen_demand is not None:
        spare = at["oxygen_mg_l"] - one.oxygen_demand.least(at["temperature_c"])
        read &= ~np.isnan(spare)
        holds &= np.isnan(spare) | (spare >= 0)
    return holds & read, holds & ~read


@given(waters(), kinds())
@settings(max_examples=150, deadline=None)
def test_intervals_are_what_a_fine_search_finds(water: WaterColumn, one: Species) -> None:
    # no depth of the search lies on a reading, where a missing neighbour would tell
    depth = (np.arange(4000) + 0.5) / 4000 * water.depth[-1]
    found = intervals(water, one)
    for known, held in zip((True, False), search(water, one, depth), strict=True):
        inside = np.zeros(len(depth), bool)
        near = np.zeros(len(depth), bool)
        for part in found:
            if part.known == known:
                inside |= (depth > part.upper) & (depth < part.lower)
                near |= (np.abs(depth - part.upper) < 1e-6) | (np.abs(depth - part.lower) < 1e-6)
        assert (inside == held)[~near].all()


@given(waters(), kinds(), st.integers(0, 4), st.floats(0.0, 3.0))
@settings(max_examples=100, deadline=None)
def test_a_tighter_limit_never_gives_more(
    water: WaterColumn, one: Species, which: int, by: float
) -> None:
    least, most = one.range_of("temperature_c")
    tighter = Species(
        "tighter",
        (*one.limits, limit("temperature_c", min(least + by, most), most))
        if which
        else (*one.limits, limit("oxygen_mg_l", by)),
        one.oxygen_demand,
    )

    def thickness(parts: list[Interval]) -> float:
        return sum(part.thickness for part in parts if part.known)

    assert thickness(intervals(water, tighter)) <= thickness(intervals(water, one)) + 1e-9


@given(waters(), kinds())
@settings(max_examples=60, deadline=None)
def test_layers_are_apart_and_in_order(water: WaterColumn, one: Species) -> None:
    found = intervals(water, one)
    edges = [edge for part in found for edge in (part.upper, part.lower)]
    assert edges == sorted(edges)
    assert all(part.thickness > 0 for part in found)
    for before, after in pairwise(found):
        assert before.lower < after.upper or before.known != after.known
