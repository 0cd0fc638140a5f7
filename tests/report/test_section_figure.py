"""The figure of sections shows the rows of its table, depth downward, and claims no more."""

import xml.etree.ElementTree as ElementTree
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from click.testing import CliRunner

from toolbox.commands import tool_command
from toolbox.errors import LayerError, ParameterError
from toolbox.formats.picture_file import figure_of, picture_bytes
from toolbox.layers import Table
from toolbox.report.section_figure import draw_section

NAN = np.nan
ROWS = {
    "line": [1, 1, 1, 1, 1, 1],
    "distance_m": [0.0, 2.0, 10.0, 20.0, 30.0, 40.0],
    "depth_m": [NAN, 0.0, 1.5, 4.0, 3.0, 2.0],
    "depth_low_m": [NAN, 0.0, 1.0, 3.5, 2.0, 1.5],
    "depth_high_m": [NAN, 0.1, 2.0, 4.5, 4.0, 2.5],
    "support": [NAN, 1.0, 0.9, 0.3, 0.2, 0.8],
    "plants": [NAN, 0.0, 1.0, 1.0, 0.0, 0.0],
    "canopy_m": [NAN, NAN, 0.5, 2.0, NAN, NAN],
}


def section(**columns: Any) -> Table:
    frame = pd.DataFrame(ROWS | columns)
    return Table(frame.drop(columns=[name for name, value in columns.items() if value is None]))


def two_lines() -> Table:
    first, second = section().frame, section(line=[2] * 6, depth_m=ROWS["depth_m"]).frame
    return Table(pd.concat([first.assign(name="over the bar"), second.assign(name="$x_{")]))


def part(axes: Any, gid: str) -> Any:
    (found,) = [artist for artist in axes.get_children() if artist.get_gid() == gid]
    return found


def words(figure: Any) -> list[str]:
    return [text.get_text() for legend in figure.legends for text in legend.get_texts()]


def corners(filled: Any) -> np.ndarray:
    return np.vstack([path.vertices for path in filled.get_paths()])


@pytest.mark.parametrize(("unit", "foot"), [("m", 1.0), ("ft", 0.3048)])
def test_the_bed_is_that_of_the_table(unit: Any, foot: float) -> None:
    (axes,) = figure_of(draw_section(section(), unit=unit)).axes
    along, depth = part(axes, "bed").get_data()
    assert along == pytest.approx(np.array(ROWS["distance_m"]) / foot)
    assert depth == pytest.approx(np.array(ROWS["depth_m"]) / foot, nan_ok=True)
    low, high = axes.get_ylim()
    assert low > 4.5 / foot > 0 > high  # deep water is below
    assert axes.get_xlim() == pytest.approx((0, 40 / foot))
    assert axes.get_xlabel().startswith(f"distance along the line, {unit}\n(depths drawn ")
    assert axes.figure.get_supylabel() == f"depth below datum, {unit}"


def test_the_band_lies_between_its_ends() -> None:
    (axes,) = figure_of(draw_section(section())).axes
    drawn = corners(part(axes, "band"))
    for low, high, along in zip(
        ROWS["depth_low_m"][1:], ROWS["depth_high_m"][1:], ROWS["distance_m"][1:], strict=True
    ):
        at = drawn[drawn[:, 0] == along, 1]
        assert (at.min(), at.max()) == (low, high)


def test_plants_reach_from_the_bed_to_their_top() -> None:
    figure = figure_of(draw_section(section()))
    drawn = corners(part(figure.axes[0], "plants"))
    assert {tuple(corner) for corner in drawn} == {(10, 0.5), (10, 1.5), (20, 2.0), (20, 4.0)}
    assert "plants, to their top" in words(figure)


def test_plants_of_unknown_height_are_marked_on_the_bed() -> None:
    figure = figure_of(draw_section(section(canopy_m=None)))
    _, depth = part(figure.axes[0], "plants").get_data()
    assert depth == pytest.approx([NAN, NAN, 1.5, 4.0, NAN, NAN], nan_ok=True)
    assert "plants, of unknown height" in words(figure)


def test_bed_that_no_sounding_tells_is_dashed() -> None:
    figure = figure_of(draw_section(section()))
    _, depth = part(figure.axes[0], "guessed").get_data()
    assert depth == pytest.approx([NAN, NAN, NAN, 4.0, 3.0, NAN], nan_ok=True)
    assert "bed that no sounding tells" in words(figure)


def test_what_the_table_lacks_is_not_drawn() -> None:
    bare = section(**dict.fromkeys(["line", *list(ROWS)[3:]]))
    figure = figure_of(draw_section(bare))
    assert words(figure) == ["bed", "water level at datum", "outside the water"]
    wet = Table(bare.frame.iloc[1:])
    assert words(figure_of(draw_section(wet))) == ["bed", "water level at datum"]


def test_the_steepness_is_that_of_the_picture() -> None:
    picture = draw_section(section(), dpi=100)
    (axes,) = figure_of(picture).axes
    # derived: how many dots a metre is down, to how many it is across
    (left, bottom), (right, top) = axes.transData.transform([(0, 1), (1, 0)])
    told = float(axes.get_xlabel().split("drawn ")[1].split(" times")[0])
    assert told == pytest.approx((top - bottom) / (right - left), rel=0.06)


def test_each_line_has_a_panel_at_one_scale() -> None:
    first, second = figure_of(draw_section(two_lines())).axes
    assert [axes.get_title(loc="left") for axes in (first, second)] == ["over the bar", r"\$x_{"]
    assert first.get_ylim() == second.get_ylim()
    assert draw_section(two_lines()).height > draw_section(two_lines(), line=2).height
    (only,) = figure_of(draw_section(two_lines(), line=2)).axes
    assert only.get_title(loc="left") == r"\$x_{"


def test_casts_are_told_by_peg_and_mark() -> None:
    casts = section().frame.rename(columns={"line": "mark"}).assign(peg="P2", mark=3.0)
    (axes,) = figure_of(draw_section(Table(casts))).axes
    assert axes.get_title(loc="left") == "P2 to mark 3"
    assert axes.get_xlabel().startswith("distance from the peg, m\n")


@pytest.mark.parametrize("depth", [[0.0] * 6, [-2.0, -1, -0.5, -1, -1, -1], [NAN] * 5 + [1.0]])
@pytest.mark.parametrize("grey", [False, True])
def test_beds_of_any_kind_are_drawn(depth: list[float], grey: bool) -> None:
    (axes,) = figure_of(draw_section(section(depth_m=depth), grey=grey, dpi=50)).axes
    assert part(axes, "bed").get_ydata() == pytest.approx(depth, nan_ok=True)
    low, high = axes.get_ylim()
    assert low > high


def test_tables_that_do_not_fit_are_refused() -> None:
    with pytest.raises(LayerError, match=r"^the table has no column 'depth_m', only "):
        draw_section(section(depth_m=None))
    with pytest.raises(LayerError, match=r"^the section must have a row with a depth, got none$"):
        draw_section(section(depth_m=[NAN] * 6))
    with pytest.raises(ParameterError, match=r"^line must be the number of a line .*, got 9$"):
        draw_section(section(), line=9)
    many = Table(pd.concat([section(line=[n] * 6).frame for n in range(7)]))
    with pytest.raises(
        ParameterError, match=r"^line must name one .* than 6, got 7 lines and none"
    ):
        draw_section(many)


def test_nothing_leaves_the_figure() -> None:
    title = "<script>" + "W" * 300
    figure = figure_of(draw_section(two_lines(), title=title, width=80.0, dpi=100))
    renderer = figure.canvas.get_renderer()
    box = figure.bbox
    for axes in figure.axes:
        tight = axes.get_tightbbox(renderer)
        assert tight.x0 >= 0
        assert tight.x1 <= box.x1 + 1
    for text in figure.texts:
        extent = text.get_window_extent(renderer)
        assert (extent.x0 >= 0, extent.x1 <= box.x1, extent.y1 <= box.y1) == (True, True, True)


def test_names_are_text_in_the_svg() -> None:
    root = ElementTree.fromstring(picture_bytes(draw_section(two_lines(), title="</svg>"), "svg"))
    texts = [text.text for text in root.iter("{http://www.w3.org/2000/svg}text")]
    assert {"over the bar", "$x_{", "</svg>", "depth below datum, m"} <= set(texts)


def test_the_command_prints_nothing_and_writes_the_file(tmp_path: Path) -> None:
    table, out = tmp_path / "section.csv", tmp_path / "section.svg"
    two_lines().frame.to_csv(table, index=False)
    arguments = [str(table), "--line", "2", "--unit", "ft", "--width", "10 cm", "--out", str(out)]
    done = CliRunner().invoke(tool_command(draw_section), arguments)
    assert (done.exit_code, done.output) == (0, "")
    root = ElementTree.fromstring(out.read_bytes())
    assert root.get("width") == f"{100 / 25.4 * 72:.6f}pt"
    done = CliRunner().invoke(
        tool_command(draw_section), [str(table), "--out", str(tmp_path / "section.jpg")]
    )
    assert str(done.exception) == "a picture is written as .png, .svg, .pdf, got 'section.jpg'"
