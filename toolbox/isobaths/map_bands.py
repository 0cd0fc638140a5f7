"""Isobaths from the depth bands of older maps."""

from collections.abc import Sequence
from typing import Any

import numpy as np

from toolbox.errors import LayerError

__all__ = ["isobaths_of_bands"]


def isobaths_of_bands(bands: Sequence[Any], shallow: np.ndarray) -> list[tuple[Any, float]]:
    """Find the lines between depth bands.

    Parameters
    ----------
    bands : sequence of Polygon or MultiPolygon
        Areas between two isobaths each, in metres. They may lie side by side, or be stacked: each
        filled with all that is deeper, as where a file has lost its holes.
    shallow : (n,) array
        The shallower limit of each band, m.

    Returns
    -------
    list of (geometry, float)
        Rings of each isobath and its depth, from shallow to deep. The shallowest limit, which is
        the shore, is left out.

    Raises
    ------
    LayerError
        If something else than polygons is among the bands.

    Notes
    -----
    Water deeper than a limit is the union of all bands that begin there or deeper, less the
    shallower bands that lie wholly within it: a rise whose hole was lost.
    """
    import shapely

    for number, band in enumerate(bands, start=1):
        if band.geom_type not in ("Polygon", "MultiPolygon"):
            raise LayerError(f"depth bands must be polygons, got a {band.geom_type} ({number})")
    whole = [shapely.make_valid(band) for band in bands]
    found = []
    for limit in np.unique(shallow)[1:]:
        deep = [band for band, depth in zip(whole, shallow, strict=True) if depth >= limit]
        deeper = shapely.union_all(deep)
        rises = [
            band
            for band, depth in zip(whole, shallow, strict=True)
            if depth < limit and deeper.contains(band)
        ]
        deeper = deeper.difference(shapely.union_all(rises)) if rises else deeper
        found += [(ring, float(limit)) for ring in shapely.get_rings(shapely.get_parts(deeper))]
    return found
