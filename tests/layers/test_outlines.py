"""Outlines: what goes round a water is closed, what does not is refused."""

import numpy as np
import pytest
import shapely

from toolbox.errors import LayerError
from toolbox.layers.outlines import closed_outlines

ROUND = shapely.Point(0, 0).buffer(100, quad_segs=32).exterior
PLACES = shapely.get_coordinates(ROUND)


def test_a_gap_is_joined_by_a_straight_line_and_told() -> None:
    (found,), (note,) = closed_outlines([shapely.LineString(PLACES[:-4])])
    gap = np.hypot(*(PLACES[-5] - PLACES[0]))
    assert shapely.equals(found, shapely.Polygon(PLACES[:-4]))
    assert note.endswith(f"; its ends, {gap:.1f} m apart, are joined")


def test_lines_that_meet_are_one_outline() -> None:
    parts = [PLACES[:50], PLACES[49:90][::-1], PLACES[89:]]
    (found,), notes = closed_outlines([shapely.LineString(part) for part in parts])
    assert found.area == pytest.approx(shapely.Polygon(ROUND).area)
    assert len(notes) == 1
    assert "apart" not in notes[0]


def test_an_island_is_a_second_outline_and_polygons_stay() -> None:
    island = shapely.Point(0, 0).buffer(10)
    shapes, notes = closed_outlines([shapely.MultiLineString([ROUND, island.exterior]), island])
    assert [shape.geom_type for shape in shapes] == ["Polygon"] * 3
    assert shapes[0] is island
    assert len(notes) == 2
    assert closed_outlines([island]) == ([island], ())


@pytest.mark.parametrize(
    ("places", "words"),
    [
        (PLACES[:65], r"^outline 1 is 314 m long and its ends lie 200 m apart: it must come back"),
        (PLACES[:2], r"^outline 1 must have 3 places or more, got 2$"),
        (PLACES[[0, 40, 0]], r"^outline 1 must have 3 places or more, got 2$"),
    ],
    ids=["half way round", "two places", "there and back"],
)
def test_what_encloses_nothing_is_refused(places: np.ndarray, words: str) -> None:
    with pytest.raises(LayerError, match=words):
        closed_outlines([shapely.LineString(places)])
