"""The style that figures share: told apart without colour, in either unit, whatever the names."""

import itertools
import warnings
from typing import Any

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.colors import to_rgb
from matplotlib.figure import Figure

from toolbox.formats.picture_file import figure_of
from toolbox.report import figure_style
from toolbox.report.coverage_figure import _far
from toolbox.report.figure_style import LINES, Look, fitted, legend_below, picture

# Vienot, Brettel and Mollon 1999, Color Research and Application 24(4), 243-252: what a deuteranope
# sees of linear RGB (matrix from memory, of their equations for a monitor)
DEUTERANOPE = np.array([[0.29275, 0.70725, 0.0], [0.29275, 0.70725, 0.0], [-0.02234, 0.02234, 1.0]])
LUMINANCE = np.array([0.2126, 0.7152, 0.0722])  # ITU-R BT.709, of linear RGB


def linear(colours: Any) -> np.ndarray:
    """Undo the curve of sRGB (IEC 61966-2-1)."""
    values = np.atleast_2d(colours)[:, :3]
    return np.where(values <= 0.04045, values / 12.92, ((values + 0.055) / 1.055) ** 2.4)


def lightness(seen: np.ndarray) -> np.ndarray:
    """CIE 1976 L* (0 to 100) of linear RGB."""
    share = np.clip(seen @ LUMINANCE, 0, 1)
    return np.where(share > 0.008856, 116 * np.cbrt(share) - 16, 903.3 * share)


def test_curves_differ_in_dashes_and_to_the_colour_blind_in_colour() -> None:
    for grey in (False, True):
        looks = [Look(grey=grey).line(number) for number in range(len(LINES))]
        assert len({look["linestyle"] for look in looks}) == len(LINES)
        assert len({look["color"] for look in looks}) == len(LINES)
    seen = np.clip(linear([to_rgb(colour) for colour, _ in LINES[:3]]) @ DEUTERANOPE.T, 0, 1)
    apart = [np.abs(a - b).max() for a, b in itertools.combinations(seen, 2)]
    assert min(apart) > 0.1


@pytest.mark.parametrize("grey", [False, True])
@pytest.mark.parametrize("ramp", ["depth", "distance"])
def test_ramps_darken_evenly_also_to_the_colour_blind(ramp: str, grey: bool) -> None:
    look = Look(grey=grey)
    colours = (look.ramp(_far) if ramp == "distance" else look.ramp())(np.linspace(0, 1, 40))
    for seen in (linear(colours), np.clip(linear(colours) @ DEUTERANOPE.T, 0, 1)):
        steps = np.diff(lightness(seen))
        assert (steps < 0.15).all()
        assert lightness(seen)[0] - lightness(seen)[-1] > 50


def test_greys_have_no_colour() -> None:
    look = Look(grey=True)
    used = [look.colour(role) for role in ("water", "ground", "band", "plants", "bars", "land")]
    used += [look.line(number)["color"] for number in range(4)]
    for colour in used:
        assert len(set(to_rgb(colour))) == 1
    assert np.ptp(look.ramp()(np.linspace(0, 1, 20))[:, :3], axis=1).max() < 0.01


def test_lengths_are_in_the_unit() -> None:
    metres = np.array([0.0, 3.048, -0.3048, np.nan])
    # NIST Handbook 44 (2024), appendix C: the international foot is 0.3048 m
    assert Look("ft").length(metres)[:3] == pytest.approx([0, 10, -1])
    assert Look("m").length(metres)[:3] == pytest.approx([0, 3.048, -0.3048])
    assert np.isnan(Look("ft").length(metres)[3])


@pytest.mark.parametrize("text", ["Llyn " * 60, "W" * 300, "\u9752" * 300, "$_{" * 100, "a b"])
@pytest.mark.parametrize("room", [100.0, 400.0])
def test_text_is_broken_to_fit(text: str, room: float) -> None:
    lines = fitted(text, room, 10.5).split("\n")
    assert 1 <= len(lines) <= 2
    canvas = FigureCanvasAgg(Figure(dpi=200))
    for line in lines:
        with warnings.catch_warnings():
            warnings.filterwarnings("ignore", "Glyph .* missing from font")
            drawn = canvas.figure.text(0, 0, line, fontsize=10.5)
            extent = drawn.get_window_extent(canvas.get_renderer())
        assert extent.width * 72 / 200 <= room * 1.03  # letters are moved to whole dots
    assert lines[0].replace("\\$", "$").startswith(text[0])


@pytest.mark.parametrize("count", [1, 2, 5, 9])
@pytest.mark.parametrize("width", [84.0, 170.0])
def test_a_legend_stays_within_the_figure(count: int, width: float) -> None:
    def draw(figure: Any) -> None:
        axes = figure.subplots()
        names = [f"{'bed of some name' * (1 + number % 2)} {number}" for number in range(count)]
        legend_below(figure, [axes.plot([0, 1], label=name)[0] for name in names])

    made = picture(draw, what="Test", title="", width=width, height=120, dpi=100)
    figure = figure_of(made)
    figure.draw_without_rendering()
    (legend,) = figure.legends
    box = legend.get_window_extent()
    assert box.x0 >= 0
    assert box.x1 <= figure.bbox.x1
    assert box.y0 >= 0
    assert len(legend.get_texts()) == count


def test_without_signs_the_words_stand_alone() -> None:
    def draw(figure: Any) -> None:
        figure.subplots()
        legend_below(figure, [], words="5 $ and 6 $")

    figure = figure_of(picture(draw, what="Test", title="", width=100, height=80, dpi=100))
    assert figure.legends == []
    assert figure.get_supxlabel() == r"5 \$ and 6 \$"


def test_a_picture_is_titled_by_kind_and_name() -> None:
    made = picture(print, what="Section", title=" The\nmere ", width=100, height=80, dpi=100)
    assert made.title == "Section: The mere"
    assert picture(print, what="Section", title=" ", width=9, height=9, dpi=9).title == "Section"
    assert figure_style.name_of("a$\x1b" * 30) == r"a\$ a\$ a\$ a\$ a\$ a\$ a\$ a\$ a\$…"
