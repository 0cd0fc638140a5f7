"""Hypsographic curves: how much area and how much water there is at each depth."""

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
from toolbox.units import convert

__all__ = ["draw_hypsography"]

_HEIGHT = 95.0
_MOST_DOTS = 60  # rows up to which each is marked
_AREAS = ((0.0, "m^2", "m\u00b2"), (1e4, "hectare", "ha"), (1e8, "km^2", "km\u00b2"))
_VOLUMES = ((0.0, 1.0, "m\u00b3"), (1e4, 1e3, "1000 m\u00b3"), (1e7, 1e6, "million m\u00b3"))
"""From what size each unit is used."""


@tool("Figure of hypsographic curves")
def draw_hypsography(
    hypsography: Table,
    *,
    title: str = "",
    unit: Unit = "m",
    width: Width = FULL_WIDTH,
    height: Height | None = None,
    dpi: Dots = 300,
    grey: bool = False,
) -> Picture:
    """Draw the area at each depth and the volume below it, with their bands.

    Parameters
    ----------
    hypsography : Table
        ``depth_m`` (positive down), ``area_m2, volume_below_m3``, and what more there is of
        ``area_low_m2, area_high_m2, volume_below_low_m3, volume_below_high_m3, area_share,
        volume_share``.
    title : str
        Above the figure, taken literally.
    unit : str
        Of depths: m, or ft of 0.3048 m with acres and acre-feet.
    width : float
        Of the figure on paper.
    height : float, optional
        Of the figure on paper; 95 mm if left out.
    dpi : int
        Dots to an inch of a PNG.
    grey : bool
        Greys instead of colours.

    Returns
    -------
    Picture
        Two curves side by side over one axis of depths, downward; below each the figures, above it
        their share of the whole, where the table has it.

    Raises
    ------
    LayerError
        If a column is missing, or the table has fewer than two rows with all three.
    """
    look = Look(unit, grey)
    curves = (_area(hypsography, look), _volume(hypsography, look))
    depth = look.length(hypsography.column("depth_m"))
    if (np.isfinite(depth) & np.all([np.isfinite(c.values) for c in curves], axis=0)).sum() < 2:
        raise LayerError("the hypsographic table must have at least two rows with all figures")

    def draw(figure: Any) -> None:
        signs: dict[str, Any] = {}
        panels = figure.subplots(1, 2, sharey=True)
        for number, (axes, curve) in enumerate(zip(panels, curves, strict=True)):
            signs |= _draw_curve(
                axes,
                depth,
                curve,
                look.line(number) | {"linestyle": "-"},
                0.4 * points_across(figure),
            )
        top, bottom = float(np.nanmin(depth)), float(np.nanmax(depth))
        panels[0].set_ylim(bottom + 0.02 * (bottom - top), min(top, 0.0))
        panels[0].set_ylabel(f"depth below datum, {unit}")
        head(figure, title)
        legend_below(figure, list(signs.values()), list(signs))
        settle(figure)

    return picture(
        draw,
        what="Hypsographic curves",
        title=title,
        width=width,
        height=height or _HEIGHT,
        dpi=dpi,
    )


@dataclass(frozen=True, eq=False)
class _Curve:
    """One figure by depth, in the unit it is drawn in; `whole` is what a share of 1 stands for."""

    name: str
    share: str
    values: np.ndarray
    band: tuple[np.ndarray, np.ndarray] | None
    whole: float | None


def _area(table: Table, look: Look) -> _Curve:
    area = table.column("area_m2")
    unit, told = ("acre", "acres") if look.unit == "ft" else _chosen(_AREAS, area)
    factor = float(convert(1.0, "m^2", unit))
    return _curve(table, "area", "m2", factor, f"area at this depth, {told}")


def _volume(table: Table, look: Look) -> _Curve:
    volume = table.column("volume_below_m3")
    if look.unit == "ft":
        factor, told = float(convert(1.0, "m^3", "acre_foot")), "acre-feet"
    else:
        divisor, told = _chosen(_VOLUMES, volume)
        factor = 1 / divisor
    return _curve(table, "volume_below", "m3", factor, f"volume below this depth, {told}")


def _chosen(units: tuple[tuple[float, Any, str], ...], values: np.ndarray) -> tuple[Any, str]:
    """Return the greatest unit that fits the greatest value."""
    most = max(map(float, values[np.isfinite(values)]), default=0.0)
    fitting = [(unit, told) for least, unit, told in units if most >= least]
    return fitting[-1] if fitting else units[0][1:]


def _curve(table: Table, stem: str, unit: str, factor: float, name: str) -> _Curve:
    values = table.column(f"{stem}_{unit}")
    ends = [f"{stem}_{end}_{unit}" for end in ("low", "high")]
    banded = all(end in table.frame and table.frame[end].notna().any() for end in ends)
    low, high = (factor * table.column(end) for end in ends) if banded else (values, values)
    what = stem.partition("_")[0]
    return _Curve(
        name,
        f"share of the {what}, %",
        factor * values,
        (low, high) if banded else None,
        _whole(table, values, f"{what}_share", factor),
    )


def _whole(table: Table, values: np.ndarray, share: str, factor: float) -> float | None:
    """Return what a share of 1 stands for, None where the table does not tell."""
    if share not in table.frame:
        return None
    shares = table.column(share)
    known = np.isfinite(shares) & np.isfinite(values) & (shares > 0)
    if not known.any():
        return None
    row = np.flatnonzero(known)[np.argmax(shares[known])]
    return float(factor * values[row] / shares[row])


def _draw_curve(
    axes: Any, depth: np.ndarray, curve: _Curve, line: dict[str, Any], room: float
) -> dict[str, Any]:
    """Draw one curve and return its signs by name."""
    dress(axes)
    few = len(depth) <= _MOST_DOTS
    axes.plot(
        *(curve.values, depth),
        **line,
        lw=0.9,
        marker="o" if few else "",
        markersize=2.2,
        clip_on=False,
        gid="curve",
    )
    (sign,) = axes.plot([], [], color=INK, lw=0.9, marker="o" if few else "", markersize=2.2)
    signs: dict[str, Any] = {"rows of the table" + (", joined" if few else ""): sign}
    if curve.band is not None:
        axes.fill_betweenx(depth, *curve.band, color=line["color"], alpha=0.3, lw=0, gid="band")
        signs["90 % band"] = axes.fill([], [], color=INK, alpha=0.3, lw=0)[0]
    axes.set_xlim(left=0)
    axes.set_xlabel(fitted(curve.name, room, 8, most=3))
    if curve.whole:
        whole = curve.whole
        shares = axes.secondary_xaxis(
            "top", functions=(lambda value: 100 * value / whole, lambda share: share * whole / 100)
        )
        shares.set_xlabel(fitted(curve.share, room, 7), fontsize=7)
        shares.tick_params(labelsize=6.5, width=0.6, length=3)
    return signs
