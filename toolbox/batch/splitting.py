"""Splitting: which water each sounding of a large layer lies in."""

import numpy as np

__all__ = ["NOWHERE", "owners", "owners_among", "sound_waters"]

NOWHERE = -1
"""Owner of a point that lies in no water."""

_CHUNK = 1_000_000


def owners(points: np.ndarray, waters: np.ndarray) -> np.ndarray:
    """Find the water that holds each point.

    Parameters
    ----------
    points : (n, 2) array
        Easting and northing, in the CRS of the waters; NaN where there is none.
    waters : (m,) array of Polygon or MultiPolygon
        Islands as holes; None holds nothing.

    Returns
    -------
    (n,) int array
        Number of the water from 0, :data:`NOWHERE` where there is none.

    Notes
    -----
    A point on a shore is in the water. What lies on a shore that two waters share, or where they
    overlap, goes to the first of them.

    Examples
    --------
    >>> import numpy as np, shapely
    >>> waters = np.array([shapely.box(0, 0, 2, 2), shapely.box(2, 0, 4, 2)])
    >>> owners(np.array([[1.0, 1], [3, 1], [2, 1], [9, 9]]), waters).tolist()
    [0, 1, 0, -1]
    """
    return owners_among(points, sound_waters(waters))


def sound_waters(waters: np.ndarray) -> np.ndarray:
    """Mend waters whose shores cross themselves, for :func:`owners_among`."""
    import shapely

    return np.asarray(shapely.make_valid(waters))


def owners_among(points: np.ndarray, waters: np.ndarray) -> np.ndarray:
    """Find the water that holds each point, as :func:`owners` does, of waters that are mended."""
    import shapely

    found = np.full(len(points), NOWHERE, np.int64)
    for start in range(0, len(points), _CHUNK):
        part = points[start : start + _CHUNK]
        tree = shapely.STRtree(shapely.points(part))  # of points: each water is then prepared once
        water, point = tree.query(waters, predicate="intersects")
        first = np.full(len(part), len(waters))
        np.minimum.at(first, point, water)
        found[start : start + _CHUNK] = np.where(first < len(waters), first, NOWHERE)
    return found
