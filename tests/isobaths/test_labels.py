"""Labels lie on straight parts of lines, read uphill, and keep clear of each other."""

import geopandas
import numpy as np
import pytest
import shapely

from toolbox.errors import LayerError
from toolbox.isobaths.labels import isobath_labels
from toolbox.layers import Vectors


def layer(lines: list[shapely.LineString], depth: list[float], **columns: object) -> Vectors:
    frame = geopandas.GeoDataFrame({"depth_m": depth, **columns}, geometry=lines)
    return Vectors(frame, "isobaths")


def straight(bearing: float, length: float = 300.0, aside: float = 0.0) -> shapely.LineString:
    """Line from the origin, `aside` to its left."""
    turn = np.radians(bearing)
    along, left = np.array([np.sin(turn), np.cos(turn)]), np.array([-np.cos(turn), np.sin(turn)])
    return shapely.LineString([left * aside, along * length + left * aside])


@pytest.mark.parametrize(
    ("bearing", "rotation", "upright"),
    [
        # derived: deeper water lies left of the line, so the label is read against it
        (270, 0, 0),  # towards the west, deep in the south: the top of the label is north
        (90, 180, 0),
        (
            0,
            90,
            -90,
        ),  # towards the north, deep in the west: it reads downwards, its top in the east
        (180, 270, -90),
        (300, 30, 30),
    ],
)
def test_a_label_reads_uphill(bearing: float, rotation: float, upright: float) -> None:
    (row,) = isobath_labels(layer([straight(bearing)], [5.0]), scale=5000).frame.itertuples()
    assert (row.rotation_deg - rotation + 180) % 360 == pytest.approx(180, abs=1e-9)
    assert 0 <= row.rotation_deg <= 360
    assert row.upright_deg == pytest.approx(upright, abs=1e-9)
    assert (row.depth_m, row.label) == (5.0, "5")
    assert row.room_m == 20.0  # two heights of 2 mm at 1:5000


def test_labels_every_so_far_and_away_from_open_ends() -> None:
    made = isobath_labels(layer([straight(90, 1000)], [12.5]), spacing=200, scale=5000)
    east = np.sort(made.frame.geometry.x)
    assert len(east) == 5
    wide = 4 * 0.6 * 10
    assert east[0] >= wide
    assert east[-1] <= 1000 - wide
    assert made.frame["label"].tolist() == ["12.5"] * 5
    assert made.notes == ("placed for digits 2 mm high at 1:5000", "1 of 1 lines have a label")


def test_lines_that_are_told_in_feet_are_numbered_in_feet() -> None:
    lines = layer([straight(90), straight(90, aside=90)], [1.524, 1.0], depth_ft=[5.0, 3.28084])
    found = isobath_labels(lines, scale=5000).frame.groupby("label").first()
    assert found["depth_ft"].to_dict() == {"5": 5.0, "3.28": 3.28084}
    assert found["depth_m"].to_dict() == {"5": 1.524, "3.28": 1.0}


def test_labels_seek_the_straight_and_the_roomy() -> None:
    # zigzag in the west, straight in the east, and another line close by in the far east
    zigzag = [(2.0 * k, 3.0 * (k % 2)) for k in range(60)]
    line = shapely.LineString([*zigzag, (400, 0)])
    near = shapely.LineString([(300, 4), (395, 4)])
    made = isobath_labels(layer([line, near], [3.0, 4.0]), spacing=1000, scale=5000)
    first = made.frame[made.frame["depth_m"] == 3.0]
    assert 120 < first.geometry.x.item() < 290
    assert first["room_m"].item() == 20.0
    second = made.frame[made.frame["depth_m"] == 4.0]
    assert 1.9 < second["room_m"].item() < 4


def test_short_and_winding_lines_get_none() -> None:
    winding = shapely.LineString([(2.0 * k, 3.0 * (k % 2)) for k in range(200)])
    short = straight(0, 17.9)  # three labels of 6 m
    made = isobath_labels(layer([winding, short], [3.0, 4.0]), scale=5000)
    assert len(made) == 0
    assert made.notes[1] == "0 of 2 lines have a label"


def test_labels_do_not_overlap_and_index_lines_come_first() -> None:
    depth = [float(k) for k in range(1, 31)]
    lines = [straight(90, 400, aside=3 * d) for d in depth]
    index = [d % 5 == 0 for d in depth]
    made = isobath_labels(layer(lines, depth, index_line=index), spacing=150, scale=5000)
    places = shapely.get_coordinates(made.frame.geometry.values)
    wide = np.array([0.6 * 10 * len(text) for text in made.frame["label"]])
    boxes = [
        shapely.box(x - w / 2, y - 5, x + w / 2, y + 5)
        for (x, y), w in zip(places, wide, strict=True)
    ]
    tree = shapely.STRtree(boxes)
    assert len(tree.query(boxes, predicate="intersects").T) == len(boxes)
    assert {5, 10, 15, 20, 25, 30} <= set(made.frame["depth_m"])
    assert (made.frame["depth_m"] % 5 == 0).sum() == 6 * 3
    assert len(made) > 6 * 3


def test_closed_lines_have_no_ends() -> None:
    angle = np.linspace(0, 2 * np.pi, 200)
    ring = shapely.LineString(100 * np.column_stack([np.cos(angle), np.sin(angle)]))
    made = isobath_labels(layer([ring], [7.0]), spacing=60, scale=5000)
    assert len(made) == 10
    # a ring round a hollow, counter-clockwise: tops of labels point outwards
    place = shapely.get_coordinates(made.frame.geometry.values)
    turn = np.radians(made.frame["rotation_deg"])
    top = np.column_stack([np.sin(turn), np.cos(turn)])
    assert ((top * place).sum(axis=1) > 99).all()


def test_labels_lie_where_shapely_finds_them_along_a_line() -> None:
    rng = np.random.default_rng(8)
    turn = np.cumsum(rng.normal(0, 0.05, 400))
    corners = np.cumsum(5 * np.column_stack([np.cos(turn), np.sin(turn)]), axis=0)
    line = shapely.LineString(corners)
    made = isobath_labels(layer([line], [8.0]), spacing=150, scale=5000)
    assert len(made) > 8
    along = shapely.line_locate_point(line, made.frame.geometry.values)
    wide = 0.6 * 10
    ends = shapely.line_interpolate_point(line, np.stack([along - wide / 2, along + wide / 2]))
    chord = np.diff(shapely.get_coordinates(ends).reshape(2, -1, 2), axis=0)[0]
    bearing = np.degrees(np.arctan2(chord[:, 1], -chord[:, 0]))
    off = (made.frame["rotation_deg"] - bearing + 180) % 360 - 180
    assert np.abs(off).max() < 1e-6
    assert shapely.distance(line, made.frame.geometry.values).max() < 1e-9


def test_repeated_corners_change_nothing() -> None:
    corners = np.array([(0.0, 0), (130, 20), (270, 0), (400, 90)])
    once = isobath_labels(layer([shapely.LineString(corners)], [2.0]), spacing=100, scale=5000)
    twice = isobath_labels(
        layer([shapely.LineString(corners.repeat(2, axis=0))], [2.0]), spacing=100, scale=5000
    )
    assert len(once) == 4
    assert once.frame.drop(columns="geometry").equals(twice.frame.drop(columns="geometry"))
    assert (once.frame.geometry == twice.frame.geometry).all()


def test_refusals() -> None:
    frame = geopandas.GeoDataFrame({"depth": [1.0]}, geometry=[straight(0)])
    with pytest.raises(LayerError, match=r"^isobaths must have a column depth_m, got \['depth', "):
        isobath_labels(Vectors(frame, "isobaths"))
    for depth, message in (
        (
            "deep",
            r"^column 'depth_m' must hold numbers: could not convert string to float: 'deep'$",
        ),
        (np.nan, r"^isobaths must have depths, line 1 has nan$"),
    ):
        with pytest.raises(LayerError, match=message):
            isobath_labels(Vectors(frame.assign(depth_m=depth), "isobaths"))
    with pytest.raises(LayerError, match=r"^isobaths must be single lines, got \['Point'\]$"):
        isobath_labels(layer([shapely.Point(0, 0)], [1.0]))
