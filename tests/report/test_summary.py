"""The summary has the figures and the cautions, and no title can harm it."""

import re
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import geopandas
import numpy as np
import pandas as pd
import pytest
import shapely
from affine import Affine

from toolbox.bed.support import distance_to_soundings
from toolbox.layers import Grid, Shoreline, Soundings, Table, Tin, Vectors
from toolbox.notes import Assumption, Caution, ranked
from toolbox.report.summary import CAUTIONS, write_summary
from toolbox.volume.morphometry import morphometry
from toolbox.volume.stage import Foot

ORIGIN = {"by": "Angling club", "date": "2026-05-01", "remarks": "calm"}
DATUM = {"elevation": 100.8, "name": "staff gauge"}
HOSTILE = {
    "newline": "Mere\n\nCautions\n--------\n  none",
    "markup": "<script>alert('x')</script>",
    "mathematics": "Lake $x^2$ \\frac{1}{2}",
    "long": "Loch " * 60,
    "percent": "100 % {title} %s {0}",
}


def bed() -> Tin:
    corners = np.array([[0, 0], [1000, 0], [1000, 1000], [0, 1000], [500, 500]], float)
    triangles = np.array([[0, 1, 4], [1, 2, 4], [2, 3, 4], [3, 0, 4]])
    return Tin(corners, np.array([0, 0, 0, 0, 9.0]), triangles, np.array([0, 0, 0, 0, 2]), None)


def soundings() -> Soundings:
    place = np.array([[500, 500], [200, 200], [300, 300], [1500, 500]], float)
    made = Soundings.from_arrays(place, np.array([9, 3, 5, 1.0]), crs=None)
    return made.reject(np.array([False, False, True, False]), "double echo").reject(
        np.array([False, False, False, True]), "outside the water"
    )


def written(folder: Path, **changes: object) -> str:
    parts: dict[str, object] = {
        "title": "Figment Mere",
        "soundings": soundings(),
        "morphometry": morphometry(bed()),
        "distance": None,
        "bed": bed(),
        "notes": ranked(["depths in feet"]),
        "origin": ORIGIN,
        "datum": DATUM,
    }
    path = folder / "summary.txt"
    write_summary(path, **(parts | changes))  # type: ignore[arg-type]
    return path.read_text(encoding="utf-8")


def line_of(text: str, word: str) -> str:
    (line,) = [line for line in text.splitlines() if line.strip().startswith(word)]
    return " ".join(line.split())


@pytest.mark.parametrize(
    ("foot", "metres", "said"),
    [
        ("international", 0.3048, "of the international foot, 0.3048 m"),
        ("survey", 1200 / 3937, "of the US survey foot, 1200/3937 m"),
    ],
)
def test_figures_are_told_in_feet_and_acres_too(
    foot: Foot, metres: float, said: str, tmp_path: Path
) -> None:
    # an acre is 43,560 square feet (NIST Handbook 44, appendix C; from memory)
    text = written(tmp_path, foot=foot)
    part = text.split("Figures in feet and acres\n")[1].split("How far to trust it")[0]
    acre = 43_560 * metres**2
    assert line_of(part, "water area") == f"water area {1e6 / acre:.4g} acre"
    assert line_of(part, "volume  ") == f"volume {3e6 / acre / metres:,.0f} acre-ft"
    assert line_of(part, "greatest depth") == f"greatest depth {9 / metres:.4g} ft"
    assert "easting" not in part  # a place has no such unit
    assert said in part
    assert line_of(text.split("Figures in feet")[0], "greatest depth") == "greatest depth 9 m"
    assert "Figures in feet" not in written(tmp_path)


def test_figures_are_those_of_the_morphometry(tmp_path: Path) -> None:
    # derived: a pyramid of 1 km2 and 9 m
    text = written(tmp_path)
    assert line_of(text, "water area") == "water area 1,000,000 m2"
    assert line_of(text, "volume  ") == "volume 3,000,000 m3"
    assert line_of(text, "greatest depth") == "greatest depth 9 m"
    assert line_of(text, "mean depth") == "mean depth 3 m"
    assert line_of(text, "shoreline length") == "shoreline length 4,000 m"
    assert line_of(text, "shoreline development") == "shoreline development 1.13"
    assert line_of(text, "volume development") == "volume development 1"
    assert line_of(text, "relative depth") == "relative depth 0.798 %"
    for measure in morphometry(bed()).frame["measure"]:
        assert measure in text


def told_first(folder: Path, **figures: tuple[float, float, float]) -> str:
    """Return what is told before the figures, of a morphometry with these values and bands."""
    rows = [(name.replace("_", " "), *values, "1", "made up") for name, values in figures.items()]
    columns = ["measure", "value", "low", "high", "unit", "source"]
    text = written(folder, morphometry=Table(pd.DataFrame(rows, columns=columns), "Morphometry"))
    return text.split("Before you rely on it\n---------------------\n")[1].strip()


def test_cautions_are_told_before_any_figure(tmp_path: Path) -> None:
    notes = ranked(["12 nodes", Assumption("feet"), Caution("87% of the area is a guess")])
    text = written(tmp_path, notes=notes)
    assert section_of(text, "Before you rely on it") == ["  87% of the area is a guess"]
    assert section_of(text, "Assumed of the input") == ["  feet"]
    assert section_of(text, "For the record") == ["  12 nodes"]
    order = ("Before you rely on it", "Figures", "Assumed of the input", "For the record")
    places = [text.index(f"\n{name}\n---") for name in order]
    assert places == sorted(places)
    assert "Before you rely on it" not in written(tmp_path)


def test_figures_outside_their_own_bands_are_told_with_the_reason(tmp_path: Path) -> None:
    first = told_first(tmp_path, greatest_depth=(9.07, 9.44, 13.7), volume=(5.0, 4.0, 6.0))
    assert first.startswith("outside their own bands: greatest depth; the most likely bed is")


def test_a_figure_said_to_lie_outside_its_band_is_seen_to(tmp_path: Path) -> None:
    # to two figures of half of its width, 0.065 m, the band begins at 9.401 m
    for value, shown, said in ((9.3982, "9.398", True), (9.4009, "9.401", False)):
        columns = ["measure", "value", "low", "high", "unit", "source"]
        row = [("greatest depth", value, 9.4012, 9.5319, "m", "made up")]
        text = written(tmp_path, morphometry=Table(pd.DataFrame(row, columns=columns)))
        line = f"greatest depth {shown} m 90 %: 9.401 to 9.532"
        assert line_of(text.split("\nFigures\n")[1], "greatest depth") == line
        assert ("outside their own bands: greatest depth;" in text) == said


def test_soundings_are_counted_by_their_fate(tmp_path: Path) -> None:
    text = written(tmp_path)
    assert "4 soundings, 2 kept, 2 rejected" in text
    assert "rejected: 1 double echo" in text
    assert "rejected: 1 outside the water" in text


def test_distances_tell_how_far_to_trust_it(tmp_path: Path) -> None:
    depth = Grid(np.ones((100, 100)), Affine(10, 0, 0, 0, -10, 1000), None, "depth", "m")
    shore = Shoreline.from_shapes([shapely.box(0, 0, 1000, 1000)], None)
    assert shore.polygons.area == 1e6
    distance = distance_to_soundings(depth, soundings())
    half, most = np.quantile(distance.values, [0.5, 0.95])
    expected = f"half of the water lies within {half:.0f} m of a sounding, 95 % within {most:.0f} m"
    assert expected in written(tmp_path, distance=distance)
    assert "half of the water" not in written(tmp_path)


def test_a_fitted_bed_tells_its_error_and_its_bands(tmp_path: Path) -> None:
    # derived: beds of 8 to 10 m in the middle hold a third of that on a square kilometre
    draws = np.zeros((5, 101))
    draws[4] = np.linspace(8, 10, 101)
    sd = np.array([0, 0, 0, 0, 0.58])
    fitted = replace(bed(), draws=draws, sd=sd, support=np.array([1, 1, 1, 1, 0.9]))
    orders = Table(pd.DataFrame({"order": ["1a"], "area_share": [0.25]}), "Orders")
    text = written(
        tmp_path,
        bed=fitted,
        morphometry=morphometry(fitted),
        why="at lines left out it was nearer",
        orders=orders,
    )
    assert line_of(text, "volume  ") == "volume 3,000,000 m3 90 %: 2,700,000 to 3,300,000"
    assert line_of(text, "water area") == "water area 1,000,000 m2"
    assert line_of(text, "order 1a") == "order 1a 25%"
    flat = " ".join(text.split())
    assert "good to 0.00 m (one standard deviation) at half of its nodes, to 0.46 m at 95 %" in flat
    assert "at lines left out it was nearer" in flat
    assert "linear between soundings" not in flat
    assert "does not know its own error" in " ".join(written(tmp_path).split())


def test_every_caution_is_carried_whole(tmp_path: Path) -> None:
    text = " ".join(written(tmp_path).split())
    for caution in CAUTIONS:
        assert " ".join(caution.split()) in text
    for words in ("Not for navigation", "life jacket", "overhead lines", "clean, drain", "permit"):
        assert words in text


def test_a_plan_has_a_section_of_its_own(tmp_path: Path) -> None:
    frame = geopandas.GeoDataFrame(
        {
            "order": [1],
            "start_easting_m": [100.0],
            "start_northing_m": [200.0],
            "bearing_deg": [45.0],
            "distance_m": [300.0],
            "mean_sd_m": [0.3],
            "mean_sd_drop_m": [0.1],
            "volume_sd_m3": [90.0],
            "volume_sd_drop_m3": [10.0],
        },
        geometry=[shapely.LineString([(100, 200), (312, 412)])],
    )
    (tmp_path / "next_soundings.csv").touch()
    text = written(tmp_path, plan=Vectors(frame, "next_soundings"))
    section = text.split("Where to sound next\n---")[1].split("Assumed of the input")[0]
    assert "from 0.400 m to 0.300 m (25% less)" in " ".join(section.split())
    assert line_of(section, "1  from") == "1 from 100 E 200 N, 45 degrees, 300 m, sd 0.300 m"
    assert "where to sound next, also as the layer" in text
    assert "Where to sound next" not in written(tmp_path)


def finds() -> tuple[Vectors, Vectors]:
    """Return a hole and two marks, each with a note of its own."""
    hole = geopandas.GeoDataFrame(
        {
            "kind": ["hole"],
            "feature": [3],
            "depth_least_m": [4.0],
            "depth_greatest_m": [9.0],
            "relief_m": [5.0],
            "area_m2": [1234.0],
            "length_m": [50.0],
            "confidence": [np.nan],
        },
        geometry=[shapely.box(400, 400, 600, 600)],
    )
    long = "From peg P1 cast 39 m on 179 deg true: foot of the drop-off, " * 3
    marks = geopandas.GeoDataFrame(
        {"mark": [1, 2], "sentence": [long.strip(), "From peg P2."]},
        geometry=shapely.points([(1, 1), (2, 2)]),
    )
    told = Vectors(hole, "features", ("usual limits",))
    return told, Vectors(marks, "marks", ("mind the wire",))


def section_of(text: str, heading: str) -> list[str]:
    """Return the lines of a section, without its heading."""
    rest = text.split(f"\n{heading}\n{'-' * len(heading)}\n")[1]
    return rest.split("\n\n")[0].splitlines()


def test_what_lies_on_the_bed_has_a_section_of_its_own(tmp_path: Path) -> None:
    features, _ = finds()
    (tmp_path / "features.csv").touch()
    text = written(tmp_path, features=features, notes=ranked(["usual limits", "depths in feet"]))
    assert section_of(text, "On the bed") == [
        "  1 hole:",
        "    3  4.0 to 9.0 m deep, 5.0 m below its rim, 1,234 m2, at 500 E 500 N",
        "  usual limits",
    ]
    # what is told there is not told again
    assert section_of(text, "For the record") == ["  depths in feet"]
    assert line_of(text, "features.csv").startswith("features.csv what was found on the bed")
    assert "On the bed" not in written(tmp_path)


def test_marks_have_a_section_of_their_own_and_text_keeps_to_its_column(tmp_path: Path) -> None:
    features, marks = finds()
    for name in ("marks.csv", "marks.png", "boat_marks.csv"):
        (tmp_path / name).touch()
    text = written(tmp_path, features=features, marks=marks, notes=ranked(["mind the wire"]))
    lines = section_of(text, "Marks")
    assert lines[0] == "  the best first:"
    assert lines[1].startswith("    1  From peg P1")
    more = lines[2 : lines.index("    2  From peg P2.")]
    assert len(more) >= 1
    assert all(re.match(r" {7}\S", line) for line in more)
    assert not any(line.endswith("drop-") for line in lines)  # words are kept whole
    assert lines[-1] == "  mind the wire"
    assert section_of(text, "For the record") == ["  nothing"]
    order = [text.index(f"\n{name}\n") for name in ("On the bed", "Marks", "For the record")]
    assert order == sorted(order)
    files = [line.split()[0] for line in section_of(text, "Files")]
    assert files == ["marks.csv", "boat_marks.csv", "marks.png"]


def test_words_about_a_file_keep_to_their_column(tmp_path: Path) -> None:
    for name in ("lakebed.gpkg", "orders.csv", "line_errors.csv"):
        (tmp_path / name).touch()
    lines = section_of(written(tmp_path), "Files")
    assert len(lines) > 3
    assert {len(line) - len(line[28:].lstrip()) for line in lines} == {28}


def test_control_characters_in_a_note_do_not_reach_a_terminal(tmp_path: Path) -> None:
    text = written(
        tmp_path, notes=ranked(["no feature can be cast to from peg \x1b[2J\nCautions\n-----"])
    )
    assert not re.search(r"[\x00-\x08\x0b-\x1f\x7f]", text)
    assert section_of(text, "For the record") == [
        "  no feature can be cast to from peg [2J Cautions -----"
    ]


def test_provenance_notes_and_datum_are_told(tmp_path: Path) -> None:
    text = written(tmp_path)
    assert "surveyed by: Angling club" in text
    assert "date: 2026-05-01" in text
    assert "datum water level: elevation 100.800 m, staff gauge" in text
    assert "remarks: calm" in text
    assert "depths in feet" in text


def test_what_is_not_known_is_not_told(tmp_path: Path) -> None:
    empty = {"by": "", "date": "", "remarks": ""}
    text = written(tmp_path, origin=empty, datum={"elevation": None, "name": ""}, notes={})
    assert "surveyed by" not in text
    assert "datum water level" not in text
    section = text.split("For the record")[1]
    assert section.splitlines()[2].strip() == "nothing"


def test_only_files_that_are_there_are_listed(tmp_path: Path) -> None:
    (tmp_path / "depth.tif").touch()
    text = written(tmp_path)
    assert "depth.tif  " in text
    assert "map.png  " not in text


@pytest.mark.parametrize("title", HOSTILE.values(), ids=HOSTILE.keys())
def test_hostile_titles_stay_one_heading(tmp_path: Path, title: str) -> None:
    text = written(tmp_path, title=title)
    lines = text.splitlines()
    assert lines[0] == " ".join(title.split())
    assert re.fullmatch(r"-{1,92}", lines[1])
    headings = [line for line, rule in pairwise(lines) if rule.startswith("--")]
    assert headings == [
        lines[0],
        "Figures",
        "How far to trust it",
        "Assumed of the input",
        "For the record",
        "Files",
        "Cautions",
    ]


def test_control_characters_in_a_title_do_not_reach_a_terminal(tmp_path: Path) -> None:
    text = written(tmp_path, title="Mere\x1b[2J\x07\x00", origin=ORIGIN | {"by": "club\x1b[31m"})
    assert not re.search(r"[\x00-\x08\x0b-\x1f\x7f]", text)


@pytest.mark.parametrize(
    ("value", "shown"),
    [
        (0.0, "0"),
        (3.0, "3"),
        (0.123456, "0.123"),
        (12.347, "12.35"),
        (99.96, "99.96"),
        (1234.5, "1,234"),
    ],
)
def test_figures_are_rounded_for_reading(tmp_path: Path, value: float, shown: str) -> None:
    row = {"measure": ["mean depth"], "value": [value], "unit": ["m"], "source": [""]}
    text = written(tmp_path, morphometry=Table(pd.DataFrame(row)))
    assert line_of(text, "mean depth") == f"mean depth {shown} m"


def test_lines_are_short_enough_to_print(tmp_path: Path) -> None:
    text = written(tmp_path, notes=ranked(["a very long remark " * 20]))
    assert max(map(len, text.splitlines())) <= 92


def test_places_are_told_to_the_metre(tmp_path: Path) -> None:
    columns = ["measure", "value", "low", "high", "unit", "source"]
    row = [("deepest place northing", 5116955.04, 5116945.5, 5116964.2, "m", "made up")]
    text = written(tmp_path, morphometry=Table(pd.DataFrame(row, columns=columns)))
    told = "deepest place northing 5,116,955 m 90 %: 5,116,946 to 5,116,964"
    assert line_of(text, "deepest place northing") == told
