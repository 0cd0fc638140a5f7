"""Faults thrown at a whole run: outputs whole or absent, inputs untouched, one line, exit code."""

import hashlib
import json
import multiprocessing
import os
import re
import runpy
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from multiprocessing.process import BaseProcess
from pathlib import Path
from typing import Any

import geopandas
import pytest
from shapely.geometry import box

from toolbox.cli import main
from toolbox.errors import InputFileError
from toolbox.survey import run as module
from toolbox.survey.run import run
from toolbox.survey.settings import load_settings
from toolbox.survey.stages import STAGES

pytestmark = pytest.mark.skipif(os.name != "posix", reason="signals and limits of POSIX")

CHILD = Path(__file__).with_name("child.py")
PARTS = '[make]\nwrite = ["layers", "rasters", "tables"]\nterrain = ["slope"]\n'
POND = """
[water]
name = "Pond"
shoreline = "shoreline.gpkg"
[bed]
method = "triangulated"
[[soundings]]
file = "soundings.csv"
crs = "EPSG:32633"
"""
START = "from toolbox.cli import console; console()"
STOPPED = "leadline: interrupted, nothing was written"
Said = pytest.CaptureFixture[str]
Begin = Callable[..., tuple[BaseProcess, Path]]


@pytest.fixture
def pond(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    folder = tmp_path / "desk"
    folder.mkdir()
    monkeypatch.chdir(folder)
    water = box(500_000, 5_200_000, 500_100, 5_200_100)
    geopandas.GeoDataFrame({"number": [1]}, geometry=[water], crs=32633).to_file("shoreline.gpkg")
    Path("soundings.csv").write_text(
        "easting,northing,depth\n500020,5200020,3\n500050,5200050,4\n500080,5200030,5\n"
    )
    Path("survey.toml").write_text(PARTS + POND)
    return folder


@pytest.fixture(scope="module")
def server() -> multiprocessing.context.ForkServerContext:
    """Let processes begin with everything imported."""
    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload(
        ["toolbox.cli", "toolbox.survey.run", "geopandas", "numba", "rasterio", "scipy.spatial"]
    )
    return context


@pytest.fixture
def begin(
    pond: Path, tmp_path: Path, server: multiprocessing.context.ForkServerContext
) -> Iterator[Begin]:
    """Give a way to begin a run in a process of its own, and see that none is left."""
    begun: list[BaseProcess] = []

    def start(*more: str, **faults: Any) -> tuple[BaseProcess, Path]:
        told = tmp_path / f"told {len(begun)}"
        told.mkdir()
        arguments = ["run", "survey.toml", "--out", "result", "--quiet", *more]
        order = {"folder": pond, "told": told, "arguments": arguments, "faults": faults}
        given = (str(CHILD), {"ORDER": order}, "__main__")
        process = server.Process(target=runpy.run_path, args=given)
        process.start()
        begun.append(process)
        return process, told / "err"

    yield start
    for process in begun:
        process.kill()
        process.join()


def ended(process: BaseProcess, said: Path) -> tuple[int | None, str]:
    process.join(60)
    return process.exitcode, said.read_text(encoding="utf-8").strip()


def held(folder: Path) -> dict[str, str]:
    """Return a digest of everything in a folder, hidden files too."""
    return {
        str(path.relative_to(folder)): hashlib.sha256(path.read_bytes()).hexdigest()
        if path.is_file()
        else ""
        for path in folder.rglob("*")
    }


def names(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


def whole(folder: Path) -> bool:
    return {"lakebed.gpkg", "depth.tif", "lineage.json", "findings.txt"} < set(names(folder))


# ---- disks ----


@pytest.mark.parametrize("size", [1000, 130_000])
def test_a_file_that_cannot_grow_leaves_nothing(size: int, pond: Path, begin: Begin) -> None:
    """Files may not grow beyond these bytes: a raster breaks, then the GeoPackage."""
    before = held(pond)
    code, said = ended(*begin(limit=size))
    assert (code, len(said.splitlines())) == (2, 1)
    assert "cannot be written: " in said
    assert held(pond) == before


@pytest.fixture
def disk(tmp_path: Path) -> Iterator[Callable[[str], Path]]:
    """Give a way to mount a small disk; skip where that is not allowed."""
    place = tmp_path / "disk"
    place.mkdir()
    mounted = []

    def mount(options: str) -> Path:
        program = shutil.which("mount")
        if program is None or sys.platform != "linux":
            pytest.skip("disks are mounted on Linux only")
        done = subprocess.run([program, "-t", "tmpfs", "-o", options, "tmpfs", str(place)])
        if done.returncode:
            pytest.skip("this user may not mount a disk")
        mounted.append(place)
        return place

    yield mount
    for folder in mounted:
        subprocess.run(["umount", str(folder)], check=True)


@pytest.mark.usefixtures("pond")
@pytest.mark.parametrize("size", ["64k", "240k"])
def test_a_full_disk_is_told_as_such(size: str, disk: Callable[[str], Path], capfd: Said) -> None:
    place = disk(f"size={size}")
    assert main(["run", "survey.toml", "--out", str(place / "result"), "--quiet"]) == 2
    said = f"leadline: {place / 'result'} cannot be written: No space left on device\n"
    assert capfd.readouterr().err == said
    assert list(place.iterdir()) == []


@pytest.mark.usefixtures("pond")
def test_a_disk_that_is_only_to_be_read_is_told_before_the_work(
    disk: Callable[[str], Path], capfd: Said, monkeypatch: pytest.MonkeyPatch
) -> None:
    place = disk("ro")
    monkeypatch.setattr(module, "read_inputs", lambda *_: pytest.fail("the work must not begin"))
    for command in (["run", "survey.toml", "--out", str(place / "a")], ["new", str(place / "a")]):
        assert main(command) == 2
        said = f"leadline: {place / 'a'} cannot be written: Read-only file system\n"
        assert capfd.readouterr().err == said


def test_a_result_may_lie_on_another_disk_than_temporary_files(
    pond: Path, disk: Callable[[str], Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    place = disk("size=8m")
    monkeypatch.setenv("TMPDIR", str(pond))
    for more in ([], ["--overwrite"]):
        assert main(["run", "survey.toml", "--out", str(place / "result"), "--quiet", *more]) == 0
    assert whole(place / "result")
    assert names(place) == ["result"]


# ---- signals ----


@pytest.mark.parametrize(
    ("stage", "number"),
    [
        ("reading", signal.SIGINT),
        ("tables", signal.SIGTERM),
        ("writing", signal.SIGINT),
    ],
)
def test_whoever_is_told_to_stop_leaves_nothing(
    stage: str, number: signal.Signals, pond: Path, begin: Begin
) -> None:
    assert stage in STAGES
    before = held(pond)
    assert ended(*begin(signal=(stage, int(number), 0.005))) == (130, STOPPED)
    assert held(pond) == before


def test_what_a_killed_run_left_is_cleared_by_the_next(pond: Path, begin: Begin) -> None:
    before = held(pond)
    assert ended(*begin(kill="writing")) == (-signal.SIGKILL, "")
    left = set(held(pond)) - set(before)
    assert {Path(name).parts[0] for name in left} == {min(left)}
    assert re.fullmatch(r"\.result\.[0-9a-f]{8}", min(left))
    assert main(["run", "survey.toml", "--out", "result", "--quiet"]) == 0
    assert whole(pond / "result")
    after = held(pond)
    assert {name for name in after if not name.startswith("result")} == set(before)
    assert before.items() <= after.items()


# ---- two at once ----


@pytest.mark.parametrize("more", [[], ["--overwrite"]], ids=["fresh", "overwriting"])
def test_of_two_runs_into_one_folder_the_second_is_refused(
    more: list[str], pond: Path, tmp_path: Path, begin: Begin, capfd: Said
) -> None:
    if more:
        run(load_settings(Path("survey.toml")), pond / "result")
    go = tmp_path / "go"
    first, said = begin(*more, pause=("tables", str(go)))
    deadline = time.monotonic() + 60
    while not Path(f"{go}.waits").exists() and time.monotonic() < deadline:
        time.sleep(0.01)
    before = held(pond)
    assert main(["run", "survey.toml", "--out", "result", "--quiet", *more]) == 2
    words = "leadline: result is being written by another process; wait until it ends\n"
    assert capfd.readouterr().err == words
    assert held(pond) == before
    go.touch()
    assert ended(first, said) == (0, "")
    assert whole(pond / "result")
    assert [name for name in names(pond) if name.startswith(".")] == []


# ---- inputs under a run ----


def change(path: Path, how: str) -> None:
    if how == "removed":
        path.unlink()
    else:
        path.write_text(path.read_text() + "500030,5200030,3.5\n")


@pytest.mark.parametrize("how", ["changed", "removed"])
def test_an_input_that_changes_while_it_is_read_is_told(
    how: str, pond: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    as_it_is = module.read_inputs

    def read(*given: Any) -> Any:
        found = as_it_is(*given)
        change(pond / "soundings.csv", how)
        return found

    monkeypatch.setattr(module, "read_inputs", read)
    with pytest.raises(InputFileError, match=r"soundings\.csv was changed while it was read"):
        run(load_settings(Path("survey.toml")), pond / "result")
    assert not (pond / "result").exists()


@pytest.mark.parametrize("how", ["changed", "removed"])
def test_the_digest_of_an_input_is_that_of_what_was_read(how: str, pond: Path) -> None:
    digest = held(pond)["soundings.csv"]

    def watch(stage: str) -> None:
        if stage == "making the bed":
            change(pond / "soundings.csv", how)

    run(load_settings(Path("survey.toml")), pond / "result", watch=watch)
    told = json.loads((pond / "result" / "lineage.json").read_text(encoding="utf-8"))
    (kept,) = (row for row in told["inputs"] if row["file"].endswith("soundings.csv"))
    assert kept["sha256"] == digest


# ---- clocks, environments, names ----


def test_a_clock_that_jumps_back_does_no_harm(pond: Path, begin: Begin) -> None:
    """Small computers without a battery begin in 1970; ZIP knows no time before 1980."""
    text = PARTS.replace('"tables"', '"tables", "workbook", "exports", "metadata"')
    text = text.replace("terrain", 'exports = ["kmz", "dxf"]\nterrain')
    Path("survey.toml").write_text(text + POND)
    assert ended(*begin(clock=[1.8e9, 0.0])) == (0, "")
    assert whole(pond / "result")
    told = json.loads((pond / "result" / "lineage.json").read_text(encoding="utf-8"))
    assert told["made_at"] in ("1970-01-01T00:00:00+00:00", "2027-01-15T08:00:00+00:00")
    assert (pond / "result" / "areas_and_volumes.xlsx").read_bytes()[:2] == b"PK"


def test_an_odd_environment_changes_no_bit(pond: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """No home, no UTF-8, no such time zone, no data of GDAL, no programs to call, one thread.

    With the time fixed (Reproducible Builds, 2017, SOURCE_DATE_EPOCH 1.1) no file may differ.
    """
    exports = 'exports = ["kmz", "mbtiles", "dxf", "glb", "xyz", "flatgeobuf", "geoparquet"]'
    Path("survey.toml").write_text(f"[make]\n{exports}\n{POND}")
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1767225600")
    run(load_settings(Path("survey.toml")), pond / "wanted")
    nowhere = str(pond / "nowhere")
    odd = dict.fromkeys(("GDAL_DATA", "GDAL_DRIVER_PATH", "PATH"), nowhere)
    odd |= {"LC_ALL": "C", "TZ": "Nowhere/Atall", "NUMBA_NUM_THREADS": "1", "OMP_NUM_THREADS": "1"}
    names_kept = ("XDG_CACHE_HOME", "SOURCE_DATE_EPOCH")
    kept = {name: os.environ[name] for name in names_kept if name in os.environ}
    done = subprocess.run(
        [sys.executable, "-c", START, "run", "survey.toml", "--out", "result", "--quiet"],
        env=odd | kept,
        capture_output=True,
        text=True,
        timeout=120,
    )
    assert (done.returncode, done.stdout, done.stderr) == (0, "", "")
    first, second = held(pond / "wanted"), held(pond / "result")
    assert set(first) == set(second)
    assert {name for name in first if first[name] != second[name]} == set()


ODD = os.fsdecode(b"w\xffd")
READ = r"leadline: .*w\\xffd/survey.toml cannot be read: its path is not UTF-8; rename it"
WRITTEN = r"leadline: w\\xffd/r cannot be written: its path is not UTF-8; choose another"


@pytest.mark.parametrize(
    ("survey", "out", "words"),
    [(f"{ODD}/survey.toml", "r", READ), ("survey.toml", f"{ODD}/r", WRITTEN)],
)
@pytest.mark.skipif(sys.platform != "linux", reason="file names are any bytes on Linux")
def test_names_that_are_no_text_are_refused(
    survey: str, out: str, words: str, pond: Path, capfd: Said
) -> None:
    shutil.copytree(pond, pond / ODD)
    before = set(held(pond))
    assert main(["run", survey, "--out", out, "--quiet"]) == 2
    said = capfd.readouterr().err.splitlines()
    assert len(said) == 1
    assert re.fullmatch(words, said[0])
    assert set(held(pond)) == before


BROKEN = "its path holds a line break, a tab or the like"


@pytest.mark.skipif(sys.platform == "win32", reason="no such names there")
@pytest.mark.parametrize("name", ["two\nlines", "a\ttab", "a\x7f"])
def test_names_that_libraries_do_not_find_are_refused(name: str, pond: Path, capfd: Said) -> None:
    """GDAL leaves such letters out when it opens a file."""
    shutil.copytree(pond, pond / name)
    before = set(held(pond))
    assert main(["run", f"{name}/survey.toml", "--out", "r", "--quiet"]) == 2
    said = f"leadline: {f'{name}/survey.toml'!r} cannot be read: {BROKEN}; rename it\n"
    assert capfd.readouterr().err.replace(f"{pond}/", "") == said
    assert main(["run", "survey.toml", "--out", f"{name}/r", "--quiet"]) == 2
    said = f"leadline: {f'{name}/r'!r} cannot be written: {BROKEN}; choose another\n"
    assert capfd.readouterr().err == said
    assert set(held(pond)) == before


@pytest.mark.skipif(sys.platform == "win32", reason="no such names there")
@pytest.mark.parametrize(
    "name",
    ["a?b#c%20d&e=f;g", "it's [x]{y} $HOME ~*", "back\\slash", "-dash", "Größe 湖", "n" * 240],
)
def test_any_other_name_will_do(name: str, pond: Path) -> None:
    shutil.copytree(pond, pond / name / "in")
    assert main(["run", f"./{name}/in/survey.toml", "--out", f"{name}/r", "--quiet"]) == 0
    assert whole(pond / name / "r")


@pytest.mark.usefixtures("pond")
def test_a_path_that_is_too_long_only_with_what_is_to_be_written(
    tmp_path: Path, capfd: Said
) -> None:
    """Linux takes paths of at most 4,095 bytes (limits.h): the folder fits, its files do not."""
    deep = tmp_path / "deep"
    while len(str(deep)) < 4020:
        deep /= "n" * min(200, 4060 - len(str(deep)))
    assert main(["run", "survey.toml", "--out", str(deep), "--quiet"]) == 2
    assert len(capfd.readouterr().err.splitlines()) == 1
    assert not deep.exists()


@pytest.mark.parametrize("there", [False, True], ids=["dangling", "full"])
def test_a_linked_folder_is_filled_where_it_lies(there: bool, pond: Path, tmp_path: Path) -> None:
    (tmp_path / "large disk").mkdir()
    place = tmp_path / "large disk" / "pond"
    if there:
        run(load_settings(Path("survey.toml")), place)
        (place / "stale.txt").touch()
    (pond / "result").symlink_to(place)
    more = ["--overwrite"] if there else []
    assert main(["run", "survey.toml", "--out", "result", "--quiet", *more]) == 0
    assert (pond / "result").is_symlink()
    assert whole(place)
    assert not (place / "stale.txt").exists()
    assert names(place.parent) == ["pond"]
