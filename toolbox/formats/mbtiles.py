"""MBTiles: the map as small pictures, for phones where there is no net."""

import sqlite3
from collections.abc import Iterator
from concurrent.futures import Executor, Future, ThreadPoolExecutor
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any

import numpy as np

from toolbox.errors import OutputError
from toolbox.faults import said_by
from toolbox.formats.captions import CAUTION, WGS84, plain
from toolbox.formats.depth_colours import DepthColours, extent, trimmed
from toolbox.formats.map_drawing import draw_ink, pick_isobaths, pick_labels
from toolbox.formats.paths import new_file
from toolbox.formats.tile_depths import TileDepths
from toolbox.formats.tile_pictures import tile_png
from toolbox.formats.tile_sheets import MERCATOR, TILE, Sheet, mercator_stretch, zooms_of
from toolbox.layers import Grid, Shoreline, Vectors
from toolbox.layers.crs import parse_crs, project_shapes
from toolbox.tool import Range

__all__ = ["write_mbtiles"]

_MARGIN = 40  # pixels beyond a sheet whose lines and numbers may reach into it
_STRAY = 0.25  # pixels by which a line may be drawn beside its place
_TABLES = """
PRAGMA application_id = 0x4d504258;
CREATE TABLE metadata (name TEXT, value TEXT);
CREATE TABLE tiles (
    zoom_level INTEGER, tile_column INTEGER, tile_row INTEGER, tile_data BLOB
);
CREATE UNIQUE INDEX tile_index ON tiles (zoom_level, tile_column, tile_row);
"""


_Place = tuple[int, int, int]  # zoom, column and row from south


@dataclass(frozen=True)
class _Map:
    """What is drawn; lines in Web Mercator."""

    colours: DepthColours
    isobaths: Vectors | None
    shore: Any
    labels: Vectors | None = None

    def at(self, pixel: float) -> "_Map":
        """Choose and simplify the lines, and place the numbers, for pixels of so many metres."""
        import shapely

        shore = None if self.shore is None else shapely.simplify(self.shore, _STRAY * pixel)
        if self.isobaths is None:
            return _Map(self.colours, None, shore)
        grid = self.colours.grid
        stretch = mercator_stretch(extent(grid, MERCATOR))
        area = float(np.isfinite(grid.values).sum()) * (grid.cell * stretch) ** 2
        shown = _simple(pick_isobaths(self.isobaths, area, pixel), _STRAY * pixel)
        return _Map(self.colours, shown, shore, pick_labels(shown, pixel) if len(shown) else None)

    def ink(self, sheet: Sheet) -> np.ndarray:
        """Draw the lines and numbers of a sheet."""
        import shapely

        reach = _MARGIN * sheet.pixel
        west, south, east, north = sheet.bounds
        box = west - reach, south - reach, east + reach, north + reach
        lines, labels = (
            None if layer is None else _near(layer, box) for layer in (self.isobaths, self.labels)
        )
        shore = np.zeros(0) if self.shore is None else shapely.clip_by_rect(self.shore, *box)
        shore = shore[~shapely.is_empty(shore)]
        if not len(shore) and (lines is None or not len(lines)):
            return np.zeros((*sheet.pixels, 3), np.uint8)
        return draw_ink(sheet.pixels, sheet.bounds, lines, labels, self.colours, shore)


def write_mbtiles(
    path: Path,
    depth: Grid,
    *,
    isobaths: Vectors | None = None,
    shoreline: Shoreline | None = None,
    title: str = "",
    about: str = CAUTION,
    pixel: Annotated[float, Range("m", above=0)] = 0.5,
    most_tiles: Annotated[int, Range("", min=1)] = 1000,
    ramp: np.ndarray | None = None,
    overwrite: bool = False,
) -> None:
    """Write the depths and isobaths of a water as map tiles.

    Parameters
    ----------
    path : Path
        File to write.
    depth : Grid
        Depth, m; transparent where it has no value.
    isobaths : Vectors, optional
        Lines with ``depth_m`` and ``index_line``; each zoom has those, and the numbers, that it
        has room for.
    shoreline : Shoreline, optional
        The water, whose edge is drawn.
    title : str
        Name of the water.
    about : str
        Description of the map.
    pixel : float
        Widest pixel on the ground of the last zoom, m, or a quarter of a cell if that is more.
    most_tiles : int
        Tiles of the last zoom: it is a lower one where there would be more.
    ramp : (n, 3) array of uint8, optional
        Colours from the least depth to the greatest.
    overwrite : bool
        Whether a file that is there may be replaced.

    Raises
    ------
    LayerError
        If the grid is not tied to the earth, or reaches beyond what Web Mercator maps.
    OutputError
        If the file is there already or cannot be written.

    Notes
    -----
    From the zoom at which the water is no wider than one tile. Each zoom is drawn anew, so that
    lines stay as wide; they lie within a quarter of a pixel of their place. Tiles are PNG of
    256 x 256 pixels in Web Mercator, none where there is no water. The same input gives the same
    bytes.

    References
    ----------
    MBTiles Specification 1.3 (2018; from memory).
    """
    colours = DepthColours(trimmed(depth), ramp)
    lines = None if isobaths is None else isobaths.to_crs(parse_crs(MERCATOR))
    drawn = _Map(colours, lines, _edges(shoreline))
    zooms = zooms_of(colours.grid, pixel, most_tiles)
    with new_file(path, overwrite=overwrite) as place:
        try:
            _fill(place, _tiles(drawn, zooms), _facts(colours.grid, zooms, title, about))
        except sqlite3.Error as error:
            raise OutputError(f"{path} cannot be written: {said_by(error)}") from error


def _fill(path: Path, tiles: Iterator[tuple[int, int, int, bytes]], facts: dict[str, str]) -> None:
    with closing(sqlite3.connect(path)) as file:
        file.executescript(_TABLES)
        file.executemany("INSERT INTO metadata VALUES (?, ?)", facts.items())
        file.executemany("INSERT INTO tiles VALUES (?, ?, ?, ?)", tiles)
        file.commit()


def _tiles(drawn: _Map, zooms: list[Sheet]) -> Iterator[tuple[int, int, int, bytes]]:
    """Yield zoom, column, row from south and picture of each tile that shows something.

    Pictures are packed on other threads while the next sheet is drawn.
    """
    depths = TileDepths.of(drawn.colours, MERCATOR)
    stretch = mercator_stretch(extent(drawn.colours.grid, MERCATOR))
    waiting: list[tuple[_Place, Future[bytes]]] = []
    with ThreadPoolExecutor() as pool:
        for zoom in reversed(zooms):
            shown, depths = drawn.at(zoom.pixel), depths.coarse(zoom.pixel / stretch)
            for sheet in zoom.sheets():
                begun = list(_begun(shown, depths, sheet, pool))
                yield from ((*place, picture.result()) for place, picture in waiting)
                waiting = begun
        yield from ((*place, picture.result()) for place, picture in waiting)


def _begun(
    shown: _Map, depths: TileDepths, sheet: Sheet, pool: Executor
) -> Iterator[tuple[_Place, "Future[bytes]"]]:
    ink, steps = shown.ink(sheet), depths.steps(sheet.transform, sheet.pixels)
    for row, col in np.ndindex(*sheet.shape):
        part = np.s_[row * TILE : (row + 1) * TILE, col * TILE : (col + 1) * TILE]
        if steps[part].min() < depths.bare or ink[part].any():
            from_south = 2**sheet.level - 1 - sheet.first_row - row
            place = sheet.level, sheet.first_col + col, from_south
            yield place, pool.submit(tile_png, steps[part], ink[part], shown.colours.table)


def _edges(shoreline: Shoreline | None) -> Any:
    """Return the edges of the water, lines in Web Mercator."""
    import shapely

    if shoreline is None or shoreline.crs is None:
        return None
    mercator = parse_crs(MERCATOR)
    edge = shapely.boundary(shoreline.polygons)
    return shapely.get_parts(project_shapes(edge, shoreline.crs, mercator, "the shoreline"))


def _simple(lines: Vectors, stray: float) -> Vectors:
    """Leave out corners that are not seen."""
    simple = lines.frame.geometry.simplify(stray, preserve_topology=False)
    return Vectors(lines.frame.set_geometry(simple), lines.name)


def _near(layer: Vectors, box: tuple[float, float, float, float]) -> Vectors:
    import shapely

    clipped = shapely.clip_by_rect(layer.frame.geometry.to_numpy(), *box)
    near = ~shapely.is_empty(clipped)
    return Vectors(layer.frame[near].set_geometry(clipped[near], crs=layer.crs), layer.name)


def _facts(depth: Grid, zooms: list[Sheet], title: str, about: str) -> dict[str, str]:
    west, south, east, north = extent(depth, WGS84)
    middle = f"{(west + east) / 2:.6f},{(south + north) / 2:.6f}"
    return {
        "name": plain(title) or "Lake bed",
        "format": "png",
        "bounds": ",".join(f"{degrees:.6f}" for degrees in (west, south, east, north)),
        "center": f"{middle},{(zooms[0].level + zooms[-1].level + 1) // 2}",
        "minzoom": str(zooms[0].level),
        "maxzoom": str(zooms[-1].level),
        "type": "overlay",
        "version": "1",
        "description": plain(about, most=1000),
        "attribution": "",
    }
