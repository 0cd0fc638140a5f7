"""The command line: what it says, what it writes, and how it ends."""

import csv
import io
import json
import re
import shlex
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from importlib.metadata import version
from pathlib import Path

import click
import geopandas
import numpy as np
import pyproj
import pytest
import rasterio
import shapely
from shapely.geometry import LineString, box

from toolbox.catalogue import CHAPTERS, record, tools
from toolbox.cli import Stop, commands, main
from toolbox.commands import tool_command
from toolbox.describe import option_name, reader_params
from toolbox.formats.bed_file import read_bed
from toolbox.formats.geotiff import read_grid
from toolbox.formats.species_file import read_species
from toolbox.formats.stocking_file import read_stocking
from toolbox.terrain.slope import slope
from toolbox.volume.hypsography import hypsography

SAMPLE = Path(__file__).resolve().parents[1] / "sample_layers"
WATER = box(500_000, 5_200_000, 500_100, 5_200_100)
SOUNDINGS = "easting,northing,depth\n500020,5200020,3\n500050,5200050,4\n500080,5200030,5\n"
TRIANGULATE = "triangulate soundings.csv shoreline.gpkg --soundings-crs EPSG:32633 --out bed.gpkg"
SURVEY = """
[water]
name = "Pond"
shoreline = "shoreline.gpkg"
[bed]
method = "triangulated"
[[soundings]]
file = "soundings.csv"
crs = "EPSG:32633"
"""
Said = pytest.CaptureFixture[str]


@pytest.fixture(scope="module")
def inputs(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("inputs")
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(folder)
        frame = geopandas.GeoDataFrame({"number": [1]}, geometry=[WATER], crs=32633)
        frame.to_file("shoreline.gpkg", layer="shoreline")
        Path("soundings.csv").write_text(SOUNDINGS)
        Path("survey.toml").write_text(SURVEY)
        assert main(shlex.split(TRIANGULATE)) == 0
        assert main(shlex.split("grid-bed bed.gpkg --cell 2 --out depth.tif")) == 0
    return folder


@pytest.fixture
def desk(inputs: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Go to an empty folder with links to the inputs."""
    folder = tmp_path / "desk"
    folder.mkdir()
    for path in inputs.iterdir():
        (folder / path.name).write_bytes(path.read_bytes())
    monkeypatch.chdir(folder)
    return folder


def call(command: str) -> int:
    return main(shlex.split(command))


def names(folder: Path) -> set[str]:
    return {str(path.relative_to(folder)) for path in folder.rglob("*")}


# ---- help ----


@pytest.mark.parametrize("arguments", [[], ["--help"], ["-h"]], ids=["none", "--help", "-h"])
def test_help_lists_the_whole_job_and_every_tool(arguments: list[str], capfd: Said) -> None:
    assert main(arguments) == 0
    told = capfd.readouterr()
    assert told.err == ""
    for name in ("run", "new", "check", "tools", "describe", *tools()):
        assert re.search(rf"^  {name}  ", told.out, re.M), name
    spoken = " ".join(told.out.split())  # long titles run over several lines
    for function in tools().values():
        assert record(function).title in spoken
    headings = re.findall(r"^Tools: (.+):$", told.out, re.M)
    assert headings == [chapter.lower() for chapter in CHAPTERS]
    assert "Not for navigation." in told.out


def test_help_imports_nothing_heavy() -> None:
    heavy = ["geopandas", "numba", "rasterio", "pandas", "matplotlib", "scipy", "pydantic", "pint"]
    code = (
        "import sys; from toolbox.cli import main; code = main(['--help']); "
        f"print([name for name in {heavy} if name in sys.modules], file=sys.stderr); "
        "sys.exit(code)"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=60
    )
    assert done.stderr.strip() == "[]"
    assert "triangulate" in done.stdout


def test_the_version_is_that_of_the_package(capfd: Said) -> None:
    assert main(["--version"]) == 0
    assert version("leadline") in capfd.readouterr().out


def test_tools_are_listed_with_what_they_do(capfd: Said) -> None:
    assert main(["tools"]) == 0
    lines = capfd.readouterr().out.splitlines()
    assert [line.split()[0] for line in lines] == list(tools())
    for line, function in zip(lines, tools().values(), strict=True):
        assert line.endswith(record(function).summary)


@pytest.mark.parametrize("name", tools())
def test_the_help_of_a_tool_tells_every_parameter(name: str, capfd: Said) -> None:
    tool = record(tools()[name])
    assert main([name, "--help"]) == 0
    told = "".join(capfd.readouterr().out.split())  # lines break at hyphens too
    assert "".join(tool.summary.split()) in told
    command = tool_command(tools()[name])
    options = {flag for option in command.params for flag in option.opts}
    for param in tool.params:
        asked = {param.name, f"--{param.name.replace('_', '-')}"}
        assert asked & options
        for option in reader_params(param):
            assert f"--{option_name(param, option)}" in options
    for option in command.params:
        if isinstance(option, click.Option):
            assert option.opts[0] in told
            assert "".join(str(option.help).split()) in told


def test_commands_hold_no_option_twice() -> None:
    for name, function in tools().items():
        flags = [flag for option in tool_command(function).params for flag in option.opts]
        assert len(set(flags)) == len(flags), name


# ---- one tool ----


def test_a_command_does_what_the_function_does(desk: Path, capfd: Said) -> None:
    assert call("slope depth.tif --unit percent --out slope.tif") == 0
    wanted = slope(read_grid(desk / "depth.tif"), unit="percent")
    written = read_grid(desk / "slope.tif")
    assert np.array_equal(written.values, wanted.values, equal_nan=True)
    assert (written.name, written.unit) == ("slope", "%")
    assert capfd.readouterr() == ("", "")


def test_a_table_is_printed_or_written_alike(desk: Path, capfd: Said) -> None:
    command = "hypsography bed.gpkg --levels 0 --levels '5 ft' --levels 2 --datum 100"
    assert call(command) == 0
    printed = capfd.readouterr()
    assert call(f"{command} --out table.csv") == 0
    assert (desk / "table.csv").read_text(encoding="utf-8") == printed.out
    assert capfd.readouterr().out == ""
    rows = list(csv.DictReader(io.StringIO(printed.out)))
    wanted = hypsography(read_bed(desk / "bed.gpkg"), levels=(0, 1.524, 2), datum=100.0).frame
    for column in wanted:
        found = [float(row[str(column)]) for row in rows]
        assert found == pytest.approx(wanted[column].tolist(), rel=1e-9), column


def test_notes_go_to_the_side_each_once(desk: Path, capfd: Said) -> None:
    assert call("hypsography bed.gpkg") == 0
    told = capfd.readouterr()
    notes = told.err.splitlines()
    assert notes
    assert len(set(notes)) == len(notes)
    assert [note for note in notes if not note.startswith("note: ")] == []
    assert "note" not in told.out


@pytest.mark.usefixtures("desk")
def test_a_number_may_have_its_unit(capfd: Said) -> None:
    for cell in ("'6 ft'", "1.8288", "'1 fathom'"):
        assert call(f"grid-bed bed.gpkg --cell {cell} --out grid.tif --overwrite") == 0
        with rasterio.open("grid.tif") as file:
            assert file.transform.a == pytest.approx(1.8288, rel=1e-15)
    assert capfd.readouterr().err == ""


@pytest.mark.usefixtures("desk")
def test_a_result_is_replaced_only_when_asked(capfd: Said) -> None:
    assert call("slope depth.tif --out slope.tif") == 0
    first = Path("slope.tif").read_bytes()
    assert call("slope depth.tif --unit ratio --out slope.tif") == 2
    assert Path("slope.tif").read_bytes() == first
    assert call("slope depth.tif --unit ratio --out slope.tif --overwrite") == 0
    assert Path("slope.tif").read_bytes() != first
    assert capfd.readouterr().err.count("leadline: ") == 1


def test_names_of_files_may_hold_blanks_and_umlauts(desk: Path) -> None:
    (desk / "M\u00fchl weiher").mkdir()
    (desk / "depth.tif").rename(desk / "M\u00fchl weiher" / "t\u0113pe 1.tif")
    assert call("slope 'M\u00fchl weiher/t\u0113pe 1.tif' --out 'M\u00fchl weiher/neu/s.tif'") == 0
    assert (desk / "M\u00fchl weiher" / "neu" / "s.tif").stat().st_size > 0


# ---- layers in different CRS ----


def test_layers_follow_the_shoreline(desk: Path) -> None:
    """The same places, given in degrees on another zone's map, make the same bed."""
    place = geopandas.GeoSeries(
        shapely.points([(500_020, 5_200_020), (500_050, 5_200_050), (500_080, 5_200_030)]),
        crs=32633,
    )
    for crs, name in ((4326, "degrees"), (32632, "next zone")):
        moved = place.to_crs(crs)
        rows = zip(moved.x, moved.y, (3, 4, 5), strict=True)
        text = "".join(f"{x!r},{y!r},{depth}\n" for x, y, depth in rows)
        columns = "longitude,latitude" if crs == 4326 else "easting,northing"
        (desk / "s.csv").write_text(f"{columns},depth\n{text}".replace("np.float64", ""))
        out = f"--soundings-crs EPSG:{crs} --out '{name}.gpkg'"
        assert call(f"triangulate s.csv shoreline.gpkg {out}") == 0
        moved_bed, bed = read_bed(desk / f"{name}.gpkg"), read_bed(desk / "bed.gpkg")
        assert moved_bed.crs == bed.crs
        assert moved_bed.vertices == pytest.approx(bed.vertices, abs=1e-3)
        assert moved_bed.depth.tolist() == bed.depth.tolist()


def test_soundings_follow_a_raster(desk: Path) -> None:
    moved = geopandas.GeoSeries(shapely.points([(500_050, 5_200_050)]), crs=32633).to_crs(32632)
    (desk / "s.csv").write_text(f"x,y,depth\n{moved.x[0]},{moved.y[0]},3\n")
    command = "distance-to-soundings depth.tif s.csv --soundings-crs EPSG:32632 --out far.tif"
    assert call(command) == 0
    far = read_grid(desk / "far.tif")
    row, col = np.unravel_index(np.nanargmin(far.values), far.shape)
    assert far.transform @ (col + 0.5, row + 0.5) == pytest.approx((500_050, 5_200_050), abs=1.5)


def test_the_crs_to_work_in_can_be_named(desk: Path) -> None:
    assert call(f"{TRIANGULATE.replace('bed.gpkg', 'new.gpkg')} --in-crs EPSG:25833") == 0
    assert read_bed(desk / "new.gpkg").crs == 25833


def test_every_tool_whose_layers_can_be_moved_can_be_told_the_crs_to_work_in() -> None:
    """Rasters and beds stay as they are, and tables have no place."""
    fixed = {"Grid", "GridBlocks", "Tin", "Table", "Profiles", "SpeciesLimits", "StockingProposal"}
    for name, function in tools().items():
        kinds = {param.type.__name__ for param in record(function).params if reader_params(param)}
        flags = {flag for param in tool_command(function).params for flag in param.opts}
        assert ("--in-crs" in flags) is bool(kinds - fixed), name


def test_the_crs_of_a_log_to_work_in_can_be_named(desk: Path, capfd: Said) -> None:
    log = SAMPLE / "track.nmea"
    assert call(f"place-soundings {log} --out own.csv") == 0
    assert call(f"place-soundings {log} --in-crs EPSG:32626 --out asked.csv") == 0
    own, asked = (
        np.genfromtxt(desk / name, delimiter=",", skip_header=1, usecols=(0, 1), max_rows=500)
        for name in ("own.csv", "asked.csv")
    )
    # the sample lies in zone 25; from outside the project: pyproj
    moved = pyproj.Transformer.from_crs(32625, 32626).transform(*own.T)
    np.testing.assert_allclose(asked, np.column_stack(moved), atol=0.02)
    capfd.readouterr()
    assert call(f"estimate-latency {log} --in-crs EPSG:4326") == 2
    assert "the track must be in a projected CRS in metres" in capfd.readouterr().err
    assert call(f"estimate-latency {log} --in-crs EPSG:9") == 2
    assert capfd.readouterr().err.startswith("leadline: --in-crs is unknown: 'EPSG:9'; give")


def test_a_water_cut_by_the_antimeridian_can_be_worked_on_as_the_error_advises(
    desk: Path, capfd: Said
) -> None:
    halves = [box(179.99, 60, 180, 60.01), box(-180, 60, -179.99, 60.01)]
    frame = geopandas.GeoDataFrame(
        {"number": [1]}, geometry=[shapely.MultiPolygon(halves)], crs=4326
    )
    frame.to_file(desk / "cut.gpkg")
    (desk / "s.csv").write_text(
        "lon,lat,depth\n179.995,60.005,3\n-179.995,60.005,4\n179.998,60.002,2\n"
    )
    command = "triangulate s.csv cut.gpkg --out new.gpkg"
    assert call(command) == 2
    assert "name a projected CRS in metres to work in" in capfd.readouterr().err
    assert call(f"{command} --in-crs EPSG:32660") == 0
    bed = read_bed(desk / "new.gpkg")
    # 0.02 degrees at 60 N are 1.115 km; the zone's grid is turned by 2.6 degrees here, so the
    # square of that side is wider by its sine (derived)
    assert np.ptp(bed.vertices[:, 0]) == pytest.approx(
        1115 * (1 + np.sin(np.radians(2.6))), rel=0.01
    )
    assert bed.depth.max() == 4


# ---- the whole job ----


def test_check_reads_and_writes_nothing(desk: Path, capfd: Said) -> None:
    before = names(desk)
    assert call("check survey.toml") == 0
    told = capfd.readouterr()
    # 10,000 m2 on the map; UTM's scale on the central meridian is 0.9996 (EPSG guidance note 7-2)
    assert (
        told.out.splitlines()[-1] == f"Pond: {10_000 / 0.9996**2:,.0f} m2, 3 of 3 soundings usable"
    )
    assert told.err == ""
    assert names(desk) == before


@pytest.mark.parametrize("command", ["check survey.toml", "run survey.toml --out result"])
def test_every_fault_of_a_survey_file_is_told_at_once(
    command: str, desk: Path, capfd: Said
) -> None:
    text = SURVEY.replace('"triangulated"', '"best"').replace("soundings.csv", "gone.csv")
    (desk / "survey.toml").write_text(f"{text}colour = 1\n", encoding="utf-8")
    before = names(desk)
    assert call(command) == 2
    told = capfd.readouterr()
    assert told.out == ""
    assert [line.partition(", got")[0].partition(" in /")[0] for line in told.err.splitlines()] == [
        "leadline: survey.toml: key 'bed.method': Input should be 'triangulated', 'fitted' or "
        "'auto'",
        "leadline: survey.toml: [[soundings]] 1, file: 'gone.csv' does not exist",
        told.err.splitlines()[2],
    ]
    assert "key 'soundings.1.colour' is unknown; allowed here: " in told.err.splitlines()[2]
    assert names(desk) == before


def test_check_tells_every_file_of_soundings_that_cannot_be_read(desk: Path, capfd: Said) -> None:
    (desk / "a.csv").write_text("easting,northing,depth\n1,2,deep\n", encoding="utf-8")
    (desk / "b.csv").write_text("colour,size\n1,2\n", encoding="utf-8")
    sources = "".join(f'[[soundings]]\nfile = "{name}.csv"\ncrs = "EPSG:32633"\n' for name in "ab")
    (desk / "survey.toml").write_text(SURVEY + sources, encoding="utf-8")
    assert call("check survey.toml") == 2
    first, second = capfd.readouterr().err.splitlines()
    assert first.startswith("leadline: a.csv")
    assert "deep" in first
    assert second.startswith("leadline: b.csv")


def test_check_tells_what_would_be_rejected(capfd: Said) -> None:
    assert call(f"check '{SAMPLE / 'points.toml'}'") == 0
    told = capfd.readouterr().out
    assert "rejected: boat_points.csv: 9 no depth, 3 outside the water" in told
    assert "2,384 of 2,396 soundings usable" in told


@pytest.mark.parametrize("quiet", [False, True], ids=["telling", "quiet"])
def test_run_tells_what_it_wrote_unless_it_is_to_be_quiet(
    quiet: bool, desk: Path, capfd: Said
) -> None:
    assert call(f"run survey.toml --out result {'--quiet' if quiet else ''}") == 0
    told = capfd.readouterr()
    assert told.out == ("" if quiet else "written: result\n")
    assert re.fullmatch("" if quiet else r"((caution|assumed|note): .+\n)+", told.err)
    told_all = json.loads((desk / "result" / "lineage.json").read_text(encoding="utf-8"))
    every = {note for step in told_all["steps"] for note in step["notes"]}
    kinds = told_all["notes"]
    assert {note for told in kinds.values() for note in told} == every
    shown = [f"{kind}: {note}" for kind in ("caution", "assumed") for note in kinds[kind]]
    assert len(shown) < 10
    file = Path("result") / "findings.txt"
    more = f"note: {len(kinds['for the record'])} more for the record: see {file}"
    assert quiet or told.err.splitlines() == [*shown, more]


def test_a_shapefile_written_by_a_tool_is_whole(desk: Path) -> None:
    command = "estimate-spread soundings.csv --soundings-crs EPSG:32633 --out spread.shp"
    assert call(command) == 0
    again = geopandas.read_file(desk / "spread.shp")
    assert again["depth"].tolist() == [3, 4, 5]
    assert again.crs == 32633
    assert call(command) == 2
    assert call(f"{command} --overwrite") == 0


def test_whole_numbers_of_which_there_are_several_stay_whole(desk: Path, capfd: Said) -> None:
    assert call("compare-methods bed.gpkg --cells 5 --layers 4 --layers 8") == 0
    rows = list(csv.DictReader(io.StringIO(capfd.readouterr().out)))
    assert {"4", "8"} <= {row["size"] for row in rows}


def test_check_reads_the_pegs_of_a_plan(desk: Path, capfd: Said) -> None:
    plan = '[plan]\nkind = "casts"\npegs = "pegs.csv"\n'
    (desk / "survey.toml").write_text(SURVEY.replace("triangulated", "fitted") + plan)
    assert call("check survey.toml") == 2
    assert "pegs.csv" in capfd.readouterr().err


def test_a_new_survey_file_can_be_checked_at_once(desk: Path, capfd: Said) -> None:
    """The starter names a shoreline and soundings that only need to be put beside it."""
    (desk / "survey.toml").unlink()
    assert call("new") == 0
    assert capfd.readouterr().out == "written: survey.toml\n"
    degrees = geopandas.GeoSeries(shapely.points([(500_050, 5_200_050)]), crs=32633).to_crs(4326)
    rows = f"{degrees.x[0]!r},{degrees.y[0]!r},3\n".replace("np.float64", "")
    (desk / "soundings.csv").write_text(
        "longitude,latitude,depth\n" + rows.translate({40: "", 41: ""})
    )
    assert call("check survey.toml") == 0
    assert "1 of 1 soundings usable" in capfd.readouterr().out
    (desk / "shoreline.gpkg").unlink()
    assert call("check survey.toml") == 2
    told = "survey.toml: [water] shoreline: 'shoreline.gpkg' does not exist"
    assert capfd.readouterr().err == f"leadline: {told} in {desk}\n"


def test_new_replaces_a_survey_file_only_when_told(desk: Path, capfd: Said) -> None:
    assert call("new survey.toml") == 2
    assert (desk / "survey.toml").read_text() == SURVEY
    assert "survey.toml exists already" in capfd.readouterr().err
    assert call("new survey.toml --overwrite") == 0
    assert (desk / "survey.toml").read_text().startswith("# A survey file:")


def test_every_command_that_writes_has_the_option_its_refusal_names() -> None:
    """All but the batch, which goes on with a folder that is there."""
    context = click.Context(commands)
    found = {name: commands.get_command(context, name) for name in commands.list_commands(context)}
    flags = {
        name: {flag for param in command.params for flag in param.opts}
        for name, command in found.items()
        if command is not None
    }
    writing = {
        name for name, own in flags.items() if "--out" in own or name in ("new", "thin-file")
    } - {"batch"}
    assert {"run", "new", "triangulate", "hypsography"} <= writing
    assert {name for name in writing if "--overwrite" not in flags[name]} == set()


@pytest.mark.parametrize("kind", ["species", "stocking"])
def test_other_files_to_start_from_are_read_at_once(desk: Path, kind: str) -> None:
    assert call(f"new --kind {kind}") == 0
    reader = {"species": read_species, "stocking": read_stocking}[kind]
    assert reader(desk / f"{kind}.toml")
    assert call(f"new --kind {kind}") == 2


def test_what_a_stocking_starter_leaves_out_can_be_put_in(desk: Path) -> None:
    assert call("new --kind stocking full.toml") == 0
    text = (desk / "full.toml").read_text(encoding="utf-8")
    full = re.sub(r"(?m)^# (?=\[|[a-z_]+ = )", "", text)
    (desk / "full.toml").write_text(full, encoding="utf-8")
    proposal = read_stocking(desk / "full.toml")
    assert len(proposal.alternative) == 3
    assert proposal.transport is not None


# ---- how it ends: in a process of its own ----

CONSOLE = [sys.executable, "-c", "from toolbox.cli import console; console()"]


def test_the_exit_code_is_that_of_the_command() -> None:
    for arguments, code in ((["tools"], 0), (["nonsense"], 2)):
        done = subprocess.run(
            [*CONSOLE, *arguments], capture_output=True, text=True, check=False, timeout=60
        )
        assert done.returncode == code
        assert "Traceback" not in done.stderr


@pytest.mark.parametrize("stop", [signal.SIGINT, signal.SIGTERM], ids=["interrupt", "terminate"])
def test_a_run_that_is_stopped_leaves_nothing(stop: signal.Signals, tmp_path: Path) -> None:
    with subprocess.Popen(
        [*CONSOLE, "run", str(SAMPLE / "survey.toml"), "--out", str(tmp_path / "result")],
        stderr=subprocess.PIPE,
        text=True,
    ) as process:
        end = time.monotonic() + 60
        while not list(tmp_path.iterdir()) and time.monotonic() < end:
            time.sleep(0.01)
        assert [path.name[:8] for path in tmp_path.iterdir()] == [".result."]  # it has begun
        process.send_signal(stop)
        _, said = process.communicate(timeout=60)
    assert process.returncode == 130
    assert said.strip() == "leadline: interrupted, nothing was written"
    assert list(tmp_path.iterdir()) == []


def test_a_wish_to_stop_that_was_swallowed_is_not_forgotten(
    desk: Path, monkeypatch: pytest.MonkeyPatch, capfd: Said
) -> None:
    stop = Stop()
    with pytest.raises(KeyboardInterrupt, match=r"^$"):
        stop.ask(signal.SIGINT, None)  # as a library would swallow it
    monkeypatch.setattr("toolbox.cli.STOP", stop)
    assert call("run survey.toml --out result") == 130
    assert "interrupted, nothing was written" in capfd.readouterr().err
    assert not (desk / "result").exists()


FEW_BYTES = 20_000
"""Below what any of these results takes."""


@contextmanager
def full_disk() -> Iterator[None]:
    """Let a limit on the size of files stand for a disk that is full."""
    limits = pytest.importorskip("resource", reason="this system knows no such limit")
    usual = limits.getrlimit(limits.RLIMIT_FSIZE)
    limits.setrlimit(limits.RLIMIT_FSIZE, (FEW_BYTES, usual[1]))
    try:
        yield
    finally:
        limits.setrlimit(limits.RLIMIT_FSIZE, usual)


@pytest.mark.parametrize(
    "command",
    [
        TRIANGULATE.replace("bed.gpkg", "new.gpkg"),
        "grid-bed bed.gpkg --cell 0.25 --out new.tif",
        "hypsography bed.gpkg --step 0.001 --out new.csv",
        "run survey.toml --out new",
        *(
            f"reject-outside many.csv shoreline.gpkg --soundings-crs EPSG:32633 --out new.{suffix}"
            for suffix in ("csv", "gpkg", "fgb", "geojson", "parquet", "shp")
        ),
    ],
    ids=lambda command: " ".join([command.split()[0], command.split()[-1]]),
)
def test_a_full_disk_is_one_line_and_leaves_nothing(command: str, desk: Path, capfd: Said) -> None:
    rows = [f"{500_000 + k % 97},{5_200_000 + k % 89},{k % 7}\n" for k in range(3_000)]
    (desk / "many.csv").write_text("easting,northing,depth\n" + "".join(rows))
    before = names(desk)
    with full_disk():
        code = call(command)
    told = capfd.readouterr()
    said = [line for line in told.err.splitlines() if not line.startswith("note: ")]
    assert (code, told.out, len(said)) == (2, "", 1), told.err[:500]
    assert re.match(r"leadline: \S+ cannot be written: ", said[0])
    assert names(desk) == before


def test_a_reader_that_goes_away_is_no_fault(desk: Path) -> None:
    with subprocess.Popen(
        [*CONSOLE, "hypsography", "bed.gpkg", "--step", "0.0001"],
        cwd=desk,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    ) as process:
        assert process.stdout is not None
        process.stdout.close()  # as `head` does when it has seen enough
        assert process.stderr is not None
        said = process.stderr.read()
    assert "Traceback" not in said
    assert "BrokenPipeError" not in said


def test_breaklines_are_an_option_with_options_of_their_own(desk: Path) -> None:
    line = LineString([(500_010, 5_200_080), (500_090, 5_200_080)])
    geopandas.GeoDataFrame({"z": [6.0]}, geometry=[line], crs=32633).to_file(desk / "lines.gpkg")
    command = TRIANGULATE.replace("bed.gpkg", "new.gpkg")
    options = (
        "--breaklines lines.gpkg --breaklines-depth z --breaklines-unit ft --duplicates deepest"
    )
    assert call(f"{command} {options} --no-cure-flats") == 0
    bed = read_bed(desk / "new.gpkg")
    assert 1.8288 in bed.depth[bed.kind == 3].round(12)
