"""The mesh is Delaunay, keeps to its lines, and agrees with an independent library."""

import numpy as np
import pytest
import scipy.spatial
from hypothesis import given, settings
from hypothesis import strategies as st

from toolbox.bed.mesh import Mesh, stiffness
from toolbox.errors import LayerError

NO_EDGES = np.empty((0, 2), int)


def scattered(count: int, seed: int) -> np.ndarray:
    return np.random.default_rng(seed).uniform(0, 1000, (count, 2))


def edges_of(triangles: np.ndarray) -> set[tuple[int, int]]:
    sides = np.vstack([triangles[:, [0, 1]], triangles[:, [1, 2]], triangles[:, [2, 0]]])
    return set(map(tuple, np.sort(sides, axis=1).tolist()))


def areas_of(points: np.ndarray, triangles: np.ndarray) -> np.ndarray:
    a, b, c = (points[triangles[:, corner]] for corner in range(3))
    u, v = b - a, c - a
    return np.asarray((u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]) / 2)


# ---- against scipy's wrapper of another triangulator ----


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 2**32 - 1), st.integers(4, 200))
def test_same_edges_and_area_as_an_independent_library(seed: int, count: int) -> None:
    # Points in general position have one Delaunay triangulation. Along the hull, where corners are
    # nearly in line, a triangulator may leave out a sliver, so a square frame makes the hull plain.
    frame = np.array([[-500, -500], [1600, -500], [1500, 1700], [-600, 1500]], float)
    points = np.vstack([frame, scattered(count, seed)])
    mesh = Mesh(points, NO_EDGES)
    other = scipy.spatial.Delaunay(points).simplices
    assert edges_of(mesh.triangles) == edges_of(other)
    hull = scipy.spatial.ConvexHull(points).volume  # the area, in two dimensions
    assert areas_of(points, mesh.triangles).sum() == pytest.approx(hull, rel=1e-12)


def test_no_vertex_lies_inside_the_circle_through_a_triangle() -> None:
    points = scattered(400, seed=2)
    triangles = Mesh(points, NO_EDGES).triangles
    a, b, c = (points[triangles[:, corner]] for corner in range(3))
    # derived: the centre is where the perpendicular bisectors of two sides meet
    sides = np.stack([b - a, c - a], axis=1)
    right = np.stack([(b**2 - a**2).sum(axis=1), (c**2 - a**2).sum(axis=1)], axis=1) / 2
    centre = np.linalg.solve(sides, right[..., None])[..., 0]
    radius = np.hypot(*(a - centre).T)
    nearest, _ = scipy.spatial.KDTree(points).query(centre)
    np.testing.assert_array_less(radius * (1 - 1e-9), nearest)


def test_triangles_run_counter_clockwise() -> None:
    points = scattered(100, seed=3)
    assert (areas_of(points, Mesh(points, NO_EDGES).triangles) > 0).all()


# ---- lines ----


def test_lines_are_kept_where_delaunay_would_cross_them() -> None:
    # the short diagonal of a flat rhombus is Delaunay, the long one is not
    points = np.array([[0, 0], [100, 0], [50, 5], [50, -5]], float)
    assert (2, 3) in edges_of(Mesh(points, NO_EDGES).triangles)
    kept = Mesh(points, np.array([[0, 1]]))
    assert (0, 1) in edges_of(kept.triangles)
    assert kept.fixed.tolist() == [[0, 1]]


def test_a_vertex_on_a_line_divides_it() -> None:
    points = np.array([[0, 0], [100, 0], [40, 0], [50, 50], [50, -50]], float)
    mesh = Mesh(points, np.array([[0, 1]]))
    assert {tuple(edge) for edge in np.sort(mesh.fixed, axis=1).tolist()} == {(0, 2), (1, 2)}
    assert mesh.crossings() == {2: [(0, 1)]}


@pytest.mark.parametrize(("offset", "on"), [(0.0009, True), (0.0011, False)])
def test_a_vertex_within_a_millimetre_of_a_line_lies_on_it(offset: float, on: bool) -> None:
    points = np.array([[0, 0], [100, 0], [40, offset], [50, 50], [50, -50]], float)
    assert (2 in Mesh(points, np.array([[0, 1]])).crossings()) is on


def test_lines_that_cross_get_a_vertex_there() -> None:
    points = np.array([[0, 0], [100, 100], [0, 100], [100, 0]], float)
    mesh = Mesh(points, np.array([[0, 1], [2, 3]]))
    assert len(mesh.points) == 5
    np.testing.assert_allclose(mesh.points[4], [50, 50])
    np.testing.assert_array_equal(mesh.points[:4], points)
    assert mesh.crossings() == {4: [(0, 1), (2, 3)]}
    assert len(mesh.fixed) == 4


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 2**32 - 1), st.integers(2, 12))
def test_a_tangle_of_lines_is_resolved_and_covers_the_hull(seed: int, count: int) -> None:
    points = scattered(2 * count, seed)
    mesh = Mesh(points, np.arange(2 * count).reshape(-1, 2))
    hull = scipy.spatial.ConvexHull(points).volume
    assert areas_of(mesh.points, mesh.triangles).sum() == pytest.approx(hull, rel=1e-9)
    assert edges_of(mesh.triangles) >= set(map(tuple, np.sort(mesh.fixed, axis=1).tolist()))
    crossings = mesh.crossings()
    assert set(range(2 * count, len(mesh.points))) <= crossings.keys()
    for vertex, lines in crossings.items():
        for start, end in lines:
            away = _distance(mesh.points[vertex], points[start], points[end])
            assert away < 2e-3


def _distance(place: np.ndarray, start: np.ndarray, end: np.ndarray) -> float:
    along, across = end - start, place - start
    return abs(along[0] * across[1] - along[1] * across[0]) / float(np.hypot(*along))


def test_added_vertices_come_last_and_stay_delaunay() -> None:
    points = scattered(50, seed=6)
    mesh = Mesh(points, NO_EDGES)
    more = scattered(20, seed=7)
    mesh.add(more)
    np.testing.assert_array_equal(mesh.points, np.vstack([points, more]))
    at_once = Mesh(np.vstack([points, more]), NO_EDGES)
    assert edges_of(mesh.triangles) == edges_of(at_once.triangles)


@pytest.mark.parametrize("bad", [np.nan, np.inf])
def test_points_that_are_not_finite_are_refused(bad: float) -> None:
    points = np.array([[0, 0], [1, 0], [0, bad]])
    with pytest.raises(LayerError, match=r"^points to triangulate must be finite$"):
        Mesh(points, NO_EDGES)


# ---- the Laplacian ----


def test_stiffness_of_one_triangle() -> None:
    # derived: right triangle with legs 1 and 1 (any text on finite elements)
    matrix = stiffness(np.array([[0, 0], [1, 0], [0, 1.0]]), np.array([[0, 1, 2]]))
    np.testing.assert_allclose(
        matrix.toarray(), [[1, -0.5, -0.5], [-0.5, 0.5, 0], [-0.5, 0, 0.5]], atol=1e-15
    )


def test_stiffness_gives_the_energy_of_a_plane() -> None:
    # derived: for z = a x + b y the energy z' K z is (a^2 + b^2) times the area
    points = scattered(200, seed=9)
    mesh = Mesh(points, NO_EDGES)
    matrix = stiffness(points, mesh.triangles)
    z = 0.3 * points[:, 0] - 0.4 * points[:, 1] + 7
    area = areas_of(points, mesh.triangles).sum()
    assert z @ (matrix @ z) == pytest.approx(0.25 * area, rel=1e-9)
    np.testing.assert_allclose(matrix @ np.ones(len(points)), 0, atol=1e-9)
    assert abs(matrix - matrix.T).max() < 1e-12


# ---- the Laplacian with a tensor ----


def leaning(stretch: float, bearing: float) -> np.ndarray:
    """Tensor that is `stretch` along a direction (radians from east) and its inverse across."""
    c, s = np.cos(bearing), np.sin(bearing)
    turn = np.array([[c, -s], [s, c]])
    return np.asarray(turn @ np.diag([stretch, 1 / stretch]) @ turn.T)


def test_the_identity_as_tensor_changes_nothing() -> None:
    points = scattered(80, seed=10)
    triangles = Mesh(points, NO_EDGES).triangles
    same = np.tile(np.eye(2), (len(triangles), 1, 1))
    np.testing.assert_allclose(
        stiffness(points, triangles, same).toarray(),
        stiffness(points, triangles).toarray(),
        atol=1e-12,
    )


@settings(max_examples=30, deadline=None)
@given(
    st.floats(0.05, 20),
    st.floats(0, np.pi),
    st.floats(-2, 2),
    st.floats(-2, 2),
    st.integers(0, 2**32 - 1),
)
def test_tensor_gives_the_energy_of_a_plane(
    stretch: float, bearing: float, east: float, north: float, seed: int
) -> None:
    # derived: for z = g . x the energy z' K z is g' H g times the area, for any triangulation
    points = scattered(40, seed)
    triangles = Mesh(points, NO_EDGES).triangles
    tensor = leaning(stretch, bearing)
    matrix = stiffness(points, triangles, np.tile(tensor, (len(triangles), 1, 1)))
    gradient = np.array([east, north])
    z = points @ gradient - 3
    wanted = gradient @ tensor @ gradient * areas_of(points, triangles).sum()
    assert z @ (matrix @ z) == pytest.approx(wanted, rel=1e-7, abs=1e-6)
    np.testing.assert_allclose(matrix @ np.ones(len(points)), 0, atol=1e-8 * abs(matrix).max())
    assert abs(matrix - matrix.T).max() <= 1e-10 * abs(matrix).max()


def test_each_triangle_takes_its_own_tensor() -> None:
    # derived: the energies of two triangles with a plane over both add up
    points = np.array([[0, 0], [2, 0], [2, 2], [0, 2]], float)
    triangles = np.array([[0, 1, 2], [0, 2, 3]])
    tensor = np.array([[[3, 0], [0, 1]], [[1, 0.5], [0.5, 2]]])
    matrix = stiffness(points, triangles, tensor)
    z = points @ [1.0, 2.0]
    assert z @ (matrix @ z) == pytest.approx(2 * (3 + 4) + 2 * (1 + 2 + 8))


def test_a_tensor_is_a_stretch_of_the_plane() -> None:
    # derived: with H of determinant 1, diffusion by H equals plain diffusion in coordinates
    # multiplied with H^(-1/2)
    points = scattered(60, seed=11)
    triangles = Mesh(points, NO_EDGES).triangles
    there = points @ leaning(4.0**-0.5, 0.6).T
    tensor = np.tile(leaning(4.0, 0.6), (len(triangles), 1, 1))
    np.testing.assert_allclose(
        stiffness(points, triangles, tensor).toarray(),
        stiffness(there, triangles).toarray(),
        atol=1e-8,
    )
