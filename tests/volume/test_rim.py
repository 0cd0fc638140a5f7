"""The rim of a bed measures what its edges do. Derived."""

import numpy as np
import pytest
from scipy.spatial import Delaunay

from toolbox.layers import Tin, VertexKind
from toolbox.volume.rim import Rim


def holed() -> Tin:
    """Return a square of 100 m with an island of 20 m in its middle, in squares of 10 m halved."""
    axis = np.arange(0, 101, 10.0)
    places = np.stack(np.meshgrid(axis, axis), axis=-1).reshape(-1, 2)
    triangles = Delaunay(places).simplices
    corners = places[triangles]
    u, v = (corners[:, k] - corners[:, 0] for k in (1, 2))
    across = u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]
    triangles[across < 0] = triangles[across < 0, ::-1]
    land = (np.abs(corners.mean(axis=1) - 50) < 10).all(axis=1)
    water = triangles[~land & (np.abs(across) > 1e-6)]
    outer = ((places == 0) | (places == 100)).any(axis=1)
    kind = np.where(outer, VertexKind.SHORELINE, VertexKind.SOUNDING)
    kind[(np.abs(places - 50) <= 10).all(axis=1)] = VertexKind.ISLAND
    used, own = np.unique(water, return_inverse=True)
    return Tin(places[used], np.where(outer, 0.0, 5.0)[used], own, kind[used], None)


def test_the_rim_of_the_bed_is_the_edges_of_one_triangle_alone() -> None:
    bed = holed()
    sides = bed.triangles[:, [[0, 1], [1, 2], [2, 0]]].reshape(-1, 2)
    both = {tuple(side) for side in sides.tolist()}
    lone = [(a, b) for a, b in both if (b, a) not in both]
    assert sorted(map(tuple, bed.boundary().tolist())) == sorted(lone)
    assert len(lone) == 48  # 40 about the square, 8 about the island


def test_a_square_with_an_island_has_two_rings() -> None:
    rim = Rim.of(holed())
    assert (rim.shoreline, rim.island_shoreline, rim.open_edge) == (400, 80, 0)
    assert (rim.islands, rim.island_area) == (1, 400)
    assert rim.hull == pytest.approx(400)
    assert rim.water.area == pytest.approx(9600)
