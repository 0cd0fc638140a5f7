"""Count the fish of Figment Mere: what a consumer sounder hears along lines by day and by night.

The fish are invented, so their number is known. They swim above the water that has lost its oxygen
by August: in shoals by day, many of them close to the bed, and scattered and higher by night. The
sounder has one beam of 20 degrees and was never calibrated. All chance has a fixed seed.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray
from scipy.interpolate import RegularGridInterpolator
from scipy.spatial import cKDTree

from sample_layers import lake

__all__ = ["BEAM_ANGLE", "DRAFT", "Truth", "echo_pings", "echoes", "truth"]

Floats = NDArray[np.float64]

ORIGIN = np.array(lake.ORIGIN)

SEED = 20_260_812
FISH, SHOALS = 48_000, 900
BEAM_ANGLE, FREQUENCY, PULSE = 20.0, 200.0, 0.0002  # degrees, kHz, s
DRAFT, SPEED = 0.30, 1450.0  # m, m/s
NEAREST = 0.6  # m, nearer than which the sounder hears itself
UNKNOWN_GAIN = 1.5  # dB, what a calibration would find
SCATTER = 3.0  # dB, of one fish from echo to echo
LINES, LINE_BEARING, PING_EVERY, BOAT_SPEED = 8, 12.0, 1.2, 1.1  # degrees true, m, m/s
LEAST_WATER = 1.0
STARTS = {"day": "2026-08-12T14:10:00", "night": "2026-08-12T23:20:00"}
WEIGHT = (0.009, 3.05)  # g and cm: invented


@dataclass(frozen=True)
class Truth:
    """The fish there are: number, weight in kg, mean length in cm."""

    number: int
    weight: float
    mean_length: float


def truth() -> Truth:
    """Return how many fish swim in the lake, by day as by night."""
    length = _lengths()
    weight = WEIGHT[0] * length ** WEIGHT[1]
    return Truth(FISH, float(weight.sum()) / 1000, float(length.mean()))


def echo_pings() -> pd.DataFrame:
    """Return every ping, also those without fish.

    Columns: transect, ping, period, time, distance_m (along the line), bed_m (below the surface,
    which stood at the datum): the first answer of the bed in the beam.
    """
    return _sounded()[0].drop(columns=["easting", "northing"])


def echoes() -> pd.DataFrame:
    """Return the echoes of single fish: transect, ping, range_m (below the transducer), ts_db."""
    return _sounded()[1]


# ---- the fish -----------------------------------------------------------------------------------


@cache
def _lengths() -> Floats:
    """Return the lengths of all fish, cm: mostly of this summer and the last, few old ones."""
    rng = np.random.default_rng([SEED, 1])
    year = rng.choice(3, FISH, p=(0.62, 0.30, 0.08))
    middle, spread = np.array([6.0, 10.5, 17.0]), np.array([0.7, 1.2, 2.5])
    return np.round(np.clip(rng.normal(middle[year], spread[year]), 4, 28), 1)


@cache
def _floor() -> RegularGridInterpolator:
    """Return the bed on cells of 4 m, linear between, which is good enough for a fish."""
    west, south, east, north = lake.shoreline().bounds
    x, y = np.arange(west - 4, east + 8, 4.0), np.arange(south - 4, north + 8, 4.0)
    grid = np.meshgrid(x, y, indexing="ij")
    depth = lake.bed_depth(grid[0].ravel(), grid[1].ravel()).reshape(grid[0].shape)
    return RegularGridInterpolator((x, y), depth)


def _fish(period: str) -> Floats:
    """Return easting, northing and depth of all fish."""
    rng = np.random.default_rng([SEED, 2, period == "night"])
    centres = _centres(rng)
    shoal = rng.integers(0, len(centres), FISH)
    radius, middle, thickness = (5.0, 4.3, 0.7) if period == "day" else (22.0, 3.1, 0.9)
    level = rng.normal(middle, 0.5, len(centres))
    places = np.empty((FISH, 3))
    waiting = np.arange(FISH)
    while len(waiting):
        member = shoal[waiting]
        place = centres[member] + rng.normal(0, radius, (len(waiting), 2))
        depth = _levels(rng, level[member], thickness, _floor()(centres[member]), period)
        wet = (depth > 0.2) & (depth < _floor()(np.clip(place, *_box())) - 0.03)
        places[waiting[wet]] = np.column_stack([place, depth])[wet]
        waiting = waiting[~wet]
    return places


def _levels(
    rng: np.random.Generator, level: Floats, thickness: float, floor: Floats, period: str
) -> Floats:
    """Return depths of fish: in their layer, and by day a third of them just above the bed."""
    free = rng.normal(np.minimum(level, 0.75 * floor), thickness)
    close = floor - rng.exponential(0.35, len(level))
    lying = (rng.random(len(level)) < (0.33 if period == "day" else 0.05)) & (floor < 5.5)
    return np.where(lying, close, free)


def _centres(rng: np.random.Generator) -> Floats:
    """Return the middles of shoals, over at least 2 m of water."""
    low, high = _box()
    places = rng.uniform(low, high, (12 * SHOALS, 2))
    inside = shapely.contains_xy(lake.shoreline(), *places.T)
    return places[inside & (_floor()(places) > 2.0)][:SHOALS]


def _box() -> tuple[Floats, Floats]:
    west, south, east, north = lake.shoreline().bounds
    return np.array([west, south]), np.array([east, north])


# ---- the boat -----------------------------------------------------------------------------------


@cache
def _sounded() -> tuple[pd.DataFrame, pd.DataFrame]:
    """Return pings, with their places, and echoes, by day and then by night."""
    rng = np.random.default_rng([SEED, 3])
    parts = []
    for period in STARTS:
        pings = _pings(period, rng)
        parts.append((pings, _heard(_fish(period), pings, rng)))
    pings, echoes = (pd.concat(frames, ignore_index=True) for frames in zip(*parts, strict=True))
    return pings.drop(columns="first"), echoes


def _pings(period: str, rng: np.random.Generator) -> pd.DataFrame:
    turn = np.radians(LINE_BEARING)
    along, across = np.array([np.sin(turn), np.cos(turn)]), np.array([np.cos(turn), -np.sin(turn)])
    spacing = 780 / LINES
    offsets = -390 + (rng.uniform(0.2, 0.8) + np.arange(LINES)) * spacing
    clock, lines = pd.Timestamp(STARTS[period], tz="UTC"), []
    for number, offset in enumerate(offsets, start=1):
        distance = np.arange(0, 900, PING_EVERY)
        way = (-1) ** number * (distance - 450)
        places = ORIGIN + offset * across + way[:, None] * along
        depth = lake.bed_depth(*places.T)
        rows = np.flatnonzero(depth > LEAST_WATER)
        if not len(rows):  # a line past the end of the lake
            continue
        seconds = (distance[rows] - distance[rows[0]]) / BOAT_SPEED
        line = pd.DataFrame({"transect": f"{period[0].upper()}{number}"}, index=range(len(rows)))
        line["ping"] = np.arange(1, len(rows) + 1)
        line["period"] = period
        line["time"] = (clock + pd.to_timedelta(seconds, unit="s")).round("s")
        line["distance_m"] = np.round(distance[rows] - distance[rows[0]], 1)
        line[["easting", "northing"]] = places[rows]
        clock = line["time"].iloc[-1] + pd.Timedelta("5min")
        lines.append(line)
    pings = pd.concat(lines, ignore_index=True)
    pings["first"] = _first_return(pings[["easting", "northing"]].to_numpy())
    heard = pings["first"] + rng.normal(0, 0.03, len(pings))
    pings["bed_m"] = np.round(heard + DRAFT, 2)
    return pings


def _first_return(places: Floats) -> Floats:
    """Return the range at which the bed is first heard in the beam, m: too shallow on slopes."""
    below = lake.bed_depth(*places.T) - DRAFT
    nearest = below.copy()
    for share in (0.5, 1.0):
        away = share * below * np.tan(np.radians(BEAM_ANGLE / 2))
        for angle in np.arange(8) * np.pi / 4:
            aside = away[:, None] * np.array([np.cos(angle), np.sin(angle)])
            depth = _floor()(np.clip(places + aside, *_box())) - DRAFT
            nearest = np.minimum(nearest, np.hypot(away, np.maximum(depth, 0.2)))
    return nearest


def _heard(fish: Floats, pings: pd.DataFrame, rng: np.random.Generator) -> pd.DataFrame:
    """Return the echo of every fish in the cone of every ping, unless the bed drowns it."""
    places = pings[["easting", "northing"]].to_numpy()
    below = np.maximum(fish[:, 2] - DRAFT, 0.0)
    reach = below * np.tan(np.radians(BEAM_ANGLE / 2))
    near = cKDTree(places).query_ball_point(fish[:, :2], reach)
    number = np.repeat(np.arange(len(fish)), [len(found) for found in near])
    ping = np.concatenate([np.asarray(found, int) for found in near])
    away = np.hypot(*(fish[number, :2] - places[ping]).T)
    slant = np.hypot(away, below[number])
    strength = _strength(_lengths()[number], away / np.maximum(reach[number], 1e-9), rng)
    echoes = pings.loc[ping, ["transect", "ping"]].reset_index(drop=True)
    echoes = echoes.assign(range_m=np.round(slant, 2), ts_db=np.round(strength, 1))
    free = pings["first"].to_numpy()[ping] - SPEED * PULSE / 2
    heard = echoes[(slant > NEAREST) & (slant < free)]
    return heard.sort_values(["transect", "ping", "range_m"], ignore_index=True)


def _strength(length: Floats, off_axis: Floats, rng: np.random.Generator) -> Floats:
    """Return what the sounder makes of fish: less off the axis, 6 dB at the edge of the beam.

    Notes
    -----
    Love (1977) for fish seen from above, from memory.
    """
    true = 19.1 * np.log10(length) - 0.9 * np.log10(FREQUENCY) - 62.0
    return true - 6 * off_axis**2 + rng.normal(0, SCATTER, len(length)) + UNKNOWN_GAIN
