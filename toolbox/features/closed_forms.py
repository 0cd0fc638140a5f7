"""Closed forms: humps, bars and holes, each within a closed isobath."""

from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING, Any

import numpy as np

from toolbox.features.forms import Form, spacing_of
from toolbox.features.ground import Ground
from toolbox.layers import Tin, VertexKind

if TYPE_CHECKING:
    from shapely import Polygon

__all__ = ["LEAST_SIDE", "closed_forms", "is_gentle"]

LARGEST_SHARE = 0.15
"""Share of the water beyond which a closed form is a basin or a bank, no hole or hump (common
practice, no source)."""

BAR_LENGTH = 2.5
"""Length of a bar in its widths, from where a hump is called a bar (common practice, no source)."""

PLATEAU = 0.4
"""Share of a rise that its upper quarter covers, from where it is a plateau: a cone has 1/16 there,
a dome 1/4 (common practice, no source)."""

LEAST_SIDE = 0.02
"""Relief over the radius of a circle of the same area: what is flatter may be a wave of the bed as
it was drawn or fitted, and counts only if it stands out from the error (common practice, no
source)."""

GENTLEST = 0.005
"""The same, of what stands out from the error: half a metre in a hundred (common practice, no
source)."""

STANDS_OUT = 3.0
"""Times the least relief that a gentle form must have, and times the standard deviation of the bed
on it (measured on invented lakes)."""

FEWEST = 6
"""Vertices' areas that a closed form must cover."""

DOUBT = 1.5
"""Times that a draw's distance from the bed is counted when holes are asked for: a hollow on one
line is often a valley that goes on beyond it, which the draws do not know (measured on invented
lakes)."""

_BASIN = 4.0  # bed around a basin rises so much faster than its own sides
_UPPER = 0.75
_RIM = 0.75  # bed beyond the rim must rise at most so much as fast as within
_SECTORS, _EACH = 8, 6  # of the outline, and places on each
_HELD = 0.5  # of the least relief: the top is a mean over its upper half
_TWO = 0.5  # a second top of half the relief makes two humps of one


@dataclass(frozen=True, eq=False)
class _Net:
    """A bed turned so that what is looked for is deep, and which vertices have no end."""

    ground: Ground
    sign: int
    depth: np.ndarray
    outer: np.ndarray

    @classmethod
    def of(cls, ground: Ground, sign: int, islands: bool = False) -> "_Net":
        bed = ground.bed
        outer = bed.kind == VertexKind.OPEN_EDGE
        if sign < 0:
            outer |= bed.kind <= (VertexKind.SHORELINE if islands else VertexKind.ISLAND)
        return cls(ground, sign, sign * bed.depth, outer)

    @property
    def areas(self) -> np.ndarray:
        return self.ground.areas

    def flooded(self, pit: int, level: float) -> np.ndarray:
        """Return the vertices of the hollow about a pit that are deeper than a level."""
        from toolbox.features.kernels.merging import flood

        return np.asarray(flood(*self.ground.neighbours, self.depth, pit, level))


def closed_forms(
    bed: Tin,
    sign: int,
    *,
    least_relief: float,
    largest_share: float = LARGEST_SHARE,
    least_area: float | None = None,
    islands: bool = False,
    ground: Ground | None = None,
) -> list[Form]:
    """Find holes (sign 1) or humps and bars (sign -1).

    Parameters
    ----------
    bed : Tin
        The lake bed.
    sign : {1, -1}
        What is looked for.
    least_relief : float
        From the deepest or shallowest vertex to the closing isobath, m.
    largest_share : float
        Of the water; what is larger counts only where it holds a smaller form with a rim.
    least_area : float, optional
        Within the closing isobath, m2; if left out, that of six vertices.
    islands : bool
        Whether an island with the bed that rises to it alone is a rise as well.
    ground : Ground, optional
        Of the bed, where more than one thing is looked for on it.

    Returns
    -------
    list of Form
        The one with the greatest relief first.

    Notes
    -----
    The net is flooded from its deepest vertex upwards; where two hollows meet, the shallower one
    pours into the other. A hollow's relief is its persistence: from its bottom to the level at
    which it meets another of at least the least relief. Humps are the same on the bed upside down,
    with the shore as one that has no end. Both are exact on the net of triangles, and so are the
    outlines, the isobaths at that level. Of hollows within hollows the largest is taken that is
    not larger than allowed and is not made of two of like size.

    A hollow that is larger, such as the deepest of a basin with an even floor, has no pour of its
    own near by. It counts up to its rim, where the mean side, depth over the radius of the circle
    of the flooded area, bends most, if the ground beyond the rim rises three quarters as fast or
    less. A hollow around which the bed, on its middling side, rises several times as fast as within
    is the floor of a basin; it counts up to a rim within its inner half, if it has one there.

    A form whose relief is less than 2 % of its radius is told only on a bed that knows its error,
    if its relief is three times the least and three times the standard deviation on it (root mean
    square), and no less than 0.5 % of its radius: the waves of a bed between its lines are as flat,
    but no higher than its error.

    References
    ----------
    Edelsbrunner, Letscher and Zomorodian 2002, Discrete Comput. Geom. 28:511, "Topological
    persistence and simplification", doi:10.1007/s00454-002-2885-2.
    """
    net = _Net.of(Ground(bed) if ground is None else ground, sign, islands)
    most = largest_share * float(net.areas.sum())
    least_area = FEWEST * spacing_of(bed) ** 2 if least_area is None else least_area
    forms = []
    for pit, level in _chosen(net, least_relief, most):
        found = _told(net, pit, level, least_relief, least_area)
        if found is None:
            size = _size(net, pit, level)
            rim = _rim(net, pit, level, size / 2)
            if rim is not None and net.depth[pit] - rim >= least_relief:
                found = _told(net, pit, rim, least_relief, least_area)
        if found is None and _stands_out(net, pit, level, least_relief):
            found = _told(net, pit, level, least_relief, least_area, gentlest=GENTLEST)
        forms += [] if found is None else [found]
    return sorted(forms, key=lambda form: -form.figures["relief_m"])


def is_gentle(form: Form) -> bool:
    """Tell whether a closed form is flatter than those that are told on any bed."""
    return form.figures["relief_m"] < LEAST_SIDE * _radius(form.figures["area_m2"])


def _stands_out(net: _Net, pit: int, level: float, least_relief: float) -> bool:
    """Tell whether a hollow is so much deeper than its level that no error makes it."""
    sd, relief = net.ground.bed.sd, abs(net.depth[pit] - level)
    if sd is None or not relief >= STANDS_OUT * least_relief:
        return False
    inside = net.flooded(pit, level)
    return bool(
        relief >= STANDS_OUT * np.sqrt(np.average(sd[inside] ** 2, weights=net.areas[inside]))
    )


def _told(
    net: _Net,
    pit: int,
    level: float,
    least_relief: float,
    least_area: float,
    gentlest: float = LEAST_SIDE,
) -> Form | None:
    """Return a hollow up to a level, if it is large and steep enough, and no floor of a basin."""
    inside, relief = net.flooded(pit, level), abs(net.depth[pit] - level)
    triangles = net.ground.about(inside)
    deep = net.depth[triangles] > level
    # what is too flat even without its rim needs no outline
    if relief < gentlest * _radius(net.ground.area_of(triangles[deep.all(axis=1)])):
        return None
    outline = _outline(net, triangles, deep, level)
    if outline is None or outline.area < least_area:
        return None
    side = relief / _radius(outline.area)
    if side < gentlest or (net.sign > 0 and _rise_around(net, outline, level) > _BASIN * side):
        return None
    return _form(net, pit, level, inside, outline, least_relief)


def _radius(area: float) -> float:
    """Return the radius of a circle of an area, m."""
    return float(np.sqrt(area / np.pi))


def _chosen(net: _Net, least_relief: float, most: float) -> list[tuple[int, float]]:
    """Return bottom and closing level of the hollows that count."""
    from toolbox.features.kernels.merging import merge

    count = len(net.depth)
    pits, above = np.empty(2 * count, np.int64), np.empty(2 * count, np.int64)
    levels = np.empty(2 * count)
    order = np.argsort(-net.depth, kind="stable")
    made = merge(
        *net.ground.neighbours, net.depth, order, net.outer, least_relief, pits, levels, above,
    )  # fmt: skip
    below: dict[int, list[int]] = {k: [] for k in range(-1, made)}
    for k in range(made):
        below[int(above[k])].append(k)
    chosen, waiting = [], list(below[-1])
    while waiting:
        k = waiting.pop()
        bottom, parts = float(net.depth[pits[k]]), below[k]
        relief = bottom - levels[k]
        second = min((net.depth[pits[p]] - levels[p] for p in parts), default=0.0)
        whole = relief >= least_relief and second < _TWO * relief
        if whole and _size(net, int(pits[k]), float(levels[k])) <= most:
            chosen.append((int(pits[k]), float(levels[k])))
        elif parts:
            waiting += parts
        elif (rim := _rim(net, int(pits[k]), float(levels[k]), most)) is not None:
            chosen += [(int(pits[k]), rim)] if bottom - rim >= least_relief else []
    return chosen


def _size(net: _Net, pit: int, level: float) -> float:
    """Return the area of a hollow below its level: what is just at it does not count, m2."""
    return float(net.areas[net.flooded(pit, level)].sum())


def _rim(net: _Net, pit: int, level: float, most: float) -> float | None:
    """Return the level of the rim of a hollow within a larger one, if it has one."""
    found = net.flooded(pit, -np.inf if np.isnan(level) else level)
    found = found[np.argsort(-net.depth[found], kind="stable")]
    radius = np.sqrt(np.cumsum(net.areas[found]) / np.pi)
    depth = net.depth[found]
    within = int(np.searchsorted(radius, np.sqrt(most / np.pi)))
    if within < FEWEST or within == len(found):
        return None
    fall = depth[0] - depth[: within + 1]
    bend = fall - fall[-1] * radius[: within + 1] / radius[within]
    at = int(bend.argmax())
    beyond = min(int(np.searchsorted(radius, 1.5 * radius[at])), len(found) - 1)
    if at < 1 or beyond <= at:
        return None
    inner = fall[at] / radius[at]
    outer = (depth[at] - depth[beyond]) / (radius[beyond] - radius[at])
    return float(depth[at]) if outer <= _RIM * inner else None


def _outline(net: _Net, triangles: np.ndarray, deep: np.ndarray, level: float) -> "Polygon | None":
    """Return the isobath around a hollow from the triangles about it and which corners are in."""
    import shapely

    bed = net.ground.bed
    whole = deep.all(axis=1)
    within = shapely.polygons(bed.vertices[triangles[whole]])
    rim = _clipped(net, triangles[~whole], deep[~whole], level)
    union = shapely.union_all([shapely.coverage_union_all(within), *rim])
    parts = [part for part in shapely.get_parts(union) if part.geom_type == "Polygon"]
    if not parts:
        return None
    return shapely.Polygon(max(parts, key=lambda part: part.area).exterior)


def _clipped(net: _Net, triangles: np.ndarray, deep: np.ndarray, level: float) -> Any:
    """Return the parts of triangles (t, 3) with some corners deep that are deeper than a level."""
    import shapely

    vertices, following = net.ground.bed.vertices, np.roll(triangles, -1, axis=1)
    # always from the lower number, so that neighbours get the same bits
    low, high = np.minimum(triangles, following), np.maximum(triangles, following)
    crossed = deep != np.roll(deep, -1, axis=1)
    fall = np.where(crossed, net.depth[high] - net.depth[low], 1.0)
    share = (level - net.depth[low]) / fall
    crossings = vertices[low] + share[..., None] * (vertices[high] - vertices[low])
    # each corner that is deep, and each crossing after it, in turn
    rings = np.stack([vertices[triangles], crossings], axis=2)
    there = np.stack([deep, crossed], axis=2)
    ring = np.nonzero(there)[0]
    return shapely.polygons(shapely.linearrings(rings[there], indices=ring))


def _rise_around(net: _Net, outline: "Polygon", level: float) -> float:
    """Return how fast the bed rises beyond an outline, rise over run, on its middling side."""
    import shapely

    reach = 0.5 * _radius(outline.area)
    ring = outline.buffer(reach).exterior
    places = shapely.get_coordinates(ring.interpolate(np.arange(48) / 48, normalized=True))
    depth = net.sign * net.ground.depth_at(places)
    # beyond the shore is land, as high as one likes
    return float(np.median(np.nan_to_num((level - depth) / reach, nan=np.inf)))


def _form(
    net: _Net, pit: int, level: float, inside: np.ndarray, outline: "Polygon", least_relief: float
) -> Form:
    bottom, closing = net.sign * float(net.depth[pit]), net.sign * level
    length, width = _sides(outline)
    kind = "hole" if net.sign > 0 else _kind_of_rise(net, inside, level, length / width)
    figures = {
        "depth_least_m": min(bottom, closing),
        "depth_greatest_m": max(bottom, closing),
        "relief_m": abs(bottom - closing),
        "area_m2": outline.area,
        "length_m": length,
        "width_m": width,
        "slope_deg": net.ground.mean_slope(net.ground.about(inside)),
        "pour_depth_m" if net.sign > 0 else "closing_depth_m": closing,
        "easting_m": float(net.ground.bed.vertices[pit, 0]),
        "northing_m": float(net.ground.bed.vertices[pit, 1]),
    }
    question = _question(net, inside, outline, level, least_relief)
    return Form({kind: outline}, figures, *question, doubt=DOUBT if net.sign > 0 else 1.0)


def _kind_of_rise(net: _Net, inside: np.ndarray, level: float, stretch: float) -> str:
    height = net.depth[inside] - level
    upper = height >= _UPPER * height.max()
    if net.areas[inside][upper].sum() >= PLATEAU * net.areas[inside].sum():
        return "plateau"
    return "bar" if stretch >= BAR_LENGTH else "hump"


def _sides(outline: "Polygon") -> tuple[float, float]:
    """Return length and width of the smallest rectangle around an outline."""
    import shapely

    corners = shapely.get_coordinates(shapely.minimum_rotated_rectangle(outline))
    sides = np.hypot(*np.diff(corners[:3], axis=0).T)
    return float(sides.max()), float(sides.min())


def _question(
    net: _Net, inside: np.ndarray, outline: "Polygon", level: float, least_relief: float
) -> tuple[np.ndarray, Any]:
    """Return places on the top and on the outline, and how to ask for the relief between them."""
    import shapely

    bottom = float(net.depth[inside].max())
    core = inside[net.depth[inside] >= (bottom + level) / 2]
    share = np.arange(_SECTORS * _EACH) / (_SECTORS * _EACH)
    ring = shapely.get_coordinates(outline.exterior.interpolate(share, normalized=True))
    weight = net.areas[core] / net.areas[core].sum()
    return np.vstack([ring, net.ground.bed.vertices[core]]), partial(
        _held, net.sign, weight, _HELD * least_relief
    )


def _held(sign: int, weight: np.ndarray, relief: float, depths: np.ndarray) -> np.ndarray:
    around = sign * depths[:, : _SECTORS * _EACH].reshape(len(depths), _SECTORS, _EACH)
    core = sign * depths[:, _SECTORS * _EACH :] @ weight
    return np.asarray(core - around.mean(axis=2).max(axis=1) >= relief)
