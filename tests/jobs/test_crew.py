"""Each job has a process; what becomes of that is told of the job."""

import queue
import time
from collections.abc import Callable, Iterator
from multiprocessing.context import SpawnProcess
from pathlib import Path
from typing import Any

import numpy as np
import psutil
import pytest
from affine import Affine
from pyproj import CRS

from toolbox.formats.geotiff import write_grid
from toolbox.jobs.confine import environment
from toolbox.jobs.crew import BEGUN, DISMISSED, Crew, FullError
from toolbox.jobs.limits import GIB, Limits
from toolbox.jobs.work import Order
from toolbox.jobs.worker import DONE, FAILED
from toolbox.layers import Grid

LIMITS = Limits(seconds=60, memory=GIB, running=1, queued=2)


class Told:
    """Keeps what is told of one job."""

    def __init__(self) -> None:
        self.words: queue.Queue[tuple[str, Any]] = queue.Queue()

    def __call__(self, word: str, told: Any) -> None:
        self.words.put((word, told))

    def next(self) -> tuple[str, Any]:
        """Return what is told next."""
        return self.words.get(timeout=60)


@pytest.fixture(scope="module")
def crew(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Crew]:
    """Give a crew of one."""
    made = Crew(LIMITS, environment((), GIB), tmp_path_factory.mktemp("scratch"))
    made.start()
    yield made
    made.close()
    assert not any(psutil.pid_exists(pid) for pid in made.pids)


@pytest.fixture
def order(tmp_path: Path) -> Callable[..., Order]:
    """Give what makes an order for the slope of a plane in a folder of its own."""

    def make(name: str, size: int = 20, process: str = "slope", **values: Any) -> Order:
        inputs = tmp_path / name / "inputs"
        inputs.mkdir(parents=True)
        values_ = np.add.outer(np.arange(float(size)), np.zeros(size)).astype(np.float32)
        plane = Affine(1, 0, 0, 0, -1, size)
        write_grid(Grid(values_, plane, CRS.from_epsg(32633), "depth", "m"), inputs / "p.tif")
        return Order(process, tmp_path / name, "result.tif", values, {"depth": "p.tif"})

    return make


def test_a_job_is_done_in_another_process(crew: Crew, order: Callable[..., Order]) -> None:
    told, one = Told(), order("a")
    crew.submit(one, told)
    assert told.next() == (BEGUN, None)
    assert told.next() == (DONE, [])
    assert (one.folder / "result.tif").stat().st_size > 0
    assert sorted(path.name for path in one.folder.iterdir()) == ["inputs", "result.tif"]


def test_what_is_wrong_is_told_without_a_path(crew: Crew, order: Callable[..., Order]) -> None:
    told = Told()
    crew.submit(order("a", depth__band=3), told)
    assert told.next() == (BEGUN, None)
    assert told.next() == (FAILED, ("input", "p.tif has bands 1 to 1, got 3"))


def test_jobs_beyond_the_queue_are_refused(crew: Crew, order: Callable[..., Order]) -> None:
    orders = [order(f"{number}", 1000) for number in range(8)]
    tellers, dismissals, refused = [], [], 0
    for one in orders:
        told = Told()
        try:
            dismissals.append(crew.submit(one, told))
            tellers.append(told)
        except FullError:
            refused += 1
    assert refused >= 3
    for dismiss in dismissals:
        dismiss()
    for told in tellers:
        word = told.next()[0]
        assert (word if word != BEGUN else told.next()[0]) in (DISMISSED, DONE)


def test_a_full_queue_is_told(order: Callable[..., Order], tmp_path: Path) -> None:
    idle = Crew(Limits(queued=1), {}, tmp_path)  # never started
    dismiss = idle.submit(order("a"), Told())
    with pytest.raises(FullError, match="1 jobs are waiting, no more are taken"):
        idle.submit(order("b"), Told())
    dismiss()


def test_a_process_that_is_killed_takes_one_job_with_it(
    crew: Crew, order: Callable[..., Order]
) -> None:
    first, second = Told(), Told()
    crew.submit(order("a", 4000), first)
    crew.submit(order("b"), second)
    assert first.next() == (BEGUN, None)
    psutil.Process(crew.pids[0]).kill()
    word, (fault, why) = first.next()
    assert (word, fault) == (FAILED, "limit")
    assert why == "its process died: it took more memory than a job may, or crashed"
    assert [second.next()[0], second.next()[0]] == [BEGUN, DONE]


def test_a_job_that_takes_too_long_is_ended(tmp_path: Path, order: Callable[..., Order]) -> None:
    crew = Crew(Limits(seconds=0.05, memory=GIB), environment((), GIB), tmp_path)
    crew.start()
    try:
        told, begun = Told(), time.monotonic()
        crew.submit(order("a", 4000), told)
        assert told.next() == (BEGUN, None)
        assert told.next() == (FAILED, ("limit", "it took longer than 0.05 s"))
        assert time.monotonic() - begun < 60
    finally:
        crew.close()


def test_a_process_that_cannot_be_started_is_started_later(
    tmp_path: Path, order: Callable[..., Order], monkeypatch: pytest.MonkeyPatch
) -> None:
    start, failed = SpawnProcess.start, []

    def refusing(process: SpawnProcess) -> None:
        if not failed:
            failed.append(process)
            raise BlockingIOError(11, "Resource temporarily unavailable")
        start(process)

    monkeypatch.setattr(SpawnProcess, "start", refusing)
    monkeypatch.setattr("toolbox.jobs.crew._AGAIN", 0.1)
    crew = Crew(LIMITS, environment((), GIB), tmp_path)
    crew.start()
    try:
        told = Told()
        crew.submit(order("a"), told)
        assert [told.next()[0], told.next()[0]] == [BEGUN, DONE]
        assert len(failed) == 1
    finally:
        crew.close()


def test_a_watcher_that_fails_does_not_stop_the_others(
    crew: Crew, order: Callable[..., Order], capfd: pytest.CaptureFixture[str]
) -> None:
    def failing(word: str, told: Any) -> None:
        raise LookupError(f"no ear for {word}")

    told = Told()
    crew.submit(order("a"), failing)
    crew.submit(order("b"), told)
    assert [told.next()[0], told.next()[0]] == [BEGUN, DONE]
    assert "LookupError: no ear for begun" in capfd.readouterr().err
