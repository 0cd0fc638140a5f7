"""Sections: the bed along a line."""

import math
from collections.abc import Iterator
from typing import TYPE_CHECKING, Annotated

import numpy as np

from toolbox.errors import LayerError
from toolbox.features.reading import bed_at, directed_slope
from toolbox.layers import Table, Tin, Vectors
from toolbox.layers.crs import check_same_crs, is_plane
from toolbox.layers.geodesy import distances
from toolbox.tool import Range, tool
from toolbox.words import counted

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["Cutter", "bed_section", "section_notes"]

_TOUCH = 1e-6  # m: pieces so near to one another are one, as rounding leaves them
_NAMED = 6  # most lines named in a note
_KNOTS = 33  # places along a line at which the map's scale is taken, beside its cuts


@tool("Section along a line")
def bed_section(
    bed: Tin,
    lines: Vectors,
    plants: Vectors | None = None,
    *,
    step: Annotated[float, Range("m", above=0)] | None = None,
) -> Table:
    """Read the bed along lines: depth and its band, slope, support and plants by distance.

    Parameters
    ----------
    bed : Tin
        The lake bed.
    lines : Vectors
        Lines, in the CRS of the bed.
    plants : Vectors, optional
        Beds of plants as polygons; a column ``height_m`` tells how high they stand.
    step : float, optional
        Distance between rows on the ground. If left out, a row wherever the line crosses an edge
        of the bed's triangles: between two rows the bed is straight, so the section is exact.

    Returns
    -------
    Table
        For each line, in their order, rows from its start to its end:

        - ``line``, its number from 1, and ``name`` where the lines have one;
        - ``distance_m`` from its start on the ground, ``easting_m, northing_m``;
        - ``depth_m`` below the datum, positive down; from a fitted bed ``depth_sd_m``, the ends
          of the 90 % band ``depth_low_m, depth_high_m``, and ``support`` (1 told by data, 0 by
          nothing);
        - ``slope_along_deg``, positive where the bed deepens ahead, and ``slope_deg``, the
          steepest; at an edge those of the bed ahead, at the end of the water of the bed behind;
        - ``plants``: 1 over a bed of plants, else 0; ``canopy_m``: depth of their top.

    Raises
    ------
    LayerError
        If layers lie in different CRS, a line is none, a polygon of plants is none, or no line
        meets the water.

    Notes
    -----
    Outside the water all but the place is empty. Every place where the water or a bed of plants
    begins or ends has a row, whatever the step, and where the line crosses land there is a row
    without a depth: a profile drawn through the rows never bridges an island. A line with several
    parts is read part by part, the distance running on without what lies between them.
    """
    import pandas as pd

    check_same_crs(bed=bed, lines=lines, plants=plants)
    cut = Cutter(bed, plants)
    frames = []
    for number, parts in _paths(lines):
        done = 0.0
        for path in parts:
            frame = cut.section(path, step)
            frame["distance_m"] += done
            done = float(frame["distance_m"].iloc[-1])
            frame.insert(0, "line", number)
            if "name" in lines.frame:
                frame.insert(1, "name", lines.frame["name"].iloc[number - 1])
            frames.append(frame)
    if not frames:
        raise LayerError(f"{lines.name} must hold at least one line, got none")
    frame = pd.concat(frames, ignore_index=True)
    notes = _dry(frame, bed, lines) + section_notes(bed)
    return Table(frame, "Section of the bed", notes)


def _dry(frame: "pd.DataFrame", bed: Tin, lines: Vectors) -> tuple[str, ...]:
    """Name the lines that never meet the water; refuse if none does."""
    wet = frame["depth_m"].notna().groupby(frame["line"]).any()
    dry = wet.index[~wet].tolist()
    if len(dry) == len(wet):
        middle = frame[["easting_m", "northing_m"]].to_numpy(float).mean(axis=0)
        away = np.hypot(*(bed.vertices - middle).T).min()
        raise LayerError(
            f"{lines.name} must cross the water of the bed, which lies {away:.0f} m from its middle"
        )
    if not dry:
        return ()
    told = ", ".join(map(str, dry[:_NAMED])) + (" ..." if len(dry) > _NAMED else "")
    return (f"{counted(len(dry), 'line')} of {len(wet)} outside the water: {told}",)


def section_notes(bed: Tin) -> tuple[str, ...]:
    """Tell what a reader of a section must know."""
    notes: tuple[str, ...] = (
        "rows without a depth lie outside the water: a blank is not safe, it is unsurveyed",
    )
    if bed.sd is None and bed.draws is None:
        notes += ("the bed does not know its error: only a fitted bed does",)
    return notes


def _paths(lines: Vectors) -> Iterator[tuple[int, list[np.ndarray]]]:
    """Give the number of each line and the places along its parts."""
    import shapely

    for number, shape in enumerate(lines.frame.geometry, 1):
        kind = "nothing" if shape is None or shape.is_empty else shape.geom_type
        if kind not in ("LineString", "LinearRing", "MultiLineString"):
            raise LayerError(f"{lines.name} must hold lines, got {kind} in row {number}")
        if not shape.length > 0:
            raise LayerError(f"{lines.name}: line {number} has no length")
        parts = [shapely.get_coordinates(part) for part in shapely.get_parts(shape)]
        yield number, [part for part in map(_distinct, parts) if len(part) > 1]


def _distinct(path: np.ndarray) -> np.ndarray:
    """Leave out places that repeat the one before."""
    return path[np.r_[True, (np.diff(path, axis=0) != 0).any(axis=1)]]


class Cutter:
    """Cuts lines through one bed.

    Parameters
    ----------
    bed : Tin
        The lake bed.
    plants : Vectors or None
        Beds of plants as polygons.
    """

    def __init__(self, bed: Tin, plants: Vectors | None = None) -> None:
        from toolbox.bed.kernels import sort_into_buckets

        self.bed, self.plants = bed, plants
        if plants is not None:
            _check_polygons(plants)
        low, high = bed.vertices.min(axis=0), bed.vertices.max(axis=0)
        # about one triangle a bucket
        width = math.sqrt(float(np.prod(high - low)) / len(bed.triangles))
        cols, rows = (int(count) for count in np.floor((high - low) / width) + 1)
        self._net = float(low[0]), float(low[1]), width, rows, cols
        self._sorted = sort_into_buckets(bed.vertices, bed.triangles, *self._net)

    def section(self, path: np.ndarray, step: float | None) -> "pd.DataFrame":
        """Read the bed along a path (p, 2), at all its cuts or at a step on the ground, m."""
        import pandas as pd

        along = np.r_[0.0, np.cumsum(np.hypot(*np.diff(path, axis=0).T))]
        first, last, triangle = self._pieces(path, along)
        edges = self._plant_edges(path)
        knots, ground = self._ground(path, along, np.r_[first, last, edges])
        if step is None:
            rows = np.r_[first, last]
        else:
            even = step * np.arange(np.floor(ground[-1] / step * (1 + 1e-12)) + 1)
            rows = np.interp(even, ground, knots)
        rows = _with(rows, np.r_[_ends(first, last), edges, 0.0, along[-1]])
        rows = np.sort(np.r_[rows, _gaps(first, last, rows)])
        places, ahead = _places(path, along, rows)
        holds = _holding(first, last, triangle, rows)
        easting, northing = places.T
        columns = {"distance_m": np.interp(rows, knots, ground)}
        columns |= {"easting_m": easting, "northing_m": northing}
        columns |= bed_at(self.bed, places, holds)
        columns["slope_along_deg"] = directed_slope(self.bed, places, holds, ahead)
        return pd.DataFrame(columns | self._plants(places, columns["depth_m"]))

    def _pieces(
        self, path: np.ndarray, along: np.ndarray
    ) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Where along the path on the map each piece in a triangle begins and ends, m, in order."""
        from toolbox.features.kernels.cuts import cut_path

        bed, path = self.bed, np.ascontiguousarray(path, float)
        found = cut_path(bed.vertices, bed.triangles, path, *self._sorted, *self._net)
        segment, triangle, begin, end = found
        length = np.diff(along)[segment]
        first, last = along[segment] + begin * length, along[segment] + end * length
        return _joined(first, last, triangle, float(along[-1]))

    def _ground(
        self, path: np.ndarray, along: np.ndarray, cuts: np.ndarray
    ) -> tuple[np.ndarray, np.ndarray]:
        """Distances from the start on the map, m, and those on the ground that belong to them."""
        knots = np.unique(np.r_[along, cuts, np.linspace(0, along[-1], _KNOTS)])
        if is_plane(self.bed.crs):
            return knots, knots
        places, _ = _places(path, along, knots)
        legs = distances(places[:-1], places[1:], self.bed.crs)
        return knots, np.r_[0.0, np.cumsum(legs)]

    def _plant_edges(self, path: np.ndarray) -> np.ndarray:
        """Where along the path on the map beds of plants begin or end, m."""
        import shapely

        if self.plants is None:
            return np.empty(0)
        line = shapely.LineString(path)
        rims = shapely.boundary(self.plants.frame.geometry.to_numpy())
        met = shapely.get_coordinates(shapely.intersection(line, rims))
        return np.asarray(shapely.line_locate_point(line, shapely.points(met)))

    def _plants(self, places: np.ndarray, depth: np.ndarray) -> dict[str, np.ndarray]:
        """Whether places lie over plants, and how deep their top is."""
        import shapely

        if self.plants is None:
            return {}
        frame = self.plants.frame
        tree = shapely.STRtree(frame.geometry.to_numpy())
        place, bed = tree.query(shapely.points(places), predicate="intersects")
        over = np.zeros(len(places))
        over[place] = 1.0
        columns = {"plants": np.where(np.isnan(depth), np.nan, over)}
        if "height_m" in frame:
            height = np.full(len(places), -np.inf)
            np.maximum.at(height, place, Table(frame).column("height_m")[bed])
            known = np.isfinite(height) & np.isfinite(depth)
            top = np.fmax(depth - np.where(known, height, 0), np.fmin(depth, 0))
            columns["canopy_m"] = np.where(known, top, np.nan)
        return columns


def _check_polygons(plants: Vectors) -> None:
    kinds = set(plants.frame.geometry.geom_type) - {"Polygon", "MultiPolygon"}
    if kinds:
        raise LayerError(
            f"{plants.name} must hold polygons of plants, got {sorted(map(str, kinds))}"
        )


def _joined(
    first: np.ndarray, last: np.ndarray, triangle: np.ndarray, length: float
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Put pieces in order, of two that overlap only one, each from where the one before ends."""
    order = np.lexsort([triangle, first])
    first, last, triangle = first[order], last[order], triangle[order]
    first = np.maximum(first, np.r_[-np.inf, np.maximum.accumulate(last)[:-1]][: len(first)])
    keep = last - first > _TOUCH
    first, last, triangle = first[keep], last[keep], triangle[keep]
    before = np.r_[0.0, last[:-1]][: len(first)]
    first = np.where(first - before < _TOUCH, before, first)
    return first, np.where(length - last < _TOUCH, length, last), triangle


def _with(rows: np.ndarray, wanted: np.ndarray) -> np.ndarray:
    """Add rows that must be there, in place of others that all but touch them."""
    wanted = np.unique(wanted)
    after = np.searchsorted(wanted, rows)
    low, high = wanted[np.maximum(after - 1, 0)], wanted[np.minimum(after, len(wanted) - 1)]
    away = np.minimum(np.abs(rows - low), np.abs(high - rows))
    return np.unique(np.r_[rows[away > _TOUCH], wanted])


def _places(path: np.ndarray, along: np.ndarray, rows: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Places on a path by their distance along it on the map, and the direction ahead, (n, 2)."""
    segment = np.clip(np.searchsorted(along, rows, side="right") - 1, 0, len(along) - 2)
    run = path[segment + 1] - path[segment]
    length = np.diff(along)[segment]
    share = (rows - along[segment]) / length
    return path[segment] + share[:, None] * run, run / length[:, None]


def _holding(
    first: np.ndarray, last: np.ndarray, triangle: np.ndarray, rows: np.ndarray
) -> np.ndarray:
    """Triangle at each row, the one ahead where two meet; -1 outside the water."""
    if not len(first):
        return np.full(len(rows), -1)
    piece = np.searchsorted(first, rows, side="right") - 1
    within = (piece >= 0) & (rows <= last[piece])
    return np.where(within, triangle[piece], -1)


def _ends(first: np.ndarray, last: np.ndarray) -> np.ndarray:
    """Where the water begins and ends along a line."""
    if not len(first):
        return first
    apart = first[1:] > last[:-1]
    return np.r_[first[0], last[:-1][apart], first[1:][apart], last[-1]]


def _gaps(first: np.ndarray, last: np.ndarray, rows: np.ndarray) -> np.ndarray:
    """Middles of the land along a line on which no row lies."""
    begin, end = last[:-1], first[1:]
    inside = np.searchsorted(rows, end, side="left") - np.searchsorted(rows, begin, side="right")
    empty = (end > begin) & (inside == 0)
    return (begin[empty] + end[empty]) / 2
