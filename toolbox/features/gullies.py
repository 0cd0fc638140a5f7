"""Gullies: long narrow hollows, with the line along their bottom."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial
from typing import Any

import numpy as np

from toolbox.features.banks import going_on, is_gully
from toolbox.features.centre_lines import along, centre_lines, evenly, joined, normals, ways
from toolbox.features.forms import Form
from toolbox.features.strings import strings
from toolbox.features.surface import Surface

__all__ = ["gullies"]

WIDEST = 50.0
"""From top to top of the sides, m: what is wider is a valley or a basin (common practice, no
source)."""

LONGER = 2.5
"""Least length on which a gully shows, in its widths (common practice, no source)."""

GAP = 40.0
"""Longest stretch across which two parts of a gully are taken as one, m (common practice, no
source)."""

_DIRECTIONS = 16
_NARROWEST = 2.5  # least half width in cells
_FAINT = 0.2  # share of the least relief down to which a gully is followed
_SEEN = 0.5  # of the same, from which it is seen
_TIMES = 2  # that the line is moved to the bottom: the way across changes as it moves
_BESIDE = 0.75  # of its width, that a gully takes for itself to each side
_APART = 0.6  # share of its length that a gully may run along a longer one
_POOL = 1.5  # times its relief, from where a hole in its bottom is more than a part of it
_SHARE = 0.3  # of its length on which a gully must be seen
_HELD = 0.75  # of the least relief, in beds that are asked whether they hold a gully


def gullies(
    surface: Surface,
    *,
    least_relief: float,
    least_length: float,
    widest: float = WIDEST,
    gap: float = GAP,
    rises: Sequence[Any] = (),
) -> list[Form]:
    """Find gullies and channels.

    Parameters
    ----------
    surface : Surface
        The bed.
    least_relief : float
        How far its bottom lies below the lower of its sides, m.
    least_length : float
        Along its axis, m; and it must show on two and a half times its width.
    widest : float
        From top to top, m.
    gap : float
        Longest stretch along the axis that may lack the depth, m.
    rises : sequence of Polygon
        Outlines of humps and of islands with their sides: the moat around one is no gully.

    Returns
    -------
    list of Form
        The longest first.

    Notes
    -----
    A cell scores by how much deeper it is than the bed at the same distance to both sides, less
    what straight sides that went on as far again would give: ``2 d(r) - d(2 r)``, d being the depth
    below the lower side, for the best of 16 directions and of radii up to a quarter of
    the widest. So neither a plane, nor the bottom of an even valley, nor a bowl scores, but what is
    cut into them. Axes follow the highest scores, and rows of hollows (see `strings`); where both
    run along each other the longer one is taken. What has only one bank, goes round a rise or curls
    is left out (see `is_gully`).
    """
    from toolbox.features.kernels.scores import gully_score

    radii = ways(_NARROWEST * surface.cell, widest / 2)
    score, reach = (np.full(surface.depth.shape, np.nan) for _ in range(2))
    gully_score(surface.depth, radii / surface.cell, _DIRECTIONS, score, reach)
    pieces = centre_lines(
        score, _FAINT * least_relief, least_relief, least=8 / surface.cell, reach=14 / surface.cell
    )
    step = max(surface.cell, 2.0)
    lines = joined([surface.places(piece) for piece in pieces], gap)
    rows = strings(surface, score, reach, least_relief=least_relief)

    def found(lines: list[np.ndarray]) -> list[Form]:
        forms = []
        for line in lines:
            even = evenly(line, step, blur=1.5 * step)
            for _ in range(_TIMES):
                even = evenly(_centred(surface, even, reach), step, blur=step)
            forms += _measured(surface, even, reach, least_relief, least_length, rises)
        return forms

    return sorted(_distinct(found(lines), found(rows)), key=lambda form: -_length(form))


def _distinct(whole: list[Form], rows: list[Form]) -> list[Form]:
    """Leave out rows of hollows along gullies, and pieces of gullies that lie in a longer row."""
    import shapely

    def along_of(form: Form, others: list[Form]) -> float:
        taken = [o.shapes["gully axis"].buffer(_BESIDE * o.figures["width_m"]) for o in others]
        axis = form.shapes["gully axis"]
        return float(axis.intersection(shapely.union_all(taken)).length / axis.length)

    rows = [
        row
        for row in rows
        if along_of(row, [o for o in whole if 2 * _length(o) > _length(row)]) < _APART
    ]
    pieces = [
        form
        for form in whole
        if along_of(form, [row for row in rows if _length(row) > 2 * _length(form)]) < _APART
    ]
    for form in pieces:
        form.figures["pool_relief_m"] = _POOL * form.figures["relief_m"]
    for row in rows:
        row.figures["pool_relief_m"] = _POOL * row.figures["greatest_relief_m"]
    return pieces + rows


def _length(form: Form) -> float:
    return form.figures["length_m"]


def _centred(surface: Surface, line: np.ndarray, reach: np.ndarray) -> np.ndarray:
    """Return the line moved sideways to the bottom of the gully."""
    from scipy.ndimage import gaussian_filter1d, median_filter

    halves = surface.at(reach, line)
    if len(line) < 4 or not np.isfinite(halves).any():
        return line
    normal, half = normals(line), max(float(np.nanmedian(halves)), 2 * surface.cell)
    offsets = np.linspace(-half / 2, half / 2, 2 * int(np.ceil(half / surface.cell)) + 1)
    depth = surface.at(surface.depth, line[:, None] + offsets[:, None] * normal[:, None])
    aside = offsets[np.nan_to_num(depth, nan=-np.inf).argmax(axis=1)]
    aside = gaussian_filter1d(median_filter(aside, 5, mode="nearest"), 2.0, mode="nearest")
    return np.asarray(line + aside[:, None] * normal)


def _measured(
    surface: Surface,
    line: np.ndarray,
    reach: np.ndarray,
    least_relief: float,
    least_length: float,
    rises: Sequence[Any],
) -> list[Form]:
    """Return the gully along a line, if it is deep and long enough and has banks."""
    cut = _Cut.along(surface, line, reach, least_relief)
    if cut is None or cut.deep.mean() < _SHARE:
        return []
    length, width, relief = along(cut.line), cut.width, cut.relief
    seen = length * float(cut.deep.mean())
    if relief < least_relief or length < least_length or seen < LONGER * width:
        return []
    if not is_gully(surface, cut.line, width=width, relief=relief, rises=rises):
        return []
    return [cut.form(surface, least_relief)]


@dataclass(frozen=True, eq=False)
class _Cut:
    """A line along a hollow, from the first to the last place at which it is deep enough.

    Of each place: the depth of the bottom and how far it lies below the lower side (m), the width
    at half of that (m), and whether it is deep. `half` is how far away the sides are measured, m.
    """

    line: np.ndarray
    half: float
    bottom: np.ndarray
    below: np.ndarray
    wide: np.ndarray
    deep: np.ndarray

    @classmethod
    def along(
        cls, surface: Surface, line: np.ndarray, reach: np.ndarray, least_relief: float
    ) -> "_Cut | None":
        """Measure a hollow; None of a line that is too short for any, or nowhere deep."""
        halves = surface.at(reach, line)
        if len(line) < 4 or not np.isfinite(halves).any():
            return None
        half = max(float(np.nanmedian(halves)), 2 * surface.cell)
        bottom, below, wide = _cross_sections(surface, line, normals(line), half)
        deep = np.isfinite(below) & (below >= _SEEN * least_relief)
        at = np.flatnonzero(deep)
        if len(at) < 2:
            return None
        count = len(line)
        first = count - going_on(line[::-1], count - 1 - int(at[0]), half)
        own = slice(first, going_on(line, int(at[-1]), half))
        return cls(line[own], half, bottom[own], below[own], wide[own], deep[own])

    @property
    def relief(self) -> float:
        return float(np.median(self.below[self.deep]))

    @property
    def width(self) -> float:
        return float(np.median(self.wide[self.deep]))

    def form(self, surface: Surface, least_relief: float) -> Form:
        """Return the hollow as a form."""
        import shapely

        axis = shapely.LineString(self.line)
        outline = axis.buffer(max(self.width / 2, surface.cell), cap_style="flat")
        slope = np.degrees(np.arctan(surface.at(surface.slope, self.line)))
        figures = {
            "depth_least_m": float(np.nanmin(self.bottom)),
            "depth_greatest_m": float(np.nanmax(self.bottom)),
            "relief_m": self.relief,
            "length_m": along(self.line),
            "width_m": self.width,
            "area_m2": outline.area,
            "slope_deg": float(np.nanmean(slope)),
            "seen_share": float(self.deep.mean()),
            "greatest_relief_m": float(np.percentile(self.below[self.deep], 90)),
        }
        line, normal = self.line[self.deep], normals(self.line)[self.deep]
        places = line[:, None] + _ACROSS[:, None] * self.half * normal[:, None]
        held = partial(_held, len(line), _HELD * least_relief)
        return Form({"gully": outline, "gully axis": axis}, figures, places.reshape(-1, 2), held)


def _cross_sections(
    surface: Surface, line: np.ndarray, normal: np.ndarray, half: float
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return depth of the bottom, depth below the lower side, and width, at places on a line."""
    offsets = np.linspace(-half, half, 2 * int(np.ceil(half / surface.cell)) + 1)
    depth = surface.at(surface.depth, line[:, None] + offsets[:, None] * normal[:, None])
    middle = np.where(np.abs(offsets) <= half / 3, depth, -np.inf)
    bottom = np.fmax.reduce(middle, axis=1)
    bottom[np.isinf(bottom)] = np.nan
    sides = np.maximum(depth[:, 0], depth[:, -1])
    relief = bottom - sides
    # full width where the bed is half as deep below the sides as in the middle
    wide = (depth - sides[:, None] >= 0.5 * relief[:, None]).sum(axis=1)
    return bottom, relief, wide * (offsets[1] - offsets[0])


_INNER = np.array([-0.6, -0.3, 0.0, 0.3, 0.6])
_OUTER = np.array([1.0, 1.4])
_ACROSS = np.concatenate([-_OUTER, _INNER, _OUTER])  # in half widths


def _held(count: int, relief: float, depths: np.ndarray) -> np.ndarray:
    """Tell in which beds the bottom, wherever it runs between the sides, is deep enough."""
    from scipy.ndimage import uniform_filter1d

    across = np.nan_to_num(depths).reshape(len(depths), count, len(_ACROSS))
    # ten metres or so along the axis together: one place alone is rough
    across = uniform_filter1d(across, min(5, count), axis=1)
    left, bottom, right = across[..., :2], across[..., 2:-2], across[..., -2:]
    drop = bottom.max(axis=2) - np.maximum(left.min(axis=2), right.min(axis=2))
    return np.asarray(np.median(drop, axis=1) >= relief)
