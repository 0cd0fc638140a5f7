"""A bed drawn through a few points is told to be rough."""

from dataclasses import replace

import numpy as np
import pytest
import shapely
from affine import Affine

from toolbox.bed.triangulation import triangulate
from toolbox.layers import Grid, Shoreline, Soundings, Tin
from toolbox.notes import Caution
from toolbox.survey.sparse import how_sparse

WATER = Shoreline.from_shapes([shapely.box(0, 0, 100, 100)], None)


@pytest.fixture(scope="module")
def bed() -> Tin:
    places = np.array([[50.0, 50.0], [20.0, 20.0], [80.0, 30.0]])
    return triangulate(Soundings.from_arrays(places, np.ones(3), crs=None), WATER)


def away(distance: float) -> Grid:
    values = np.full((10, 10), distance)
    return Grid(values, Affine(10, 0, 0, 0, -10, 100), None, "distance", "m")


def test_points_far_apart_for_the_size_of_the_water_are_told(bed: Tin) -> None:
    (note,) = how_sparse(bed, away(30.0), WATER)
    assert isinstance(note, Caution)
    assert note.startswith("half of the water is farther than 30 m from any sounding")
    assert how_sparse(bed, away(9.0), WATER) == ()


def test_a_bed_that_knows_its_error_tells_it_itself(bed: Tin) -> None:
    fitted = replace(bed, sd=np.ones(len(bed.depth)))
    assert how_sparse(fitted, away(30.0), WATER) == ()
