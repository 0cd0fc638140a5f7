"""The work folder keeps what it is given, and finds it again."""

import os
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from toolbox.errors import OutputError
from toolbox.jobs.lock import held
from toolbox.jobs.names import new_id
from toolbox.jobs.record import Record, read_record, write_record
from toolbox.jobs.store import Store


def with_upload(store: Store, content: bytes = b"x") -> str:
    """Add an upload."""
    fresh = store.scratch / "fresh"
    fresh.write_bytes(content)
    return store.add_upload(fresh, "a.csv")


def test_jobs_and_uploads_are_found_again(tmp_path: Path) -> None:
    store = Store(tmp_path)
    upload = with_upload(store)
    done, open_ = Record(new_id(), "slope", result="result.tif"), Record(new_id(), "slope")
    for record in (done, open_):
        store.add_job(record)
    (store.job_folder(done) / "result.tif").write_bytes(b"II")
    done.begin()
    done.succeed(["a note"])
    store.keep(done)
    again = Store(tmp_path)
    assert again.uploads[upload].read_bytes() == b"x"
    assert again.jobs[done.id] == done
    assert again.result_file(again.jobs[done.id]) == store.job_folder(done) / "result.tif"
    assert again.jobs[open_.id].status == "failed"
    assert again.jobs[open_.id].message == "the server stopped before this job was done"


def test_when_a_job_is_over_only_its_result_stays(tmp_path: Path) -> None:
    store, record = Store(tmp_path), Record(new_id(), "slope", result="result.tif")
    folder = store.add_job(record)
    (folder / ".result.tif.0011").mkdir()
    (folder / "inputs" / "a.csv").write_bytes(b"x")
    (folder / "result.tif").write_bytes(b"II")
    record.begin()
    store.keep(record)
    assert (folder / "inputs" / "a.csv").exists()
    record.succeed([])
    store.keep(record)
    assert sorted(path.name for path in folder.iterdir()) == ["job.json", "result.tif"]
    failed = Record(new_id(), "slope", result="result.tif")
    folder = store.add_job(failed)
    (folder / "result.tif").write_bytes(b"half")
    failed.fail("limit", "too long")
    store.keep(failed)
    assert [path.name for path in folder.iterdir()] == ["job.json"]


def test_links_and_strangers_in_the_folder_are_not_followed(tmp_path: Path) -> None:
    secret = tmp_path / "secret"
    secret.mkdir()
    (secret / "a.csv").write_bytes(b"secret")
    work = tmp_path / "work"
    Store(work)
    (work / "uploads" / new_id()).symlink_to(secret)
    inner = work / "uploads" / new_id()
    inner.mkdir()
    (inner / "a.csv").symlink_to(secret / "a.csv")
    (work / "jobs" / "..a").mkdir()
    (work / "jobs" / new_id()).mkdir()
    store = Store(work)
    assert store.uploads == {}
    assert store.jobs == {}
    assert list((work / "uploads").iterdir()) == list((work / "jobs").iterdir()) == []
    assert (secret / "a.csv").read_bytes() == b"secret"


def test_what_is_older_is_removed(tmp_path: Path) -> None:
    store = Store(tmp_path)
    old, new = with_upload(store), with_upload(store)
    records = [Record(new_id(), "slope") for _ in range(3)]
    for record in records:
        store.add_job(record)
    for record in records[:2]:
        record.fail("input", "wrong")
        store.keep(record)
    past = time.time() - 100
    places = [store.uploads[old].parent]
    places += [store.job_folder(record) / "job.json" for record in (records[0], records[2])]
    for place in places:
        os.utime(place, (past, past))
    store.remove_older(50, lambda record: False)
    assert list(store.uploads) == [new]
    assert set(store.jobs) == {records[1].id, records[2].id}  # one is young, one is not over


def test_bytes_are_counted(tmp_path: Path) -> None:
    store = Store(tmp_path)
    with_upload(store, bytes(5000))
    assert store.used() == 5000


def test_a_file_that_goes_while_bytes_are_counted_hides_no_others(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    store = Store(tmp_path)
    for number in range(9):
        (store.scratch / f"{number}").write_bytes(bytes(1000))
    scan = os.scandir

    @contextmanager
    def scanned(folder: str) -> Iterator[list[os.DirEntry[str]]]:
        with scan(folder) as entries:
            found = sorted(entries, key=lambda entry: entry.name)
        (store.scratch / "3").unlink(missing_ok=True)
        yield found

    monkeypatch.setattr(os, "scandir", scanned)
    assert store.used() == 8000


def test_an_upload_that_two_remove_is_gone(tmp_path: Path) -> None:
    store = Store(tmp_path)
    upload = with_upload(store)
    store.remove_upload(upload)
    store.remove_upload(upload)
    assert store.uploads == {}
    assert list((tmp_path / "uploads").iterdir()) == []


def test_a_record_is_read_whole_or_not_at_all(tmp_path: Path) -> None:
    path = tmp_path / "job.json"
    record = Record(new_id(), "slope", wanted={"response": "raw"})
    write_record(record, path)
    assert read_record(path) == record
    content = path.read_bytes()
    for cut in range(len(content)):
        path.write_bytes(content[:cut])
        assert read_record(path) is None
    for other in (b"[]", b"5", b"{}", b'{"id": 1}'):
        path.write_bytes(other)
        assert read_record(path) is None


def test_one_at_a_time_is_at_a_folder(tmp_path: Path) -> None:
    in_use = pytest.raises(OutputError, match="work is in use by another server")
    with held(tmp_path / "work"), in_use, held(tmp_path / "work"):
        pass
    with held(tmp_path / "work"):
        assert (tmp_path / "work").is_dir()
