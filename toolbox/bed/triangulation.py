"""Triangulation: the bed as triangles between what was measured."""

from dataclasses import replace
from typing import TYPE_CHECKING, Literal

import numpy as np

from toolbox.bed.constraints import Constraints
from toolbox.layers import Breaklines, Shoreline, Soundings, Tin, VertexKind
from toolbox.layers.crs import check_same_crs
from toolbox.reduction.cleaning import reject_outside
from toolbox.tool import tool

if TYPE_CHECKING:
    from toolbox.bed.mesh import Mesh

__all__ = ["triangulate"]

NOTHING_M2 = 1e-6
"""A part of the triangulation below this is rounding between points on one line."""


@tool("Triangulated lake bed")
def triangulate(
    soundings: Soundings,
    shoreline: Shoreline,
    breaklines: Breaklines | None = None,
    *,
    duplicates: Literal["mean", "shoalest", "deepest"] = "mean",
    cure_flats: bool = True,
) -> Tin:
    """Join soundings, shoreline, islands and breaklines to a constrained Delaunay triangulation.

    Parameters
    ----------
    soundings : Soundings
        Depths; flagged ones and those outside the water are not used.
    shoreline : Shoreline
        The water. Its closed edge and its islands lie at the shoreline's depth.
    breaklines : Breaklines, optional
        Lines that no triangle may cross, such as isobaths of an older map.
    duplicates : str
        What soundings at one and the same place become.
    cure_flats : bool
        Whether to infer depths where all three corners of a triangle lie on one level line, as in
        bays, necks and narrow arms.

    Returns
    -------
    Tin
        The bed, linear between vertices. Its notes tell how many soundings were merged and how
        many depths were inferred over how much area.

    Raises
    ------
    LayerError
        If layers lie in different CRS, fewer than 3 measured points lie in the water, or lines
        are too tangled.

    Notes
    -----
    Inferred depths on shore flats follow the water's own increase of depth with distance from
    shore; those between isobaths are harmonic (smooth, never beyond the depths around them) and
    held between the isobaths that enclose them. Along an open edge that profile goes on, steeper
    or gentler as the nearest soundings are.

    References
    ----------
    Chew 1989, Algorithmica 4:97, "Constrained Delaunay triangulations",
    doi:10.1007/BF01553881.
    """
    from toolbox.bed.mesh import Mesh

    check_same_crs(shoreline=shoreline, soundings=soundings, breaklines=breaklines)
    used = reject_outside(soundings, shoreline).kept
    plan = Constraints.of(used, shoreline, breaklines, duplicates)
    mesh = Mesh(plan.points, plan.edges)
    plan = plan.after(mesh)
    notes = plan.notes + _unused(soundings, used)
    if cure_flats:
        plan, cured = _cure(mesh, plan, shoreline, breaklines)
        notes += cured
    return _bed(mesh, plan, shoreline, notes)


def _unused(soundings: Soundings, used: Soundings) -> tuple[str, ...]:
    outside = len(soundings) - len(used)
    return (f"{outside} soundings flagged or outside the water were not used",) if outside else ()


def _wet(mesh: "Mesh", points: np.ndarray, shoreline: Shoreline) -> np.ndarray:
    """Triangles that lie in the water, shape (m, 3).

    The lines keep each part of the triangulation wholly in or wholly out, so a part is judged by
    its largest triangle: the centroid of a sliver may fall on either side by rounding.
    """
    import shapely

    triangles, part = mesh.triangles, mesh.patches()
    areas = _doubled_areas(points, triangles) / 2
    by_size = np.argsort(areas, kind="stable")
    largest = np.empty(part.max() + 1, np.int64)
    largest[part[by_size]] = by_size
    centroids = points[triangles[largest]].mean(axis=1)
    shapely.prepare(shoreline.polygons)
    wet = shapely.contains_xy(shoreline.polygons, *centroids.T) & (areas[largest] > NOTHING_M2)
    return np.asarray(triangles[wet[part] & (areas > 0)])


def _doubled_areas(points: np.ndarray, triangles: np.ndarray) -> np.ndarray:
    a, b, c = (points[triangles[:, corner]] for corner in range(3))
    return np.asarray(
        (b[:, 0] - a[:, 0]) * (c[:, 1] - a[:, 1]) - (b[:, 1] - a[:, 1]) * (c[:, 0] - a[:, 0])
    )


def _cure(
    mesh: "Mesh", plan: Constraints, shoreline: Shoreline, breaklines: Breaklines | None
) -> tuple[Constraints, tuple[str, ...]]:
    """Put a vertex on the middle of every false level edge."""
    from toolbox.bed import flats

    triangles = _wet(mesh, plan.points, shoreline)
    level = np.where(plan.kind == VertexKind.SOUNDING, np.nan, plan.depth)
    fixed = mesh.fixed
    edges = flats.false_level_edges(triangles, fixed, level)
    enclosed = flats.enclosed_triangles(triangles, fixed, level)
    if not len(edges) + len(enclosed):
        return plan, ()
    flat = flats.flat_triangles(triangles, level)
    areas = _doubled_areas(plan.points, triangles) / 2
    middles = np.vstack([plan.points[edges].mean(axis=1), plan.points[enclosed].mean(axis=1)])
    first = np.r_[edges[:, 0], enclosed[:, 0]]
    mesh.add(middles)
    cured = plan.joined(middles, _inferred(middles, plan.kind[first], plan, shoreline))
    if breaklines:
        cured = _between_isobaths(mesh, cured, shoreline, breaklines)
    share = areas[flat].sum() / areas.sum()
    note = (
        f"{int(flat.sum())} flat triangles ({areas[flat].sum():.0f} m2 on the map, {share:.2%} of "
        f"the water) were cured by {len(middles)} inferred depths"
    )
    return cured, (note,)


def _inferred(
    middles: np.ndarray, kind: np.ndarray, plan: Constraints, shoreline: Shoreline
) -> np.ndarray:
    """Depths between vertices of a shore; NaN between those of an isobath, which come later."""
    from toolbox.bed.flats import DistanceProfile

    profile = DistanceProfile.learn(*_measured(plan, shoreline), shoreline)
    on_shore = kind <= VertexKind.ISLAND
    return np.where(on_shore, profile.at(middles, shoreline), np.nan)


def _measured(plan: Constraints, shoreline: Shoreline) -> tuple[np.ndarray, np.ndarray]:
    """Places (k, 2) and depths (k,) of all that was measured in the water."""
    import shapely

    known = (plan.kind == VertexKind.SOUNDING) | (plan.kind == VertexKind.BREAKLINE)
    known &= np.isfinite(plan.depth) & shapely.contains_xy(shoreline.polygons, *plan.points.T)
    return plan.points[known], plan.depth[known]


def _between_isobaths(
    mesh: "Mesh", plan: Constraints, shoreline: Shoreline, breaklines: Breaklines
) -> Constraints:
    """Infer what lies between isobaths from both sides, and hold all inferred depths to them."""
    from toolbox.bed import flats

    new = plan.kind == VertexKind.INFERRED
    depth = plan.depth.copy()
    for _ in range(2):  # shore flats before, so that they may guide the rest, and all once more
        depth[new] = flats.within_isobaths(
            plan.points[new], depth[new], breaklines, shoreline.depth
        )
        depth = flats.infer_between(
            plan.points, _wet(mesh, plan.points, shoreline), depth, new & np.isnan(depth)
        )
    return replace(plan, depth=depth)


def _bed(mesh: "Mesh", plan: Constraints, shoreline: Shoreline, notes: tuple[str, ...]) -> Tin:
    """Drop what lies outside the water and infer the depths along open edges."""
    from toolbox.bed.flats import carried_to

    triangles = _wet(mesh, plan.points, shoreline)
    used = np.unique(triangles)
    depth = plan.depth.copy()
    unknown = used[np.isnan(depth[used])]
    if len(unknown):
        depth[unknown] = carried_to(plan.points[unknown], *_measured(plan, shoreline), shoreline)
    renumber = np.zeros(len(plan.depth), np.int32)
    renumber[used] = np.arange(len(used))
    return Tin(
        plan.points[used],
        depth[used],
        renumber[triangles],
        plan.kind[used],
        shoreline.crs,
        notes=notes,
    )
