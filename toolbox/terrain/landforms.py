"""Landforms: what each place of the bed is, by what is seen from it."""

import math
from dataclasses import replace
from typing import Annotated, Any

import numpy as np

from toolbox.errors import ParameterError
from toolbox.layers import Grid
from toolbox.tool import Range, tool

__all__ = ["FORMS", "landforms"]

FORMS = {
    "flat": 1,
    "peak": 2,
    "ridge": 3,
    "shoulder": 4,
    "spur": 5,
    "slope": 6,
    "hollow": 7,
    "footslope": 8,
    "valley": 9,
    "pit": 10,
}
"""Code of each form, in the order of the paper."""

_TABLE = (
    "1 1 1 8 8 9 9 9 10",
    "1 1 8 8 8 9 9 9",
    "1 4 6 6 7 7 9",
    "4 4 6 6 6 7",
    "4 4 5 6 6",
    "3 3 5 5",
    "3 3 3",
    "3 3",
    "2",
)
"""Form by the count of directions that fall (row, 0 to 8) and that rise (column, 0 upwards)."""


def _reach(depth: Grid, *, radius: float | None, skip: float, **_: Any) -> int:
    """Cells along the longest line of sight."""
    radius = _radius(depth.cell, radius)
    _check(depth.cell, radius, skip)
    return _cells(depth.cell, radius)[0]


@tool("Landforms of the bed", reach=_reach)
def landforms(
    depth: Grid,
    *,
    radius: Annotated[float, Range("m", above=0)] | None = None,
    skip: Annotated[float, Range("m", min=0)] = 0.0,
    flatness: Annotated[float, Range("degree", above=0, max=45)] = 2.0,
) -> Grid:
    """Return which of ten forms the bed has at each cell, by lines of sight.

    Parameters
    ----------
    depth : Grid
        Depth, m, positive down; the forms are those of the bed, so a hump is a peak.
    radius : float, optional
        How far to look, m. If left out, 40 m, but at least 4 cells.
    skip : float
        Cells nearer than this, m, are not looked at: small roughness loses its say.
    flatness : float
        Lines whose zenith and nadir angles differ by no more than this are level, degrees: even
        slopes up to half of it are flat.

    Returns
    -------
    Grid
        Code 1 to 10 wherever the depth has a value: flat, peak, ridge, shoulder, spur, slope,
        hollow, footslope, valley, pit; ``FORMS`` maps names to codes.

    Raises
    ------
    ParameterError
        If the window is less than 3 cells across, or nothing is left between `skip` and `radius`.

    Notes
    -----
    From a cell, eight lines run to its neighbours and on to the radius. A line's zenith angle is
    the least angle between straight up and the bed along the line, its nadir angle the least
    between straight down and the bed. The line rises if the nadir angle exceeds the zenith angle
    by more than the flatness, falls if it is the other way about, and is level else. How many
    lines rise and how many fall decides the form: on a peak all fall, in a pit all rise.

    A line ends at the shore, at the first missing cell and at the border of the grid; what is seen
    up to there counts. A line that ends before it has seen a cell is taken for the reverse of the
    one behind it, so that a slope is a slope to the very shore; if neither sees anything, both
    are level.

    Features up to about the radius wide are told apart; of wider ones the inside is slope or flat.
    The forms know no depth. A shelf is none of them: it is flat and shallow, as the floor of the
    basin is flat and deep, and shoulders are the edge at which it ends. Those that slope by more
    than half the `flatness` are slope.

    A small `flatness` turns the noise of the soundings into forms, a large one loses gentle bars
    and gullies.

    References
    ----------
    Jasiewicz & Stepinski 2013, Geomorphology 182:147, "Geomorphons - a pattern recognition
    approach to classification and mapping of landforms", doi:10.1016/j.geomorph.2012.11.005.
    """
    from toolbox.terrain.kernels.landforms import line_of_sight_forms

    radius = _radius(depth.cell, radius)
    skipped, reach = _cells(depth.cell, skip), _cells(depth.cell, radius)
    _check(depth.cell, radius, skip)
    out = np.empty(depth.shape, np.float32)
    flat = np.float32(math.tan(math.radians(flatness)))
    line_of_sight_forms(depth.values, depth.cell, flat, skipped, reach, _table(), out)
    told = ", ".join(f"{code} {name}" for name, code in FORMS.items())
    return replace(depth.of(out, "landforms", "1"), notes=(*depth.notes, f"landform codes: {told}"))


def _radius(cell: float, radius: float | None) -> float:
    return max(40.0, 4 * cell) if radius is None else radius


def _cells(cell: float, metres: float) -> tuple[int, int]:
    """Return how many cells lie within a distance along a row and along a diagonal."""
    cells = metres / cell * (1 + 1e-9)
    return math.floor(cells), math.floor(cells / math.sqrt(2))


def _check(cell: float, radius: float, skip: float) -> None:
    least = math.sqrt(2) * cell
    if radius < least * (1 - 1e-9):
        raise ParameterError(
            f"radius must be at least {least:.4g} m (a window 3 cells of {cell:g} m across, "
            f"corners included), got {radius:g}"
        )
    if radius - skip < least * (1 - 1e-9):
        raise ParameterError(
            f"skip must be at least {least:.4g} m (a cell of {cell:g} m, slanting) less than "
            f"radius {radius:g}, got {skip:g}"
        )


def _table() -> np.ndarray:
    table = np.zeros((9, 9), np.int8)
    for fall, codes in enumerate(_TABLE):
        table[fall, : 9 - fall] = [int(code) for code in codes.split()]
    return table
