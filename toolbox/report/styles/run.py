"""Run: the styles of all layers in the GeoPackage of a survey."""

from collections.abc import Iterable

import numpy as np

from toolbox.formats.styles_file import StyleText
from toolbox.layers import Grid, Vectors
from toolbox.report.styles.layers import layer_style
from toolbox.report.styles.qml import qml
from toolbox.report.styles.signs import Style
from toolbox.report.styles.sld import sld

__all__ = ["run_layer_styles", "style_text"]

_ALWAYS = ("shoreline", "soundings", "bed_vertices", "bed_triangles", "crossings")


def run_layer_styles(layers: Iterable[Vectors], *, depth: Grid) -> dict[str, Style]:
    """Return how each layer of a survey looks.

    Parameters
    ----------
    layers : iterable of Vectors
        What was drawn and found.
    depth : Grid
        Depth, m: its range is that of the ramp, its extent says from how near things are shown.

    Returns
    -------
    dict of Style
        By name of the layer; also for shoreline, soundings, bed and crossings.
    """
    known = depth.values[np.isfinite(depth.values)]
    depths = (float(known.min()), float(known.max())) if len(known) else (0.0, 1.0)
    west, south, east, north = depth.bounds
    across = max(east - west, north - south)
    frames = dict.fromkeys(_ALWAYS) | {layer.name: layer.frame for layer in layers}
    return {
        name: layer_style(name, depths=depths, across=across, frame=frame)
        for name, frame in frames.items()
    }


def style_text(style: Style) -> StyleText:
    """Return a style in both its languages, to be written."""
    return StyleText(sld(style), qml(style))
