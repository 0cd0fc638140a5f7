"""Methods compared: how far area and volume hang on the cell, the reading and the rule."""

from collections.abc import Iterator
from typing import Annotated, get_args

import numpy as np

from toolbox.bed.gridding import default_cell, grid_bed
from toolbox.errors import LayerError
from toolbox.isobaths.zones import depth_zones
from toolbox.layers import Table, Tin
from toolbox.layers.grid_blocks import row_blocks
from toolbox.notes import Caution
from toolbox.tool import Range, tool
from toolbox.volume.contoured import ground_area
from toolbox.volume.hypsography import area_and_volume
from toolbox.volume.raster import Reading, area_and_volume_of_blocks
from toolbox.volume.rules import Rule, layer_volumes

__all__ = ["compare_methods"]

_MUCH_APART = 0.05  # of the volume
_ROUNDING = 1e-11  # of a sum, which is no departure
_WIDEST = 0.1  # cell, of the side of a square as large as the water

_Row = tuple[str, str, float, float, float]


@tool("Comparison of methods for volume")
def compare_methods(
    bed: Tin,
    *,
    cells: Annotated[tuple[float, ...], Range("m", above=0)] = (),
    layers: Annotated[tuple[int, ...], Range("", min=2)] = (5, 10, 20),
    depth: Annotated[float, Range("m")] | None = None,
) -> Table:
    """Tabulate area and volume of one bed by other methods, and how far each is from exact.

    Parameters
    ----------
    bed : Tin
        The lake bed.
    cells : tuple of float
        Widths of the cells of depth grids; if left out, 1, 2, 4 and 8 times that of the depth grid,
        without those wider than a tenth of a square as large as the water.
    layers : tuple of int
        Numbers of layers of equal height into which the water is cut for the volume rules.
    depth : float, optional
        Depth of the level to which the water is measured, m; if left out, the mapped water's edge.

    Returns
    -------
    Table
        Columns ``method, detail, size`` (cell in m, or number of layers), ``area_m2, volume_m3,
        area_off_share, volume_off_share``. The first row is the bed itself, exact; then depth
        grids, read stepped and bilinear; layers between isobaths by each rule; depth zones, whose
        areas are measured on their polygons and whose volumes are those of the bed within.

    Raises
    ------
    LayerError
        If there is no water below the level.

    Notes
    -----
    How far the methods part tells how far a volume hangs on the method; it says nothing of how
    well the bed is known. Grids cut the bed's rim by whole cells. At a level above all of its
    cells the two readings of a grid hold the same volume; they part where a level cuts the bed.
    """
    import pandas as pd

    edge = 0.0 if bed.shore_depth is None else bed.shore_depth
    level = edge if depth is None else depth
    if level >= bed.depth.max():
        raise LayerError(f"there is no water below depth {level:g} m")
    exact = [float(part[0]) for part in area_and_volume(bed, np.array([level]))]
    widths = cells or _widths(bed)
    rows: list[_Row] = [("bed", "exact", np.nan, exact[0], exact[1])]
    for cell in widths:
        rows += _gridded(bed, cell, level)
    for count in layers:
        rows += _ruled(bed, count, level)
    rows.append(_zoned(bed, max(layers, default=10), level))
    frame = pd.DataFrame(rows, columns=["method", "detail", "size", "area_m2", "volume_m3"])
    for name, held in zip(("area_m2", "volume_m3"), exact, strict=True):
        off = frame[name] / held - 1
        frame[f"{name[:-3]}_off_share"] = off.where(off.abs() > _ROUNDING, 0.0)
    spread = np.ptp(frame["volume_off_share"])
    apart = f"volumes part by {spread:.2%} in all"
    notes = (
        "methods compared: size is the width of a cell in m, or the number of layers",
        f"measured at depth {level:g} m",
        Caution(apart) if spread > _MUCH_APART else apart,
    )
    return Table(frame, "Area and volume by method", notes)


def _gridded(bed: Tin, cell: float, level: float) -> Iterator[_Row]:
    depth = grid_bed(bed, cell=cell)
    for reading in get_args(Reading):
        area, volume = area_and_volume_of_blocks(
            row_blocks(depth), np.array([level]), reading=reading
        )
        yield "grid", reading, cell, float(area[0]), float(volume[0])


def _ruled(bed: Tin, count: int, level: float) -> Iterator[_Row]:
    depth = np.linspace(level, float(bed.depth.max()), count + 1)
    area, _ = area_and_volume(bed, depth)
    for rule in get_args(Rule):
        yield (
            "rule",
            rule,
            count,
            float(area[0]),
            float(layer_volumes(depth, area, rule=rule).sum()),
        )


def _zoned(bed: Tin, count: int, level: float) -> _Row:
    """Depth zones' polygons, times the mean depth that the bed has in each."""
    ends = np.linspace(level, float(bed.depth.max()), count + 1)
    frame = depth_zones(bed, levels=tuple(ends[:-1])).frame
    frame = frame[frame["from_m"] >= level - 1e-9]
    top, bottom = (frame[name].to_numpy() for name in ("from_m", "to_m"))
    measured = np.array([ground_area(shape, bed.crs) for shape in frame.geometry])
    area, volume = (np.r_[part, 0.0] for part in area_and_volume(bed, np.r_[top, bottom[-1:]]))
    within = area[: len(top)] - area[1 : len(top) + 1]
    column = volume[: len(top)] - volume[1 : len(top) + 1]
    held = column + (top - level) * within - (bottom - top) * area[1 : len(top) + 1]
    mean = np.divide(held, within, out=np.zeros(len(within)), where=within > 0)
    return "zones", "polygons", float(count), float(measured.sum()), float((measured * mean).sum())


def _widths(bed: Tin) -> tuple[float, ...]:
    """Return 1, 2, 4 and 8 times the usual cell, without those too wide for the water."""
    first, widest = default_cell(bed), _WIDEST * float(bed.ground_areas().sum()) ** 0.5
    return tuple(first * 2**k for k in range(4) if k == 0 or first * 2**k <= widest)
