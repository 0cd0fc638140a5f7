"""Banks: what tells a gully from the foot of a slope and from the moat around a rise."""

from collections.abc import Sequence
from typing import Any

import numpy as np

from toolbox.features.centre_lines import along, evenly, normals
from toolbox.features.surface import Surface

__all__ = ["going_on", "is_gully"]

_OUT = 1.5  # widths from the axis to where banks are asked how high they stand
_LOWER = 0.6  # of the relief, that the lower bank should stand there
_HIGHER = 3.0  # of the relief, beyond which the higher one is a slope if the lower one is slight
_SLOPE = 8.0  # of the relief, beyond which it is a slope however the lower one stands
_MOAT = 1 / 3  # share of an axis that may follow the foot of rises, a width away at most
_ENDS = 3.0  # half widths, by which a gully goes on beyond the last place at which it is seen
_TURN = 45.0  # degrees by which it may turn there
_CURL = 3.0  # times the way from end to end, beyond which an axis goes round something


def is_gully(
    surface: Surface, line: np.ndarray, *, width: float, relief: float, rises: Sequence[Any] = ()
) -> bool:
    """Tell whether a hollow along a line is a gully: cut between two banks, and going somewhere.

    Parameters
    ----------
    surface : Surface
        The bed.
    line : (k, 2) array
        Places along the bottom, evenly spaced, m.
    width : float
        Of the hollow at half its depth, m.
    relief : float
        Of the bottom below the lower side, m.
    rises : sequence of Polygon
        Outlines of humps, and of islands with the bed that rises to them.

    Notes
    -----
    Three hollows are long and narrow and no gullies:

    - the foot of a slope, where a slight swell lies before it: one and a half widths from the axis
      the lower bank has gone (it stands 0.6 of the relief or less) and the other goes on up (more
      than three times the relief), or it goes on up to more than eight times;
    - the moat, where a third of the axis or more lies within a width of the outline of a rise;
    - what curls: three times as long as it is from end to end.

    A gully that runs down a slope has like banks; one across it would have filled up. The shares
    were chosen on invented lakes.
    """
    step = along(line) / max(len(line) - 1, 1)
    middle = evenly(line, step, blur=width / 2)
    if along(middle) > _CURL * float(np.hypot(*(middle[-1] - middle[0]))):
        return False
    lower, higher = _banks(surface, middle, width, smooth=width / step / 4)
    if higher > _SLOPE * relief or (lower < _LOWER * relief and higher > _HIGHER * relief):
        return False
    return _share_beside(middle, rises, width) <= _MOAT


def _banks(
    surface: Surface, line: np.ndarray, width: float, *, smooth: float
) -> tuple[float, float]:
    """Return how high the lower and the higher bank stand above the bottom, m, in the middle."""
    aside = _OUT * width * normals(line, smooth=smooth)
    # beyond the shore is land, no lower than the water
    one, bottom, two = (
        np.nan_to_num(surface.at(surface.depth, line + side * aside)) for side in (-1, 0, 1)
    )
    lower = np.median(bottom - np.maximum(one, two))
    return float(lower), float(np.median(bottom - np.minimum(one, two)))


def _share_beside(line: np.ndarray, rises: Sequence[Any], reach: float) -> float:
    """Return the share of a line's places that lie within reach of the outline of a rise."""
    import shapely

    if not rises:
        return 0.0
    outlines = shapely.union_all([shapely.boundary(rise) for rise in rises])
    return float((shapely.distance(outlines, shapely.points(line)) <= reach).mean())


def going_on(line: np.ndarray, last: int, half: float) -> int:
    """Return how many places of a line a gully has that is last seen at one of them.

    Parameters
    ----------
    line : (k, 2) array
        Places along the gully and beyond, evenly spaced, m.
    last : int
        The last place at which it is seen.
    half : float
        Half its width from top to top, m.

    Notes
    -----
    It goes on for three half widths, as a hollow fades out, but not where the way over a half width
    turns by more than 45 degrees from that at the last place: there the line has turned aside in a
    pool, or into another hollow.
    """
    span = max(int(half / along(line) * (len(line) - 1)), 1)
    last = max(last, span)
    if last >= len(line):
        return len(line)
    ahead = line[span:] - line[:-span]
    ahead /= np.maximum(np.hypot(*ahead.T), 1e-9)[:, None]
    beyond = ahead[last - span : last - span + int(_ENDS * span) + 1]
    turned = np.append(beyond @ beyond[0] < np.cos(np.radians(_TURN)), True)
    return last + int(turned.argmax())
