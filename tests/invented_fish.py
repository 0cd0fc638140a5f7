"""Invented fish in an invented lake, and the boat that counts them: how many there are is known.

The lake is an oval bowl of 800 by 440 m with a hump, its depths a formula. Fish keep together in
shoals and in layers of depth. A boat runs parallel lines, a sounder of 20 degrees hears every fish
in its cone that is neither too near nor hidden by the bed.
"""

from dataclasses import dataclass, replace
from functools import cache
from typing import Literal

import numpy as np
import pandas as pd
from scipy.spatial import cKDTree

from toolbox.fish.beam import Beam
from toolbox.layers import Table, Tin, VertexKind

__all__ = ["BEAM", "Population", "bed", "bed_depth", "drawn_bed", "make_population", "sound"]

LONG, SHORT = 400.0, 220.0  # m, half axes
BEAM = Beam(20.0, frequency=200.0, pulse=0.0002, depth=0.3, blind=1.0)
ANGLE, DRAFT, BLIND = 20.0, 0.3, 1.0
PING_EVERY = 1.0  # m
LEAST_WATER = 1.5  # m, in which the boat runs

Design = Literal["random", "even"]


def bed_depth(places: np.ndarray) -> np.ndarray:
    """Return the depth at places (n, 2), m, 0 ashore."""
    x, y = places.T
    bowl = 1 - (x / LONG) ** 2 - (y / SHORT) ** 2
    waves = 1 + 0.15 * np.sin(x / 60) * np.cos(y / 45)
    hump = 3 * np.exp(-(((x + 150) / 60) ** 2) - ((y - 40) / 40) ** 2)
    return np.asarray(np.maximum(12 * bowl * waves - np.maximum(bowl, 0) * hump, 0.0))


@cache
def bed() -> Tin:
    """Return the bed as a net of rings and spokes, exact at its vertices."""
    rings, spokes = 40, 100
    share = np.linspace(0, 1, rings + 1)[1:]
    angle = np.linspace(0, 2 * np.pi, spokes, endpoint=False)
    unit = np.stack([np.cos(angle), np.sin(angle)], axis=1)
    around = (share[:, None, None] * unit * (LONG, SHORT)).reshape(-1, 2)
    vertices = np.vstack([[[0.0, 0.0]], around])
    first = 1 + np.arange(spokes)
    following = np.roll(first, -1)
    triangles = [np.column_stack([np.zeros(spokes, int), first, following])]
    for ring in range(rings - 1):
        inner, outer = ring * spokes, (ring + 1) * spokes
        triangles.append(np.column_stack([first + inner, first + outer, following + outer]))
        triangles.append(np.column_stack([first + inner, following + outer, following + inner]))
    kind = np.full(len(vertices), VertexKind.SOUNDING)
    kind[-spokes:] = VertexKind.SHORELINE
    depth = bed_depth(vertices)
    depth[-spokes:] = 0.0
    return Tin(vertices, depth, np.vstack(triangles), kind, None)


def drawn_bed(sd: float, rng: np.random.Generator, draws: int = 30) -> Tin:
    """Return the bed as a survey would have it: all depths off by a share, and draws as far off."""
    true = bed()
    found = true.depth * np.exp(rng.normal(0, sd))
    spread = np.exp(rng.normal(0, sd, draws))
    return replace(true, depth=found, draws=found[:, None] * spread)


@dataclass(frozen=True, eq=False)
class Population:
    """Fish: places (n, 3), the last the depth, m; how many swim in a shoal."""

    places: np.ndarray
    shoal: float

    @property
    def told(self) -> int:
        """How many are where the beam can tell fish."""
        depth, floor = self.places[:, 2], bed_depth(self.places[:, :2])
        last = BEAM.last(floor - DRAFT) + DRAFT
        return int(((depth > BEAM.top) & (depth < last)).sum())


def make_population(rng: np.random.Generator) -> Population:
    """Make 1,500 to 40,000 fish in shoals of 1 to 40 and one layer of depth."""
    count = int(np.exp(rng.uniform(np.log(1_500), np.log(40_000))))
    shoal = float(np.exp(rng.uniform(0, np.log(40))))
    radius, middle, thickness = rng.uniform(4, 30), rng.uniform(2, 8), rng.uniform(0.5, 2.5)
    wanted = max(3, int(count / shoal))
    centres = rng.uniform((-LONG, -SHORT), (LONG, SHORT), (8 * wanted, 2))
    centres = centres[bed_depth(centres) > 0.6 * middle][:wanted]
    level = rng.normal(middle, thickness / 2, len(centres))
    fish = np.empty((0, 3))
    while len(fish) < count:
        member = rng.integers(0, len(centres), count)
        place = centres[member] + rng.normal(0, radius, (count, 2))
        depth = level[member] + rng.normal(0, thickness, count)
        wet = (depth > 0.1) & (depth < bed_depth(place) - 0.02)
        fish = np.vstack([fish, np.column_stack([place, depth])[wet]])
    return Population(fish[:count], shoal)


def sound(
    population: Population, rng: np.random.Generator, *, lines: int, design: Design
) -> tuple[Table, Table]:
    """Run lines across the lake and return the echoes and the pings."""
    if design == "random":
        easting = rng.uniform(-0.97 * LONG, 0.97 * LONG, lines)
    else:
        easting = -LONG + (rng.uniform() + np.arange(lines)) * 2 * LONG / lines
    northing = np.arange(-SHORT, SHORT, PING_EVERY)
    places = np.column_stack([np.repeat(easting, len(northing)), np.tile(northing, lines)])
    floor = bed_depth(places)
    afloat = floor > LEAST_WATER
    pings = pd.DataFrame(
        {
            "transect": np.repeat(np.arange(lines) + 1, len(northing))[afloat],
            "ping": np.arange(len(places))[afloat],
            "bed_m": floor[afloat],
            "distance_m": np.tile(northing, lines)[afloat],
        }
    )
    return Table(_heard(population.places, places[afloat], pings)), Table(pings)


def _heard(fish: np.ndarray, places: np.ndarray, pings: pd.DataFrame) -> pd.DataFrame:
    """Return every fish within the cone of every ping."""
    below = np.maximum(fish[:, 2] - DRAFT, 0)
    reach = below * np.tan(np.radians(ANGLE / 2))
    near = cKDTree(places).query_ball_point(fish[:, :2], reach)
    number = np.repeat(np.arange(len(fish)), [len(found) for found in near])
    ping = np.concatenate([np.asarray(found, int) for found in near])
    away = np.hypot(*(fish[number, :2] - places[ping]).T)
    rows = pings.iloc[ping].reset_index(drop=True)
    return rows[["transect", "ping"]].assign(range_m=np.hypot(away, below[number]), fish=number)
