"""Blocks: what stands beside a map, each as high as it needs, in columns that fit."""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import combinations, pairwise

from toolbox.report.sheet.paper import MM, Box
from toolbox.report.sheet.pen import Pen

__all__ = [
    "GAP",
    "Block",
    "column_height",
    "column_most",
    "draw_columns",
    "even_columns",
    "heading",
]

GAP = 2.6 * MM
"""Between blocks, and between columns."""

_RULE = "#9aa7ae"


@dataclass(frozen=True)
class Block:
    """A part of the sheet beside its map.

    Parameters
    ----------
    name : str
        What it is.
    least, most : float
        Heights it can do with and can use, points.
    draw : callable
        Given a pen and its box.
    """

    name: str
    least: float
    most: float
    draw: Callable[[Pen, Box], None]


def column_height(blocks: Sequence[Block]) -> float:
    """Return the least height of blocks above each other, points."""
    return sum(block.least for block in blocks) + GAP * max(len(blocks) - 1, 0)


def column_most(blocks: Sequence[Block]) -> float:
    """Return the height that blocks above each other can use, points."""
    return sum(block.most for block in blocks) + 1.5 * GAP * max(len(blocks) - 1, 0)


def even_columns(blocks: Sequence[Block], count: int) -> list[list[Block]]:
    """Divide blocks into columns, in their order, so that the highest is as low as can be.

    The first block, the title, never stands alone.
    """
    cuts = combinations(range(2, len(blocks)), count - 1)
    divided = (_divided(blocks, cut) for cut in cuts)
    return min(divided, key=lambda columns: max(map(column_height, columns)))


def _divided(blocks: Sequence[Block], cuts: Sequence[int]) -> list[list[Block]]:
    ends = [0, *cuts, len(blocks)]
    return [list(blocks[a:b]) for a, b in pairwise(ends)]


def draw_columns(pen: Pen, box: Box, columns: Sequence[Sequence[Block]]) -> None:
    """Draw columns of blocks; those that can use more share the room that is left."""
    wide = (box.width - GAP * (len(columns) - 1)) / len(columns)
    for number, column in enumerate(columns):
        left = box.left + number * (wide + GAP)
        _draw_column(pen, Box(left, box.bottom, left + wide, box.top), column)


def _draw_column(pen: Pen, box: Box, blocks: Sequence[Block]) -> None:
    heights = _grown(blocks, box.height - GAP * (len(blocks) - 1))
    spare = box.height - sum(heights) - GAP * (len(blocks) - 1)
    gap = GAP + max(0.0, min(spare / max(len(blocks) - 1, 1), 2 * GAP))
    top = box.top
    for block, height in zip(blocks, heights, strict=True):
        place = Box(box.left, top - height, box.right, top)
        pen.block(block.name, place)
        block.draw(pen, place)
        top -= height + gap


def _grown(blocks: Sequence[Block], room: float) -> list[float]:
    """Return heights: all grow by the same share of what each can use."""
    wants = [block.most - block.least for block in blocks]
    spare = max(room - sum(block.least for block in blocks), 0.0)
    share = min(1.0, spare / sum(wants)) if math.fsum(wants) > 0 else 0.0
    return [block.least + share * want for block, want in zip(blocks, wants, strict=True)]


def heading(pen: Pen, box: Box, words: str, size: float) -> Box:
    """Write a block's heading over a rule; return what is below it."""
    pen.line([(box.left, box.top), (box.right, box.top)], colour=_RULE, width=0.6)
    pen.text((box.left, box.top - 1.35 * size), words, size, bold=True)
    return box.inside(top=heading_height(size))


def heading_height(size: float) -> float:
    """Return how high a heading is, points."""
    return 1.95 * size
