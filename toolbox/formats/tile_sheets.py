"""Sheets: the tiles of a map in Web Mercator, zoom by zoom, and the pieces they are drawn in."""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from toolbox.errors import LayerError
from toolbox.formats.depth_colours import extent
from toolbox.layers import Grid

if TYPE_CHECKING:
    from affine import Affine

__all__ = ["MERCATOR", "TILE", "Sheet", "mercator_stretch", "zooms_of"]

MERCATOR = "EPSG:3857"
TILE = 256
"""Pixels along the side of a tile."""

_RADIUS = 6_378_137.0  # m, of the sphere of Web Mercator
_HALF = math.pi * _RADIUS  # from the middle of the square world to its edge, m
_DEEPEST_ZOOM = 22
_FINER = 4  # pixels to a cell, so that the edge of the water and its lines are no staircase
_SHEET = 4  # tiles along a side that are drawn at once


@dataclass(frozen=True)
class Sheet:
    """Tiles of one zoom beside each other; columns from west, rows from north."""

    level: int
    first_col: int
    last_col: int
    first_row: int
    last_row: int

    @property
    def pixel(self) -> float:
        """Width of a pixel, m in Web Mercator."""
        return 2 * _HALF / TILE / 2**self.level

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns of tiles."""
        return self.last_row - self.first_row + 1, self.last_col - self.first_col + 1

    @property
    def pixels(self) -> tuple[int, int]:
        """Rows and columns of pixels."""
        return TILE * self.shape[0], TILE * self.shape[1]

    @property
    def transform(self) -> "Affine":
        """From pixels to Web Mercator."""
        from affine import Affine

        size = TILE * self.pixel
        west, north = self.first_col * size - _HALF, _HALF - self.first_row * size
        return Affine(self.pixel, 0, west, 0, -self.pixel, north)

    @property
    def bounds(self) -> tuple[float, float, float, float]:
        """West, south, east and north, m in Web Mercator."""
        rows, cols = self.pixels
        east, south = self.transform @ (cols, rows)
        return self.transform.c, south, east, self.transform.f

    def sheets(self) -> Iterator["Sheet"]:
        """Yield its parts that are small enough to be drawn at once."""
        for row in range(self.first_row, self.last_row + 1, _SHEET):
            for col in range(self.first_col, self.last_col + 1, _SHEET):
                last_col = min(col + _SHEET - 1, self.last_col)
                last_row = min(row + _SHEET - 1, self.last_row)
                yield Sheet(self.level, col, last_col, row, last_row)


def zooms_of(depth: Grid, pixel: float, most: int) -> list[Sheet]:
    """Choose the zooms of a map, from the one at which the water is no wider than a tile.

    Parameters
    ----------
    depth : Grid
        The water.
    pixel : float
        Widest pixel on the ground of the last zoom, m, or a quarter of a cell if that is more.
    most : int
        Tiles of the last zoom: it is a lower one where there would be more.

    Raises
    ------
    LayerError
        If the water reaches beyond what Web Mercator maps.
    """
    west, south, east, north = bounds = extent(depth, MERCATOR)
    if max(map(abs, bounds)) > _HALF:
        raise LayerError(f"{depth.name} reaches beyond what Web Mercator maps")
    world = 2 * _HALF
    ground = world / mercator_stretch(bounds)
    widest = max(pixel, depth.cell / _FINER)
    last = min(math.ceil(math.log2(ground / TILE / widest)), _DEEPEST_ZOOM)
    first = math.floor(math.log2(world / max(east - west, north - south)))
    last = max(last, 0)
    while last and math.prod(_zoom(last, bounds).shape) > most:
        last -= 1
    return [_zoom(level, bounds) for level in range(max(min(first, last), 0), last + 1)]


def mercator_stretch(bounds: tuple[float, float, float, float]) -> float:
    """Return by how much longer a line is in Web Mercator than on the ground."""
    _, south, _, north = bounds
    return math.cosh((south + north) / 2 / _RADIUS)


def _zoom(level: int, bounds: tuple[float, float, float, float]) -> Sheet:
    west, south, east, north = bounds
    size, most = 2 * _HALF / 2**level, 2**level - 1
    places = (west + _HALF, east + _HALF, _HALF - north, _HALF - south)
    return Sheet(level, *(min(int(place // size), most) for place in places))
