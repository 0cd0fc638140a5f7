"""Marks are those of the tools, reached from where one may stand, and hostile names do no harm."""

from pathlib import Path
from typing import Any

import geopandas
import numpy as np
import pandas as pd
import pytest
import shapely

from toolbox.bed.triangulation import triangulate
from toolbox.errors import InputFileError, LayerError
from toolbox.layers import Shoreline, Soundings, Tin
from toolbox.layers.crs import parse_crs
from toolbox.marks.boat import boat_course, boat_marks
from toolbox.marks.marks import marks
from toolbox.survey.lineage import Lineage
from toolbox.survey.marks import Marked, make_marks, read_grounds
from toolbox.survey.reading import Drawn, draw
from toolbox.survey.reduce import Inputs
from toolbox.survey.settings import Settings

CRS = "EPSG:32633"
WEST, SOUTH, WIDE, HIGH = 500_000.0, 5_300_000.0, 160.0, 120.0
BOX = shapely.box(WEST, SOUTH, WEST + WIDE, SOUTH + HIGH)
PEGS = {"oak": (40.0, -2.0), "stile": (120.0, -2.0), "far side": (80.0, 122.0)}


def depth_at(east: np.ndarray, north: np.ndarray) -> np.ndarray:
    """Return a shelf of 1.2 m along the south, a steep fall to 5 m, and a hump in the basin."""
    edge = np.minimum.reduce([north, HIGH - north, east, WIDE - east])
    shelf = 1.2 + 4 / (1 + np.exp(-(north - 30) / 2.5))
    hump = 2.5 * np.exp(-((east - 100) ** 2 + (north - 80) ** 2) / 12**2)
    return np.minimum(shelf - hump, edge * 0.6)


@pytest.fixture(scope="module")
def made() -> tuple[Inputs, Tin, Drawn]:
    east, north = (part.ravel() for part in np.mgrid[4:WIDE:4, 4:HIGH:4])
    places = np.column_stack([WEST + east, SOUTH + north])
    crs = parse_crs(CRS)
    inputs = Inputs(
        Shoreline.from_shapes([BOX], crs),
        Soundings.from_arrays(places, depth_at(east, north), crs=crs),
        None,
    )
    bed = triangulate(inputs.soundings, inputs.shoreline)
    wanted = settings({})
    return inputs, bed, draw(bed, None, wanted, inputs, Lineage(wanted))


@pytest.fixture
def desk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    write_pegs(PEGS)
    return tmp_path


def write_pegs(pegs: dict[str, tuple[float, float]], **columns: Any) -> None:
    rows = [(name, WEST + x, SOUTH + y) for name, (x, y) in pegs.items()]
    frame = pd.DataFrame(rows, columns=["peg", "easting", "northing"]).assign(**columns)
    frame.to_csv("pegs.csv", index=False)


def settings(given: dict[str, Any] | None) -> Settings:
    least = {"water": {"name": "A", "shoreline": "s"}, "soundings": [{"file": "a"}]}
    return Settings.model_validate(least | ({} if given is None else {"marks": given}))


def marked(given: dict[str, Any], made: tuple[Inputs, Tin, Drawn]) -> tuple[Marked, Lineage]:
    wanted = settings({"crs": CRS} | given)
    inputs, bed, drawn = made
    lineage = Lineage(wanted)
    grounds = read_grounds(wanted, inputs, lineage)
    found = make_marks(grounds, bed, drawn, wanted, inputs, lineage)
    assert found is not None
    return found, lineage


Made = tuple[Inputs, Tin, Drawn]


@pytest.mark.usefixtures("desk")
def test_marks_are_those_of_the_tool_by_itself(made: Made) -> None:
    found, lineage = marked(
        {"pegs": "pegs.csv", "reach": "200 ft", "count": 5, "weights": {"hump_top": 0}}, made
    )
    inputs, bed, drawn = made
    pegs = read_grounds(settings({"pegs": "pegs.csv", "crs": CRS}), inputs, Lineage(settings({})))
    assert pegs is not None
    alone = marks(
        bed,
        inputs.shoreline,
        pegs.places,
        drawn.features,
        reach=60.96,  # derived: 200 feet of 0.3048 m
        count=5,
        weight_hump_top=0.0,
    )
    pd.testing.assert_frame_equal(found.marks.frame, alone.frame)
    assert 0 < len(alone) <= 5
    assert "hump top" not in set(alone.frame["kind"])
    steps = {step["step"]: step for step in lineage.steps}
    assert steps["read grounds"]["files"] == ["pegs.csv"]
    assert steps["marks"]["marks"] == len(alone)


@pytest.mark.usefixtures("desk")
def test_every_peg_is_told_with_the_marks_it_reaches(made: Made) -> None:
    found, _ = marked({"pegs": "pegs.csv", "reach": 50}, made)
    assert found.pegs is not None
    counts = dict(zip(found.pegs.frame["peg"], found.pegs.frame["marks"], strict=True))
    assert set(counts) == set(PEGS)
    assert counts == {name: int((found.marks.frame["peg"] == name).sum()) for name in PEGS}
    at = found.pegs.frame.set_index("peg").geometry
    assert [(at[name].x - WEST, at[name].y - SOUTH) for name in PEGS] == list(PEGS.values())


def test_pegs_along_the_bank_are_told_where_none_are_given(made: Made) -> None:
    found, _ = marked({"peg_spacing": 40, "count": 6}, made)
    assert found.pegs is not None
    assert set(found.pegs.frame["peg"]) == set(found.marks.frame["peg"])
    away = found.pegs.frame.geometry.distance(BOX.exterior)
    assert away.max() < 1e-6
    assert found.pegs.frame["marks"].sum() == len(found.marks)


@pytest.mark.usefixtures("desk")
def test_profiles_run_from_the_peg_to_the_mark(made: Made) -> None:
    found, _ = marked({"pegs": "pegs.csv", "count": 3}, made)
    assert found.profiles is not None
    frame = found.profiles.frame
    ends = frame.groupby("mark")["distance_m"].max()
    wanted = found.marks.frame.set_index("mark")["distance_m"]
    np.testing.assert_allclose(ends, wanted, rtol=1e-6)


def write_exclusions(*shapes: shapely.Geometry) -> None:
    frame = geopandas.GeoDataFrame({"what": range(len(shapes))}, geometry=list(shapes), crs=CRS)
    frame.to_file("closed.gpkg")


@pytest.mark.usefixtures("desk")
def test_no_cast_crosses_a_closed_area_or_goes_near_a_line(made: Made) -> None:
    closed = shapely.box(WEST + 90, SOUTH, WEST + WIDE, SOUTH + HIGH)
    wire = shapely.LineString([(WEST + 10, SOUTH - 20), (WEST + 10, SOUTH + HIGH)])
    write_exclusions(closed, wire)
    free, _ = marked({"pegs": "pegs.csv"}, made)
    found, lineage = marked(
        {"pegs": "pegs.csv", "exclusions": "closed.gpkg", "clearance": 25}, made
    )
    assert len(found.marks) > 0
    starts = found.marks.frame[["peg_easting_m", "peg_northing_m"]].to_numpy()
    ends = shapely.get_coordinates(found.marks.frame.geometry.to_numpy())
    ways = shapely.linestrings(np.stack([starts, ends], axis=1))
    assert not shapely.intersects(ways, closed).any()
    assert shapely.distance(ways, wire).min() >= 25 * 0.999  # UTM's scale is 0.9996 here
    # without them both are taken
    spots = free.marks.frame.geometry
    assert spots.intersects(closed).any() or spots.distance(wire).min() < 25
    steps = {step["step"]: step for step in lineage.steps}
    assert steps["read grounds"]["files"] == ["pegs.csv", "closed.gpkg"]


@pytest.mark.usefixtures("desk")
def test_a_boat_starts_and_ends_at_its_slip(made: Made) -> None:
    pd.DataFrame({"easting": [WEST - 3], "northing": [SOUTH + 60]}).to_csv("slip.csv", index=False)
    found, lineage = marked({"kind": "boat", "slip": "slip.csv", "count": 4}, made)
    assert found.course is not None
    assert (found.pegs, found.profiles) == (None, None)
    assert found.marks.name == "boat_marks"
    legs = list(found.course.frame.geometry)
    assert len(legs) == len(found.marks) + 1
    slip = shapely.Point(WEST - 3, SOUTH + 60)
    for end in (legs[0].coords[0], legs[-1].coords[-1]):
        assert slip.distance(shapely.Point(end)) < 10
    assert legs[0].coords[-1] == pytest.approx(found.marks.frame.geometry[0].coords[0])
    inputs, bed, drawn = made
    alone = boat_marks(
        bed,
        inputs.shoreline,
        read_places_of("slip.csv", inputs),
        drawn.features,
        count=4,
    )
    pd.testing.assert_frame_equal(found.marks.frame, alone.frame)
    course = boat_course(alone, bed, inputs.shoreline, read_places_of("slip.csv", inputs))
    assert course.frame["length_m"].tolist() == found.course.frame["length_m"].tolist()
    assert {step["step"]: step for step in lineage.steps}["marks"]["marks"] == len(alone)


def read_places_of(name: str, inputs: Inputs) -> Any:
    grounds = read_grounds(
        settings({"kind": "boat", "slip": name, "crs": CRS}), inputs, Lineage(settings({}))
    )
    assert grounds is not None
    return grounds.places


@pytest.mark.parametrize("kind", ["casts", "boat"])
def test_no_mark_at_all_is_told_and_no_error(kind: str, made: Made) -> None:
    found, lineage = marked({"kind": kind, "shallowest": 30}, made)
    assert len(found.marks) == 0
    assert (found.course, found.profiles) == (None, None)
    assert any("no mark" in note for note in lineage.notes)


def test_nothing_is_read_or_made_unless_asked_for(made: Made) -> None:
    wanted = settings(None)
    inputs, bed, drawn = made
    lineage = Lineage(wanted)
    assert read_grounds(wanted, inputs, lineage) is None
    assert make_marks(None, bed, drawn, wanted, inputs, lineage) is None
    assert lineage.steps == []


@pytest.mark.usefixtures("desk")
@pytest.mark.parametrize(
    ("columns", "given", "kind", "said"),
    [
        ({}, {"pegs": "none.csv"}, InputFileError, "none.csv does not exist"),
        ({}, {"pegs": "pegs.csv", "crs": None}, InputFileError, "pegs.csv names no CRS"),
        ({"reach_m": "far"}, {}, LayerError, "peg 'oak': reach_m must be a number, got 'far'"),
        ({"reach_m": -1}, {}, LayerError, "peg 'oak': reach_m must be > 0 m, got -1"),
        ({"sector_from_deg": 10}, {}, LayerError, "peg 'oak' needs both of sector_from_deg and"),
        ({"easting": np.nan}, {}, InputFileError, "pegs.csv holds no coordinates"),
        ({}, {"exclusions": "none.gpkg"}, InputFileError, "none.gpkg does not exist"),
    ],
)
def test_what_is_wrong_with_the_grounds_is_told_before_any_bed(
    columns: dict[str, Any], given: dict[str, Any], kind: type[Exception], said: str, made: Made
) -> None:
    write_pegs(PEGS, **columns)
    wanted = settings({"crs": CRS, "pegs": "pegs.csv"} | given)
    with pytest.raises(kind, match=said):
        read_grounds(wanted, made[0], Lineage(wanted))


@pytest.mark.usefixtures("desk")
@pytest.mark.parametrize(
    ("slips", "said"),
    [
        ([(-40.0, 60.0)], r"slip must lie within 10 m of the water, is 40\.0 m from it"),
        ([(0.0, 60.0), (0.0, 70.0)], "slip must be one place with a position, got 2 places"),
    ],
)
def test_a_bad_slip_is_told_before_any_bed(
    slips: list[tuple[float, float]], said: str, made: Made
) -> None:
    places = np.array(slips) + np.array([WEST, SOUTH])
    pd.DataFrame(places, columns=["easting", "northing"]).to_csv("slip.csv", index=False)
    wanted = settings({"kind": "boat", "slip": "slip.csv", "crs": CRS})
    with pytest.raises(LayerError, match=said):
        read_grounds(wanted, made[0], Lineage(wanted))


@pytest.mark.usefixtures("desk")
def test_pegs_are_read_once(made: Made, monkeypatch: pytest.MonkeyPatch) -> None:
    wanted = settings({"crs": CRS, "pegs": "pegs.csv"})
    inputs, bed, drawn = made
    grounds = read_grounds(wanted, inputs, Lineage(wanted))
    monkeypatch.setattr("toolbox.survey.marks.Pegs", None)
    found = make_marks(grounds, bed, drawn, wanted, inputs, Lineage(wanted))
    assert found is not None
    assert found.pegs is not None
    assert found.pegs.frame["peg"].tolist() == list(PEGS)
    assert found.pegs.crs == found.marks.crs


@pytest.mark.usefixtures("desk")
def test_marks_are_counted_for_each_of_two_pegs_of_one_name(made: Made) -> None:
    rows = [("oak", WEST + 40, SOUTH - 2), ("oak", WEST + 120, SOUTH - 2)]
    pd.DataFrame(rows, columns=["peg", "easting", "northing"]).to_csv("pegs.csv", index=False)
    found, lineage = marked({"pegs": "pegs.csv"}, made)
    assert found.pegs is not None
    starts = found.marks.frame["peg_easting_m"] - WEST
    assert found.pegs.frame["marks"].tolist() == [(starts == 40).sum(), (starts == 120).sum()]
    assert any("several pegs are called oak" in note for note in lineage.notes)
