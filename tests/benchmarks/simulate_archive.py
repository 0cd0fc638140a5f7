"""A discrete simulation of many tasks on many workers: how long, how well used, where it stops.

A task waits for the scheduler, which hands out one at a time and takes `handing` seconds for each;
then its input comes over the network, whose capacity all workers share; then it is computed; then
its output goes back the same way. A computation may straggle, and a worker may fail: then what it
had done of the task is lost, it starts anew, and the task is tried again. Everything follows from
one seed.

The network is one queue of bytes: a transfer takes its bytes over the worker's own speed, or ends
when the shared line has carried all that was asked for before and its own, whichever is later.
"""

import heapq
import math
from dataclasses import dataclass, replace

import numpy as np

__all__ = [
    "Cluster",
    "Outcome",
    "Tasks",
    "erlang_waiting",
    "expected_with_failures",
    "lower_bound",
    "most_useful_workers",
    "pollaczek_khinchine",
    "simulate",
]


@dataclass(frozen=True)
class Cluster:
    """What the work runs on.

    Parameters
    ----------
    workers : int
        Tasks at a time.
    handing : float
        What the scheduler spends on each task, s.
    line : float
        Capacity of the network that all share, MB/s.
    own_line : float
        Speed of one worker's connection, MB/s.
    straggling : float
        Share of computations that straggle.
    straggle : float
        How many times as long those take.
    between_failures : float
        Mean time between failures of one worker at work, s.
    restart : float
        From a failure until that worker takes work again, s.
    """

    workers: int
    handing: float = 0.0
    line: float = math.inf
    own_line: float = math.inf
    straggling: float = 0.0
    straggle: float = 1.0
    between_failures: float = math.inf
    restart: float = 0.0


@dataclass(frozen=True)
class Tasks:
    """What is to be done: seconds of computing, megabytes in and out, and when each arrives, s."""

    seconds: np.ndarray
    fetched: np.ndarray | float = 0.0
    stored: np.ndarray | float = 0.0
    arrival: np.ndarray | float = 0.0

    def __len__(self) -> int:
        return len(self.seconds)

    def longest_first(self) -> "Tasks":
        """Return the same tasks, those that compute longest first."""
        order = np.argsort(-self.seconds, kind="stable")
        columns = (np.broadcast_to(c, len(self))[order] for c in self._columns())
        return Tasks(*columns)

    def _columns(self) -> tuple[np.ndarray, ...]:
        columns = (self.seconds, self.fetched, self.stored, self.arrival)
        return tuple(np.asarray(column, float) for column in columns)

    def rows(self) -> np.ndarray:
        """Return seconds, megabytes in, megabytes out and arrival, shape (n, 4)."""
        return np.column_stack([np.broadcast_to(c, len(self)) for c in self._columns()])


@dataclass(frozen=True)
class Outcome:
    """What came of it.

    Parameters
    ----------
    makespan : float
        From the start to the last output, s.
    efficiency : float
        Seconds of computing asked for, over workers times makespan.
    waited : (n,) array
        From a task's arrival until a worker had it, s.
    failures : int
        Attempts that were lost.
    """

    makespan: float
    efficiency: float
    waited: np.ndarray
    failures: int


class _Line:
    """A network that carries bytes in the order in which they are asked for."""

    def __init__(self, shared: float, own: float) -> None:
        self._shared, self._own, self._free = shared, own, 0.0

    def carry(self, now: float, megabytes: float) -> float:
        """Return when a transfer that is asked for now has ended."""
        if not megabytes:
            return now
        self._free = max(now, self._free) + megabytes / self._shared
        return max(self._free, now + megabytes / self._own)


_FETCH, _COMPUTE, _STORE, _READY = range(4)


def simulate(tasks: Tasks, cluster: Cluster, *, seed: int = 0) -> Outcome:
    """Let the tasks run in their order, each on the first worker that is free.

    Parameters
    ----------
    tasks : Tasks
        In the order in which they are handed out.
    cluster : Cluster
        What they run on.
    seed : int
        Of straggling and failures.

    Returns
    -------
    Outcome
    """
    rng = np.random.default_rng(seed)
    rows, line = tasks.rows(), _Line(cluster.line, cluster.own_line)
    waited, failures, end, scheduler = np.zeros(len(rows)), 0, 0.0, 0.0
    # events in the order of time: (when, tie-breaker, what, task)
    events = [(0.0, number, _READY, -1) for number in range(min(cluster.workers, len(rows)))]
    number, next_task = len(events), 0

    def at(when: float, what: int, task: int) -> None:
        nonlocal number
        heapq.heappush(events, (when, number, what, task))
        number += 1

    while events:
        now, _, what, task = heapq.heappop(events)
        if what == _READY:
            if task < 0:
                if next_task == len(rows):
                    continue
                task, next_task = next_task, next_task + 1
            scheduler = max(now, scheduler, rows[task, 3]) + cluster.handing
            waited[task] = scheduler - rows[task, 3]
            at(scheduler, _FETCH, task)
        elif what == _FETCH:
            at(line.carry(now, rows[task, 1]), _COMPUTE, task)
        elif what == _COMPUTE:
            long, lost = _attempt(rows[task, 0], cluster, rng)
            failures += lost
            at(now + long, _READY if lost else _STORE, task)
        else:
            done = line.carry(now, rows[task, 2])
            end = max(end, done)
            at(done, _READY, -1)
    return Outcome(end, rows[:, 0].sum() / (cluster.workers * end), waited, failures)


def _attempt(seconds: float, cluster: Cluster, rng: np.random.Generator) -> tuple[float, bool]:
    """Return how long an attempt keeps its worker, and whether it was lost."""
    if cluster.straggling and rng.random() < cluster.straggling:
        seconds *= cluster.straggle
    if math.isinf(cluster.between_failures):
        return seconds, False
    alive = rng.exponential(cluster.between_failures)
    if alive < seconds:
        return alive + cluster.restart, True
    return seconds, False


def lower_bound(tasks: Tasks, cluster: Cluster) -> float:
    """Return what no number of workers and no order can beat, s; nobody straggles or fails.

    The greatest of: all computing over the workers, the longest task, all that the scheduler
    hands out, all bytes over the network.
    """
    seconds, fetched, stored, _ = tasks.rows().T
    carried = (fetched + stored) / cluster.own_line
    return max(
        (seconds + carried).sum() / cluster.workers,
        (seconds + carried).max(),
        len(tasks) * cluster.handing,
        (fetched + stored).sum() / cluster.line,
    )


def most_useful_workers(tasks: Tasks, cluster: Cluster) -> float:
    """Return the number of workers beyond which others add nothing.

    There the computing and carrying over the workers comes down to the longest task, to what
    the scheduler needs for all, or to what the network needs for all, whichever is greatest.
    """
    alone = lower_bound(tasks, replace(cluster, workers=1))
    endless = lower_bound(tasks, replace(cluster, workers=10**12))
    return alone / endless


def expected_with_failures(seconds: float, cluster: Cluster) -> float:
    """Return the expected time of a task that starts anew after each failure, s.

    (m + r) (e^(d / m) - 1) for a task of d seconds, failures m apart and a restart of r, if a
    worker fails only at work (derived: a renewal argument).
    """
    mean = cluster.between_failures
    return (mean + cluster.restart) * math.expm1(seconds / mean)


def pollaczek_khinchine(load: float, seconds: float, variation: float) -> float:
    """Return the mean wait for one worker if tasks arrive by chance, s.

    rho (1 + c^2) d / (2 (1 - rho)) with the load rho, the mean time d and its coefficient of
    variation c: 0 for equal tasks (M/D/1), 1 for exponential ones (M/M/1).
    """
    return load * (1 + variation**2) * seconds / (2 * (1 - load))


def erlang_waiting(workers: int, load: float, seconds: float) -> float:
    """Return the mean wait for one of several workers (M/M/k), s, by Erlang's second formula.

    Equal tasks (M/D/k) wait about half as long, the closer the heavier the load.
    """
    offered = workers * load
    blocked = 1.0
    for count in range(1, workers + 1):
        blocked = offered * blocked / (count + offered * blocked)
    waits = blocked / (1 - load * (1 - blocked))
    return waits * seconds / (workers * (1 - load))
