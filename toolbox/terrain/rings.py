"""Rings of cells: which they are, and how far a cell stands above the one round it."""

import math
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from toolbox.errors import ParameterError
from toolbox.layers import Grid

__all__ = [
    "WIDEST",
    "Ring",
    "check_ring",
    "position_in_ring",
    "ring_reach",
    "ring_workspace",
    "value_range",
]

WIDEST = 1000
"""Greatest radius, cells: beyond it the sums would have to be kept in coarser steps."""


@dataclass(frozen=True)
class Ring:
    """What lies between two octagons, how much of it must be known, and what is made of it.

    Parameters
    ----------
    radius : float
        The outer one, m.
    large, small : (int, int)
        Octagons, each by `wide` and `side`: see the compiled loops.
    known : float
        Least share of the cells that must have a value.
    shore : str
        ``"plane"`` or ``"mean"``: what counts where some have none.
    """

    radius: float
    large: tuple[int, int]
    small: tuple[int, int]
    known: float
    shore: str

    @classmethod
    def of(
        cls,
        cell: float,
        inner: float,
        outer: float,
        known: float,
        shore: str,
        *,
        name: str = "outer",
    ) -> "Ring":
        """Make the ring between two radii, m; `name` is what errors call the outer one."""
        check_ring(cell, inner, outer, name)
        return cls(outer, _octagon(outer / cell), _octagon(inner / cell), known, shore)

    @property
    def counts(self) -> tuple[int, int]:
        """Least number of known cells, and that of all."""
        whole = _count(*self.large) - _count(*self.small)
        return max(math.ceil(self.known * whole), 1), whole


def value_range(blocks: Iterable[Grid]) -> tuple[float, float]:
    """Return the least and the greatest known value of a raster, infinities where none is."""
    from toolbox.terrain.kernels import rings

    low, high = math.inf, -math.inf
    for block in blocks:
        least, most = map(float, rings.value_range(block.values))
        low, high = min(low, least), max(high, most)
    return low, high


def position_in_ring(
    depth: Grid, ring: Ring, span: tuple[float, float], place: tuple[int, int] = (0, 0)
) -> np.ndarray:
    """Return the mean of the ring, or the plane through it, less the cell's own value.

    Parameters
    ----------
    depth : Grid
        A raster, or a window of it.
    ring : Ring
        What to look at.
    span : (float, float)
        Range of values of the whole raster.
    place : (int, int)
        Row and column of the whole at which the window begins.

    Returns
    -------
    (rows, cols) array of float32
        In the unit of the values.
    """
    from toolbox.terrain.kernels.rings import ring_position
    from toolbox.terrain.kernels.tilted_rings import position_over_planes

    (low, high), cells = span, _count(*ring.large)
    middle, bits = (low + high) / 2, 63 - cells.bit_length()
    step = max(high - low, 1e-30) * cells / 2**bits
    scale = 2.0 ** -math.ceil(math.log2(step))
    out, part = np.empty(depth.shape, np.float32), np.empty(depth.shape, bool)
    ring_position(depth.values, ring.large, ring.small, bits, middle, scale, ring.counts, part, out)
    if ring.shore == "plane":
        position_over_planes(depth.values, place, part, ring.large, ring.small, middle, out)
    return out


def ring_reach(cell: float, outer: float) -> int:
    """Return how many cells away something can lie that a position depends on.

    Planes are reckoned tile by tile of the whole raster, from whole tiles.
    """
    from toolbox.terrain.kernels.tilted_rings import TILE

    return _octagon(outer / cell)[0] + TILE - 1


def ring_workspace(cols: int, radius: float) -> int:
    """Return the bytes that threads take for sums along rows, of a radius in cells."""
    import numba

    from toolbox.terrain.kernels.rings import STRIP

    wide = math.ceil(radius)
    along = min(cols, STRIP) + 6 * wide + 8
    return int(numba.get_num_threads() * 8 * (2 * wide + 6) * along)


def check_ring(cell: float, inner: float, outer: float, name: str) -> None:
    """Raise ParameterError unless cells make a ring of such radii, m."""
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
