"""A round water with an island, sounded along lines: what tests of the fitted bed share."""

import functools
from collections.abc import Callable
from typing import Any

import numpy as np
import shapely

from toolbox.bed.fit import Fit
from toolbox.bed.fitting import fit
from toolbox.bed.location import interpolated, locate
from toolbox.layers import Shoreline, Soundings, Tin

Bed = Callable[[np.ndarray], np.ndarray]

DISC = shapely.Point(0, 0).buffer(100, quad_segs=16)
ISLE = shapely.Point(35, 12).buffer(12, quad_segs=4)
COARSE = 11.0
"""Spacing of nodes in most of these tests, m: 400 nodes or so, and a fit within a second."""

FINE = 6.0


def water(*parts: Any, depth: float = 0.0) -> Shoreline:
    return Shoreline(shapely.MultiPolygon(list(parts)), None, depth)


def cone(place: np.ndarray) -> np.ndarray:
    return 8 * (1 - np.hypot(*place.T) / 100)


def relief(shape: Any) -> Bed:
    """Return a bed that falls off from every shore and has humps where it is deep."""

    def bed(place: np.ndarray) -> np.ndarray:
        away = shapely.distance(shape.boundary, shapely.points(place))
        east, north = place.T
        humps = 0.4 * np.sin(east / 15) * np.cos(north / 17) * np.minimum(1, away / 20)
        return np.asarray(6 * (1 - np.exp(-away / 20)) + humps)

    return bed


def surveyed(
    shape: Any, bed: Bed, *, lines: int = 8, noise: float = 0.05, seed: int = 1, **columns: Any
) -> Soundings:
    """Sound along lines to the north, with the noise that is stated and a few metres of drift."""
    rng = np.random.default_rng(seed)
    left, bottom, right, top = shape.bounds
    space = (right - left) / lines
    parts, names = [], []
    for number in range(lines):
        north = np.arange(bottom + 1.3, top, 4.1)
        east = left + (number + 0.5) * space + rng.uniform(-2, 2, len(north))
        place = np.column_stack([east, north])
        place = place[shapely.contains_xy(shape, *place.T)]
        parts.append(place)
        names += [f"line {number}"] * len(place)
    place = np.vstack(parts)
    depth = bed(place) + rng.normal(0, noise, len(place))
    wanted: dict[str, Any] = {
        "line": np.array(names, object),
        "source": "track",
        "sd": max(noise, 0.02),
        "sd_shared": 0.01,
        "sd_xy": 0.5,
    }
    return Soundings.from_arrays(place, depth, crs=None, **(wanted | columns))


def asked(bed: Tin, places: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return depth and sd at places."""
    located = locate(bed.vertices, bed.triangles, places)
    assert bed.sd is not None
    depth, sd = (interpolated(values, bed.triangles, located) for values in (bed.depth, bed.sd))
    assert np.isfinite(depth).all()
    return depth, sd


def inner_places(shape: Any, off: float = 3.0) -> np.ndarray:
    left, bottom, right, top = shape.bounds
    axes = np.arange(left + 4.3, right, 9.0), np.arange(bottom + 4.3, top, 9.0)
    places = np.stack(np.meshgrid(*axes), axis=-1).reshape(-1, 2)
    return np.asarray(places[shapely.contains_xy(shape.buffer(-off), *places.T)])


def rms(values: np.ndarray) -> float:
    return float(np.sqrt(np.mean(np.square(values))))


LAKE = DISC.difference(ISLE)
TRUTH = relief(LAKE)
PLACES = inner_places(LAKE)


KNOWN = {
    "range_m": 50.0,
    "spread_m": 0.6,
    "reach_m": 20.0,
    "nugget_m": 0.05,
    "elongation": 1.0,
    "steepness": 0.5,
}
"""Settings for tests to which it does not matter that they are learnt."""


@functools.cache
def base() -> Soundings:
    return surveyed(LAKE, TRUTH)


@functools.cache
def base_fit() -> Fit:
    return fit(base(), water(LAKE), spacing=COARSE)


@functools.cache
def base_bed() -> Tin:
    return base_fit().bed(draws=200, seed=5)
