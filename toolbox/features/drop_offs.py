"""Drop-offs: steep bed between gentler bed above and below, as its lip and its foot."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial
from typing import Any

import numpy as np

from toolbox.features.centre_lines import along, centre_lines, evenly, joined, normals, ways
from toolbox.features.forms import Form
from toolbox.features.surface import Surface

__all__ = ["drop_offs"]

LEAST_DROP = 1.0
"""From lip to foot, m (common practice, no source)."""

STEEP = 6.0
"""Slope from which bed is steep, degrees (common practice, no source)."""

WIDEST = 60.0
"""From lip to foot, m (common practice, no source)."""

GAP = 25.0
"""Longest stretch across which two parts of a drop-off are taken as one, m (common practice, no
source)."""

DOUBT = 1.5
"""Times that a draw's distance from the bed is counted when drop-offs are asked for (measured on
invented lakes)."""

_EXCESS = 0.3  # share of its slope by which steep bed is steeper than both sides
_FAINT = 0.6  # share of the limits down to which a drop-off is followed
_ROOM = 0.25  # of a width, that must be water above a lip
_EDGE = 0.33  # share of the excess slope at which lip and foot are put
_MEAN = 0.6  # share of the least slope that must be left from lip to foot
_GENTLER = 0.7  # share of its slope that bed above and below must stay under
_FOLLOWED = 0.9  # the same, where a drop-off is followed
_SURE = 0.25  # share of its places that must be gentler by the first, and no side of other forms
_RETURN = 0.5  # of the same, where the bed turns: the side of a hump or gully
_SIDE = 0.6  # relief of a gully or hump whose side it would be, in drops
_WINDOW = 7  # places along the line over which lip and foot are evened out
_TOGETHER = 5  # places along the line that are looked at as one in a draw
_HELD_DROP, _HELD_SIDE, _HELD_LENGTH = 0.8, 0.75, 0.5  # of drop, slope and length, in a draw


def drop_offs(
    surface: Surface,
    *,
    least_drop: float = LEAST_DROP,
    steep: float = STEEP,
    least_length: float,
    widest: float = WIDEST,
    gap: float = GAP,
    beside: Sequence[Form] = (),
) -> list[Form]:
    """Find drop-offs.

    Parameters
    ----------
    surface : Surface
        The bed.
    least_drop : float
        From lip to foot, m.
    steep : float
        Least slope, degrees.
    least_length : float
        Along the drop-off, m.
    widest : float
        From lip to foot, m.
    gap : float
        Longest stretch along the drop-off that may lack the steepness, m.
    beside : sequence of Form
        Gullies, humps and holes: their sides are no drop-offs.

    Returns
    -------
    list of Form
        The longest first.

    Notes
    -----
    A cell scores by how much steeper it is than the bed up the slope and down the slope, at the
    best of several distances. Centre lines follow the highest scores. Across each of their places
    the lip lies uphill and the foot downhill, where a third is left of what the middle is steeper
    than its surroundings. Over a width of the drop-off, bed above and below must be gentler than
    nine tenths of its slope, and than seven tenths at a quarter of its places; where it turns back
    by half of that or more, it is the side of a hump or of a gully and no drop-off, and so is a
    side that ends at the water's edge. One that crosses a hole or a gully goes on through it.
    """
    least = float(np.tan(np.radians(steep)))
    score, reach = _scored(surface, least, widest)
    pieces = centre_lines(
        score, _FAINT * _EXCESS * least, _EXCESS * least,
        least=10 / surface.cell, reach=12 / surface.cell,
    )  # fmt: skip
    step = max(surface.cell, 2.0)
    taken = [(_taken(form), form.figures["relief_m"]) for form in beside]
    forms = []
    lines = joined([surface.places(piece) for piece in pieces], gap)
    evened = [evenly(line, step, blur=1.5 * step) for line in lines]
    for line in [part for whole in evened for part in _one_sided(surface, whole)]:
        profiles = _Profiles.across(surface, line, reach)
        if profiles is None:
            continue
        for run in profiles.runs(least_drop, taken, most=int(gap / step)):
            part = profiles.part(run)
            enough = part.length >= least_length and part.typical >= least_drop
            if enough and part.steepness >= _MEAN * least:
                forms.append(part.form(step, least_drop))
    return _distinct(sorted(forms, key=lambda form: -form.figures["length_m"]))


def _one_sided(surface: Surface, line: np.ndarray) -> list[np.ndarray]:
    """Return the parts of a line along which the bed falls to the same side."""
    from scipy.ndimage import gaussian_filter1d

    if len(line) < 4:
        return []
    fall = np.column_stack([surface.at(surface.east, line), surface.at(surface.north, line)])
    aside = np.nan_to_num((fall * normals(line)).sum(axis=1))
    left = gaussian_filter1d(aside, 3.0, mode="nearest") > 0
    cuts = np.flatnonzero(np.diff(left.astype(int))) + 1
    return [part for part in np.split(line, cuts) if len(part) >= 4]


def _scored(surface: Surface, least: float, widest: float) -> tuple[np.ndarray, np.ndarray]:
    """Return by how much cells are steeper than both sides, and at which distance."""
    from toolbox.features.kernels.scores import steepness_score

    slope = surface.slope
    unit = np.maximum(slope, 1e-9)
    radii = ways(2.5 * surface.cell, widest / 2) / surface.cell
    score, reach = np.full(slope.shape, np.nan), np.full(slope.shape, np.nan)
    steepness_score(slope, -surface.north / unit, surface.east / unit, radii, score, reach)
    score[~np.isfinite(score)] = np.nan
    score[(slope < _FAINT * least) | (score < _FAINT * _EXCESS * slope)] = np.nan
    return score, reach


@dataclass(frozen=True, eq=False)
class _Profiles:
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
    def across(cls, surface: Surface, line: np.ndarray, reach: np.ndarray) -> "_Profiles | None":
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

    def part(self, run: np.ndarray) -> "_Profiles":
        return _Profiles(*(getattr(self, name)[run] for name in self.__dataclass_fields__))

    @property
    def drop(self) -> np.ndarray:
        return np.asarray(self.bottom - self.top)

    @property
    def width(self) -> np.ndarray:
        return np.maximum(self.foot - self.lip, 1e-9)

    @property
    def length(self) -> float:
        return along(self.line)

    @property
    def typical(self) -> float:
        return float(np.nanmedian(self.drop))

    @property
    def steepness(self) -> float:
        return float(np.nanmedian(self.drop / self.width))

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

        middle = self.line + ((self.lip + self.foot) / 2)[:, None] * self.normal
        clear = np.ones(len(self.line), bool)
        for shape, relief in taken:
            clear &= ~(shapely.contains_xy(shape, *middle.T) & (relief >= _SIDE * self.drop))
        return clear

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


def _distinct(forms: list[Form]) -> list[Form]:
    """Leave out what runs mostly between lip and foot of a longer one."""
    import shapely

    kept: list[Form] = []
    bands: list[Any] = []
    for form in forms:
        middle = shapely.LineString(form.places.reshape(-1, 4, 2)[:, 1:3].mean(axis=1))
        if any(middle.intersection(band).length > 0.5 * middle.length for band in bands):
            continue
        kept.append(form)
        lip, foot = (shapely.get_coordinates(line) for line in form.shapes.values())
        bands.append(shapely.make_valid(shapely.Polygon(np.vstack([lip, foot[::-1]]))).buffer(2.0))
    return kept


def _taken(form: Form) -> Any:
    """Return the ground that a gully with its sides, a hump or a hole takes for itself."""
    shape = next(iter(form.shapes.values()))
    return shape.buffer(form.figures["width_m"] / 2) if "gully" in form.shapes else shape
