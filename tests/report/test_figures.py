"""The map is drawn for waters of any size and any title, without a warning."""

from pathlib import Path
from typing import Any, Literal

import geopandas
import numpy as np
import pytest
import shapely
from affine import Affine
from matplotlib.image import imread
from pyproj import CRS

from toolbox.isobaths.labels import isobath_labels
from toolbox.layers import Grid, Shoreline, Soundings, Vectors
from toolbox.report import drawing, figures
from toolbox.report.figures import write_map

TITLES = {
    "plain": "Figment Mere",
    "newline": "Mere\nof two lines",
    "markup": "<script>alert('x')</script> & <b>",
    "mathematics": "Lake $\\frac{1}{2$",  # as mathematics this would be an error
    "long": "Llyn " * 60,
    "one long word": "Y" * 300,
    "not in the font": "\u9752\u6d77\u6e56",
    "tab": "Mere\tof tabs",
}


def grid(rows: int, cols: int, cell: float = 1.0, crs: CRS | None = None) -> Grid:
    down, right = np.mgrid[0:rows, 0:cols]
    depth = 0.3 + 8 * np.sin(np.pi * (right + 0.5) / cols) * np.sin(np.pi * (down + 0.5) / rows)
    return Grid(depth, Affine(cell, 0, 5e5, 0, -cell, 5e6), crs, "depth", "m")


def shoreline(depth: Grid, *, island: bool = False, open_edge: bool = False) -> Shoreline:
    left, bottom, right, top = depth.bounds
    water = shapely.box(left, bottom, right, top)
    if island:
        water = water.difference(water.centroid.buffer((right - left) / 10))
    shore = Shoreline.from_shapes([water], depth.crs)
    if open_edge:
        shore = shore.with_open_edges([shapely.LineString([(left, bottom), (left, top)])])
    return shore


def soundings(depth: Grid, count: int = 30, rejected: int = 3) -> Soundings:
    left, bottom, right, top = depth.bounds
    place = np.random.default_rng(1).uniform([left, bottom], [right, top], (count, 2))
    made = Soundings.from_arrays(place, np.ones(count), crs=depth.crs)
    return made.reject(np.arange(count) < rejected, "double echo")


def drawn(folder: Path, depth: Grid, title: str = "Figment Mere", **options: bool) -> np.ndarray:
    path = folder / "map.png"
    write_map(depth, shoreline(depth, **options), soundings(depth), title, path)
    return np.asarray(imread(path))


def test_the_map_shows_the_bed_the_soundings_and_the_rejected_ones(tmp_path: Path) -> None:
    picture = drawn(tmp_path, grid(60, 80), island=True)
    assert picture.shape[1] == 9 * 160  # nine inches at 160 dots
    assert picture.shape[0] > 600
    # deep water is dark, and the crosses of the rejected ones are the only reddish marks
    assert (picture[..., :3].sum(axis=-1) < 1.2).mean() > 0.02
    red = (picture[..., 0] > picture[..., 1] + 0.25) & (picture[..., 0] > picture[..., 2] + 0.25)
    assert red.sum() > 100
    clean = tmp_path / "clean.png"
    depth = grid(60, 80)
    write_map(depth, shoreline(depth), soundings(depth, rejected=0), "Figment Mere", clean)
    other = np.asarray(imread(clean))
    red = (other[..., 0] > other[..., 1] + 0.25) & (other[..., 0] > other[..., 2] + 0.25)
    assert red.sum() == 0


@pytest.mark.parametrize("title", TITLES.values(), ids=TITLES.keys())
def test_titles_are_taken_literally(tmp_path: Path, title: str) -> None:
    titled, untitled = (drawn(tmp_path, grid(40, 60), text)[..., :3] for text in (title, ""))
    assert titled.shape[1] == untitled.shape[1]
    assert titled.shape[0] >= untitled.shape[0]  # by its lines
    head = slice(untitled.shape[0] // 3)
    assert (np.abs(titled[head] - untitled[head]).max(axis=-1) > 0.5).sum() > 50


@pytest.mark.parametrize("title", TITLES.values(), ids=TITLES.keys())
def test_every_line_of_a_title_lies_on_the_sheet(tmp_path: Path, title: str) -> None:
    picture = drawn(tmp_path, grid(60, 90), title)[..., :3]
    assert picture[:10].min() > 0.98
    assert picture[10:60].min() < 0.5  # no more room above it than one line takes


@pytest.mark.parametrize("title", ["Llyn " * 60, "Y" * 300], ids=["words", "one word"])
def test_a_long_title_leaves_room_for_the_map(tmp_path: Path, title: str) -> None:
    plain, long = (drawn(tmp_path, grid(60, 60), text)[..., :3] for text in ("Mere", title))
    dark_plain, dark_long = ((picture.sum(axis=-1) < 1.2).sum() for picture in (plain, long))
    assert dark_long > 0.5 * dark_plain


@pytest.mark.parametrize(
    ("rows", "cols", "cell"),
    [(1, 1, 2.0), (1, 40, 1.0), (40, 1, 1.0), (2, 2, 0.5), (3, 400, 1.0), (400, 3, 1.0)],
)
def test_waters_of_any_size_are_drawn(tmp_path: Path, rows: int, cols: int, cell: float) -> None:
    assert drawn(tmp_path, grid(rows, cols, cell)).shape[0] >= 4 * 160


def test_large_grids_are_thinned(tmp_path: Path) -> None:
    assert drawn(tmp_path, grid(1700, 50)).shape[0] <= 12 * 160


@pytest.mark.parametrize("code", [None, 32633])
def test_open_edges_and_a_crs(tmp_path: Path, code: int | None) -> None:
    crs = CRS(code) if code else None
    assert drawn(tmp_path, grid(40, 60, crs=crs), open_edge=True).size > 0


def test_the_name_of_a_crs_is_taken_literally(tmp_path: Path) -> None:
    wkt = CRS(32633).to_wkt().replace("WGS 84 / UTM zone 33N", "Grid $\\nonsense$")
    crs = CRS.from_wkt(wkt)
    assert crs.name == "Grid $\\nonsense$"
    assert drawn(tmp_path, grid(20, 20, crs=crs)).size > 0


def test_a_shore_above_the_datum_and_holes_in_the_grid(tmp_path: Path) -> None:
    depth = grid(40, 60)
    values = depth.values - 0.8
    values[10:20, 10:20] = np.nan
    assert drawn(tmp_path, depth.of(values, "depth", "m")).size > 0


@pytest.mark.parametrize("values", [0.0, -1.0], ids=["level", "above the datum"])
def test_a_bed_without_depth_is_drawn_too(tmp_path: Path, values: float) -> None:
    depth = grid(10, 10)
    assert drawn(tmp_path, depth.of(np.full((10, 10), values), "depth", "m")).size > 0


def test_no_soundings_at_all(tmp_path: Path) -> None:
    depth = grid(20, 20)
    none = Soundings.from_arrays(np.empty((0, 2)), np.empty(0), crs=None)
    write_map(depth, shoreline(depth), none, "Mere", tmp_path / "map.png")
    assert (tmp_path / "map.png").stat().st_size > 1000


@pytest.mark.parametrize("share", [0.0, 0.5, 1.0])
def test_what_nobody_surveyed_is_veiled(tmp_path: Path, share: float) -> None:
    depth = grid(60, 80)
    mask = np.broadcast_to(np.arange(80) < 80 * share, (60, 80)).astype(float)
    path = tmp_path / "veiled.png"
    guess = depth.of(mask, "unsurveyed", "1")
    shore, dots = shoreline(depth), soundings(depth)
    write_map(depth, shore, dots, "Figment Mere", path, unsurveyed=guess)
    veiled, plain = np.asarray(imread(path))[..., :3], drawn(tmp_path, depth)[..., :3]
    assert veiled.shape == plain.shape
    changed = (np.abs(veiled - plain).sum(axis=-1) > 0.02).mean(axis=0)
    # the veiled columns of the water change, the others do not
    assert (changed > 0.3).mean() == pytest.approx(0.86 * share, abs=0.12)


# ---- isobaths ----


def isobaths(depth: Grid, *rings: float) -> Vectors:
    """Return squares about the middle, at a depth each."""
    left, bottom, right, top = depth.bounds
    middle, half = shapely.Point((left + right) / 2, (bottom + top) / 2), (top - bottom) / 2
    shapes = [
        shapely.LineString(middle.buffer(half * (1 - d / 8), cap_style="square").exterior.coords)
        for d in rings
    ]
    columns = {"depth_m": list(rings), "index_line": [d % 5 == 0 for d in rings]}
    return Vectors(geopandas.GeoDataFrame(columns, geometry=shapes, crs=depth.crs), "isobaths")


def with_isobaths(folder: Path, depth: Grid, lines: Vectors) -> np.ndarray:
    path = folder / "lines.png"
    write_map(depth, shoreline(depth), soundings(depth), "Figment Mere", path, isobaths=lines)
    return np.asarray(imread(path))[..., :3]


@pytest.mark.parametrize(("unit", "label"), [("m", "1.524"), ("ft", "5")])
def test_depths_are_told_in_the_unit(
    unit: Literal["m", "ft"], label: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    kept: list[Any] = []

    def spy(path: Path, bounds: Any, draw: Any) -> None:
        def once(figure: Any, axes: Any) -> None:
            draw(figure, axes)
            kept.append(figure)

        drawing.paint(path, bounds, once)

    monkeypatch.setattr(figures, "paint", spy)
    depth, some = grid(90, 120), isobaths(grid(90, 120), 1.524)
    lines = Vectors(some.frame.assign(depth_ft=5.0), "isobaths")
    path = tmp_path / "map.png"
    few = soundings(depth, rejected=0)
    write_map(depth, shoreline(depth), few, "Mere", path, isobaths=lines, unit=unit)
    (figure,) = kept
    axes, bar = figure.axes
    assert bar.get_ylabel() == f"depth below datum, {unit}"
    deepest = float(depth.values.max()) / {"m": 1, "ft": 0.3048}[unit]
    assert max(bar.get_ylim()) == pytest.approx(deepest)
    told = [text.get_text() for text in axes.texts]
    assert label in told
    assert [text for text in told if text.endswith(f" {unit}")]  # the scale


def test_isobaths_are_drawn_where_they_run(tmp_path: Path) -> None:
    depth = grid(60, 80)
    plain = drawn(tmp_path, depth)[..., :3]
    lines = with_isobaths(tmp_path, depth, isobaths(depth, 2.0))
    changed = np.abs(lines - plain).sum(axis=-1) > 0.1
    rows, cols = (np.flatnonzero(changed.any(axis=axis)) for axis in (1, 0))
    # derived: the square at 2 m is three quarters as high as the water, which lies within margins
    # of 4 % of its longer side, so it covers 45 of 66.4 m of the picture's height
    figure_rows = picture_rows(plain)
    assert (rows[-1] - rows[0]) / figure_rows == pytest.approx(45 / 66.4, abs=0.03)
    assert rows[-1] - rows[0] == pytest.approx(cols[-1] - cols[0], abs=12)
    assert changed.mean() < 0.02


def picture_rows(picture: np.ndarray) -> int:
    """Count the rows between the upper and the lower edge of the frame."""
    dark = (picture.sum(axis=-1) < 0.75).sum(axis=1)
    edges = np.flatnonzero(dark > 0.75 * picture.shape[1])
    return int(edges[-1] - edges[0])


def test_isobaths_are_dark_on_pale_and_pale_on_dark(tmp_path: Path) -> None:
    depth = grid(60, 80)
    for ring, darker in ((1.0, True), (7.5, False)):
        plain = drawn(tmp_path, depth)[..., :3].sum(axis=-1)
        lines = with_isobaths(tmp_path, depth, isobaths(depth, ring)).sum(axis=-1)
        changed = np.abs(lines - plain) > 0.3
        assert changed.sum() > 50
        assert ((lines < plain)[changed].mean() > 0.5) == darker


def test_numbers_stand_where_there_is_room_at_the_scale_of_the_picture(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Ten kilometres on nine inches is about 1 to 50,000 (derived: 10 km / 0.2 m)."""
    asked: list[dict[str, float]] = []

    def spied(lines: Vectors, **options: float) -> Vectors:
        asked.append(options)
        return isobath_labels(lines, **options)

    monkeypatch.setattr(drawing, "isobath_labels", spied)
    wide = grid(60, 80, cell=125.0)
    with_isobaths(tmp_path, wide, isobaths(wide, 1.0, 2.0))
    near = grid(60, 80, cell=1.25)
    with_isobaths(tmp_path, near, isobaths(near, 1.0, 2.0))
    assert asked[0]["scale"] == pytest.approx(50_000, rel=0.15)
    assert asked[0]["scale"] == pytest.approx(100 * asked[1]["scale"], rel=1e-6)


def test_no_isobaths_are_no_error(tmp_path: Path) -> None:
    depth = grid(20, 30)
    assert with_isobaths(tmp_path, depth, isobaths(depth)).size > 0


def test_the_legend_hides_nothing_of_the_water(tmp_path: Path) -> None:
    """A water that fills its frame is seen whole, whatever the legend says."""
    depth = grid(60, 80)
    many, few = tmp_path / "many.png", tmp_path / "few.png"
    write_map(depth, shoreline(depth), soundings(depth, rejected=0), "Mere", few)
    write_map(depth, shoreline(depth), soundings(depth, rejected=1), "Mere", many)
    pictures = [np.asarray(imread(path))[..., :3] for path in (few, many)]
    assert pictures[0].shape == pictures[1].shape
    top = slice(0, picture_rows(pictures[0]) // 2)
    changed = np.abs(pictures[0] - pictures[1]).sum(axis=-1)[top] > 0.3
    assert changed.sum() < 600  # one cross for one dot
