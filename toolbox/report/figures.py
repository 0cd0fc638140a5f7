"""Figures: the bed as a picture."""

from pathlib import Path
from typing import Any, Literal

import numpy as np

from toolbox.layers import Grid, Shoreline, Soundings, Vectors
from toolbox.report.drawing import (
    FAULT,
    INK,
    draw_depth,
    draw_isobaths,
    draw_shoreline,
    draw_unsurveyed,
    frame,
    in_unit,
    legend,
    paint,
)
from toolbox.report.map_figure import rejected_told
from toolbox.units import convert

__all__ = ["write_map"]


def write_map(
    depth: Grid,
    shoreline: Shoreline,
    soundings: Soundings,
    title: str,
    path: Path,
    *,
    isobaths: Vectors | None = None,
    unsurveyed: Grid | None = None,
    unit: Literal["m", "ft"] = "m",
) -> None:
    """Draw the depths of a water, its soundings and its shoreline, and write a PNG.

    Parameters
    ----------
    depth : Grid
        Depth, m.
    shoreline : Shoreline
        The water.
    soundings : Soundings
        Kept ones as dots, rejected ones as crosses.
    title : str
        Name of the water, taken literally.
    path : Path
        File to write.
    isobaths : Vectors, optional
        Lines of equal depth; their numbers stand where there is room at the scale of the picture.
    unsurveyed : Grid, optional
        1 where the bed is a guess: veiled and hatched.
    unit : str
        ``"m"`` or ``"ft"``: of depths and of the scale.
    """
    shown = depth.of(np.asarray(convert(depth.values, "m", unit)), depth.name, unit)

    def draw(figure: Any, axes: Any) -> None:
        shading = draw_depth(figure, axes, shown, unit=unit)
        if unsurveyed is not None:
            draw_unsurveyed(axes, unsurveyed)
        draw_shoreline(axes, shoreline)
        _draw_soundings(axes, soundings)
        frame(axes, depth, shoreline.polygons.bounds, title, unit=unit)
        legend(figure, axes)
        if isobaths is not None:
            draw_isobaths(figure, axes, in_unit(isobaths, unit), shading)

    paint(path, shoreline.polygons.bounds, draw)


def _draw_soundings(axes: Any, soundings: Soundings) -> None:
    place, flag = soundings.coordinates, soundings.flag
    kept, rejected = place[~flag], place[flag & np.isfinite(place).all(axis=1)]
    size = float(np.clip(3000 / max(len(kept), 1), 0.05, 3))
    axes.scatter(*kept.T, s=size, c=INK, lw=0, alpha=0.55, rasterized=True)
    axes.scatter([], [], s=4, c=INK, lw=0, label=f"{len(kept):,} sounding" + "s" * (len(kept) != 1))
    if name := rejected_told(soundings):
        axes.scatter(*rejected.T, s=22, c=FAULT, marker="x", lw=1, label=name)
