"""Profiles across a line of steep bed: where its lip and its foot lie."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial
from typing import Any

import numpy as np

from toolbox.features.centre_lines import along, evenly, normals
from toolbox.features.forms import Form
from toolbox.features.surface import Surface

__all__ = ["Profiles"]

DOUBT = 1.5
"""Times that a draw's distance from the bed is counted when drop-offs are asked for (measured on
invented lakes)."""

_ROOM = 0.25  # of a width, that must be water above a lip
_EDGE = 0.33  # share of the excess slope at which lip and foot are put
_GENTLER = 0.7  # share of its slope that bed above and below must stay under
_FOLLOWED = 0.9  # the same, where a drop-off is followed
_SURE = 0.25  # share of its places that must be gentler by the first, and no side of other forms
_LEVEL, _MOSTLY = 0.4, 0.7  # the same of bed that is next to level, and on how much of the line
_RETURN = 0.5  # of the same, where the bed turns: the side of a hump or gully
_SIDE = 0.6  # relief of a gully or hump whose side it would be, in drops
_WINDOW = 7  # places along the line over which lip and foot are evened out
_TOGETHER = 5  # places along the line that are looked at as one in a draw
_HELD_DROP, _HELD_SIDE, _HELD_LENGTH = 0.8, 0.75, 0.5  # of drop, slope and length, in a draw


@dataclass(frozen=True, eq=False)
class Profiles:
    """Profiles across a line of steep bed, downhill to its left.

    Of each: the place on the line, the direction downhill, how far downhill lip and foot lie (m),
    their depths, and the mean slope over a width above the lip and below the foot.
    """

    line: np.ndarray
    normal: np.ndarray
    lip: np.ndarray
    foot: np.ndarray
    top: np.ndarray
    bottom: np.ndarray
    above: np.ndarray
    below: np.ndarray

    @classmethod
    def across(cls, surface: Surface, line: np.ndarray, reach: np.ndarray) -> "Profiles | None":
        """Measure the profiles; None of a line that is too short for any."""
        from scipy.ndimage import median_filter

        halves = surface.at(reach, line)
        if len(line) < 4 or not np.isfinite(halves).any():
            return None
        far = max(float(np.nanmedian(halves)), 4 * surface.cell)
        normal = normals(line)
        fall = np.column_stack([surface.at(surface.east, line), surface.at(surface.north, line)])
        if np.nansum(fall * normal) < 0:
            line, normal = line[::-1], -normal[::-1]
        step = surface.cell / 2
        # lip and foot lie in the inner part, bed above and below is looked at beyond
        inner, count = int(np.ceil(1.5 * far / step)), int(np.ceil(5 * far / step))
        offsets = step * np.arange(-count, count + 1)
        part = slice(count - inner, count + inner + 1)
        depth = surface.at(surface.depth, line[:, None] + offsets[:, None] * normal[:, None])
        lip, foot = _edges(np.gradient(depth, step, axis=1)[:, part], offsets[part])
        size = min(_WINDOW, len(line) | 1)
        lip, foot = (median_filter(edge, size, mode="nearest") for edge in (lip, foot))
        width = np.maximum(foot - lip, step)

        def at(where: np.ndarray) -> np.ndarray:
            return surface.at(surface.depth, line + where[:, None] * normal)

        top, bottom = at(lip), at(foot)
        above = _mean_slope(depth, offsets, lip - width, lip)
        below = _mean_slope(depth, offsets, foot, foot + width)
        # a lip needs ground above it; below a foot the water may end
        below[np.isnan(below)] = 0.0
        return cls(line, normal, lip, foot, top, bottom, above, below)

    def part(self, run: np.ndarray) -> "Profiles":
        """Return some of the profiles."""
        return Profiles(*(getattr(self, name)[run] for name in self.__dataclass_fields__))

    @property
    def middle(self) -> np.ndarray:
        """Places half way from lip to foot, (k, 2)."""
        return np.asarray(self.line + ((self.lip + self.foot) / 2)[:, None] * self.normal)

    @property
    def drop(self) -> np.ndarray:
        """Depth from lip to foot, (k,), m."""
        return np.asarray(self.bottom - self.top)

    @property
    def width(self) -> np.ndarray:
        """Distance from lip to foot, (k,), m."""
        return np.maximum(self.foot - self.lip, 1e-9)

    @property
    def length(self) -> float:
        """Length of the line, m."""
        return along(self.line)

    @property
    def typical(self) -> float:
        """Median drop, m."""
        return float(np.nanmedian(self.drop))

    @property
    def steepness(self) -> float:
        """Median slope from lip to foot, rise over run."""
        return float(np.nanmedian(self.drop / self.width))

    @property
    def stands_out(self) -> bool:
        """Whether bed above and below is next to level on most of the line."""
        return float(self.gentler(_LEVEL).mean()) >= _MOSTLY

    def gentler(self, share: float) -> np.ndarray:
        """Which profiles are gentler above and below by a share, and do not turn back."""
        mean = self.drop / self.width
        sides = np.stack([self.above, self.below])
        return np.asarray(((sides <= share * mean) & (sides >= -_RETURN * mean)).all(axis=0))

    def runs(
        self, least_drop: float, taken: Sequence[tuple[Any, float]], *, most: int
    ) -> list[np.ndarray]:
        """Return the runs of places that make a drop-off, each with enough sure ones."""
        fine, clear = self.drop >= 0.5 * least_drop, self.clear_of(taken)
        sure, faint = fine & self.gentler(_GENTLER), fine & self.gentler(_FOLLOWED)
        runs = []
        for run in _runs(faint, most=most):
            # one that mostly is a side of something else keeps what is not
            own = clear[run].mean() >= _SURE
            runs += [run] if own else [run[part] for part in _runs((faint & clear)[run], most=most)]
        return [run for run in runs if sure[run].mean() >= _SURE]

    def clear_of(self, taken: Sequence[tuple[Any, float]]) -> np.ndarray:
        """Which profiles are not the side of something else of like relief."""
        import shapely

        clear = np.ones(len(self.line), bool)
        for shape, relief in taken:
            clear &= ~(shapely.contains_xy(shape, *self.middle.T) & (relief >= _SIDE * self.drop))
        return clear

    def mostly_in(self, shapes: Sequence[Any]) -> bool:
        """Tell whether half of the middles between lip and foot or more lie in one of the areas."""
        import shapely

        return any(shapely.contains_xy(shape, *self.middle.T).mean() >= 0.5 for shape in shapes)

    def form(self, step: float, least_drop: float) -> Form:
        """Return lip and foot as a form."""
        import shapely

        edges = [self.line + edge[:, None] * self.normal for edge in (self.lip, self.foot)]
        lip, foot = (shapely.LineString(evenly(edge, step, blur=2 * step)) for edge in edges)
        figures = {
            "depth_least_m": float(np.nanmin(self.top)),
            "depth_greatest_m": float(np.nanmax(self.bottom)),
            "relief_m": self.typical,
            "length_m": self.length,
            "width_m": float(np.median(self.width)),
            "slope_deg": float(np.degrees(np.arctan(self.steepness))),
        }
        ends = [self.lip - self.width, self.lip, self.foot, self.foot + self.width]
        offsets = np.stack(ends, axis=1)[..., None]
        places = self.line[:, None] + offsets * self.normal[:, None]
        held = partial(_held, len(self.line), _HELD_DROP * least_drop)
        shapes = {"drop-off lip": lip, "drop-off foot": foot}
        return Form(shapes, figures, places.reshape(-1, 2), held, doubt=DOUBT)


def _mean_slope(
    depth: np.ndarray, offsets: np.ndarray, start: np.ndarray, end: np.ndarray
) -> np.ndarray:
    """Return the mean slope of profiles between offsets, or of what part of it is water.

    NaN where that is too little to tell.
    """
    inside = (offsets >= start[:, None]) & (offsets <= end[:, None]) & np.isfinite(depth)
    rows = np.arange(len(depth))
    first, last = inside.argmax(axis=1), depth.shape[1] - 1 - inside[:, ::-1].argmax(axis=1)
    run = np.where(inside.any(axis=1), offsets[last] - offsets[first], 0.0)
    enough = run >= (end - start) * _ROOM
    fall = depth[rows, last] - depth[rows, first]
    return np.where(enough, fall / np.maximum(run, 1e-9), np.nan)


def _edges(grade: np.ndarray, offsets: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return how far downhill lip and foot lie on each profile (k, m) of slopes."""
    near = np.abs(offsets) <= offsets[-1] / 3
    masked = np.where(near & np.isfinite(grade), grade, -np.inf)
    lip, foot = np.zeros(len(grade)), np.zeros(len(grade))
    for row, peak in enumerate(masked.argmax(axis=1)):
        if masked[row, peak] > 0:
            lip[row] = offsets[peak - _way_to_edge(grade[row, peak::-1])]
            foot[row] = offsets[peak + _way_to_edge(grade[row, peak:])]
    return lip, foot


def _way_to_edge(grade: np.ndarray) -> int:
    """Return how many steps it is from the steepest place to where the bed is gentle."""
    known = np.isfinite(grade)
    part = grade if known.all() else grade[: int(known.argmin())]
    gentle = max(float(part.min()), 0.0)
    low = np.flatnonzero(part <= gentle + _EDGE * (part[0] - gentle))
    return int(low[0]) if len(low) else len(part) - 1


def _runs(good: np.ndarray, *, most: int) -> list[np.ndarray]:
    """Return runs of places that are good, across gaps of at most so many that are not."""
    at = np.flatnonzero(good)
    if not len(at):
        return []
    cuts = np.flatnonzero(np.diff(at) > most + 1) + 1
    return [np.arange(part[0], part[-1] + 1) for part in np.split(at, cuts)]


def _held(count: int, least_drop: float, depths: np.ndarray) -> np.ndarray:
    """Tell which beds drop far enough, and are gentler above and below, on most of the length."""
    from scipy.ndimage import uniform_filter1d

    ends = np.nan_to_num(depths).reshape(len(depths), count, 4)
    ends = uniform_filter1d(ends, min(_TOGETHER, count), axis=1)
    above, drop, below = np.moveaxis(np.diff(ends, axis=2), 2, 0)
    clear = (drop >= least_drop) & (np.maximum(above, below) <= _HELD_SIDE * drop)
    return np.asarray(clear.mean(axis=1) >= _HELD_LENGTH)
