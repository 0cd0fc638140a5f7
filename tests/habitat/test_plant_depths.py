"""Expected depths of plants against published and remembered figures, and a pyramid's bed area."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from toolbox.errors import LayerError, ParameterError
from toolbox.habitat.plant_depths import RELATIONS, expected_plant_depth
from toolbox.layers import Tin, VertexKind

SECCHI = (0.5, 1.0, 2.0, 4.0)


@pytest.mark.parametrize(
    ("relation", "depths"),
    [
        # Caffrey et al. 2007, abstract: log MDC = 0.66 log SD + 0.31, upper 0.53 log SD + 0.59
        ("Caffrey et al. 2007, mean", (1.292, 2.042, 3.226, 5.098)),
        ("Caffrey et al. 2007, upper limit", (2.694, 3.890, 5.618, 8.111)),
        # Chambers & Kalff 1985, angiosperms: Zc^0.5 = 1.33 log SD + 1.40, from memory
        ("Chambers & Kalff 1985", (0.999, 1.960, 3.241, 4.843)),
        # Canfield et al. 1985: log MDC = 0.61 log SD + 0.26, from memory
        ("Canfield et al. 1985", (1.192, 1.820, 2.777, 4.239)),
    ],
)
def test_depths_of_four_waters(relation: str, depths: tuple[float, ...]) -> None:
    found = [
        expected_plant_depth(secchi=secchi).frame.set_index("relation")["expected_depth_m"][
            relation
        ]
        for secchi in SECCHI
    ]
    np.testing.assert_allclose(found, depths, atol=6e-4)


@given(st.floats(0.01, 40), st.floats(0.01, 40))
def test_clearer_water_lets_plants_grow_deeper(one: float, other: float) -> None:
    for relation in RELATIONS:
        assert 0 <= relation.depth(min(one, other)) <= relation.depth(max(one, other)) + 1e-12


def pyramid(scale: tuple[float, ...] = ()) -> Tin:
    vertices = np.array([[0, 0], [100, 0], [100, 100], [0, 100], [50, 50]], float)
    triangles = np.array([[0, 1, 4], [1, 2, 4], [2, 3, 4], [3, 0, 4]])
    kind = np.array([VertexKind.SHORELINE] * 4 + [VertexKind.SOUNDING])
    depth = np.array([0, 0, 0, 0, 10.0])
    return Tin(
        vertices, depth, triangles, kind, None, draws=np.outer(depth, scale) if scale else None
    )


def test_bed_shallower_than_that() -> None:
    frame = expected_plant_depth(pyramid(), secchi=2.0).frame
    assert list(frame) == [
        "relation",
        "plants",
        "waters",
        "expected_depth_m",
        "bed_area_m2",
        "bed_share",
        "formula",
        "source",
    ]
    # derived: of a pyramid what is deeper than z is (1 - z / z_max)^2 of it
    share = 1 - (1 - frame["expected_depth_m"] / 10) ** 2
    np.testing.assert_allclose(frame["bed_share"], share)
    np.testing.assert_allclose(frame["bed_area_m2"], 1e4 * share)


def test_bands_are_those_of_the_draws() -> None:
    frame = expected_plant_depth(pyramid(tuple(np.linspace(0.5, 1.5, 101))), secchi=2.0).frame
    depth = frame["expected_depth_m"]
    np.testing.assert_allclose(frame["bed_share_high"], 1 - (1 - depth / 5.5).clip(0) ** 2)
    np.testing.assert_allclose(frame["bed_area_low_m2"], 1e4 * (1 - (1 - depth / 14.5) ** 2))


def test_depths_count_from_a_water_edge_below_the_datum() -> None:
    at_datum, bed = expected_plant_depth(pyramid(), secchi=2.0).frame, pyramid()
    lower = Tin(bed.vertices, bed.depth + 3, bed.triangles, bed.kind, None)
    assert lower.shore_depth == 3.0
    # derived: water and bed moved together hold the same
    found = expected_plant_depth(lower, secchi=2.0).frame
    np.testing.assert_allclose(found["bed_area_m2"], at_datum["bed_area_m2"])
    np.testing.assert_allclose(found["bed_share"], at_datum["bed_share"])


def test_clear_water_over_shallow_bed() -> None:
    frame = expected_plant_depth(pyramid(), secchi=30.0).frame
    assert frame["bed_share"].max() == pytest.approx(1)


def test_notes_tell_where_relations_are_stretched() -> None:
    assert len(expected_plant_depth(secchi=2.0).notes) == 1
    turbid, clear = expected_plant_depth(secchi=0.2).notes, expected_plant_depth(secchi=9.0).notes
    assert turbid[1].startswith("a Secchi depth of 0.2 m lies outside 0.5 to 6 m")
    assert clear[2].startswith("angiosperms are seldom found below about 10 m")


def test_faults_are_told() -> None:
    with pytest.raises(ParameterError, match=r"^secchi must be > 0 m, got -1"):
        expected_plant_depth(secchi=-1.0)
    bed = pyramid()
    dry = Tin(bed.vertices, bed.depth - 20, bed.triangles, np.full(5, VertexKind.SOUNDING), None)
    with pytest.raises(LayerError, match=r"^there is no water below the surface"):
        expected_plant_depth(dry, secchi=2.0)
