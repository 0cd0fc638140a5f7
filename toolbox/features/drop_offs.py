"""Drop-offs: steep bed between gentler bed above and below, as its lip and its foot."""

from collections.abc import Sequence
from typing import Any

import numpy as np

from toolbox.features.centre_lines import centre_lines, evenly, joined, normals, ways
from toolbox.features.forms import Form
from toolbox.features.profiles import Profiles
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

_EXCESS = 0.3  # share of its slope by which steep bed is steeper than both sides
_FAINT = 0.6  # share of the limits down to which a drop-off is followed
_BLURRED = 0.67  # share of the least slope that a survey in lines leaves of it
_MEAN = 0.6  # share of the least slope that must be left from lip to foot
_CLEAR = 0.4  # the same, between bed that is level beside it


def drop_offs(
    surface: Surface,
    *,
    least_drop: float = LEAST_DROP,
    steep: float = STEEP,
    least_length: float,
    widest: float = WIDEST,
    gap: float = GAP,
    beside: Sequence[Form] = (),
    within: Sequence[Form] = (),
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
    within : sequence of Form
        Holes so wide that their sides may be drop-offs.

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

    From lip to foot the mean slope must be six tenths of the least, as a survey in lines blurs it;
    four tenths where bed above and below is next to level on seven tenths of the length or more: a
    step of a metre or two that was sounded on lines far apart becomes such a bank.
    The sides of a hole steepen and flatten again of themselves; they are a drop-off only where they
    are as steep from lip to foot as is asked of a drop-off, so the flank of a gentle hole is none.
    """
    least = float(np.tan(np.radians(steep)))
    step = max(surface.cell, 2.0)
    taken = [(_taken(form), form.figures["relief_m"]) for form in beside]
    holes = [next(iter(form.shapes.values())) for form in within]
    forms = []
    for profiles in _profiles(surface, _BLURRED * least, widest, gap, step):
        for run in profiles.runs(least_drop, taken, most=int(gap / step)):
            part = profiles.part(run)
            enough = part.length >= least_length and part.typical >= least_drop
            if enough and part.steepness >= _least_share(part, holes) * least:
                forms.append(part.form(step, least_drop))
    return _distinct(sorted(forms, key=lambda form: -form.figures["length_m"]))


def _least_share(part: Profiles, holes: Sequence[Any]) -> float:
    """Return the share of the least slope that must be left from lip to foot."""
    if part.mostly_in(holes):
        return 1.0
    return _CLEAR if part.stands_out else _MEAN


def _profiles(
    surface: Surface, least: float, widest: float, gap: float, step: float
) -> list[Profiles]:
    """Return the profiles across each line of steep bed."""
    score, reach = _scored(surface, least, widest)
    pieces = centre_lines(
        score, _FAINT * _EXCESS * least, _EXCESS * least,
        least=10 / surface.cell, reach=12 / surface.cell,
    )  # fmt: skip
    lines = joined([surface.places(piece) for piece in pieces], gap)
    evened = [evenly(line, step, blur=1.5 * step) for line in lines]
    parts = [part for whole in evened for part in _one_sided(surface, whole)]
    across = [Profiles.across(surface, part, reach) for part in parts]
    return [profiles for profiles in across if profiles is not None]


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
