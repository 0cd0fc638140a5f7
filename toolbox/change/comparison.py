"""Comparison: two beds of one water on their common ground, and what their difference may err."""

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from statistics import NormalDist
from typing import Any

import numpy as np

from toolbox.bed.gridding import default_cell, grid_bed
from toolbox.bed.location import interpolated, locate
from toolbox.change.noise import BedError, spherical_fields
from toolbox.errors import LayerError, ParameterError, TooLargeError
from toolbox.layers import Grid, Tin
from toolbox.layers.crs import check_same_crs
from toolbox.layers.geodesy import areal_scale
from toolbox.units import round_number

__all__ = ["Comparison", "compare", "limit_of_detection", "quantile"]

FIELDS = 200
"""Fields of error: of 200 the tenth largest stands for the 95 % quantile."""

_CELLS = 50_000

_TINY = 1e-30
_LEAST_SD = 1e-3
"""m: of a bed held fast, as at its shore, where nets that differ give depths that do."""


def limit_of_detection(sd_before: Any, sd_after: Any, t: float, datum_sd: float = 0.0) -> Any:
    """Return the least change that is no chance: t sqrt(s1^2 + s2^2 + datum_sd^2), m.

    References
    ----------
    Lane, Westaway & Hicks 2003, Earth Surface Processes and Landforms 28:249; Brasington, Langham
    & Rumsby 2003, Geomorphology 53:299; Wheaton et al. 2010, Earth Surface Processes and Landforms
    35:136.
    """
    return t * np.sqrt(np.square(sd_before) + np.square(sd_after) + datum_sd**2)


def quantile(confidence: float) -> float:
    """Return how many sds to either side hold that share of a normal distribution."""
    return NormalDist().inv_cdf((1 + confidence) / 2)


@dataclass(frozen=True, eq=False)
class Comparison:
    """Two beds at the centres of the cells of their common ground.

    Parameters
    ----------
    cells : Grid
        The earlier bed's cells; its values do not count.
    row, col : (c,) arrays of int
        Which of them are common ground.
    rise : (c,) array
        By how much the later bed lies higher, m: positive where something was laid down.
    sd_before, sd_after : (c,) arrays
        One standard deviation of either depth, m.
    datum_sd : float
        Of the difference of the two surveys' levels, m.
    depth : (c,) array
        Mean of both beds, each weighed by how sure it is, so that the depth's own error has no part
        in the rise, m.
    ground : (c,) array
        Area of each cell on the ground, m2.
    errors : (k, c) array
        Equally likely errors of `rise`, m, float32.
    notes : tuple of str
        What was assumed.
    """

    cells: Grid
    row: np.ndarray
    col: np.ndarray
    rise: np.ndarray
    sd_before: np.ndarray
    sd_after: np.ndarray
    datum_sd: float
    depth: np.ndarray
    ground: np.ndarray
    errors: np.ndarray
    notes: tuple[str, ...]

    @cached_property
    def sd(self) -> np.ndarray:
        """One standard deviation of the rise, (c,), m."""
        return np.asarray(limit_of_detection(self.sd_before, self.sd_after, 1.0, self.datum_sd))

    def score_of(self, rise: np.ndarray) -> np.ndarray:
        """Return a rise (c,) over its sd."""
        return np.asarray(rise / np.maximum(self.sd, _LEAST_SD))

    @cached_property
    def places(self) -> np.ndarray:
        """Centres of the cells, (c, 2), m."""
        return _centres(self.cells, self.row, self.col)

    def spread(self, values: np.ndarray, fill: float = math.nan) -> np.ndarray:
        """Return values (c,) on the whole grid (rows, cols)."""
        out = np.full(self.cells.shape, fill, np.asarray(values).dtype)
        out[self.row, self.col] = values
        return out

    def grid(self, values: np.ndarray, name: str, unit: str) -> Grid:
        """Return values (c,) as a grid, with the notes."""
        whole = self.spread(np.asarray(values, np.float32))
        return Grid(whole, self.cells.transform, self.cells.crs, name, unit, self.notes)


def compare(
    before: Tin,
    after: Tin,
    *,
    cell: float | None = None,
    shift: float = 0.0,
    datum_sd: float = 0.0,
    sd_before: float | None = None,
    sd_after: float | None = None,
    correlation_range: float | None = None,
    seed: int = 0,
) -> Comparison:
    """Lay two beds over each other.

    Parameters
    ----------
    before, after : Tin
        The beds, in one CRS and below one datum.
    cell : float, optional
        Width of a cell, m.
    shift : float
        Taken off the rise, m.
    datum_sd : float
        One standard deviation of the difference of the two surveys' levels, m.
    sd_before, sd_after : float, optional
        Of a bed that knows no error, m.
    correlation_range : float, optional
        Distance beyond which the error of a bed without draws is not correlated, m.
    seed : int
        Of chance.

    Returns
    -------
    Comparison
        On the cells whose centre lies in both waters.

    Raises
    ------
    LayerError
        If the beds lie in different CRS or have no ground in common.
    ParameterError
        If a bed's error is not known, or nothing tells how it is correlated.
    TooLargeError
        If the fields of error do not fit into memory.
    """
    check_same_crs(before=before, after=after)
    cells = grid_bed(before, cell=_cell(before, after) if cell is None else cell)
    row, col = np.nonzero(np.isfinite(cells.values))
    first = locate(before.vertices, before.triangles, _centres(cells, row, col))
    second = locate(after.vertices, after.triangles, _centres(cells, row, col))
    common = (first[0] >= 0) & (second[0] >= 0)
    if not common.any():
        raise LayerError("the two beds must lie over each other, they have no ground in common")
    row, col = row[common], col[common]
    first, second = ((found[0][common], found[1][common]) for found in (first, second))
    depth, later = (
        interpolated(bed.depth, bed.triangles, at) for bed, at in ((before, first), (after, second))
    )
    _check_memory(len(row), cells.cell)
    of_before = BedError(before, first, sd_before, "before")
    of_after = BedError(after, second, sd_after, "after")
    rise, share = depth - later - shift, _share(of_before.sd, of_after.sd)
    ground = cells.cell**2 / areal_scale(before.crs, _centres(cells, row, col))
    rng = np.random.default_rng(seed)
    make = _simulator(cells, row, col, correlation_range, rng)
    errors = of_before.fields(FIELDS, 0, make) - of_after.fields(FIELDS, 1, make)
    errors += rng.normal(0, 1, (FIELDS, 1)).astype(np.float32) * np.float32(datum_sd)
    left_out = 1 - float(ground.sum()) / max(
        float(bed.ground_areas().sum()) for bed in (before, after)
    )
    return Comparison(
        cells,
        row,
        col,
        rise,
        of_before.sd,
        of_after.sd,
        datum_sd,
        later + share * rise,
        ground,
        errors,
        _notes(of_before, of_after, correlation_range, left_out, shift, datum_sd),
    )


def _share(sd: np.ndarray, other: np.ndarray) -> np.ndarray:
    """Weight of a depth beside another, by their sds."""
    both = np.square(sd) + np.square(other)
    return np.asarray(np.where(both > 0, np.square(other) / np.maximum(both, _TINY), 0.5))


def _cell(before: Tin, after: Tin) -> float:
    fine = max(default_cell(before), default_cell(after))
    return max(fine, round_number(math.sqrt(float(before.areas().sum()) / _CELLS), up=True))


def _centres(cells: Grid, row: np.ndarray, col: np.ndarray) -> np.ndarray:
    left, _, _, top = cells.bounds
    return np.column_stack([left + (col + 0.5) * cells.cell, top - (row + 0.5) * cells.cell])


def _simulator(
    cells: Grid,
    row: np.ndarray,
    col: np.ndarray,
    reach: float | None,
    rng: np.random.Generator,
) -> Callable[[int], np.ndarray]:
    """Return what makes fields of sd 1 at the cells."""

    def make(count: int) -> np.ndarray:
        if reach is None:
            raise ParameterError(
                "correlation_range must be given: a bed without draws does not tell how far its "
                "error reaches"
            )
        return spherical_fields(cells.shape, cells.cell, reach, count, rng)[:, row, col]

    return make


def _check_memory(count: int, cell: float) -> None:
    import psutil

    needed, free = 4.0 * 5 * FIELDS * count, psutil.virtual_memory().available
    if needed > free:
        fits = round_number(cell * math.sqrt(needed / free), up=True)
        raise TooLargeError(
            f"cell = {cell:g} m makes {count:,} cells, whose errors need {needed / 2**30:,.0f} GiB;"
            f" {free / 2**30:,.1f} GiB are free; cell = {fits:g} m would fit"
        )


def _notes(
    before: BedError,
    after: BedError,
    reach: float | None,
    left_out: float,
    shift: float,
    datum_sd: float,
) -> tuple[str, ...]:
    from_draws = [error.drawn is not None for error in (before, after)]
    simulated = f"errors simulated, correlated over {reach:g} m" if reach else ""
    notes = [
        "errors of both beds by their draws, which carry how they are correlated"
        if all(from_draws)
        else f"{simulated} ({'one bed' if any(from_draws) else 'both beds'} without draws)"
    ]
    if left_out > 0.005:
        notes.append(f"{left_out:.1%} of the larger water is not common to both and left out")
    if shift:
        notes.append(f"a shift of {shift:g} m is taken off the change")
    if datum_sd:
        notes.append(f"levels of the two surveys differ by 0 m, sd {datum_sd:g} m")
    return tuple(notes)
