"""Processes that do waters, fail, die and are stopped; a stand-in does the waters."""

import os
import subprocess
import sys
import time
from multiprocessing.context import SpawnProcess
from pathlib import Path

import psutil
import pytest
from invented_waters import jobs, stand_in

from toolbox.batch.engines import by_processes, one_by_one
from toolbox.batch.waters import Record
from toolbox.errors import OutputError


def _told(records: list[Record]) -> dict[str, str]:
    return {record.folder: record.status for record in records}


def test_one_by_one_keeps_the_order(tmp_path: Path) -> None:
    todo = jobs(tmp_path, b="ok", a="fail", c="ok")
    records = list(one_by_one(todo, stand_in))
    assert _told(records) == {"b": "done", "a": "failed", "c": "done"}
    assert [record.folder for record in records] == ["b", "a", "c"]


def test_processes_do_every_water_once_whatever_fails(tmp_path: Path) -> None:
    todo = jobs(tmp_path, **{f"w{i}": "fail" if i % 5 == 0 else "ok" for i in range(20)})
    records = list(by_processes(todo, stand_in, 2))
    assert _told(records) == {f"w{i}": "done" if i % 5 else "failed" for i in range(20)}
    assert len(records) == 20
    done = (tmp_path / "done.txt").read_text(encoding="utf-8").split()
    assert sorted(done) == sorted(f"w{i}" for i in range(20) if i % 5)
    pids = {record.figures.get("pid") for record in records} - {None}
    assert os.getpid() not in pids


def test_a_process_that_dies_takes_only_its_water_with_it(tmp_path: Path) -> None:
    waters = {f"w{i}": "ok" for i in range(8)} | {"bad": "die", "unlucky": "die once"}
    order = ["w0", "bad", "w1", "unlucky", *(f"w{i}" for i in range(2, 8))]
    todo = jobs(tmp_path, **{name: waters[name] for name in order})
    records = list(by_processes(todo, stand_in, 2))
    assert _told(records) == dict.fromkeys(order, "done") | {"bad": "failed"}
    assert len(records) == len(order)
    (bad,) = (record for record in records if record.folder == "bad")
    assert bad.error.startswith("its process died 2 times, the second time alone")
    done = (tmp_path / "done.txt").read_text(encoding="utf-8").split()
    assert len(done) == len(set(done)) == 9


def test_fresh_processes_take_over_and_none_is_left(tmp_path: Path) -> None:
    todo = jobs(tmp_path, **{f"w{i}": "ok" for i in range(7)})
    records = list(by_processes(todo, stand_in, 1, waters_each=3))
    pids = [record.figures["pid"] for record in records]
    assert [pids.count(pid) for pid in dict.fromkeys(pids)] == [3, 3, 1]
    assert not any(psutil.pid_exists(int(pid)) for pid in pids)


def test_stopping_early_ends_the_processes(tmp_path: Path) -> None:
    todo = jobs(tmp_path, first="ok", second="wait 60", third="wait 60")
    records = by_processes(todo, stand_in, 1)
    pid = int(next(records).figures["pid"])
    begun = time.monotonic()
    records.close()
    assert time.monotonic() - begun < 10
    assert not psutil.pid_exists(pid)


def test_a_worker_keeps_to_one_core(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("NUMBA_NUM_THREADS", raising=False)  # what a person set would stay
    before = dict(os.environ)
    (record,) = by_processes(jobs(tmp_path, a="ok"), stand_in, 1)
    assert record.figures["threads"] == 1
    assert dict(os.environ) == before


def test_workers_end_with_the_process_that_started_them(tmp_path: Path) -> None:
    code = (
        "import sys\nfrom pathlib import Path\n"
        "from invented_waters import jobs, stand_in\n"
        "from toolbox.batch.engines import by_processes\n"
        "if __name__ == '__main__':\n"
        "    todo = jobs(Path(sys.argv[1]), a='ok', b='wait 60')\n"
        "    for record in by_processes(todo, stand_in, 1):\n"
        "        print(int(record.figures['pid']), flush=True)\n"
    )
    script = tmp_path / "script.py"
    script.write_text(code, encoding="utf-8")
    tests = str(Path(__file__).resolve().parents[1])
    with subprocess.Popen(
        [sys.executable, script, tmp_path],
        stdout=subprocess.PIPE,
        text=True,
        env=os.environ | {"PYTHONPATH": os.pathsep.join([tests, os.environ.get("PYTHONPATH", "")])},
    ) as process:
        assert process.stdout is not None
        worker = psutil.Process(int(process.stdout.readline()))
        process.kill()
    assert worker.wait(timeout=10) is None
    assert not (tmp_path / "b").exists()


def test_with_fewer_processes_than_asked_for_all_waters_are_done(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    start, started = SpawnProcess.start, []

    def one_only(process: SpawnProcess) -> None:
        if started:
            raise BlockingIOError(11, "Resource temporarily unavailable")
        started.append(process)
        start(process)

    monkeypatch.setattr(SpawnProcess, "start", one_only)
    todo = jobs(tmp_path, **{f"w{i}": "ok" for i in range(5)})
    records = list(by_processes(todo, stand_in, 3))
    assert _told(records) == {f"w{i}": "done" for i in range(5)}
    with pytest.raises(OutputError, match="no process can be started to do the waters: Resource"):
        list(by_processes(todo, stand_in, 3))


def test_processes_share_the_memory_and_who_needs_more_is_done_alone_at_the_end(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delenv("LEADLINE_MEMORY", raising=False)
    monkeypatch.setattr("toolbox.blocks.memory.free_memory", lambda: 2**30)  # as the parent sees it
    before = dict(os.environ)
    waters = {"large": "need 0.5", "deadly": "need 0.5 dies", "vast": "need 100000"}
    todo = jobs(tmp_path, **waters, a="need 0.2", b="ok", c="ok")
    records = list(by_processes(todo, stand_in, 2, waters_each=2))
    assert dict(os.environ) == before
    assert _told(records[:3]) == dict.fromkeys("abc", "done")
    # derived: six tenths of 1 GiB for two; at most a byte's worth of rounding
    shares = [record.figures["allowed_gib"] for record in records[:3]]
    assert shares == pytest.approx([0.3] * 3, abs=1e-6)
    late = {record.folder: record for record in records[3:]}
    assert _told(records[3:]) == {"large": "done", "deadly": "failed", "vast": "failed"}
    assert late["large"].figures["allowed_gib"] > 0.5
    assert late["vast"].error == "too large"
    why = "its share of memory was too little, and alone its process died: out of memory, or a "
    assert late["deadly"].error == f"{why}crash"


def test_what_a_person_says_of_memory_holds_for_each_process(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("LEADLINE_MEMORY", "7 GiB")
    monkeypatch.setattr("toolbox.blocks.memory.free_memory", lambda: 2**30)
    records = list(by_processes(jobs(tmp_path, a="ok", b="ok"), stand_in, 2))
    assert [record.figures["allowed_gib"] for record in records] == [7, 7]
