"""The folder of a survey: every file is there, listed, readable elsewhere, and safe to open."""

import csv
import json
import re
import shutil
import subprocess
from itertools import pairwise
from pathlib import Path

import geopandas
import numpy as np
import pandas as pd
import pytest
import rasterio
import shapely
from matplotlib.image import imread

from toolbox.formats.delimited import read_delimited
from toolbox.formats.vector import layer_names
from toolbox.survey.run import run
from toolbox.survey.settings import load_settings

CRS = "EPSG:32633"
WEST, SOUTH, WIDE, HIGH = 500_000.0, 5_300_000.0, 160.0, 120.0
HOSTILE = {
    "formula": '=HYPERLINK("http://example.org","x")',
    "plus": "+1+1",
    "at": "@SUM(1)",
    "quotes": "a \"b\" 'c' ; d",
    "newline": "Cautions\n--------\nnone",
    "escape": "\x1b[31mred\x1b[2J",
    "markup": "<script>alert(1)</script>",
    "mathematics": "$\\frac{1}{2$",
    "long": "Y" * 300,
    "emoji": "\U0001f3a3 \u9752\u6d77",
}
TABLES = {"areas_and_volumes", "hypsography", "morphometry", "methods", "features"}
FITTED = {"depth_sd", "support", "unsurveyed"}
TERRAIN = {"slope", "aspect", "shaded_relief", "profile_curvature", "relative_position"}
TERRAIN |= {"surface_area_ratio", "vector_ruggedness", "landforms"}
LAYERS = {"shoreline", "soundings", "bed_vertices", "bed_triangles"}
LAYERS |= {"depth_zones", "isobaths", "isobath_labels", "features"}


def sound(folder: Path) -> None:
    """Sound a pond with a shelf along the south, a steep fall and a hump, on close lines."""
    water = shapely.box(WEST, SOUTH, WEST + WIDE, SOUTH + HIGH)
    geopandas.GeoDataFrame(geometry=[water], crs=CRS).to_file(folder / "shore.gpkg")
    east = np.repeat(np.arange(8, WIDE, 8.0), 18)
    north = np.tile(np.linspace(4, HIGH - 4, 18), len(east) // 18)
    edge = np.minimum.reduce([north, HIGH - north, east, WIDE - east])
    shelf = 1.2 + 4 / (1 + np.exp(-(north - 30) / 2.5))
    hump = 2.5 * np.exp(-((east - 100) ** 2 + (north - 80) ** 2) / 12**2)
    depth = np.minimum(shelf - hump, edge * 0.6) + np.random.default_rng(3).normal(
        0, 0.03, len(east)
    )
    columns = {"easting": WEST + east, "northing": SOUTH + north, "depth_m": np.round(depth, 3)}
    columns["line"] = [f"line {number}" for number in east]  # type: ignore[assignment]
    pd.DataFrame(columns).to_csv(folder / "boat.csv", index=False)
    along = np.linspace(WEST + 5, WEST + WIDE - 5, len(HOSTILE))
    stands = shapely.points(along, SOUTH - 1.0)
    geopandas.GeoDataFrame({"peg": list(HOSTILE.values())}, geometry=stands, crs=CRS).to_file(
        folder / "pegs.gpkg"
    )
    pd.DataFrame({"easting": [WEST - 2], "northing": [SOUTH + 60]}).to_csv(
        folder / "slip.csv", index=False
    )
    closed = [
        shapely.box(WEST + 60, SOUTH + 90, WEST + 90, SOUTH + HIGH),
        shapely.LineString([(WEST + 150, SOUTH - 20), (WEST + 150, SOUTH + 20)]),
    ]
    geopandas.GeoDataFrame(geometry=closed, crs=CRS).to_file(folder / "closed.gpkg")
    weed = shapely.box(WEST + 5, SOUTH + 5, WEST + 30, SOUTH + 25)
    geopandas.GeoDataFrame({"height_m": [0.4]}, geometry=[weed], crs=CRS).to_file(
        folder / "weed.gpkg"
    )


def survey(folder: Path, name: str, more: str) -> Path:
    (folder / f"{name}.toml").write_text(
        '[water]\nname = "Pond (invented)"\nshoreline = "shore.gpkg"\n'
        f'[[soundings]]\nfile = "boat.csv"\ncrs = "{CRS}"\nsource = "track"\n{more}',
        encoding="utf-8",
    )
    run(load_settings(folder / f"{name}.toml"), folder / name)
    return folder / name


@pytest.fixture(scope="module")
def fitted(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Run a survey with all there is, from pegs whose names are meant to do harm."""
    folder = tmp_path_factory.mktemp("fitted")
    sound(folder)
    pegs = f'pegs = "pegs.gpkg"\ncrs = "{CRS}"\n'
    more = '[bed]\nmethod = "fitted"\ndraws = 20\nspacing = 8\n'
    more += '[make]\ncell = "4 m"\nisobath_interval = 0.5\n'
    more += f'[plan]\ncasts = 2\n{pegs}[plants]\nfile = "weed.gpkg"\n'
    more += f'[marks]\nexclusions = "closed.gpkg"\nper_peg = 2\n{pegs}'
    return survey(folder, "result", more)


@pytest.fixture(scope="module")
def triangulated(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Run a survey of a boat from its slip."""
    folder = tmp_path_factory.mktemp("triangulated")
    sound(folder)
    more = '[bed]\nmethod = "triangulated"\n[make]\ncell = "4 m"\nterrain = ["slope"]\n'
    more += f'[marks]\nkind = "boat"\nslip = "slip.csv"\ncrs = "{CRS}"\ncount = 4\n'
    return survey(folder, "result", more)


STYLES = (".sld", ".qml", ".tif.aux.xml")


def files_of(folder: Path) -> set[str]:
    """Return what is in a folder but for how its rasters look."""
    return {path.name for path in folder.iterdir() if not path.name.endswith(STYLES)}


def test_every_raster_says_how_it_looks(fitted: Path) -> None:
    for path in fitted.glob("*.tif"):
        assert path.with_suffix(".sld").is_file()
        assert path.with_suffix(".qml").is_file()
    assert (fitted / "landforms.tif.aux.xml").is_file()


def test_every_layer_says_how_it_looks(fitted: Path) -> None:
    styles = geopandas.read_file(fitted / "lakebed.gpkg", layer="layer_styles")
    assert LAYERS - {"bed_vertices", "bed_triangles"} <= set(styles["f_table_name"])


def test_a_fitted_run_writes_all_there_is(fitted: Path) -> None:
    rasters = {"depth", "distance_to_sounding"} | TERRAIN | FITTED
    tables = TABLES | {"marks", "cast_profiles", "next_soundings", "validation", "bed_orders"}
    wanted = {f"{name}.tif" for name in rasters} | {f"{name}.csv" for name in tables}
    wanted |= {"lakebed.gpkg", "map.png", "marks.png", "findings.txt", "lineage.json"}
    wanted |= {"areas_and_volumes.xlsx", "metadata.xml", "metadata.txt"}
    wanted |= {"exports", "figures", "report.html", "sheet.pdf"}
    assert wanted - files_of(fitted) == set()
    assert files_of(fitted) - wanted <= {"line_errors.csv", "line_offsets.csv"}
    layers = set(layer_names(fitted / "lakebed.gpkg"))
    plants = {"plants", "plant_edges"}
    assert layers == LAYERS | plants | {"bed_draws", "next_soundings", "marks", "pegs"}


def test_the_table_for_a_report_has_its_title_block(fitted: Path) -> None:
    lines = (fitted / "areas_and_volumes.csv").read_text(encoding="utf-8").splitlines()
    block = [line for line in lines if line.startswith("# ")]
    assert block == lines[: len(block)]
    for label in ("Water: ", "Datum", "Method", "Depths: below", "Made on: 20", "Caution: Not for"):
        assert any(line.startswith(f"# {label}") for line in block), label
    table = read_delimited(fitted / "areas_and_volumes.csv")
    again = pd.read_csv(fitted / "areas_and_volumes.csv", comment="#")  # another reader
    assert list(table) == list(again)
    assert len(table) == len(again) > 2


def test_a_triangulated_run_of_a_boat_writes_its_course(triangulated: Path) -> None:
    rasters = {"depth", "distance_to_sounding", "slope"}
    wanted = {f"{name}.tif" for name in rasters} | {f"{name}.csv" for name in TABLES}
    wanted |= {"boat_marks.csv", "lakebed.gpkg", "map.png", "marks.png", "findings.txt"}
    wanted |= {
        "areas_and_volumes.xlsx",
        "lineage.json",
        "metadata.xml",
        "metadata.txt",
        "exports",
        "figures",
        "report.html",
        "sheet.pdf",
    }
    assert files_of(triangulated) == wanted
    layers = set(layer_names(triangulated / "lakebed.gpkg"))
    assert layers == LAYERS | {"boat_marks", "boat_course"}


@pytest.mark.parametrize("which", ["fitted", "triangulated"])
def test_every_file_is_listed_with_what_it_is(which: str, request: pytest.FixtureRequest) -> None:
    folder: Path = request.getfixturevalue(which)
    page = (folder / "findings.txt").read_text(encoding="utf-8")
    listed = page.split("\nFiles\n")[1].split("\nCautions\n")[0]
    told = {line.split()[0] for line in listed.splitlines() if re.match(r"  \w[\w.]+  ", line)}
    assert told | {"findings.txt", "metadata.txt"} == files_of(folder)
    assert "how it looks in a desktop GIS" in listed
    assert max(map(len, page.splitlines())) <= 92


@pytest.mark.skipif(shutil.which("ogrinfo") is None, reason="ogrinfo is not installed")
@pytest.mark.parametrize("which", ["fitted", "triangulated"])
def test_another_program_reads_every_layer(which: str, request: pytest.FixtureRequest) -> None:
    """Counts and CRS by ogrinfo of GDAL, a program of its own."""
    path = request.getfixturevalue(which) / "lakebed.gpkg"
    done = subprocess.run(
        ["ogrinfo", "-ro", "-so", "-al", str(path)], capture_output=True, text=True, check=True
    )
    assert done.stderr == ""
    counts = dict(
        re.findall(r"^Layer name: (\w+)$.*?^Feature Count: (\d+)$", done.stdout, re.M | re.S)
    )
    assert set(counts) == {*layer_names(path), "layer_styles"}
    assert min(map(int, counts.values())) > 0
    for name, count in counts.items():
        assert len(geopandas.read_file(path, layer=name)) == int(count)
    placed = set(counts) - {"bed_draws", "layer_styles"}  # tables
    assert done.stdout.count('ID["EPSG",32633]') == len(placed)


def test_layers_as_text_are_the_layers(fitted: Path) -> None:
    for name in ("features", "marks", "next_soundings"):
        layer = geopandas.read_file(fitted / "lakebed.gpkg", layer=name)
        text = pd.read_csv(fitted / f"{name}.csv")
        assert list(text) == [*layer.drop(columns="geometry"), "wkt"]
        assert shapely.equals_exact(shapely.from_wkt(text["wkt"]), layer.geometry, 0.001).all()


def test_rasters_lie_on_one_another(fitted: Path) -> None:
    places = set()
    for path in fitted.glob("*.tif"):
        with rasterio.open(path) as file:
            places.add((file.crs.to_epsg(), file.shape, file.transform))
    assert len(places) == 1


def test_steps_are_told_in_order_with_their_counts(fitted: Path) -> None:
    told = json.loads((fitted / "lineage.json").read_text(encoding="utf-8"))
    steps = {step["step"]: step for step in told["steps"]}
    order = ["read plants", "read grounds", "fit", "plan", "grid", "terrain", "isobaths"]
    order += ["features", "marks", "hypsography", "morphometry"]
    places = [list(steps).index(step) for step in order]
    assert places == sorted(places)
    marks = geopandas.read_file(fitted / "lakebed.gpkg", layer="marks")
    features = geopandas.read_file(fitted / "lakebed.gpkg", layer="features")
    assert steps["marks"]["marks"] == len(marks)
    assert steps["features"]["features"] == features["feature"].nunique()
    assert set(steps["terrain"]["layers"]) == {path.stem for path in fitted.glob("*.tif")}
    assert {Path(row["file"]).name for row in told["inputs"]} == {
        *("shore.gpkg", "boat.csv", "pegs.gpkg", "weed.gpkg", "closed.gpkg")
    }


def test_the_run_found_what_lies_there(fitted: Path) -> None:
    """The pond is made with a drop-off along the south and a hump of 2.5 m."""
    features = geopandas.read_file(fitted / "lakebed.gpkg", layer="features")
    lip = features[features["kind"] == "drop-off lip"].union_all()
    assert lip.distance(shapely.Point(WEST + 60, SOUTH + 25)) < 8
    hump = features[features["kind"] == "hump"].union_all()
    assert hump.contains(shapely.Point(WEST + 100, SOUTH + 80))
    marks = geopandas.read_file(fitted / "lakebed.gpkg", layer="marks")
    assert len(marks) > 3
    closed = geopandas.read_file(fitted.parent / "closed.gpkg").geometry
    casts = shapely.linestrings(
        marks[["peg_easting_m", "peg_northing_m", "easting_m", "northing_m"]]
        .to_numpy()
        .reshape(-1, 2, 2)
    )
    assert not shapely.intersects(casts, closed[0]).any()
    assert shapely.distance(casts, closed[1]).min() > 29.9


# ---- names that are meant to do harm ----


def pegs_of(folder: Path) -> set[str]:
    return set(geopandas.read_file(folder / "lakebed.gpkg", layer="marks")["peg"])


def test_names_are_kept_whole_where_they_do_no_harm(fitted: Path) -> None:
    pegs = geopandas.read_file(fitted / "lakebed.gpkg", layer="pegs")
    assert pegs["peg"].tolist() == list(HOSTILE.values())
    assert len(pegs_of(fitted)) > 3


@pytest.mark.parametrize("table", ["marks", "cast_profiles", "next_soundings"])
def test_no_cell_of_a_table_is_a_formula(table: str, fitted: Path) -> None:
    """Spreadsheets run what begins with one of = + - @, tab and return (OWASP, from memory)."""
    with (fitted / f"{table}.csv").open(encoding="utf-8", newline="") as file:
        head, *rows = list(csv.reader(file))
    assert {len(row) for row in rows} == {len(head)}
    cells = [cell for row in rows for cell in row]
    risky = [cell for cell in cells if cell[:1] in ("=", "+", "-", "@", "\t", "\r") and cell]
    assert [cell for cell in risky if not re.fullmatch(r"-[\d.e+-]+", cell)] == []
    place = head.index("peg")
    told = {row[place].removeprefix("'") for row in rows}
    assert told <= set(HOSTILE.values())
    assert {name[0] for name in told} & {"=", "+", "@"}  # or nothing was tried


def test_findings_keep_their_form_whatever_pegs_are_called(fitted: Path) -> None:
    page = (fitted / "findings.txt").read_text(encoding="utf-8")
    assert not re.search(r"[\x00-\x08\x0b-\x1f\x7f]", page)
    headings = [line for line, rule in pairwise(page.splitlines()) if re.fullmatch("-+", rule)]
    assert headings == [
        "Pond (invented)",
        "Before you rely on it",
        "Figures",
        "How far to trust it",
        "On the bed",
        "Marks",
        "Where to sound next",
        "Assumed of the input",
        "For the record",
        "Files",
        "Cautions",
    ]
    flat = "".join(page.split())
    for name in pegs_of(fitted):
        words = "".join(c if c.isprintable() else " " for c in name)
        assert "".join(words.split()) in flat


@pytest.mark.parametrize("which", ["fitted", "triangulated"])
def test_pictures_are_drawn(which: str, request: pytest.FixtureRequest) -> None:
    folder: Path = request.getfixturevalue(which)
    assert imread(folder / "map.png").shape[1] == 9 * 160
    assert imread(folder / "marks.png").shape[1] == 9 * 200


def test_without_marks_there_is_neither_list_nor_picture(tmp_path: Path) -> None:
    sound(tmp_path)
    folder = survey(tmp_path, "none", '[make]\ncell = "4 m"\n[marks]\nshallowest = 30\n')
    assert {"marks.csv", "marks.png", "cast_profiles.csv"} & files_of(folder) == set()
    assert {"marks", "pegs"} & set(layer_names(folder / "lakebed.gpkg")) == set()
    page = (folder / "findings.txt").read_text(encoding="utf-8")
    assert "no mark: no spot can be reached" in page.split("\nMarks\n")[1].split("\nFiles\n")[0]
