"""Tiles lie where the rule of tiles says, at zooms that fit, and other programs read them."""

import functools
import io
import math
import shutil
import sqlite3
import subprocess
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from pathlib import Path

import geopandas
import numpy as np
import pyproj
import pytest
import shapely
from affine import Affine
from PIL import Image

from toolbox.errors import LayerError, OutputError
from toolbox.formats import mbtiles, tile_sheets
from toolbox.formats.mbtiles import write_mbtiles
from toolbox.layers import Grid, Shoreline, Vectors

UTM = pyproj.CRS.from_epsg(32633)
LEFT, TOP, SIDE = 700_000.0, 6_800_000.0, 200.0
GREY = np.repeat(np.arange(256, dtype=np.uint8)[:, None], 3, axis=1)
HOSTILE = "<script>'); DROP TABLE tiles;--\n\x00\u202e\U0001f3a3" + "x" * 300


def depth(crs: pyproj.CRS | None = UTM) -> Grid:
    """Make a tilted plane, 0 to 10 m from west to east, on a square of 200 m."""
    values = np.tile((np.arange(200) + 0.5) / 20, (200, 1))
    return Grid(values, Affine(1, 0, LEFT, 0, -1, TOP), crs, "depth", "m")


def isobaths() -> Vectors:
    lines = [
        shapely.LineString([(LEFT + 20 * d, TOP), (LEFT + 20 * d, TOP - SIDE)])
        for d in range(1, 10)
    ]
    columns = {"depth_m": np.arange(1.0, 10), "index_line": np.arange(1, 10) % 5 == 0}
    return Vectors(geopandas.GeoDataFrame(columns, geometry=lines, crs=UTM), "isobaths")


def tiles(path: Path) -> dict[tuple[int, int, int], np.ndarray]:
    """Return tiles by zoom, column and row from north.

    The file counts rows from south (MBTiles Specification 1.3; from memory).
    """
    with closing(sqlite3.connect(path)) as file:
        rows = file.execute("SELECT zoom_level, tile_column, tile_row, tile_data FROM tiles")
        return {
            (zoom, col, 2**zoom - 1 - row): np.asarray(Image.open(io.BytesIO(data)).convert("RGBA"))
            for zoom, col, row, data in rows
        }


def facts(path: Path) -> dict[str, str]:
    with closing(sqlite3.connect(path)) as file:
        return dict(file.execute("SELECT name, value FROM metadata"))


def pixel(
    longitude: float, latitude: float, zoom: int
) -> tuple[tuple[int, int, int], tuple[int, int]]:
    """Return tile and pixel of a place: the square world, halved at each zoom (derived)."""
    across = (longitude + 180) / 360 * 2**zoom
    down = (1 - math.asinh(math.tan(math.radians(latitude))) / math.pi) / 2 * 2**zoom
    col, row = int(across), int(down)
    return (zoom, col, row), (int((down - row) * 256), int((across - col) * 256))


@pytest.fixture(scope="module")
def grey(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("tiles") / "grey.mbtiles"
    write_mbtiles(path, depth(), ramp=GREY, title="Figment Mere")
    return path


def places(count: int = 300) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Choose places well inside the water: metres from west, longitudes and latitudes."""
    off = np.random.default_rng(5).uniform(8, SIDE - 8, (count, 2))
    move = pyproj.Transformer.from_crs(UTM, 4326, always_xy=True)
    return off[:, 0], *move.transform(LEFT + off[:, 0], TOP - off[:, 1])


def test_colours_lie_where_the_rule_of_tiles_says(grey: Path) -> None:
    found, (east, longitude, latitude) = tiles(grey), places()
    last = int(facts(grey)["maxzoom"])
    low, high = 0.0, 9.975
    for zoom, tolerance in ((last, 0.05), (last - 1, 0.08), (last - 2, 0.16)):
        seen = []
        for place in zip(longitude, latitude, strict=True):
            tile, (row, col) = pixel(*place, zoom)
            colour = found[tile][row, col]
            assert colour[3] == 255
            seen.append(low + (high - low) * colour[0] / 255)
        # half a pixel of the zoom and half a step of colour
        assert np.abs(np.array(seen) - east / 20).max() < tolerance


@pytest.mark.skipif(shutil.which("gdallocationinfo") is None, reason="gdal is not installed")
def test_gdal_finds_the_same_depths(grey: Path) -> None:
    east, longitude, latitude = places(40)
    asked = "\n".join(f"{x} {y}" for x, y in zip(longitude, latitude, strict=True))
    command = ["gdallocationinfo", "-valonly", "-wgs84", "-b", "1", str(grey)]
    done = subprocess.run(command, input=asked, capture_output=True, text=True, check=True)
    seen = np.array(done.stdout.split(), float) / 255 * 9.975
    assert np.abs(seen - east / 20).max() < 0.05


def test_zooms_run_from_the_whole_water_to_fine_pixels(grey: Path) -> None:
    found, told = tiles(grey), facts(grey)
    first, last = int(told["minzoom"]), int(told["maxzoom"])
    assert {zoom for zoom, _, _ in found} == set(range(first, last + 1))
    ground = math.cos(math.radians(61.3)) * 2 * math.pi * 6_378_137 / 256
    assert 0.25 <= ground / 2**last <= 0.5
    assert SIDE / (ground / 2**first) <= 256 < SIDE / (ground / 2 ** (first + 1)) * 2
    assert sum(zoom == first for zoom, _, _ in found) <= 4
    assert all(tile.shape == (256, 256, 4) for tile in found.values())
    assert all(tile[..., 3].any() for tile in found.values())  # none that is empty


def test_what_the_file_says_of_itself(grey: Path) -> None:
    told = facts(grey)
    assert told["name"] == "Figment Mere"
    assert (told["format"], told["type"], told["attribution"]) == ("png", "overlay", "")
    assert "Not for navigation" in told["description"]
    west, south, east, north = map(float, told["bounds"].split(","))
    longitude, latitude = places()[1:]
    assert west < longitude.min() < longitude.max() < east
    assert south < latitude.min() < latitude.max() < north
    # GeographicLib: the box of a square turned by the convergence is a little larger
    across = pyproj.Geod(ellps="WGS84").inv(west, south, east, south)[2]
    assert SIDE < across < 1.15 * SIDE
    center = told["center"].split(",")
    assert west < float(center[0]) < east
    assert int(told["minzoom"]) <= int(center[2]) <= int(told["maxzoom"])


@pytest.mark.skipif(shutil.which("gdalinfo") is None, reason="gdalinfo is not installed")
def test_gdal_sees_the_zooms_as_overviews(grey: Path) -> None:
    done = subprocess.run(["gdalinfo", str(grey)], capture_output=True, text=True, check=True)
    assert "Driver: MBTiles/MBTiles" in done.stdout
    assert f"ZOOM_LEVEL={facts(grey)['maxzoom']}" in done.stdout
    assert "Overviews:" in done.stdout


def test_isobaths_are_drawn_at_their_place_and_as_wide_at_each_zoom(tmp_path: Path) -> None:
    write_mbtiles(tmp_path / "a.mbtiles", depth(), isobaths=isobaths(), ramp=GREY)
    write_mbtiles(tmp_path / "b.mbtiles", depth(), ramp=GREY)
    found, bare = tiles(tmp_path / "a.mbtiles"), tiles(tmp_path / "b.mbtiles")
    last = max(zoom for zoom, _, _ in found)
    move = pyproj.Transformer.from_crs(4326, UTM, always_xy=True)
    for zoom, reach in ((last, 1.5), (last - 1, 3.0)):
        off = []
        for (level, col, row), tile in found.items():
            if level != zoom:
                continue
            changed = np.argwhere((tile != bare[level, col, row]).any(axis=2)) + 0.5
            longitude = (col + changed[:, 1] / 256) / 2**zoom * 360 - 180
            share = math.pi * (1 - 2 * (row + changed[:, 0] / 256) / 2**zoom)
            easting, _ = move.transform(longitude, np.degrees(np.arctan(np.sinh(share))))
            off.append(np.abs((easting - LEFT + 10) % 20 - 10))
        away = np.concatenate(off)
        assert np.quantile(away, 0.6) < reach  # metres from the nearest line; numbers are wider
        assert len(away) > 500


def test_a_shoreline_is_drawn_along_the_edge(tmp_path: Path) -> None:
    water = shapely.box(LEFT + 50, TOP - 150, LEFT + 150, TOP - 50)
    shoreline = Shoreline.from_shapes([water], UTM)
    write_mbtiles(tmp_path / "a.mbtiles", depth(), shoreline=shoreline, ramp=GREY)
    found = tiles(tmp_path / "a.mbtiles")
    corner = pyproj.Transformer.from_crs(UTM, 4326, always_xy=True).transform(LEFT + 50, TOP - 100)
    tile, (row, col) = pixel(*corner, max(zoom for zoom, _, _ in found))
    ink = np.array([0x22, 0x30, 0x3A])
    near = found[tile][max(row - 1, 0) : row + 2, max(col - 2, 0) : col + 3, :3].astype(int)
    assert np.abs(near - ink).sum(axis=2).min() < 60


def test_the_number_of_tiles_is_kept_small(tmp_path: Path) -> None:
    write_mbtiles(tmp_path / "a.mbtiles", depth(), most_tiles=4)
    count: dict[int, int] = {}
    for zoom, _, _ in tiles(tmp_path / "a.mbtiles"):
        count[zoom] = count.get(zoom, 0) + 1
    assert max(count.values()) <= 4


def test_text_is_text_and_no_command(tmp_path: Path) -> None:
    write_mbtiles(tmp_path / "a.mbtiles", depth(), title=HOSTILE, about=HOSTILE, most_tiles=4)
    told = facts(tmp_path / "a.mbtiles")
    assert told["name"].startswith("\u2039script\u203a'); DROP TABLE tiles;-- ")
    assert len(told["name"]) == 200
    assert told["description"].isprintable()
    assert tiles(tmp_path / "a.mbtiles")


def test_the_same_input_gives_the_same_bytes(tmp_path: Path) -> None:
    for name in ("a.mbtiles", "b.mbtiles"):
        write_mbtiles(tmp_path / name, depth(), isobaths=isobaths(), most_tiles=4)
    assert (tmp_path / "a.mbtiles").read_bytes() == (tmp_path / "b.mbtiles").read_bytes()


def test_neither_threads_nor_sheets_are_seen_in_the_tiles(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for name, threads, sheet in (("a", 1, 4), ("b", 7, 4), ("c", 2, 1)):
        pool = functools.partial(ThreadPoolExecutor, threads)
        monkeypatch.setattr(mbtiles, "ThreadPoolExecutor", pool)
        monkeypatch.setattr(tile_sheets, "_SHEET", sheet)
        write_mbtiles(tmp_path / name, depth(), isobaths=isobaths(), pixel=0.25)
    assert (tmp_path / "a").read_bytes() == (tmp_path / "b").read_bytes()
    together, single = tiles(tmp_path / "a"), tiles(tmp_path / "c")
    assert together.keys() == single.keys()
    assert len(together) > 16
    # lines and numbers that cross from tile to tile are drawn alike on both
    for place, tile in together.items():
        off = np.abs(tile.astype(int) - single[place])
        assert np.count_nonzero(off > 20) < 20


def test_pixels_are_no_finer_than_an_eighth_of_a_cell(tmp_path: Path) -> None:
    wide = Grid(depth().values[::8, ::8], Affine(8, 0, LEFT, 0, -8, TOP), UTM, "depth", "m")
    write_mbtiles(tmp_path / "a.mbtiles", wide)
    ground = math.cos(math.radians(61.3)) * 2 * math.pi * 6_378_137 / 256
    assert 1 <= ground / 2 ** int(facts(tmp_path / "a.mbtiles")["maxzoom"]) <= 2


def test_what_is_there_stays_and_nothing_is_left_beside_it(tmp_path: Path) -> None:
    path = tmp_path / "a.mbtiles"
    path.write_text("precious")
    with pytest.raises(OutputError, match=r"a\.mbtiles exists already"):
        write_mbtiles(path, depth(), most_tiles=4)
    assert path.read_text() == "precious"
    write_mbtiles(path, depth(), most_tiles=4, overwrite=True)
    assert tiles(path)
    assert list(tmp_path.iterdir()) == [path]


def test_planes_and_the_poles_have_no_tiles(tmp_path: Path) -> None:
    with pytest.raises(LayerError, match=r"^depth must be tied to the earth"):
        write_mbtiles(tmp_path / "a.mbtiles", depth(None))
    polar = Grid(
        np.ones((3, 3)), Affine(10, 0, 2e6, 0, -10, 2e6 + 50), pyproj.CRS(32661), "depth", "m"
    )
    with pytest.raises(LayerError, match=r"^depth (cannot be mapped|reaches beyond)"):
        write_mbtiles(tmp_path / "a.mbtiles", polar)
    assert list(tmp_path.iterdir()) == []
