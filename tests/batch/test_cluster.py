"""A real scheduler and four worker processes on this machine."""

import os
import re
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager, suppress
from functools import partial
from pathlib import Path
from typing import Any

import psutil
import pytest
from invented_waters import jobs, stand_in, write_surveys

from toolbox.batch.batch import clear_orphans
from toolbox.batch.cluster import by_cluster
from toolbox.batch.engines import one_by_one
from toolbox.batch.waters import Job
from toolbox.batch.work import do_water
from toolbox.errors import MissingExtraError, OutputError

TESTS = Path(__file__).resolve().parents[1]
TIMES = re.compile(rb'("made_at"|"seconds"): "?[^",\n]+"?')
"""The only fields of text files that tell the time of a run."""


@contextmanager
def _started(folder: Path, *arguments: str) -> Iterator[subprocess.Popen[bytes]]:
    environment = os.environ | {
        "PYTHONPATH": os.pathsep.join([str(TESTS), os.environ.get("PYTHONPATH", "")]),
        "NUMBA_NUM_THREADS": "1",
        "DASK_DISTRIBUTED__SCHEDULER__ALLOWED_FAILURES": "1",
    }
    command = [sys.executable, "-m", "dask", *arguments]
    with (folder / "log.txt").open("ab") as log:
        process = subprocess.Popen(command, cwd=folder, env=environment, stdout=log, stderr=log)
        try:
            yield process
        finally:
            _end(process)


def _end(process: subprocess.Popen[bytes]) -> None:
    """End a process, which ends its children, and whoever does not heed by force."""
    parent = psutil.Process(process.pid)
    children = parent.children(recursive=True)
    parent.terminate()
    _, left = psutil.wait_procs([parent], 20)
    if left:
        children = parent.children(recursive=True)
    _, left = psutil.wait_procs([*left, *children], 0 if left else 10)
    for one in left:
        with suppress(psutil.NoSuchProcess):
            one.kill()
    psutil.wait_procs(left, 10)
    process.wait(10)


@pytest.fixture(scope="module")
def cluster(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[str, list[int]]]:
    """Give the address of a real scheduler and the processes of its four workers."""
    folder = tmp_path_factory.mktemp("cluster")
    with ExitStack() as stack:
        file = folder / "scheduler.json"
        where = ("--host", "127.0.0.1", "--port", "0", "--dashboard-address", ":0")
        stack.enter_context(_started(folder, "scheduler", *where, "--scheduler-file", str(file)))
        address = _address(file)
        workers = stack.enter_context(
            _started(
                folder, "worker", address, "--nworkers", "4", "--nthreads", "1", "--no-dashboard"
            )
        )
        yield address, _worker_pids(address, workers.pid)


def _address(file: Path) -> str:
    import json

    end = time.monotonic() + 60
    while time.monotonic() < end:
        if file.exists() and file.read_text(encoding="utf-8").strip():
            return str(json.loads(file.read_text(encoding="utf-8"))["address"])
        time.sleep(0.1)
    raise TimeoutError("no scheduler")


def _worker_pids(address: str, _: int) -> list[int]:
    from distributed import Client

    with Client(address, timeout=60, set_as_default=False) as client:
        client.wait_for_workers(4, timeout=90)
        return sorted(client.run(os.getpid).values())


def test_same_folders_as_one_by_one_though_a_worker_is_killed(
    cluster: tuple[str, list[int]], tmp_path: Path
) -> None:
    address, pids = cluster
    write_surveys(tmp_path / "in", range(6))
    todo = [
        Job(f"w{i}", str(tmp_path / "in" / f"lake_{i}" / "survey.toml"), "", ("tables", "layers"))
        for i in range(6)
    ]
    one, many = (
        [
            Job(job.folder, job.survey, str(tmp_path / out / "waters" / job.folder), job.write)
            for job in todo
        ]
        for out in ("one", "many")
    )
    records = by_cluster(many, do_water, address)
    found = [next(records)]
    os.kill(pids[0], 9)
    found += records
    clear_orphans(str(tmp_path / "many"))  # of the worker that was killed
    assert sorted(record.folder for record in found) == [job.folder for job in many]
    assert [record.error for record in found if record.status != "done"] == []
    alone = list(one_by_one(one, do_water))
    assert [record.error for record in alone if record.status != "done"] == []
    assert _contents(tmp_path / "one") == _contents(tmp_path / "many")


def _contents(folder: Path) -> dict[str, bytes]:
    """All bytes of a folder but those that tell the time."""
    found = {}
    for path in sorted(folder.rglob("*")):
        if path.is_file() and path.suffix == ".gpkg":
            found[str(path.relative_to(folder))] = _dump(path)
        elif path.is_file():
            found[str(path.relative_to(folder))] = TIMES.sub(b"", path.read_bytes())
    assert len(found) > 8
    return found


def _dump(path: Path) -> bytes:
    """Return all that a GeoPackage holds but its times."""
    import sqlite3
    from contextlib import closing

    with closing(sqlite3.connect(path)) as file:
        lines = [line for line in file.iterdump() if "rtree" not in line]
    times = re.compile(r"'\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}Z'")
    return "\n".join(times.sub("", line) for line in lines).encode()


def test_a_water_that_takes_workers_down_fails_and_the_others_are_done(
    cluster: tuple[str, list[int]], tmp_path: Path
) -> None:
    waters = {f"w{i}": "ok" for i in range(20)} | {"bad": "die"}
    found = list(by_cluster(jobs(tmp_path, **waters), stand_in, cluster[0]))
    statuses = {record.folder: record.status for record in found}
    assert len(found) == len(waters)
    assert statuses == dict.fromkeys(waters, "done") | {"bad": "failed"}
    (bad,) = (record for record in found if record.folder == "bad")
    assert bad.error.startswith("it took its workers down: ")
    done = (tmp_path / "done.txt").read_text(encoding="utf-8").split()
    assert sorted(done) == sorted(f"w{i}" for i in range(20))


def test_what_does_not_heed_is_ended_by_force(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(psutil, "wait_procs", partial(_wait_briefly, psutil.wait_procs))
    deaf = "import signal, time; signal.signal(15, signal.SIG_IGN); print(0, flush=True);"
    code = f"import subprocess, sys; subprocess.Popen([sys.executable, '-c', sys.argv[1]]); {deaf}"
    program = [sys.executable, "-c", f"{code} time.sleep(60)", f"{deaf} time.sleep(60)"]
    with subprocess.Popen(program, stdout=subprocess.PIPE) as process:
        assert process.stdout is not None
        assert [process.stdout.readline() for _ in range(2)] == [b"0\n"] * 2
        (child,) = psutil.Process(process.pid).children()
        _end(process)
        assert not psutil.pid_exists(process.pid)
        assert not child.is_running() or child.status() == psutil.STATUS_ZOMBIE


def _wait_briefly(wait: Callable[..., Any], processes: list[psutil.Process], seconds: float) -> Any:
    return wait(processes, min(seconds, 1))


def test_nobody_answers(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr("toolbox.batch.cluster._PATIENCE", 0.5)
    with pytest.raises(OutputError, match=r"^no scheduler answers at tcp://127.0.0.1:9: "):
        list(by_cluster(jobs(tmp_path, a="ok"), stand_in, "tcp://127.0.0.1:9"))


def test_what_is_missing_is_named_with_the_command_that_installs_it(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(MissingExtraError, match=re.escape("pip install 'leadline[cluster]'")):
        list(by_cluster(jobs(tmp_path, a="ok"), stand_in, "tcp://127.0.0.1:9"))
