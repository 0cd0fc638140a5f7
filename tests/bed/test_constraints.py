"""What layers ask of a triangulation: distinct points, kinds, edges, depths at crossings."""

import numpy as np
import pytest
import shapely

from toolbox.bed.constraints import Constraints
from toolbox.bed.mesh import Mesh
from toolbox.errors import LayerError
from toolbox.layers import Breaklines, Shoreline, Soundings, VertexKind

SQUARE = Shoreline.from_shapes([shapely.box(0, 0, 100, 100)], None)


def soundings(*rows: tuple[float, float, float]) -> Soundings:
    array = np.array(rows, float).reshape(-1, 3)
    return Soundings.from_arrays(array[:, :2], array[:, 2], crs=None)


def lines(*rows: list[tuple[float, float, float]]) -> Breaklines:
    return Breaklines(tuple(np.array(row, float) for row in rows), None)


def plan(
    points: Soundings,
    shore: Shoreline = SQUARE,
    breaklines: Breaklines | None = None,
    duplicates: str = "mean",
) -> Constraints:
    return Constraints.of(points.coordinates, points.depth, shore, breaklines, duplicates)


def at(found: Constraints, easting: float, northing: float) -> tuple[float, int]:
    """Return depth and kind of the point at a place."""
    (number,) = np.flatnonzero((found.points == (easting, northing)).all(axis=1))
    return float(found.depth[number]), int(found.kind[number])


def test_points_edges_and_kinds() -> None:
    island = Shoreline.from_shapes(
        [shapely.box(0, 0, 100, 100).difference(shapely.box(40, 40, 60, 60))], None, depth=-0.5
    )
    points = soundings((10, 10, 1), (20, 20, 2), (30, 10, 3))
    found = plan(points, island, lines([(10, 80, 4), (90, 80, 5)]))
    assert len(found.points) == 4 + 4 + 3 + 2
    assert len(found.edges) == 4 + 4 + 1
    assert at(found, 100, 100) == (-0.5, VertexKind.SHORELINE)
    assert at(found, 60, 60) == (-0.5, VertexKind.ISLAND)
    assert at(found, 20, 20) == (2, VertexKind.SOUNDING)
    assert at(found, 90, 80) == (5, VertexKind.BREAKLINE)
    assert found.notes == ()


@pytest.mark.parametrize(("policy", "depth"), [("mean", 3.0), ("shoalest", 1.0), ("deepest", 6.0)])
def test_soundings_at_one_place_become_one(policy: str, depth: float) -> None:
    points = soundings((10, 10, 1), (10, 10, 2), (10, 10, 6), (20, 20, 2), (30, 10, 3))
    found = plan(points, duplicates=policy)
    assert at(found, 10, 10) == (depth, VertexKind.SOUNDING)
    assert found.notes == (f"2 soundings at a place already taken were merged ({policy})",)
    assert len(found.points) == 4 + 3


def test_a_vertex_of_a_line_wins_over_soundings() -> None:
    points = soundings((10, 80, 1), (0, 0, 7), (20, 20, 2), (30, 10, 3))
    found = plan(points, breaklines=lines([(10, 80, 4), (90, 80, 5)]))
    assert at(found, 10, 80) == (4, VertexKind.BREAKLINE)
    assert at(found, 0, 0) == (0, VertexKind.SHORELINE)
    assert found.notes == ("2 soundings at a place already taken were merged (mean)",)


def test_the_shoreline_wins_over_breaklines() -> None:
    found = plan(
        soundings((20, 20, 2), (30, 10, 3), (40, 10, 3)),
        breaklines=lines([(0, 0, 4), (50, 50, 5)]),
    )
    assert at(found, 0, 0) == (0, VertexKind.SHORELINE)


def test_places_that_differ_by_a_hair_stay_apart() -> None:
    points = soundings((10, 10, 1), (np.nextafter(10, 11), 10, 2), (20, 20, 2))
    assert len(plan(points).points) == 4 + 3


@pytest.mark.parametrize("count", [0, 1, 2])
def test_fewer_than_three_measured_points_are_refused(count: int) -> None:
    points = soundings(*[(10 + 10 * k, 10, 1) for k in range(count)])
    message = rf"^the water must hold 3 soundings or breakline vertices, got {count}$"
    with pytest.raises(LayerError, match=message):
        plan(points)


def test_breaklines_beside_the_water_are_no_measured_points() -> None:
    away = lines([(200, 200, 1), (300, 200, 2), (300, 300, 3)])
    message = r"^the water must hold 3 soundings or breakline vertices, got 0$"
    with pytest.raises(LayerError, match=message):
        plan(soundings(), breaklines=away)


def test_a_ring_that_repeats_its_first_vertex_makes_one_point_of_it() -> None:
    ring = lines([(40, 40, 5), (60, 40, 5), (50, 60, 5), (40, 40, 5)])
    found = plan(soundings(), breaklines=ring)
    assert len(found.points) == 4 + 3
    assert len(found.edges) == 4 + 3
    assert found.notes == ()


# ---- where lines cross ----


def crossing(shore: Shoreline, breaklines: Breaklines, place: tuple[float, float]) -> Constraints:
    made = plan(soundings((20, 20, 2), (30, 10, 3), (40, 10, 3)), shore, breaklines)
    mesh = Mesh(made.points, made.edges)
    found = made.after(mesh)
    assert (np.hypot(*(found.points - place).T) < 1e-6).sum() == 1
    return found


def nearest(found: Constraints, place: tuple[float, float]) -> tuple[float, int]:
    number = int(np.hypot(*(found.points - place).T).argmin())
    return float(found.depth[number]), int(found.kind[number])


def test_breaklines_that_cross_take_the_mean_of_their_depths() -> None:
    # derived: halfway along 2..6 and a quarter along 0..8
    cross = lines([(30, 50, 2), (70, 50, 6)], [(50, 40, 0), (50, 80, 8)])
    depth, kind = nearest(crossing(SQUARE, cross, (50, 50)), (50, 50))
    assert depth == pytest.approx((4 + 2) / 2)
    assert kind == VertexKind.BREAKLINE


def test_a_breakline_that_crosses_the_shoreline_ends_at_its_depth() -> None:
    shore = Shoreline.from_shapes([shapely.box(0, 0, 100, 100)], None, depth=-0.25)
    found = crossing(shore, lines([(50, 50, 4), (150, 50, 4)]), (100, 50))
    assert nearest(found, (100, 50)) == (-0.25, VertexKind.SHORELINE)


def test_a_breakline_that_crosses_an_island_takes_its_depth_and_kind() -> None:
    water = shapely.box(0, 0, 100, 100).difference(shapely.box(60, 40, 80, 60))
    shore = Shoreline.from_shapes([water], None)
    found = crossing(shore, lines([(50, 50, 4), (90, 50, 4)]), (60, 50))
    assert nearest(found, (60, 50)) == (0, VertexKind.ISLAND)
    assert nearest(found, (80, 50)) == (0, VertexKind.ISLAND)


def test_a_sounding_on_a_breakline_takes_its_depth() -> None:
    made = plan(
        soundings((50, 50, 9), (30, 10, 3), (40, 10, 3)),
        breaklines=lines([(40, 50, 2), (80, 50, 6)]),
    )
    found = made.after(Mesh(made.points, made.edges))
    assert nearest(found, (50, 50))[0] == pytest.approx(3)


def test_a_breakline_through_an_open_edge_keeps_its_depth_there() -> None:
    # a thalweg measured beyond the end of the reach is known where it leaves
    shore = SQUARE.with_open_edges([shapely.LineString([(100, 0), (100, 100)])], within=0.01)
    found = crossing(shore, lines([(50, 47, 4), (150, 47, 8)]), (100, 47))
    depth, kind = nearest(found, (100, 47))
    assert depth == pytest.approx(6)
    assert kind == VertexKind.OPEN_EDGE


# ---- open edges ----


def test_an_open_edge_is_divided_and_its_depths_are_left_open() -> None:
    shore = SQUARE.with_open_edges([shapely.LineString([(100, 0), (100, 100)])], within=0.01)
    found = plan(soundings((20, 20, 2), (30, 10, 3), (40, 10, 3)), shore)
    is_open = found.kind == VertexKind.OPEN_EDGE
    assert is_open.sum() >= 10
    np.testing.assert_allclose(found.points[is_open, 0], 100, atol=1e-5)
    assert np.isnan(found.depth[is_open]).all()
    assert np.isfinite(found.depth[~is_open]).all()
    northings = np.sort(found.points[is_open, 1])
    assert np.diff(np.r_[0, northings, 100]).max() < 15


def test_only_the_marked_side_is_open() -> None:
    shore = SQUARE.with_open_edges([shapely.LineString([(100, 20), (100, 50)])], within=0.01)
    found = plan(soundings((20, 20, 2), (30, 10, 3), (40, 10, 3)), shore)
    northings = found.points[found.kind == VertexKind.OPEN_EDGE, 1]
    assert northings.min() > 19.98
    assert northings.max() < 50.02
    for corner in ((0, 0), (100, 0), (0, 100), (100, 100)):
        assert nearest(found, corner) == (0, VertexKind.SHORELINE)
