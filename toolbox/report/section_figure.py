"""Section figure: the bed along lines, with its band and its plants, as one would cut it."""

from dataclasses import dataclass
from numbers import Real
from typing import TYPE_CHECKING, Annotated, Any

import numpy as np

from toolbox.bed.uncertainty import LEAST_SUPPORT
from toolbox.errors import LayerError, ParameterError
from toolbox.layers import Picture, Table
from toolbox.report.drawing import INK, LAND, PAPER
from toolbox.report.figure_style import (
    FULL_WIDTH,
    Dots,
    Height,
    Look,
    Unit,
    Width,
    dress,
    fitted,
    head,
    legend_below,
    picture,
    points_across,
    settle,
)
from toolbox.report.text import one_line
from toolbox.tool import Range, tool

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["draw_section"]

_MOST = 6  # panels above one another
_PANEL, _AROUND = 46.0, 30.0  # height of a panel and of what surrounds them, mm
_BELOW = 1.12  # of the greatest depth, that is shown
_TALLEST = 240.0  # of a figure that is to share an A4 page with its caption, mm
_LEAST = 0.1  # shown of depth and of distance, m
_BAND = ("depth_low_m", "depth_high_m")
_KEYS = ("line", "mark")


@tool("Figure of sections")
def draw_section(
    section: Table,
    *,
    line: Annotated[int, Range("", min=1)] | None = None,
    title: str = "",
    unit: Unit = "m",
    width: Width = FULL_WIDTH,
    height: Height | None = None,
    dpi: Dots = 300,
    grey: bool = False,
) -> Picture:
    """Draw the bed along lines: water above, ground below, the band of the depth, and plants.

    Parameters
    ----------
    section : Table
        Of `bed_section` or `cast_profile`: ``distance_m`` and ``depth_m`` (positive down), and
        what more there is of ``depth_low_m, depth_high_m, support, plants, canopy_m``.
    line : int, optional
        The line to draw, by its number, or the mark; all if left out, six at most.
    title : str
        Above the figure, taken literally.
    unit : str
        Of depths and distances: m, or ft of 0.3048 m.
    width : float
        Of the figure on paper.
    height : float, optional
        Of the figure on paper; if left out, as the number of lines asks for.
    dpi : int
        Dots to an inch of a PNG.
    grey : bool
        Greys instead of colours.

    Returns
    -------
    Picture
        A panel a line, all at one scale, with depth downward.

    Raises
    ------
    LayerError
        If a column is missing, or no row has a depth.
    ParameterError
        If there is no such line, or there are more than six and none is named.

    Notes
    -----
    Depths are drawn much steeper than they are; the figure says by how much. Where support is
    below 0.5 the bed is dashed: no sounding tells it.
    """
    look = Look(unit, grey)
    cuts = _cuts(section, line, look)

    def draw(figure: Any) -> None:
        panels = figure.subplots(len(cuts), 1, sharex=True, sharey=True, squeeze=False)[:, 0]
        bottom = max(_BELOW * max(cut.deepest for cut in cuts), float(look.length(_LEAST)))
        signs: dict[str, Any] = {}
        for axes, cut in zip(panels, cuts, strict=True):
            signs |= _draw_cut(axes, cut, bottom, look)
            if cut.name:
                axes.set_title(
                    fitted(cut.name, 0.8 * points_across(figure), 8.5, most=1), loc="left"
                )
        panels[0].set_xlim(
            0, max(float(look.length(_LEAST)), *(float(cut.distance[-1]) for cut in cuts))
        )
        top = min(0.0, *(float(np.nanmin(cut.depth)) for cut in cuts))
        panels[0].set_ylim(bottom, top - 0.06 * (bottom - top))
        start = "from the peg" if "peg" in section.frame else "along the line"
        along, room = f"distance {start}, {unit}", 0.8 * points_across(figure)
        panels[-1].set_xlabel(f"{along}\n{_told(10, room)}")  # takes the room of what is told
        figure.supylabel(f"depth below datum, {unit}", fontsize=8, color=INK)
        head(figure, title)
        legend_below(figure, list(signs.values()), list(signs))
        settle(figure)
        panels[-1].set_xlabel(f"{along}\n{_told(_steepness(panels[0]), room)}")

    tall = height or min(_AROUND + _PANEL * len(cuts), _TALLEST)
    return picture(draw, what="Section of the bed", title=title, width=width, height=tall, dpi=dpi)


@dataclass(frozen=True, eq=False)
class _Cut:
    """One line, in the unit of the figure; columns that are missing are None."""

    name: str
    distance: np.ndarray
    depth: np.ndarray
    band: tuple[np.ndarray, np.ndarray] | None
    guessed: np.ndarray
    plants: np.ndarray
    canopy: np.ndarray

    @property
    def deepest(self) -> float:
        """Greatest depth that is drawn."""
        drawn = (self.depth, *(self.band or ()))
        return max(float(np.nanmax(depth)) for depth in drawn if np.isfinite(depth).any())


def _cuts(section: Table, line: int | None, look: Look) -> list[_Cut]:
    """Part a section into its lines, those that meet the water."""
    frame = section.frame
    for name in ("distance_m", "depth_m"):
        section.column(name)
    key = next((key for key in _KEYS if key in frame), None)
    groups = [(1, frame)] if key is None else list(frame.groupby(key, sort=False))
    if line is not None:
        groups = [(number, rows) for number, rows in groups if _spelled(number) == str(line)]
        if not groups:
            raise ParameterError(f"line must be the number of a line of the section, got {line}")
    wet = [(number, rows) for number, rows in groups if rows["depth_m"].notna().any()]
    if not wet:
        raise LayerError("the section must have a row with a depth, got none")
    if len(wet) > _MOST:
        raise ParameterError(
            f"line must name one where there are more than {_MOST}, got {len(wet)} lines and none"
        )
    return [_cut(_name(key, number, rows), Table(rows), look) for number, rows in wet]


def _name(key: str | None, number: Any, rows: "pd.DataFrame") -> str:
    """Name a panel as the table names its line."""
    if key == "mark":
        peg = f"{one_line(str(rows['peg'].iloc[0]))} to " if "peg" in rows else ""
        return f"{peg}mark {_spelled(number)}"
    given = rows["name"].iloc[0] if "name" in rows else None
    if isinstance(given, str) and one_line(given):
        return given
    return "" if key is None else f"line {_spelled(number)}"


def _spelled(number: object) -> str:
    """Write the number of a line as a person does, or what stands in its place."""
    return f"{number:g}" if isinstance(number, Real) else one_line(str(number))


def _cut(name: str, rows: Table, look: Look) -> _Cut:
    def column(name: str, missing: float) -> np.ndarray:
        return rows.column(name) if name in rows.frame else np.full(len(rows.frame), missing)

    depth = look.length(rows.column("depth_m"))
    banded = all(end in rows.frame and rows.frame[end].notna().any() for end in _BAND)
    return _Cut(
        name,
        look.length(rows.column("distance_m")),
        depth,
        (look.length(rows.column(_BAND[0])), look.length(rows.column(_BAND[1])))
        if banded
        else None,
        column("support", 1.0) < LEAST_SUPPORT,
        column("plants", 0.0) > 0,
        look.length(column("canopy_m", np.nan)),
    )


def _draw_cut(axes: Any, cut: _Cut, bottom: float, look: Look) -> dict[str, Any]:
    """Draw one line and return its signs by name."""
    along, depth = cut.distance, cut.depth
    signs: dict[str, Any] = {}
    dress(axes)
    wet = np.isfinite(depth)
    axes.fill_between(along, np.minimum(depth, 0), depth, color=look.colour("water"), lw=0)
    axes.fill_between(along, depth, bottom, color=look.colour("ground"), lw=0)
    signs |= _draw_land(axes, along, wet, bottom)
    signs |= _draw_plants(axes, cut, look)
    (bed,) = axes.plot(along, depth, color=INK, lw=1.3, gid="bed")
    first: dict[str, Any] = {"bed": bed}
    if cut.band is not None:
        first["90 % band of the depth"] = axes.fill_between(
            along, *cut.band, facecolor=look.colour("band"), alpha=0.45, lw=0, gid="band"
        )
    if (cut.guessed & wet).any():
        guess = np.where(cut.guessed, depth, np.nan)
        axes.plot(along, guess, color=PAPER, lw=1.0, ls=(0, (2, 2.5)), gid="guessed")
        (sign,) = axes.plot([], [], color=INK, lw=1.3, ls=(0, (2, 2)))
        first["bed that no sounding tells"] = sign
    axes.plot(along, np.where(wet, 0.0, np.nan), color=look.line(0)["color"], lw=0.8, gid="datum")
    (first["water level at datum"],) = axes.plot([], [], color=look.line(0)["color"], lw=0.8)
    return first | signs


def _draw_land(axes: Any, along: np.ndarray, wet: np.ndarray, bottom: float) -> dict[str, Any]:
    """Fill what lies outside the water, of which nothing is known but that it is there."""
    if wet.all():
        return {}
    at = np.flatnonzero(wet)
    ends = np.r_[along[0], along[at], along[-1]]
    joined = np.r_[at[0] == 0, np.diff(at) == 1, at[-1] == len(along) - 1]
    sign = None
    for begin, end in zip(ends[:-1][~joined], ends[1:][~joined], strict=True):
        sign = axes.fill_between(
            [begin, end], 0, bottom, facecolor=LAND, edgecolor=INK, hatch="////", lw=0, alpha=0.55
        )
    return {} if sign is None else {"outside the water": sign}


def _draw_plants(axes: Any, cut: _Cut, look: Look) -> dict[str, Any]:
    """Fill plants to their top, or where that is not known mark the bed below them."""
    over, colour = cut.plants & np.isfinite(cut.depth), look.colour("plants")
    known = over & np.isfinite(cut.canopy)
    if known.any():
        drawn = axes.fill_between(
            *(cut.distance, cut.canopy, cut.depth),
            where=known,
            facecolor=colour,
            edgecolor=INK,
            hatch="....",
            lw=0,
            gid="plants",
        )
        return {"plants, to their top": drawn}
    if over.any():
        strip = np.where(over, cut.depth, np.nan)
        (line,) = axes.plot(cut.distance, strip, color=colour, lw=5, alpha=0.9, gid="plants")
        return {"plants, of unknown height": line}
    return {}


def _steepness(axes: Any) -> float:
    """Return by how much depths are drawn larger than distances."""
    box = axes.get_window_extent()
    (left, right), (low, high) = axes.get_xlim(), axes.get_ylim()
    return float((box.height / abs(high - low)) / (box.width / abs(right - left)))


def _told(times: float, room: float) -> str:
    return fitted(f"(depths drawn {times:.2g} times as large as distances)", room, 8)
