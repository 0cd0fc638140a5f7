"""Bad input gets one line that says what is wrong and exit code 2, and leaves nothing behind."""

import re
import shlex
import shutil
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

import geopandas
import numpy as np
import pytest
import rasterio
import shapely
from affine import Affine
from shapely.geometry import LineString, MultiPolygon, Point, Polygon, box

from toolbox.cli import main

UTM = 32633
LAKE = box(500_000, 5_200_000, 500_100, 5_200_100)
HEADER = "easting,northing,depth\n"
ROWS = "500020,5200020,3\n500050,5200050,4\n500080,5200030,5\n"

BED = "triangulate soundings.csv shoreline.gpkg --out new.gpkg"
TRIANGULATE = f"{BED} --soundings-crs EPSG:32633"
LINES = f"{TRIANGULATE} --breaklines lines.gpkg"
GRID = "grid-bed bed.gpkg --out new.tif --cell"
SLOPE = "slope raster.tif --out new.tif"
TABLE = "hypsography bed.gpkg --out new.csv"
AREAS = "volume-from-areas areas.csv --out new.csv"
RUN = "run survey.toml --out result"

Content = str | bytes | Callable[[Path], None] | None


@dataclass(frozen=True)
class Case:
    """A command, words its one line must hold, and what differs from the good inputs."""

    command: str
    words: tuple[str, ...]
    files: dict[str, Content] = field(default_factory=dict)


def junk() -> bytes:
    return np.random.default_rng(0).integers(0, 256, 5_000, dtype=np.uint8).tobytes()


def text(content: str | bytes, *words: str, options: str = "") -> Case:
    """Describe a text of soundings and the refusal it deserves."""
    return Case(f"{TRIANGULATE} {options}", words, {"soundings.csv": content})


def layer(
    *shapes: shapely.Geometry, crs: int | None = UTM, name: str = "shoreline", **columns: object
) -> Content:
    """Describe a vector file that holds some shapes, beside what the file holds already."""

    def write(path: Path) -> None:
        frame = geopandas.GeoDataFrame(
            columns or {"number": range(len(shapes))}, geometry=list(shapes), crs=crs
        )
        if path.suffix == ".parquet":
            frame.to_parquet(path)
            return
        layered = {"layer": name} if path.suffix == ".gpkg" else {}
        mode = "a" if path.exists() and name != "shoreline" else "w"
        frame.to_file(path, mode=mode, **layered)

    return write


def raster(crs: str | None, transform: Affine | None = None) -> Content:
    """Describe a raster of ones."""

    def write(path: Path) -> None:
        profile = {"driver": "GTiff", "height": 9, "width": 9, "count": 1, "dtype": "float32"}
        place = transform or Affine(1, 0, 500_000, 0, -1, 5_200_100)
        with rasterio.open(path, "w", crs=crs, transform=place, **profile) as file:
            file.write(np.ones((1, 9, 9), np.float32))

    return write


def survey(
    *,
    head: str = "",
    water: str = 'name = "Pond"\nshoreline = "shoreline.gpkg"',
    datum: str = "elevation = 100",
    soundings: str = 'file = "soundings.csv"\ncrs = "EPSG:32633"',
    more: str = "",
    tail: str = "",
) -> dict[str, Content]:
    """Describe a survey file, good but for what is given."""
    sections = f"[water]\n{water}\n[datum]\n{datum}\n[[soundings]]\n{soundings}\n{more}\n"
    return {"survey.toml": f"{head}\n{sections}{tail}\n"}


TEXTS = {
    "empty": text("", "soundings.csv is empty"),
    "only blank lines": text("\n \n\n", "soundings.csv is empty", "at least one line"),
    "only remarks": text("# a\n# b\n", "soundings.csv is empty", "at least one line"),
    "header only": text(HEADER, "soundings.csv", "header line", "no figures below it"),
    "wrong delimiter named": text(
        HEADER + ROWS,
        "easting or longitude",
        "easting,northing,depth",
        options="--soundings-delimiter ';'",
    ),
    "delimiter of two characters": text(
        HEADER + ROWS, "delimiter", "'ab'", options="--soundings-delimiter ab"
    ),
    "one row too long": text(HEADER + ROWS + "1,2,3,4\n", "soundings.csv", "equally many columns"),
    "one row too long far down": text(
        HEADER + ROWS * 30 + "1,2,3,4\n", "soundings.csv", "line 92", "saw 4"
    ),
    "one row too short": text(HEADER + ROWS + "1,2\n", "soundings.csv", "equally many columns"),
    "one row too short far down": text(HEADER + ROWS * 30 + "1,2\n", "soundings.csv", "line 92"),
    "one row too short, delimiter named": text(
        HEADER + ROWS + "1,2\n", "soundings.csv", "line 5", options="--soundings-delimiter ,"
    ),
    "text in the depths": text(
        HEADER + ROWS + "500020,5200030,deep\n",
        "soundings.csv, line 5",
        "'depth'",
        "'deep'",
        "number",
    ),
    "text in the depths below remarks and blanks": text(
        f"# one\n\n# two\n{HEADER}\n{ROWS}\n\n500020,5200030,deep\n",
        "soundings.csv, line 11: ",
        "'depth'",
        "'deep'",
    ),
    "remark among the figures": text(
        f"{HEADER}{ROWS}# inner,,3\n", "soundings.csv, line 5: ", "'# inner'", "number"
    ),
    "text below a note of two lines": text(
        'easting,northing,depth,note\n500020,5200020,3,"a\nb"\n500030,5200030,deep,c\n',
        "soundings.csv, line 4: ",
        "'deep'",
        options="--soundings-delimiter ,",
    ),
    "text among decimal commas": text(
        "easting;northing;depth\n500020,5;5200020,5;3,1\n500021,5;5200021,5;tief\n",
        "soundings.csv, line 3",
        "'tief'",
    ),
    "text in the eastings": text(
        HEADER + ROWS + "E500020,5200030,3\n", "line 5", "'easting'", "'E500020'", "number"
    ),
    "infinite depth": text(
        HEADER + ROWS + "500020,5200030,inf\n", "line 5", "'depth'", "'inf'", "finite"
    ),
    "number too large to be one": text(
        f"{HEADER}{ROWS}500020,5200030,{'9' * 400}\n", "line 5", "'depth'", "finite"
    ),
    "infinite northing": text(HEADER + ROWS + "500020,-inf,3\n", "line 5", "'northing'", "'-inf'"),
    "no column of depths": text(
        "easting,northing,id\n" + ROWS, "soundings.csv", "plainly the depth", "name one of id"
    ),
    "a column z may be depth or elevation": text(
        "easting,northing,z\n" + ROWS, "soundings.csv", "plainly the depth", "name one of z"
    ),
    "no column of eastings": text(
        "right,northing,depth\n" + ROWS,
        "plainly the easting or longitude",
        "right, northing, depth",
    ),
    "named column of depths missing": text(
        HEADER + ROWS, "soundings.csv", "'tiefe'", "only depth", options="--soundings-depth tiefe"
    ),
    "named column of eastings missing": text(
        HEADER + ROWS,
        "soundings.csv",
        "'right'",
        "only easting, northing, depth",
        options="--soundings-easting right",
    ),
    "depths and elevations named": text(
        HEADER + ROWS,
        "depths or of elevations, not both",
        options="--soundings-depth depth --soundings-elevation depth",
    ),
    "no depth anywhere": text(
        HEADER + "500020,5200020,nan\n500050,5200050,\n500080,5200030,NA\n", "3 soundings", "got 0"
    ),
    "no place anywhere": text(HEADER + ",,3\n,,4\n", "soundings.csv", "no coordinates"),
    "one point": text(HEADER + "500020,5200020,3\n", "3 soundings", "got 1"),
    "all outside": text(
        HEADER + "400020,5200020,3\n400050,5200020,3\n400050,5200090,3\n", "3 soundings", "got 0"
    ),
    "most depths negative": text(
        HEADER + "500020,5200020,-3\n500050,5200050,-4\n500080,5200030,5\n",
        "soundings.csv",
        "'depth'",
        "negative",
        "positive",
        "datum",
    ),
    "elevations without datum": text(
        "easting,northing,elevation\n" + ROWS, "soundings.csv", "elevations", "give datum"
    ),
    "elevations with a datum that is no number": text(
        "easting,northing,elevation\n" + ROWS,
        "datum",
        "finite",
        "nan",
        options="--soundings-datum nan",
    ),
    "no CRS": Case(BED, ("soundings.csv", "no CRS", "'EPSG:32633'")),
    "unknown CRS": Case(
        f"{BED} --soundings-crs EPSG:99999", ("crs is unknown", "'EPSG:99999'", "'EPSG:32633'")
    ),
    "degrees named for metres": Case(
        f"{BED} --soundings-crs EPSG:4326", ("soundings.csv", "no degrees", "'WGS 84'", "crs")
    ),
    "heights named for metres": Case(
        f"{BED} --soundings-crs EPSG:5703", ("projected CRS in metres", "NAVD88 height")
    ),
    "latitude beyond the pole": Case(
        BED, ("95.2", "no degrees"), {"soundings.csv": "lon,lat,depth\n15,95,3\n15.1,95.2,4\n"}
    ),
    "binary junk": text(junk(), "soundings.csv is not utf-8 text", "byte"),
    "NUL bytes": text("a,b\n\0\0", "soundings.csv is not a text file"),
    "umlaut of another encoding": text(
        "easting,northing,depth,note\n500020,5200020,3,M\u00fcndung\n".encode("cp1252"),
        "soundings.csv is not utf-8 text",
        "byte 46 is 0xfc",
        "give its encoding",
        options="--soundings-encoding utf-8",
    ),
    "umlaut of another encoding far down": text(
        f"easting,northing,depth,note\n{'500020,5200020,3,a' * 5_000}\u00fc\n".encode("cp1252"),
        "soundings.csv is not utf-8 text",
        "give its encoding",
        options="--soundings-encoding utf-8",
    ),
    "two-byte text": text((HEADER + ROWS).encode("utf-16"), "not utf-8 text", "byte 0 is 0xff"),
    "unknown encoding": text(
        HEADER + ROWS, "encoding", "'klingon'", options="--soundings-encoding klingon"
    ),
    "unknown unit": text(
        HEADER + ROWS, "'parsec'", "'survey_foot'", options="--soundings-unit parsec"
    ),
    "unknown decimal mark": text(
        HEADER + ROWS, "decimal", "';'", options="--soundings-decimal ';'"
    ),
    "condition on a text": text(
        HEADER + ROWS, "where", "depth > 3", options="--soundings-where 'depth > 3'"
    ),
}
"""Soundings as text."""


def shore(content: Content, *words: str, options: str = "", name: str = "shoreline.gpkg") -> Case:
    """Describe a shoreline file and the refusal it deserves."""
    command = TRIANGULATE.replace("shoreline.gpkg", name)
    return Case(f"{command} {options}", words, {name: content})


def without_projection(path: Path) -> None:
    geopandas.GeoDataFrame(geometry=[LAKE], crs=UTM).assign(number=1).to_file(path)
    path.with_suffix(".prj").unlink()


def without_index(path: Path) -> None:
    geopandas.GeoDataFrame(geometry=[LAKE], crs=UTM).assign(number=1).to_file(path)
    path.with_suffix(".shx").unlink()


CUT = MultiPolygon([box(179.9, 50, 180, 50.1), box(-180, 50, -179.9, 50.1)])
FLAT = Polygon([(500_000, 5_200_000), (500_100, 5_200_100), (500_050, 5_200_050)])
DIAGONAL = LineString([(500_010, 5_200_010), (500_090, 5_200_090)])

LAYERS = {
    "shoreline cut by the antimeridian": shore(
        layer(CUT, crs=4326), "longitudes -180", "antimeridian", "projected CRS in metres"
    ),
    "shoreline of an open line": shore(
        layer(LineString(LAKE.exterior.coords[:4])),
        "outline 1 is",
        "its ends lie",
        "must come back",
    ),
    "shoreline of points": shore(layer(Point(500_000, 5_200_000)), "polygons", "Point", "shape 1"),
    "shoreline that collapses when mended": shore(layer(FLAT), "at least 1 m2", "CRS"),
    "degrees taken as metres": shore(
        layer(box(15, 47, 15.001, 47.001)), "at least 1 m2", "is its CRS right?"
    ),
    "shoreline without shapes": shore(layer(Polygon()), "shoreline.gpkg", "empty geometries"),
    "shapefile without its CRS": shore(
        without_projection, "shoreline.shp names no CRS", "'EPSG:32633'", name="shoreline.shp"
    ),
    "shapefile without its index": shore(
        without_index, "shoreline.shp lacks its part shoreline.shx", name="shoreline.shp"
    ),
    "several layers": shore(
        layer(LAKE, name="islands"), "shoreline.gpkg", "several layers", "shoreline, islands"
    ),
    "unknown layer": Case(
        f"{TRIANGULATE} --shoreline-layer lake", ("shoreline.gpkg", "'lake'", "only shoreline")
    ),
    "condition that nothing meets": Case(
        f'{TRIANGULATE} --shoreline-where "number = 7"',
        ("shoreline.gpkg", "no features", "number = 7"),
    ),
    "condition that is none": Case(
        f'{TRIANGULATE} --shoreline-where "number === 7"', ("shoreline.gpkg", "number === 7")
    ),
    "condition on a column that is not there": Case(
        f'{TRIANGULATE} --shoreline-where "colour = 7"', ("shoreline.gpkg", "colour")
    ),
    "condition on Parquet": shore(
        layer(LAKE),
        "where",
        "'number = 0'",
        options="--shoreline-where 'number = 0'",
        name="s.parquet",
    ),
    "table without shapes": shore(
        lambda path: (
            geopandas.GeoDataFrame({"a": [1]}, geometry=[None])
            .drop(columns="geometry")
            .to_parquet(path)
        ),
        "s.parquet cannot be read as GeoParquet",
        name="s.parquet",
    ),
    "depth of the shoreline is no number": Case(
        f"{TRIANGULATE} --shoreline-depth nan", ("depth", "finite", "nan")
    ),
    "open edges far from the shore": Case(
        f"{TRIANGULATE} --shoreline-open-edges ends.gpkg",
        ("open edges", "within 5 m", "none does"),
        {"ends.gpkg": layer(LineString([(0, 0), (9, 9)]))},
    ),
    "open edges within nothing": Case(
        f"{TRIANGULATE} --shoreline-open-edges ends.gpkg --shoreline-open-within 0",
        ("within must be > 0 m", "0"),
        {"ends.gpkg": layer(LineString(LAKE.exterior.coords[:2]))},
    ),
    "breaklines without depth": Case(
        LINES, ("lines.gpkg", "plainly the depth", "number"), {"lines.gpkg": layer(DIAGONAL)}
    ),
    "one breakline without depth": Case(
        LINES,
        ("lines.gpkg", "feature 2", "no depth"),
        {"lines.gpkg": layer(DIAGONAL, DIAGONAL, depth=[2.0, np.nan])},
    ),
    "breaklines of points": Case(
        LINES,
        ("lines.gpkg", "lines or rings", "Point"),
        {"lines.gpkg": layer(Point(500_050, 5_200_050), depth=[2.0])},
    ),
    "soundings of polygons": Case(
        "triangulate shoreline.gpkg shoreline.gpkg --out new.gpkg",
        ("shoreline.gpkg", "points", "Polygon"),
    ),
    "a bed that is none": Case(
        "morphometry shoreline.gpkg", ("shoreline.gpkg holds no bed", "'bed_vertices'")
    ),
    "raster in degrees": Case(
        SLOPE,
        ("raster.tif", "projected CRS in metres", "'WGS 84'"),
        {"raster.tif": raster("EPSG:4326", Affine(0.1, 0, 15, 0, -0.1, 47))},
    ),
    "raster in feet": Case(
        SLOPE,
        ("raster.tif", "projected CRS in metres", "North Carolina"),
        {"raster.tif": raster("EPSG:2264")},
    ),
    "raster without CRS": Case(SLOPE, ("raster.tif names no CRS",), {"raster.tif": raster(None)}),
    "raster that is turned": Case(
        SLOPE,
        ("square and north up",),
        {"raster.tif": raster("EPSG:32633", Affine(1, 0.5, 0, 0.5, -1, 9))},
    ),
    "band that is not there": Case(
        f"{SLOPE} --depth-band 2",
        ("raster.tif", "bands 1 to 1", "got 2"),
        {"raster.tif": raster("EPSG:32633")},
    ),
} | {
    f"binary junk as {suffix}": Case(
        command.format(f"junk.{suffix}"),
        (f"junk.{suffix} cannot be read",),
        {f"junk.{suffix}": junk()},
    )
    for suffix, command in {
        "gpkg": "morphometry {}",
        "shp": "triangulate soundings.csv {} --soundings-crs EPSG:32633 --out new.gpkg",
        "fgb": "triangulate soundings.csv {} --soundings-crs EPSG:32633 --out new.gpkg",
        "geojson": "triangulate {} shoreline.gpkg --out new.gpkg",
        "parquet": "triangulate {} shoreline.gpkg --out new.gpkg",
        "tif": "slope {} --out new.tif",
    }.items()
}
"""Vector layers and rasters."""


def areas(content: str, *words: str, options: str = "") -> Case:
    """Describe a table of areas and the refusal it deserves."""
    return Case(f"{AREAS} {options}", words, {"areas.csv": content})


NUMBERS = {
    "cell of nothing": Case(f"{GRID} 0", ("cell must be > 0 m", "got 0.0")),
    "negative cell": Case(f"{GRID} -2", ("cell must be > 0 m", "got -2.0")),
    "cell that is no number": Case(f"{GRID} nan", ("cell must be > 0 m", "got nan")),
    "cell in kilograms": Case(f"{GRID} '2 kg'", ("--cell", "number in m", "'2 m'", "'2 kg'")),
    "cell in words": Case(f"{GRID} fine", ("--cell", "number in m", "'fine'")),
    "cells for a disk of terabytes": Case(
        f"{GRID} '0.04 mm'", ("new.tif cannot be written", "2.33e+04 GiB", "GiB are free")
    ),
    "cells beyond counting": Case(f"{GRID} 1e-310", ("cell", "1e-310")),
    "steps of nothing": Case(f"{TABLE} --step 0", ("step must be > 0 m", "got 0.0")),
    "steps beyond memory": Case(f"{TABLE} --step 1e-12", ("step", "1e-12")),
    "step and levels": Case(f"{TABLE} --step 1 --levels 2", ("step or levels, not both",)),
    "level above the shoreline": Case(
        f"{TABLE} --levels -1 --levels 2", ("levels", "at or below", "depth 0 m", "got -1")
    ),
    "level that is no number": Case(f"{TABLE} --levels nan", ("levels must be finite", "got nan")),
    "datum left out": Case(
        "reduce-to-datum soundings.csv --soundings-crs EPSG:32633 --water-level 3 --out new.csv",
        ("Missing option '--datum'",),
    ),
    "text in a column of numbers": areas(
        "depth_m,area_m2\n0,100\n1,many\n2,0\n", "'area_m2'", "numbers", "'many'"
    ),
    "negative area": areas("depth_m,area_m2\n0,100\n1,-5\n2,0\n", ">= 0", "-5", "depth 1"),
    "infinite area": areas("depth_m,area_m2\n0,inf\n1,5\n2,0\n", "finite", "inf", "depth 0"),
    "one depth twice": areas("depth_m,area_m2\n0,100\n1,50\n1,40\n", "ascend strictly"),
    "a table of one row": areas("depth_m,area_m2\n0,100\n", "two or more"),
    "column of areas missing": areas(
        "depth_m,acres\n0,100\n1,50\n", "no column 'area_m2'", "depth_m", "acres"
    ),
}
"""Numbers, tables."""

COMMANDS = {
    "missing file": Case("slope nothing.tif --out new.tif", ("nothing.tif",)),
    "missing soundings": Case(
        "triangulate nothing.csv shoreline.gpkg --out new.gpkg", ("nothing.csv does not exist",)
    ),
    "a folder for a file": Case("triangulate . shoreline.gpkg --out new.gpkg", (". is a folder",)),
    "a path below a file": Case(
        "triangulate areas.csv/a.csv shoreline.gpkg --out new.gpkg",
        ("areas.csv/a.csv does not exist",),
    ),
    "result below a device": Case(
        TRIANGULATE.replace("new.gpkg", "/dev/null/new.gpkg"),
        ("/dev/null/new.gpkg cannot be written",),
    ),
    "result below a file": Case(
        TRIANGULATE.replace("new.gpkg", "areas.csv/new.gpkg"),
        ("areas.csv/new.gpkg cannot be written",),
    ),
    "result of too long a name": Case(
        TRIANGULATE.replace("new.gpkg", f"{'n' * 300}.gpkg"), ("cannot be written", "too long")
    ),
    "result that is there": Case(
        TRIANGULATE.replace("new.gpkg", "bed.gpkg"),
        ("bed.gpkg exists already", "replace it with --overwrite"),
    ),
    "result that is a folder": Case(
        f"{TRIANGULATE.replace('new.gpkg', '.')} --overwrite",
        (". exists already and is a folder; choose another name",),
    ),
    "suffix that does not fit": Case(
        "reduce-to-datum soundings.csv --soundings-crs EPSG:32633 --water-level 99 --datum 100 "
        "--out new.tif",
        (".gpkg, .csv", "'new.tif'"),
    ),
    "no suffix": Case(TRIANGULATE.replace("new.gpkg", "new"), (".gpkg", "'new'")),
    "unknown tool": Case("bathymetry bed.gpkg", ("'bathymetry'",)),
    "unknown tool to describe": Case(
        "describe bathymetry", ("no tool 'bathymetry'", "leadline tools")
    ),
    "unknown option": Case(f"{GRID} 2 --sell 3", ("'--sell'",)),
    "bad choice": Case(
        "slope depth.tif --unit radian --out new.tif", ("--unit", "'radian'", "'degree', 'percent'")
    ),
    "missing result": Case("slope depth.tif", ("Missing option '--out'",)),
    "missing layer": Case("slope --out new.tif", ("Missing argument 'DEPTH'",)),
    "one argument too many": Case(
        "slope depth.tif bed.gpkg --out new.tif", ("unexpected", "bed.gpkg")
    ),
    "working CRS in degrees": Case(
        f"{TRIANGULATE} --in-crs EPSG:4326", ("projected CRS in metres", "'WGS 84'")
    ),
    "working CRS in feet": Case(
        f"{TRIANGULATE} --in-crs EPSG:2264", ("projected CRS in metres", "North Carolina")
    ),
    "working CRS for a raster, which stays": Case(
        "slope depth.tif --in-crs EPSG:32632 --out new.tif", ("--in-crs",)
    ),
    "survey file that is there": Case(
        "new survey.toml", ("survey.toml exists already", "--overwrite")
    ),
}
"""The command line itself."""

SURVEYS = {
    "missing survey": Case("run nothing.toml --out result", ("nothing.toml does not exist",)),
    "a folder for a survey": Case("check .", (". is a folder",)),
    "empty survey": Case(RUN, ("survey.toml is empty",), {"survey.toml": ""}),
    "no TOML": Case(RUN, ("survey.toml is not a TOML file", "line 10"), survey(more="[make")),
    "binary survey": Case(RUN, ("survey.toml is not a TOML file",), {"survey.toml": junk()}),
    "number of too many digits": Case(
        RUN, ("survey.toml is not a TOML file",), survey(more=f"[make]\ncell = {'9' * 5_000}")
    ),
    "lists within lists without end": Case(
        RUN, ("survey.toml is not a TOML file",), survey(more=f"[make]\nlevels = {'[' * 2_000}")
    ),
    "unknown key": Case(
        RUN,
        (
            "survey.toml",
            "'colour' is unknown",
            "bed, cleaning, datum, echoes, light, make, marks, origin, plan, plants, profiles, "
            "report, sheet, soundings, species, stage, stocking, thinning",
        ),
        survey(head="colour = 'red'"),
    ),
    "unknown key within": Case(
        RUN,
        (
            "survey.toml",
            "'make.cel' is unknown",
            "cell, exports, foot, isobath_interval, isobath_levels, levels, memory, paper, "
            "slope_unit, step, terrain, write",
        ),
        survey(more="[make]\ncel = 2"),
    ),
    "unknown key of a source": Case(
        RUN,
        (
            "survey.toml",
            "'soundings.1.dept' is unknown",
            "declination, delimiter, depth, draft, easting, elevation",
        ),
        survey(more="dept = 'z'"),
    ),
    "missing key": Case(
        RUN,
        ("survey.toml", "'water.name' is missing"),
        survey(water="shoreline = 'shoreline.gpkg'"),
    ),
    "missing section": Case(
        RUN,
        ("'soundings' is missing",),
        {"survey.toml": "[water]\nname = 'A'\nshoreline = 'shoreline.gpkg'\n"},
    ),
    "text for yes or no": Case(
        RUN,
        ("survey.toml", "'bed.cure_flats'", "'perhaps'"),
        survey(more="[bed]\ncure_flats = 'perhaps'"),
    ),
    "number for text": Case(
        RUN, ("survey.toml", "'datum.name'", "string", "got 7"), survey(datum="name = 7")
    ),
    "yes for a number": Case(
        RUN, ("survey.toml", "'make.cell'", "number", "True"), survey(more="[make]\ncell = true")
    ),
    "one number for a list": Case(
        RUN, ("survey.toml", "'make.levels'", "got 3"), survey(more="[make]\nlevels = 3")
    ),
    "no levels in the list": Case(
        RUN, ("survey.toml", "'make.levels'"), survey(more="[make]\nlevels = []")
    ),
    "length in kilograms": Case(
        RUN,
        ("survey.toml", "'make.cell'", "number in m", "'2 kg'"),
        survey(more="[make]\ncell = '2 kg'"),
    ),
    "elevation that is infinite": Case(
        RUN, ("survey.toml", "'datum.elevation'", "finite", "inf"), survey(datum="elevation = inf")
    ),
    "cell of nothing in a survey": Case(
        RUN,
        ("survey.toml", "'make.cell'", "greater than 0", "got 0"),
        survey(more="[make]\ncell = 0"),
    ),
    "choice that is none": Case(
        RUN,
        ("survey.toml", "'bed.duplicates'", "'mean', 'shoalest' or 'deepest'", "'median'"),
        survey(more="[bed]\nduplicates = 'median'"),
    ),
    "unknown key of marks": Case(
        RUN,
        ("survey.toml", "'marks.range' is unknown", "apart, clearance, count, crs, declination"),
        survey(more="[marks]\nrange = 60"),
    ),
    "weight of no kind of mark": Case(
        RUN,
        ("survey.toml", "'marks.weights.wreck' is unknown", "'drop_off_foot', ", "'bottom_change'"),
        survey(more="[marks.weights]\nwreck = 1"),
    ),
    "pegs for a boat": Case(
        RUN,
        ("survey.toml", "pegs is for kind = 'casts'", "got kind = 'boat'"),
        survey(more="[marks]\nkind = 'boat'\npegs = 'soundings.csv'"),
    ),
    "pegs that are missing": Case(
        RUN,
        ("[marks] pegs: 'nothing.csv' does not exist in",),
        survey(more="[marks]\npegs = 'nothing.csv'"),
    ),
    "profiles that are not there": Case(
        RUN,
        ("[profiles] file: 'gone.csv' does not exist in",),
        survey(more="[profiles]\nfile = 'gone.csv'"),
    ),
    "a profile that is too warm": Case(
        RUN,
        ("profile.csv", "line 3", "temperature", "99"),
        survey(more="[profiles]\nfile = 'profile.csv'")
        | {"profile.csv": "date,depth_m,temperature_c\n2026-05-14,0,12\n2026-05-14,1,99\n"},
    ),
    "species without a source": Case(
        RUN,
        ("limits.toml", "tench", "source"),
        survey(more="[profiles]\nfile = 'profile.csv'\n[species]\nfile = 'limits.toml'")
        | {
            "profile.csv": "date,depth_m,temperature_c\n2026-05-14,0,12\n",
            "limits.toml": "[[species]]\nname = 'tench'\ntemperature = { most = '30 degC' }\n",
        },
    ),
    "a species that is not in its file": Case(
        RUN,
        ("'burbot'", "tench"),
        survey(more="[profiles]\nfile = 'profile.csv'\n[species]\nnames = ['burbot']")
        | {"profile.csv": "date,depth_m,temperature_c\n2026-05-14,0,12\n"},
    ),
    "echoes without their pings": Case(
        RUN,
        ("[echoes] pings: 'pings.csv' does not exist in",),
        survey(more="[echoes]\nfile = 'e.csv'\npings = 'pings.csv'\nbeam_angle = 20")
        | {"e.csv": "transect,ping,range_m\n1,1,3\n"},
    ),
    "a beam too wide": Case(
        RUN,
        ("'echoes.beam_angle'", "less than or equal to 90", "got 120"),
        survey(more="[echoes]\nfile = 'e.csv'\npings = 'p.csv'\nbeam_angle = 120")
        | {"e.csv": "ping\n1\n", "p.csv": "ping\n1\n"},
    ),
    "a stocking rate without unit": Case(
        RUN,
        ("proposal.toml", "alternative.1.stock.1", "'30'"),
        survey(more="[stocking]\nfile = 'proposal.toml'")
        | {
            "proposal.toml": "title = 'a'\nwater = 'b'\n[[fish]]\nname = 'f'\nspecies = 'f'\n"
            "[[alternative]]\nname = 'x'\n[[alternative.stock]]\nfish = 'f'\nrate = '30'\n"
            "source = 'illustrative'\n"
        },
    ),
    "plants that are points": Case(
        RUN,
        ("dots.gpkg must hold polygons", "got Point"),
        survey(more="[plants]\nfile = 'dots.gpkg'")
        | {"dots.gpkg": layer(Point(500_050, 5_200_050))},
    ),
    "a raster that is none": Case(
        RUN,
        ("survey.toml", "'make.terrain.1'", "'slope', 'aspect'", "'hillside'"),
        survey(more="[make]\nterrain = ['hillside']"),
    ),
    "isobaths beyond counting": Case(
        RUN, ("interval", "1e-09"), survey(more="[make]\nisobath_interval = 1e-9")
    ),
    "isobaths at an interval and at levels": Case(
        RUN,
        ("survey.toml", "make.isobath_interval or make.isobath_levels, not both"),
        survey(more="[make]\nisobath_interval = 1\nisobath_levels = [1]"),
    ),
    "step and levels in a survey": Case(
        RUN,
        ("survey.toml", "make.step or make.levels, not both"),
        survey(more="[make]\nstep = 1\nlevels = [1]"),
    ),
    "level above the shoreline in a survey": Case(
        RUN, ("levels", "depth 0 m", "got -1"), survey(more="[make]\nlevels = [-1, 2]")
    ),
    "shoreline level without datum": Case(
        RUN,
        ("survey.toml", "water.shoreline_level needs datum.elevation"),
        survey(datum="", water="name = 'A'\nshoreline = 'shoreline.gpkg'\nshoreline_level = 99"),
    ),
    "water level without datum": Case(
        RUN,
        ("survey.toml", "soundings 1", "datum.elevation"),
        survey(datum="", more="water_level = 99"),
    ),
    "unknown CRS in a survey": Case(
        RUN,
        ("survey.toml", "'soundings.1.crs'", "crs is unknown", "'EPSG:99999'"),
        survey(soundings="file = 'soundings.csv'\ncrs = 'EPSG:99999'"),
    ),
    "working CRS in degrees in a survey": Case(
        RUN,
        ("projected CRS in metres", "WGS 84"),
        survey(water="name = 'A'\nshoreline = 'shoreline.gpkg'\ncrs = 'EPSG:4326'"),
    ),
    "delimiter of three characters": Case(
        RUN, ("delimiter", "'abc'"), survey(more="delimiter = 'abc'")
    ),
    "missing shoreline": Case(
        RUN,
        ("[water] shoreline: 'nothing.gpkg' does not exist in",),
        survey(water="name = 'A'\nshoreline = 'nothing.gpkg'"),
    ),
    "result folder that is there": Case(
        "run survey.toml --out there",
        ("there exists already", "replace it with --overwrite"),
        {"there": lambda path: path.mkdir()},
    ),
    "file where the result folder should be": Case(
        "run survey.toml --out areas.csv --overwrite",
        ("areas.csv exists already and is a file; choose another name",),
    ),
    "result folder below a file": Case(
        "run survey.toml --out areas.csv/result", ("areas.csv/result cannot be written",)
    ),
    "cells as wide as a county": Case(
        RUN, ("cell", "100000"), survey(more="[make]\ncell = '100 km'")
    ),
    "no water in the water": Case(
        RUN,
        ("no water",),
        {"soundings.csv": HEADER + "500020,5200020,0\n500050,5200050,0\n500080,5200030,0\n"},
    ),
}
"""Survey files."""

CASES = TEXTS | LAYERS | NUMBERS | COMMANDS | SURVEYS


@pytest.fixture(scope="module")
def inputs(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Lay out a folder of good inputs, from which each case differs in one thing."""
    folder = tmp_path_factory.mktemp("inputs")
    geopandas.GeoDataFrame({"number": [0]}, geometry=[LAKE], crs=UTM).to_file(
        folder / "shoreline.gpkg", layer="shoreline"
    )
    (folder / "soundings.csv").write_text(HEADER + ROWS)
    (folder / "areas.csv").write_text("depth_m,area_m2\n0,100\n1,50\n2,0\n")
    (folder / "survey.toml").write_text(str(survey()["survey.toml"]))
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(folder)
        assert main(shlex.split(TRIANGULATE.replace("new.gpkg", "bed.gpkg"))) == 0
        assert main(shlex.split("grid-bed bed.gpkg --cell 2 --out depth.tif")) == 0
    return folder


@pytest.fixture
def desk(inputs: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Copy the good inputs and go there."""
    folder = tmp_path / "desk"
    shutil.copytree(inputs, folder)
    monkeypatch.chdir(folder)
    return folder


def put(content: Content, path: Path) -> None:
    if isinstance(content, str):
        path.write_text(content, encoding="utf-8", newline="")
    elif isinstance(content, bytes):
        path.write_bytes(content)
    elif content is not None:
        content(path)


def held(folder: Path) -> dict[str, bytes]:
    """Return everything in a folder, hidden files too."""
    return {
        str(path.relative_to(folder)): path.read_bytes() if path.is_file() else b""
        for path in folder.rglob("*")
    }


def test_there_are_enough_cases_and_none_shadows_another() -> None:
    tables = (TEXTS, LAYERS, NUMBERS, COMMANDS, SURVEYS)
    assert len(CASES) == sum(map(len, tables)) >= 45


@pytest.mark.parametrize("case", CASES.values(), ids=CASES.keys())
def test_bad_input_gets_one_line_and_leaves_nothing_behind(
    case: Case, desk: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    for name, content in case.files.items():
        put(content, desk / name)
    before = held(desk.parent)
    code = main(shlex.split(case.command))
    out, err = capfd.readouterr()
    assert (code, out) == (2, ""), err
    assert err.startswith("leadline: ")
    assert len(err.splitlines()) == 1
    assert [word for word in case.words if word not in err] == [], err
    assert len(re.findall(r"\bgot\b", err)) <= 1, err
    assert held(desk.parent) == before


@pytest.mark.usefixtures("desk")
def test_the_inputs_that_the_cases_spoil_are_good(capfd: pytest.CaptureFixture[str]) -> None:
    good = (
        TRIANGULATE,
        f"{GRID} 2",
        TABLE,
        AREAS.replace("new", "volumes"),
        "slope depth.tif --out slope.tif",
        "check survey.toml",
        RUN,
    )
    assert [main(shlex.split(command)) for command in good] == [0] * len(good)
    assert "leadline:" not in capfd.readouterr().err


@pytest.mark.usefixtures("desk")
@pytest.mark.parametrize("heading", [0.0, 30.0, 90.0])
def test_soundings_on_one_straight_boat_line_are_no_error(
    heading: float, desk: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    """All volumes are those of a bed like an upturned hip roof (derived).

    A boat line of length r at the constant depth d, along the middle of a square of width w, makes
    such a bed; its volume is d w (2 w + r) / 6, whichever way the square is turned.
    """
    width, length, depth = 100.0, 80.0, 2.0
    centre = np.array([500_050.0, 5_200_050.0])
    turn = np.array(
        [
            [np.cos(np.radians(heading)), -np.sin(np.radians(heading))],
            [np.sin(np.radians(heading)), np.cos(np.radians(heading))],
        ]
    )
    corners = np.array([(-1, -1), (1, -1), (1, 1), (-1, 1)]) * width / 2
    put(layer(Polygon(corners @ turn.T + centre)), desk / "shoreline.gpkg")
    along = np.column_stack([np.linspace(-length / 2, length / 2, 17), np.zeros(17)])
    rows = [f"{x!r},{y!r},{depth}\n" for x, y in (along @ turn.T + centre).tolist()]
    put(HEADER + "".join(rows), desk / "soundings.csv")
    assert main(shlex.split(TRIANGULATE)) == 0
    capfd.readouterr()
    assert main(["morphometry", "new.gpkg"]) == 0
    told = dict(re.findall(r"^([\w ]+),([\d.e+-]+),", capfd.readouterr().out, re.M))
    # EPSG guidance note 7-2: UTM has scale 0.9996 on the central meridian, where this pond lies
    on_ground = 1 / 0.9996**2
    assert float(told["water area"]) == pytest.approx(width**2 * on_ground, rel=1e-6)
    roof = depth * width * (2 * width + length) / 6
    assert float(told["volume"]) == pytest.approx(roof * on_ground, rel=1e-6)
    assert float(told["greatest depth"]) == depth
