"""Crossings figure: by how much depths differ where lines of soundings cross."""

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from toolbox.errors import LayerError
from toolbox.layers import Picture, Table
from toolbox.report.drawing import INK
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
from toolbox.tool import tool
from toolbox.units import round_number

__all__ = ["draw_crossings"]

_HEIGHT = 85.0
_MOST_BARS = 60
_PAD = 0.03  # of what is shown, left free at its ends
_THINNEST, _RESOLVED = 0.02, 0.01  # a bar: to the greatest difference; as soundings are read
_FEW = 3  # differences below which there is no spread to speak of
_CURVE = 200  # points of the normal curve


@tool("Figure of differences at crossings")
def draw_crossings(
    crossings: Table,
    *,
    title: str = "",
    unit: Unit = "m",
    width: Width = FULL_WIDTH,
    height: Height | None = None,
    dpi: Dots = 300,
    grey: bool = False,
) -> Picture:
    """Draw how often depths differ by how much where lines cross.

    Parameters
    ----------
    crossings : Table
        Of `find_crossings`: a column ``difference``, depth of one line less that of the other, m.
    title : str
        Above the figure, taken literally.
    unit : str
        Of the differences: m, or ft of 0.3048 m.
    width : float
        Of the figure on paper.
    height : float, optional
        Of the figure on paper; 85 mm if left out.
    dpi : int
        Dots to an inch of a PNG.
    grey : bool
        Greys instead of colours.

    Returns
    -------
    Picture
        Bars, the mean, the standard deviation to either side of it, and the limits about zero
        within which 95 % of the differences lie.

    Raises
    ------
    LayerError
        If the column is missing, or holds no number.

    Notes
    -----
    The width of bars follows Freedman and Diaconis, rounded to 1, 2 or 5 times a power of ten; one
    bar begins at zero. The 95 % are counted (the 95th percentile of the absolute difference), not
    taken from a normal curve; the curve drawn has the mean and standard deviation (n - 1) of the
    differences, and shows how far they are from normal.

    References
    ----------
    Freedman, D. and Diaconis, P. 1981, On the histogram as a density estimator, Z.
    Wahrscheinlichkeitstheorie verw. Gebiete 57, 453-476, doi:10.1007/BF01025868.
    """
    look = Look(unit, grey)
    if "difference" not in crossings.frame:
        raise LayerError(
            "crossings must have a column 'difference', as find-crossings makes it of soundings, "
            f"got {', '.join(map(str, crossings.frame))}; the crossings.csv of a survey holds "
            "only what the differences come to"
        )
    column = crossings.column("difference")
    differences = look.length(column[np.isfinite(column)])
    if not len(differences):
        raise LayerError("crossings must hold at least one difference, got none")
    spread = _Spread.of(differences)

    def draw(figure: Any) -> None:
        axes = figure.subplots()
        dress(axes)
        handles = _draw_bars(axes, differences, spread, look)
        told = f"difference in depth between crossing lines, {unit}"
        axes.set_xlabel(fitted(told, 0.9 * points_across(figure), 8))
        axes.set_ylabel("crossings")
        axes.yaxis.get_major_locator().set_params(integer=True)
        ends = np.r_[spread.edges, -spread.limit, spread.limit]
        pad = _PAD * float(np.ptp(ends))
        axes.set_xlim(ends.min() - pad, ends.max() + pad)
        head(figure, title)
        legend_below(figure, handles)
        settle(figure)

    return picture(
        draw,
        what="Differences at crossings",
        title=title,
        width=width,
        height=height or _HEIGHT,
        dpi=dpi,
    )


@dataclass(frozen=True, eq=False)
class _Spread:
    """Mean, standard deviation (NaN of too few), 95 % limit, and the edges of the bars."""

    mean: float
    sd: float
    limit: float
    edges: np.ndarray

    @classmethod
    def of(cls, differences: np.ndarray) -> "_Spread":
        """Sum up differences."""
        some = len(differences) >= _FEW
        return cls(
            float(differences.mean()),
            float(differences.std(ddof=1)) if some else math.nan,
            float(np.percentile(np.abs(differences), 95)),
            _edges(differences),
        )


def _edges(values: np.ndarray) -> np.ndarray:
    """Edges of bars of a round width, one of them at zero."""
    low, high = float(values.min()), float(values.max())
    quartiles = np.percentile(values, [25, 75])
    wide = 2 * float(np.diff(quartiles)[0]) / len(values) ** (1 / 3)
    least = max((high - low) / _MOST_BARS, _THINNEST * max(abs(low), abs(high)), _RESOLVED)
    width = round_number(max(wide, least), up=wide <= least)
    first, last = math.floor(low / width), math.floor(high / width) + 1
    return np.arange(first, last + 1) * width


def _draw_bars(axes: Any, differences: np.ndarray, spread: _Spread, look: Look) -> list[Any]:
    """Draw bars and what sums them up; return the signs."""
    unit, (colour, accent) = look.unit, (look.line(0)["color"], look.line(1)["color"])
    counts, *_ = axes.hist(
        differences, spread.edges, color=look.colour("bars"), ec=INK, lw=0.5, zorder=2
    )
    axes.patches[0].set_label(_count(len(differences)))
    name = f"mean, {_told(spread.mean)} {unit}"
    mean = axes.axvline(spread.mean, color=colour, lw=1.4, zorder=3, label=name)
    handles = [axes.patches[0], mean]
    if math.isfinite(spread.sd) and spread.sd > 0:
        ends = spread.mean - spread.sd, spread.mean + spread.sd
        name = f"within one standard deviation, {_size(spread.sd)} {unit}"
        handles.append(axes.axvspan(*ends, color=look.colour("spread"), lw=0, zorder=1, label=name))
        handles += _draw_normal(axes, spread, len(differences), colour)
    for sign in (-1, 1):
        line = axes.axvline(sign * spread.limit, color=accent, lw=1.2, ls="--", zorder=3)
    line.set_label(f"95 % lie within \u00b1{_size(spread.limit)} {unit}")
    axes.set_ylim(0, 1.08 * max(counts.max(), 1))
    return [*handles, line]


def _draw_normal(axes: Any, spread: _Spread, count: int, colour: str) -> list[Any]:
    """Draw the bars that normal differences would give, as a curve."""
    at = spread.mean + spread.sd * np.linspace(-4, 4, _CURVE)
    share = np.exp(-0.5 * ((at - spread.mean) / spread.sd) ** 2) / math.sqrt(2 * math.pi)
    tall = count * float(np.diff(spread.edges)[0]) / spread.sd * share
    name = "normal curve of that mean and deviation"
    return list(axes.plot(at, tall, color=colour, lw=1.0, ls=":", zorder=3, label=name))


def _count(number: int) -> str:
    return f"{number:,} crossing" + "s" * (number != 1)


def _size(value: float) -> str:
    """Write a size as a sounding is told: centimetres, finer where there is less."""
    return f"{value:.2f}" if value >= 0.1 else f"{value:.2g}"


def _told(value: float) -> str:
    return f"{value:+.2f}" if abs(value) >= 0.1 else f"{value:+.2g}"
