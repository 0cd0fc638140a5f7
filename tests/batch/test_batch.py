"""A whole batch: killed, stopped, taken up again; a stand-in does the waters."""

import os
import signal
import subprocess
import sys
import time
from collections import Counter
from pathlib import Path

import pytest
from invented_waters import jobs, stand_in

from toolbox.batch import batch as module
from toolbox.batch.batch import batch, clear_orphans, make_folder
from toolbox.batch.gathering import Gathered
from toolbox.batch.waters import Record
from toolbox.formats.paths import new_folder

SCRIPT = """
import sys
from pathlib import Path

from invented_waters import jobs, stand_in
from toolbox.batch import batch as module
from toolbox.batch.gathering import Gathered
from toolbox.batch.lock import locked

if __name__ == "__main__":
    module.do_water = stand_in
    out, late = sys.argv[1:]
    waits = {f"w{i}": f"wait {0.05 if i < 20 else late}" for i in range(30)}
    todo = jobs(Path(out, "waters"), **waits)
    with locked(out):
        outcome = module.batch(Gathered(tuple(todo)), out, workers=2)
    print(dict(outcome.counts), outcome.made, outcome.interrupted)
"""


def _start(tmp_path: Path, late: float) -> subprocess.Popen[str]:
    """Begin with thirty waters, of which the last ten take `late` seconds each."""
    script = tmp_path / "script.py"
    script.write_text(SCRIPT, encoding="utf-8")
    (tmp_path / "out" / "waters").mkdir(parents=True, exist_ok=True)
    tests = str(Path(__file__).resolve().parents[1])
    return subprocess.Popen(
        [sys.executable, script, tmp_path / "out", str(late)],
        stdout=subprocess.PIPE,
        text=True,
        env=os.environ | {"PYTHONPATH": os.pathsep.join([tests, os.environ.get("PYTHONPATH", "")])},
    )


def _wait_for(tmp_path: Path, count: int) -> None:
    end = time.monotonic() + 60
    while len(_done(tmp_path)) < count:
        assert time.monotonic() < end
        time.sleep(0.02)


def _done(tmp_path: Path) -> list[str]:
    path = tmp_path / "out" / "waters" / "done.txt"
    return path.read_text(encoding="utf-8").split() if path.exists() else []


def test_killed_half_way_and_started_again_nothing_is_done_twice_or_lost(tmp_path: Path) -> None:
    with _start(tmp_path, late=60) as process:
        _wait_for(tmp_path, 10)
        process.kill()
    time.sleep(0.3)  # its workers end with it
    half = len(_done(tmp_path))
    assert 10 <= half < 30
    with _start(tmp_path, late=0.05) as process:
        told, _ = process.communicate(timeout=60)
    done = Counter(_done(tmp_path))
    assert set(done) == {f"w{i}" for i in range(30)}
    # a folder that stood whole is never done again; one that was being moved may be
    assert sum(done.values()) - 30 <= 2
    folders = {path.name for path in (tmp_path / "out" / "waters").iterdir() if path.is_dir()}
    assert folders == set(done)
    assert "{'done': 30}" in told


def test_stopped_by_a_signal_it_writes_what_is_done(tmp_path: Path) -> None:
    with _start(tmp_path, late=60) as process:
        _wait_for(tmp_path, 5)
        process.send_signal(signal.SIGINT)
        told, _ = process.communicate(timeout=20)
    assert told.endswith("True\n")
    table = (tmp_path / "out" / "waters.csv").read_text(encoding="utf-8").splitlines()
    statuses = Counter(line.split(",")[2] for line in table[1:])
    assert sum(statuses.values()) == 30
    assert statuses["not done"] > 0
    assert statuses["done"] + statuses["not checked"] == len(set(_done(tmp_path)))
    assert not list((tmp_path / "out").glob("**/.*"))


def test_serial_and_processes_come_to_the_same(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(module, "do_water", stand_in)
    told = []
    for workers in (1, 2):
        out = tmp_path / str(workers)
        todo = jobs(out / "waters", a="ok", b="fail", c="ok")
        seen: list[Record] = []
        outcome = batch(Gathered(tuple(todo)), str(out), workers=workers, watch=seen.append)
        assert sorted(record.folder for record in seen) == ["a", "b", "c"]
        told.append([(record.folder, record.status, record.error) for record in outcome.records])
        assert (outcome.made, outcome.counts["failed"]) == (2, 1)
        again = batch(Gathered(tuple(todo)), str(out), workers=workers)
        assert (again.made, again.counts["done"]) == (0, 2)
    assert told[0] == told[1]


def test_orphans_go_and_a_result_that_was_set_aside_comes_back(tmp_path: Path) -> None:
    make_folder(str(tmp_path))
    orphan = tmp_path / "waters" / ".Long_Lake.0a1b2c3d"
    (orphan / "fresh").mkdir(parents=True)
    (orphan / "former").mkdir()
    (orphan / "former" / "water.json").write_text("{}", encoding="utf-8")
    (tmp_path / ".inputs.00000000").mkdir()
    (tmp_path / ".mine").mkdir()
    clear_orphans(str(tmp_path))
    assert sorted(path.name for path in tmp_path.iterdir()) == [".mine", "waters"]
    assert [path.name for path in (tmp_path / "waters").iterdir()] == ["Long_Lake"]
    assert (tmp_path / "waters" / "Long_Lake" / "water.json").exists()


def test_what_a_worker_of_a_scheduler_is_still_at_is_left_to_it(tmp_path: Path) -> None:
    make_folder(str(tmp_path))
    with new_folder(tmp_path / "waters" / "a") as folder:
        clear_orphans(str(tmp_path))
        (folder / "water.json").write_text("{}", encoding="utf-8")
    assert [path.name for path in (tmp_path / "waters").iterdir()] == ["a"]
