"""Depth zones: the water between two depths, as polygons that tile it."""

from typing import Annotated, Any

import numpy as np

from toolbox.isobaths.bands import banded
from toolbox.isobaths.levels import chosen_levels
from toolbox.layers import Tin, Vectors
from toolbox.tool import Range, tool
from toolbox.units import MetreOrFoot, convert

__all__ = ["depth_zones", "waters_edge"]


@tool("Depth zones")
def depth_zones(
    bed: Tin,
    *,
    interval: Annotated[float, Range("m", above=0)] | None = None,
    levels: Annotated[tuple[float, ...], Range("m")] | None = None,
    unit: MetreOrFoot = "m",
) -> Vectors:
    """Divide the water into zones of depth.

    Parameters
    ----------
    bed : Tin
        The lake bed.
    interval : float, optional
        Depth from one zone to the next, which begin at its whole multiples; if left out, 1, 2, 2.5
        or 5 times a power of ten that gives 8 to 16 zones (in feet 1, 2 or 5 times one, and 7 to 17
        zones).
    levels : tuple of float, optional
        The depths between zones instead, negative above the datum.
    unit : str
        In which an interval that is left out is round, and the depths are told: in feet (``"ft"``,
        or ``"survey_foot"``) there are also columns ``from_ft, to_ft``.

    Returns
    -------
    Vectors
        One zone a feature, a polygon with as many parts as the zone has, from shallow to deep, with
        columns ``from_m, to_m, area_m2, share``. A zone holds what is as deep as `from_m` and
        shallower than `to_m`; the first begins where the bed does, the last ends with the greatest
        depth and holds it. Areas are on the ground, shares of the whole water.

    Raises
    ------
    LayerError
        If there is no water in the bed.
    ParameterError
        If `interval` and `levels` are both given, or a level lies above the mapped water's edge.

    Notes
    -----
    Zones share the very vertices of the isobaths between them and of the rim of the bed: together
    they cover it without gap or overlap, and islands stay holes. Areas are those of the triangles'
    parts, as in the hypsographic table, and not measured on the polygons.
    """
    depth, _, notes = chosen_levels(bed, interval, levels, unit=unit)
    ends = float(bed.depth.min()), float(bed.depth.max())
    depth = depth[(depth > ends[0]) & (depth <= ends[1])]
    bands = banded(bed, depth)
    edges = np.r_[ends[0], depth, ends[1]]
    ends_of = {"from": edges[bands.number], "to": edges[bands.number + 1]}
    columns = {
        **{f"{name}_m": depths for name, depths in ends_of.items()},
        **({} if unit == "m" else _in_feet(ends_of, unit)),
        "area_m2": bands.area,
        "share": bands.area / bed.ground_areas().sum(),
    }
    return _vectors(bed, columns, bands.shapes, "depth_zones", notes + bands.notes)


def _in_feet(depths: dict[str, np.ndarray], unit: MetreOrFoot) -> dict[str, np.ndarray]:
    return {f"{name}_ft": np.round(convert(of, "m", unit), 6) for name, of in depths.items()}


@tool("Water's edge at a depth")
def waters_edge(bed: Tin, *, depth: Annotated[float, Range("m")]) -> Vectors:
    """Outline the water that is left when its level has fallen to a depth.

    Parameters
    ----------
    bed : Tin
        The lake bed.
    depth : float
        Of the new level below the datum, m; negative above it.

    Returns
    -------
    Vectors
        One polygon with as many parts as there are pools, with columns ``depth_m, area_m2``: the
        bed at the level or deeper, area on the ground. None where all of it falls dry.

    Raises
    ------
    LayerError
        If there is no water in the bed.
    ParameterError
        If the level lies above the mapped water's edge, where nobody knows how far the water would
        spread.

    Notes
    -----
    All water below the level counts, also in hollows that the fall cuts off from the rest.
    """
    level, _, notes = chosen_levels(bed, None, (depth,), name="depth")
    bands = banded(bed, level)
    wet = bands.number == 1
    columns = {"depth_m": np.full(wet.sum(), float(depth)), "area_m2": bands.area[wet]}
    return _vectors(bed, columns, bands.shapes[wet], "waters_edge", notes + bands.notes)


def _vectors(
    bed: Tin, columns: dict[str, np.ndarray], shapes: Any, name: str, notes: tuple[str, ...]
) -> Vectors:
    import geopandas

    return Vectors(geopandas.GeoDataFrame(columns, geometry=shapes, crs=bed.crs), name, notes)
