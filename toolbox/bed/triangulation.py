"""Triangulation: the bed as triangles between what was measured."""

from dataclasses import replace
from typing import TYPE_CHECKING, Literal

import numpy as np

from toolbox.bed.constraints import Constraints
from toolbox.layers import Breaklines, Shoreline, Soundings, Tin, VertexKind
from toolbox.layers.crs import check_same_crs
from toolbox.layers.tin import plan_areas
from toolbox.notes import Caution
from toolbox.tool import tool
from toolbox.words import counted

if TYPE_CHECKING:
    from toolbox.bed.mesh import Mesh

__all__ = ["triangulate"]

_MUCH_CURED = 0.05  # of the water


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
    place, depth = soundings.coordinates, soundings.depth
    used = ~soundings.flag & shoreline.contains(place)
    plan = Constraints.of(place[used], depth[used], shoreline, breaklines, duplicates)
    mesh = Mesh(plan.points, plan.edges)
    plan = plan.after(mesh)
    notes = plan.notes + _unused(int(np.count_nonzero(~used)))
    if cure_flats:
        plan, cured = _cure(mesh, plan, shoreline, breaklines)
        notes += cured
    return _bed(mesh, plan, shoreline, notes)


def _unused(count: int) -> tuple[str, ...]:
    was = "was" if count == 1 else "were"
    told = f"{counted(count, 'sounding')} flagged or outside the water {was} not used"
    return (told,) if count else ()


def _in_water(plan: Constraints) -> np.ndarray:
    """Vertices known to lie in the water, on no line."""
    return np.asarray((plan.kind == VertexKind.SOUNDING) | (plan.kind == VertexKind.INFERRED))


def _cure(
    mesh: "Mesh", plan: Constraints, shoreline: Shoreline, breaklines: Breaklines | None
) -> tuple[Constraints, tuple[str, ...]]:
    """Put a vertex on the middle of every false level edge."""
    from toolbox.bed import flats

    triangles = mesh.wet(shoreline, _in_water(plan))
    level = np.where(plan.kind == VertexKind.SOUNDING, np.nan, plan.depth)
    lined, fixed = np.isfinite(level), mesh.fixed
    a, b, c = (lined[triangles[:, corner]] for corner in range(3))
    triangles = triangles[(a & b) | (b & c) | (c & a)]  # only these can have a level edge
    edges = flats.false_level_edges(triangles, fixed, level)
    enclosed = flats.enclosed_triangles(triangles, fixed, level)
    if not len(edges) + len(enclosed):
        return plan, ()
    flat = triangles[flats.flat_triangles(triangles, level)]
    area = plan_areas(plan.points, flat).sum()
    middles = np.vstack([plan.points[edges].mean(axis=1), plan.points[enclosed].mean(axis=1)])
    first = np.r_[edges[:, 0], enclosed[:, 0]]
    mesh.add(middles)
    cured = plan.joined(middles, _inferred(middles, plan.kind[first], plan, shoreline))
    if breaklines:
        cured = _between_isobaths(mesh, cured, shoreline, breaklines)
    share = area / shoreline.polygons.area
    note = (
        f"{len(flat)} flat triangles ({area:.0f} m2 on the map, {share:.2%} of the water) were "
        f"cured by {len(middles)} inferred depths, which nobody sounded"
    )
    return cured, (Caution(note) if share > _MUCH_CURED else note,)


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
    known = plan.kind == VertexKind.SOUNDING
    drawn = np.flatnonzero((plan.kind == VertexKind.BREAKLINE) & np.isfinite(plan.depth))
    known[drawn] = shoreline.contains(plan.points[drawn])
    return plan.points[known], plan.depth[known]


def _between_isobaths(
    mesh: "Mesh", plan: Constraints, shoreline: Shoreline, breaklines: Breaklines
) -> Constraints:
    """Infer what lies between isobaths from both sides, and hold all inferred depths to them."""
    from toolbox.bed import flats

    new = plan.kind == VertexKind.INFERRED
    triangles, depth = mesh.wet(shoreline, _in_water(plan)), plan.depth.copy()
    for _ in range(2):  # shore flats before, so that they may guide the rest, and all once more
        depth[new] = flats.within_isobaths(
            plan.points[new], depth[new], breaklines, shoreline.depth
        )
        depth = flats.infer_between(plan.points, triangles, depth, new & np.isnan(depth))
    return replace(plan, depth=depth)


def _bed(mesh: "Mesh", plan: Constraints, shoreline: Shoreline, notes: tuple[str, ...]) -> Tin:
    """Drop what lies outside the water and infer the depths along open edges."""
    from toolbox.bed.flats import carried_to

    triangles = mesh.wet(shoreline, _in_water(plan))
    triangles = triangles[plan_areas(plan.points, triangles) > 0]
    touched = np.zeros(len(plan.depth), bool)
    touched[triangles] = True
    used, depth = np.flatnonzero(touched), plan.depth.copy()
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
