"""GeoTIFF: grids as cloud-optimized rasters that any GIS loads."""

from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Annotated, Any

import numpy as np

from toolbox.errors import InputFileError, LayerError, OutputError
from toolbox.formats.drivers import need_driver
from toolbox.formats.sources import check_cells, open_raster, refused_rasters, settle_places
from toolbox.layers import Grid
from toolbox.layers.crs import is_metric, parse_crs
from toolbox.layers.grid_blocks import GridBlocks, corner
from toolbox.tool import Range, checked
from toolbox.units import LENGTH_UNITS, convert

__all__ = [
    "CACHE",
    "DRIVERS",
    "NODATA",
    "NO_CODE",
    "Palette",
    "band_place",
    "band_values",
    "creation",
    "grid_blocks",
    "name_band",
    "read_grid",
    "read_grid_blocks",
    "stored_profile",
    "stored_values",
    "write_grid",
]

NODATA = -9999.0
"""Written where a grid has no value: every GIS knows it, a NaN not every one."""

DRIVERS = ("GTiff", "COG")
"""Of GDAL, by which grids are written."""

NO_CODE = 255
"""The same in grids of codes."""

_CELLS, _MOST_CELLS = 2**22, 2**24  # of a block

CACHE = 2**27
"""Bytes of tiles that GDAL keeps, else a share of all memory."""

_CREATION = {"compress": "DEFLATE", "predictor": "YES"}

Palette = Mapping[int, str]
"""Colour of each code, as ``#rrggbb``."""


@checked
def read_grid(
    path: Path, *, band: Annotated[int, Range("", min=1)] = 1, crs: str | None = None
) -> Grid:
    """Read one band of a raster.

    Parameters
    ----------
    path : Path
        GeoTIFF, or a raster of another form in :data:`toolbox.formats.sources.RASTER_DRIVERS`.
    band : int
        Which band, from 1.
    crs : str, optional
        Used where the file names none.

    Returns
    -------
    Grid
        NaN where the file says there is no data; lengths in metres.

    Raises
    ------
    InputFileError
        If it is no raster, has no such band, or lies in no projected CRS in metres.
    """
    with open_raster(path) as source, refused_rasters(path):
        place, name = band_place(source, path, band, crs)
        check_cells(path, source.height * source.width)
        values, unit = band_values(source, band)
        return Grid(values, source.transform, place, name, unit)


@checked
def read_grid_blocks(
    path: Path, *, band: Annotated[int, Range("", min=1)] = 1, crs: str | None = None
) -> GridBlocks:
    """Read one band of a raster block by block, however large it is.

    Parameters
    ----------
    path : Path
        GeoTIFF, or a raster of another form in :data:`toolbox.formats.sources.RASTER_DRIVERS`.
    band : int
        Which band, from 1.
    crs : str, optional
        Used where the file names none.

    Returns
    -------
    GridBlocks
        As :func:`read_grid` gives it; the file is read anew each time one goes through it.

    Raises
    ------
    InputFileError
        If it is no raster, has no such band, or lies in no projected CRS in metres.
    """
    blocks = GridBlocks(lambda: grid_blocks(path, band=band, crs=crs))
    next(iter(blocks))  # what is wrong with the file is told before anything is done
    return blocks


def grid_blocks(
    path: Path, *, band: int = 1, crs: str | None = None, rows: int | None = None
) -> Iterator[Grid]:
    """Read one band of a raster in blocks of whole rows, from north to south.

    Parameters
    ----------
    path : Path
        GeoTIFF, or a raster of another form in :data:`toolbox.formats.sources.RASTER_DRIVERS`.
    band : int
        Which band, from 1.
    crs : str, optional
        Used where the file names none.
    rows : int, optional
        Of a block; if left out, about four million cells, and whole tiles where these are no more
        than sixteen million.

    Yields
    ------
    Grid
        As :func:`read_grid` gives it, one block at a time in memory.

    Raises
    ------
    InputFileError
        As :func:`read_grid` does.
    """
    import rasterio
    from rasterio.windows import Window

    with open_raster(path) as source, refused_rasters(path):
        place, name = band_place(source, path, band, crs)
        rows = rows or _rows(source.width, source.block_shapes[band - 1][0])
        check_cells(path, min(rows, source.height) * source.width)
        for start in range(0, source.height, rows):
            window = Window(0, start, source.width, min(rows, source.height - start))
            with rasterio.Env(GDAL_CACHEMAX=CACHE):
                values, unit = band_values(source, band, window)
            yield Grid(values, corner(source.transform, start), place, name, unit)


def _rows(width: int, tile: int) -> int:
    """Rows of a block: of about so many cells, in whole tiles unless these are too large."""
    rows = max(_CELLS // width, 1)
    if tile * width <= _MOST_CELLS:
        rows = max(rows // tile, 1) * tile
    return rows


def band_values(source: Any, band: int, window: Any = None) -> tuple[np.ndarray, str]:
    """Values as the file means them: scaled, NaN where there is no data, lengths in metres."""
    found = source.read(band, masked=True, window=window)
    values = found.astype(np.float32, copy=False).filled(np.nan)
    scale, offset = source.scales[band - 1], source.offsets[band - 1]
    if (scale, offset) != (1, 0):
        values = values.astype(np.float64) * scale + offset
    unit = source.units[band - 1] or ""
    if unit in LENGTH_UNITS:
        values, unit = convert(values, unit, "m"), "m"
    return values.astype(np.float32, copy=False), unit


def band_place(source: Any, path: Path, band: int, crs: str | None) -> tuple[Any, str]:
    """Return the CRS and the name of a band, or raise InputFileError if there is no such band."""
    if not 1 <= band <= source.count:
        raise InputFileError(f"{path} has bands 1 to {source.count}, got {band}")
    return _raster_crs(source.crs, path, crs), source.descriptions[band - 1] or path.stem


def _raster_crs(found: Any, path: Path, given: str | None) -> Any:
    """Return the CRS of a raster, or the one given for a raster that names none."""
    if not found and given is None:
        raise InputFileError(f"{path} names no CRS: give one with crs, such as 'EPSG:32633'")
    crs = parse_crs(found.to_wkt() if found else given)
    if not is_metric(crs):
        raise InputFileError(f"{path} must lie in a projected CRS in metres, got {crs.name!r}")
    return crs


def write_grid(grid: Grid, path: Path, *, palette: Palette | None = None) -> None:
    """Write a grid as Cloud Optimized GeoTIFF, deflated, with overviews.

    Parameters
    ----------
    grid : Grid
        What to write.
    path : Path
        The file.
    palette : mapping of str, optional
        Of a grid of codes 0 to 254, the colour of each as ``#rrggbb``: codes are written as whole
        numbers with the table of colours, and overviews show the commonest code, not a mean.

    Raises
    ------
    LayerError
        If a grid with a palette holds a value that is not in it.

    Notes
    -----
    The nodata value is declared, the band carries its name and unit, and values are those of
    cell centres (PixelIsArea).
    """
    from rasterio.io import MemoryFile
    from rasterio.shutil import copy

    for driver in DRIVERS:
        need_driver(path, driver, OutputError)
    settle_places()
    values = stored_values(grid, palette)
    with MemoryFile() as memory, MemoryFile() as finished:
        with memory.open(**stored_profile(grid, grid.shape, palette)) as plain:
            plain.write(values, 1)
            name_band(plain, grid, palette)
        with memory.open() as plain:
            copy(plain, finished.name, driver="COG", **creation(palette))
        # written by Python, because a full disk is then one error and not lines on the terminal
        path.write_bytes(finished.read())


def creation(palette: Palette | None) -> dict[str, str]:
    """Return how GDAL is to make the finished file."""
    return _CREATION | {"overview_resampling": "AVERAGE" if palette is None else "MODE"}


def stored_profile(grid: Grid, shape: tuple[int, int], palette: Palette | None) -> dict[str, Any]:
    """Return what a raster of a shape must be that keeps values as those of a grid are stored."""
    return {
        "driver": "GTiff",
        "dtype": "float32" if palette is None else "uint8",
        "count": 1,
        "height": shape[0],
        "width": shape[1],
        "transform": grid.transform,
        "crs": grid.crs.to_wkt() if grid.crs else None,
        "nodata": NODATA if palette is None else NO_CODE,
    }


def stored_values(grid: Grid, palette: Palette | None) -> np.ndarray:
    """Return values as they are stored; raise LayerError if one is not in the palette."""
    if palette is None:
        return np.nan_to_num(grid.values, nan=NODATA)
    _check_codes(grid, palette)
    return np.nan_to_num(grid.values, nan=NO_CODE).astype(np.uint8)


def name_band(raster: Any, grid: Grid, palette: Palette | None) -> None:
    """Give an open raster the name and unit of a grid, and the table of colours."""
    raster.set_band_description(1, grid.name)
    raster.units = (grid.unit,)
    if palette is not None:
        raster.write_colormap(1, _colour_table(palette))


def _check_codes(grid: Grid, palette: Palette) -> None:
    found = set(np.unique(grid.values[np.isfinite(grid.values)]).tolist())
    unknown = sorted(found - {float(code) for code in palette if 0 <= code < NO_CODE})
    if unknown:
        told = ", ".join(str(code) for code in palette)
        raise LayerError(f"{grid.name} must hold codes {told}, got {unknown[0]:g}")


def _colour_table(palette: Palette) -> dict[int, tuple[int, int, int]]:
    colours = {code: bytes.fromhex(colour.lstrip("#")) for code, colour in palette.items()}
    return {code: (red, green, blue) for code, (red, green, blue) in colours.items()}
