"""An invented lake as a survey leaves it."""

from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Any

import geopandas
import numpy as np
import pandas as pd
import pytest
import shapely

from toolbox.bed.gridding import grid_bed
from toolbox.bed.triangulation import triangulate
from toolbox.isobaths.isobaths import isobaths
from toolbox.layers import Shoreline, Soundings, Table, Vectors
from toolbox.layers.crs import parse_crs
from toolbox.report.sheet import write_sheet
from toolbox.volume.hypsography import hypsography
from toolbox.volume.morphometry import morphometry

Given = dict[str, Any]


def lake(
    polygon: Any, crs: str | None, *, grade: float, interval: float, count: int = 900
) -> Given:
    """Sound a lake whose depth grows with the distance from its shore."""
    system = None if crs is None else parse_crs(crs)
    rng = np.random.default_rng(7)
    shoreline = Shoreline.from_shapes([polygon], system)
    west, south, east, north = polygon.bounds
    places = rng.uniform((west, south), (east, north), (12 * count, 2))
    places = places[shoreline.contains(places)][:count]
    depth = shapely.distance(shapely.points(places), polygon.boundary) / grade
    source = np.where(np.arange(count) % 9 == 0, "cast", "track")
    soundings = Soundings.from_arrays(places, depth, crs=system, source=source, line="1")
    bed = triangulate(soundings, shoreline)
    return {
        "title": "Nowhere Pool",
        "depth": grid_bed(bed, cell=max(east - west, north - south) / 200),
        "shoreline": shoreline,
        "isobaths": isobaths(bed, interval=interval),
        "soundings": soundings,
        "hypsography": hypsography(bed),
        "morphometry": morphometry(bed),
        "bed": bed,
        "origin": {"by": "nobody", "date": "2026-05-12", "remarks": "invented"},
        "datum": {"elevation": 100.0, "name": "a mark on the dam"},
        "made": date(2026, 11, 26),
    }


def _banded(table: Table) -> Table:
    frame = table.frame.copy()
    for stem, unit in (("area", "m2"), ("volume_below", "m3")):
        frame[f"{stem}_low_{unit}"] = 0.95 * frame[f"{stem}_{unit}"]
        frame[f"{stem}_high_{unit}"] = 1.04 * frame[f"{stem}_{unit}"]
    return Table(frame, table.title, table.notes)


def _marks(crs: Any) -> Given:
    """Seven marks before two pegs, and the bed along the casts."""
    pegs = np.array([(500_000.0, 5_199_801.0), (500_399.0, 5_200_000.0)])
    bearing, distance = np.linspace(-20, 40, 7), np.linspace(30, 60, 7)
    from_peg = np.arange(7) % 2
    turned = np.radians(bearing + np.where(from_peg == 0, 0, 270))
    ways = distance[:, None] * np.column_stack([np.sin(turned), np.cos(turned)])
    places = pegs[from_peg] + ways
    frame = geopandas.GeoDataFrame(
        {
            "mark": np.arange(7) + 1,
            "peg": np.array(["P1", "P2"])[from_peg],
            "bearing_true_deg": np.degrees(turned) % 360,
            "bearing_magnetic_deg": (np.degrees(turned) + 12) % 360,
            "distance_m": distance,
            "distance_wraps": distance / 3.66,
            "peg_easting_m": pegs[from_peg, 0],
            "peg_northing_m": pegs[from_peg, 1],
            "kind": "drop-off foot",
            "depth_m": distance / 20,
            "depth_low_m": distance / 20 - 0.3,
            "depth_high_m": distance / 20 + 0.3,
            "support": 0.83,
            "confidence": 0.97,
            "over_plants_m": np.where(np.arange(7) == 2, 12.0, 0.0),
            "easting_m": places[:, 0],
            "northing_m": places[:, 1],
            "longitude_deg": 9.0,
            "latitude_deg": 46.9,
        },
        geometry=geopandas.points_from_xy(*places.T),
        crs=crs,
    )
    along = np.linspace(0, 1, 9)
    rows = [
        pd.DataFrame(
            {
                "mark": mark,
                "distance_m": along * reach,
                "depth_m": along * reach / 20,
                "depth_low_m": along * reach / 20 - 0.2,
                "depth_high_m": along * reach / 20 + 0.2,
                "canopy_m": np.where(along > 0.6, along * reach / 20 - 0.5, np.nan),
            }
        )
        for mark, reach in zip(frame["mark"], distance, strict=True)
    ]
    points = geopandas.GeoDataFrame(
        {"peg": ["P1", "P2"]}, geometry=geopandas.points_from_xy(*pegs.T), crs=crs
    )
    return {
        "marks": Vectors(frame, "marks"),
        "pegs": Vectors(points, "pegs"),
        "cast_profiles": Table(pd.concat(rows, ignore_index=True)),
        "declination": -12.0,
    }


@pytest.fixture(scope="session")
def pool() -> Given:
    """Make an oval pool of 800 x 400 m with an island, plants, a drop-off, guesses and marks."""
    centre = shapely.Point(500_000, 5_200_000)
    oval = shapely.affinity.scale(centre.buffer(200, 48), 2, 1)
    island = shapely.Point(500_150, 5_200_030).buffer(25)
    given = lake(oval.difference(island), "EPSG:32632", grade=18, interval=1)
    crs, depth = given["shoreline"].crs, given["depth"]
    bed = given["bed"]
    lip = shapely.LineString([(499_800, 5_199_950), (499_900, 5_199_900), (500_050, 5_199_920)])
    features = geopandas.GeoDataFrame({"kind": ["drop-off lip"]}, geometry=[lip], crs=crs)
    beds = [shapely.Point(499_700, 5_200_020).buffer(45)]
    plants = geopandas.GeoDataFrame({"height_m": [0.5]}, geometry=beds, crs=crs)
    guess = np.zeros(depth.shape, np.float32)
    guess[40:60, 120:150] = 1
    return (
        given
        | _marks(crs)
        | {
            "hypsography": _banded(given["hypsography"]),
            "features": Vectors(features, "features"),
            "plants": Vectors(plants, "plants"),
            "unsurveyed": depth.of(guess, "unsurveyed", "1"),
            "bed": type(bed)(
                bed.vertices,
                bed.depth,
                bed.triangles,
                bed.kind,
                bed.crs,
                sd=np.full(len(bed.depth), 0.2),
                support=np.full(len(bed.depth), 0.9),
            ),
        }
    )


@pytest.fixture(scope="session")
def bare(pool: Given) -> Given:
    """Leave the marks out: a sheet of one page."""
    without = dict.fromkeys(("marks", "pegs", "cast_profiles"))
    return pool | without


@pytest.fixture(scope="session")
def mercator() -> Given:
    """Make a pool at 60 degrees north, where a metre of the web's map is half a metre."""
    return lake(shapely.Point(1.0e6, 8.4e6).buffer(700), "EPSG:3857", grade=60, interval=2)


@pytest.fixture(scope="session")
def make_lake() -> Callable[..., Given]:
    """Return what makes other lakes."""
    return lake


@pytest.fixture
def sheet(tmp_path: Path) -> Callable[..., tuple[Path, float]]:
    """Return what writes a sheet, with changes, and tells its scale."""

    def write(given: Given, **changes: Any) -> tuple[Path, float]:
        path = tmp_path / "sheet.pdf"
        return path, write_sheet(path, **(given | changes))

    return write
