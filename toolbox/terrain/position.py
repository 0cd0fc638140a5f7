"""Position: how far the bed stands above or below what lies round about."""

import math
from typing import Annotated, Literal

import numpy as np

from toolbox.errors import ParameterError
from toolbox.layers import Grid
from toolbox.tool import Range, tool

__all__ = ["relative_position", "relative_position_scales"]

WIDEST = 1000
"""Greatest radius, cells: beyond it the sums would have to be kept in coarser steps."""

_KNOWN = 0.5
"""Least share of a ring that must be known."""


@tool("Height above or below the surroundings")
def relative_position(
    depth: Grid,
    *,
    inner: Annotated[float, Range("m", min=0)] | None = None,
    outer: Annotated[float, Range("m", above=0)] | None = None,
    known: Annotated[float, Range("", above=0, max=1)] = _KNOWN,
    shore: Literal["plane", "mean"] = "plane",
) -> Grid:
    """Return how far the bed at each cell stands above the mean of a ring round it.

    Parameters
    ----------
    depth : Grid
        Depth, m, positive down.
    inner : float, optional
        Inner radius of the ring, m; the cell itself is never part of it. Half the outer one if
        left out.
    outer : float, optional
        Outer radius of the ring, m. If left out, 40 m, but at least 4 cells.
    known : float
        Share of the ring's cells that must have a depth; elsewhere the result is empty.
    shore : str
        What is compared with where land or the border of the grid cuts the ring: plane, the plane
        that fits the ring's known cells best; mean, their mean, as is common.

    Returns
    -------
    Grid
        Mean depth of the ring less the depth of the cell, m: positive on humps and crests,
        negative in holes and gullies, 0 on any plane.

    Raises
    ------
    ParameterError
        If the ring is less than 3 cells across or less than a cell wide, or its outer radius is
        more than 1,000 cells.

    Notes
    -----
    It shows what is about as wide as the ring: humps and gullies much narrower than `inner` come
    out at full height but share the map with noise, features wider than `outer` fade.

    Near the shore the ring holds water on one side only, the deeper one as a rule, and the mean
    makes of any bank a rise, by up to its slope times 0.4 `outer`. The plane of least squares, read
    at the cell, leaves out the tilt of the ring, and an even slope is 0 to the very shore. In a
    whole ring it is the mean. A plane rests on fewer cells the more of the ring is dry: it follows
    what lies across a headland, and the noise of the soundings about twice as much as the mean of a
    whole ring does. `known` says how much of that is shown. Of rings of more than 20 cells' radius
    some 20 rows of cells, evenly spaced, make the plane.

    Cells within a radius are those of an octagon that has the radius's circle for its area as
    nearly as whole cells allow; its sides lie 0.97 and its corners 1.05 radii from the middle.

    References
    ----------
    Weiss 2001, "Topographic position and landforms analysis", poster, ESRI user conference, San
    Diego. Lundblad et al. 2006, Marine Geodesy 29:89, "A benthic terrain classification scheme
    for American Samoa", doi:10.1080/01490410600738021.
    """
    outer = max(40.0, 4 * depth.cell) if outer is None else outer
    inner = outer / 2 if inner is None else inner
    return depth.of(_position(depth, inner, outer, known, shore), "relative_position", "m")


@tool("Height above or below the surroundings, at the radius where it is greatest")
def relative_position_scales(
    depth: Grid,
    *,
    radii: Annotated[tuple[float, ...], Range("m", above=0)] = (),
    known: Annotated[float, Range("", above=0, max=1)] = _KNOWN,
    shore: Literal["plane", "mean"] = "plane",
    result: Literal["position", "radius"] = "position",
) -> Grid:
    """Return the most striking of the relative positions at several radii, or its radius.

    Parameters
    ----------
    depth : Grid
        Depth, m, positive down.
    radii : tuple of float
        Outer radii of the rings, m; each ring begins at half of it. If left out, 3 cells and its
        doubles up to a quarter of the grid's shorter side.
    known : float
        Share of a ring's cells that must have a depth for its radius to be judged.
    shore : str
        What counts where land cuts a ring, as in ``relative_position``.
    result : str
        The standardised position, or the outer radius (m) at which it was found.

    Returns
    -------
    Grid
        The position whose size is greatest of all radii, over the root mean square of the whole
        water at its radius: about 1 is usual, 3 is rare; positive on what stands up. Or the
        radius: about that of the hump or hole the cell belongs to.

    Raises
    ------
    ParameterError
        If a radius is less than 1.5 or more than 1,000 cells.

    Notes
    -----
    Without the division the widest radius would win nearly everywhere, as depths differ more the
    further apart they are. Of equal sizes the smallest radius counts. See ``relative_position``.

    References
    ----------
    Lindsay et al. 2015, Geomorphology 245:51, "An integral image approach to performing
    multi-scale topographic position analysis", doi:10.1016/j.geomorph.2015.05.025 (the scale of
    greatest deviation; it standardises by the spread within each window).
    """
    best = np.full(depth.shape, np.nan, np.float32)
    where = np.full(depth.shape, np.nan, np.float32)
    for radius in sorted(radii) or _doubling(depth):
        found = _position(depth, radius / 2, radius, known, shore, name="radii")
        found = _over_its_spread(found)
        better = ~(np.abs(found) <= np.abs(best)) & np.isfinite(found)
        best[better], where[better] = found[better], radius
    if result == "radius":
        return depth.of(where, "position_radius", "m")
    return depth.of(best, "standardised_position", "1")


def _doubling(depth: Grid) -> list[float]:
    """Return 3 cells and its doubles up to a quarter of the shorter side, in metres."""
    most = max(min(depth.shape) / 4, 3)
    return [3 * 2**k * depth.cell for k in range(math.floor(math.log2(most / 3)) + 1)]


def _over_its_spread(position: np.ndarray) -> np.ndarray:
    square = np.square(position, dtype=float)
    spread = np.sqrt(np.nanmean(square)) if np.isfinite(square).any() else 0.0
    return position / np.float32(spread) if spread > 0 else position


def _position(
    depth: Grid, inner: float, outer: float, known: float, shore: str, *, name: str = "outer"
) -> np.ndarray:
    """Mean of the ring, or the plane through it, less the cell's own value."""
    from toolbox.terrain.kernels.rings import ring_position, value_range
    from toolbox.terrain.kernels.tilted_rings import position_over_planes

    _check(depth.cell, inner, outer, name)
    large, small = _octagon(outer / depth.cell), _octagon(inner / depth.cell)
    whole = _count(*large) - _count(*small)
    counts = max(math.ceil(known * whole), 1), whole
    low, high = map(float, value_range(depth.values))
    middle = (low + high) / 2
    bits = 63 - _count(*large).bit_length()
    step = max(high - low, 1e-30) * _count(*large) / 2**bits
    scale = 2.0 ** -math.ceil(math.log2(step))
    out, part = np.empty(depth.shape, np.float32), np.empty(depth.shape, bool)
    ring_position(depth.values, large, small, bits, middle, scale, counts, part, out)
    if shore == "plane":
        position_over_planes(depth.values, part, large, small, middle, out)
    return out


def _check(cell: float, inner: float, outer: float, name: str) -> None:
    if outer < 1.5 * cell:
        raise ParameterError(
            f"{name} must be at least {1.5 * cell:g} m (a ring 3 cells of {cell:g} m across), "
            f"got {outer:g}"
        )
    if outer > WIDEST * cell:
        raise ParameterError(
            f"{name} must be at most {WIDEST * cell:g} m ({WIDEST} cells of {cell:g} m), "
            f"got {outer:g}"
        )
    if outer - inner < cell * (1 if inner else 0):
        raise ParameterError(
            f"inner must be at least a cell of {cell:g} m less than outer {outer:g}, got {inner:g}"
        )


def _octagon(radius: float) -> tuple[int, int]:
    """Return `wide` and `side` of the octagon whose count of cells is nearest the circle's area."""
    wide = round(0.9737 * radius)  # the half-width of a regular octagon of the circle's area
    side = min(range(wide + 1), key=lambda k: abs(_count(wide, k) - math.pi * radius**2))
    return wide, side


def _count(wide: int, side: int) -> int:
    """Count the cells of an octagon."""
    cut = wide - side
    return (2 * wide + 1) ** 2 - 2 * cut * (cut + 1)
