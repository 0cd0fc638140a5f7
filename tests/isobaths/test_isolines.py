"""Isolines are exact, simple, never cross, and run with what is deeper to the left."""

import itertools

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from matplotlib._tri import TriContourGenerator
from matplotlib.tri import Triangulation
from scipy.spatial import Delaunay

from toolbox.isobaths.isolines import Isolines, Lines, joined

SQUARE = np.array([[0, 0], [2, 0], [2, 2], [0, 2], [1, 1]], float)
FAN = np.array([[0, 1, 4], [1, 2, 4], [2, 3, 4], [3, 0, 4]])


def net(seed: int, *, whole: bool) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Triangulate random places of a lattice, with gaps; depths are whole numbers or any."""
    rng = np.random.default_rng(seed)
    points = np.unique(rng.integers(0, 7, (rng.integers(5, 30), 2)), axis=0).astype(float)
    points = np.unique(np.vstack([points, [[0, 0], [6, 0], [0, 6]]]), axis=0)
    triangles = Delaunay(points).simplices
    a, b, c = points[triangles].transpose(1, 0, 2)
    turn = (b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0]
    triangles[turn < 0] = triangles[turn < 0, ::-1]
    kept = (np.abs(turn) > 1e-9) & (rng.random(len(turn)) < rng.choice([0.5, 0.8, 1]))
    kept[np.abs(turn).argmax()] = True
    size = len(points)
    depth = rng.integers(0, 5, size).astype(float) if whole else rng.normal(2, 1, size)
    return points + rng.choice([0, 5e6]), triangles[kept].astype(np.int32), depth


def shapes(lines: list[np.ndarray]) -> list[shapely.LineString]:
    return [shapely.LineString(line) for line in lines]


def lines_at(
    vertices: np.ndarray, triangles: np.ndarray, values: np.ndarray, level: float
) -> list[np.ndarray]:
    found = Isolines(vertices, np.int32(triangles), np.float64(values), np.array([level]))
    nodes, line = found.lines().drawn()
    return np.split(found.places[nodes], np.flatnonzero(np.diff(line)) + 1) if len(nodes) else []


def test_a_triangle_is_cut_across() -> None:
    # derived: a plane that deepens by 1 m a metre east
    corners = np.array([[0, 0], [2, 0], [0, 2]], float)
    (line,) = lines_at(corners, np.array([[0, 1, 2]]), corners[:, 0], 0.5)
    assert line.tolist() == [[0.5, 1.5], [0.5, 0]]  # south, deeper water in the east on the left


def test_a_hollow_runs_counter_clockwise_and_a_rise_clockwise() -> None:
    for deepest, counter_clockwise in ((4.0, True), (-4.0, False)):
        (ring,) = lines_at(SQUARE, FAN, np.array([0, 0, 0, 0, deepest]), deepest / 2)
        assert ring[0].tolist() == ring[-1].tolist()
        assert shapely.is_ccw(shapely.LinearRing(ring)) == counter_clockwise
        assert shapely.Polygon(ring).area == pytest.approx(1)


def test_no_line_where_nothing_is_crossed() -> None:
    for level in (-1.0, 0.0, 4.1):
        assert lines_at(SQUARE, FAN, np.array([0, 0, 0, 0, 4.0]), level) == []
    # the deepest point alone is as deep as the level: a ring without length
    assert lines_at(SQUARE, FAN, np.array([0, 0, 0, 0, 4.0]), 4.0) == []
    assert lines_at(SQUARE, FAN, np.full(5, 3.0), 3.0) == []


def bearings(lines: list[np.ndarray]) -> list[int]:
    """Bearing from the first to the last point of each line, degrees."""
    return sorted(round(np.degrees(np.arctan2(*(line[-1] - line[0])))) for line in lines)


def test_lines_through_a_saddle_keep_to_the_deep_sides() -> None:
    # derived: deep in the south-east and in the north-west, so lines cut off these corners above
    # the saddle's depth, and the other two below it
    saddle = np.array([0, 2, 0, 2, 1.0])
    deeper, shallower = (bearings(lines_at(SQUARE, FAN, saddle, level)) for level in (1.1, 0.9))
    assert deeper == [-135, 45]
    assert shallower == [-45, 135]
    at = lines_at(SQUARE, FAN, saddle, 1.0)
    assert bearings(at) == deeper
    assert all(line[1].tolist() == [1, 1] for line in at)


def test_a_groove_as_deep_as_the_level_gives_no_line_there_and_back() -> None:
    points = np.array([[0, 0], [3, 0], [3, 2], [0, 2], [1, 1], [2, 1]], float)
    triangles = np.array([[0, 1, 4], [1, 5, 4], [1, 2, 5], [2, 3, 5], [3, 4, 5], [3, 0, 4]])
    assert lines_at(points, triangles, np.array([0, 0, 0, 0, 1, 1.0]), 1.0) == []
    # one end of the groove is a hollow: its ring remains, without the groove as a tail
    deep = np.array([0, 0, 0, 0, 1, 2.0])
    (ring,) = lines_at(points, triangles, deep, 1.0)
    assert shapely.LinearRing(ring).is_valid


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 10**6), st.booleans())
def test_lines_are_simple_and_lie_at_their_level(seed: int, whole: bool) -> None:
    points, triangles, depth = net(seed, whole=whole)
    corners = points[triangles]
    faces = shapely.polygons(corners)
    for level in (0.0, 1.0, 1.5, 2.0, 4.0):
        lines = shapes(lines_at(points, triangles, depth, level))
        assert all(line.is_simple for line in lines)
        for one, other in itertools.combinations(lines, 2):
            assert one.intersection(other).length == 0  # lines touch in vertices at the most
        for line in lines:
            middle = (np.asarray(line.coords)[1:] + np.asarray(line.coords)[:-1]) / 2
            for place in middle:
                face = int(shapely.distance(faces, shapely.Point(place)).argmin())
                weight = np.linalg.solve(
                    np.vstack([(corners[face] - corners[face][0]).T, np.ones(3)]),
                    [*(place - corners[face][0]), 1],
                )
                assert weight @ depth[triangles[face]] == pytest.approx(level, abs=1e-6)


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 10**6))
def test_as_many_and_as_long_as_those_of_another_library(seed: int) -> None:
    # independent: matplotlib's contouring of triangulations (rule of vertices unlike ours only
    # where a vertex lies at the level)
    points, triangles, depth = net(seed, whole=False)
    other = TriContourGenerator(Triangulation(*points.T, triangles).get_cpp_triangulation(), depth)
    for level in (1.0, 1.7, 2.5):
        ours, theirs = lines_at(points, triangles, depth, level), other.create_contour(level)[0]
        assert len(ours) == len(theirs)
        # where coordinates are in millions of metres, each is rounded to 1e-9 m
        length = sum(shapely.LineString(line).length for line in theirs)
        assert sum(line.length for line in shapes(ours)) == pytest.approx(
            length, rel=1e-9, abs=1e-7
        )


def test_the_same_whatever_the_number_of_threads() -> None:
    import numba

    points, triangles, depth = net(3, whole=False)
    found = []
    for threads in (1, numba.config.NUMBA_NUM_THREADS):
        numba.set_num_threads(threads)
        lines = Isolines(points, triangles, depth, np.linspace(0, 4, 9), smooth=0.5).lines()
        found.append((lines.nodes.tolist(), lines.starts.tolist()))
    assert found[0] == found[1]


def test_a_point_next_to_a_vertex_is_the_vertex() -> None:
    # 0.1 + 0.2 is a little more than 0.3: the vertex is shallower than the level by a rounding
    depth = np.array([0.5, 0.5, 0.5, 0.5, 0.3])
    assert lines_at(SQUARE + 5e6, FAN, depth, 0.1 + 0.2) == []


def test_edges_are_joined_by_what_lies_to_their_left() -> None:
    # two squares that touch in node 2, counter-clockwise, and an edge there and back
    places = np.array([[0, 0], [1, 0], [1, 1], [0, 1], [2, 1], [2, 2], [1, 2], [5, 5]], float)
    tail = np.array([0, 1, 2, 3, 2, 4, 5, 6, 2, 7])
    head = np.array([1, 2, 3, 0, 4, 5, 6, 2, 7, 2])
    lines = joined(np.zeros(10, int), tail, head, places)
    assert lines.closed.tolist() == [True, True]
    assert [part.tolist() for part in np.split(lines.nodes, lines.starts[1:-1])] == [
        [0, 1, 2, 3],
        [2, 4, 5, 6],
    ]


def test_an_open_line_is_joined_from_its_end_and_its_loop_cut_off() -> None:
    places = np.array([[0, 0], [1, 0], [2, 1], [2, -1], [-1, 0]], float)
    tail, head = np.array([1, 2, 3, 0, 1]), np.array([2, 3, 1, 1, 4])
    lines = joined(np.zeros(5, int), tail, head, places)
    assert sorted(zip(lines.closed.tolist(), np.diff(lines.starts).tolist(), strict=True)) == [
        (False, 3),
        (True, 3),
    ]


def test_segments_of_a_ring_close_it() -> None:
    lines = Lines(
        np.array([4, 5, 6, 7, 8]), np.array([0, 3, 5]), np.array([1, 0]), np.array([True, False])
    )
    tail, head, group = lines.segments()
    assert tail.tolist() == [4, 5, 6, 7]
    assert head.tolist() == [5, 6, 4, 8]
    assert group.tolist() == [1, 1, 1, 0]
    nodes, line = lines.drawn()
    assert nodes.tolist() == [4, 5, 6, 4, 7, 8]
    assert line.tolist() == [0, 0, 0, 0, 1, 1]
