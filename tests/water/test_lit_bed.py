"""Lit bed: outlines against circles and squares, light at the bed against its formula."""

import numpy as np
import pytest
import shapely
from affine import Affine

from toolbox.errors import ParameterError
from toolbox.layers import Grid, Tin, VertexKind
from toolbox.water.light import light
from toolbox.water.lit_bed import light_at_bed_grid, lit_bed


def pyramid(*, edge: float = 0.0, kind: VertexKind = VertexKind.SHORELINE) -> Tin:
    vertices = np.array([[0, 0], [100, 0], [100, 100], [0, 100], [50, 50]], float)
    triangles = np.array([[0, 1, 4], [1, 2, 4], [2, 3, 4], [3, 0, 4]])
    depth = np.array([edge, edge, edge, edge, 10.0])
    return Tin(vertices, depth, triangles, np.array([kind] * 4 + [VertexKind.SOUNDING]), None)


def test_the_lit_bed_of_a_pit_is_a_square_with_a_square_hole() -> None:
    # derived: 4 m down a pit of 100 m and 10 m depth is 60 m wide
    row = lit_bed(pyramid(), attenuation=np.log(100) / 4.0).frame.iloc[0]
    expected = shapely.box(0, 0, 100, 100) - shapely.box(20, 20, 80, 80)
    assert row.geometry.symmetric_difference(expected).area == pytest.approx(0, abs=1e-6)
    assert row["area_m2"] == pytest.approx(6400)
    assert row["share"] == pytest.approx(0.64)
    assert (row["from_m"], row["to_m"]) == (0, pytest.approx(4))


def test_outline_and_table_agree() -> None:
    figures = light(pyramid(), secchi=1.0, surface=1.0).frame.set_index("measure")["value"]
    frame = lit_bed(pyramid(), secchi=1.0, surface=1.0).frame
    assert frame["area_m2"].sum() == pytest.approx(figures["lit bed area"])
    assert frame["share"].sum() == pytest.approx(figures["lit bed share"])
    assert frame.geometry.area.sum() == pytest.approx(figures["lit bed area"])


def test_light_to_the_ground_lights_all() -> None:
    frame = lit_bed(pyramid(), secchi=8.0).frame
    assert frame["area_m2"].tolist() == [pytest.approx(1e4)]
    assert frame["to_m"].tolist() == [10]


def test_bed_that_begins_below_all_light_is_dark() -> None:
    steep = pyramid(edge=6.0, kind=VertexKind.OPEN_EDGE)
    assert len(lit_bed(steep, attenuation=np.log(100) / 4.0)) == 0
    assert len(lit_bed(steep, attenuation=np.log(100) / 7.0)) == 1


def test_light_at_the_bed() -> None:
    # derived: 100 exp(-k z); at the depth of 1 % it is 1 %
    depth = np.array([[0.0, 2.0], [np.log(100) / 0.85, np.nan]])
    found = light_at_bed_grid(Grid(depth, Affine(1, 0, 0, 0, -1, 2), None, "depth", "m"), secchi=2)
    np.testing.assert_allclose(found.values, [[100, 100 * np.exp(-1.7)], [1, np.nan]], rtol=1e-6)
    assert (found.name, found.unit) == ("light_at_bed", "%")


def test_dry_bed_has_no_light_in_water() -> None:
    depth = Grid(np.array([[0.5, 1.0, 2.0]]), Affine(1, 0, 0, 0, -1, 1), None, "depth", "m")
    found = light_at_bed_grid(depth, attenuation=1.0, surface=1.0)
    np.testing.assert_allclose(found.values, [[np.nan, 100, 100 / np.e]], rtol=1e-6)


def test_one_of_secchi_and_attenuation_is_needed() -> None:
    depth = Grid(np.array([[0.5]]), Affine(1, 0, 0, 0, -1, 1), None, "depth", "m")
    with pytest.raises(ParameterError, match=r"^give secchi or attenuation, one of them, got "):
        light_at_bed_grid(depth)
    with pytest.raises(ParameterError, match=r"^give secchi or attenuation, one of them, got "):
        lit_bed(pyramid())
