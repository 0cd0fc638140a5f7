"""The desk's folder, its process and its command."""

import signal
import subprocess
import sys
import zipfile
from pathlib import Path
from threading import Event
from typing import Any

import httpx
import pytest
from click.testing import CliRunner

from toolbox.desk.command import desk_command
from toolbox.desk.desk import Desk
from toolbox.desk.hand import Hand
from toolbox.desk.looking import _write as write
from toolbox.desk.workplace import SURVEY, Workplace, safe_name
from toolbox.errors import OutputError, ParameterError

START = "from toolbox.desk.command import desk_command as c; c()"


@pytest.mark.parametrize(
    ("given", "kept"),
    [
        ("lake.csv", "lake.csv"),
        ("Lake.GPKG", "Lake.gpkg"),
        ("Lake.XLSX", "Lake.xlsx"),
        ("a b/c\\d.csv", "d.csv"),
        ("CON.csv", "CON_given.csv"),
        ("survey.toml", "survey_given.toml"),
        ("a<b>:|?*.csv", "a_b_____.csv"),
        ("x" * 300 + ".csv", "x" * 180 + ".csv"),
        ("\u6e56" * 300 + ".csv", "\u6e56" * 60 + ".csv"),  # of three bytes each
        ("e\u0301tang.csv", "\u00e9tang.csv"),
    ],
)
def test_names_are_made_safe(given: str, kept: str) -> None:
    assert safe_name(given) == kept


def test_a_name_without_a_known_ending_is_refused() -> None:
    with pytest.raises(
        ParameterError, match=r"'a\.exe' is no kind of file that is read here: \.csv"
    ):
        safe_name("dir/a.exe")


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("a.zip", "is an archive: unpack it, and give what was in it"),
        ("lake.csv.gz", "is an archive: unpack it"),
        ("b.xls", "is a workbook: save its sheet as CSV, and give that"),
        ("b.numbers", "is a workbook: save its sheet as CSV"),
    ],
)
def test_what_is_to_be_made_of_other_files_is_told(name: str, words: str) -> None:
    with pytest.raises(ParameterError, match=f"^'{name}' {words}"):
        safe_name(name)


def test_a_file_is_kept_whole_or_not_at_all(tmp_path: Path) -> None:
    place = Workplace(tmp_path / "desk")
    place.store("a.csv", [b"first"])

    def broken() -> Any:
        yield b"second"
        raise OSError(28, "No space left on device")

    with pytest.raises(OutputError, match=r"a\.csv cannot be kept: No space left on device"):
        place.store("a.csv", broken())
    assert [p.name for p in place.inputs.iterdir()] == ["a.csv"]
    assert (place.inputs / "a.csv").read_bytes() == b"first"


@pytest.mark.skipif(sys.platform != "linux", reason="another process is limited on Linux only")
@pytest.mark.parametrize(
    ("size", "told"),
    [
        (300_000, "a.csv cannot be kept: File too large"),
        (20_000_000, "File too large"),  # while it is sent, in the folder for temporary files
    ],
)
def test_files_that_find_no_room_are_refused_in_one_line(
    size: int, told: str, started: Any, desk_folder: Path
) -> None:
    """Insufficient Storage: RFC 4918 (Dusseault, 2007), section 11.5."""
    import resource

    soft, hard = resource.prlimit(started.process.pid, resource.RLIMIT_FSIZE)
    resource.prlimit(started.process.pid, resource.RLIMIT_FSIZE, (100_000, hard))
    root = started.root.rstrip("/")
    try:
        with httpx.Client(base_url=root, headers={"origin": root}, timeout=60) as client:
            client.get(started.address)
            answer = client.post("/files", files={"file": ("a.csv", bytes(size))})
    finally:
        resource.prlimit(started.process.pid, resource.RLIMIT_FSIZE, (soft, hard))
    assert (answer.status_code, answer.text) == (507, f"there is no room for this: {told}")
    assert not list((desk_folder / "survey").glob("*a.csv*"))
    assert not list((desk_folder / "survey").glob(".*.part"))


def test_a_survey_file_that_finds_no_room_leaves_the_former_one(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / SURVEY
    write(path, "former")

    def full(self: Path, text: str, **_: Any) -> int:
        with self.open("w", encoding="utf-8") as file:
            file.write(text[:3])
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Path, "write_text", full)
    with pytest.raises(OutputError, match=r"^survey\.toml cannot be kept: No space left on device"):
        write(path, "another")
    assert [(p.name, p.read_text(encoding="utf-8")) for p in tmp_path.iterdir()] == [
        (SURVEY, "former")
    ]


def test_a_folder_with_other_things_is_refused(tmp_path: Path) -> None:
    (tmp_path / "thesis.txt").write_text("mine", encoding="utf-8")
    with pytest.raises(OutputError, match="holds other things: give a new or an empty folder"):
        Workplace(tmp_path)
    assert [p.name for p in tmp_path.iterdir()] == ["thesis.txt"]


def test_a_temporary_folder_is_taken_away_and_a_named_one_stays(tmp_path: Path) -> None:
    for place, stays in ((Workplace(), False), (Workplace(tmp_path / "kept"), True)):
        place.store("a.csv", [b"1"])
        place.close()
        assert place.folder.exists() is stays


def test_a_kept_folder_goes_on_with_its_survey_file(tmp_path: Path) -> None:
    first = Workplace(tmp_path / "kept")
    first.survey.write_text("[water]\n", encoding="utf-8")
    second = Workplace(tmp_path / "kept")
    assert second.names == ["survey_given.toml"]
    assert not second.survey.exists()


def test_zip_holds_results_and_what_they_were_made_of(tmp_path: Path) -> None:
    place = Workplace(tmp_path / "desk")
    place.store("a.csv", [b"1"])
    place.survey.write_text("x", encoding="utf-8")
    (place.results / "figures").mkdir(parents=True)
    (place.results / "figures" / "f.png").write_bytes(b"2")
    with zipfile.ZipFile(place.packed()) as packed:
        held = {name: packed.read(name) for name in packed.namelist()}
    assert held == {"results/figures/f.png": b"2", "survey/a.csv": b"1", f"survey/{SURVEY}": b"x"}


def test_a_process_that_dies_is_told_in_one_line_and_replaced(tmp_path: Path) -> None:
    hand, told, ended = Hand(), [], Event()

    def tell(kind: str, value: Any) -> None:
        if kind != "stage":
            told.append((kind, value))
            ended.set()

    hand.ready()
    assert hand._process is not None
    hand._process.kill()
    hand._process.join()
    pipe = hand._pipe
    assert pipe is not None
    from toolbox.desk.hand import _listen

    _listen(pipe, "look", {}, tell)
    assert told == [
        ("failed", "the work ended abruptly, perhaps for lack of memory: larger cells need less")
    ]
    told.clear()
    ended.clear()
    hand.do("run", {"survey": tmp_path / "none.toml", "out": tmp_path / "out"}, tell)
    assert ended.wait(60)
    assert told[0][0] == "failed"
    assert told[0][1].endswith(f"{tmp_path / 'none.toml'} does not exist")
    hand.stop()


def test_command_says_what_it_does() -> None:
    told = CliRunner().invoke(desk_command, ["--help"]).output
    assert "--no-browser" in told
    assert "Nothing is sent anywhere." in told


def test_command_names_the_extra_that_is_missing(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "uvicorn", None)
    done = CliRunner().invoke(desk_command, ["--no-browser"])
    assert str(done.exception) == (
        "leadline desk needs uvicorn, which is not installed: pip install 'leadline[desk]'"
    )


def test_told_to_end_the_desk_leaves_nothing_behind() -> None:
    command = [sys.executable, "-u", "-c", START, "--no-browser"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        assert "The desk is open at" in process.stdout.readline()
        folder = Path(process.stdout.readline().split("Files are in ")[1].split(", which")[0])
        assert folder.is_dir()
        process.send_signal(signal.SIGTERM)
        assert process.wait(30) == 0
    assert not folder.exists()


def test_where_no_process_can_be_started_that_is_said_and_nothing_is_being_done(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refused(*_: object) -> None:
        raise BlockingIOError(11, "Resource temporarily unavailable")

    monkeypatch.setattr(Hand, "ready", refused)
    desk = Desk(Workplace(tmp_path / "desk"), Hand())
    desk.place.store("a.csv", [b"easting,northing,depth\n1,2,3\n"])
    desk.given(["a.csv"])
    assert desk.doing == ""
    assert desk.fault == "no process can be started for this: Resource temporarily unavailable"
