"""A zoo of invented lakes whose beds are known everywhere, and surveys with honest errors.

Seven kinds of water: round kettles, dendritic lakes of drowned valleys, lakes with islands, flooded
valleys behind a dam, gravel pits, dishes and river reaches. A bed is a formula of several unrelated
parts, so that no one way to interpolate finds its own shape in it: sides whose slope changes along
the shore and whose profile changes from lake to lake, a floor with basins, patchy relief of 5 to
100 m wavelength with a spectrum of its own in each lake, and planted features (drop-offs, humps,
holes, gullies) whose place and size are known. The formula can be evaluated anywhere, so the error
of a fitted bed, an area, a volume or a found feature can be measured and not guessed.

Everything follows from a seed, to the bit. Lengths and depths are in metres, depths positive down
from the water level at which the shoreline lies; places are eastings and northings in EPSG:32633.

Examples
--------
>>> lake = lakes(7)[0]
>>> soundings = survey(lake, "casts", seed=1)
>>> bed = truth(lake, cell=4)
>>> bool(abs(lake.depth(bed.places) - bed.depth).max() == 0)
True
"""

import functools
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any, Literal, get_args

import numpy as np
import numpy.typing as npt
import shapely
from shapely import LineString, MultiLineString, Polygon

from toolbox.layers import Shoreline, Soundings
from toolbox.layers.geodesy import travel

if TYPE_CHECKING:
    from pyproj import CRS

__all__ = [
    "KINDS",
    "STYLES",
    "Feature",
    "Kind",
    "Lake",
    "Style",
    "Truth",
    "lakes",
    "make_lake",
    "survey",
    "truth",
]

Kind = Literal[
    "round", "dendritic", "islands", "flooded valley", "gravel pit", "dish", "river reach"
]
Style = Literal["tracks and casts", "casts", "points"]
Floats = npt.NDArray[np.floating[Any]]

KINDS: tuple[Kind, ...] = get_args(Kind)
STYLES: tuple[Style, ...] = get_args(Style)

SEED = 20_260_504
MIDDLE = (500_000.0, 5_300_000.0)  # of the square of 40 km that the lakes are strewn over
VERTEX = 5.0
"""Distance between the vertices of a shoreline, m."""

LEAST_DROP = 1.0
"""What a shelf must drop off by, from lip to foot, to be told as a drop-off, m."""

_LN2 = float(np.log(2))
_HECTARES: dict[Kind, tuple[float, float]] = {
    "round": (2, 40),
    "dendritic": (8, 40),
    "islands": (4, 40),
    "flooded valley": (6, 40),
    "gravel pit": (2, 25),
    "dish": (2, 30),
    "river reach": (2, 14),
}
_GREATEST: dict[Kind, tuple[float, float]] = {
    "round": (4, 24),
    "dendritic": (6, 24),
    "islands": (4, 20),
    "flooded valley": (7, 24),
    "gravel pit": (9, 20),
    "dish": (2, 4.2),
    "river reach": (2.2, 6),
}


@dataclass(frozen=True)
class Feature:
    """A planted feature of the bed.

    Parameters
    ----------
    kind : {"drop-off", "hump", "hole", "gully"}
        A hump may be long, as a bar or a ridge of spoil is.
    place : (float, float)
        Easting and northing of the top of a hump, the bottom of a hole, the middle of the axis of
        a gully, the middle of the lip of a drop-off.
    depth : float
        True depth at the place, m.
    relief : float
        What the feature adds to or takes from the bed at its place, m; of a drop-off: the median
        difference in depth from its lip to its foot.
    length, width : float
        Full size at half of the relief, m: of humps and holes along and across the long axis; of a
        gully its length and its width; of a drop-off the length of its lip and the distance from
        lip to foot.
    bearing : float
        Of the long axis of a hump or hole, degrees clockwise from grid north; NaN of others.
    line : LineString or None
        Axis of a gully, lip of a drop-off.
    foot : LineString or None
        Foot of a drop-off.
    """

    kind: Literal["drop-off", "hump", "hole", "gully"]
    place: tuple[float, float]
    depth: float
    relief: float
    length: float
    width: float
    bearing: float = float("nan")
    line: LineString | None = None
    foot: LineString | None = None


@dataclass(frozen=True, eq=False)
class Lake:
    """An invented water with a bed known everywhere.

    Parameters
    ----------
    name : str
        Its kind and number.
    kind : Kind
        What it was modelled on.
    seed : int
        Makes it again: ``make_lake(kind, seed)``.
    shoreline : Shoreline
        In EPSG:32633, at depth 0; a river reach has `open_edges` at both ends.
    features : tuple of Feature
        What was planted on the bed.
    wall : float
        Width of the vertical edge of a gravel pit, m: the bed drops from 0 on the shore to some
        metres within it. 0 of all other kinds.
    axis : MultiLineString or None
        Middle of the valley and of its arms (the trunk first), or of the river, where there is one.
    bed : object
        What `depth` is computed from, in metres from `origin`.
    origin : (float, float)
        Easting and northing, m.
    """

    name: str
    kind: Kind
    seed: int
    shoreline: Shoreline
    features: tuple[Feature, ...]
    wall: float
    axis: MultiLineString | None
    bed: "_Bed" = field(repr=False)
    origin: tuple[float, float] = field(repr=False)

    def depth(self, places: npt.ArrayLike) -> Floats:
        """Return the true depth at places.

        Parameters
        ----------
        places : (n, 2) array
            Easting and northing, m.

        Returns
        -------
        (n,) array
            Depth, m: 0 on the shore and on land; a river goes on for 15 m beyond its open ends.
        """
        return self.bed.depth(np.asarray(places, float).reshape(-1, 2) - self.origin)


@dataclass(frozen=True, eq=False)
class Truth:
    """The bed at the centres of the cells that lie in the water.

    Parameters
    ----------
    places : (n, 2) array
        Cell centres, easting and northing, m.
    depth : (n,) array
        True depth there, m.
    cell : float
        Side of a cell, m.
    area : float
        Of the shoreline's polygon on the plane of its CRS, m2, exact.
    volume : float
        By the midpoint rule over the cells, m3.
    """

    places: Floats
    depth: Floats
    cell: float
    area: float
    volume: float


def lakes(count: int = 7 * 15, *, seed: int = SEED) -> list[Lake]:
    """Make the zoo: the seven kinds in turn.

    Parameters
    ----------
    count : int
        How many lakes; equally many of each kind where it is a multiple of seven.
    seed : int
        Of the first lake; the others count on from it.

    Returns
    -------
    list of Lake
        The first lakes of a longer list are the same as those of a shorter one.
    """
    made = (make_lake(KINDS[i % len(KINDS)], seed + i) for i in range(count))
    numbers = (i // len(KINDS) + 1 for i in range(count))
    return [
        replace(lake, name=f"{lake.kind} {number}")
        for lake, number in zip(made, numbers, strict=True)
    ]


def make_lake(kind: Kind, seed: int) -> Lake:
    """Make one lake.

    Parameters
    ----------
    kind : Kind
        What to make.
    seed : int
        Same seed, same bits.

    Returns
    -------
    Lake
        Of 2 to 40 ha and 2 to 25 m greatest depth.
    """
    rng = np.random.default_rng([seed, KINDS.index(kind)])
    origin = np.round(np.add(MIDDLE, rng.uniform(-2e4, 2e4, 2)))
    area = _log_uniform(rng, *_HECTARES[kind]) * 1e4
    plan = _PLANS[kind](rng, area)
    bed = _made_bed(kind, plan, rng)
    bed, planted = _with_features(kind, plan, bed, rng)
    axis = MultiLineString([line + origin for line in plan.axes]) if plan.axes else None
    return Lake(
        name=f"{kind} {seed}",
        kind=kind,
        seed=seed,
        shoreline=_shoreline(plan, origin),
        features=tuple(_moved(one, origin) for one in planted),
        wall=bed.wall,
        axis=axis,
        bed=bed,
        origin=(float(origin[0]), float(origin[1])),
    )


def truth(lake: Lake, cell: float = 2.0) -> Truth:
    """Return the bed at the centres of all cells in the water, its area and its volume.

    Parameters
    ----------
    lake : Lake
        The water.
    cell : float
        Side of the cells, m; they begin at whole multiples of it.

    Returns
    -------
    Truth
        In rows from south to north, each from west to east.

    Notes
    -----
    The volume of the midpoint rule with cells of 2 m is within 0.05 % of that with cells of half a
    metre (0.2 % in gravel pits, whose walls fall between the centres); the tests hold it to that.
    """
    water = lake.shoreline.polygons
    west, south, east, north = water.bounds
    columns = np.arange(np.floor(west / cell), np.ceil(east / cell)) + 0.5
    rows = np.arange(np.floor(south / cell), np.ceil(north / cell)) + 0.5
    places = cell * np.stack(np.meshgrid(columns, rows), axis=-1).reshape(-1, 2)
    places = places[lake.shoreline.contains(places)]
    depth = lake.depth(places)
    return Truth(places, depth, cell, float(water.area), float(depth.sum()) * cell**2)


# ---- parts of a bed, in metres from the lake's own origin ---------------------------------------


@dataclass(frozen=True, eq=False)
class _Waves:
    """A sum of plane waves: a random field that can be evaluated anywhere."""

    number: Floats  # (m, 2), radians per metre
    phase: Floats
    size: Floats

    @classmethod
    def drawn(
        cls,
        rng: np.random.Generator,
        lengths: tuple[float, float],
        count: int,
        *,
        sd: float,
        power: float = 1.0,
    ) -> "_Waves":
        """Draw waves of all directions; their size grows with length to the given power."""
        length = np.geomspace(*lengths, count) * rng.uniform(0.85, 1.15, count)
        turn = rng.uniform(0, 2 * np.pi, count)
        number = 2 * np.pi / length[:, None] * np.column_stack([np.cos(turn), np.sin(turn)])
        size = length**power * rng.uniform(0.5, 1.5, count)
        size *= sd / np.sqrt((size**2).sum() / 2)
        return cls(number, rng.uniform(0, 2 * np.pi, count), size)

    def __call__(self, places: Floats) -> Floats:
        east, north = np.ascontiguousarray(places.T)
        total = np.zeros(len(places))
        for (x, y), phase, size in zip(self.number, self.phase, self.size, strict=True):
            total += size * np.sin(x * east + y * north + phase)
        return total


@dataclass(frozen=True, eq=False)
class _Relief:
    """Small relief, weak in some patches and strong in others, its crests bent."""

    waves: _Waves
    patches: _Waves
    bent: tuple[_Waves, _Waves]

    @classmethod
    def drawn(cls, rng: np.random.Generator, sd: float) -> "_Relief":
        """Draw relief of 5 to 100 m wavelength, and patches of 120 to 400 m."""
        return cls(
            _Waves.drawn(rng, (5, 100), 36, sd=sd, power=rng.uniform(0.6, 1.6)),
            _Waves.drawn(rng, (120, 400), 4, sd=rng.uniform(0.2, 0.6)),
            (_Waves.drawn(rng, (25, 80), 3, sd=2.5), _Waves.drawn(rng, (25, 80), 3, sd=2.5)),
        )

    def __call__(self, places: Floats) -> Floats:
        moved = places + np.column_stack([wave(places) for wave in self.bent])
        return self.waves(moved) * np.clip(1 + self.patches(places), 0.2, 2.2)


@dataclass(frozen=True, eq=False)
class _Table:
    """A smooth field: the cubic spline through values on a lattice."""

    corner: Floats
    cell: float
    coefficients: Floats

    @classmethod
    def of(cls, lattice: "_Lattice", values: Floats, *, blur: float = 0.0) -> "_Table":
        """Smooth values of the lattice by a bell of spread `blur` (m), and lay a spline through."""
        from scipy.ndimage import gaussian_filter, spline_filter

        smooth = gaussian_filter(values, blur / lattice.cell, mode="nearest", truncate=3.5)
        return cls(lattice.corner, lattice.cell, spline_filter(smooth, 3, mode="mirror"))

    def __call__(self, places: Floats) -> Floats:
        from scipy.ndimage import map_coordinates

        at = ((places - self.corner) / self.cell).T[::-1]
        return map_coordinates(self.coefficients, at, order=3, mode="mirror", prefilter=False)


@dataclass(frozen=True, eq=False)
class _Lattice:
    """Points of a square lattice over a water: what tables are made on."""

    corner: Floats
    cell: float
    places: Floats  # (rows, cols, 2)
    wet: npt.NDArray[np.bool_]

    @classmethod
    def over(cls, water: Polygon) -> "_Lattice":
        """Lay about 8,000 points in the water, and a margin of four around it."""
        cell = max(2.5, float(np.sqrt(water.area / 8_000)))
        west, south, east, north = water.bounds
        corner = np.array([west, south]) - 4 * cell
        columns, rows = (int(np.ceil(span / cell)) + 9 for span in (east - west, north - south))
        grid = np.stack(np.meshgrid(np.arange(columns), np.arange(rows)), axis=-1)
        places = corner + cell * grid
        wet = shapely.contains_xy(water, places[..., 0], places[..., 1])
        return cls(corner, cell, places, wet)

    def filled(self, values: Floats) -> Floats:
        """Spread values in the water, (n,), to the lattice; land takes those of the nearest."""
        from scipy.ndimage import distance_transform_edt

        full = np.zeros(self.wet.shape)
        full[self.wet] = values
        nearest = distance_transform_edt(~self.wet, return_distances=False, return_indices=True)
        return full[tuple(nearest)]

    def signed(self, away: Floats) -> Floats:
        """Spread distances from shore to the lattice, below 0 on land.

        A blur of them is right up to a straight shore.
        """
        from scipy.ndimage import distance_transform_edt

        full = self.cell * (0.5 - distance_transform_edt(~self.wet))
        full[self.wet] = away
        return full


@dataclass(frozen=True, eq=False)
class _Mound:
    """A hump (height above 0) or hole (below 0), flat-topped by `power` above 1."""

    centre: Floats
    half: Floats  # half of length and of width at half height
    angle: float  # of the long axis, radians from east to north
    height: float
    power: float

    def __call__(self, places: Floats) -> Floats:
        """Return its shape, 1 at its place."""
        east, north = (places - self.centre).T
        cos, sin = np.cos(self.angle), np.sin(self.angle)
        along, across = east * cos + north * sin, north * cos - east * sin
        squared = (along / self.half[0]) ** 2 + (across / self.half[1]) ** 2
        return np.exp(-_LN2 * squared**self.power)


@dataclass(frozen=True, eq=False)
class _Trough:
    """A gully or a submerged river bed along a line, fading out at its ends."""

    line: LineString
    depth: float
    half_width: float
    fade: float
    power: float

    def __call__(self, places: Floats) -> Floats:
        """Return what it takes out of the bed, m."""
        from scipy.spatial import cKDTree

        reach = 2.5 * self.half_width
        # vertices are at most 8 m apart: a tree of them rules out most places in little time
        tree = cKDTree(shapely.get_coordinates(self.line))
        near = np.flatnonzero(tree.query(places, distance_upper_bound=reach + 4)[0] < np.inf)
        away = shapely.distance(self.line, shapely.points(places[near]))
        near, away = near[away < reach], away[away < reach] / self.half_width
        at = shapely.line_locate_point(self.line, shapely.points(places[near]))
        ends = np.minimum(at, self.line.length - at) / self.fade
        shape = np.exp(-_LN2 * away ** (2 * self.power)) * _smooth_step((2.5 - away) / 0.5)
        taken = np.zeros(len(places))
        taken[near] = self.depth * shape * _smooth_step(ends)
        return taken


@dataclass(frozen=True, eq=False)
class _Shelf:
    """Shallow water as far as a lip, and a drop-off behind it, on a part of the shore."""

    inner: Polygon
    edge: LineString  # of `inner`: the lip
    width: float  # of the drop-off
    top: float  # depth at the lip
    middle: Floats
    towards: float
    spread: float  # radians to either side; pi and more: all round

    def share(self, places: Floats) -> Floats:
        """Return 1 where the shelf is, 0 where it is not, and a smooth change at its ends."""
        east, north = (places - self.middle).T
        turn = np.abs((np.arctan2(north, east) - self.towards + np.pi) % (2 * np.pi) - np.pi)
        return 0.5 * (1 + np.tanh((self.spread - turn) / 0.08))

    def __call__(self, places: Floats, distance: Floats, side: Floats) -> Floats:
        """Return the bed with the shelf, given the one without."""
        inside = shapely.contains_xy(self.inner, *places.T)
        away = np.full(len(places), np.inf)
        near = distance < 12 * self.width
        points = shapely.points(places[near & inside])
        away[near & inside] = shapely.distance(self.edge, points)
        fall = np.where(inside, 1 - (1 - np.clip(away / self.width, 0, 1)) ** 1.4, 0)
        top = np.minimum(self.top * (1 - np.exp(-distance / 4)), side)
        return side + self.share(places) * (1 - fall) * (top - side)


@dataclass(frozen=True, eq=False)
class _Step:
    """A step across the floor of a pit, shallower on one side of a slightly bent line."""

    normal: Floats
    offset: float
    swing: float
    length: float
    height: float
    width: float

    def line(self, along: Floats, aside: float) -> Floats:
        """Return places on the lip (aside 0) or the foot (aside the width)."""
        swung = self.offset + self.swing * np.sin(2 * np.pi * along / self.length) + aside
        return swung[:, None] * self.normal + along[:, None] * (-self.normal[1], self.normal[0])

    def __call__(self, places: Floats) -> Floats:
        """Return what it adds to the bed on its shallow side, m."""
        along = places[:, 1] * self.normal[0] - places[:, 0] * self.normal[1]
        past = places[:, 0] * self.normal[0] + places[:, 1] * self.normal[1] - self.offset
        past -= self.swing * np.sin(2 * np.pi * along / self.length)
        return self.height * (1 - np.clip(past / self.width, 0, 1))


@dataclass(frozen=True, eq=False)
class _River:
    """A bed in the river's own coordinates: the way along it, and the way across to the left.

    The cross-section falls from both banks to the thalweg as ``1 - u^q``, u from 0 at the thalweg
    to 1 at the bank. In a bend the thalweg lies near the outer bank, where q is large (a steep
    bank); towards the inner bank q is near 1 (a point bar).
    """

    line: Floats  # (k, 2), a metre apart
    ahead: Floats  # (k, 2), unit tangents
    curvature: Floats  # (k,), 1/m, positive to the left
    left: Floats  # (k,), m to the left bank
    right: Floats
    thalweg: Floats  # (k,), m to the left of the line
    deepest: Floats  # (k,), m, at the thalweg
    bend: Floats  # (k,), -1 to 1, positive to the left

    def __call__(self, places: Floats) -> Floats:
        from scipy.spatial import cKDTree

        nearest = cKDTree(self.line).query(places)[1]
        step = places - self.line[nearest]
        ahead = self.ahead[nearest]
        aside = ahead[:, 0] * step[:, 1] - ahead[:, 1] * step[:, 0]
        rest = (ahead * step).sum(axis=1)  # the nearest point is right to half a metre only
        at = nearest + rest / np.maximum(1 - self.curvature[nearest] * aside, 0.2)
        left, right, thalweg, deepest, bend = (
            np.interp(at, np.arange(len(self.line)), values)
            for values in (self.left, self.right, self.thalweg, self.deepest, self.bend)
        )
        side = np.sign(aside - thalweg)
        width = np.where(side > 0, left - thalweg, right + thalweg)
        power = 2.3 - side * bend * np.where(side * bend > 0, 1.1, 0.9)
        return deepest * (1 - np.clip(np.abs(aside - thalweg) / width, 0, 1) ** power)


@dataclass(frozen=True, eq=False)
class _Bed:
    """All parts of a bed."""

    water: Polygon
    banks: Any  # the edge of the water that is shore
    offshore: _Table | None  # distance from shore without creases
    blur: float
    floor: _Table | None
    slope: _Table | None
    profile: Literal["rounded", "knee", "beach"]
    relief: _Relief
    river: _River | None = None
    wall: float = 0.0
    wall_depth: float = 0.0
    shelf: _Shelf | None = None
    steps: tuple[_Step, ...] = ()
    mounds: tuple[_Mound, ...] = ()
    troughs: tuple[_Trough, ...] = ()

    def __post_init__(self) -> None:
        shapely.prepare([self.water, self.banks])
        shapely.prepare([trough.line for trough in self.troughs])
        if self.shelf:
            shapely.prepare([self.shelf.inner, self.shelf.edge])

    def depth(self, places: Floats) -> Floats:
        """Return the depth at places, (n, 2)."""
        depth = np.zeros(len(places))
        wet = shapely.contains_xy(self.water, *places.T)
        depth[wet] = self._wet(places[wet])
        return depth

    def distance(self, places: Floats) -> Floats:
        """Return the distance from shore; smooth where it would have creases far from it."""
        if self.offshore is None:
            return shapely.distance(self.banks, shapely.points(places))
        smooth = self.offshore(places)
        # beside a small island the smooth distance is too large by up to one spread of the blur
        near = smooth < 2.8 * self.blur
        straight = shapely.distance(self.banks, shapely.points(places[near]))
        share = _smooth_step((straight / self.blur - 0.3) / 1.4)
        smooth[near] = straight + share * (smooth[near] - straight)
        return smooth

    def plain(self, places: Floats, distance: Floats) -> Floats:
        """Return the bed without relief and without what was planted on it."""
        if self.river:
            return self.river(places) * (1 - np.exp(-distance / 0.6))
        assert self.floor is not None
        assert self.slope is not None
        floor, slope = self.floor(places), self.slope(places)
        for step in self.steps:
            floor = floor - step(places)
        if self.wall:
            return _walled(distance, floor, slope, self.wall, self.wall_depth)
        side = _PROFILES[self.profile](distance, floor, slope)
        return self.shelf(places, distance, side) if self.shelf else side

    def _wet(self, places: Floats) -> Floats:
        distance = self.distance(places)
        bed = self.plain(places, distance)
        away = 1 - np.exp(-distance / 6)
        rough = self.relief(places)
        for mound in self.mounds:
            shape = mound(places)
            rough = rough * (1 - 0.7 * shape)
            bed = bed - away * mound.height * shape
        for trough in self.troughs:
            bed = bed + away * trough(places)
        return np.maximum(bed + away * rough, np.minimum(0.02 * distance, 0.25))


def _rounded(distance: Floats, floor: Floats, slope: Floats) -> Floats:
    return floor * np.tanh(slope * distance / floor)


def _knee(distance: Floats, floor: Floats, slope: Floats) -> Floats:
    """Return an even slope down to an even floor, with a bend between them."""
    share = slope * distance / floor
    return floor * share / (1 + share**5) ** 0.2


def _beach(distance: Floats, floor: Floats, slope: Floats) -> Floats:
    """Return a flat beach, a steeper side below it, and the floor."""
    return floor * (1 - np.exp(-((slope * distance / floor) ** 1.6) - 0.15 * distance / floor))


_PROFILES = {"rounded": _rounded, "knee": _knee, "beach": _beach}


def _walled(
    distance: Floats, floor: Floats, slope: Floats, wall: float, wall_depth: float
) -> Floats:
    """Return a vertical wall, slumped ground below it, and the floor of a pit."""
    edge = np.minimum(wall_depth, 0.9 * floor)
    slump = _knee(np.maximum(distance - wall, 0), floor - edge, slope)
    return edge * np.minimum(distance / wall, 1) + slump


def _smooth_step(share: Floats) -> Floats:
    share = np.clip(share, 0, 1)
    return share**2 * (3 - 2 * share)


def _log_uniform(rng: np.random.Generator, low: float, high: float) -> float:
    return float(np.exp(rng.uniform(np.log(low), np.log(high))))


# ---- plans: the shore, and what the bed must know of it -----------------------------------------


@dataclass(frozen=True, eq=False)
class _Plan:
    """The outline of a water, in metres from its origin."""

    water: Polygon
    axes: tuple[Floats, ...] = ()  # middle lines, the trunk first
    nodes: Floats | None = None  # (k, 4) of a valley: place, half width, share of greatest depth
    dam: LineString | None = None
    river: _River | None = None
    ends: MultiLineString | None = None  # open
    beyond: Polygon | None = None  # the water that goes on behind the open ends


def _ring(
    rng: np.random.Generator, *, stretch: float, roughness: float, power: float, waves: int = 9
) -> Floats:
    """Draw a closed line seen whole from its middle, about one in radius."""
    angle = np.linspace(0, 2 * np.pi, 240, endpoint=False)
    order = np.arange(2, waves + 2)
    size = rng.normal(0, 1, waves) * roughness / order**power
    wave = np.cos(order * angle[:, None] + rng.uniform(0, 2 * np.pi, waves))
    radius = np.maximum(1 + (size * wave).sum(axis=1), 0.35)
    ring = np.column_stack([radius * np.cos(angle) * stretch, radius * np.sin(angle) / stretch])
    return _turned(ring, rng.uniform(0, 2 * np.pi))


def _turned(places: Floats, turn: float) -> Floats:
    cos, sin = np.cos(turn), np.sin(turn)
    east, north = places.T
    return np.column_stack([east * cos - north * sin, east * sin + north * cos])


def _roughened(ring: Floats, rng: np.random.Generator, size: float) -> Polygon:
    """Return the polygon of a ring with small bays and points, 15 to 110 m long."""
    line = LineString([*ring, ring[0]])
    count = max(12, round(line.length / VERTEX))
    spaced = np.linspace(0, line.length, count, endpoint=False)
    even = _along_line(shapely.get_coordinates(line), spaced)
    ahead = np.roll(even, -1, axis=0) - np.roll(even, 1, axis=0)
    normal = _left_of(ahead)
    lengths = np.geomspace(15, 110, 7)
    order = np.unique(np.maximum(2, np.round(line.length / lengths)))
    swing = lengths / 110 * rng.uniform(0.3, 1.2, 7)
    phase = rng.uniform(0, 2 * np.pi, 7)
    at = np.linspace(0, 2 * np.pi, count, endpoint=False)[:, None]
    aside = size * np.sin(order * at + phase[: len(order)]) @ swing[::-1][: len(order)]
    return _largest(Polygon(np.round(even + aside[:, None] * normal, 2)))


def _largest(shape: Any) -> Polygon:
    """Return the largest part of a shape, valid and without holes, on whole centimetres."""
    parts = shapely.get_parts(shapely.set_precision(shapely.make_valid(shape), 0.01))
    areas = [part for part in parts if part.geom_type == "Polygon"]
    return Polygon(max(areas, key=lambda part: part.area).exterior)


def _left_of(ahead: Floats) -> Floats:
    """Return the unit vectors to the left of directions."""
    return np.column_stack([-ahead[:, 1], ahead[:, 0]]) / np.hypot(*ahead.T)[:, None]


def _along_line(line: Floats, at: Floats) -> Floats:
    """Return the places at distances along a line."""
    way = np.append(0, np.cumsum(np.hypot(*np.diff(line, axis=0).T)))
    return np.column_stack([np.interp(at, way, values) for values in line.T])


def _scaled(ring: Floats, area: float) -> Floats:
    return ring * np.sqrt(area / Polygon(ring).area)


def _round_plan(rng: np.random.Generator, area: float) -> _Plan:
    ring = _ring(
        rng,
        stretch=rng.uniform(1, 1.35),
        roughness=rng.uniform(0.15, 0.45),
        power=rng.uniform(1, 1.6),
    )
    return _Plan(_roughened(_scaled(ring, area), rng, rng.uniform(0.5, 2.5)))


def _dish_plan(rng: np.random.Generator, area: float) -> _Plan:
    ring = _ring(rng, stretch=rng.uniform(1, 1.4), roughness=rng.uniform(0.05, 0.25), power=1.5)
    return _Plan(_roughened(_scaled(ring, area), rng, rng.uniform(0.3, 1.5)))


def _islands_plan(rng: np.random.Generator, area: float) -> _Plan:
    ring = _ring(rng, stretch=rng.uniform(1, 1.5), roughness=rng.uniform(0.2, 0.5), power=1.2)
    outer = _roughened(_scaled(ring, 1.06 * area), rng, rng.uniform(0.8, 2.5))
    water: Any = outer
    islands: list[Polygon] = []
    wanted, size = int(rng.integers(1, 7)), float(np.sqrt(area))
    for _ in range(60):
        place, radius = _inside(outer, rng), float(rng.uniform(0.03, 0.1) * size)
        shape = _roughened(
            place
            + max(radius, 6) * _ring(rng, stretch=rng.uniform(1, 1.6), roughness=0.3, power=1.3),
            rng,
            0.5,
        )
        if water.buffer(-0.9 * max(radius, 12)).contains(shape):
            islands.append(shape)
            water = water.difference(shape)
        if len(islands) == wanted:
            break
    return _Plan(Polygon(outer.exterior, [island.exterior for island in islands]))


def _inside(water: Polygon, rng: np.random.Generator) -> Floats:
    """Draw a place in the water."""
    west, south, east, north = water.bounds
    places = rng.uniform((west, south), (east, north), (200, 2))
    return places[shapely.contains_xy(water, *places.T)][0]


def _pit_plan(rng: np.random.Generator, area: float) -> _Plan:
    """Draw straight sides with rounded corners, and sometimes a corner that was left standing."""
    stretch = rng.uniform(1, 1.5)
    half = np.array([stretch, 1 / stretch])
    corners = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * half
    shape: Any = Polygon(corners + rng.uniform(-0.25, 0.25, (4, 2)))
    if rng.random() < 0.6:
        corner = corners[rng.integers(4)]
        bite = shapely.box(-0.5, -0.45, 0.5, 0.45)
        shape = shape.difference(shapely.transform(bite, lambda p: _turned(p, 0.2) + corner))
    if rng.random() < 0.5:  # a spit between two fields of digging
        side = int(rng.choice([-1, 1]))
        end = (rng.uniform(-0.3, 0.3), rng.uniform(-0.2, 0.2))
        spit = LineString([(end[0] + rng.uniform(-0.2, 0.2), 2 * side), end])
        shape = shape.difference(spit.buffer(rng.uniform(0.05, 0.12)))
    shape = _largest(shape.buffer(-0.12).buffer(0.2).buffer(-0.08))
    ring = _turned(shapely.get_coordinates(shape.exterior)[:-1], rng.uniform(0, 2 * np.pi))
    return _Plan(_roughened(_scaled(ring, area), rng, rng.uniform(0.15, 0.5)))


def _course(
    rng: np.random.Generator, start: Floats, heading: float, length: float, wobble: float
) -> Floats:
    """Draw a winding line from a place, in steps of a hundredth."""
    at = np.arange(0, length, 0.01)
    order = np.arange(1, 5)
    phase = rng.uniform(0, 2 * np.pi, 4)
    swing = np.sin(2 * np.pi * order * at[:, None] / 1.1 + phase) - np.sin(phase)
    turn = heading + wobble * (swing / order**0.7) @ rng.normal(0, 1, 4).clip(-1.5, 1.5)
    steps = 0.01 * np.column_stack([np.cos(turn), np.sin(turn)])
    return start + np.vstack([[0, 0], np.cumsum(steps, axis=0)[:-1]])


@dataclass(frozen=True, eq=False)
class _Arm:
    """An arm of a valley in units of the trunk's length, from its mouth to its head."""

    line: Floats
    half_width: Floats
    upstream: Floats  # way to the outlet along the valley


def _arm(
    line: Floats, widths: tuple[float, float], upstream: float, swings: tuple[float, float]
) -> _Arm:
    """Return an arm that narrows from its mouth to its head, with `swings` wide places."""
    share = np.linspace(0, 1, len(line))
    width = widths[0] + (widths[1] - widths[0]) * share**0.8
    width = width * (1 + 0.2 * np.sin(2 * np.pi * (share * swings[0] + swings[1])))
    return _Arm(line, width, upstream + 0.01 * np.arange(len(line)))


def _arms(rng: np.random.Generator, trunk: _Arm, at: Floats, length: tuple[float, float]) -> Any:
    """Let arms branch off upstream, now to one side, now to the other."""
    side = int(rng.choice([-1, 1]))
    for share in at:
        k = min(int(share * len(trunk.line)), len(trunk.line) - 2)
        ahead = np.arctan2(*(trunk.line[k + 1] - trunk.line[k])[::-1])
        heading = float(ahead) + side * rng.uniform(0.7, 1.35)
        line = _course(rng, trunk.line[k], heading, rng.uniform(*length), 0.3)
        mouth = float(trunk.half_width[k]) * rng.uniform(0.6, 0.85)
        swings = rng.uniform(1, 3), rng.uniform()
        yield _arm(line, (mouth, 0.5 * mouth), float(trunk.upstream[k]), swings)
        side = -side


def _dendritic_plan(rng: np.random.Generator, area: float) -> _Plan:
    while True:
        plan = _valley_plan(rng, _tree(rng), area, dammed=False)
        if plan is not None:
            return plan


def _tree(rng: np.random.Generator) -> list[_Arm]:
    """Draw a trunk, its arms and their twigs."""
    line = _course(rng, np.zeros(2), 0.0, 1.0, 0.28)
    trunk = _arm(line, (rng.uniform(0.07, 0.1), 0.035), 0.0, (rng.uniform(2, 4), rng.uniform()))
    count = int(rng.integers(4, 8))
    at = np.linspace(0.18, 0.88, count) + rng.uniform(-0.04, 0.04, count)
    arms = list(_arms(rng, trunk, at, (0.2, 0.42)))
    twigs = [
        twig
        for arm in arms
        if len(arm.line) > 26
        for twig in _arms(rng, arm, rng.uniform(0.4, 0.75, 1), (0.12, 0.2))
    ]
    return [trunk, *arms, *twigs]


def _flooded_plan(rng: np.random.Generator, area: float) -> _Plan:
    while True:
        line = _course(rng, np.zeros(2), 0.0, 1.0, 0.3)
        widths = rng.uniform(0.1, 0.15), rng.uniform(0.03, 0.045)
        trunk = _arm(line, widths, 0.0, (rng.uniform(1.5, 3.5), rng.uniform()))
        count = int(rng.integers(1, 4))
        bays = _arms(rng, trunk, np.sort(rng.uniform(0.15, 0.7, count)), (0.16, 0.3))
        plan = _valley_plan(rng, [trunk, *bays], area, dammed=True)
        if plan is not None:
            return plan


def _valley_plan(
    rng: np.random.Generator, arms: list[_Arm], area: float, *, dammed: bool
) -> _Plan | None:
    """Drown the arms: their outline, smoothed; the depth grows towards the outlet.

    None where arms meet again and would close a ring.
    """
    turn = rng.uniform(0, 2 * np.pi)
    nodes = np.vstack([np.column_stack([arm.line, arm.half_width, arm.upstream]) for arm in arms])
    shape = shapely.union_all(
        shapely.buffer(shapely.points(nodes[:, :2]), nodes[:, 2], quad_segs=6)
    )
    scale = float(np.sqrt(area / shape.area))
    shape = shapely.transform(shape, lambda places: _turned(places, turn) * scale)
    gentle = 0.5 * scale * float(nodes[:, 2].min())
    shape = shape.buffer(gentle).buffer(-2 * gentle).buffer(gentle)
    smooth = _largest(shape)
    if smooth.area > 1.002 * shape.area:
        return None
    ring = shapely.get_coordinates(smooth.exterior)[:-1]
    water = _roughened(ring, rng, min(rng.uniform(0.6, 2.5), 0.2 * gentle))
    share = (1 - nodes[:, 3] / (1.08 * nodes[:, 3].max())) ** rng.uniform(0.7, 1.2)
    nodes = np.column_stack([_turned(nodes[:, :2], turn) * scale, nodes[:, 2] * scale, share])
    axes = tuple(_turned(arm.line, turn) * scale for arm in arms)
    dam = None
    if dammed:
        water, dam = _dammed(water, axes[0], float(nodes[0, 2]))
    return _Plan(water, axes, nodes, dam)


def _dammed(water: Polygon, trunk: Floats, half_width: float) -> tuple[Polygon, LineString]:
    """Cut the water straight off behind the mouth of its valley."""
    ahead = (trunk[1] - trunk[0]) / np.hypot(*(trunk[1] - trunk[0]))
    aside = np.array([-ahead[1], ahead[0]])
    crest = LineString([trunk[0] - 3 * half_width * aside, trunk[0] + 3 * half_width * aside])
    behind = np.array([crest.coords[0], crest.coords[1]])
    land = Polygon([*behind, *(behind - 3 * half_width * ahead)[::-1]])
    kept = _largest(water.difference(land))
    return kept, crest.intersection(water)


def _river_plan(rng: np.random.Generator, area: float) -> _Plan:
    """Draw a sine-generated river; straighten it until it does not cross itself."""
    width = float(np.sqrt(area / rng.uniform(14, 40)))
    bend = rng.uniform(0.6, 1.6)
    while True:
        river = _river(rng, width, area / width, bend)
        plan = _banked(river, rng)
        if plan is not None:
            return plan
        bend *= 0.85


def _river(rng: np.random.Generator, width: float, length: float, bend: float) -> _River:
    """Draw a river, 20 m longer at both ends.

    Notes
    -----
    The heading of a meander is a sine of the way along it (Langbein and Leopold 1966, from
    memory), its wave about twelve widths along the valley.
    """
    at = np.arange(0, length + 40)
    wave = 11 * width * (1 + 0.25 * bend**2) * rng.uniform(0.9, 1.2)
    pace = _along(rng, at, (3 * wave, 6 * wave), 0.25)
    phase = np.cumsum(2 * np.pi / wave * (1 + pace)) + rng.uniform(0, 2 * np.pi)
    swing = bend * (1 + _along(rng, at, (2 * wave, 5 * wave), 0.2))
    heading = swing * np.sin(phase) + _along(rng, at, (4 * wave, 8 * wave), 0.25)
    heading += rng.uniform(0, 2 * np.pi)
    ahead = np.column_stack([np.cos(heading), np.sin(heading)])
    line = np.cumsum(ahead, axis=0)
    curvature = np.gradient(heading)
    # the flow follows the bend with a lag of about half a width
    lagged = np.interp(at - 0.5 * width, at, curvature)
    turn = np.tanh(1.4 * lagged * width * 3)
    half = width / 2 * (1 + _along(rng, at, (6 * width, 20 * width), 0.1) + 0.08 * turn**2)
    left, right = (half + _along(rng, at, (3 * width, 9 * width), 0.02 * width) for _ in range(2))
    depth = min(_log_uniform(rng, *_GREATEST["river reach"]), 0.6 + 0.08 * width)
    pools = 0.45 + 0.45 * turn**2 + _along(rng, at, (4 * width, 8 * width), 0.08)
    thalweg = -0.52 * turn * half + _along(rng, at, (3 * width, 9 * width), 0.05 * width)
    return _River(
        line, ahead, curvature, left, right, thalweg, depth * np.maximum(pools, 0.25), turn
    )


def _along(rng: np.random.Generator, at: Floats, lengths: tuple[float, float], sd: float) -> Floats:
    """Return a smooth random change along a line."""
    length = np.geomspace(*lengths, 5)
    waves = np.sin(2 * np.pi * at[:, None] / length + rng.uniform(0, 2 * np.pi, 5))
    return sd * np.sqrt(2 / 5) * waves.sum(axis=1)


def _banked(river: _River, rng: np.random.Generator) -> _Plan | None:
    """Return the water between the banks, open at both ends; None where it would cross itself."""
    normal = _left_of(river.ahead)
    at = np.arange(len(river.line), dtype=float)
    sides = [
        half + _along(rng, at, (12, 50), min(0.4, 0.02 * float(half.mean())))
        for half in (river.left, -river.right)
    ]
    left, right = (np.round(river.line + side[:, None] * normal, 2) for side in sides)
    every = np.arange(0, len(left), 4)
    whole = Polygon([*left[every], *right[every][::-1]])
    reach = every[5:-5]
    water = Polygon([*left[reach], *right[reach][::-1]])
    if not (whole.is_valid and water.is_valid):
        return None
    ends = MultiLineString([[left[k], right[k]] for k in (reach[0], reach[-1])])
    return _Plan(water, (river.line[reach],), river=river, ends=ends, beyond=whole)


_PLANS: dict[Kind, Callable[[np.random.Generator, float], _Plan]] = {
    "round": _round_plan,
    "dendritic": _dendritic_plan,
    "islands": _islands_plan,
    "flooded valley": _flooded_plan,
    "gravel pit": _pit_plan,
    "dish": _dish_plan,
    "river reach": _river_plan,
}


def _shoreline(plan: _Plan, origin: Floats) -> Shoreline:
    moved = shapely.transform(plan.water, lambda places: places + origin)
    shore = Shoreline(shapely.MultiPolygon([moved]), _crs())
    if plan.ends is None:
        return shore
    ends = shapely.transform(plan.ends, lambda places: places + origin)
    return replace(shore, open_edges=ends)


@functools.cache
def _crs() -> "CRS":
    from pyproj import CRS

    return CRS.from_epsg(32633)


# ---- beds ---------------------------------------------------------------------------------------


def _made_bed(kind: Kind, plan: _Plan, rng: np.random.Generator) -> _Bed:
    """Make the bed of a plan, without planted features."""
    relief = _relief(kind, rng)
    if plan.river:
        assert plan.beyond is not None
        left, right = _bank_lines(plan.beyond)
        return _Bed(
            plan.beyond, shapely.MultiLineString([left, right]), None, 1.0, None, None,
            "knee", relief, plan.river,
        )  # fmt: skip
    lattice, banks = _Lattice.over(plan.water), plan.water.boundary
    shapely.prepare(banks)
    wet = lattice.places[lattice.wet]
    away = shapely.distance(banks, shapely.points(wet))
    blur = max(1.6 * lattice.cell, 0.08 * float(away.max()))
    greatest = _greatest(kind, float(away.max()), rng)
    if plan.nodes is None:
        floor = _floor(kind, wet, away, greatest, rng)
        slope = _slope(kind, wet, greatest, float(away.max()), rng)
        slope *= _of_islands(plan.water, wet, rng)
        if kind != "gravel pit":
            slope = np.minimum(slope, 0.7)
    else:
        floor, slope = _valley(plan, wet, greatest, rng)
    smooth = max(8.0, blur)
    bed = _Bed(
        plan.water,
        banks,
        _Table.of(lattice, lattice.signed(away), blur=blur),
        blur,
        _Table.of(lattice, lattice.filled(floor), blur=smooth),
        _Table.of(lattice, lattice.filled(slope), blur=1.6 * smooth),
        _PROFILE_NAMES[int(rng.integers(3))],
        relief,
    )
    return _walled_bed(bed, plan.water, greatest, rng) if kind == "gravel pit" else bed


_PROFILE_NAMES: tuple[Literal["rounded", "knee", "beach"], ...] = ("rounded", "knee", "beach")


def _bank_lines(beyond: Polygon) -> tuple[Floats, Floats]:
    """Return the left and the right bank of a river that goes on behind its open ends."""
    ring = shapely.get_coordinates(beyond.exterior)[:-1]
    return ring[: len(ring) // 2], ring[len(ring) // 2 :]


def _relief(kind: Kind, rng: np.random.Generator) -> _Relief:
    """Draw the small relief that is usual for a kind."""
    low, high = {
        "dish": (0.015, 0.06),
        "gravel pit": (0.08, 0.35),
        "river reach": (0.05, 0.15),
    }.get(kind, (0.06, 0.4))
    return _Relief.drawn(rng, _log_uniform(rng, low, high))


def _greatest(kind: Kind, widest: float, rng: np.random.Generator) -> float:
    """Draw the greatest depth; narrow water is no deeper than its sides allow."""
    low, high = _GREATEST[kind]
    limit = high if kind == "gravel pit" else 2 + 0.2 * widest
    return _log_uniform(rng, low, max(min(high, limit), 1.2 * low))


def _floor(
    kind: Kind, wet: Floats, away: Floats, greatest: float, rng: np.random.Generator
) -> Floats:
    """Return the depth that the sides run out to: basins in an uneven floor."""
    span = float(np.sqrt(len(wet)) and np.ptp(wet, axis=0).max())
    uneven = _Waves.drawn(rng, (0.35 * span, 1.2 * span), 6, sd=1.0, power=0.7)(wet)
    if kind in ("dish", "gravel pit"):
        return greatest * (0.93 + (0.02 if kind == "dish" else 0.04) * uneven)
    basins = np.zeros(len(wet))
    for weight in (1.0, *rng.uniform(0.3, 0.9, int(rng.integers(0, 3)))):
        far = np.flatnonzero(away > 0.45 * away.max())
        centre, reach = wet[rng.choice(far)], rng.uniform(0.12, 0.35) * span
        basins = np.maximum(
            basins, weight * np.exp(-((wet - centre) ** 2).sum(axis=1) / 2 / reach**2)
        )
    flat = rng.uniform(0.35, 0.75)
    floor = flat + (1 - flat) * basins + 0.09 * uneven
    return greatest * np.maximum(floor, 0.2) / floor.max()


def _slope(
    kind: Kind, wet: Floats, greatest: float, widest: float, rng: np.random.Generator
) -> Floats:
    """Return the slope of the sides, which changes along the shore."""
    change = _Waves.drawn(rng, (60, 350), 8, sd=rng.uniform(0.25, 0.55), power=0.8)(wet)
    middle = {
        "dish": max(rng.uniform(0.06, 0.2), 3.5 * greatest / widest),
        "gravel pit": rng.uniform(0.4, 1.5),
    }.get(kind, min(max(_log_uniform(rng, 0.08, 0.3), 1.6 * greatest / widest), 0.5))
    return middle * np.exp(np.clip(change, -1.2, 0.9))


def _of_islands(water: Polygon, wet: Floats, rng: np.random.Generator) -> Floats:
    """Return by how much the sides of each island are steeper or flatter than the shore's."""
    rings = [water.exterior, *water.interiors]
    if len(rings) == 1:
        return np.ones(len(wet))
    factor = np.array([1.0, *np.exp(rng.normal(0, 0.5, len(rings) - 1))])
    for ring in rings:
        shapely.prepare(ring)
    points = shapely.points(wet)
    away = np.stack([shapely.distance(ring, points) for ring in rings])
    return factor[away.argmin(axis=0)]


def _valley(
    plan: _Plan, wet: Floats, greatest: float, rng: np.random.Generator
) -> tuple[Floats, Floats]:
    """Return floor and slope of a drowned valley: its sides reach the floor before its middle."""
    from scipy.spatial import cKDTree

    assert plan.nodes is not None
    nearest = cKDTree(plan.nodes[:, :2]).query(wet)[1]
    uneven = _Waves.drawn(rng, (80, 400), 8, sd=0.07)(wet)
    floor = greatest * np.clip(plan.nodes[nearest, 3] + uneven, 0.1, 1.05)
    change = _Waves.drawn(rng, (50, 300), 8, sd=rng.uniform(0.2, 0.45))(wet)
    slope = floor / (rng.uniform(0.5, 0.8) * plan.nodes[nearest, 2]) * np.exp(change)
    slope = np.clip(slope, 0.03, 0.6)
    if plan.dam is not None:
        near = np.exp(-((shapely.distance(plan.dam, shapely.points(wet)) / 20) ** 2))
        slope += near * (0.4 - slope)
    return floor, slope


def _walled_bed(bed: _Bed, water: Polygon, greatest: float, rng: np.random.Generator) -> _Bed:
    """Give a pit its wall, and steps where it was dug in stages."""
    half = 0.5 * float(np.sqrt(water.area))
    middle = shapely.get_coordinates(water.centroid)[0]
    steps, turn, left = [], rng.uniform(0, 2 * np.pi), 0.4 * greatest
    for _ in range(int(rng.integers(0, 4))):
        turn += rng.uniform(0.6, 1.8)
        height = float(rng.uniform(1.2, 3.5))
        if height > left:
            break
        left -= height
        normal = np.array([np.cos(turn), np.sin(turn)])
        offset = float(normal @ middle) - rng.uniform(0.0, 0.6) * half
        swing, length = rng.uniform(1, 5), rng.uniform(60, 160)
        steps.append(_Step(normal, offset, swing, length, height, height * rng.uniform(0.6, 1.6)))
    wall_depth = min(float(rng.uniform(4, 10)), 0.85 * greatest)
    return replace(bed, steps=tuple(steps), wall=float(rng.uniform(0.5, 1)), wall_depth=wall_depth)


# ---- planted features ---------------------------------------------------------------------------


def _with_features(
    kind: Kind, plan: _Plan, bed: _Bed, rng: np.random.Generator
) -> tuple[_Bed, list[Feature]]:
    """Plant what belongs on such a bed."""
    if kind in ("round", "islands") and rng.random() < 0.6:
        bed = _with_shelf(bed, rng)
    if kind in ("dendritic", "flooded valley"):
        bed = replace(bed, troughs=_old_rivers(kind, plan, rng))
    elif kind in ("round", "islands", "dish") and rng.random() < 0.6:
        bed = replace(bed, troughs=_inflow(bed, rng))
    humps, holes = {
        "islands": (int(rng.integers(1, 5)), int(rng.integers(0, 2))),
        "dish": (0, int(rng.integers(0, 2))),
        "gravel pit": (0, int(rng.integers(0, 3))),
        "river reach": (int(rng.integers(0, 2)), int(rng.integers(1, 4))),
    }.get(kind, (int(rng.integers(0, 3)), int(rng.integers(0, 3))))
    if kind == "gravel pit":
        bed = replace(bed, mounds=_spoil(bed, rng))
    for sign in [1] * humps + [-1] * holes:
        bed = replace(bed, mounds=(*bed.mounds, *_mound(kind, plan.water, bed, rng, sign)))
    return bed, list(_features(bed))


def _with_shelf(bed: _Bed, rng: np.random.Generator) -> _Bed:
    """Lay a shelf before the outer shore, its lip a line of its own."""
    assert bed.offshore is not None
    widest = float(bed.offshore.coefficients.max())
    outer = Polygon(bed.water.exterior)
    inner = _largest(outer.buffer(-min(rng.uniform(12, 35), 0.4 * widest)))
    gentle = _largest(inner.buffer(-8).buffer(16).buffer(-8))
    lip = _roughened(shapely.get_coordinates(gentle.exterior)[:-1], rng, rng.uniform(0.8, 2))
    return replace(
        bed,
        shelf=_Shelf(
            lip,
            lip.exterior,
            float(rng.uniform(6, 12)),
            float(rng.uniform(0.8, 2.2)),
            shapely.get_coordinates(lip.centroid)[0],
            rng.uniform(-np.pi, np.pi),
            float(rng.choice([rng.uniform(0.5, 1.8), 4.0], p=[0.75, 0.25])),
        ),
    )


def _old_rivers(kind: Kind, plan: _Plan, rng: np.random.Generator) -> tuple[_Trough, ...]:
    """Return the drowned beds of the river, winding in its valley, and of its brooks."""
    troughs: list[_Trough] = []
    assert plan.nodes is not None
    for number, axis in enumerate(plan.axes[: 1 if kind == "flooded valley" else 3]):
        line = LineString(axis)
        at = np.arange(0, line.length, 4.0)
        places = _along_line(axis, at)
        ahead = np.gradient(places, axis=0)
        normal = _left_of(ahead)
        narrow = float(plan.nodes[:, 2].min())
        aside = _along(rng, at, (90, 320), min(0.5 * narrow, 10.0))
        aside *= np.minimum(1, at / 40) if number else 1.0
        bent = LineString(places + aside[:, None] * normal)
        size = 1.0 if number == 0 else 0.6
        depth, half = size * rng.uniform(1.0, 2.8), max(3.5, size * rng.uniform(4, 9))
        troughs.append(_Trough(bent, float(depth), float(half), 40.0, rng.uniform(1, 2)))
    return tuple(troughs)


def _inflow(bed: _Bed, rng: np.random.Generator) -> tuple[_Trough, ...]:
    """Return the gully of a brook, from near the shore towards the middle."""
    outer = Polygon(bed.water.exterior)
    inner = _largest(outer.buffer(-min(12.0, 0.05 * float(np.sqrt(outer.area)))))
    middle = shapely.get_coordinates(inner.representative_point())[0]
    for _ in range(12):
        edge = shapely.get_coordinates(inner.exterior)
        start = edge[rng.integers(len(edge))]
        way = middle - start
        share = np.linspace(0, rng.uniform(0.6, 1), 80)[:, None]
        bow = rng.normal(0, 0.12) * np.sin(np.pi * share) + rng.normal(0, 0.04) * np.sin(7 * share)
        places = start + share * way + bow * (-way[1], way[0])
        line = LineString(places)
        if line.length > 60 and bed.water.buffer(-8).contains(line):
            at_end = bed.depth(places[-1:])
            depth = float(np.clip(rng.uniform(0.25, 0.5) * at_end[0], 0.7, 3))
            return (_Trough(line, depth, float(rng.uniform(4, 10)), 20.0, rng.uniform(1, 1.6)),)
    return ()


def _spoil(bed: _Bed, rng: np.random.Generator) -> tuple[_Mound, ...]:
    """Return ridges of spoil side by side on the floor of a pit."""
    count = int(rng.integers(0, 5))
    angle, gap = rng.uniform(0, np.pi), rng.uniform(14, 24)
    aside = gap * np.array([-np.sin(angle), np.cos(angle)])
    height = float(rng.uniform(1.2, 3.2))
    size = float(np.sqrt(bed.water.area))
    for _ in range(20):
        half = np.array([rng.uniform(0.06, 0.14) * size, rng.uniform(3, 5)])
        start = _inside(bed.water, rng)
        ridges = [
            _Mound(start + k * aside, half, angle, height * rng.uniform(0.8, 1.2), 1.5)
            for k in range(count)
        ]
        rims = np.vstack([start, *(_rim(ridge, share) for ridge in ridges for share in (1.3, 2.0))])
        ground = bed.depth(rims)  # 0 on land
        if ground.min() > 1.8 * height and np.ptp(ground) < 0.6 * height:
            return tuple(ridges)
    return ()


def _rim(mound: _Mound, share: float) -> Floats:
    """Return 16 places around a mound, at a share of its half size."""
    angle = np.linspace(0, 2 * np.pi, 16, endpoint=False)
    ellipse = share * np.column_stack([np.cos(angle), np.sin(angle)]) * mound.half
    return mound.centre + _turned(ellipse, mound.angle)


def _mound(
    kind: Kind, water: Polygon, bed: _Bed, rng: np.random.Generator, sign: int
) -> list[_Mound]:
    """Return a hump or a hole where it stands alone on even ground, if there is such a place."""
    west, south, east, north = water.bounds
    tries = 120
    low, high = (3.5, 8.0) if kind == "river reach" else (6.0, 18.0)
    half = rng.uniform(low, high, tries)
    stretch, turn, power = rng.uniform([1, 0, 1], [1.8, np.pi, 2], (tries, 3)).T
    place = rng.uniform((west, south), (east, north), (tries, 2))
    share = rng.uniform(0.35, 0.7, tries) if sign > 0 else rng.uniform(0.25, 0.6, tries)
    shapes = [
        _Mound(place[k], half[k] * np.array([stretch[k], 1]), float(turn[k]), 1.0, float(power[k]))
        for k in range(tries)
    ]
    around = np.stack([np.vstack([[one.centre], _rim(one, 1), _rim(one, 1.9)]) for one in shapes])
    ground = bed.depth(around.reshape(-1, 2)).reshape(tries, -1)
    middle, room = ground[:, 0], 9.0 if sign > 0 else 24 - ground.max(axis=1)
    height = np.minimum(np.minimum(share * middle, 0.45 * half), room)
    even = (np.ptp(ground, axis=1) < 0.5 * height) & (ground.min(axis=1) > 0.6 * middle)
    # a river's bed goes on behind its open ends, but nothing is planted there
    inside = shapely.contains_xy(water, around[..., 0], around[..., 1]).all(axis=1)
    for k in np.flatnonzero(even & inside & (height > 0.6)):
        if _free(bed, shapes[k]):
            return [replace(shapes[k], height=float(sign * height[k]))]
    return []


def _free(bed: _Bed, shape: _Mound) -> bool:
    """Tell whether a mound would stand clear of what was planted before."""
    reach = float(shape.half.max())
    point = shapely.Point(shape.centre)
    return all(
        np.hypot(*(shape.centre - other.centre)) > 1.9 * (reach + other.half.max())
        for other in bed.mounds
    ) and all(
        shapely.distance(trough.line, point) > 1.5 * reach + 2 * trough.half_width
        for trough in bed.troughs
    )


def _features(bed: _Bed) -> Iterator[Feature]:
    """Yield what was planted, with the true depth at its place."""
    for mound in bed.mounds:
        length, width = 2 * mound.half
        yield Feature(
            "hump" if mound.height > 0 else "hole",
            _pair(mound.centre),
            float(bed.depth(mound.centre[None])[0]),
            abs(mound.height),
            float(length),
            float(width),
            float(90 - np.degrees(mound.angle)) % 180,
        )
    for trough in bed.troughs:
        middle = shapely.get_coordinates(trough.line.interpolate(0.5, normalized=True))
        yield Feature(
            "gully",
            _pair(middle[0]),
            float(bed.depth(middle)[0]),
            trough.depth,
            float(trough.line.length - trough.fade),
            2 * trough.half_width,
            line=trough.line,
        )
    for lip, foot, width in [*_shelf_lines(bed), *_step_lines(bed)]:
        drop = bed.depth(foot) - bed.depth(lip)
        if np.median(drop) < LEAST_DROP:
            continue
        line = LineString(lip)
        middle = shapely.get_coordinates(line.interpolate(0.5, normalized=True))
        yield Feature(
            "drop-off",
            _pair(middle[0]),
            float(bed.depth(middle)[0]),
            float(np.median(drop)),
            float(line.length),
            width,
            line=line,
            foot=LineString(foot),
        )


def _pair(place: Floats) -> tuple[float, float]:
    return float(place[0]), float(place[1])


def _shelf_lines(bed: _Bed) -> Iterator[tuple[Floats, Floats, float]]:
    """Yield lip and foot of the shelf where it is fully there and drops off enough."""
    if bed.shelf is None:
        return
    ring = shapely.get_coordinates(bed.shelf.inner.exterior)[:-1]
    ahead = np.roll(ring, -1, axis=0) - np.roll(ring, 1, axis=0)
    normal = _left_of(ahead)
    if not bed.shelf.inner.exterior.is_ccw:
        normal = -normal
    foot = ring + bed.shelf.width * normal
    drop = bed.depth(foot) - bed.depth(ring)
    drop = np.mean([np.roll(drop, k) for k in range(-2, 3)], axis=0)
    afloat = np.minimum(bed.depth(ring), bed.depth(foot)) > 0.3
    for run in _runs((bed.shelf.share(ring) > 0.9) & afloat & (drop > LEAST_DROP)):
        if len(run) >= 10:
            yield ring[run], foot[run], bed.shelf.width


def _runs(which: npt.NDArray[np.bool_]) -> Iterator[npt.NDArray[np.intp]]:
    """Yield the runs of True around a ring, as indices."""
    if which.all():
        yield np.arange(len(which))
        return
    start = int(np.flatnonzero(~which)[0])
    order = (np.arange(len(which)) + start) % len(which)
    edges = np.flatnonzero(np.diff(np.concatenate([[0], which[order], [0]])))
    for first, last in edges.reshape(-1, 2):
        yield order[first:last]


def _step_lines(bed: _Bed) -> Iterator[tuple[Floats, Floats, float]]:
    """Yield lip and foot of the steps of a pit, away from its walls."""
    if not bed.steps:
        return
    clear = bed.water.buffer(-6)
    reach = float(np.abs(bed.water.bounds).max()) * 2
    for step in bed.steps:
        along = np.arange(-reach, reach, 3.0)
        lip, foot = step.line(along, 0.0), step.line(along, step.width)
        inside = shapely.contains_xy(clear, *lip.T) & shapely.contains_xy(clear, *foot.T)
        for run in _runs(inside):
            if len(run) >= 17:
                yield lip[run], foot[run], step.width


def _moved(feature: Feature, origin: Floats) -> Feature:
    """Return the feature in eastings and northings."""

    def move(line: LineString | None) -> LineString | None:
        return line and shapely.transform(line, lambda places: places + origin)

    return replace(
        feature,
        place=_pair(np.add(feature.place, origin)),
        line=move(feature.line),
        foot=move(feature.foot),
    )


# ---- surveys ------------------------------------------------------------------------------------

TRACK_SPACING = (25.0, 60.0)  # m, between lines
TRACK_NOISE = (0.05, 0.10)  # m, one standard deviation, of each ping for itself
TRACK_OFFSET = (0.03, 0.05)  # m, of a line as a whole
TRACK_POSITION = (1.0, 2.0)  # m, on each axis
TRACK_MEMORY = 100.0  # s, in which the correlation of the position error falls to 1/e
BOAT_SPEED, BOAT_PING = 1.2, 0.85  # m/s, s
BOAT_WATER, FLOAT_WATER = 0.7, 0.5  # m, the least water in which there are readings
CAST_REACH, CAST_PING, CAST_SPEED = (30.0, 80.0), 0.6, 0.6  # m, m, m/s
CAST_BEARING = (3.0, 5.0)  # degrees, of a cast as a whole
CAST_STRETCH = (0.02, 0.04)  # share of the distance, of a cast as a whole
CAST_PEG = 0.5  # m, on each axis, of a peg as a whole
CAST_OFFSET, CAST_NOISE = 0.03, 0.10  # m, of a cast as a whole, of each ping
POINT_COUNT = (40, 120)
POINT_NOISE, POINT_POSITION = (0.05, 0.10), 2.0  # m

ASHORE = "ashore"


def survey(lake: Lake, style: Style, seed: int) -> Soundings:
    """Sound a lake, with the errors of the method.

    Parameters
    ----------
    lake : Lake
        What to sound.
    style : Style
        "tracks and casts", "casts" or "points".
    seed : int
        Same seed, same bits.

    Returns
    -------
    Soundings
        At the places where the surveyor believes to have been; those believed ashore are flagged
        "ashore". Columns beside the usual: ``sd_shared`` (m, the part of ``sd`` that a line has in
        common); of casts ``sd_along``, ``sd_across`` (m), ``bearing`` (as noted, degrees true);
        ``true_easting``, ``true_northing``, for judging alone.

    Notes
    -----
    Spreads are one standard deviation, normal, drawn once for a survey where a range is given.
    ``sd`` is the root of the summed squares of a line's own offset and a ping's own noise.

    - Tracks: lines 25 to 60 m apart (never less than four lines) across the long axis, or across
      the river, and one to three tie lines; a boat of 1.2 m/s that wiggles by some metres, a ping
      every 0.85 s where there is 0.7 m of water. Noise 0.05 to 0.10 m, one offset of 0.03 to
      0.05 m a line; the position errs by 1 to 2 m on each axis, correlated as exp(-t / 100 s)
      through the whole survey.
    - Casts: 20 to 60 in fans of three to six from pegs on the bank, which may leave a part of the
      shore out; reach 30 to 80 m, a ping every 0.6 m where there is 0.5 m of water. Noise 0.10 m,
      one offset of 0.03 m a cast; one bearing error of 3 to 5 degrees and one stretch of 2 to 4 %
      of the distance a cast; pegs err by 0.5 m on each axis. ``sd_across`` is the root of
      (distance x bearing)^2 + peg^2, ``sd_along`` that of (distance x stretch)^2 + peg^2, and
      ``sd_xy`` the root mean square of the two. A cast that flies askew falls short along its
      bearing by distance x (1 - cos error): 0.1 m on average, which no spread tells.
    - Points: 40 to 120, roughly even, with gaps; noise 0.05 to 0.10 m, the position errs by 2 m
      on each axis; no lines.
    """
    rng = np.random.default_rng([seed, lake.seed, STYLES.index(style)])
    if style == "points":
        soundings = _points(lake, rng)
    elif style == "casts":
        soundings = _casts(lake, rng)
    else:
        soundings = Soundings.joined([_tracks(lake, rng), _casts(lake, rng)])
    return soundings.reject(~lake.shoreline.contains(soundings.coordinates), ASHORE)


def _sounded(
    lake: Lake, true: Floats, believed: Floats, depth: Floats, **columns: Any
) -> Soundings:
    return Soundings.from_arrays(
        believed,
        depth,
        crs=lake.shoreline.crs,
        true_easting=true[:, 0],
        true_northing=true[:, 1],
        **columns,
    )


def _times(start: str, seconds: Floats) -> Any:
    import pandas as pd

    return pd.Timestamp(start, tz="UTC") + pd.to_timedelta(np.round(seconds, 2), unit="s")


def _tracks(lake: Lake, rng: np.random.Generator) -> Soundings:
    """Sound along lines from a boat."""
    noise, offset, position = (
        rng.uniform(*span) for span in (TRACK_NOISE, TRACK_OFFSET, TRACK_POSITION)
    )
    courses = [_steered(line, rng) for line in _planned(lake, rng)]
    places = np.vstack(courses)
    depth = lake.depth(places)
    afloat = lake.shoreline.contains(places) & (depth > BOAT_WATER)
    course = np.repeat(np.arange(len(courses)), [len(line) for line in courses])
    starts = np.diff(np.concatenate([[0], afloat])) != 0
    starts |= np.diff(np.concatenate([[-1], course])) != 0
    run = np.cumsum(starts) - 1
    long = np.bincount(run)[run] >= 12
    rows = np.flatnonzero(afloat & long)
    _, line = np.unique(run[rows], return_inverse=True)
    count = int(line.max()) + 1
    # a minute or so to turn, in which the error of the position goes on
    tick = np.arange(len(rows)) + np.cumsum(rng.integers(40, 110, count))[line]
    wander = np.column_stack([_correlated(rng, int(tick[-1]) + 1)[tick] for _ in range(2)])
    shared = rng.normal(0, offset, count)[line]
    return _sounded(
        lake,
        places[rows],
        places[rows] + position * wander,
        depth[rows] + shared + rng.normal(0, noise, len(rows)),
        line=np.char.add("track ", (line + 1).astype(str)).astype(object),
        source="track",
        sd=float(np.hypot(noise, offset)),
        sd_shared=offset,
        sd_xy=position,
        time=_times("2026-05-12T08:00", BOAT_PING * tick),
    )


def _correlated(rng: np.random.Generator, count: int) -> Floats:
    """Return a stationary series of spread 1, a value a ping, that forgets in `TRACK_MEMORY`."""
    from scipy.signal import lfilter

    keep = float(np.exp(-BOAT_PING / TRACK_MEMORY))
    push = rng.normal(0, np.sqrt(1 - keep**2), count)
    push[0] = rng.normal()
    return lfilter([1.0], [1.0, -keep], push)


def _planned(lake: Lake, rng: np.random.Generator) -> list[Floats]:
    """Return the lines of a boat: across the water, then the ties."""
    if lake.kind == "river reach":
        return _across_river(lake, rng)
    box = shapely.minimum_rotated_rectangle(lake.shoreline.polygons)
    corners = shapely.get_coordinates(box)[:4]
    sides = corners[1] - corners[0], corners[2] - corners[1]
    long, short = sorted(sides, key=lambda side: -float(np.hypot(*side)))
    middle, length = corners.mean(axis=0), float(np.hypot(*long))
    spacing = min(rng.uniform(*TRACK_SPACING), length / 4.5)
    count = int(length / spacing)
    at = (np.arange(count) - (count - 1) / 2 + rng.uniform(-0.25, 0.25)) * spacing / length
    lines = [
        middle + share * long + side * short
        for k, share in enumerate(at)
        for side in [np.array([[-0.5], [0.5]]) * (-1) ** k]
    ]
    if lake.axis is not None:
        return [*lines, *(shapely.get_coordinates(line) for line in list(lake.axis.geoms)[:3])]
    ties = np.linspace(-0.5, 0.5, 4)[1:3] if rng.random() < 0.5 else [rng.uniform(-0.1, 0.1)]
    half = np.array([[-0.5], [0.5]])
    return [*lines, *(middle + tie * short + half * long for tie in ties)]


def _across_river(lake: Lake, rng: np.random.Generator) -> list[Floats]:
    """Return lines from bank to bank, slightly askew, and a tie along each side of the river."""
    assert lake.axis is not None
    axis = lake.axis.geoms[0]
    reach = 0.75 * lake.shoreline.polygons.area / axis.length
    at = np.arange(rng.uniform(8, 20), axis.length - 5, rng.uniform(*TRACK_SPACING))
    places = shapely.get_coordinates(axis.interpolate(at))
    ahead = shapely.get_coordinates(axis.interpolate(at + 2)) - places
    normal = _left_of(ahead)
    normal += 0.15 * rng.normal(0, 1, len(at))[:, None] * ahead / 2
    sides = np.array([[-reach], [reach]])
    lines = [
        place + sides * (-1) ** k * way
        for k, (place, way) in enumerate(zip(places, normal, strict=True))
    ]
    ties = [shapely.offset_curve(axis, share * reach) for share in (-0.25, 0.3)]
    return [*lines, *(shapely.get_coordinates(tie) for tie in ties if not tie.is_empty)]


def _steered(line: Floats, rng: np.random.Generator) -> Floats:
    """Return the places of the pings along a line, as a helmsman holds it."""
    way = LineString(line)
    at = np.arange(0, way.length, BOAT_SPEED * BOAT_PING)
    places = _along_line(line, at)
    if len(places) < 3:
        return places
    ahead = np.gradient(places, axis=0)
    normal = _left_of(ahead)
    aside = _along(rng, at, (45, 250), rng.uniform(0.8, 2.5))
    return places + aside[:, None] * normal


def _casts(lake: Lake, rng: np.random.Generator) -> Soundings:
    """Sound from the bank: fans of casts, each drawn in from its end to the peg."""
    bearing_sd, stretch_sd = rng.uniform(*CAST_BEARING), rng.uniform(*CAST_STRETCH)
    pegs, peg, bearing = _fans(lake, rng)
    count = len(bearing)
    reach = rng.uniform(*CAST_REACH, count)
    distance = reach[:, None] - CAST_PING * np.arange(int(CAST_REACH[1] / CAST_PING))
    stood = pegs + rng.normal(0, CAST_PEG, pegs.shape)
    flown = bearing + rng.normal(0, bearing_sd, count)
    stretch = 1 + rng.normal(0, stretch_sd, count)
    cast, ping = np.nonzero(distance > 1.5)
    distance = distance[cast, ping]
    crs = lake.shoreline.crs
    true, believed = np.split(
        travel(
            np.vstack([stood[peg[cast]], pegs[peg[cast]]]),
            np.append(flown[cast], bearing[cast]),
            np.append(distance * stretch[cast], distance),
            crs,
        ),
        2,
    )
    depth = lake.depth(true)
    rows = np.flatnonzero(_drawn_over_water(lake, true, cast) & (depth > FLOAT_WATER))
    cast, distance = cast[rows], distance[rows]
    along = np.hypot(distance * stretch_sd, CAST_PEG)
    across = np.hypot(distance * np.radians(bearing_sd), CAST_PEG)
    noise = rng.normal(0, CAST_OFFSET, count)[cast] + rng.normal(0, CAST_NOISE, len(rows))
    begun = np.cumsum(np.full(count, 420.0) + 600 * np.diff(peg, prepend=0))
    return _sounded(
        lake,
        true[rows],
        believed[rows],
        depth[rows] + noise,
        line=np.char.add("cast ", (cast + 1).astype(str)).astype(object),
        source="cast",
        sd=float(np.hypot(CAST_NOISE, CAST_OFFSET)),
        sd_shared=CAST_OFFSET,
        sd_along=along,
        sd_across=across,
        sd_xy=np.sqrt((along**2 + across**2) / 2),
        bearing=bearing[cast],
        time=_times("2026-05-13T07:00", begun[cast] + ping[rows] * CAST_PING / CAST_SPEED),
    )


def _fans(lake: Lake, rng: np.random.Generator) -> tuple[Floats, npt.NDArray[np.intp], Floats]:
    """Return the noted pegs, (p, 2), the peg of each cast, and its noted bearing."""
    bank = _walkable(lake, rng)
    wanted = int(np.clip(bank.length / rng.uniform(15, 40), 20, 60))
    sizes = rng.integers(3, 7, wanted)
    sizes = sizes[: int(np.searchsorted(np.cumsum(sizes), wanted - 2)) + 1]
    at = (np.arange(len(sizes)) + rng.uniform(0.1, 0.9, len(sizes))) / len(sizes)
    edge = shapely.get_coordinates(bank.interpolate(at, normalized=True))
    before, after = (
        shapely.get_coordinates(bank.interpolate(at * bank.length + step)) for step in (-6, 6)
    )
    ahead = after - before
    # water lies to the left of the bank
    inward = _left_of(ahead)
    peg = np.repeat(np.arange(len(sizes)), sizes)
    fan = np.concatenate([np.linspace(-1, 1, size) for size in sizes])
    towards = np.degrees(np.arctan2(*inward.T))[peg] + fan * rng.uniform(35, 65, len(sizes))[peg]
    return edge - inward, peg, np.round(towards + rng.normal(0, 4, len(peg))) % 360


def _walkable(lake: Lake, rng: np.random.Generator) -> LineString:
    """Return the part of the outer shore from which casts are made, water to its left."""
    ring = shapely.orient_polygons(lake.shoreline.polygons).geoms[0].exterior
    if lake.shoreline.open_edges is not None:
        shore = ring.difference(lake.shoreline.open_edges.buffer(0.5))
        banks = shapely.get_parts(shapely.line_merge(shore))
        return max(banks, key=lambda bank: bank.length)
    line = shapely.get_coordinates(ring)[:-1]
    line = np.roll(line, int(rng.integers(len(line))), axis=0)
    share = rng.uniform(0.6, 1.0)
    return LineString(line[: max(4, int(share * len(line)))])


def _drawn_over_water(
    lake: Lake, true: Floats, cast: npt.NDArray[np.intp]
) -> npt.NDArray[np.bool_]:
    """Tell which pings have only water between them and the first land beyond the peg."""
    wet = lake.shoreline.contains(true)
    # pings run towards the peg; the last few before it may still be over the bank
    last = np.append(np.flatnonzero(np.diff(cast)), len(cast) - 1)
    keep = np.zeros(len(cast), bool)
    first = 0
    for end in last:
        seen = wet[first : end + 1][::-1]
        lands = np.cumsum(np.diff(seen.astype(int), prepend=0) < 0)
        keep[first : end + 1] = (seen & (lands == 0))[::-1]
        first = int(end) + 1
    return keep


def _points(lake: Lake, rng: np.random.Generator) -> Soundings:
    """Sound with a plummet at scattered places."""
    noise = rng.uniform(*POINT_NOISE)
    water = lake.shoreline.polygons
    wanted = int(np.clip(rng.uniform(4, 12) * water.area / 1e4, POINT_COUNT[0], 110))
    space = float(np.sqrt(1.1 * water.area / wanted))
    true: Floats = np.empty((0, 2))
    while len(true) < wanted:
        true, space = _scattered(lake, space, rng), 0.95 * space
    true = true[np.sort(rng.permutation(len(true))[: POINT_COUNT[1]])]
    depth = lake.depth(true)
    return _sounded(
        lake,
        true,
        true + rng.normal(0, POINT_POSITION, true.shape),
        depth + rng.normal(0, noise, len(true)),
        source="plummet",
        sd=noise,
        sd_shared=0.0,
        sd_xy=POINT_POSITION,
        time=_times("2026-05-14T07:00", 150.0 * np.arange(len(true))),
    )


def _scattered(lake: Lake, space: float, rng: np.random.Generator) -> Floats:
    """Return places about so far apart, but for two gaps."""
    west, south, east, north = lake.shoreline.polygons.bounds
    grid = np.meshgrid(np.arange(west, east, space), np.arange(south, north, space))
    even = np.stack(grid, axis=-1).reshape(-1, 2)
    places = even + rng.uniform(0.1, 0.9, even.shape) * space
    places = places[lake.shoreline.contains(places)]
    places = places[lake.depth(places) > FLOAT_WATER]
    for gap in places[rng.choice(len(places), 2)]:
        places = places[np.hypot(*(places - gap).T) > rng.uniform(0.8, 1.4) * space]
    return places
