"""Rasters are made as the survey file asks, in its order, and on the bed's own scale."""

from typing import get_args

import numpy as np
import pytest

from toolbox.bed.gridding import grid_bed
from toolbox.layers import Tin
from toolbox.survey import terrain as module
from toolbox.survey.terrain import terrain_grids
from toolbox.survey.wanted import Make, Terrain

SIDE = 10.0


def lattice(fall: float = 0.1) -> Tin:
    """Return a plane that falls to the east, on right triangles whose short sides are 10 m."""
    cols, rows = 9, 7
    row, col = np.mgrid[0:rows, 0:cols]
    places = np.column_stack([col.ravel(), row.ravel()]) * SIDE
    corner = (row[:-1, :-1] * cols + col[:-1, :-1]).ravel()
    lower = np.column_stack([corner, corner + 1, corner + cols])
    upper = np.column_stack([corner + 1, corner + cols + 1, corner + cols])
    depth = 1 + fall * places[:, 0]
    return Tin(places, depth, np.vstack([lower, upper]), np.full(len(places), 2), None)


def test_every_raster_that_can_be_asked_for_is_made_under_its_name() -> None:
    bed = lattice()
    names = get_args(Terrain)
    grids = list(terrain_grids(grid_bed(bed, cell=2.0), bed, Make(terrain=names)))
    assert tuple(grid.name for grid in grids) == names
    assert {grid.shape for grid in grids} == {(30, 40)}
    assert all(np.isfinite(grid.values).any() for grid in grids)


def test_rasters_come_in_the_order_asked_for_and_no_other_is_made(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(module, "landforms", lambda *_: pytest.fail("nobody asked for it"))
    bed = lattice()
    depth = grid_bed(bed, cell=2.0)
    made = terrain_grids(depth, bed, Make(terrain=("roughness", "aspect")))
    assert [grid.name for grid in made] == ["roughness", "aspect"]
    assert list(terrain_grids(depth, bed, Make(terrain=()))) == []


@pytest.mark.parametrize(
    ("unit", "steep"), [("degree", np.degrees(np.arctan(0.1))), ("percent", 10.0), ("ratio", 0.1)]
)
def test_slope_has_the_unit_asked_for(unit: str, steep: float) -> None:
    """The slope of a plane that falls one in ten (derived)."""
    bed = lattice()
    make = Make.model_validate({"terrain": ["slope"], "slope_unit": unit})
    (slope,) = terrain_grids(grid_bed(bed, cell=2.0), bed, make)
    np.testing.assert_allclose(slope.values[3:-3, 3:-3], steep, rtol=1e-4)


def test_the_bed_falls_to_the_east() -> None:
    bed = lattice()
    (aspect,) = terrain_grids(grid_bed(bed, cell=2.0), bed, Make(terrain=("aspect",)))
    np.testing.assert_allclose(aspect.values[3:-3, 3:-3], 90.0, atol=0.1)


@pytest.mark.parametrize("kind", ["profile", "plan"])
def test_curvature_is_taken_over_the_sides_of_the_bed(
    kind: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Two of the three sides of each triangle are 10 m, so their median is (derived)."""
    asked: list[dict[str, object]] = []
    bed = lattice()
    depth = grid_bed(bed, cell=2.0)
    monkeypatch.setattr(module, "curvature", lambda _, **options: asked.append(options))
    make = Make.model_validate({"terrain": [f"{kind}_curvature"]})
    list(terrain_grids(depth, bed, make))
    assert asked == [{"kind": kind, "spacing": pytest.approx(SIDE)}]


def test_a_plane_is_not_curved() -> None:
    bed = lattice()
    make = Make(terrain=("profile_curvature", "plan_curvature"))
    for grid in terrain_grids(grid_bed(bed, cell=2.0), bed, make):
        assert np.nanmax(np.abs(grid.values)) < 1e-5
