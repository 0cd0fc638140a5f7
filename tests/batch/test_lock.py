"""One batch at a time."""

import json
import os
import socket
import subprocess
import sys
from pathlib import Path

import psutil
import pytest

from toolbox.batch.lock import LOCK, locked
from toolbox.errors import OutputError


def _write(folder: Path, **told: object) -> Path:
    own = {
        "host": socket.gethostname(),
        "pid": os.getpid(),
        "begun": psutil.Process().create_time(),
    }
    path = folder / LOCK
    path.write_text(json.dumps(own | told), encoding="utf-8")
    return path


def test_a_second_batch_is_refused_and_a_third_after_the_first_is_not(tmp_path: Path) -> None:
    with locked(str(tmp_path)):
        with (
            pytest.raises(OutputError, match=f"another batch \\(process {os.getpid()}\\) is at"),
            locked(str(tmp_path)),
        ):
            pass
        assert (tmp_path / LOCK).exists()  # the refused one has not taken the lock with it
    assert list(tmp_path.iterdir()) == []
    with locked(str(tmp_path)):
        assert (tmp_path / LOCK).exists()


def test_the_lock_of_a_batch_that_was_killed_is_no_obstacle(tmp_path: Path) -> None:
    code = (
        "import os, signal, sys\nfrom toolbox.batch.lock import locked\n"
        "with locked(sys.argv[1]):\n    os.kill(os.getpid(), signal.SIGKILL)\n"
    )
    subprocess.run([sys.executable, "-c", code, tmp_path], check=False)
    assert (tmp_path / LOCK).exists()
    with locked(str(tmp_path)):
        told = json.loads((tmp_path / LOCK).read_bytes())
    assert told["pid"] == os.getpid()


def test_a_process_that_got_the_number_of_a_dead_one_is_told_from_it(tmp_path: Path) -> None:
    _write(tmp_path, begun=psutil.Process().create_time() - 1000)
    with locked(str(tmp_path)):
        assert json.loads((tmp_path / LOCK).read_bytes())["pid"] == os.getpid()


def test_a_batch_of_another_machine_may_be_alive(tmp_path: Path) -> None:
    path = _write(tmp_path, host="elsewhere", pid=7)
    with (
        pytest.raises(OutputError, match=f"of elsewhere \\(process 7\\).*remove {path}"),
        locked(str(tmp_path)),
    ):
        pass
    assert path.exists()


def test_what_is_no_lock_is_left_alone(tmp_path: Path) -> None:
    (tmp_path / LOCK).write_text("notes", encoding="utf-8")
    with (
        pytest.raises(OutputError, match="is no lock of a batch; remove it"),
        locked(str(tmp_path)),
    ):
        pass
    assert (tmp_path / LOCK).read_text(encoding="utf-8") == "notes"


def test_a_lock_behind_a_url() -> None:
    with (
        locked("memory://locks"),
        pytest.raises(OutputError, match="another batch"),
        locked("memory://locks"),
    ):
        pass
    with locked("memory://locks"):
        pass


def test_on_a_disk_that_knows_no_links(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def refused(*_: object) -> None:
        raise PermissionError(1, "Operation not permitted")

    monkeypatch.setattr(os, "link", refused)
    with locked(str(tmp_path)):
        assert [path.name for path in tmp_path.iterdir()] == [LOCK]
        with pytest.raises(OutputError, match="another batch"), locked(str(tmp_path)):
            pass
    assert list(tmp_path.iterdir()) == []
