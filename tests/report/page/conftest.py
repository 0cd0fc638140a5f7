"""A small water with all that a page can hold, made by formulas."""

from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Any

import geopandas
import numpy as np
import pandas as pd
import pytest
import shapely
from pyproj import CRS

from toolbox.bed.gridding import grid_bed
from toolbox.bed.triangulation import triangulate
from toolbox.isobaths.isobaths import isobaths
from toolbox.isobaths.zones import depth_zones
from toolbox.layers import Grid, Shoreline, Soundings, Table, Tin, Vectors
from toolbox.notes import Assumption, Caution, ranked
from toolbox.report.page import MapLayers, PageTables, page_html
from toolbox.terrain.slope import slope
from toolbox.volume.hypsography import hypsography
from toolbox.volume.morphometry import morphometry

CRS_OF_ALL = CRS("EPSG:32633")
EAST, NORTH = 501_000.0, 5_201_000.0
DATUM = 212.4


def _water() -> Shoreline:
    around = np.linspace(0, 2 * np.pi, 120, endpoint=False)
    far = 200 + 30 * np.sin(3 * around)
    rim = np.column_stack([EAST + 1.5 * far * np.cos(around), NORTH + far * np.sin(around)])
    island = shapely.Point(EAST - 90, NORTH + 40).buffer(30)
    return Shoreline.from_shapes([shapely.Polygon(rim).difference(island)], CRS_OF_ALL)


def _soundings(water: Shoreline) -> Soundings:
    east, north = np.meshgrid(np.arange(-330, 331, 22.0), np.arange(-230, 231, 22.0))
    places = np.column_stack([EAST + east.ravel(), NORTH + north.ravel()])
    places = np.vstack([places[water.contains(places)], [[EAST, NORTH], [EAST, NORTH + 400]]])
    away = shapely.distance(shapely.points(places), water.polygons.boundary)
    depth = 9 * (1 - np.exp(-away / 60))
    depth[-2:] = np.nan, 3.0
    reason = np.where(np.arange(len(depth)) % 40 == 7, "spike along the line", "")
    reason[-2:] = "no depth", "outside the water"
    return Soundings.from_arrays(
        places,
        depth,
        crs=CRS_OF_ALL,
        source=np.full(len(depth), "track"),
        flag=reason != "",
        reason=reason,
    )


def _bed(soundings: Soundings, water: Shoreline) -> Tin:
    bed = triangulate(soundings, water)
    rng = np.random.default_rng(8)
    sd = 0.05 + 0.02 * bed.depth
    draws = np.maximum(bed.depth[:, None] + sd[:, None] * rng.normal(size=(len(sd), 12)), 0)
    return Tin(bed.vertices, bed.depth, bed.triangles, bed.kind, bed.crs, sd=sd, draws=draws)


def _points(name: str, places: list[tuple[float, float]], **columns: Any) -> Vectors:
    shapes = [shapely.Point(EAST + east, NORTH + north) for east, north in places]
    return Vectors(geopandas.GeoDataFrame(columns, geometry=shapes, crs=CRS_OF_ALL), name)


def _marks() -> tuple[Vectors, Vectors, Table]:
    places, pegs = [(-120.0, 120.0), (-60.0, 130.0)], [(-130.0, 190.0)]
    marks = _points(
        "marks",
        places,
        mark=[1, 2],
        peg=["oak", "oak"],
        kind=["hole", "drop-off lip"],
        sentence=["From peg oak cast 71 m.", "From peg oak cast 92 m."],
        distance_m=[70.7, 92.2],
        distance_wraps=[19.3, 25.2],
        bearing_true_deg=[171.9, 130.6],
        depth_m=[6.2, 5.1],
        depth_low_m=[6.0, 4.9],
        depth_high_m=[6.4, 5.3],
        easting_m=[EAST + east for east, _ in places],
        northing_m=[NORTH + north for _, north in places],
        peg_easting_m=[EAST - 130.0] * 2,
        peg_northing_m=[NORTH + 190.0] * 2,
    )
    away = np.linspace(0, 70, 15)
    profile = pd.DataFrame(
        {
            "mark": 1,
            "distance_m": away,
            "depth_m": away / 11,
            "depth_low_m": away / 12,
            "depth_high_m": away / 10,
        }
    )
    return marks, _points("pegs", pegs, peg=["oak"]), Table(profile)


def _errors(depth: Grid) -> tuple[Grid, Grid]:
    deep = np.where(np.isfinite(depth.values), depth.values, np.nan)
    guess = np.where(np.isnan(deep), np.nan, deep > 7.5)
    sd = depth.of(0.05 + 0.02 * deep, "depth_sd", "m")
    return sd, depth.of(guess, "unsurveyed", "1")


def _shapes(name: str, shapes: list[Any], **columns: Any) -> Vectors:
    return Vectors(geopandas.GeoDataFrame(columns, geometry=shapes, crs=CRS_OF_ALL), name)


def _layers() -> tuple[MapLayers, Table]:
    water = _water()
    soundings = _soundings(water)
    bed = _bed(soundings, water)
    depth = grid_bed(bed, cell=4.0)
    sd, unsurveyed = _errors(depth)
    marks, pegs, profiles = _marks()
    hole = shapely.Point(EAST + 60, NORTH).buffer(50)
    layers = MapLayers(
        bed=bed,
        shoreline=water,
        depth=depth,
        soundings=soundings,
        sd=sd,
        slope=slope(depth),
        unsurveyed=unsurveyed,
        isobaths=isobaths(bed),
        zones=depth_zones(bed),
        features=_shapes("features", [hole], kind=["hole"], feature=[1], depth_least_m=[6.5]),
        plants=_shapes("plants", [shapely.Point(EAST - 220, NORTH).buffer(40)], cover_percent=[60]),
        exclusions=_shapes(
            "exclusions",
            [
                shapely.Point(EAST + 200, NORTH - 60).buffer(30),
                shapely.LineString([(EAST + 100, NORTH - 200), (EAST + 250, NORTH - 100)]),
                shapely.Point(EAST + 60, NORTH + 120),
            ],
            kind=["nests", "cable", "post"],
        ),
        marks=marks,
        pegs=pegs,
        course=_shapes("course", [shapely.LineString([(EAST - 40, NORTH - 90), (EAST, NORTH)])]),
        plan=_shapes(
            "next_soundings",
            [shapely.LineString([(EAST, NORTH), (EAST + 90, NORTH)])],
            order=[1],
            distance_m=[90.0],
            mean_sd_m=[0.2],
        ),
    )
    return layers, profiles


@pytest.fixture(scope="session")
def layers() -> MapLayers:
    """Make layers of every kind."""
    return _layers()[0]


@pytest.fixture(scope="session")
def tables(layers: MapLayers) -> PageTables:
    """Make tables of every kind."""
    crossings = pd.DataFrame(
        {"figure": ["crossings", "mean"], "value": [12.0, 0.05], "unit": ["1", "m"]}
    )
    stocking = pd.DataFrame({"alternative": ["none", "some"], "number": [0, 361]})
    stage = pd.DataFrame({"elevation_m": [212.4, 211.4], "area_m2": [2e5, 1e5]})
    return PageTables(
        hypsography=hypsography(layers.bed, datum=DATUM),
        morphometry=morphometry(layers.bed),
        stage=Table(stage),
        profiles=_marks()[2],
        stocking=Table(stocking),
        quality={"Where lines cross": Table(crossings)},
    )


@pytest.fixture(scope="session")
def told() -> dict[str, Any]:
    """Tell what stands around the map."""
    return {
        "title": "Test Mere",
        "made": date(2026, 5, 20),
        "origin": {"by": "nobody", "date": "2026-05-14", "remarks": ""},
        "datum": {"elevation": DATUM, "name": "a staff"},
        "rejections": [{"file": "/far/track.csv", "reason": "no depth", "soundings": 1}],
        "notes": ranked([Caution("half a guess"), "a draft of 0.3 m was added"]),
        "lineage": {
            "made_with": {"python": "3"},
            "inputs": [{"file": "/far/away/track.csv", "bytes": 12, "sha256": "ab" * 32}],
            "steps": [{"step": "clean", "soundings_in": 3, "notes": ["one lost"]}],
        },
    }


@pytest.fixture(scope="session")
def page(
    layers: MapLayers,
    tables: PageTables,
    told: dict[str, Any],
    tmp_path_factory: pytest.TempPathFactory,
) -> Path:
    """Write the page to a file."""
    path = tmp_path_factory.mktemp("page") / "report.html"
    path.write_text(page_html(layers, tables, **told), encoding="utf-8", newline="\n")
    return path


def _hostile(layers: MapLayers, tables: PageTables, told: dict[str, Any], text: str) -> str:

    def named(layer: Vectors | None, column: str) -> Vectors:
        assert layer is not None
        return Vectors(layer.frame.assign(**{column: text}), layer.name)

    assert layers.soundings is not None
    frame = layers.soundings.frame
    frame = frame.assign(reason=np.where(frame["flag"], text, ""), source=text)
    changed = vars(layers) | {
        "soundings": Soundings(frame),
        "marks": named(named(named(layers.marks, "peg"), "sentence"), "kind"),
        "pegs": named(layers.pegs, "peg"),
        "features": named(layers.features, "kind"),
        "plan": named(layers.plan, "peg"),
        "plants": named(layers.plants, "species_group"),
    }
    table = Table(pd.DataFrame({text: [text], "value": [1.0], "unit": [text]}), text, (text,))
    return page_html(
        MapLayers(**changed),
        PageTables(**vars(tables) | {"quality": {text: table}, "stocking": table}),
        **told
        | {
            "title": text,
            "origin": {"by": text, "date": text, "remarks": text},
            "datum": {"elevation": None, "name": text},
            "rejections": [{"file": text, "reason": text, "soundings": 1}],
            "notes": ranked([Caution(text), Assumption(f"{text} "), f" {text}"]),
            "lineage": {
                "made_with": {text: text},
                "inputs": [{"file": text, "bytes": 1, "sha256": text}],
                "steps": [{"step": text, text: text, "notes": [text]}],
            },
        },
    )


@pytest.fixture(scope="session")
def bare(layers: MapLayers, told: dict[str, Any]) -> str:
    """Lay out a page of a plane, mapped above its datum, with neither errors nor marks."""
    water, soundings, bed = layers.shoreline, layers.soundings, layers.bed
    assert soundings is not None
    higher = Shoreline(water.polygons, None, -0.5)
    frame = soundings.kept.frame.set_crs(None, allow_override=True)
    bed = triangulate(Soundings(frame), higher)
    depth = grid_bed(bed, cell=5.0)
    return page_html(
        MapLayers(bed, higher, depth),
        PageTables(hypsography(bed), morphometry(bed)),
        title="Bare",
        made=told["made"],
    )


@pytest.fixture(scope="session")
def hostile(layers: MapLayers, tables: PageTables, told: dict[str, Any]) -> Callable[[str], str]:
    """Lay out a page with a text in every place where people type."""
    return lambda text: _hostile(layers, tables, told, text)


@pytest.fixture(scope="session")
def pond(told: dict[str, Any]) -> tuple[str, Shoreline]:
    """Lay out a page of a pond of five soundings, whose isobaths run straight for long."""
    corner = np.array([EAST, NORTH])
    rim = corner + np.array([(0, 0), (30, -3), (48, 10), (44, 30), (20, 36), (-4, 22)])
    water = Shoreline.from_shapes([shapely.Polygon(rim)], CRS_OF_ALL)
    places = corner + np.array([(10, 8), (22, 15), (34, 20), (15, 25), (36, 8)])
    depth = np.array([1.1, 2.6, 2.2, 1.4, 1.7])
    bed = triangulate(Soundings.from_arrays(places, depth, crs=CRS_OF_ALL), water)
    layers = MapLayers(bed, water, grid_bed(bed, cell=1.0), isobaths=isobaths(bed, interval=0.25))
    html = page_html(layers, PageTables(hypsography(bed), morphometry(bed)), **told)
    return html, water
