"""Style of figures: colours, letters, units and sizes that all of them share.

Colours are those of Okabe and Ito (2008, Color Universal Design), told apart by the colour-blind;
what differs in colour differs in line or hatch too, so that a grey print says the same.
"""

import warnings
from collections.abc import Callable
from dataclasses import dataclass
from typing import Annotated, Any, Literal

import numpy as np

from toolbox.layers import Picture
from toolbox.report.drawing import INK, LAND, PAPER, depth_ramp, settle
from toolbox.report.text import one_line, short, title_lines
from toolbox.tool import Range
from toolbox.units import convert

__all__ = [
    "FULL_WIDTH",
    "GRID",
    "LINES",
    "Dots",
    "Height",
    "Look",
    "Unit",
    "Width",
    "date_axis",
    "dress",
    "fitted",
    "head",
    "legend_below",
    "name_of",
    "picture",
    "points_across",
    "settle",
]

Unit = Literal["m", "ft"]
Width = Annotated[float, Range("mm", min=80, max=1000)]
Height = Annotated[float, Range("mm", min=60, max=1000)]
Dots = Annotated[int, Range("", min=50, max=1200)]

FULL_WIDTH = 170.0
"""Of the text on an A4 page and of two columns of a journal, mm (common practice, no source)."""

LINES = (("#0072b2", "-"), ("#d55e00", "--"), ("#009e73", "-."), ("#cc79a7", ":"))
"""Colour and dashes of curves that are compared."""

GRID = "#d5dbde"

_GREY_LINES = (("#000000", "-"), ("#555555", "--"), ("#333333", "-."), ("#777777", ":"))
_COLOURS = {
    "water": ("#dcebf5", "#f3f3f3"),
    "ground": ("#d9cbb0", "#d2d2d2"),
    "band": ("#8a6d3b", "#7a7a7a"),
    "plants": ("#66a98a", "#a8a8a8"),
    "bars": ("#a9c9e2", "#cfcfcf"),
    "spread": ("#e5ecef", "#ececec"),
    "fault": ("#d55e00", "#000000"),
    "land": (LAND, "#e4e4e4"),
}
_PALEST, _DARKEST = 0.04, 0.82  # of a ramp of greys: paper and ink stay apart from both ends
_TITLE_POINTS, _LEGEND_POINTS, _WORDS_POINTS = 10.5, 7.0, 6.0
_SIGN = 2.6 + 0.8 + 2.0  # letters' sizes that a sign takes, with the gaps around it
_LETTERS: Any = {
    "font.size": 8,
    "axes.titlesize": 8.5,
    "axes.labelsize": 8,
    "xtick.labelsize": 7,
    "ytick.labelsize": 7,
    "legend.fontsize": _LEGEND_POINTS,
    "axes.linewidth": 0.6,
    "axes.edgecolor": INK,
    "axes.labelcolor": INK,
    "axes.titlecolor": INK,
    "text.color": INK,
    "xtick.color": INK,
    "ytick.color": INK,
    "hatch.linewidth": 0.5,
    "figure.facecolor": PAPER,
}
_LONGEST = 120  # characters a line is tried with
_NAME = 28


@dataclass(frozen=True)
class Look:
    """What a person chose of a figure's looks: whether it is grey, and the unit of its lengths.

    Parameters
    ----------
    unit : str
        ``"m"``, or ``"ft"`` (0.3048 m) with acres and acre-feet of it.
    grey : bool
        Greys instead of colours.
    """

    unit: Unit = "m"
    grey: bool = False

    def length(self, metres: np.ndarray | float) -> np.ndarray:
        """Return lengths in the unit."""
        return np.asarray(convert(np.asarray(metres, float), "m", self.unit))

    def colour(self, role: str) -> str:
        """Return the colour of a part of a figure."""
        return _COLOURS[role][self.grey]

    def line(self, number: int) -> dict[str, Any]:
        """Return colour and dashes of a curve by its number."""
        colour, dashes = (_GREY_LINES if self.grey else LINES)[number]
        return {"color": colour, "linestyle": dashes}

    def ramp(self, colours: Callable[[], Any] = depth_ramp) -> Any:
        """Return a ramp from pale to dark, or greys in its place."""
        if not self.grey:
            return colours()
        import matplotlib
        from matplotlib.colors import ListedColormap

        shades = np.linspace(_PALEST, _DARKEST, 256)
        return ListedColormap(matplotlib.colormaps["Greys"](shades), name="greys")


def picture(
    draw: Callable[[Any], None],
    *,
    what: str,
    title: str,
    width: float,
    height: float,
    dpi: int,
    notes: tuple[str, ...] = (),
) -> Picture:
    """Make a picture in this style.

    Parameters
    ----------
    draw : callable
        Given the figure.
    what : str
        Kind of figure, in a few words.
    title : str
        What a person called it, taken literally.
    width, height, dpi, notes
        As of a picture.

    Returns
    -------
    Picture
        Titled by kind and name.
    """

    def styled(figure: Any) -> None:
        import matplotlib

        with matplotlib.rc_context(_LETTERS):
            figure.set_facecolor(PAPER)
            figure.get_layout_engine().set(w_pad=0.06, h_pad=0.06)
            draw(figure)

    name = short(title, 200)
    told = f"{what}: {name}" if name else what
    return Picture(styled, width, height, dpi, told, notes)


def fitted(text: str, room: float, size: float, *, most: int = 2) -> str:
    """Break a text that is taken literally into lines that fit.

    Parameters
    ----------
    text : str
        Anything a person typed.
    room : float
        Width there is, points.
    size : float
        Of the letters, points.
    most : int
        Lines; what is longer ends in an ellipsis.

    Returns
    -------
    str
        Dollar signs escaped.
    """
    for width in range(_LONGEST, 3, -2):
        lines = title_lines(text, width=width, most=most)
        if all(_measured(line, size) <= room for line in lines.split("\n")):
            break
    return lines


def _measured(line: str, size: float) -> float:
    """Return the width of a line of text, points."""
    from matplotlib.font_manager import FontProperties
    from matplotlib.textpath import text_to_path

    if not line:
        return 0.0
    letters = FontProperties(size=size)
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", "Glyph .* missing from font")
        width, *_ = text_to_path.get_text_width_height_descent(line, letters, ismath=False)
    return float(width)


def head(figure: Any, title: str) -> None:
    """Write the title above all, from the left."""
    if one_line(title):
        room = points_across(figure) - 12
        lines = fitted(title, room, _TITLE_POINTS)
        figure.suptitle(lines, x=0.012, ha="left", fontsize=_TITLE_POINTS, color=INK)


def points_across(figure: Any) -> float:
    """Return the width of a figure, points."""
    return float(figure.get_figwidth() * 72)


def dress(axes: Any) -> None:
    """Give axes their grid and thin ticks, behind what is drawn."""
    axes.grid(color=GRID, linewidth=0.5)
    axes.set_axisbelow(True)
    axes.tick_params(width=0.6, length=3)


def date_axis(axes: Any) -> None:
    """Write days, months and years below axes, each once."""
    import matplotlib.dates

    dates: Any = matplotlib.dates
    locator = dates.AutoDateLocator()
    axes.xaxis.set_major_locator(locator)
    axes.xaxis.set_major_formatter(dates.ConciseDateFormatter(locator))
    axes.xaxis.get_offset_text().set(fontsize=7, color=INK)


def legend_below(
    figure: Any, handles: list[Any], names: list[str] | None = None, *, words: str = ""
) -> None:
    """Explain the signs below all, in as many columns as there is room for.

    Parameters
    ----------
    figure
        To write on.
    handles : list
        Artists or tuples of them.
    names : list of str, optional
        Their names; by default the labels of the artists.
    words : str
        Small, above the signs; taken literally.
    """
    words = fitted(words, 0.94 * points_across(figure), _WORDS_POINTS, most=5)
    names = [handle.get_label() for handle in handles] if names is None else names
    if not handles:
        figure.supxlabel(words, fontsize=_WORDS_POINTS)
        return
    room = points_across(figure) - 12
    widths = [_measured(name, _LEGEND_POINTS) + _SIGN * _LEGEND_POINTS for name in names]
    figure.legend(
        handles,
        names,
        loc="outside lower center",
        ncols=_columns(widths, room),
        frameon=False,
        handlelength=2.6,
        labelcolor=INK,
        title=words or None,
        title_fontsize=_WORDS_POINTS,
    )


def _columns(widths: list[float], room: float) -> int:
    """Return in how many columns entries of these widths fit beside one another."""
    for count in range(len(widths), 1, -1):
        columns = np.array_split(widths, count)  # filled column by column, as a legend is
        if sum(float(column.max()) for column in columns) <= room:
            return count
    return 1


def name_of(text: object) -> str:
    """Return a name that a person gave, short and taken literally."""
    return title_lines(short(str(text), _NAME), width=_NAME, most=1)
