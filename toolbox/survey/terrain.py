"""Terrain: the rasters derived from the depths, as one step of a survey."""

from collections.abc import Callable, Iterator

import numpy as np

from toolbox.layers import Grid, Tin
from toolbox.survey.wanted import Make
from toolbox.terrain.aspect import aspect
from toolbox.terrain.curvature import curvature
from toolbox.terrain.landforms import landforms
from toolbox.terrain.position import relative_position
from toolbox.terrain.relief import shaded_relief
from toolbox.terrain.ruggedness import roughness, ruggedness_index, surface_area_ratio
from toolbox.terrain.slope import slope
from toolbox.terrain.surface import arc_chord_ratio, vector_ruggedness

__all__ = ["terrain_grids"]

_RELIEF = 4.0  # exaggeration: beds of lakes are gentle


def terrain_grids(depth: Grid, bed: Tin, make: Make) -> Iterator[Grid]:
    """Make the layers that a survey asks for, one after the other."""
    wide = _side(bed)
    makers: dict[str, Callable[[], Grid]] = {
        "slope": lambda: slope(depth, unit=make.slope_unit),
        "aspect": lambda: aspect(depth),
        "shaded_relief": lambda: shaded_relief(depth, exaggeration=_RELIEF),
        "profile_curvature": lambda: curvature(depth, kind="profile", spacing=wide),
        "plan_curvature": lambda: curvature(depth, kind="plan", spacing=wide),
        "relative_position": lambda: relative_position(depth),
        "roughness": lambda: roughness(depth),
        "ruggedness_index": lambda: ruggedness_index(depth),
        "surface_area_ratio": lambda: surface_area_ratio(depth),
        "arc_chord_ratio": lambda: arc_chord_ratio(depth),
        "vector_ruggedness": lambda: vector_ruggedness(depth),
        "landforms": lambda: landforms(depth),
    }
    return (makers[name]() for name in make.terrain)


def _side(bed: Tin) -> float:
    """Return the median side of the bed's triangles, m: below it curvature shows these alone."""
    corners = bed.vertices[bed.triangles]
    return float(np.median(np.hypot(*(corners - np.roll(corners, 1, axis=1)).reshape(-1, 2).T)))
