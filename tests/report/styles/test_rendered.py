"""Styles as independent programs draw them: a map server by the SLD, a desktop GIS by default.

The map server is MapServer (Debian: mapserver-bin), the desktop GIS is QGIS (Debian:
python3-qgis), which is asked through the Python that has it, by default the system's.
"""

import io
import os
import re
import shutil
import subprocess
from datetime import UTC, datetime
from pathlib import Path
from urllib.parse import quote

import geopandas
import numpy as np
import pytest
import shapely
from affine import Affine
from matplotlib.image import imread
from pyproj import CRS

from toolbox.formats.geotiff import write_grid
from toolbox.formats.styles_file import write_layer_styles, write_style_beside
from toolbox.formats.vectors_file import write_vectors
from toolbox.layers import Grid, Vectors
from toolbox.report.styles import CODED, raster_style, run_layer_styles, style_text
from toolbox.report.styles.colours import INK, SERIES, at_depth

UTM = CRS.from_epsg(32633)
EAST, NORTH, SIDE = 500_000.0, 5_000_000.0, 200
HOSTILE = "<script>alert(1)</script> & \"O'Neill's\" \\ \u202e \U0001f41f" + "x" * 60
MAPSERV = shutil.which("mapserv")
QGIS = os.environ.get("QGIS_PYTHON", "/usr/bin/python3")


def square(half: float) -> shapely.Polygon:
    middle = SIDE / 2
    return shapely.box(
        EAST + middle - half, NORTH + middle - half, EAST + middle + half, NORTH + middle + half
    )


def layers() -> list[Vectors]:
    """Make a water of square steps, 0 to 9 m deep, with a line at 3 and one at 6 m."""
    rings = [square(half) for half in (100, 70, 40)]
    zones = {"from_m": [0.0, 3.0, 6.0], "to_m": [3.0, 6.0, 9.0]}
    shapes = [rings[0] - rings[1], rings[1] - rings[2], rings[2]]
    lines = {"depth_m": [3.0, 6.0], "index_line": [False, True]}
    names = {"species": ["tench", HOSTILE]}
    frames = {
        "depth_zones": geopandas.GeoDataFrame(zones, geometry=shapes, crs=UTM),
        "isobaths": geopandas.GeoDataFrame(
            lines, geometry=[shapely.LineString(r.exterior) for r in rings[1:]], crs=UTM
        ),
        "suitable_bed": geopandas.GeoDataFrame(
            names, geometry=[square(80) - square(60), square(30)], crs=UTM
        ),
    }
    return [Vectors(frame, name) for name, frame in frames.items()]


def grids() -> list[Grid]:
    place = Affine(1, 0, EAST, 0, -1, NORTH + SIDE)
    away = np.maximum(*np.abs(np.mgrid[0:SIDE, 0:SIDE] - (SIDE - 1) / 2))
    depth = np.where(away < 99, 9 * (1 - away / 100), np.nan)
    forms = np.where(np.isnan(depth), np.nan, 1 + np.mgrid[0:SIDE, 0:SIDE][1] // 20)
    return [
        Grid(depth, place, UTM, "depth", "m"),
        Grid(forms, place, UTM, "landforms", "1"),
    ]


@pytest.fixture(scope="module")
def run(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, dict[str, str]]:
    """Write layers and rasters with their styles; return the folder and the SLD of each."""
    folder = tmp_path_factory.mktemp("run")
    depth = grids()[0]
    styles = run_layer_styles(layers(), depth=depth)
    for number, layer in enumerate(layers()):
        write_vectors(layer, folder / "lakebed.gpkg", append=number > 0)
    texts = {name: style_text(style) for name, style in styles.items()}
    write_layer_styles(folder / "lakebed.gpkg", texts, made=datetime(2026, 1, 1, tzinfo=UTC))
    for grid in grids():
        write_grid(grid, folder / f"{grid.name}.tif")
        write_style_beside(style_text(raster_style(grid)), folder / f"{grid.name}.tif")
        texts[grid.name] = style_text(raster_style(grid))
    return folder, {name: text.sld for name, text in texts.items()}


def map_file(folder: Path) -> str:
    source = f'CONNECTIONTYPE OGR CONNECTION "{folder}/lakebed.gpkg" DATA'
    kinds = {"depth_zones": "POLYGON", "isobaths": "LINE", "suitable_bed": "POLYGON"}
    parts = {name: f'TYPE {kind} {source} "{name}"' for name, kind in kinds.items()}
    parts |= {name: f'TYPE RASTER DATA "{folder}/{name}.tif"' for name in ("depth", "landforms")}
    told = "".join(
        f'LAYER NAME "{name}" STATUS OFF {part} METADATA "ows_title" "{name}" END '
        'PROJECTION "epsg:32633" END END\n'
        for name, part in parts.items()
    )
    return (
        f'MAP NAME water SIZE {SIDE} {SIDE} IMAGETYPE PNG24 PROJECTION "epsg:32633" END '
        'WEB METADATA "ows_enable_request" "*" "ows_srs" "EPSG:32633" '
        f'"ows_onlineresource" "http://localhost/" END END\n{told}END'
    )


def served(run: tuple[Path, dict[str, str]], *names: str) -> np.ndarray:
    """Return what the map server draws of layers by their SLD, a pixel a metre, 0 to 255."""
    if MAPSERV is None:
        pytest.skip("no map server here: mapserv (Debian: mapserver-bin)")
    folder, styles = run
    (folder / "water.map").write_text(map_file(folder))
    (folder / "mapserver.conf").write_text('CONFIG ENV MS_MAP_PATTERN "." END END')
    body = "".join(
        re.search("<sld:NamedLayer>.*</sld:NamedLayer>", styles[name], re.DOTALL)[0]  # type: ignore[index]
        for name in names
    )
    head = styles["isobaths"].partition("<sld:NamedLayer>")[0]
    asked = {
        "map": str(folder / "water.map"),
        "SERVICE": "WMS",
        "VERSION": "1.1.1",
        "REQUEST": "GetMap",
        "LAYERS": ",".join(names),
        "STYLES": "",
        "SRS": "EPSG:32633",
        "BBOX": f"{EAST},{NORTH},{EAST + SIDE},{NORTH + SIDE}",
        "WIDTH": str(SIDE),
        "HEIGHT": str(SIDE),
        "FORMAT": "image/png",
        "SLD_BODY": re.sub(r">\s+<", "><", f"{head}{body}</sld:StyledLayerDescriptor>"),
    }
    query = "&".join(f"{key}={quote(value)}" for key, value in asked.items())
    known = {"REQUEST_METHOD": "GET", "QUERY_STRING": query}
    known["MAPSERVER_CONFIG_FILE"] = str(folder / "mapserver.conf")
    done = subprocess.run(
        [MAPSERV], env=os.environ | known, stdin=subprocess.DEVNULL, capture_output=True, check=True
    )
    kind, _, image = done.stdout.partition(b"\r\n\r\n")
    assert b"image/png" in kind, done.stdout[:500]
    return np.round(np.asarray(imread(io.BytesIO(image)))[..., :3] * 255)


def rgb(colour: str) -> np.ndarray:
    return np.array(list(bytes.fromhex(colour[1:])), float)


def over(colour: str, opacity: float) -> np.ndarray:
    """Return a colour as seen on white."""
    return opacity * rgb(colour) + (1 - opacity) * 255


def test_zones_have_the_colours_of_their_depths(run: tuple[Path, dict[str, str]]) -> None:
    seen = served(run, "depth_zones")
    depths = float(np.nanmin(grids()[0].values)), float(np.nanmax(grids()[0].values))
    for column, middle in ((15, 1.5), (45, 4.5), (100, 7.5)):
        np.testing.assert_allclose(seen[100, column], rgb(at_depth(middle, depths)), atol=1)


def test_isobaths_are_seen_and_the_index_line_is_the_heavier(
    run: tuple[Path, dict[str, str]],
) -> None:
    seen = served(run, "isobaths")
    darkness = 255 - seen[100].mean(axis=1)
    light, heavy = darkness[24:37].sum(), darkness[54:67].sum()  # around 30 and 60 m
    assert 0 < light < 0.75 * heavy
    assert np.abs(seen[100, 58:63] - rgb(INK)).sum(axis=1).min() < 60
    assert darkness[80:120].max() == 0


def test_a_hostile_name_gets_its_own_colour(run: tuple[Path, dict[str, str]]) -> None:
    seen = served(run, "suitable_bed")
    np.testing.assert_allclose(seen[100, 30], over(SERIES[0], 0.18), atol=3)
    np.testing.assert_allclose(seen[100, 100], over(SERIES[1], 0.18), atol=3)


def test_depths_run_through_the_ramp(run: tuple[Path, dict[str, str]]) -> None:
    depth = grids()[0]
    seen = served(run, "depth")
    entries = re.findall(r'color="(#\w+)" quantity="([-.\d]+)"', run[1]["depth"])
    colours = np.array([rgb(colour) for colour, _ in entries])
    values = np.array([float(value) for _, value in entries])
    for column in (10, 30, 50, 70, 95):
        away = np.abs(colours - seen[100, column]).max(axis=1)
        assert away.min() <= 1  # of a reader that steps, each colour is one of the entries
        assert abs(values[away.argmin()] - depth.values[100, column]) <= 0.55  # by half metres
    assert (seen[0, 0] == 255).all()  # where nothing is known, nothing is drawn


def test_each_landform_has_its_colour(run: tuple[Path, dict[str, str]]) -> None:
    seen = served(run, "landforms")
    for one in CODED["landforms"]:
        column = min(max(20 * one.code - 10, 3), SIDE - 4)
        np.testing.assert_allclose(seen[100, column], rgb(one.colour), atol=1)


ASK = """
import sys
from qgis.PyQt.QtCore import QSize
from qgis.PyQt.QtGui import QColor
from qgis.core import *
app = QgsApplication([], False)
app.initQgis()
folder, image = sys.argv[1:]
layers = [
    QgsVectorLayer(f"{folder}/lakebed.gpkg|layername={name}", name, "ogr")
    for name in ("isobaths", "suitable_bed", "depth_zones")
] + [QgsRasterLayer(f"{folder}/{name}.tif", name) for name in ("depth", "landforms")]
for number, layer in enumerate(layers):
    assert layer.isValid(), layer.name()
    print(layer.name(), layer.renderer().type(), flush=True)
    job = QgsMapSettings()
    job.setLayers([layer])
    job.setBackgroundColor(QColor("white"))
    job.setOutputSize(QSize(200, 200))
    job.setDestinationCrs(layer.crs())
    job.setExtent(QgsRectangle(500000, 5000000, 500200, 5000200))
    work = QgsMapRendererSequentialJob(job)
    work.start()
    work.waitForFinished()
    work.renderedImage().save(f"{image}/{layer.name()}.png")
"""


@pytest.fixture(scope="module")
def opened(
    run: tuple[Path, dict[str, str]], tmp_path_factory: pytest.TempPathFactory
) -> tuple[dict[str, str], Path]:
    """Open the files in the desktop GIS as they are: its ways of drawing, and pictures."""
    folder = tmp_path_factory.mktemp("pictures")
    known = os.environ | {"QT_QPA_PLATFORM": "offscreen", "XDG_RUNTIME_DIR": str(folder)}
    there = subprocess.run([QGIS, "-c", "import qgis.core"], env=known, capture_output=True)
    if there.returncode:
        pytest.skip("no desktop GIS here: qgis (Debian: python3-qgis)")
    done = subprocess.run(
        [QGIS, "-c", ASK, str(run[0]), str(folder)], env=known, capture_output=True, text=True
    )
    lines = [line.split() for line in done.stdout.splitlines() if len(line.split()) == 2]
    assert len(lines) == 5, done.stderr[-2000:]
    return dict(lines), folder


def test_a_layer_opens_with_its_style(opened: tuple[dict[str, str], Path]) -> None:
    assert opened[0] == {
        "isobaths": "RuleRenderer",
        "suitable_bed": "RuleRenderer",
        "depth_zones": "RuleRenderer",
        "depth": "singlebandpseudocolor",
        "landforms": "paletted",
    }


def test_the_desktop_shows_the_same_colours(opened: tuple[dict[str, str], Path]) -> None:
    pictures = {
        path.stem: np.round(np.asarray(imread(path))[..., :3] * 255)
        for path in opened[1].glob("*.png")
    }
    depth = grids()[0].values
    ends = float(np.nanmin(depth)), float(np.nanmax(depth))
    for column, middle in ((15, 1.5), (45, 4.5), (100, 7.5)):
        zone = pictures["depth_zones"][100, column]
        np.testing.assert_allclose(zone, rgb(at_depth(middle, ends)), atol=1)
        shown = pictures["depth"][100, column]
        np.testing.assert_allclose(shown, rgb(at_depth(float(depth[100, column]), ends)), atol=6)
    for one in CODED["landforms"]:
        column = min(max(20 * one.code - 10, 3), SIDE - 4)
        np.testing.assert_allclose(pictures["landforms"][100, column], rgb(one.colour), atol=1)
    np.testing.assert_allclose(pictures["suitable_bed"][100, 100], over(SERIES[1], 0.18), atol=3)
    assert (255 - pictures["isobaths"][100, 58:63]).max() > 150
