"""Position: how far the bed stands above or below what lies round about."""

import math
from collections.abc import Callable, Iterable, Sequence
from typing import Annotated, Any, Literal

import numpy as np

from toolbox.layers import Grid
from toolbox.layers.grid_blocks import GridBlocks
from toolbox.layers.grid_windows import GridWindows, by_windows
from toolbox.terrain.rings import (
    WIDEST,
    Ring,
    check_ring,
    position_in_ring,
    ring_reach,
    ring_workspace,
    value_range,
)
from toolbox.tool import Range, tool

__all__ = ["relative_position", "relative_position_scales"]

_KNOWN = 0.5
"""Least share of a ring that must be known."""


def _position_reach(
    depth: Grid | GridWindows, *, inner: float | None, outer: float | None, **_: Any
) -> int:
    inner, outer = _radii(depth.cell, inner, outer)
    check_ring(depth.cell, inner, outer, "outer")
    return ring_reach(depth.cell, outer)


def _position_blocks(
    depth: GridWindows,
    *,
    size: tuple[int, int],
    inner: float | None = None,
    outer: float | None = None,
    known: float = _KNOWN,
    shore: str = "plane",
) -> GridBlocks:
    """Give the relative position block by block; the range of depths is found first."""
    ring = Ring.of(depth.cell, *_radii(depth.cell, inner, outer), known, shore)
    reach = _position_reach(depth, inner=inner, outer=outer)
    span = value_range(_themselves(depth, size))

    def compute(window: Grid, place: tuple[int, int]) -> Grid:
        return window.of(position_in_ring(window, ring, span, place), "relative_position", "m")

    return by_windows(depth, compute, reach=reach, size=size)


def _position_workspace(
    depth: Grid, shape: tuple[int, int], *, inner: float | None, outer: float | None, **_: Any
) -> int:
    return ring_workspace(shape[1], _radii(depth.cell, inner, outer)[1] / depth.cell)


@tool(
    "Height above or below the surroundings",
    reach=_position_reach,
    workspace=_position_workspace,
    blocks=_position_blocks,
)
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
    ring = Ring.of(depth.cell, *_radii(depth.cell, inner, outer), known, shore)
    return depth.of(position_in_ring(depth, ring, value_range([depth])), "relative_position", "m")


def _scales_reach(depth: Grid | GridWindows, *, radii: Sequence[float], **_: Any) -> int:
    widest = max(radii or _doubling(depth))
    check_ring(depth.cell, widest / 2, widest, "radii")
    return ring_reach(depth.cell, widest)


def _scales_blocks(
    depth: GridWindows,
    *,
    size: tuple[int, int],
    radii: Sequence[float] = (),
    known: float = _KNOWN,
    shore: str = "plane",
    result: str = "position",
) -> GridBlocks:
    """Give it block by block; the range of depths and the spread at each radius are found first."""
    rings = _rings(depth, radii, known, shore)
    reach, span = _scales_reach(depth, radii=radii), value_range(_themselves(depth, size))

    def at(ring: Ring) -> Callable[[Grid, tuple[int, int]], Grid]:
        return lambda window, place: window.of(position_in_ring(window, ring, span, place), "", "m")

    spreads = [_spread(by_windows(depth, at(ring), reach=reach, size=size)) for ring in rings]

    def compute(window: Grid, place: tuple[int, int]) -> Grid:
        found = (position_in_ring(window, ring, span, place) for ring in rings)
        return _most_striking(window, rings, zip(found, spreads, strict=True), result)

    return by_windows(depth, compute, reach=reach, size=size)


def _scales_workspace(
    depth: Grid, shape: tuple[int, int], *, radii: Sequence[float], **_: Any
) -> int:
    """Bytes of the sums of the widest ring, and of what the radii before gave."""
    rows, cols = shape
    return 32 * rows * cols + ring_workspace(cols, max(radii or _doubling(depth)) / depth.cell)


@tool(
    "Height above or below the surroundings, at the radius where it is greatest",
    reach=_scales_reach,
    workspace=_scales_workspace,
    blocks=_scales_blocks,
)
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
        doubles up to a quarter of the grid's shorter side, at most 1,000 cells.
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
    rings, span = _rings(depth, radii, known, shore), value_range([depth])
    found = (position_in_ring(depth, ring, span) for ring in rings)
    spread = ((position, _spread([depth.of(position, "", "m")])) for position in found)
    return _most_striking(depth, rings, spread, result)


def _most_striking(
    depth: Grid,
    rings: Sequence[Ring],
    positions: Iterable[tuple[np.ndarray, float]],
    result: str,
) -> Grid:
    best = np.full(depth.shape, np.nan, np.float32)
    where = np.full(depth.shape, np.nan, np.float32)
    for ring, (position, spread) in zip(rings, positions, strict=True):
        found = position / np.float32(spread) if spread > 0 else position
        better = ~(np.abs(found) <= np.abs(best)) & np.isfinite(found)
        best[better], where[better] = found[better], ring.radius
    if result == "radius":
        return depth.of(where, "position_radius", "m")
    return depth.of(best, "standardised_position", "1")


def _rings(
    depth: Grid | GridWindows, radii: Sequence[float], known: float, shore: str
) -> list[Ring]:
    return [
        Ring.of(depth.cell, radius / 2, radius, known, shore, name="radii")
        for radius in sorted(radii) or _doubling(depth)
    ]


def _doubling(depth: Grid | GridWindows) -> list[float]:
    """Return 3 cells and its doubles up to a quarter of the shorter side, in metres."""
    most = min(max(min(depth.shape) / 4, 3), WIDEST)
    return [3 * 2**k * depth.cell for k in range(math.floor(math.log2(most / 3)) + 1)]


def _spread(positions: Iterable[Grid]) -> float:
    """Root mean square of positions; exact sums of rows, so that blocks make no difference."""
    sums: list[float] = []
    count = 0
    for block in positions:
        square = np.square(block.values, dtype=float)
        count += int(np.isfinite(square).sum())
        sums += np.nansum(square, axis=1).tolist()
    return math.sqrt(math.fsum(sums) / count) if count else 0.0


def _themselves(depth: GridWindows, size: tuple[int, int]) -> GridBlocks:
    return by_windows(depth, lambda window, _: window, reach=0, size=size)


def _radii(cell: float, inner: float | None, outer: float | None) -> tuple[float, float]:
    outer = max(40.0, 4 * cell) if outer is None else outer
    return outer / 2 if inner is None else inner, outer
