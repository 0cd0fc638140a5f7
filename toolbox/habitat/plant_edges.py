"""Plant edges: where beds of plants end, toward deep water and toward the shore."""

from collections.abc import Iterator
from typing import TYPE_CHECKING, Annotated, Any

import numpy as np

from toolbox.bed.location import interpolated, locate
from toolbox.errors import LayerError
from toolbox.habitat.plants import PlantBeds, plants_of
from toolbox.isobaths.ground import ground_lengths
from toolbox.layers import Tin, Vectors
from toolbox.layers.crs import check_same_crs
from toolbox.tool import Range, tool

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

__all__ = ["plant_edges"]

_SMOOTH = 4.0  # widths of look: the bed's fall is averaged along the edge
_MOST = 1_000_000


@tool("Edges of plant beds")
def plant_edges(
    bed: Tin,
    plants: Vectors,
    *,
    look: Annotated[float, Range("m", above=0)] = 3.0,
    step: Annotated[float, Range("m", above=0)] = 1.0,
    shortest: Annotated[float, Range("m", min=0)] = 10.0,
) -> Vectors:
    """Draw where beds of plants end: the outer edge toward deep water and the inner edge.

    Parameters
    ----------
    bed : Tin
        The lake bed.
    plants : Vectors
        Polygons, such as plant beds; ``height_m`` (or ``height_mean_m``) stays beside the edges.
    look : float
        Distance to either side of the edge between which it is seen whether the bed falls away.
    step : float
        Distance along the edge between the places that are looked at.
    shortest : float
        Length below which a piece of edge is left out.

    Returns
    -------
    Vectors
        ``plant_edges``, lines, by bed of plants and then the longest first: ``bed`` (number of
        the polygon, from 1), ``edge`` (``outer``: the water beyond is deeper; ``inner``: it is
        shallower), ``length_m`` on the ground, ``depth_mean_m, depth_least_m, depth_greatest_m``
        along the line, ``height_m`` of the plants. Lines run with the plants to the left.

    Raises
    ------
    LayerError
        If the layers lie in different CRS, or plants are no polygons.

    Notes
    -----
    Depths are those below the datum, read every `step`. Between `look` inside and `look` outside
    the fall of the bed is averaged along about four times `look`; on level bed the edge counts as
    outer. Where `look` beyond the edge lies the shore, or another bed of plants, there is no edge.
    An outline through soundings runs as far beyond the outermost plants as its tool says: an edge
    is no better than the outline.
    """
    check_same_crs(bed=bed, plants=plants)
    told = plants_of(plants)
    if not isinstance(told, PlantBeds):
        raise LayerError("edges need beds of plants as polygons, got points")
    tree = _Outlines(told.shapes)
    rows = [
        row | {"bed": number, "height_m": told.height[number - 1]}
        for number, shape in enumerate(told.shapes, start=1)
        for row in _edges(bed, shape, tree, look, step)
    ]
    frame = _frame(rows, bed, shortest)
    dropped = len(rows) - len(frame)
    notes = (f"{dropped} edges shorter than {shortest:g} m left out",) if dropped else ()
    return Vectors(frame, "plant_edges", notes)


class _Outlines:
    """All beds of plants, to ask whether a place lies in one."""

    def __init__(self, shapes: np.ndarray) -> None:
        import shapely

        self._tree = shapely.STRtree(shapes)

    def hold(self, places: np.ndarray) -> np.ndarray:
        import shapely

        held = np.zeros(len(places), bool)
        held[self._tree.query(shapely.points(places), predicate="intersects")[0]] = True
        return held


def _edges(
    bed: Tin, shape: Any, outlines: _Outlines, look: float, step: float
) -> Iterator[dict[str, Any]]:
    """Give the pieces of edge of one bed of plants."""
    import shapely

    polygons = shapely.orient_polygons(shapely.get_parts(shape))  # the plants to the left
    for ring in shapely.get_rings(polygons):
        places = _walked(ring, step)
        side = _sides(bed, places, outlines, look)
        depth = _depth(bed, places)
        for start, count in _runs(side):
            run = (start + np.arange(count + 1)) % len(places)
            yield {
                "edge": "outer" if side[start] > 0 else "inner",
                "geometry": shapely.LineString(places[run]),
                "depth_mean_m": _mean(depth[run]),
                "depth_least_m": float(np.nanmin(depth[run], initial=np.inf)),
                "depth_greatest_m": float(np.nanmax(depth[run], initial=-np.inf)),
            }


def _walked(ring: Any, step: float) -> np.ndarray:
    """Return places along a ring about a step apart, the first not said again."""
    import shapely

    count = int(min(max(8, np.ceil(ring.length / step)), _MOST))
    along = np.linspace(0, ring.length, count, endpoint=False)
    return np.asarray(shapely.get_coordinates(shapely.line_interpolate_point(ring, along)))


def _depth(bed: Tin, places: np.ndarray) -> np.ndarray:
    located = locate(bed.vertices, bed.triangles, places)
    return interpolated(bed.depth, bed.triangles, located)


def _sides(bed: Tin, places: np.ndarray, outlines: _Outlines, look: float) -> np.ndarray:
    """Return 1 where a piece from each place to the next is outer, -1 inner, 0 no edge."""
    ahead = np.roll(places, -1, axis=0) - places
    length = np.hypot(*ahead.T)[:, None]
    right = np.column_stack([ahead[:, 1], -ahead[:, 0]]) / np.where(length > 0, length, 1)
    middle = places + ahead / 2
    beyond, within = _depth(bed, middle + look * right), _depth(bed, middle - look * right)
    within = np.where(np.isnan(within), _depth(bed, middle), within)
    edge = ~(np.isnan(beyond) | np.isnan(within) | outlines.hold(middle + look * right))
    fall = _smoothed(np.where(edge, beyond - within, np.nan), _SMOOTH * look / float(length.mean()))
    return np.where(edge, np.where(fall >= 0, 1, -1), 0)


def _smoothed(values: np.ndarray, width: float) -> np.ndarray:
    """Average values around a ring over about so many, those missing left out."""
    from scipy.ndimage import uniform_filter1d

    size = max(1, min(round(width), len(values)))
    known = (~np.isnan(values)).astype(float)
    total = uniform_filter1d(np.nan_to_num(values), size, mode="wrap")
    share = uniform_filter1d(known, size, mode="wrap")
    return np.asarray(np.where(known > 0, total / np.where(share > 0, share, 1), np.nan))


def _runs(side: np.ndarray) -> Iterator[tuple[int, int]]:
    """Give start and count of the pieces of one side that follow each other round the ring."""
    change = np.flatnonzero(side != np.roll(side, 1))
    if not len(change):
        change = np.array([0])
    counts = np.diff(np.r_[change, change[0] + len(side)])
    for start, count in zip(change, counts, strict=True):
        if side[start]:
            yield int(start), int(count)


def _mean(depth: np.ndarray) -> float:
    """Mean of depths read at equal steps along a line, those off the bed left out."""
    known = depth[~np.isnan(depth)]
    return float(np.trapezoid(known) / (len(known) - 1)) if len(known) > 1 else float("nan")


_COLUMNS = (
    "bed", "edge", "length_m", "depth_mean_m", "depth_least_m", "depth_greatest_m", "height_m",
)  # fmt: skip


def _frame(rows: list[dict[str, Any]], bed: Tin, shortest: float) -> "GeoDataFrame":
    import geopandas

    shapes = [row.pop("geometry") for row in rows]
    lengths = ground_lengths(np.array(shapes, object), bed.crs)
    columns = {name: [row.get(name) for row in rows] for name in _COLUMNS}
    columns["length_m"] = list(lengths)
    frame = geopandas.GeoDataFrame(columns, geometry=shapes, crs=bed.crs)
    kept = frame.astype({"bed": "int64", "edge": str})[lengths >= shortest]  # of no rows too
    return kept.sort_values(["bed", "length_m"], ascending=[True, False], ignore_index=True)
