"""Rasters larger than memory: read window by window, written block by block."""

import shutil
import tempfile
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Annotated, Any

import numpy as np

from toolbox.errors import LayerError, OutputError
from toolbox.faults import said_by
from toolbox.formats.drivers import need_driver
from toolbox.formats.geotiff import (
    CACHE,
    DRIVERS,
    Palette,
    band_place,
    band_values,
    creation,
    name_band,
    stored_profile,
    stored_values,
)
from toolbox.formats.paths import without_end
from toolbox.formats.sources import check_cells, open_raster, refused_rasters, settle_places
from toolbox.layers import Grid
from toolbox.layers.grid_blocks import GridBlocks, continued, corner, row_blocks
from toolbox.layers.grid_windows import GridWindows, Span
from toolbox.tool import Range, checked

__all__ = ["TILE", "read_grid_windows", "tile_cache", "write_grid_blocks"]

TILE = 512
"""Side of the tiles of a file that is written, cells."""

_GIB = 2**30
_FINISHING_CACHE = 2**24  # to read tiles that are not packed again costs less than to keep them


@checked
def read_grid_windows(
    path: Path,
    *,
    band: Annotated[int, Range("", min=1)] = 1,
    crs: str | None = None,
) -> GridWindows:
    """Open one band of a raster, to read windows of it.

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
    GridWindows
        Values as ``read_grid`` gives them; the file stays open as long as this is kept.

    Raises
    ------
    InputFileError
        If it is no raster, has no such band, or lies in no projected CRS in metres.
    """
    from rasterio.windows import Window

    source = open_raster(path)
    place, name = band_place(source, path, band, crs)
    transform = source.transform

    def read(rows: Span, cols: Span) -> Grid:
        with refused_rasters(path):
            check_cells(path, (rows[1] - rows[0]) * (cols[1] - cols[0]))
            values, unit = band_values(source, band, Window.from_slices(rows, cols))
        return Grid(values, corner(transform, rows[0], cols[0]), place, name, unit)

    read((0, 1), (0, 1))  # what is wrong with the cells is told before anything is done
    return GridWindows((source.height, source.width), transform, read)


@contextmanager
def tile_cache(size: int) -> Iterator[None]:
    """Let GDAL keep so many bytes of tiles, not a share of all memory."""
    import rasterio

    with rasterio.Env(GDAL_CACHEMAX=size):
        yield


def write_grid_blocks(
    blocks: GridBlocks, path: Path, *, palette: Palette | None = None, cache: int = CACHE
) -> bool:
    """Write a raster block by block as Cloud Optimized GeoTIFF, deflated, with overviews.

    Parameters
    ----------
    blocks : GridBlocks
        What to write; its shape must be known.
    path : Path
        The file. A plain copy of the raster is kept beside it until it is done.
    palette : mapping of str, optional
        Of a raster of codes, as for ``write_grid``.
    cache : int
        Bytes of tiles that GDAL may keep.

    Returns
    -------
    bool
        Whether any cell has a value.

    Raises
    ------
    LayerError
        If the blocks are not those of one raster of that shape, or a code is not in the palette.
    OutputError
        If it cannot be written.

    Notes
    -----
    The file is the one that ``write_grid`` writes of the whole, but that its offsets take eight
    bytes each where it might grow beyond 4 GiB.
    """
    for driver in DRIVERS:
        need_driver(path, driver, OutputError)
    settle_places()
    _check_disk(blocks, path, palette)
    try:
        with (
            tempfile.TemporaryDirectory(dir=path.parent) as folder,
            tile_cache(cache),
        ):
            plain = Path(folder) / "plain.tif"
            known = _write_plain(blocks, plain, palette)
            with tile_cache(min(cache, _FINISHING_CACHE)):
                _finish(plain, path, palette)
                _check_whole(path)
    except Exception as error:
        library = type(error).__module__.startswith("rasterio.") or isinstance(error, SystemError)
        if not library:  # what it makes of a full disk is of no public family
            raise
        raise OutputError(f"{path.name} cannot be written: {said_by(error)}") from error
    return known


def _check_disk(blocks: GridBlocks, path: Path, palette: Palette | None) -> None:
    """Refuse what does not fit beforehand, as GDAL tells a full disk to the terminal."""
    if blocks.shape is None:
        raise LayerError("the shape of a raster must be known before it is written")
    needed = blocks.shape[0] * blocks.shape[1] * (4 if palette is None else 1)
    free = shutil.disk_usage(path.parent).free
    if needed > free:
        raise OutputError(
            f"{path.name} cannot be written: it takes up to {needed / _GIB:.3g} GiB beside it "
            f"until it is done, {free / _GIB:.3g} GiB are free"
        )


def _write_plain(blocks: GridBlocks, path: Path, palette: Palette | None) -> bool:
    """Write all blocks one below the other into a file of tiles."""
    import rasterio
    from rasterio.windows import Window

    assert blocks.shape is not None
    following = iter(continued(blocks))
    first = next(following)
    profile = stored_profile(first, blocks.shape, palette) | _tiles(blocks.shape)
    known, row = False, 0
    with rasterio.open(path, "w", **profile) as raster:
        name_band(raster, first, palette)
        every = _and_then(first, following)
        del first  # one block is held at a time
        for block in every:
            _check_place(row, block, blocks.shape)
            for part in row_blocks(block, rows=TILE):
                window = Window(0, row, part.shape[1], part.shape[0])
                raster.write(stored_values(part, palette), 1, window=window)
                known = known or bool(np.isfinite(part.values).any())
                row += part.shape[0]
            del block, part  # before the next is made
    if row != blocks.shape[0]:
        raise LayerError(f"blocks must make {blocks.shape[0]:,} rows, got {row:,}")
    return known


def _and_then(first: Grid, following: Iterable[Grid]) -> Iterable[Grid]:
    yield first
    del first
    yield from following


def _check_place(row: int, block: Grid, shape: tuple[int, int]) -> None:
    end, cols = row + block.shape[0], block.shape[1]
    if end > shape[0] or cols != shape[1]:
        raise LayerError(
            f"blocks must make {shape[0]:,} x {shape[1]:,} cells, got {cols:,} columns to row "
            f"{end:,}"
        )


def _tiles(shape: tuple[int, int]) -> dict[str, Any]:
    """Return how the plain file is laid out; tiles of no data alone take no space."""
    large = {"bigtiff": "IF_SAFER", "sparse_ok": True}
    if min(shape) < TILE:
        return large
    return large | {"tiled": True, "blockxsize": TILE, "blockysize": TILE}


def _finish(plain: Path, path: Path, palette: Palette | None) -> None:
    """Make the finished file of the plain one; GDAL goes through it tile by tile."""
    from rasterio.shutil import copy

    copy(plain, path, driver="COG", bigtiff="IF_SAFER", num_threads="ALL_CPUS", **creation(palette))


def _check_whole(path: Path) -> None:
    """Raise OutputError if a tile is not where the file says: GDAL keeps a full disk to itself."""
    import rasterio

    with rasterio.open(path) as raster:
        levels = [None, *range(len(raster.overviews(1)))]
        ends = [end for level in levels for end in _tile_ends(raster, path, level)]
    if max(ends, default=0) > path.stat().st_size:
        raise without_end(path)


def _tile_ends(raster: Any, path: Path, level: int | None) -> Iterator[int]:
    """Give where each tile of the raster, or of an overview, ends in the file, bytes."""
    import rasterio

    with rasterio.open(path, **({} if level is None else {"overview_level": level})) as shown:
        places = [place for place, _ in shown.block_windows(1)]
    for row, col in places:
        told = (
            raster.get_tag_item(f"BLOCK_{what}_{col}_{row}", "TIFF", bidx=1, ovr=level)
            for what in ("OFFSET", "SIZE")
        )
        offset, size = (int(text or 0) for text in told)  # none of a tile without data
        yield offset + size
