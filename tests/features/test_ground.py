"""The ground tells of places what going through all of the bed tells. Derived."""

from itertools import pairwise

import numpy as np
import pytest
from scipy.spatial import Delaunay

from toolbox.bed.location import interpolated, locate
from toolbox.features.ground import Ground, adjacency
from toolbox.layers import Tin, VertexKind


def rough(count: int = 400, *, slope: float | None = None) -> Tin:
    """Return a bed through random places, 100 m wide; one of a slope falls evenly east."""
    random = np.random.default_rng(7)
    places = random.uniform(0, 100, (count, 2))
    depth = 20 + (random.normal(0, 1, count) if slope is None else slope * places[:, 0])
    triangles = Delaunay(places).simplices
    corners = places[triangles]
    u, v = (corners[:, k] - corners[:, 0] for k in (1, 2))
    turned = u[:, 0] * v[:, 1] < u[:, 1] * v[:, 0]
    triangles[turned] = triangles[turned, ::-1]
    return Tin(places, depth, triangles, np.full(count, VertexKind.SOUNDING), None)


def test_a_lone_net_knows_its_neighbours() -> None:
    starts, neighbours = adjacency(np.array([[0, 1, 2], [0, 2, 3]]), 4)
    assert [sorted(neighbours[a:b]) for a, b in pairwise(starts)] == [
        [1, 2, 3], [0, 2], [0, 1, 3], [0, 2],
    ]  # fmt: skip


def test_triangles_about_vertices_are_those_with_a_corner_there() -> None:
    bed = rough()
    vertices = np.random.default_rng(2).choice(len(bed.depth), 30, replace=False)
    wanted = bed.triangles[np.isin(bed.triangles, vertices).any(axis=1)]
    np.testing.assert_array_equal(Ground(bed).about(vertices), wanted)


def test_triangles_near_are_those_whose_box_reaches_in() -> None:
    bed = rough()
    corners = bed.vertices[bed.triangles]
    touching = (corners.max(axis=1) >= (20, 30)) & (corners.min(axis=1) <= (45, 50))
    wanted = bed.triangles[touching.all(axis=1)]
    assert 0 < len(wanted) < len(bed.triangles) / 2
    np.testing.assert_array_equal(Ground(bed).near((20, 30, 45, 50)), wanted)
    assert not len(Ground(bed).near((200, 200, 300, 300)))


def test_depths_are_those_of_the_whole_bed_to_the_bit() -> None:
    bed = rough()
    places = np.vstack([np.random.default_rng(3).uniform(-20, 120, (300, 2)), bed.vertices[:20]])
    told = interpolated(bed.depth, bed.triangles, locate(bed.vertices, bed.triangles, places))
    assert np.isnan(told).any()
    ground = Ground(bed)
    np.testing.assert_array_equal(ground.depth_at(places), told)
    for place, depth in zip(places[::10], told[::10], strict=True):
        np.testing.assert_array_equal(ground.depth_at(place[None]), depth)


def test_a_plane_has_its_slope_everywhere_and_vertices_share_its_area() -> None:
    bed = rough(slope=0.2)
    ground = Ground(bed)
    assert ground.mean_slope(bed.triangles[:25]) == pytest.approx(np.degrees(np.arctan(0.2)))
    assert ground.area_of(bed.triangles[:25]) == pytest.approx(bed.areas()[:25].sum())
    assert ground.areas.sum() == pytest.approx(bed.areas().sum())
