"""Hollows under survey lines are joined to the gully that made them, and others are not.

All beds are formulas, so what must be found is derived.
"""

import numpy as np
import pytest

from toolbox.features.gullies import gullies
from toolbox.features.strings import strings
from toolbox.features.surface import Surface

CELL = 2.0
LINES = (51.0, 85.0, 121.0, 155.0, 191.0)
"""Eastings of the survey lines, m."""


def surface(depth: np.ndarray) -> Surface:
    north, east = np.gradient(depth, CELL)
    return Surface(depth, CELL, 0.0, 240.0, east, -north)


def places() -> tuple[np.ndarray, np.ndarray]:
    """Return eastings and northings of the cells of a square of 240 m."""
    axis = np.arange(1.0, 240.0, CELL)
    east, north = np.meshgrid(axis, axis[::-1])
    return east, north


def beads(lines: tuple[float, ...], valley: float, deep: float = 1.0) -> Surface:
    """5 m of water with a hollow under each line at 121 m north, and a valley all along there."""
    east, north = places()
    away = (north - 121) ** 2
    pits = sum(0.5 ** (((east - x) ** 2 + away) / 8**2) for x in lines)
    return surface(5 + deep * np.asarray(pits) + valley * 0.5 ** (away / 8**2))


def rows(bed: Surface) -> list[np.ndarray]:
    from toolbox.features.kernels.scores import gully_score

    score, reach = (np.full(bed.depth.shape, np.nan) for _ in range(2))
    gully_score(bed.depth, np.array([3.0, 4.0, 5.5, 7.5, 10.0]), 16, score, reach)
    return strings(bed, score, reach, least_relief=0.3)


def test_hollows_under_lines_with_a_faint_valley_between_are_one_row() -> None:
    (row,) = rows(beads(LINES, 0.25))
    row = row[np.argsort(row[:, 0])]
    np.testing.assert_allclose(row[:, 0], LINES, atol=CELL)
    np.testing.assert_allclose(row[:, 1], 121, atol=CELL)


@pytest.mark.parametrize(("lines", "deep", "count"), [((85, 121), 0.6, 0), ((85, 121), 2.0, 1)])
def test_two_hollows_are_a_row_only_if_they_are_deep(
    lines: tuple[float, ...], deep: float, count: int
) -> None:
    assert len(rows(beads(lines, 0.25 * deep, deep))) == count


def test_hollows_with_a_rise_between_them_are_no_row() -> None:
    assert rows(beads(LINES, -0.8)) == []


def test_a_row_that_turns_sharply_is_none() -> None:
    east, north = places()
    corner = ((85, 85), (120, 120), (155, 85))
    pits = sum(0.5 ** (((east - x) ** 2 + (north - y) ** 2) / 8**2) for x, y in corner)
    assert rows(surface(5 + 0.6 * np.asarray(pits))) == []


def test_a_row_becomes_a_gully_along_it() -> None:
    (gully,) = gullies(beads(LINES, 0.05), least_relief=0.3, least_length=40.0)
    # derived: from the first line to the last, and the hollows there, half as deep 8 m further
    assert gully.figures["length_m"] == pytest.approx(LINES[-1] - LINES[0] + 2 * 8, abs=20)
    assert gully.shapes["gully axis"].distance(gully.shapes["gully"].centroid) < 3
    # derived: hollows as deep as half of 0.3 m reach 13 m to either side, of lines 35 m apart
    assert 0.5 < gully.figures["seen_share"] < 0.95
