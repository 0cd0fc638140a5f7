"""Beds are checked when made; areas and steepness are those of the triangles."""

from typing import Any

import numpy as np
import pyproj
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial import Delaunay

from toolbox.errors import LayerError
from toolbox.layers import Tin, VertexKind
from toolbox.layers.tin import edge_keys

CORNERS = np.array([[0, 0], [30, 0], [30, 40], [0, 40]], float)
DEPTH = np.array([0, 0, 3, 3.0])
TRIANGLES = np.array([[0, 1, 2], [0, 2, 3]])
KIND = np.array([0, 0, 2, 2])


def bed(**changes: object) -> Tin:
    parts: dict[str, object] = {
        "vertices": CORNERS,
        "depth": DEPTH,
        "triangles": TRIANGLES,
        "kind": KIND,
        "crs": None,
    }
    return Tin(**(parts | changes))  # type: ignore[arg-type]


def test_areas_and_steepness_of_a_plane() -> None:
    # derived: halves of a rectangle, and a rise of 3 m over 40 m
    assert bed().areas().tolist() == [600, 600]
    assert bed().ground_areas().tolist() == [600, 600]
    np.testing.assert_allclose(bed().gradients(), 3 / 40)


@settings(max_examples=50, deadline=None)
@given(st.integers(0, 2**32 - 1), st.floats(-3, 3), st.floats(-3, 3))
def test_steepness_of_any_triangles_on_a_plane(seed: int, east: float, north: float) -> None:
    place = np.random.default_rng(seed).uniform(0, 100, (20, 2))
    depth = place @ np.array([east, north])
    plane = Tin(place, depth, Delaunay(place).simplices, np.full(20, 2), None)
    np.testing.assert_allclose(plane.gradients(), np.hypot(east, north), atol=1e-6)


def test_boundary_runs_with_the_bed_on_its_left() -> None:
    edges = {tuple(edge) for edge in bed().boundary().tolist()}
    assert edges == {(0, 1), (1, 2), (2, 3), (3, 0)}


def test_boundary_of_a_bed_with_a_hole() -> None:
    inner = np.array([[10, 10], [20, 10], [20, 30], [10, 30]], float)
    triangles = [[0, 1, 5], [0, 5, 4], [1, 2, 6], [1, 6, 5]]
    triangles += [[2, 3, 7], [2, 7, 6], [3, 0, 4], [3, 4, 7]]
    ring = Tin(
        np.vstack([CORNERS, inner]), np.zeros(8), np.array(triangles), np.zeros(8, int), None
    )
    edges = {tuple(edge) for edge in ring.boundary().tolist()}
    assert edges == {(0, 1), (1, 2), (2, 3), (3, 0), (5, 4), (6, 5), (7, 6), (4, 7)}


def test_shore_depth_is_that_of_shore_and_island_vertices() -> None:
    assert bed().shore_depth == 0
    assert bed(kind=np.full(4, VertexKind.SOUNDING)).shore_depth is None
    assert bed(kind=np.array([2, 2, 1, 2])).shore_depth == 3
    open_edge = np.array([VertexKind.OPEN_EDGE, 2, 0, 0])
    assert bed(kind=open_edge, depth=np.array([-1, 0, 2, 2.0])).shore_depth == 2


def test_kinds_are_those_of_the_design() -> None:
    assert [kind.name.lower() for kind in VertexKind] == [
        "shoreline",
        "island",
        "sounding",
        "breakline",
        "inferred",
        "open_edge",
    ]


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"depth": DEPTH[:3]}, r"^bed vertices must have shape \(3, 2\), got \(4, 2\)$"),
        ({"kind": KIND[:3]}, r"^bed kind must have shape \(4,\), got \(3,\)$"),
        (
            {"triangles": np.array([[0, 1, 2, 3]])},
            r"^bed triangles must have shape \(1, 3\), got \(1, 4\)$",
        ),
        ({"sd": np.ones(3)}, r"^bed sd must have shape \(4,\), got \(3,\)$"),
        ({"draws": np.ones((3, 9))}, r"^bed draws must have shape \(4, k\), got \(3, 9\)$"),
        ({"draws": np.ones(4)}, r"^bed draws must have shape \(4, k\), got \(4,\)$"),
        ({"draws": np.ones((4, 0))}, r"^bed draws must have shape \(4, k\), got \(4, 0\)$"),
        ({"draws": np.full((4, 2), np.inf)}, r"^bed draws must be finite$"),
        ({"support": np.ones(5)}, r"^bed support must have shape \(4,\), got \(5,\)$"),
        (
            {"support": np.array([0, 1, 1.01, 0.5])},
            r"^bed support must be 0 to 1, got 1\.01 at vertex 2$",
        ),
        ({"support": np.full(4, np.nan)}, r"^bed support must be 0 to 1, got nan at vertex 0$"),
        ({"sd": [1, -1, 0, 0]}, r"^bed sd must be finite and >= 0, got -1 at vertex 1$"),
        ({"sd": [1, 1, np.inf, 0]}, r"^bed sd must be finite and >= 0, got inf at vertex 2$"),
        ({"triangles": np.empty((0, 3))}, r"^a bed needs at least one triangle$"),
        ({"depth": DEPTH * np.nan}, r"^bed vertices and depths must be finite$"),
        ({"vertices": CORNERS + np.inf}, r"^bed vertices and depths must be finite$"),
        (
            {"triangles": np.array([[0, 1, 4]])},
            r"^triangles must name vertices 0 to 3, got 0 to 4$",
        ),
        (
            {"triangles": np.array([[-1, 1, 2]])},
            r"^triangles must name vertices 0 to 3, got -1 to 2$",
        ),
        (
            {"triangles": TRIANGLES[:, ::-1]},
            r"^triangle 0 must be counter-clockwise, got area -600\.0$",
        ),
        (
            {"triangles": np.array([[0, 1, 2], [0, 0, 1]])},
            r"^triangle 1 must be counter-clockwise, got area 0\.0$",
        ),
        (
            {"crs": pyproj.CRS(4326)},
            r"^bed must be in a projected CRS in metres, got 'WGS 84'$",
        ),
    ],
)
def test_refusals(changes: dict[str, object], message: str) -> None:
    with pytest.raises(LayerError, match=message):
        bed(**changes)


@given(st.lists(st.tuples(st.integers(0, 10**6), st.integers(0, 10**6)), max_size=30))
def test_edge_keys_know_edges_whichever_way_they_run(pairs: list[tuple[int, int]]) -> None:
    edges = np.array(pairs, np.int32).reshape(-1, 2)
    count = 10**6 + 1
    keys = edge_keys(edges, count)
    np.testing.assert_array_equal(keys, edge_keys(edges[:, ::-1], count))
    assert len(set(keys.tolist())) == len({tuple(sorted(pair)) for pair in pairs})


# ---- on the ground ----


@pytest.mark.parametrize("code", [32633, 32631, 3035, 3857, 3413, 6933, 3395])
def test_ground_areas_are_geodesic(code: int) -> None:
    # independent: the area of each triangle by geodesics through its corners (Karney 2013)
    crs = pyproj.CRS(code)
    geod = pyproj.Geod(ellps="WGS84")
    random = np.random.default_rng(2)
    degrees = np.column_stack([random.uniform(12, 12.03, 40), random.uniform(54, 54.02, 40)])
    move = pyproj.Transformer.from_crs(4326, crs, always_xy=True)
    place = np.column_stack(move.transform(*degrees.T))
    triangles = Delaunay(place).simplices
    found = Tin(place, np.ones(40), triangles, np.full(40, 2), crs).ground_areas()
    exact = [geod.polygon_area_perimeter(*degrees[corners].T)[0] for corners in triangles]
    whole = np.sum(exact)
    assert found.sum() == pytest.approx(whole, rel=1e-5)
    # a straight edge on the map is not quite a geodesic, which slivers along the rim feel
    np.testing.assert_allclose(found, exact, rtol=5e-4, atol=1e-6 * whole)


# ---- what a bed knows of its own error ----


def test_draws_are_given_in_their_order_and_nowhere_above_the_shore() -> None:
    draws = np.array([[-1, 0.5], [0, -2], [3, 4], [5, -0.25]])
    (found,) = bed(draws=draws).drawn()
    assert found.tolist() == [[0, 0, 3, 5], [0.5, 0, 4, 0]]
    # mapped 0.25 m below the datum, and with no shore at all
    (lower,) = bed(draws=draws, depth=DEPTH + 0.25).drawn()
    assert lower[0].tolist() == [0.25, 0.25, 3, 5]
    (free,) = bed(draws=draws, kind=np.full(4, VertexKind.OPEN_EDGE)).drawn()
    assert free.tolist() == draws.T.tolist()


@pytest.mark.parametrize("order", ["C", "F"])
@pytest.mark.parametrize("number", [np.float32, np.float64])
def test_many_draws_come_in_portions_as_wide_numbers(number: type, order: Any) -> None:
    draws = np.random.default_rng(3).uniform(1, 9, (4, 70)).astype(number, order=order)
    one = bed(draws=draws)
    assert one.draws is draws
    portions = list(one.drawn())
    assert [len(portion) for portion in portions] == [32, 32, 6]
    assert all(portion.flags.c_contiguous for portion in portions)
    assert {portion.dtype for portion in portions} == {np.dtype(float)}
    np.testing.assert_array_equal(np.vstack(portions), draws.T.astype(float))


def test_a_bed_without_draws_says_which_bed_has_them() -> None:
    message = "^the bed has no draws: only a fitted bed tells its own error$"
    with pytest.raises(LayerError, match=message):
        bed().drawn()


def test_support_and_spread_are_kept_as_they_are() -> None:
    support, spread = np.array([1, 0.5, 0.25, 0]), np.array([0, 0.5, 1e-300, 9])
    one = bed(support=support, sd=spread)
    assert one.support is not None
    assert one.support.tolist() == support.tolist()
    assert one.sd is not None
    assert one.sd.tolist() == spread.tolist()
    assert bed().support is None
