"""Shelves: gentle bed above the lip of a drop-off."""

from collections.abc import Callable, Sequence
from functools import partial
from typing import TYPE_CHECKING

import numpy as np

from toolbox.features.forms import Form
from toolbox.features.surface import Surface

if TYPE_CHECKING:
    from shapely import Polygon

__all__ = ["shelves"]

GENTLE = 5.0
"""Slope up to which bed above a lip is a shelf, degrees (common practice, no source)."""

LEAST_WIDTH = 5.0
"""From the lip to the shore or to steeper bed, m (common practice, no source)."""

WIDEST = 80.0
"""Of a shelf from lip to shore, m: what is wider is no shelf (common practice, no source)."""

BEACH = 12.0
"""Widest strip of steeper bed between a shelf and the shore, m (common practice, no source)."""

_DEEPER = 0.3  # m by which the bed may fall again behind the lip
_SMOOTH = 5.0  # m over which the slope along a profile is taken
_GAP = 50.0  # m2, up to which a gap in a shelf is filled
_TOUCH = 1e-3  # m, of a lip from its shelf
_SLACK = 1.25  # of the gentle slope, in beds that are asked whether they hold a shelf


def shelves(
    surface: Surface,
    drop_offs: Sequence[Form],
    *,
    gentle: float = GENTLE,
    least_width: float = LEAST_WIDTH,
) -> list[Form]:
    """Find the shelf above each drop-off, if there is one.

    Parameters
    ----------
    surface : Surface
        The bed.
    drop_offs : sequence of Form
        What was found.
    gentle : float
        Greatest slope of a shelf, degrees.
    least_width : float
        Between the lip and the shore, or the beach where the bed gets steeper, m. Gentle bed that
        does not reach up to the shore is the floor above a hole, and no shelf.

    Returns
    -------
    list of Form
        At most one a drop-off, in their order.
    """
    found = [
        _shelf(surface, form, float(np.tan(np.radians(gentle))), least_width) for form in drop_offs
    ]
    return [form for form in found if form is not None]


def _shelf(surface: Surface, drop_off: Form, gentle: float, least_width: float) -> Form | None:
    import shapely

    lip, foot = drop_off.places.reshape(-1, 4, 2)[:, 1:3].transpose(1, 0, 2)
    uphill = lip - foot
    uphill /= np.maximum(np.hypot(*uphill.T), 1e-9)[:, None]
    step = surface.cell
    offsets = step * np.arange(int(WIDEST / step) + 1)
    depth = surface.at(surface.depth, lip[:, None] + offsets[:, None] * uphill[:, None])
    width = offsets[_reach(depth, step, gentle)]
    dry = np.isnan(depth)
    shore = np.where(dry.any(axis=1), offsets[dry.argmax(axis=1)], np.inf)
    wide = (width >= least_width) & (shore - width <= BEACH)
    if wide.mean() < 0.5:
        return None
    outer = lip + width[:, None] * uphill
    shape = _ground(lip, outer, wide)
    if shape is None:
        return None
    wide &= shapely.distance(shape, shapely.points(lip)) < _TOUCH
    inside = (offsets <= width[:, None]) & wide[:, None] & np.isfinite(depth)
    ground = depth[inside]
    falls = (depth[:, 0] - depth[np.arange(len(depth)), (width / step).astype(int)]) / np.maximum(
        width, step
    )
    figures = {
        "depth_least_m": float(ground.min()),
        "depth_greatest_m": float(ground.max()),
        "relief_m": float(np.ptp(ground)),
        "area_m2": shape.area,
        "width_m": float(np.median(width[wide])),
        "slope_deg": float(np.degrees(np.arctan(np.abs(np.nanmedian(falls[wide]))))),
    }
    places = np.vstack([drop_off.places, outer])
    held = partial(_held, drop_off.held, len(lip), wide, width, _SLACK * gentle)
    return Form({"shelf": shape}, figures, places, held, doubt=drop_off.doubt)


def _reach(depth: np.ndarray, step: float, gentle: float) -> np.ndarray:
    """Return how many steps each profile goes on as a shelf."""
    from scipy.ndimage import median_filter

    span = max(int(_SMOOTH / step), 1)
    ahead = np.full_like(depth, np.nan)
    ahead[:, :-span] = np.abs(depth[:, span:] - depth[:, :-span]) / (span * step)
    # what is left of a profile at the shore goes by its last whole span
    last = np.isfinite(depth) & ~np.isfinite(ahead)
    fine = (ahead <= gentle) | last
    fine &= np.isfinite(depth) & (depth <= depth[:, :1] + _DEEPER)
    fine[:, 0] = True
    ends = np.where(fine.all(axis=1), fine.shape[1], fine.argmin(axis=1)) - 1
    return np.asarray(median_filter(ends, min(7, len(ends)), mode="nearest").clip(0, ends))


def _ground(lip: np.ndarray, outer: np.ndarray, wide: np.ndarray) -> "Polygon | None":
    """Return the largest piece of the ground between neighbouring profiles that are wide enough."""
    import shapely

    both = np.flatnonzero(wide[:-1] & wide[1:])
    corners = np.stack([lip[both], lip[both + 1], outer[both + 1], outer[both]], axis=1)
    # where the lip bends profiles cross, and a piece between two is a bow
    whole = shapely.union_all(shapely.make_valid(shapely.polygons(corners)))
    parts = [part for part in shapely.get_parts(whole) if part.geom_type == "Polygon"]
    if not parts:
        return None
    largest = max(parts, key=lambda part: part.area)
    # between profiles that fan out there are gaps that mean nothing
    gaps = [ring for ring in largest.interiors if shapely.Polygon(ring).area > _GAP]
    return shapely.Polygon(largest.exterior, gaps)


def _held(
    drops: Callable[[np.ndarray], np.ndarray],
    count: int,
    wide: np.ndarray,
    width: np.ndarray,
    gentle: float,
    depths: np.ndarray,
) -> np.ndarray:
    ends = np.nan_to_num(depths[:, : 4 * count]).reshape(len(depths), count, 4)
    outer = np.nan_to_num(depths[:, 4 * count :])
    fall = np.abs(ends[..., 1] - outer)[:, wide] / width[wide]
    return drops(depths[:, : 4 * count]) & (np.median(fall, axis=1) <= gentle)
