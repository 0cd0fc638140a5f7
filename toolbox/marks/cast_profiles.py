"""Cast profiles: the bed under the line of each cast."""

from typing import TYPE_CHECKING, Annotated

import numpy as np

from toolbox.errors import LayerError
from toolbox.features.sections import Cutter, section_notes
from toolbox.layers import Table, Tin, Vectors
from toolbox.layers.crs import check_same_crs
from toolbox.layers.geodesy import distances
from toolbox.tool import Range, tool

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["cast_profile"]

_NEEDED = ("mark", "peg", "distance_m", "peg_easting_m", "peg_northing_m")
_MOVED = 0.5  # m off its distance, by which a peg is not in the layer's CRS


@tool("Depth along casts")
def cast_profile(
    bed: Tin,
    marks: Vectors,
    plants: Vectors | None = None,
    *,
    step: Annotated[float, Range("m", above=0)] | None = None,
    beyond: Annotated[float, Range("m", min=0)] = 0.0,
) -> Table:
    """Read the bed along the line of each cast, from the peg to the mark.

    Parameters
    ----------
    bed : Tin
        The lake bed.
    marks : Vectors
        Marks to cast at, in the CRS in which they were made.
    plants : Vectors, optional
        Beds of plants as polygons; a column ``height_m`` tells how high they stand.
    step : float, optional
        Distance between rows; if left out, wherever the line crosses an edge of the bed's
        triangles, between which the bed is straight.
    beyond : float
        How far to go on behind the mark.

    Returns
    -------
    Table
        Mark by mark: ``mark``, ``peg``, then the columns of a section along a line, its
        ``distance_m`` counted from the peg.

    Raises
    ------
    LayerError
        If layers lie in different CRS, or marks lack the columns of marks from pegs or
        hold text for numbers.
    """
    import pandas as pd

    check_same_crs(bed=bed, marks=marks, plants=plants)
    start, end = _ends(marks, bed)
    length = Table(marks.frame).column("distance_m")
    end = start + (end - start) * (1 + beyond / length)[:, None]
    cut = Cutter(bed, plants)
    frames = []
    for number, path in enumerate(np.stack([start, end], axis=1)):
        row = marks.frame.iloc[number]
        frame = cut.section(path, step)
        frame.insert(0, "mark", row["mark"])
        frame.insert(1, "peg", row["peg"])
        frames.append(frame)
    if not frames:
        raise LayerError("marks must hold at least one mark, got none")
    return Table(pd.concat(frames, ignore_index=True), "Depth along casts", section_notes(bed))


def _ends(marks: Vectors, bed: Tin) -> tuple[np.ndarray, np.ndarray]:
    """Places of the pegs and of the marks, (n, 2), m."""
    import shapely

    frame: pd.DataFrame = marks.frame
    if missing := [name for name in _NEEDED if name not in frame]:
        raise LayerError(f"marks from pegs need columns {missing}, got {list(frame.columns)}")
    kinds = set(frame.geometry.geom_type) - {"Point"}
    if kinds:
        raise LayerError(f"marks must be points, got {', '.join(sorted(map(str, kinds)))}")
    table = Table(frame)
    start = np.column_stack([table.column(name) for name in ("peg_easting_m", "peg_northing_m")])
    end = shapely.get_coordinates(frame.geometry.to_numpy())
    off = np.abs(distances(start, end, bed.crs) - table.column("distance_m"))
    if not (off <= _MOVED).all():
        worst = int(np.nanargmax(np.where(np.isnan(off), np.inf, off)))
        raise LayerError(
            f"mark {frame['mark'].iloc[worst]}: its peg must lie at its distance_m, is "
            f"{off[worst]:.1f} m off; give marks in the CRS in which they were made"
        )
    return start, end
