"""Map drawing: the shoreline, isobaths and their numbers, laid over a picture of the depths."""

import warnings
from typing import Any

import numpy as np

from toolbox.formats.depth_colours import INK, DepthColours, readable
from toolbox.isobaths.labels import isobath_labels
from toolbox.layers import Vectors

__all__ = ["draw_lines", "pick_isobaths", "pick_labels"]

_APART = 5.0  # pixels between lines, on the mean, from which they are drawn
_PIXEL_MM = 25.4 / 96  # of a screen as style sheets count it
_DIGITS_MM, _SPACING_MM = 3.2, 60.0
_HEAVY, _LIGHT, _SHORE, _DIGITS_PIXELS = 1.8, 0.9, 1.4, 11.0


def pick_isobaths(isobaths: Vectors, area: float, pixel: float) -> Vectors:
    """Choose the isobaths that a picture has room for: all, the index lines, or none.

    Parameters
    ----------
    isobaths : Vectors
        Lines with ``index_line``.
    area : float
        Of the water, m2 in the CRS of the lines.
    pixel : float
        Width of a pixel, in metres of that CRS.
    """
    frame = isobaths.frame
    for chosen in (frame, frame[frame["index_line"].astype(bool)]):
        length = float(chosen.geometry.length.sum())
        if length and area / length >= _APART * pixel:
            return Vectors(chosen, isobaths.name)
    return Vectors(frame[:0], isobaths.name)


def pick_labels(isobaths: Vectors, pixel: float) -> Vectors:
    """Place the numbers of isobaths for a picture with pixels of so many metres."""
    scale = max(1000 * pixel / _PIXEL_MM, 1.0)
    return isobath_labels(
        isobaths, scale=scale, height=_DIGITS_MM, spacing=_SPACING_MM * scale / 1000
    )


def draw_lines(
    picture: np.ndarray,
    bounds: tuple[float, float, float, float],
    isobaths: Vectors | None,
    labels: Vectors | None,
    colours: DepthColours,
    shore: Any = None,
) -> np.ndarray:
    """Return a picture, shape (rows, cols, 4) of uint8, with lines and numbers on it.

    Parameters
    ----------
    picture : (rows, cols, 4) array of uint8
        The depths.
    bounds : tuple of float
        Its west, south, east and north, in the CRS of the lines.
    isobaths : Vectors or None
        Lines with ``depth_m`` and ``index_line``.
    labels : Vectors or None
        Their numbers, by :func:`pick_labels`.
    colours : DepthColours
        Of the depths.
    shore : array of LineString, optional
        Edges of the water.
    """
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    rows, cols = picture.shape[:2]
    figure = Figure(figsize=(cols / 72, rows / 72), dpi=72, facecolor="none")
    canvas: Any = FigureCanvasAgg(figure)
    axes = figure.add_axes((0, 0, 1, 1), facecolor="none")
    axes.set_axis_off()
    west, south, east, north = bounds
    axes.set(xlim=(west, east), ylim=(south, north))
    if shore is not None:
        _add_shore(axes, shore)
    if isobaths is not None:
        _add_isobaths(axes, isobaths, colours)
    if labels is not None:
        _add_numbers(axes, labels, colours)
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", "Glyph .* missing from font")
        canvas.draw()
    return _over(np.asarray(canvas.buffer_rgba()), picture)


def _add_isobaths(axes: Any, isobaths: Vectors, colours: DepthColours) -> None:
    import shapely
    from matplotlib.collections import LineCollection

    frame = isobaths.frame
    beneath = colours.rgba(frame["depth_m"].to_numpy(float))
    axes.add_collection(
        LineCollection(
            [shapely.get_coordinates(shape) for shape in frame.geometry],
            colors=[readable(colour) for colour in beneath],
            linewidths=np.where(frame["index_line"].to_numpy(bool), _HEAVY, _LIGHT),
            alpha=0.85,
            capstyle="round",
            snap=False,
        ),
        autolim=False,
    )


def _add_shore(axes: Any, shore: Any) -> None:
    import shapely
    from matplotlib.collections import LineCollection

    lines = [shapely.get_coordinates(line) for line in shore]
    edges = LineCollection(lines, colors=INK, linewidths=_SHORE, snap=False)
    axes.add_collection(edges, autolim=False)


def _add_numbers(axes: Any, labels: Vectors, colours: DepthColours) -> None:
    from matplotlib.patheffects import withStroke

    ground = colours.rgba(labels.frame["depth_m"].to_numpy(float))
    for row, beneath in zip(labels.frame.itertuples(), ground, strict=True):
        axes.text(
            row.geometry.x,
            row.geometry.y,
            row.label,
            rotation=-row.upright_deg,
            rotation_mode="anchor",
            fontsize=_DIGITS_PIXELS,
            color=readable(beneath),
            ha="center",
            va="center_baseline",
            path_effects=[withStroke(linewidth=3.0, foreground=beneath[:3] / 255)],
        )


def _over(above: np.ndarray, below: np.ndarray) -> np.ndarray:
    """Lay one picture over another, both with straight alpha."""
    touched = above[..., 3] > 0
    top, under = above[touched].astype(np.float32) / 255, below[touched].astype(np.float32) / 255
    shown = under[:, 3:] * (1 - top[:, 3:])
    both = top[:, 3:] + shown
    colour = (top[:, :3] * top[:, 3:] + under[:, :3] * shown) / both
    laid = below.copy()
    laid[touched] = np.round(255 * np.column_stack([colour, both]))
    return laid
