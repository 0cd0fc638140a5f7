"""The picture of the marks shows all that leads to them, and no sign hides another."""

from itertools import pairwise
from pathlib import Path
from typing import Any

import geopandas
import numpy as np
import pytest
import shapely
from affine import Affine
from matplotlib.collections import QuadMesh
from matplotlib.image import imread

from toolbox.layers import Grid, Shoreline, Vectors
from toolbox.report import drawing
from toolbox.report import marks_map as module
from toolbox.report.drawing import window
from toolbox.report.marks_map import write_marks_map

WEST, SOUTH, WIDE, HIGH = 500_000.0, 5_000_000.0, 400.0, 300.0
KINDS = ["drop-off lip", "drop-off foot", "gully", "gully axis", "hump", "bar", "plateau", "hole"]


def grid() -> Grid:
    down, right = np.mgrid[0:60, 0:80]
    depth = 9 * np.sin(np.pi * (right + 0.5) / 80) * np.sin(np.pi * (down + 0.5) / 60)
    return Grid(depth, Affine(5, 0, WEST, 0, -5, SOUTH + HIGH), None, "depth", "m")


def vectors(name: str, shapes: list[Any], **columns: Any) -> Vectors:
    return Vectors(geopandas.GeoDataFrame(columns, geometry=shapes), name)


def at(east: float, north: float) -> shapely.Point:
    return shapely.Point(WEST + east, SOUTH + north)


def features(*kinds: str) -> Vectors:
    shapes = []
    for number, kind in enumerate(kinds):
        middle = at(60 + 35 * number, 150)
        line = "axis" in kind or "drop-off" in kind
        shapes.append(middle.buffer(12).exterior if line else middle.buffer(12))
    return vectors("features", shapes, kind=list(kinds))


def casts(pegs: dict[str, tuple[float, float]], places: list[tuple[str, float, float]]) -> Any:
    """Return marks and pegs."""
    marks = vectors(
        "marks",
        [at(east, north) for _, east, north in places],
        mark=range(1, len(places) + 1),
        peg=[peg for peg, *_ in places],
        peg_easting_m=[WEST + pegs[peg][0] for peg, *_ in places],
        peg_northing_m=[SOUTH + pegs[peg][1] for peg, *_ in places],
    )
    return marks, vectors("pegs", [at(*place) for place in pegs.values()], peg=list(pegs))


PEGS = {"oak": (40.0, -2.0), "far bank": (360.0, 302.0)}
PLACES = [("oak", 40 + 8.0 * k, 40 + 3.0 * k) for k in range(6)] + [("far bank", 340, 250)]
NO_LINES = vectors("isobaths", [], depth_m=[], index_line=[])


@pytest.fixture
def looked(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Any:
    """Return what draws the picture and keeps the figure to look at."""

    def draw(**layers: Any) -> Any:
        kept: list[Any] = []

        def spy(path: Path, bounds: Any, paint: Any, **options: Any) -> None:
            def once(figure: Any, axes: Any) -> None:
                paint(figure, axes)
                kept.append(figure)

            drawing.paint(path, bounds, once, **options)

        monkeypatch.setattr(module, "paint", spy)
        depth = layers.pop("depth", grid())
        water = Shoreline.from_shapes([shapely.box(WEST, SOUTH, WEST + WIDE, SOUTH + HIGH)], None)
        given: dict[str, Any] = {"isobaths": NO_LINES, "features": features()}
        write_marks_map(depth, water, "Mere", tmp_path / "marks.png", **(given | layers))
        assert imread(tmp_path / "marks.png").shape[1] == 9 * 200
        return kept[0]

    return draw


def legend_of(figure: Any) -> list[str]:
    return [text.get_text() for text in figure.legends[0].get_texts()]


def labels_of(figure: Any) -> list[Any]:
    return [text for text in figure.axes[0].texts if text.get_bbox_patch() is not None]


def test_the_legend_tells_every_sign_once_and_no_other(looked: Any) -> None:
    marks, pegs = casts(PEGS, PLACES)
    everything = legend_of(
        looked(
            marks=marks,
            pegs=pegs,
            features=features(*KINDS, "shelf"),
            plants=vectors("plants", [at(50, 250).buffer(20), at(90, 250).buffer(9)]),
            exclusions=vectors(
                "exclusions",
                [at(300, 60).buffer(20), shapely.LineString([at(350, 0), at(350, 90)]), at(9, 9)],
            ),
        )
    )
    assert sorted(everything) == sorted(
        [
            "lip of a drop-off",
            "foot of a drop-off",
            "gully",
            "bottom of a gully",
            "hump, bar or plateau",
            "hole",
            "plants",
            "closed",
            "keep clear",
            "line of a cast",
            "peg",
            "mark",
        ]
    )
    assert legend_of(looked(marks=marks)) == ["line of a cast", "mark"]


def test_kinds_differ_without_their_colours() -> None:
    """Two kinds share a style only where the legend names them together."""
    seen = {}
    for style in module._STYLES.values():
        seen.setdefault((str(style.dashes), style.double), set()).add(style.name)
    assert all(len(names) == 1 for names in seen.values())


def test_every_mark_and_peg_is_named_once_and_none_hides_another(looked: Any) -> None:
    marks, pegs = casts(PEGS, PLACES)
    figure = looked(marks=marks, pegs=pegs, features=features(*KINDS))
    labels = labels_of(figure)
    words = [label.get_text() for label in labels]
    assert words == ["oak", "far bank", *map(str, range(1, 8))]
    renderer = figure.canvas.get_renderer()
    boxes = [label.get_window_extent(renderer) for label in labels]
    axes = figure.axes[0]
    signs = np.vstack([shapely.get_coordinates(layer.frame.geometry) for layer in (pegs, marks)])
    signs = axes.transData.transform(signs)
    for number, box in enumerate(boxes):
        assert not any(box.overlaps(other) for other in boxes[number + 1 :])
        assert not any(box.contains(*sign) for sign in signs)
        assert axes.bbox.contains(box.x0, box.y0)
        assert axes.bbox.contains(box.x1, box.y1)
        # within half an inch of what it names
        middle = np.array([(box.x0 + box.x1) / 2, (box.y0 + box.y1) / 2])
        assert np.hypot(*(middle - signs[number])) < 0.5 * figure.dpi


def test_a_boat_has_a_course_with_directions_and_a_slip(looked: Any) -> None:
    marks = vectors("boat_marks", [at(100, 100), at(300, 200)], mark=[1, 2])
    stops = [at(0, 20), at(100, 100), at(300, 200), at(0, 20)]
    legs = [shapely.LineString(pair) for pair in pairwise(stops)]
    figure = looked(marks=marks, course=vectors("boat_course", legs))
    assert legend_of(figure) == ["course of the boat", "slip", "mark"]
    arrows = [text for text in figure.axes[0].texts if getattr(text, "arrow_patch", None)]
    assert len(arrows) == 3 + 1  # and the one to the north
    open_ended = looked(marks=marks, course=vectors("boat_course", legs[1:2]))
    assert legend_of(open_ended) == ["course of the boat", "mark"]


def test_only_what_surrounds_the_marks_is_shown_where_that_is_little(looked: Any) -> None:
    marks, pegs = casts({"oak": (40.0, -2.0)}, [("oak", 40, 30), ("oak", 60, 35)])
    near = looked(marks=marks, pegs=pegs).axes[0]
    assert near.get_xlim()[1] - near.get_xlim()[0] < 80
    for place in (at(40, -2), at(40, 30), at(60, 35)):
        assert near.bbox.contains(*near.transData.transform((place.x, place.y)))
    marks, pegs = casts(PEGS, PLACES)
    whole = looked(marks=marks, pegs=pegs).axes[0]
    assert whole.get_xlim()[0] < WEST < WEST + WIDE < whole.get_xlim()[1]
    assert whole.get_ylim()[0] < SOUTH < SOUTH + HIGH < whole.get_ylim()[1]


def test_water_is_shaded_to_the_edge_of_what_is_shown(looked: Any) -> None:
    marks, pegs = casts({"raft": (180.0, 140.0)}, [("raft", 200, 150), ("raft", 230, 160)])
    fine = Grid(np.ones((300, 400)), Affine(1, 0, WEST, 0, -1, SOUTH + HIGH), None, "depth", "m")
    near = looked(depth=fine, marks=marks, pegs=pegs).axes[0]
    (west, east), (south, north) = near.get_xlim(), near.get_ylim()
    assert WEST + 10 < west < east < WEST + WIDE - 10  # all of what is shown is water
    (shading,) = [part for part in near.collections if isinstance(part, QuadMesh)]
    low, high = shading.get_datalim(near.transData).get_points()
    assert low[0] <= west < east <= high[0]
    assert low[1] <= south < north <= high[1]


def test_one_mark_at_its_peg_is_a_picture_too(looked: Any) -> None:
    marks, _ = casts({"oak": (40.0, 10.0)}, [("oak", 40, 10)])
    assert labels_of(looked(marks=marks))[0].get_text() == "1"


@pytest.mark.parametrize(
    ("name", "shown"),
    [
        ("two\nlines", "two lines"),
        ("$\\frac{1}{2$", "$\\frac{1}{2$"),
        ("<script>alert(1)</script>", "<script>alert\u2026"),
        ("Y" * 300, "Y" * 13 + "\u2026"),
        ("\x1b[31mred", "[31mred"),
        ("\U0001f3a3 \u9752", "\U0001f3a3 \u9752"),
        ("=1+1", "=1+1"),
    ],
)
def test_names_are_taken_literally_and_cut_short(name: str, shown: str, looked: Any) -> None:
    marks, pegs = casts({name: (40.0, -2.0)}, [(name, 40, 30)])
    assert labels_of(looked(marks=marks, pegs=pegs))[0].get_text() == shown


def test_the_cautions_are_on_the_picture(looked: Any) -> None:
    marks, pegs = casts(PEGS, PLACES)
    said = looked(marks=marks, pegs=pegs).axes[0].get_xlabel()
    for words in ("Not for navigation", "overhead lines", "cold water", "local rules"):
        assert words in said


def test_a_window_is_the_same_grid_where_it_is_cut() -> None:
    whole = grid()
    part = window(whole, (WEST + 102, SOUTH + 48, WEST + 199, SOUTH + 151))
    left, bottom, right, top = part.bounds
    assert left <= WEST + 102 < WEST + 199 <= right
    assert bottom <= SOUTH + 48 < SOUTH + 151 <= top
    assert part.values.size < whole.values.size / 6
    row, col = round((whole.bounds[3] - top) / 5), round((left - WEST) / 5)
    rows, cols = part.shape
    np.testing.assert_array_equal(part.values, whole.values[row : row + rows, col : col + cols])
    beyond = window(whole, (WEST - 900, SOUTH - 900, WEST + 900, SOUTH + 900))
    assert beyond.shape == whole.shape
    assert beyond.bounds == whole.bounds
