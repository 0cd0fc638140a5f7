"""Map drawing: the ink of shoreline, isobaths and their numbers over a picture of the depths."""

import functools
from typing import Any

import numpy as np

from toolbox.formats.depth_colours import INK, DepthColours, readable, shares
from toolbox.isobaths.labels import isobath_labels
from toolbox.layers import Vectors

__all__ = ["draw_ink", "pick_isobaths", "pick_labels"]

_APART = 5.0  # pixels between lines, on the mean, from which they are drawn
_PIXEL_MM = 25.4 / 96  # of a screen as style sheets count it
_DIGITS_MM, _SPACING_MM = 3.2, 60.0
_HEAVY, _FINE, _SHORE, _RIM = 1.8, 0.9, 1.4, 3.0  # pixels
_DIGITS_PIXELS = 11.0
_BARE, _DARK, _LIGHT = (0.0, 0.0, 0.0), (1.0, 0.0, 0.0), (0.0, 1.0, 0.0)  # a band for each ink


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


def draw_ink(
    shape: tuple[int, int],
    bounds: tuple[float, float, float, float],
    isobaths: Vectors | None,
    labels: Vectors | None,
    colours: DepthColours,
    shore: Any = None,
) -> np.ndarray:
    """Return the ink on each pixel, shape (rows, cols, 3) of uint8.

    How far dark ink covers it, how far light ink does, and where the rim of a number parts the
    lines: from 1, the first colour of the depths, to 255, the last; 0 elsewhere.

    Parameters
    ----------
    shape : (int, int)
        Rows and columns of the picture.
    bounds : tuple of float
        Its west, south, east and north, in the CRS of the lines.
    isobaths : Vectors or None
        Lines with ``depth_m`` and ``index_line``.
    labels : Vectors or None
        Their numbers, by :func:`pick_labels`.
    colours : DepthColours
        Of the depths, which decide where ink is dark.
    shore : array of LineString, optional
        Edges of the water, dark.
    """
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure
    from matplotlib.transforms import Affine2D

    rows, cols = shape
    west, south, east, north = bounds
    figure = Figure(figsize=(cols / 72, rows / 72), dpi=72, facecolor=_BARE)
    canvas: Any = FigureCanvasAgg(figure)
    to_pixels = (
        Affine2D().translate(-west, -south).scale(cols / (east - west), rows / (north - south))
    )
    drawn = [] if shore is None else [_lines(shore, colors=_DARK, linewidths=_SHORE)]
    if isobaths is not None:
        drawn.append(_isobaths(isobaths, colours))
    if labels is not None:
        drawn.extend(_numbers(labels, colours, (east - west) / cols))
    for zorder, artist in enumerate(drawn):
        artist.set(transform=to_pixels, zorder=zorder)
        figure.add_artist(artist)
    canvas.draw()
    return np.ascontiguousarray(np.asarray(canvas.buffer_rgba())[..., :3])


def _inks(depths: np.ndarray, colours: DepthColours) -> np.ndarray:
    """Return the inks that are read on the colours of depths, shape (n, 3)."""
    dark = np.array([readable(beneath) == INK for beneath in colours.rgba(depths)], bool)
    return np.where(dark[:, None], _DARK, _LIGHT)


def _isobaths(isobaths: Vectors, colours: DepthColours) -> Any:
    import shapely

    frame = isobaths.frame
    parts, of = shapely.get_parts(frame.geometry.to_numpy(), return_index=True)
    widths = np.where(frame["index_line"].to_numpy(bool), _HEAVY, _FINE)[of]
    inks = _inks(frame["depth_m"].to_numpy(float), colours)[of]
    return _lines(parts, colors=inks, linewidths=widths, alpha=0.85, capstyle="round")


def _lines(lines: Any, **options: Any) -> Any:
    import shapely
    from matplotlib.collections import LineCollection

    parts = shapely.get_parts(lines)
    return LineCollection([shapely.get_coordinates(part) for part in parts], snap=False, **options)


def _numbers(labels: Vectors, colours: DepthColours, pixel: float) -> list[Any]:
    """Return rims that part the lines, and upon them the numbers, which leave the third band."""
    import shapely
    from matplotlib.collections import PathCollection

    frame = labels.frame
    places, turns = shapely.get_coordinates(frame.geometry), np.radians(frame["upright_deg"])
    shapes = [
        _turned(label, place, turn, pixel)
        for label, place, turn in zip(frame["label"], places, turns, strict=True)
    ]
    depths = frame["depth_m"].to_numpy(float)
    rims = np.zeros((len(frame), 3))
    rims[:, 2] = np.maximum(np.round(255 * shares(depths, *colours.limits)), 1) / 255
    numbers = _inks(depths, colours) + rims
    width = [_RIM, _RIM]  # twice: matplotlib draws one path of one width with soft edges always
    hard: dict[str, Any] = {"linewidths": width, "antialiaseds": False}
    return [
        PathCollection(shapes, facecolors=rims, edgecolors=rims, **hard),
        PathCollection(shapes, facecolors=numbers, linewidths=0),
    ]


def _turned(label: str, place: np.ndarray, turn: float, pixel: float) -> Any:
    """Return the outline of a number about its place, turned clockwise."""
    from matplotlib.path import Path

    outline = _outline(label)
    cos, sin = np.cos(turn), np.sin(turn)
    return Path(
        place + pixel * outline.vertices @ np.array([[cos, -sin], [sin, cos]]), outline.codes
    )


@functools.cache
def _outline(label: str) -> Any:
    """Return the outline of a number about its middle, in pixels."""
    from matplotlib.path import Path
    from matplotlib.textpath import TextPath

    drawn = TextPath((0, 0), label, size=_DIGITS_PIXELS)
    box = drawn.get_extents()
    return Path(drawn.vertices - [(box.x0 + box.x1) / 2, (box.y0 + box.y1) / 2], drawn.codes)
