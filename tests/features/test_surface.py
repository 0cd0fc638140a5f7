"""The surface reads a bed anywhere; smoothing keeps planes. Derived."""

import numpy as np
import pytest
from scipy.spatial import Delaunay

from toolbox.features.surface import Surface, smoothed
from toolbox.layers import Tin, VertexKind


def sloping() -> Tin:
    """Return a bed that falls 0.1 to the east and 0.05 to the south."""
    axis = np.arange(0, 101, 5.0)
    places = np.stack(np.meshgrid(axis, axis), axis=-1).reshape(-1, 2)
    depth = 10 + 0.1 * places[:, 0] - 0.05 * places[:, 1]
    triangles = Delaunay(places).simplices
    corners = places[triangles]
    u, v = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
    whole = triangles[u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0] > 1e-6]
    return Tin(places, depth, whole, np.full(len(places), VertexKind.SOUNDING), None)


def test_a_plane_is_read_exactly_with_its_slope() -> None:
    surface = Surface.of(sloping(), cell=2.0, blur=0.0)
    places = np.random.default_rng(3).uniform(10, 90, (50, 2))
    told = 10 + 0.1 * places[:, 0] - 0.05 * places[:, 1]
    np.testing.assert_allclose(surface.at(surface.depth, places), told, atol=1e-5)
    assert np.nanmax(np.abs(surface.east - 0.1)) < 1e-5
    assert np.nanmax(np.abs(surface.north + 0.05)) < 1e-5
    assert np.nanmedian(surface.slope) == pytest.approx(np.hypot(0.1, 0.05), abs=1e-6)


def test_places_and_cells_are_each_others_inverse() -> None:
    surface = Surface.of(sloping(), cell=2.0)
    cells = np.random.default_rng(3).uniform(0, 40, (20, 2))
    np.testing.assert_allclose(surface.cells(surface.places(cells)), cells, atol=1e-9)


def test_off_the_water_there_is_no_depth() -> None:
    surface = Surface.of(sloping(), cell=2.0)
    assert np.isnan(surface.at(surface.depth, np.array([[-5.0, 50], [150, 50]]))).all()


def test_smoothing_keeps_planes_inside_and_nearly_at_the_edge() -> None:
    row, col = np.mgrid[:60, :60]
    plane = 3 + 0.2 * row - 0.1 * col
    plane[:, :10] = np.nan
    even = smoothed(plane, 2.0)
    assert (np.isnan(even) == np.isnan(plane)).all()
    np.testing.assert_allclose(even[15:-15, 25:-15], plane[15:-15, 25:-15], atol=1e-3)
    assert np.nanmax(np.abs(even - plane)) < 0.35  # no more than the window's lean


def test_smoothing_by_nothing_changes_nothing() -> None:
    rough = np.random.default_rng(1).normal(0, 1, (5, 5))
    assert smoothed(rough, 0.0) is rough
