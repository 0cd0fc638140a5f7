"""An invented lake for timing: a winding shore, islands, and soundings as a boat takes them.

Everything follows from one seed. The water fills a square of 6 km, so that cells of 3 m make a
raster of 2000 x 2000.
"""

import functools
import math
from pathlib import Path

import numpy as np
import shapely
from pyproj import CRS

from toolbox.layers import Shoreline, Soundings

__all__ = ["CELL", "CRS_CODE", "SIDE", "bed_depth", "shoreline", "soundings", "write_survey"]

CRS_CODE = "EPSG:32633"
SEED = 20_260_501
SIDE, CELL = 6_000.0, 3.0
WEST, SOUTH = 498_000.0, 5_301_000.0  # whole multiples of CELL
SHORE_VERTICES, ISLANDS, ISLAND_VERTICES = 5_000, 10, 200
ALONG_TO_ACROSS = 15.0
TIE_EVERY = 8
"""A tie line for every so many survey lines, across them."""


@functools.cache
def shoreline() -> Shoreline:
    """Return the water: a star-shaped shore of 5,000 vertices with ten islands of 200."""
    rng = np.random.default_rng(SEED)
    angle = np.linspace(0, 2 * np.pi, SHORE_VERTICES, endpoint=False)
    ring = _star(rng, angle, waves=40, roughness=0.25)
    span = np.ptp(ring, axis=0)
    # half a metre of land on each side keeps the raster at 2000 x 2000 cells
    outer = (ring - ring.min(axis=0)) / span * (SIDE - 1) + (WEST + 0.5, SOUTH + 0.5)
    water = shapely.Polygon(outer, _islands(rng, shapely.Polygon(outer)))
    return Shoreline.from_shapes([water], CRS.from_user_input(CRS_CODE))


def soundings(count: int) -> Soundings:
    """Return `count` soundings on wiggly survey lines and tie lines across them.

    Depths and places are rounded to the centimetre, as sounders write them. Single echoes are
    lost at random.
    """
    places = _inside_tracks(count)
    rng = np.random.default_rng(SEED + count)
    heard = np.sort(rng.choice(len(places), count, replace=False))
    places = np.round(places[heard], 2)
    depth = np.round(bed_depth(places) + rng.normal(0, 0.05, count), 2)
    return Soundings.from_arrays(places, np.maximum(depth, 0.1), crs=shoreline().crs)


def bed_depth(places: np.ndarray) -> np.ndarray:
    """Return the true depth at places, shape (n, 2), m: a bowl, a channel, humps, ripples."""
    east, north = (places - (WEST + SIDE / 2, SOUTH + SIDE / 2)).T
    away = np.hypot(east, north) / (SIDE / 2)
    bowl = 28 * np.maximum(1.05 - away**1.6, 0.02)
    winding = north - 420 * np.sin(east / 700)
    channel = 9 * np.exp(-((winding / 110) ** 2))
    humps = 3 * np.sin(east / 190) * np.cos(north / 240)
    ripples = 0.15 * np.sin((east + 0.6 * north) / 9)
    return np.asarray(np.maximum(bowl + channel + humps + ripples, 0.1))


def write_survey(folder: Path, count: int) -> Path:
    """Write a survey of `count` soundings into `folder` and return its survey file."""
    import geopandas

    layer = soundings(count)
    easting, northing = layer.coordinates.T
    columns = np.column_stack([easting, northing, layer.depth])
    header = "easting,northing,depth"
    np.savetxt(folder / "soundings.csv", columns, "%.2f", ",", header=header, comments="")
    water = geopandas.GeoDataFrame(geometry=list(shoreline().polygons.geoms), crs=CRS_CODE)
    water.to_file(folder / "shoreline.gpkg", layer="shoreline")
    survey = folder / "survey.toml"
    survey.write_text(
        '[water]\nname = "Invented lake"\nshoreline = "shoreline.gpkg"\n\n'
        f'[[soundings]]\nfile = "soundings.csv"\ncrs = "{CRS_CODE}"\nsource = "track"\n\n'
        '[bed]\nmethod = "triangulated"\n',
        encoding="utf-8",
    )
    return survey


def _star(rng: np.random.Generator, angle: np.ndarray, waves: int, roughness: float) -> np.ndarray:
    """Draw a closed line seen whole from its middle, about one wide."""
    order = np.arange(2, waves + 2)
    size = rng.normal(0, roughness, waves) / order
    phase = rng.uniform(0, 2 * np.pi, waves)
    radius = 1 + (size * np.cos(order * angle[:, None] + phase)).sum(axis=1)
    return np.column_stack([radius * np.cos(angle), radius * np.sin(angle)])


def _islands(rng: np.random.Generator, water: shapely.Polygon) -> list[np.ndarray]:
    angle = np.linspace(0, 2 * np.pi, ISLAND_VERTICES, endpoint=False)
    rings: list[np.ndarray] = []
    taken = water.boundary.buffer(60)
    while len(rings) < ISLANDS:
        place = rng.uniform((WEST, SOUTH), (WEST + SIDE, SOUTH + SIDE))
        ring = place + rng.uniform(60, 180) * _star(rng, angle, waves=12, roughness=0.3)
        shape = shapely.Polygon(ring)
        if water.contains(shape) and not taken.intersects(shape):
            rings.append(ring)
            taken = taken.union(shape.buffer(60))
    return rings


def _inside_tracks(count: int) -> np.ndarray:
    """Lay tracks ever denser until at least `count` places lie in the water."""
    water = shoreline().polygons
    shapely.prepare(water)
    per_square = 1 / ALONG_TO_ACROSS * (1 + 1 / TIE_EVERY)
    along = math.sqrt(water.area * per_square / count)
    while True:
        along *= 0.995
        places = _tracks(along)
        inside = places[shapely.contains_xy(water, *places.T)]
        if len(inside) >= count:
            return np.asarray(inside)


def _tracks(along: float) -> np.ndarray:
    across = along * ALONG_TO_ACROSS
    lines = _parallel(along, across, np.radians(27))
    ties = _parallel(along, across * TIE_EVERY, np.radians(117))
    middle = np.array([WEST + SIDE / 2, SOUTH + SIDE / 2])
    return np.asarray(np.vstack([lines, ties]) + middle)


def _parallel(along: float, across: float, bearing: float) -> np.ndarray:
    """Lay wiggly lines side by side over the whole square and beyond, about its middle."""
    rng = np.random.default_rng(SEED)
    reach = SIDE * 0.75
    offset = np.arange(-reach, reach, across)[:, None]
    step = np.arange(-reach, reach, along)[None, :]
    phase = rng.uniform(0, 2 * np.pi, (2, len(offset), 1))
    wiggle = np.sin(step / 230 + phase[0]) + 0.4 * np.sin(step / 61 + phase[1])
    sideways = offset + 0.15 * across * wiggle
    jitter = step + rng.uniform(-0.3, 0.3, sideways.shape) * along
    cos, sin = np.cos(bearing), np.sin(bearing)
    return np.column_stack(
        [
            (sideways * cos + jitter * sin).ravel(),
            (jitter * cos - sideways * sin).ravel(),
        ]
    )
