"""Wading depth: two tools that this package adds to Leadline, a raster and a table."""

from typing import Annotated

import numpy as np

from toolbox.layers import Grid, Table
from toolbox.tool import Range, tool

Depth = Annotated[float, Range("m", above=0)]


@tool("Bed that can be waded")
def wadable_bed(depth: Grid, *, deepest: Depth = 0.8) -> Grid:
    """Mark the cells that are no deeper than a person wades.

    Parameters
    ----------
    depth : Grid
        Depth, m, positive down.
    deepest : float
        Greatest depth that counts, m (common practice, no source).

    Returns
    -------
    Grid
        1 where it is no deeper, 0 where it is, nothing outside the water. Soft mud and steps of
        the bed are not seen: it tells where to look, not where to walk.
    """
    shallow = np.where(np.isnan(depth.values), np.nan, depth.values <= deepest)
    return depth.of(shallow, "wadable", "1")


@tool("Share of the bed that can be waded")
def wadable_share(depth: Grid, *, deepest: Depth = 0.8) -> Table:
    """Tabulate how much of the water is no deeper than a person wades.

    Parameters
    ----------
    depth : Grid
        Depth, m, positive down.
    deepest : float
        Greatest depth that counts, m (common practice, no source).

    Returns
    -------
    Table
        One row: ``area_m2`` on the map, and ``share`` of all cells with a depth.
    """
    import pandas as pd

    shallow = wadable_bed(depth, deepest=deepest)
    area, share = np.nansum(shallow.values) * depth.cell**2, np.nanmean(shallow.values)
    row = {"area_m2": area, "share": share}
    return Table(pd.DataFrame([row]))
