"""Commands: what they say names what one can give, and does a terminal no harm."""

import shlex
from pathlib import Path

import geopandas
import numpy as np
import pandas as pd
import pytest
import rasterio
import shapely
from affine import Affine

from toolbox.bed.triangulation import triangulate
from toolbox.cli import main
from toolbox.formats.bed_file import write_bed
from toolbox.layers import Shoreline, Soundings
from toolbox.layers.crs import parse_crs

UTM = "EPSG:32633"
WEST, SOUTH, SIDE = 500_000.0, 5_200_000.0, 120.0
WATER = shapely.box(WEST, SOUTH, WEST + SIDE, SOUTH + SIDE)
Said = pytest.CaptureFixture[str]


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Make a water with a hump of 3 m in its middle, 6 m deep around."""
    folder, crs = tmp_path_factory.mktemp("made"), parse_crs(UTM)
    shore = Shoreline.from_shapes([WATER], crs)
    east, north = (part.ravel() for part in np.mgrid[10:SIDE:10, 10:SIDE:10])
    depth = 6 - 3 * np.exp(-((east - 60) ** 2 + (north - 60) ** 2) / 15**2)
    places = np.column_stack([WEST + east, SOUTH + north])
    write_bed(
        triangulate(Soundings.from_arrays(places, depth, crs=crs), shore), folder / "bed.gpkg"
    )
    frame = geopandas.GeoDataFrame({"number": [1]}, geometry=[WATER], crs=UTM)
    frame.to_file(folder / "shore.gpkg")
    frame.to_file(folder / "two.gpkg", layer="one")
    frame.to_file(folder / "two.gpkg", layer="other")
    lines = shapely.LineString([(WEST, SOUTH + 60), (WEST + SIDE, SOUTH + 60)])
    table = pd.DataFrame({"name": ["across"], "wkt": [lines.wkt]})
    table.to_csv(folder / "lines.csv", index=False)
    pegs = pd.DataFrame({"peg": ["P\x1b[31m1"], "easting": [WEST + 60], "northing": [SOUTH - 1]})
    pegs.to_csv(folder / "pegs.csv", index=False)
    profile = {"driver": "GTiff", "dtype": "float32", "count": 1, "height": 6, "width": 6}
    profile |= {"transform": Affine(1, 0, WEST, 0, -1, SOUTH), "nodata": -9999.0}
    for name, named in (("blank.tif", UTM), ("nowhere.tif", None)):
        with rasterio.open(folder / name, "w", crs=named, **profile) as raster:
            raster.write(np.full((6, 6), -9999, np.float32), 1)
    return folder


@pytest.fixture
def desk(made: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    for path in made.iterdir():
        (tmp_path / path.name).write_bytes(path.read_bytes())
    monkeypatch.chdir(tmp_path)
    return tmp_path


@pytest.mark.usefixtures("desk")
@pytest.mark.parametrize(
    ("command", "said"),
    [
        ("bed-section bed.gpkg lines.csv", "lines.csv names no CRS: give one with --lines-crs, "),
        ("query-bed bed.gpkg pegs.csv", "pegs.csv names no CRS: give one with --places-crs, "),
        (
            "query-bed bed.gpkg pegs.csv --places-crs EPSG:4326",
            "'unknown' asks; give the right --places-crs",
        ),
        (
            "marks bed.gpkg shore.gpkg --pegs pegs.csv --out x.gpkg",
            "pegs.csv names no CRS: give one with --pegs-crs, such as 'EPSG:32633'",
        ),
        (
            "marks bed.gpkg shore.gpkg --features lines.csv --out x.gpkg",
            "lines.csv names no CRS: give one with --features-crs, such as 'EPSG:32633'",
        ),
        ("slope nowhere.tif --out x.tif", "nowhere.tif names no CRS: give one with --depth-crs, "),
        (
            "query-bed bed.gpkg pegs.csv --places-crs EPSG:9",
            "leadline: --places-crs is unknown: 'EPSG:9'; give an authority code",
        ),
        (
            f"place-pegs shore.gpkg --shoreline-crs {UTM} --in-crs EPSG:9 --out x.gpkg",
            "leadline: --in-crs is unknown: 'EPSG:9'; give an authority code",
        ),
        (
            "place-pegs two.gpkg --out x.gpkg",
            "two.gpkg holds several layers, name one (--shoreline-layer) of one, other",
        ),
    ],
)
def test_what_readers_miss_is_named_as_it_is_given(command: str, said: str, capfd: Said) -> None:
    assert main(shlex.split(command)) == 2
    told = capfd.readouterr().err
    assert said.replace("'unknown' ", "") in told.replace("'WGS 84' ", "")
    assert told.count("\n") == 1


@pytest.mark.usefixtures("desk")
def test_names_that_steer_a_terminal_do_not_reach_it(capfd: Said) -> None:
    # one peg of whose casts none comes off is named in a note, one beside an answer in a table
    reach = f"marks bed.gpkg shore.gpkg --pegs pegs.csv --pegs-crs {UTM} --reach 2 --out x.gpkg"
    assert main(shlex.split(reach)) == 0
    told = capfd.readouterr().err
    assert "no feature can be cast to from peg P [31m1" in told
    assert main(shlex.split(f"query-bed bed.gpkg pegs.csv --places-crs {UTM}")) == 0
    said = capfd.readouterr()
    assert said.out.splitlines()[1].startswith("P [31m1,")
    assert main(["query-bed", "bed.gpkg", "no\x1b[31m.csv"]) == 2
    told += said.out + said.err + capfd.readouterr().err
    assert r"'no\x1b[31m.csv' cannot be read: its path holds a line break" in told
    assert "\x1b" not in told


@pytest.mark.usefixtures("desk")
def test_a_result_without_anything_in_it_is_told(capfd: Said) -> None:
    assert main(shlex.split("slope blank.tif --out x.tif")) == 0
    assert "note: no cell of the result has a value\n" in capfd.readouterr().err
    assert main(shlex.split("waters-edge bed.gpkg --depth 50 --out x.gpkg")) == 0
    assert "note: the result has no rows\n" in capfd.readouterr().err
    assert main(shlex.split("waters-edge bed.gpkg --depth 1 --out y.gpkg")) == 0
    assert "no rows" not in capfd.readouterr().err


def test_help_has_no_marks_of_markup(capfd: Said) -> None:
    assert main(["marks", "--help"]) == 0
    told = capfd.readouterr().out
    assert "with columns peg or name" in " ".join(told.split())
    assert "``" not in told
