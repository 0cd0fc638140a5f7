"""Figment Mere: an invented kettle lake whose bed is known everywhere.

The shoreline is a drawn curve. The bed is a formula on top of it: depth grows with a smooth
distance from the shore towards a floor, and the floor carries the hole, the hump, the gully, the
shelf with its drop-off and the bays. Because the formula can be evaluated anywhere, an error of a
fitted bed, an area or a volume can be measured and not guessed.

Places are drawn in local metres from `ORIGIN`; every public function takes and returns easting and
northing in `CRS`. Depth is in metres, positive down, below the water level `DATUM`.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
import shapely
from numpy.typing import ArrayLike, NDArray
from scipy.interpolate import CubicSpline
from scipy.optimize import minimize
from shapely import LineString, Polygon

__all__ = [
    "CRS",
    "DATUM",
    "NAME",
    "ORIGIN",
    "Feature",
    "PlantBed",
    "Truth",
    "bed_depth",
    "features",
    "gully_line",
    "plant_beds",
    "plant_cover",
    "plant_height",
    "plant_stand",
    "shore_distance",
    "shoreline",
    "truth",
]

Floats = NDArray[np.float64]

NAME = "Figment Mere"
CRS = "EPSG:32625"
ORIGIN = (376_500.0, 5_117_000.0)
DATUM = 212.40

_SHORE = [
    (122, -190), (158, -168), (192, -176), (236, -130), (254, -96), (292, -58), (303, -8),
    (274, 22), (268, 70), (246, 98), (237, 124), (252, 143), (292, 152), (330, 180), (378, 190),
    (405, 226), (396, 262), (358, 270), (322, 246), (288, 238), (264, 208), (238, 184),
    (216, 154), (190, 138), (160, 152), (138, 184), (84, 208), (50, 196), (22, 206), (-6, 188),
    (-30, 160), (-58, 166), (-82, 198), (-112, 200), (-138, 216), (-186, 196), (-204, 152),
    (-226, 116), (-246, 88), (-276, 94), (-308, 120), (-340, 106), (-362, 106), (-388, 66),
    (-382, 36), (-396, 12), (-372, -18), (-338, -24), (-318, -54), (-282, -60), (-250, -46),
    (-230, -70), (-232, -108), (-188, -132), (-150, -170), (-118, -166), (-98, -148), (-72, -166),
    (-58, -198), (-64, -236), (-38, -268), (-6, -256), (0, -220), (12, -190), (36, -170),
    (60, -194), (90, -202),
]  # fmt: skip
_ISLANDS = [
    [(26, 66), (44, 55), (68, 58), (90, 70), (97, 84), (80, 92), (58, 85), (36, 82)],
    [(-186, -78), (-172, -86), (-158, -80), (-155, -68), (-168, -60), (-183, -65)],
]
_GULLY = [(-34, -246), (-30, -214), (-22, -178), (2, -140), (40, -112), (78, -96), (112, -74)]
_VERTEX_SPACING = 6.5
_GROWN = 0.05  # plants lower than this do not count as cover


@dataclass(frozen=True)
class Feature:
    """A named place on the bed: where it is, how deep and how large."""

    kind: str
    easting: float
    northing: float
    depth: float
    length: float
    width: float
    note: str


@dataclass(frozen=True)
class PlantBed:
    """A bed of plants: what grows there, its outline, how tall and how patchy (-1 to 1)."""

    group: str
    outline: Polygon
    height: float
    bareness: float


@dataclass(frozen=True)
class Truth:
    """The figures a survey of the lake should find at the datum: m2, m3, m, m."""

    area: float
    volume: float
    max_depth: float
    mean_depth: float
    shore_length: float


@cache
def shoreline() -> Polygon:
    """Return the shoreline at the datum, with the two islands as holes."""
    outline = _drawn_ring(_SHORE, roughness=2.0, seed=1)
    islands = [_drawn_ring(ring, roughness=0.7, seed=2 + i) for i, ring in enumerate(_ISLANDS)]
    return shapely.orient_polygons(Polygon(outline, islands))


def bed_depth(easting: ArrayLike, northing: ArrayLike) -> Floats:
    """Return the true depth below the datum, 0 on the shoreline and ashore.

    Parameters
    ----------
    easting, northing : array_like, shape (n,) or any equal shape, in metres

    Returns
    -------
    ndarray of the same shape, metres, positive down

    Notes
    -----
    Smooth inside the shoreline but for the lip of the shelf, which is a crease, as it would be.
    """
    x, y = _local(easting, northing)
    wet = shapely.contains_xy(shoreline(), np.asarray(easting), np.asarray(northing))
    depth = np.zeros(x.shape)
    inside = x[wet], y[wet]
    depth[wet] = _depth(*inside, _smooth_distance(*inside))
    return depth


def shore_distance(easting: ArrayLike, northing: ArrayLike) -> Floats:
    """Return the straight distance to the nearest shore, islands included, in metres."""
    points = shapely.points(np.asarray(easting, float), np.asarray(northing, float))
    return np.asarray(shapely.distance(shoreline().boundary, points))


def features() -> list[Feature]:
    """Return the named features of the bed, each with the true depth at its place."""
    named = [
        ("hole", (142, -45), (130, 85), "the greatest depth, a dead-ice hollow"),
        ("hump", (-104, 44), (62, 40), "a gravel top with about 7 m of water around it"),
        ("shelf", (84, 188), (200, 34), "1 to 1.5 m of water along the north shore"),
        ("drop-off", (84, 164), (200, 12), "the edge of the shelf, down to 6 m and more"),
        ("gully", (21, -124), (230, 24), "runs out of the south bay into the hole"),
        ("weedy bay", (-330, 40), (140, 130), "gentle, 1 to 2.5 m, grown over in summer"),
        ("neck", (233, 143), (30, 30), "the sill in front of the arm"),
        ("arm", (342, 220), (170, 75), "the north-east arm behind the neck"),
        ("large island", (62, 74), (72, 36), "wooded"),
        ("small island", (-170, -73), (31, 26), "gravel, a landing place for gulls"),
    ]
    return [_feature(*row) for row in named]


def gully_line() -> LineString:
    """Return the line along the bottom of the gully, from the south bay to the hole."""
    return LineString(np.array(ORIGIN) + _gully_hollows())


@cache
def plant_beds() -> tuple[PlantBed, ...]:
    """Return the beds of plants, as they stood in the week of the survey."""
    drawn = [
        ("submerged, broad-leaved", 1.1, -0.3, _WEEDY_BAY_PLANTS),
        ("submerged, low meadow", 0.35, 0.1, _SHELF_PLANTS),
        ("submerged, fine-leaved", 0.9, -0.1, _ARM_PLANTS),
        ("floating-leaved, rooted", 1.4, 0.4, _SOUTH_BAY_PLANTS),
    ]
    return tuple(_plant_bed(*row) for row in drawn)


def plant_height(easting: ArrayLike, northing: ArrayLike) -> Floats:
    """Return how tall the plants stand above the bed in metres, 0 on open ground."""
    easting, northing = np.asarray(easting, float), np.asarray(northing, float)
    height = np.zeros(easting.shape)
    for bed in plant_beds():
        height = np.maximum(height, bed.height * _growth(bed, easting, northing))
    return np.minimum(height, 0.9 * bed_depth(easting, northing))


def plant_cover(bed: PlantBed, *, cell_size: float = 1.0) -> float:
    """Return the share of the ground inside a bed's outline that is grown over, 0 to 1."""
    return float((_heights_within(bed, cell_size) > _GROWN).mean())


def plant_stand(bed: PlantBed, *, cell_size: float = 1.0) -> float:
    """Return the mean height of the plants on the grown-over ground of a bed, in metres."""
    heights = _heights_within(bed, cell_size)
    return float(heights[heights > _GROWN].mean())


def truth(*, cell_size: float = 1.0) -> Truth:
    """Return area, volume, greatest and mean depth, integrated over cells of the analytic bed.

    Parameters
    ----------
    cell_size : float
        Side of the integration cells in metres; the midpoint rule is used.
    """
    lake = shoreline()
    easting, northing = _cell_centres(lake, cell_size)
    depth = bed_depth(easting, northing)
    volume = float(depth.sum()) * cell_size**2
    deepest = _greatest_depth(easting[depth.argmax()], northing[depth.argmax()])
    return Truth(lake.area, volume, deepest, volume / lake.area, lake.length)


# ---- the bed, in local metres -------------------------------------------------------------------


def _depth(x: Floats, y: Floats, distance: Floats) -> Floats:
    """Return the bed under a smooth distance from shore: side slope, floor, shelf, relief."""
    floor = _floor(x, y)
    side = floor * np.tanh(_side_slope(x, y) * distance / floor)
    shelf = _shelf_profile(x, floor, distance)
    share = _shelf_share(x, y)
    bed = side + share * (shelf - side)
    offshore = 1 - np.exp(-distance / 12)
    bed += offshore * (_gully_depth(x, y) - _hump_height(x, y))
    return bed * (1 + offshore * _relief(x, y))


def _floor(x: Floats, y: Floats) -> Floats:
    """Return the depth the side slopes run out to: the basins, the hole and the shallow bays."""
    floor = 7.2 + 5.0 * _mound(x, y, (142, -46), (62, 36), 20)
    floor += 0.9 * _mound(x, y, (-150, 120), (70, 35), 15)
    floor -= 2.6 * _mound(x, y, (-200, -92), (34, 17), 35)
    floor += _step(-(x + 238) / 19) * (2.1 - floor)
    floor += _step((0.75 * x + 0.66 * y - 268) / 9) * _step(y / 40) * (3.3 - floor)
    return floor + _step(-(y + 196) / 11) * (2.6 - floor)


def _side_slope(x: Floats, y: Floats) -> Floats:
    """Return the slope of the bed at the water's edge: 1 in 8 to 1 in 4, less in the bays."""
    steep = 0.185 + 0.035 * np.sin(x / 61 + y / 83 + 0.6) + 0.02 * np.sin(x / 23 - y / 37)
    return steep + _step(-(x + 262) / 20) * (0.075 - steep)


def _shelf_share(x: Floats, y: Floats) -> Floats:
    """Return 1 where the shelf is, 0 where it is not, and a smooth change at its ends."""
    return _step((x + 36) / 7) * _step((158 - x) / 8) * _step((y - 125) / 3)


def _shelf_profile(x: Floats, floor: Floats, distance: Floats) -> Floats:
    """Return a shelf 25 to 40 m wide, ending in a sharp lip and a drop-off 12 m wide."""
    lip = 31.5 + 4.5 * np.sin(x / 33 + 0.8)
    top = 1.0 - np.exp(-distance / 5) + 0.45 * np.clip(distance / lip, 0, 1)
    fall = 1 - (1 - np.clip((distance - lip) / 12, 0, 1)) ** 1.4
    return top + fall * (floor - 0.3 - top)


def _gully_depth(x: Floats, y: Floats) -> Floats:
    """Return what the gully takes out of the bed: overlapping round hollows along its line."""
    hollows = _gully_hollows()
    squared = (x[..., None] - hollows[:, 0]) ** 2 + (y[..., None] - hollows[:, 1]) ** 2
    along = np.linspace(0, 1, len(hollows))
    weight = 2.4 * np.minimum(1, 0.35 + 3 * along) * (1 - 0.55 * along)
    width, spacing = 8.5, 4.0
    blend = np.exp(-squared / (2 * width**2)) * spacing / (width * np.sqrt(2 * np.pi))
    return np.asarray(blend @ weight)


@cache
def _gully_hollows() -> Floats:
    """Return points 4 m apart along the smooth line of the gully."""
    drawn = np.array(_GULLY, float)
    at = np.append(0, np.cumsum(np.hypot(*np.diff(drawn, axis=0).T)))
    return np.asarray(CubicSpline(at, drawn)(np.arange(0, at[-1], 4.0)))


def _hump_height(x: Floats, y: Floats) -> Floats:
    return 4.65 * _mound(x, y, (-104, 44), (24, 14), 35)


def _relief(x: Floats, y: Floats) -> Floats:
    """Return undulations of a few per cent of the depth, 40 to 150 m long."""
    wavelength = np.array([150, 123, 104, 88, 74, 62, 53, 45])
    heading = np.arange(8) * np.pi * (3 - np.sqrt(5))  # the golden angle: no direction repeats
    along = x[..., None] * np.cos(heading) + y[..., None] * np.sin(heading)
    waves = np.sin(2 * np.pi * along / wavelength + np.arange(8) ** 2)
    return np.asarray(waves @ np.linspace(0.022, 0.006, 8))


def _mound(
    x: Floats, y: Floats, centre: tuple[float, float], reach: tuple[float, float], bearing: float
) -> Floats:
    """Return a bell of height 1 with the given reach along and across an axis (degrees CCW)."""
    turn = np.radians(bearing)
    east, north = x - centre[0], y - centre[1]
    along = (east * np.cos(turn) + north * np.sin(turn)) / reach[0]
    across = (north * np.cos(turn) - east * np.sin(turn)) / reach[1]
    return np.asarray(np.exp(-(along**2 + across**2) / 2))


def _step(position: Floats) -> Floats:
    """Return the logistic step from 0 to 1 over about four units either side of zero."""
    return np.asarray(0.5 * (1 + np.tanh(position / 2)))


# ---- the shore ----------------------------------------------------------------------------------


def _local(easting: ArrayLike, northing: ArrayLike) -> tuple[Floats, Floats]:
    return np.asarray(easting, float) - ORIGIN[0], np.asarray(northing, float) - ORIGIN[1]


def _drawn_ring(points: list[tuple[int, int]], *, roughness: float, seed: int) -> Floats:
    """Return a closed smooth curve through drawn points, roughened, in centimetres rounded."""
    drawn = np.array([*points, points[0]], float)
    at = np.append(0, np.cumsum(np.hypot(*np.diff(drawn, axis=0).T)))
    curve = CubicSpline(at, drawn, bc_type="periodic")
    # twice as fine, roughened and then thinned, so that the spacing stays even on the rough line
    where = np.linspace(0, at[-1], int(at[-1]), endpoint=False)
    normal = curve(where, 1)[:, ::-1] * (1, -1)
    normal /= np.hypot(*normal.T)[:, None]
    rough = curve(where) + normal * _roughness(where / at[-1], at[-1], seed)[:, None] * roughness
    line = LineString([*rough, rough[0]])
    count = round(line.length / _VERTEX_SPACING)
    even = line.interpolate(np.linspace(0, 1, count, endpoint=False), normalized=True)
    return np.asarray(np.round(shapely.get_coordinates(even) + ORIGIN, 2))


def _roughness(share: Floats, length: float, seed: int) -> Floats:
    """Return small bays and points along a closed shore, about 1 in size, 18 to 110 m long."""
    rng = np.random.default_rng(seed)
    waves = np.maximum(2, np.round(length / np.array([110, 74, 51, 36, 26, 18]))).astype(int)
    phase = rng.uniform(0, 2 * np.pi, len(waves))
    size = np.array([1.0, 0.9, 0.8, 0.6, 0.45, 0.3]) * rng.uniform(0.6, 1.2, len(waves))
    return np.asarray(np.sin(2 * np.pi * share[:, None] * waves + phase) @ size)


def _smooth_distance(x: Floats, y: Floats) -> Floats:
    """Return a distance from shore without the creases of the straight one.

    Every direction in which the shore is seen counts with the inverse cube of its distance, so the
    nearest shore rules, the value is 0 on the shore with slope 1, and narrow water is shallower.

    References
    ----------
    Belyaev, Fayolle and Pasko (2013). Signed Lp-distance fields. Computer-Aided Design 45(2).
    """
    start, end = _shore_segments()
    near = [
        _seen_shore(x[at : at + 200], y[at : at + 200], start, end)
        for at in range(0, len(x), 200)  # few at a time: the work stays in the processor's cache
    ]
    seen = np.concatenate([np.empty(0), *near])
    with np.errstate(divide="ignore", invalid="ignore"):
        distance = (0.75 * seen) ** (-1 / 3)
    return np.where(np.isfinite(distance), distance, 0.0)


def _seen_shore(x: Floats, y: Floats, start: Floats, end: Floats) -> Floats:
    """Return the integral of cos(angle)^3 / normal distance^3 over all shore segments."""
    length = np.hypot(*(end - start).T)
    along_x, along_y = ((end - start) / length[:, None]).T
    east, north = start[:, 0] - x[:, None], start[:, 1] - y[:, None]
    # land lies to the right of the rings, so water is on the positive side of each segment
    normal = along_y * east - along_x * north
    first = along_x * east + along_y * north
    second = first + length
    with np.errstate(divide="ignore", invalid="ignore"):
        tails = _tail(second, normal) - _tail(first, normal)
        across = (np.sign(second) - np.sign(first)) * (2 / 3) / normal**3
    return np.asarray((tails + np.where(np.sign(first) == np.sign(second), 0, across)).sum(axis=1))


def _tail(along: Floats, normal: Floats) -> Floats:
    """Return the part of the integral beyond `along`; written so that nothing cancels near 0."""
    radius = np.hypot(along, normal)
    weight = 1 / (radius * (radius + np.abs(along)))
    return np.asarray(np.sign(along) * (normal**3 * weight**3 / 3 - normal * weight**2))


@cache
def _shore_segments() -> tuple[Floats, Floats]:
    rings = [shoreline().exterior, *shoreline().interiors]
    coordinates = [shapely.get_coordinates(ring) - ORIGIN for ring in rings]
    start = np.concatenate([ring[:-1] for ring in coordinates])
    return start, np.concatenate([ring[1:] for ring in coordinates])


# ---- features, plants, figures ------------------------------------------------------------------

_WEEDY_BAY_PLANTS = [
    (-372, 62), (-376, 18), (-352, -4), (-322, -8), (-296, -28), (-268, -20), (-252, 14),
    (-262, 52), (-292, 62), (-322, 88), (-352, 86),
]  # fmt: skip
_SHELF_PLANTS = [
    (-20, 168), (4, 176), (36, 184), (84, 190), (124, 172), (138, 164), (130, 150),
    (96, 172), (58, 172), (24, 168), (-2, 162),
]  # fmt: skip
_ARM_PLANTS = [(318, 196), (350, 202), (384, 222), (388, 252), (360, 258), (332, 240)]
_SOUTH_BAY_PLANTS = [(-50, -232), (-40, -258), (-16, -252), (-10, -226), (-30, -214)]


def _cell_centres(area: Polygon, cell_size: float) -> tuple[Floats, Floats]:
    """Return the centres of the cells that cover the box around an area, as two flat arrays."""
    west, south, east, north = area.bounds
    easting, northing = np.meshgrid(
        np.arange(west + cell_size / 2, east, cell_size),
        np.arange(south + cell_size / 2, north, cell_size),
    )
    return easting.ravel(), northing.ravel()


def _greatest_depth(easting: float, northing: float) -> float:
    """Return the depth at the bottom of the hollow around a place near it."""

    def height(place: Floats) -> float:
        return -float(bed_depth(place[:1], place[1:])[0])

    found = minimize(height, (easting, northing), method="Nelder-Mead", options={"xatol": 1e-3})
    return -float(found.fun)


def _heights_within(bed: PlantBed, cell_size: float) -> Floats:
    easting, northing = _cell_centres(bed.outline, cell_size)
    inside = shapely.contains_xy(bed.outline, easting, northing)
    return plant_height(easting[inside], northing[inside])


def _growth(bed: PlantBed, easting: Floats, northing: Floats) -> Floats:
    """Return 0 on bare ground to 1 in the middle of a stand: patches, thinning to the edge."""
    x, y = _local(easting, northing)
    pattern = np.sin(x / 5.3 + np.sin(y / 9.1)) + np.sin(y / 4.7 + np.sin(x / 7.9))
    stand = np.clip((pattern / 2 - bed.bareness) / 0.3, 0, 1)
    points = shapely.points(easting, northing)
    edge = np.asarray(shapely.distance(bed.outline.boundary, points))
    inside = shapely.contains_xy(bed.outline, easting, northing)
    return np.asarray(np.where(inside, stand * (1 - np.exp(-edge / 3)), 0.0))


def _feature(kind: str, place: tuple[int, int], size: tuple[int, int], note: str) -> Feature:
    easting, northing = ORIGIN[0] + place[0], ORIGIN[1] + place[1]
    depth = float(bed_depth([easting], [northing])[0])
    return Feature(kind, easting, northing, depth, *size, note)


def _plant_bed(
    group: str, height: float, bareness: float, drawn: list[tuple[int, int]]
) -> PlantBed:
    """Return a bed with a smooth outline through drawn points, cut at the shoreline."""
    ring = np.array([*drawn, drawn[0]], float)
    at = np.append(0, np.cumsum(np.hypot(*np.diff(ring, axis=0).T)))
    curve = CubicSpline(at, ring, bc_type="periodic")(np.arange(0, at[-1], 5.0))
    outline = shapely.set_precision(Polygon(curve + ORIGIN).intersection(shoreline()), 0.01)
    return PlantBed(group, outline, height, bareness)
