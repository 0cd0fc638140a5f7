"""GeoTIFF: grids as cloud-optimized rasters that any GIS loads."""

from collections.abc import Iterator
from pathlib import Path
from typing import Annotated, Any

import numpy as np

from toolbox.errors import InputFileError
from toolbox.faults import one_line
from toolbox.layers import Grid
from toolbox.layers.crs import is_metric, parse_crs
from toolbox.tool import Range, checked
from toolbox.units import LENGTH_UNITS, convert

__all__ = ["NODATA", "grid_blocks", "read_grid", "write_grid"]

NODATA = -9999.0
"""Written where a grid has no value: every GIS knows it, a NaN not every one."""

_CREATION = {"compress": "DEFLATE", "predictor": "YES", "overview_resampling": "AVERAGE"}


@checked
def read_grid(
    path: Path, *, band: Annotated[int, Range("", min=1)] = 1, crs: str | None = None
) -> Grid:
    """Read one band of a raster.

    Parameters
    ----------
    path : Path
        Any raster format that GDAL reads.
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
    import rasterio

    try:
        with rasterio.open(path) as source:
            if not 1 <= band <= source.count:
                raise InputFileError(f"{path} has bands 1 to {source.count}, got {band}")
            values, unit = _values(source, band)
            return Grid(
                values,
                source.transform,
                _crs(source.crs, path, crs),
                source.descriptions[band - 1] or path.stem,
                unit,
            )
    except rasterio.errors.RasterioError as error:
        raise InputFileError(f"{path} cannot be read as a raster: {one_line(error)}") from error


def grid_blocks(
    path: Path, *, band: int = 1, crs: str | None = None, rows: int = 512
) -> Iterator[Grid]:
    """Read one band of a raster in blocks of whole rows, from north to south.

    Parameters
    ----------
    path : Path
        Any raster format that GDAL reads.
    band : int
        Which band, from 1.
    crs : str, optional
        Used where the file names none.
    rows : int
        Of a block.

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

    try:
        with rasterio.open(path) as source:
            if not 1 <= band <= source.count:
                raise InputFileError(f"{path} has bands 1 to {source.count}, got {band}")
            place, name = _crs(source.crs, path, crs), source.descriptions[band - 1] or path.stem
            for start in range(0, source.height, rows):
                window = Window(0, start, source.width, min(rows, source.height - start))
                values, unit = _values(source, band, window)
                a, b, c, d, e, f, *_ = source.transform
                corner = type(source.transform)(a, b, c, d, e, f + start * e)
                yield Grid(values, corner, place, name, unit)
    except rasterio.errors.RasterioError as error:
        raise InputFileError(f"{path} cannot be read as a raster: {one_line(error)}") from error


def _values(source: Any, band: int, window: Any = None) -> tuple[np.ndarray, str]:
    """Values as the file means them: scaled, NaN where there is no data, lengths in metres."""
    values = source.read(band, masked=True, window=window).astype(np.float32).filled(np.nan)
    scale, offset = source.scales[band - 1], source.offsets[band - 1]
    if (scale, offset) != (1, 0):
        values = values.astype(np.float64) * scale + offset
    unit = source.units[band - 1] or ""
    if unit in LENGTH_UNITS:
        values, unit = convert(values, unit, "m"), "m"
    return values.astype(np.float32), unit


def _crs(found: Any, path: Path, given: str | None) -> Any:
    if not found and given is None:
        raise InputFileError(f"{path} names no CRS: give one with crs, such as 'EPSG:32633'")
    crs = parse_crs(found.to_wkt() if found else given)
    if not is_metric(crs):
        raise InputFileError(f"{path} must lie in a projected CRS in metres, got {crs.name!r}")
    return crs


def write_grid(grid: Grid, path: Path) -> None:
    """Write a grid as Cloud Optimized GeoTIFF, deflated, with overviews.

    The nodata value is declared, the band carries its name and unit, and values are those of
    cell centres (PixelIsArea).
    """
    from rasterio.io import MemoryFile
    from rasterio.shutil import copy

    rows, cols = grid.shape
    profile = {
        "driver": "GTiff",
        "dtype": "float32",
        "count": 1,
        "height": rows,
        "width": cols,
        "transform": grid.transform,
        "crs": grid.crs.to_wkt() if grid.crs else None,
        "nodata": NODATA,
    }
    with MemoryFile() as memory, MemoryFile() as finished:
        with memory.open(**profile) as plain:
            plain.write(np.nan_to_num(grid.values, nan=NODATA), 1)
            plain.set_band_description(1, grid.name)
            plain.units = (grid.unit,)
        with memory.open() as plain:
            copy(plain, finished.name, driver="COG", **_CREATION)
        # written by Python, because a full disk is then one error and not lines on the terminal
        path.write_bytes(finished.read())
