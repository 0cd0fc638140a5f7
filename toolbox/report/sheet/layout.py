"""Layout: which way a sheet is held, where its blocks stand, and the scale that this allows."""

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from toolbox.errors import ParameterError
from toolbox.report.sheet.blocks import GAP, Block, column_height, column_most, even_columns
from toolbox.report.sheet.map_frame import BORDER
from toolbox.report.sheet.paper import EDGE, MM, Box, Paper, page_size, type_size
from toolbox.report.sheet.view import MARGIN, View, fitting_scale, needed_scale, round_scale

__all__ = ["Layout", "column_width", "lay_out"]

_NARROWEST = 28.0  # sizes of type, of a column
_MOST_COLUMNS = 5
_SMALLER, _SMALLEST = 0.88, 6.0  # type, if that makes the map larger
_LINE = 33.0  # sizes of type: the width of a column that is read at a glance
_WIDER = 0.35  # of its width, that a column beside the map may grow
_LEAST_MAP = 0.35  # of the paper's width and height

Make = Callable[[float, float], list[Block]]
"""Makes the blocks for a width of column and a size of type, points."""


@dataclass(frozen=True)
class Layout:
    """A sheet as it is divided."""

    size: tuple[float, float]
    frame: Box
    panel: Box
    columns: int
    landscape: bool
    beside: bool
    letter: float

    def name(self, paper: Paper) -> str:
        """As a person calls it."""
        return f"{paper} {'landscape' if self.landscape else 'portrait'}"


def column_width(layout: Layout) -> float:
    """Return how wide a column of blocks is, points."""
    return (layout.panel.width - (layout.columns - 1) * GAP) / layout.columns


def lay_out(
    bounds: tuple[float, float, float, float],
    factor: float,
    make: Make,
    *,
    paper: Paper,
    landscape: bool | None,
    scale: float | None,
) -> tuple[Layout, View]:
    """Divide the sheet so that the water is as large as can be.

    Parameters
    ----------
    bounds : tuple of float
        West, south, east and north of what must be on the map, m.
    factor : float
        Metres of the grid to one on the ground.
    make : callable
        Makes the blocks beside the map.
    paper : str
        Size of the sheet.
    landscape : bool or None
        Which way it is held; None is the better one.
    scale : float or None
        That is wanted; None is the largest round one.

    Returns
    -------
    Layout
        Where map and blocks stand.
    View
        What the map shows.
    """
    ways = (True, False) if landscape is None else (landscape,)
    found = [layout for way in ways for layout in _layouts(paper, way, make)]
    if not found:
        raise ParameterError(f"paper must be larger for this sheet, got {paper!r}")
    middle = ((bounds[0] + bounds[2]) / 2, (bounds[1] + bounds[3]) / 2)
    needs = [needed_scale(bounds, layout.frame, factor) for layout in found]
    best = min(map(round_scale, needs))
    where = found[needs.index(min(needs))].name(paper)
    fits = fitting_scale(scale, min(needs), where)
    able = [
        layout
        for layout, need in zip(found, needs, strict=True)
        if need <= (best if scale is None else fits) * (1 + 1e-9)
    ]
    views = [View(layout.frame, middle, fits, factor) for layout in able]
    settled = [_settled(*pair, bounds, make) for pair in zip(able, views, strict=True)]
    chosen = min(settled, key=_waste)
    return chosen, View(chosen.frame, middle, fits, factor)


def _waste(layout: Layout) -> tuple[float, float]:
    """Tell how much of a sheet is empty at a scale, after how small its type is."""
    wide = abs(math.log(column_width(layout) / (_LINE * layout.letter)))
    share = layout.frame.width * layout.frame.height / (layout.size[0] * layout.size[1])
    return -layout.letter, share + 0.5 * wide


def _settled(
    layout: Layout, view: View, bounds: tuple[float, float, float, float], make: Make
) -> Layout:
    """Give what the water leaves free of its frame to the blocks, as far as they can use it."""
    west, south, east, north = bounds
    frame, panel = layout.frame, layout.panel
    if layout.beside:
        spare = frame.width - (east - west) * view.points_to_metre - 2 * MARGIN
        wider = min(max(spare, 0.0), _WIDER * panel.width)
        return replace(
            layout,
            frame=frame.inside(right=wider),
            panel=replace(panel, left=panel.left - wider),
        )
    spare = frame.height - (north - south) * view.points_to_metre - 2 * MARGIN
    columns = even_columns(make(column_width(layout), layout.letter), layout.columns)
    usable = float(np.median([*map(column_most, columns)])) - panel.height
    higher = max(min(spare, usable), 0.0)
    return replace(
        layout,
        frame=frame.inside(bottom=higher),
        panel=replace(panel, top=panel.top + higher),
    )


def _layouts(paper: Paper, landscape: bool, make: Make) -> list[Layout]:
    """Return what a sheet held one way could look like: blocks to the right, or below."""
    size = page_size(paper, landscape=landscape)
    page = Box(0, 0, *size).inside(EDGE, EDGE, EDGE, EDGE)
    letters = dict.fromkeys((type_size(paper), max(_SMALLER * type_size(paper), _SMALLEST)))
    found = []
    for letter in letters:
        given = (size, page, make, landscape)
        found += [_beside(*given, count, letter) for count in (1, 2)]
        found += [_below(*given, count, letter) for count in range(2, _MOST_COLUMNS + 1)]
    return [
        layout
        for layout in found
        if layout is not None
        and layout.frame.width > _LEAST_MAP * size[0]
        and layout.frame.height > _LEAST_MAP * size[1]
    ]


def _beside(
    size: tuple[float, float],
    page: Box,
    make: Make,
    landscape: bool,
    count: int,
    letter: float,
) -> Layout | None:
    """Put the blocks in columns to the right, as narrow as their height allows."""
    width = _NARROWEST * letter
    while max(map(column_height, even_columns(make(width, letter), count))) > page.height:
        width += 4 * MM
        if count * width > (1 - _LEAST_MAP) * page.width:
            return None
    panel = Box(page.right - count * width - (count - 1) * GAP, page.bottom, page.right, page.top)
    frame = Box(page.left, page.bottom, panel.left - GAP, page.top).inside(*BORDER)
    return Layout(size, frame, panel, count, landscape, True, letter)


def _below(
    size: tuple[float, float],
    page: Box,
    make: Make,
    landscape: bool,
    count: int,
    letter: float,
) -> Layout | None:
    """Put the blocks in columns below the map."""
    width = (page.width - GAP * (count - 1)) / count
    if width < _NARROWEST * letter:
        return None
    high = max(map(column_height, even_columns(make(width, letter), count)))
    panel = Box(page.left, page.bottom, page.right, page.bottom + high)
    frame = Box(page.left, panel.top + GAP, page.right, page.top).inside(*BORDER)
    return Layout(size, frame, panel, count, landscape, False, letter)
