"""Results appear whole or not at all, and what was there before survives every failure."""

import errno
import os
from collections.abc import Callable
from contextlib import AbstractContextManager
from pathlib import Path

import pytest

from toolbox.errors import InputFileError, OutputError
from toolbox.formats.paths import existing_file, new_file, new_folder

FAULTS = [
    OSError(errno.ENOSPC, os.strerror(errno.ENOSPC)),
    PermissionError(errno.EACCES, os.strerror(errno.EACCES)),
    ValueError("bad figures"),
    KeyboardInterrupt(),
]
Door = Callable[..., AbstractContextManager[Path]]


def held(folder: Path) -> dict[str, bytes]:
    """Return everything in a folder, hidden files too."""
    return {
        str(path.relative_to(folder)): path.read_bytes() if path.is_file() else b""
        for path in folder.rglob("*")
    }


def fill(door: Door, place: Path, text: str) -> None:
    """Write a result of several parts, or of one."""
    if door is new_folder:
        (place / "a.txt").write_text(text)
        (place / "inner").mkdir()
        (place / "inner" / "b.txt").write_text(text)
    else:
        place.write_text(text)


def break_off(door: Door, place: Path, fault: BaseException) -> None:
    """Write half of a result, then fail."""
    fill(door, place, "half")
    raise fault


# ---- inputs ----


def test_a_file_with_something_in_it_is_returned(tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    path.write_text("1")
    assert existing_file(path) is path


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("nothing.csv", "nothing.csv does not exist$"),
        ("folder", "folder is a folder, a file is needed$"),
        ("empty.csv", "empty.csv is empty$"),
        ("dangling.csv", "dangling.csv does not exist$"),
        ("n" * 300, "cannot be read: File name too long$"),
        ("full.csv/below", "below does not exist$"),
    ],
)
def test_what_is_no_file_is_refused(name: str, words: str, tmp_path: Path) -> None:
    (tmp_path / "folder").mkdir()
    (tmp_path / "empty.csv").touch()
    (tmp_path / "full.csv").write_text("1")
    (tmp_path / "dangling.csv").symlink_to(tmp_path / "gone.csv")
    with pytest.raises(InputFileError, match=words):
        existing_file(tmp_path / name)


@pytest.mark.skipif(os.geteuid() == 0, reason="root may read everything")
def test_a_file_that_may_not_be_read_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "secret.csv"
    path.write_text("1")
    path.chmod(0)
    with pytest.raises(InputFileError, match=r"secret\.csv cannot be read: Permission denied$"):
        existing_file(path)


# ---- results ----


@pytest.mark.parametrize("door", [new_file, new_folder])
def test_a_result_appears_when_all_went_well(door: Door, tmp_path: Path) -> None:
    path = tmp_path / "deep" / "down" / "result"
    with door(path) as place:
        fill(door, place, "good")
        assert not path.exists()
    assert "good" in (path if door is new_file else path / "inner" / "b.txt").read_text()
    assert [entry.name for entry in path.parent.iterdir()] == ["result"]


@pytest.mark.parametrize("door", [new_file, new_folder])
@pytest.mark.parametrize("fault", FAULTS, ids=lambda fault: type(fault).__name__)
def test_nothing_is_left_of_a_result_that_failed(
    door: Door, fault: BaseException, tmp_path: Path
) -> None:
    expected = OutputError if isinstance(fault, OSError) else type(fault)
    words = r"result cannot be written: (No space left|Permission)|bad figures|^$"
    with pytest.raises(expected, match=words), door(tmp_path / "result") as place:
        break_off(door, place, fault)
    assert held(tmp_path) == {}


@pytest.mark.parametrize("door", [new_file, new_folder])
def test_what_is_there_is_not_touched(door: Door, tmp_path: Path) -> None:
    path = tmp_path / "result"
    with door(path) as place:
        fill(door, place, "former")
    before = held(tmp_path)
    with (
        pytest.raises(
            OutputError,
            match=r"result exists already; .* it with --overwrite \(in Python overwrite=True\)$",
        ),
        door(path),
    ):
        pytest.fail("the work must not begin")
    assert held(tmp_path) == before


@pytest.mark.parametrize("door", [new_file, new_folder])
def test_overwriting_replaces_the_whole(door: Door, tmp_path: Path) -> None:
    path = tmp_path / "result"
    with door(path) as place:
        fill(door, place, "former")
    if door is new_folder:
        (path / "stale.txt").write_text("stale")
    with door(path, overwrite=True) as place:
        fill(door, place, "new")
    wanted = {"a.txt": b"new", "inner": b"", "inner/b.txt": b"new"}
    assert (held(path) if door is new_folder else {"": path.read_bytes()}) == (
        wanted if door is new_folder else {"": b"new"}
    )
    assert [entry.name for entry in tmp_path.iterdir()] == ["result"]


@pytest.mark.parametrize("door", [new_file, new_folder])
@pytest.mark.parametrize("fault", FAULTS, ids=lambda fault: type(fault).__name__)
def test_the_former_result_survives_a_failure(
    door: Door, fault: BaseException, tmp_path: Path
) -> None:
    path = tmp_path / "result"
    with door(path) as place:
        fill(door, place, "former")
    before = held(tmp_path)
    expected = OutputError if isinstance(fault, OSError) else type(fault)
    words = r"result cannot be written|bad figures|^$"
    with pytest.raises(expected, match=words), door(path, overwrite=True) as place:
        break_off(door, place, fault)
    assert held(tmp_path) == before


@pytest.mark.parametrize(
    "fault", [OSError(errno.EIO, "I/O error"), KeyboardInterrupt()], ids=["I/O error", "interrupt"]
)
def test_the_former_folder_survives_a_failure_between_the_two_moves(
    fault: BaseException, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "result"
    with new_folder(path) as place:
        fill(new_folder, place, "former")
    before = held(tmp_path)
    move, moves = Path.rename, []

    def stumble(self: Path, target: Path) -> Path:
        moves.append(target)
        if len(moves) == 2:
            raise fault
        return move(self, target)

    monkeypatch.setattr(Path, "rename", stumble)
    expected = OutputError if isinstance(fault, OSError) else type(fault)
    with (
        pytest.raises(expected, match=r"result cannot be written|^$"),
        new_folder(path, overwrite=True) as place,
    ):
        fill(new_folder, place, "new")
    assert held(tmp_path) == before


@pytest.mark.parametrize("door", [new_file, new_folder])
@pytest.mark.parametrize("overwrite", [False, True])
@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("file/result", "result cannot be written: "),
        ("/dev/null/result", "result cannot be written: "),
        ("n" * 300, "cannot be written: File name too long"),
        ("n" * 250, "cannot be written: File name too long"),
    ],
    ids=["below a file", "below a device", "too long", "too long with its temporary name"],
)
def test_a_place_that_cannot_be_written_is_told(
    door: Door, overwrite: bool, name: str, words: str, tmp_path: Path
) -> None:
    (tmp_path / "file").touch()
    with (
        pytest.raises(OutputError, match=words),
        door(tmp_path / name, overwrite=overwrite),
    ):
        pytest.fail("the work must not begin")
    assert held(tmp_path) == {"file": b""}


def test_a_folder_is_never_replaced_by_a_file_nor_a_file_by_a_folder(tmp_path: Path) -> None:
    (tmp_path / "folder").mkdir()
    (tmp_path / "file").touch()
    for door, name in ((new_file, "folder"), (new_folder, "file")):
        with (
            pytest.raises(OutputError, match=f"{name} exists already"),
            door(tmp_path / name, overwrite=True),
        ):
            pytest.fail("the work must not begin")


def test_a_writer_that_wrote_nothing_is_no_success(tmp_path: Path) -> None:
    with (
        pytest.raises(OutputError, match=r"result cannot be written"),
        new_file(tmp_path / "result"),
    ):
        pass
    assert held(tmp_path) == {}


@pytest.mark.parametrize("door", [new_file, new_folder])
def test_results_get_the_rights_that_other_new_files_get(door: Door, tmp_path: Path) -> None:
    """A shared folder stays shared: temporary files are private, what comes of them is not."""
    with door(tmp_path / "result") as place:
        fill(door, place, "good")
    plain = tmp_path / "plain"
    plain.mkdir() if door is new_folder else plain.touch()
    assert (tmp_path / "result").stat().st_mode == plain.stat().st_mode


def test_what_is_written_beside_a_file_goes_with_it(tmp_path: Path) -> None:
    with new_file(tmp_path / "bed.shp") as place:
        place.write_text("shapes")
        place.with_suffix(".dbf").write_text("table")
    assert held(tmp_path) == {"bed.shp": b"shapes", "bed.dbf": b"table"}


def test_what_is_there_beside_a_file_is_not_touched(tmp_path: Path) -> None:
    def write() -> None:
        with new_file(tmp_path / "bed.shp") as place:
            place.write_text("shapes")
            place.with_suffix(".dbf").write_text("table")

    (tmp_path / "bed.dbf").write_text("other")
    with pytest.raises(OutputError, match=r"bed\.dbf exists already; choose another name"):
        write()
    assert held(tmp_path) == {"bed.dbf": b"other"}
    with new_file(tmp_path / "bed.shp", overwrite=True) as place:
        place.write_text("shapes")
        place.with_suffix(".dbf").write_text("table")
    assert held(tmp_path) == {"bed.shp": b"shapes", "bed.dbf": b"table"}
