"""Surroundings: what another install or a shell left behind does no harm to a command."""

import os
import shutil
import sqlite3
import subprocess
import sys
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import pytest
import rasterio

import toolbox
from toolbox.surroundings import drop_foreign_proj

OWN = Path(rasterio.__file__).with_name("proj_data")
START = "from toolbox.cli import console; console()"
CRS = """
import sys
import toolbox.cli

def asked(arguments=None, program="leadline"):
    import fiona.crs
    import rasterio.crs
    import pyproj
    for code in (rasterio.crs.CRS, fiona.crs.CRS, pyproj.CRS):
        print(code.from_epsg(25832).to_epsg())

toolbox.cli.main = asked
toolbox.cli.console()
"""
own = pytest.mark.skipif(
    not OWN.is_dir(), reason="the installed rasterio brings no database of PROJ"
)


def layout(path: Path) -> tuple[int, int]:
    """Read the layout of a database as PROJ itself does (PROJ 9, database.rst: table metadata)."""
    with closing(sqlite3.connect(path)) as database:
        found = dict(database.execute("SELECT key, value FROM metadata"))
    return tuple(int(found[f"DATABASE.LAYOUT.VERSION.{part}"]) for part in ("MAJOR", "MINOR"))  # type: ignore[return-value]


@pytest.fixture
def database(tmp_path: Path) -> Callable[..., str]:
    """Give a way to make a folder with a database of PROJ of another layout."""

    def make(major: int = 0, minor: int = 0) -> str:
        own_major, own_minor = layout(OWN / "proj.db")
        folder = tmp_path / f"proj {major} {minor}"
        folder.mkdir()
        with closing(sqlite3.connect(folder / "proj.db")) as made, made:
            made.execute("CREATE TABLE metadata (key TEXT, value TEXT)")
            rows = [("MAJOR", own_major + major), ("MINOR", own_minor + minor)]
            named = [(f"DATABASE.LAYOUT.VERSION.{part}", str(number)) for part, number in rows]
            made.executemany("INSERT INTO metadata VALUES (?, ?)", named)
        return str(folder)

    return make


@own
def test_what_our_libraries_can_use_stays(database: Callable[..., str]) -> None:
    several = os.pathsep.join(["", "/nowhere", str(OWN)])
    for folder in (str(OWN), several, database(), database(minor=1)):
        given = {"PROJ_DATA": folder, "PROJ_LIB": folder, "OTHER": "x"}
        assert drop_foreign_proj(kept := dict(given)) == []
        assert kept == given
    assert drop_foreign_proj({}) == []


@own
def test_what_they_cannot_use_is_dropped(database: Callable[..., str], tmp_path: Path) -> None:
    (tmp_path / "proj.db").write_bytes(b"no database")
    empty = tmp_path / "empty"
    empty.mkdir()
    nothing = ("", "/nowhere", "\0", "x" * 5000, str(empty), str(tmp_path))
    for folder in nothing:
        given = {"PROJ_DATA": folder, "OTHER": "x"}
        said = drop_foreign_proj(given)
        assert said == [f"PROJ_DATA is not used: {folder!r} holds no database of PROJ"]
        assert given == {"OTHER": "x"}
    for folder in (database(minor=-1), database(major=-1), database(major=1)):
        given = {"PROJ_DATA": str(OWN), "PROJ_LIB": folder}
        said = drop_foreign_proj(given)
        words = "holds the database of another version of PROJ"
        assert said == [f"PROJ_LIB is not used: {folder!r} {words}"]
        assert given == {"PROJ_DATA": str(OWN)}


def test_libraries_without_a_database_of_their_own_are_left_alone(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """As in distributions that install one PROJ for all and name its data in the environment."""
    monkeypatch.setattr("toolbox.surroundings._BRINGERS", ("json", "no_such_library"))
    given = {"PROJ_DATA": "/nowhere"}
    assert drop_foreign_proj(given) == []
    assert given == {"PROJ_DATA": "/nowhere"}


def begun(program: str, *arguments: str, **more: str) -> tuple[int, str, str]:
    done = subprocess.run(
        [sys.executable, "-c", program, *arguments],
        env={k: v for k, v in os.environ.items() if not k.startswith("PROJ_")} | more,
        capture_output=True,
        text=True,
        timeout=120,
    )
    return done.returncode, done.stdout, done.stderr


@own
@pytest.mark.parametrize("name", ["PROJ_DATA", "PROJ_LIB"])
def test_a_command_knows_codes_whatever_the_environment_says(
    name: str, database: Callable[..., str]
) -> None:
    folder = database(minor=-1)
    note = f"note: {name} is not used: {folder!r} holds the database of another version of PROJ\n"
    assert begun(CRS, **{name: folder}) == (0, "25832\n" * 3, note)
    assert begun(CRS, "--quiet", **{name: folder}) == (0, "25832\n" * 3, "")


@own
def test_other_commands_say_it_too_and_go_on() -> None:
    code, out, said = begun(START, "--version", PROJ_LIB="/no\nwhere")
    assert (code, out[:8]) == (0, "leadline")
    assert said == "note: PROJ_LIB is not used: '/no\\nwhere' holds no database of PROJ\n"


LETTERS = """
import toolbox.cli

def asked(arguments=None, program="leadline"):
    import rasterio
    with rasterio.Env() as env:
        print(len(env.drivers()) > 50)

toolbox.cli.main = asked
toolbox.cli.console()
"""


@pytest.mark.skipif(shutil.which("localedef") is None, reason="no locale can be made here")
def test_a_language_with_other_letters_changes_nothing(tmp_path: Path) -> None:
    """In Turkish the capital of "i" is another letter (Unicode 15, SpecialCasing.txt: tr, az)."""
    made = ["localedef", "-i", "tr_TR", "-f", "UTF-8", str(tmp_path / "tr_TR.UTF-8")]
    if subprocess.run(made, capture_output=True).returncode:
        pytest.skip("there is no source of the Turkish locale")
    turkish = {"LOCPATH": str(tmp_path), "LC_ALL": "tr_TR.UTF-8"}
    assert begun(LETTERS, **turkish) == (0, "True\n", "")


STREAMS = """
import os
import sys
import toolbox.cli

def asked(arguments=None, program="leadline"):
    with open("first", "wb") as file:
        os.write(2, b"what a library says")
        print(sys.stdin.read(), "told")
        print("error", file=sys.stderr)
        return file.fileno() < 3

toolbox.cli.main = asked
toolbox.cli.console()
"""


@pytest.mark.skipif(os.name != "posix", reason="the shell closes streams")
@pytest.mark.parametrize("closed", ["<&- >&- 2>&-", "2>&-", "<&-", ">&-"])
def test_no_file_takes_the_place_of_a_stream_that_was_closed(closed: str, tmp_path: Path) -> None:
    house = str(Path(toolbox.__file__).parents[1])
    done = subprocess.run(
        ["sh", "-c", f'exec "$0" -c "$1" {closed}', sys.executable, STREAMS],
        cwd=tmp_path,
        env=os.environ | {"PYTHONPATH": house},
        stdin=subprocess.DEVNULL,
        timeout=60,
    )
    assert done.returncode == 0
    assert (tmp_path / "first").read_bytes() == b""


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="there is no device that is always full")
@pytest.mark.parametrize("arguments", ["tools", "describe slope", "--help"])
def test_output_that_cannot_be_written_is_told(arguments: str) -> None:
    with Path("/dev/full").open("w") as full:
        done = subprocess.run(
            [sys.executable, "-c", START, *arguments.split()],
            stdout=full,
            stderr=subprocess.PIPE,
            text=True,
            timeout=60,
        )
    said = "leadline: output cannot be written: No space left on device\n"
    assert (done.returncode, done.stderr) == (2, said)
