"""Forms: what was found on a bed, and how to ask another bed whether it holds the same."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from toolbox.layers import Tin

__all__ = ["Form", "confidences", "least_relief_of", "spacing_of", "supports"]

LEAST_RELIEF = 0.3
"""What a form must rise or fall by to be told, m (common practice, no source)."""


@dataclass(frozen=True, eq=False)
class Form:
    """A form of the bed.

    Parameters
    ----------
    shapes : dict
        Kind of each of its geometries (``"gully"``, ``"gully axis"``).
    figures : dict
        Columns of the table, by name.
    places : (p, 2) array
        Where the depth of another bed must be known to look for the form there.
    held : callable
        From depths (k, p) of k beds at the places to (k,) of bool: which of them hold the form.
    doubt : float
        How many times as far as a draw a bed is taken to stray from the fitted one, where forms of
        a kind are there less often than the draws say.
    """

    shapes: dict[str, Any]
    figures: dict[str, float]
    places: np.ndarray = field(repr=False)
    held: Callable[[np.ndarray], np.ndarray] = field(repr=False)
    doubt: float = 1.0


def spacing_of(bed: Tin) -> float:
    """Return the mean spacing of a bed's vertices, m."""
    return float(np.sqrt(bed.areas().sum() / len(bed.depth)))


def least_relief_of(bed: Tin, *, times: float = 2.0) -> float:
    """Return 0.3 m, or so many times the median sd of the bed where it knows it and that is more.

    A hump or a hole rests on its top or bottom alone; a gully, whose depth is the median of many
    places, is told apart from chance at half of what they need.
    """
    return LEAST_RELIEF if bed.sd is None else max(LEAST_RELIEF, times * float(np.median(bed.sd)))


def confidences(bed: Tin, forms: Sequence[Form]) -> np.ndarray:
    """Return the share of the bed's draws, with its doubt, that hold a form; NaN without draws."""
    from toolbox.bed.location import interpolated, locate

    if bed.draws is None or not forms:
        return np.full(len(forms), np.nan)
    located = locate(bed.vertices, bed.triangles, np.vstack([form.places for form in forms]))
    fitted = interpolated(bed.depth, bed.triangles, located)
    ends = np.cumsum([len(form.places) for form in forms])
    held, count = np.zeros(len(forms)), 0
    for depths in bed.drawn():
        by_vertex = np.ascontiguousarray(depths.T)
        for k, (end, form) in enumerate(zip(ends, forms, strict=True)):
            own = slice(end - len(form.places), end)
            there = interpolated(by_vertex, bed.triangles, (located[0][own], located[1][own]))
            there = fitted[own] + form.doubt * (there.T - fitted[own])
            held[k] += form.held(np.ascontiguousarray(there)).sum()
        count += len(depths)
    return held / count


def supports(bed: Tin, forms: Sequence[Form]) -> np.ndarray:
    """Return the median support of the bed at the places of each form; NaN where unknown."""
    from toolbox.bed.location import interpolated, locate

    if bed.support is None or not forms:
        return np.full(len(forms), np.nan)
    middles = [_middle(form) for form in forms]
    located = locate(bed.vertices, bed.triangles, np.vstack(middles))
    values = interpolated(bed.support, bed.triangles, located)
    parts = np.split(values, np.cumsum([len(places) for places in middles])[:-1])
    known = [part[np.isfinite(part)] for part in parts]
    return np.array([np.median(part) if len(part) else np.nan for part in known])


def _middle(form: Form) -> np.ndarray:
    """Return places along the lines, or in the areas, of a form."""
    import shapely

    shape = next(iter(form.shapes.values()))
    if shape.geom_type == "Polygon":
        inside = form.places[shapely.contains_xy(shape, *form.places.T)]
        return inside if len(inside) else shapely.get_coordinates(shape.representative_point())
    return shapely.get_coordinates(shapely.segmentize(shape, max(shape.length / 50, 1e-3)))
