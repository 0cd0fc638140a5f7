"""Chart: the first map, shoreline and soundings by depth, as few whole numbers."""

from typing import Any

import numpy as np

from toolbox.formats.depth_colours import depth_ramp
from toolbox.layers import Shoreline

__all__ = ["chart"]

_MOST, _SIDE, _COLOURS = 20_000, 4000, 32


def chart(
    shoreline: Shoreline | None, places: np.ndarray, depth: np.ndarray, aside: np.ndarray
) -> dict[str, Any]:
    """Lay out the map.

    Parameters
    ----------
    shoreline : Shoreline or None
        Of the water.
    places : (n, 2) array
        Easting and northing in the CRS of the shoreline, m.
    depth : (n,) array
        Metres, positive down; NaN where unknown.
    aside : (n,) array of bool
        Which soundings would be rejected.

    Returns
    -------
    dict
        ``size``: width and height of the map; ``rings`` and ``points`` in these, y down (points:
        x, y, and the share of the way from `low` to `high` in thousandths, -1 without a depth, -2
        rejected); ``metres``: its width on the ground; ``each``: how many soundings stand for
        one point; ``colours``. Empty if there is nothing to draw.
    """
    known = np.isfinite(places).all(axis=1)
    places, depth, aside = places[known], depth[known], aside[known]
    corners = [places] if len(places) else []
    rings = _rings(shoreline)
    corners += rings
    if not corners:
        return {}
    low, high = np.vstack(corners).min(axis=0), np.vstack(corners).max(axis=0)
    extent = max(float((high - low).max()), 1.0)

    def placed(points: np.ndarray) -> np.ndarray:
        moved = (points - low) / extent * _SIDE
        moved[:, 1] = (high[1] - low[1]) / extent * _SIDE - moved[:, 1]
        return np.round(moved).astype(int)

    each = -(-len(places) // _MOST) or 1
    width, height = np.maximum((high - low) / extent * _SIDE, 1).round().astype(int).tolist()
    shares, least, most = _shares(depth, aside)
    points = np.column_stack([placed(places), shares])[::each]
    return {
        "size": [width, height],
        "metres": round(extent * width / _SIDE, 1),
        "rings": [placed(ring).ravel().tolist() for ring in rings],
        "points": points.ravel().tolist(),
        "low": least,
        "high": most,
        "each": each,
        "colours": _colours(),
    }


def _rings(shoreline: Shoreline | None) -> list[np.ndarray]:
    import shapely

    if shoreline is None:
        return []
    west, south, east, north = shoreline.polygons.bounds
    fine = shapely.simplify(shoreline.polygons, max(east - west, north - south) / _SIDE)
    parts = [part for part in shapely.get_parts(fine) if not part.is_empty]
    return [shapely.get_coordinates(r) for p in parts for r in (p.exterior, *p.interiors)]


def _shares(depth: np.ndarray, aside: np.ndarray) -> tuple[np.ndarray, float, float]:
    used = depth[np.isfinite(depth) & ~aside]
    low, high = (float(used.min()), float(used.max())) if len(used) else (0.0, 1.0)
    share = np.nan_to_num((depth - low) / max(high - low, 1e-9))
    shares = np.round(1000 * np.clip(share, 0, 1)).astype(int)
    shares[np.isnan(depth)] = -1
    shares[aside] = -2
    return shares, round(low, 3), round(high, 3)


def _colours() -> list[str]:
    ramp = depth_ramp(0.9)[np.linspace(20, 255, _COLOURS).astype(int)]
    return ["#" + bytes(colour).hex() for colour in ramp]
