"""A sheet is true to scale when it is measured, says what it should, and holds no surprises."""

import re
import shutil
import subprocess
from collections.abc import Callable
from datetime import date
from itertools import combinations, pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import shapely
from pypdf import PdfReader

from toolbox.errors import ParameterError
from toolbox.layers import Vectors
from toolbox.report.sheet.pen import Pen
from toolbox.report.sheet.subject import Subject
from toolbox.report.sheet.writing import draw_sheet, write_sheet

Given = dict[str, Any]
Write = Callable[..., tuple[Path, float]]

MM = 72 / 25.4
DOTS = 300
# ISO 216:2007, table of the main series A, mm; ANSI letter and tabloid of 8.5 x 11 and 11 x 17
# inches, from memory
SIZES = {
    "A4": (210.0, 297.0),
    "A3": (297.0, 420.0),
    "A2": (420.0, 594.0),
    "Letter": (215.9, 279.4),
    "Tabloid": (279.4, 431.8),
}
HOSTILE = '<script>alert("x")</script>&amp; \u202eRTL\n{{ 7*7 }} \U0001f41f $x^2$ ' + "y" * 300
needs_poppler = pytest.mark.skipif(
    shutil.which("pdftoppm") is None or shutil.which("pdftotext") is None,
    reason="pdftoppm and pdftotext, which draw and read a PDF, are not installed",
)


def text_of(path: Path, page: int = 0) -> str:
    return PdfReader(path).pages[page].extract_text()


def told(path: Path, page: int = 0) -> str:
    """Return the text of a page without breaks of lines."""
    return " ".join(text_of(path, page).split())


def picture(path: Path) -> np.ndarray:
    """Draw the first page at 300 dots an inch; grey, 0 is black."""
    from PIL import Image

    Image.MAX_IMAGE_PIXELS = None
    out = path.with_suffix("")
    command = ["pdftoppm", "-r", str(DOTS), "-gray", "-png", "-l", "1", "-singlefile"]
    subprocess.run([*command, str(path), str(out)], check=True)
    return np.asarray(Image.open(out.with_suffix(".png")).convert("L"))


def words_of(path: Path) -> list[tuple[float, float, float, float, str]]:
    """Boxes of the words of the first page, points from its upper left corner."""
    command = ["pdftotext", "-bbox", "-l", "1", str(path), "-"]
    found = subprocess.run(command, check=True, capture_output=True, text=True).stdout
    pattern = r'<word xMin="(.*?)" yMin="(.*?)" xMax="(.*?)" yMax="(.*?)">(.*?)</word>'
    return [(*map(float, word[:4]), word[4]) for word in re.findall(pattern, found)]  # type: ignore[misc]


def runs(line: np.ndarray) -> list[tuple[int, int]]:
    """First and last of each run of dark dots."""
    dark = np.r_[False, line < 128, False]
    turns = np.flatnonzero(dark[1:] != dark[:-1])
    return list(zip(turns[::2], turns[1::2] - 1, strict=True))


def bar_mm(path: Path, grey: np.ndarray) -> float:
    """Measure the upper bar between the words 'Scale' and 'Print', mm."""
    words = words_of(path)
    left, top = next((w[0], w[3]) for w in words if w[4] == "Scale")
    bottom = next(w[1] for w in words if w[4] == "Print" and abs(w[0] - left) < 2)
    rows = slice(*(round(y / 72 * DOTS) for y in (top, bottom)))
    part = grey[rows, round(left / 72 * DOTS) : round((left + 220 * MM) / 72 * DOTS)]
    longest = [max(((b - a, a, b) for a, b in runs(row)), default=(0, 0, 0)) for row in part]
    first = next(run for run in longest if run[0] / DOTS * 25.4 > 15)
    return first[0] / DOTS * 25.4  # from the middle of one end line to that of the other


@needs_poppler
@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_scale_bar_measures_what_it_says(bare: Given, sheet: Write, paper: str) -> None:
    path, scale = sheet(bare, paper=paper)
    measured = bar_mm(path, picture(path))
    said = re.search(r"0 to ([\d,]+) m on the bar must be ([\d.]+) mm", told(path))
    assert said is not None
    metres = float(said[1].replace(",", ""))
    assert measured == pytest.approx(metres * 1000 / scale, rel=0.005)
    assert measured == pytest.approx(float(said[2]), rel=0.005)


def ticks(path: Path, grey: np.ndarray) -> np.ndarray:
    """Places of the ticks below the frame of the map, mm."""
    lengths = [max((b - a for a, b in runs(row)), default=0) for row in grey]
    bottom = max(n for n, length in enumerate(lengths) if length > 0.9 * max(lengths))
    left, right = max(runs(grey[bottom]), key=lambda run: run[1] - run[0])
    found = runs(grey[bottom + round(0.8 / 25.4 * DOTS), left : right + 1])
    return np.array([(a + b) / 2 for a, b in found]) / DOTS * 25.4


@needs_poppler
@pytest.mark.parametrize("which", ["pool", "mercator"])
def test_grid_is_as_far_apart_as_its_numbers_say(
    request: pytest.FixtureRequest, sheet: Write, which: str
) -> None:
    given = request.getfixturevalue(which)
    path, scale = sheet(given | {"marks": None}, paper="A4", landscape=True)
    measured = np.diff(ticks(path, picture(path)))
    numbers = sorted(
        int(found.replace("\u2009", "").replace(" ", ""))
        for found in re.findall(
            r"^(\d{1,3}[\u2009 ]\d{3}(?:[\u2009 ]\d{3})?)\b", text_of(path), re.M
        )
    )
    step = min(b - a for a, b in pairwise(numbers) if b > a)
    # the projection library's own scale along the parallel, on the ellipsoid; of the web's map,
    # which that library takes for one of a sphere, the ratio of its equator to the parallel:
    # Snyder 1987, Map Projections: A Working Manual, equation 7-8 for h = k of the sphere and
    # the radii of curvature of table 2; here derived as sec(latitude) within 0.2 %
    factor = {"pool": 0.9996, "mercator": 1 / np.cos(np.radians(60.0))}[which]
    if which == "mercator":
        import pyproj

        place = given["shoreline"].polygons.centroid
        _, latitude = pyproj.Transformer.from_crs(3857, 4326, always_xy=True).transform(
            place.x, place.y
        )
        factor = 1 / np.cos(np.radians(latitude))
    assert len(measured) >= 2
    assert measured == pytest.approx(step / factor * 1000 / scale, rel=0.005)


@pytest.mark.parametrize("paper", SIZES)
@pytest.mark.parametrize("landscape", [True, False])
def test_every_paper_is_made(bare: Given, sheet: Write, paper: str, landscape: bool) -> None:
    path, scale = sheet(bare, paper=paper, landscape=landscape)
    (page,) = PdfReader(path).pages
    size = (float(page.mediabox.width) / MM, float(page.mediabox.height) / MM)
    narrow, long = SIZES[paper]
    assert size == pytest.approx((long, narrow) if landscape else (narrow, long), abs=0.01)
    said = page.extract_text()
    for words in (
        "Nowhere Pool", f"1:{scale:.0f}", "a mark on the dam, water at 100.00 m", "nobody",
        "2026-05-12", "WGS 84 / UTM zone 32N", "grid north", "magnetic north: 12.0\u00b0 west",
        "Legend", "lip of a drop-off", "not surveyed", "plants", "acre-ft", "with 90 % band",
        "Where it was sounded", "100 casts", "800 boat", "Not for navigation", "Leadline",
    ):  # fmt: skip
        assert words in said, words


def sizes_of(path: Path) -> dict[str, float]:
    """Return the least size of type by page and text, as it stands on paper, points."""
    found: dict[str, float] = {}
    for number, page in enumerate(PdfReader(path).pages):

        def visit(
            words: str, matrix: Any, text: Any, font: Any, size: float, number: int = number
        ) -> None:
            if words.strip():
                (a, b), (c, d) = (matrix[0], matrix[1]), (text[0], text[1])
                turned = np.hypot(a, b) * np.hypot(c, d)
                found[f"{number}:{words.strip()}"] = size * turned

        page.extract_text(visitor_text=visit)
    return found


@pytest.mark.parametrize("paper", ["A4", "A3"])
def test_no_type_is_smaller_than_six_points(pool: Given, sheet: Write, paper: str) -> None:
    path, _ = sheet(pool, paper=paper)
    sizes = sizes_of(path)
    assert len(sizes) > 100
    assert {words: size for words, size in sizes.items() if size < 5.999} == {}


def test_all_fonts_are_in_the_file(pool: Given, sheet: Write) -> None:
    path, _ = sheet(pool)
    fonts = [
        font.get_object()
        for page in PdfReader(path).pages
        for font in page["/Resources"]["/Font"].values()  # type: ignore[index]
    ]
    assert fonts
    for font in fonts:
        assert font["/Subtype"] == "/TrueType"
        assert "/FontFile2" in font["/FontDescriptor"]


def test_same_input_gives_same_bytes(pool: Given, bare: Given, sheet: Write) -> None:
    first = sheet(pool)[0].read_bytes()
    assert sheet(pool)[0].read_bytes() == first
    other, _ = sheet(bare, made=date(2027, 1, 2))
    assert PdfReader(other).metadata["/CreationDate"] == "D:20270102000000Z"  # type: ignore[index]


def boxes_of(path: Path, given: Given, **how: Any) -> list[Any]:
    """Boxes of the parts of a first page, points."""
    options = {"why": "", "foot": "international", "course": None, "exclusions": None}
    options |= {"declination": None, "plants": None, "features": None, "unsurveyed": None}
    options |= {"marks": None, "pegs": None, "cast_profiles": None}
    pen = Pen(path, title="", author="", made=given["made"])
    draw_sheet(pen, Subject(**(options | given)), scale=None, **how)
    return [(name, shapely.box(b.left, b.bottom, b.right, b.top)) for _, name, b in pen.blocks]


@pytest.mark.parametrize("paper", ["A4", "A3", "Letter"])
@pytest.mark.parametrize("landscape", [True, False])
def test_no_part_covers_another(pool: Given, tmp_path: Path, paper: str, landscape: bool) -> None:
    long = {"by": HOSTILE, "date": HOSTILE, "remarks": 8 * HOSTILE}
    given = pool | {"title": HOSTILE, "origin": long}
    boxes = boxes_of(tmp_path / "s.pdf", given, paper=paper, landscape=landscape)
    assert len(boxes) == 11
    across, up = SIZES[paper][::-1] if landscape else SIZES[paper]
    page = shapely.box(0, 0, across * MM, up * MM).buffer(-7.9 * MM)
    assert [name for name, box in boxes if not page.contains(box)] == []
    covering = [
        (a, b)
        for (a, one), (b, other) in combinations(boxes, 2)
        if one.intersection(other).area > 1
    ]
    assert covering == []


@needs_poppler
@pytest.mark.parametrize("paper", ["A4", "A3"])
def test_no_word_covers_another(bare: Given, sheet: Write, paper: str) -> None:
    path, _ = sheet(bare, paper=paper)
    words = words_of(path)
    boxes = [shapely.box(a, b + 0.22 * (d - b), c, d - 0.25 * (d - b)) for a, b, c, d, _ in words]
    tree = shapely.STRtree(boxes)
    pairs = tree.query(boxes, predicate="intersects").T
    covering = [
        (words[a][4], words[b][4])
        for a, b in pairs
        if a < b and boxes[a].intersection(boxes[b]).area > 0.3
    ]
    assert len(words) > 250
    assert covering == []


def test_a_scale_that_does_not_fit_is_refused(bare: Given, sheet: Write) -> None:
    with pytest.raises(
        ParameterError,
        match=r"^scale must be 5000 or more for this water to fit on A4 \w+, got 1000$",
    ):
        sheet(bare, scale=1000)
    with pytest.raises(ParameterError, match=r"^scale must be 1 or more, such as .*, got -3$"):
        sheet(bare, scale=-3)


def test_a_scale_that_fits_is_kept(bare: Given, sheet: Write) -> None:
    path, scale = sheet(bare, scale=7000)
    assert scale == 7000
    assert "1:7000" in text_of(path)


def test_paper_is_held_as_the_water_lies(make_lake: Callable[..., Given], sheet: Write) -> None:
    tall = shapely.box(500_000, 5_200_000, 500_200, 5_203_000)
    path, scale = sheet(make_lake(tall, "EPSG:32632", grade=20, interval=1), paper="A4")
    (page,) = PdfReader(path).pages
    assert page.mediabox.height > page.mediabox.width
    # 3 km fit on the 297 mm at 1:12 500, not on the 210 mm across
    assert scale == 12_500


def test_a_very_long_water_is_one_sheet(make_lake: Callable[..., Given], sheet: Write) -> None:
    long = shapely.box(450_000, 5_200_000, 510_000, 5_200_900)
    path, scale = sheet(make_lake(long, "EPSG:32632", grade=20, interval=5), paper="A4")
    assert len(PdfReader(path).pages) == 1
    assert scale == 250_000
    assert "some isobaths, m" in text_of(path)


def test_a_sheet_in_feet_numbers_isobaths_and_soundings_in_feet(
    make_lake: Callable[..., Given], sheet: Write
) -> None:
    pond = make_lake(
        shapely.Point(500_000, 5_200_000).buffer(90), "EPSG:32632", grade=20, interval=1.524
    )
    lines = pond["isobaths"].frame
    feet = Vectors(lines.assign(depth_ft=(lines["depth_m"] / 0.3048).round(6)), "isobaths")
    path, _ = sheet(pond | {"isobaths": feet}, unit="ft")
    told = text_of(path)
    assert "isobath, ft" in told
    assert "sounding, ft" in told
    assert "1.524" not in told
    metric = text_of(sheet(pond)[0])
    assert "isobath, m" in metric
    assert "1.524" in metric


def test_water_on_a_plane_tells_no_degrees(make_lake: Callable[..., Given], sheet: Write) -> None:
    pond = make_lake(shapely.Point(1000, 0).buffer(15), None, grade=8, interval=0.25)
    path, scale = sheet(
        pond,
        origin={"by": "", "date": "", "remarks": ""},
        datum={"elevation": None, "name": ""},
    )
    said = told(path)
    assert scale < 500
    assert "true north is not known" in said
    assert "\u00b0" not in said
    assert "Surveyed by" not in said
    assert "does not know its own error" in said


def test_marks_have_a_map_and_cards(pool: Given, sheet: Write) -> None:
    path, _ = sheet(pool, paper="A2")
    pages = PdfReader(path).pages
    assert len(pages) == 4  # sheet, map, six cards and one
    assert sorted((float(pages[1].mediabox.width), float(pages[1].mediabox.height))) == (
        pytest.approx([210 * MM, 297 * MM])
    )
    said = [page.extract_text() for page in pages]
    assert "340\u00b0 T, 352\u00b0 M" in said[1]
    for words in ("P1: drop-off foot", "340\u00b0 true, 352\u00b0 magnetic", "8.2 wraps", "98 ft",
                  "1.5 m (1.2 to 1.8 m), 4.9 ft", "97 % sure", "overhead lines"):  # fmt: skip
        assert words in said[2], words
    assert said[2].count("Look up") == 6
    assert said[3].count("Look up") == 1
    assert "12 m of the way back lies over plants" in said[2]


def test_a_boat_has_a_course_and_cards(pool: Given, sheet: Write) -> None:
    import geopandas

    places = np.array([(499_800.0, 5_200_000.0), (499_950.0, 5_200_050.0)])
    marks = geopandas.GeoDataFrame(
        {
            "mark": [1, 2], "leg_m": [150.0, 158.1], "leg_bearing_deg": [90.0, 71.6],
            "kind": ["hole", "hump top"], "depth_m": [7.0, 3.0], "latitude_deg": [46.95] * 2,
            "longitude_deg": [8.99] * 2, "easting_m": places[:, 0], "northing_m": places[:, 1],
        },
        geometry=geopandas.points_from_xy(*places.T),
        crs=pool["shoreline"].crs,
    )  # fmt: skip
    stops = [(499_650.0, 5_200_000.0), *map(tuple, places), (499_650.0, 5_200_000.0)]
    legs = [shapely.LineString(pair) for pair in pairwise(stops)]
    course = geopandas.GeoDataFrame({"leg": [1, 2, 3]}, geometry=legs, crs=marks.crs)
    path, _ = sheet(
        pool,
        marks=Vectors(marks, "boat_marks"),
        course=Vectors(course, "boat_course"),
        pegs=None,
        cast_profiles=None,
    )
    said = [page.extract_text() for page in PdfReader(path).pages]
    assert len(said) == 3
    assert "slip" in said[1]
    assert "hole, from the slip" in said[2]
    assert "hump top, from mark 1" in said[2]
    assert "072\u00b0 true, 084\u00b0 magnetic" in said[2]  # the needle points 12 degrees west
    assert "Around the mark, 1:" in said[2]


def test_names_are_taken_literally(pool: Given, sheet: Write) -> None:
    marks = pool["marks"].frame.assign(peg=HOSTILE, kind=HOSTILE)
    pegs = pool["pegs"].frame.assign(peg=HOSTILE)
    path, _ = sheet(
        pool,
        title=HOSTILE,
        origin={"by": HOSTILE, "date": HOSTILE, "remarks": HOSTILE},
        datum={"elevation": None, "name": HOSTILE},
        marks=Vectors(marks, "marks"),
        pegs=Vectors(pegs, "pegs"),
    )
    reader = PdfReader(path)
    said = "".join(page.extract_text() for page in reader.pages)
    assert '<script>alert("x")</script>&amp; RTL {{ 7*7 }}' in said.replace("\n", " ")
    assert "\u202e" not in said
    for page in reader.pages:
        assert "/Annots" not in page
    assert not {"/OpenAction", "/AA", "/Names"} & set(reader.trailer["/Root"])  # type: ignore[arg-type]


def test_the_scale_is_told_to_the_caller(bare: Given, tmp_path: Path) -> None:
    assert write_sheet(tmp_path / "s.pdf", **bare) == 5000
