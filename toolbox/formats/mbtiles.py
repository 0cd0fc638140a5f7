"""MBTiles: the map as small pictures, for phones where there is no net."""

import math
import sqlite3
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import numpy as np

from toolbox.errors import LayerError, OutputError
from toolbox.faults import one_line
from toolbox.formats.captions import CAUTION, WGS84, plain
from toolbox.formats.depth_colours import DepthColours, extent, trimmed
from toolbox.formats.map_drawing import draw_lines, pick_isobaths, pick_labels
from toolbox.formats.paths import new_file
from toolbox.layers import Grid, Shoreline, Vectors
from toolbox.layers.crs import parse_crs, project_shapes
from toolbox.tool import Range

if TYPE_CHECKING:
    from affine import Affine

__all__ = ["write_mbtiles"]

_MERCATOR = "EPSG:3857"
_TILE = 256  # pixels
_RADIUS = 6_378_137.0  # m, of the sphere of Web Mercator
_HALF = math.pi * _RADIUS  # from the middle of the square world to its edge, m
_DEEPEST_ZOOM = 22
_MARGIN = 40  # pixels beyond a strip whose lines and numbers may reach into it


@dataclass(frozen=True)
class _Zoom:
    """The tiles of one zoom that hold the water; columns from west, rows from north."""

    level: int
    first_col: int
    last_col: int
    first_row: int
    last_row: int

    @property
    def pixel(self) -> float:
        """Width of a pixel, m in Web Mercator."""
        return 2 * _HALF / _TILE / 2**self.level

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns of tiles."""
        return self.last_row - self.first_row + 1, self.last_col - self.first_col + 1

    def transform(self, row: int = 0) -> "Affine":
        """From pixels, counted from a row of tiles, to Web Mercator."""
        from affine import Affine

        size = _TILE * self.pixel
        top = _HALF - (self.first_row + row) * size
        return Affine(self.pixel, 0, self.first_col * size - _HALF, 0, -self.pixel, top)


@dataclass(frozen=True)
class _Map:
    """What is drawn; lines in Web Mercator."""

    colours: DepthColours
    isobaths: Vectors | None
    shore: Any

    def chosen(self, pixel: float) -> tuple[Vectors | None, Vectors | None]:
        """Choose the isobaths, and place the numbers, for pixels of so many metres."""
        if self.isobaths is None:
            return None, None
        grid = self.colours.grid
        stretch = _stretch(extent(grid, _MERCATOR))
        area = float(np.isfinite(grid.values).sum()) * (grid.cell * stretch) ** 2
        shown = pick_isobaths(self.isobaths, area, pixel)
        return (shown, pick_labels(shown, pixel)) if len(shown) else (None, None)


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
        Widest pixel on the ground of the last zoom, m.
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
    lines stay as wide. Tiles are PNG of 256 x 256 pixels in Web Mercator.

    References
    ----------
    MBTiles Specification 1.3 (2018; from memory).
    """
    colours = DepthColours(trimmed(depth), ramp)
    lines = None if isobaths is None else isobaths.to_crs(parse_crs(_MERCATOR))
    drawn = _Map(colours, lines, _edges(shoreline))
    zooms = _zooms(colours.grid, pixel, most_tiles)
    with new_file(path, overwrite=overwrite) as place:
        try:
            _write_zoom(place, zooms[-1], drawn)
            for zoom in zooms[:-1]:
                other = place.with_name(f"{zoom.level}.mbtiles")
                _write_zoom(other, zoom, drawn)
                _join(place, other)
                other.unlink()
            _describe(place, _facts(colours.grid, zooms, title, about))
        except (sqlite3.Error, _raster_error()) as error:
            raise OutputError(f"{path} cannot be written: {one_line(error)}") from error


def _raster_error() -> type[Exception]:
    from rasterio.errors import RasterioError

    return RasterioError


def _zooms(depth: Grid, pixel: float, most: int) -> list[_Zoom]:
    west, south, east, north = bounds = extent(depth, _MERCATOR)
    if max(map(abs, bounds)) > _HALF:
        raise LayerError(f"{depth.name} reaches beyond what Web Mercator maps")
    world = 2 * _HALF
    ground = world / _stretch(bounds)
    last = min(math.ceil(math.log2(ground / _TILE / pixel)), _DEEPEST_ZOOM)
    first = math.floor(math.log2(world / max(east - west, north - south)))
    last = max(last, 0)
    while last and math.prod(_zoom(last, bounds).shape) > most:
        last -= 1
    return [_zoom(level, bounds) for level in range(max(min(first, last), 0), last + 1)]


def _stretch(bounds: tuple[float, float, float, float]) -> float:
    """Return by how much longer a line is in Web Mercator than on the ground."""
    _, south, _, north = bounds
    return math.cosh((south + north) / 2 / _RADIUS)


def _edges(shoreline: Shoreline | None) -> Any:
    """Return the edges of the water, lines in Web Mercator."""
    import shapely

    if shoreline is None or shoreline.crs is None:
        return None
    mercator = parse_crs(_MERCATOR)
    edge = shapely.boundary(shoreline.polygons)
    return shapely.get_parts(project_shapes(edge, shoreline.crs, mercator, "the shoreline"))


def _zoom(level: int, bounds: tuple[float, float, float, float]) -> _Zoom:
    west, south, east, north = bounds
    size, most = 2 * _HALF / 2**level, 2**level - 1
    places = (west + _HALF, east + _HALF, _HALF - north, _HALF - south)
    return _Zoom(level, *(min(int(place // size), most) for place in places))


def _write_zoom(path: Path, zoom: _Zoom, drawn: _Map) -> None:
    """Write the tiles of one zoom, a row of tiles at a time."""
    import rasterio
    from rasterio.windows import Window

    rows, cols = (_TILE * count for count in zoom.shape)
    profile = {"driver": "MBTiles", "dtype": "uint8", "count": 4, "height": rows, "width": cols}
    profile |= {"crs": _MERCATOR, "transform": zoom.transform(), "TILE_FORMAT": "PNG"}
    shown, labels = drawn.chosen(zoom.pixel)
    with rasterio.open(path, "w", **profile) as file:
        for row in range(zoom.shape[0]):
            picture = _strip(zoom, row, drawn, shown, labels)
            file.write(np.moveaxis(picture, -1, 0), window=Window(0, row * _TILE, cols, _TILE))


def _strip(
    zoom: _Zoom, row: int, drawn: _Map, lines: Vectors | None, labels: Vectors | None
) -> np.ndarray:
    transform = zoom.transform(row)
    cols = zoom.shape[1] * _TILE
    picture = drawn.colours.picture(_MERCATOR, transform, (_TILE, cols))
    west, north = transform.c, transform.f
    bounds = west, north - _TILE * zoom.pixel, west + cols * zoom.pixel, north
    reach = _MARGIN * zoom.pixel
    near, beside = (
        None if layer is None else _near(layer, bounds, reach) for layer in (lines, labels)
    )
    if drawn.shore is None and (near is None or not len(near)):
        return picture
    return draw_lines(picture, bounds, near, beside, drawn.colours, drawn.shore)


def _near(layer: Vectors, bounds: tuple[float, float, float, float], reach: float) -> Vectors:
    west, south, east, north = bounds
    box = slice(west - reach, east + reach), slice(south - reach, north + reach)
    return Vectors(layer.frame.cx[box], layer.name)


def _join(path: Path, other: Path) -> None:
    """Add the tiles of another file."""
    with closing(sqlite3.connect(path)) as file:
        file.execute("ATTACH DATABASE ? AS other", (str(other),))
        file.execute(
            "INSERT INTO tiles (zoom_level, tile_column, tile_row, tile_data) "
            "SELECT zoom_level, tile_column, tile_row, tile_data FROM other.tiles "
            "ORDER BY zoom_level, tile_column, tile_row"
        )
        file.commit()


def _facts(depth: Grid, zooms: list[_Zoom], title: str, about: str) -> dict[str, Any]:
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


def _describe(path: Path, facts: dict[str, Any]) -> None:
    with closing(sqlite3.connect(path)) as file:
        file.execute("DELETE FROM metadata")
        file.executemany("INSERT INTO metadata (name, value) VALUES (?, ?)", facts.items())
        file.commit()
        file.execute("VACUUM")
