"""The simulation behind the planning page, against closed forms."""

import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sample_scripts import load

BENCHMARKS = Path(__file__).parent / "benchmarks"

archive = load("simulate_archive", BENCHMARKS)
growth = load("growth", BENCHMARKS)
lakes = load("lakes_of_a_state", BENCHMARKS)


def _makespan(seconds: list[float], workers: int, **options: Any) -> float:
    tasks = archive.Tasks(np.array(seconds, float))
    return float(archive.simulate(tasks, archive.Cluster(workers, **options)).makespan)


@settings(max_examples=100, deadline=None)
@given(st.lists(st.floats(0.01, 100), min_size=1, max_size=60), st.integers(1, 12))
def test_list_scheduling_keeps_to_graham_bound(seconds: list[float], workers: int) -> None:
    # Graham 1969, SIAM J. Appl. Math. 17:416, theorem 1 and its proof
    least = max(sum(seconds) / workers, max(seconds))
    most = sum(seconds) / workers + (1 - 1 / workers) * max(seconds)
    assert least * (1 - 1e-12) <= _makespan(seconds, workers) <= most * (1 + 1e-12)


@pytest.mark.parametrize("workers", [2, 3, 5, 8])
def test_worst_order_meets_graham_bound(workers: int) -> None:
    # derived: small tasks fill all workers evenly, then one long task comes; the best is `workers`
    seconds = [1.0] * (workers * (workers - 1)) + [float(workers)]
    assert _makespan(seconds, workers) == 2 * workers - 1
    tasks = archive.Tasks(np.array(seconds)).longest_first()
    assert archive.simulate(tasks, archive.Cluster(workers)).makespan == workers


@pytest.mark.parametrize("workers", [2, 3, 4, 7])
def test_longest_first_meets_its_own_bound(workers: int) -> None:
    # Graham 1969, theorem 2: 4/3 - 1/(3 k), met by these tasks, whose best is 3 k
    seconds = [float(s) for s in range(2 * workers - 1, workers, -1) for _ in range(2)]
    seconds += [float(workers)] * 3
    assert _makespan(seconds, workers) == pytest.approx(3 * workers * (4 / 3 - 1 / (3 * workers)))


@pytest.mark.parametrize(("count", "workers"), [(1, 1), (7, 2), (100, 8), (5, 9)])
def test_equal_tasks_run_in_rounds(count: int, workers: int) -> None:
    assert _makespan([2.5] * count, workers) == pytest.approx(2.5 * math.ceil(count / workers))


def test_scheduler_sets_the_pace_of_many_workers() -> None:
    # derived: each task is handed out after the one before it, the last one then still runs
    assert _makespan([4.0] * 300, 1000, handing=0.01) == pytest.approx(300 * 0.01 + 4)
    tasks = archive.Tasks(np.full(300, 4.0))
    useful = archive.most_useful_workers(tasks, archive.Cluster(1, handing=0.02))
    assert useful == pytest.approx(300 * 4 / (300 * 0.02))


def test_line_sets_the_pace_of_large_inputs() -> None:
    # derived: 200 inputs of 50 MB over 100 MB/s end after 100 s, then the last one is computed
    tasks = archive.Tasks(np.full(200, 1.0), fetched=50.0)
    found = archive.simulate(tasks, archive.Cluster(1000, line=100.0))
    assert found.makespan == pytest.approx(101)
    alone = archive.simulate(tasks, archive.Cluster(1, line=100.0, own_line=25.0))
    assert alone.makespan == pytest.approx(200 * (50 / 25 + 1))


def test_failures_cost_what_renewal_says() -> None:
    cluster = archive.Cluster(1, between_failures=100.0, restart=20.0)
    found = archive.simulate(archive.Tasks(np.full(20_000, 60.0)), cluster, seed=1)
    wanted = archive.expected_with_failures(60.0, cluster)
    assert wanted == pytest.approx(120 * (math.exp(0.6) - 1))
    assert found.makespan / 20_000 == pytest.approx(wanted, rel=0.02)
    assert found.failures / 20_000 == pytest.approx(math.exp(0.6) - 1, rel=0.03)


def test_stragglers_cost_their_share() -> None:
    found = _makespan([1.0] * 50_000, 1, straggling=0.1, straggle=5.0)
    assert found / 50_000 == pytest.approx(1 + 0.1 * 4, rel=0.02)


def _mean_wait(workers: int, load: float, equal: bool) -> float:
    rng, count = np.random.default_rng(5), 200_000
    arrival = np.cumsum(rng.exponential(1 / (workers * load), count))
    seconds = np.ones(count) if equal else rng.exponential(1.0, count)
    tasks = archive.Tasks(seconds, arrival=arrival)
    return float(archive.simulate(tasks, archive.Cluster(workers)).waited.mean())


@pytest.mark.parametrize("equal", [True, False])
def test_one_worker_waits_as_pollaczek_and_khinchine_say(equal: bool) -> None:
    # Pollaczek 1930, Khinchine 1932; the formula from memory
    wanted = archive.pollaczek_khinchine(0.7, 1.0, 0.0 if equal else 1.0)
    assert _mean_wait(1, 0.7, equal) == pytest.approx(wanted, rel=0.05)


def test_several_workers_wait_as_erlang_says() -> None:
    # Erlang 1917; M/M/2 at a load of 0.8 waits rho^2 / (1 - rho^2) = 1.7778 of a task (derived)
    assert archive.erlang_waiting(2, 0.8, 1.0) == pytest.approx(0.64 / 0.36)
    assert archive.erlang_waiting(1, 0.5, 1.0) == pytest.approx(1.0)
    assert _mean_wait(4, 0.8, equal=False) == pytest.approx(
        archive.erlang_waiting(4, 0.8, 1.0), rel=0.05
    )


def test_equal_tasks_wait_half_as_long_under_a_heavy_load() -> None:
    # the limit of M/D/k over M/M/k as the load goes to one is (0 + 1) / 2 (Kingman 1962 for one
    # worker, Kollerstrom 1974 for several; from memory)
    half = archive.erlang_waiting(4, 0.95, 1.0) / 2
    assert _mean_wait(4, 0.95, equal=True) == pytest.approx(half, rel=0.15)


def test_same_seed_same_outcome() -> None:
    tasks = archive.Tasks(np.full(500, 3.0), fetched=2.0, stored=1.0)
    cluster = archive.Cluster(
        7, 0.01, 50.0, 10.0, straggling=0.05, straggle=3.0, between_failures=60.0, restart=5.0
    )
    one, same, other = (archive.simulate(tasks, cluster, seed=seed) for seed in (3, 3, 4))
    assert one.makespan == same.makespan
    assert one.makespan != other.makespan
    assert one.makespan >= archive.lower_bound(tasks, cluster)


@pytest.mark.parametrize(("fixed", "power"), [(0.0, 1.0), (3.0, 1.1), (0.5, 0.8), (20.0, 1.3)])
def test_growth_is_found_again(fixed: float, power: float) -> None:
    counts = np.array([1e3, 1e4, 1e5, 1e6])
    found = growth.fitted(counts, fixed + 1e-4 * counts**power)
    assert found.power == pytest.approx(power, abs=1e-6)
    assert found.fixed == pytest.approx(fixed, rel=1e-6, abs=1e-6)
    assert found.at(3e5) == pytest.approx(fixed + 1e-4 * 3e5**power)


def test_growth_asks_for_three_sizes() -> None:
    with pytest.raises(ValueError, match="growth asks for three sizes, got 2"):
        growth.fitted(np.array([1.0, 2.0]), np.array([1.0, 2.0]))


def test_steps_are_plain_exponents() -> None:
    assert growth.steps(np.array([10.0, 100.0]), np.array([3.0, 300.0])) == pytest.approx([2.0])


@pytest.mark.parametrize("power", [0.7, 0.925, 1.3])
def test_areas_of_lakes_follow_their_law(power: float) -> None:
    # derived: the mean of a Pareto law between two ends
    state = lakes.Lakes(count=200_000, least=0.1, greatest=50.0, power=power)
    areas, ratio = state.areas(), 50.0 / 0.1
    mean = 0.1 * power / (1 - power) * (ratio ** (1 - power) - 1) / (1 - ratio**-power)
    assert areas.mean() == pytest.approx(mean, rel=1e-3)
    beyond = ((2.0 / 0.1) ** -power - ratio**-power) / (1 - ratio**-power)
    assert (areas > 2.0).mean() == pytest.approx(beyond, abs=1e-5)
    assert areas.min() >= 0.1
    assert areas.max() <= 50.0


def test_soundings_of_a_lake_by_hand() -> None:
    # derived: 1 km2, lines 50 m apart, one sounding each 1.5 m, an eighth more on tie lines
    state = lakes.Lakes(count=1, least=1.0, greatest=1.0 + 1e-12)
    assert state.soundings() == pytest.approx([1e6 / (50 * 1.5) * 1.125])


def test_unlikeness_is_one_on_average() -> None:
    assert lakes.Lakes(count=100_000).unlikeness().mean() == pytest.approx(1, rel=0.005)
