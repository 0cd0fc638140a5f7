"""What the stages of a survey are given: written once for each size, read by each process."""

import pickle
from importlib.util import find_spec
from pathlib import Path

import numpy as np
from invented_lake import shoreline, soundings, write_survey

from toolbox.layers import Grid, Soundings, Tin

__all__ = ["bed_of", "centres", "fresh", "grid_of", "missing_peers", "points_of", "write_inputs"]

NODATA = -9999.0


def write_inputs(folder: Path, count: int) -> None:
    """Write what stages of one size are given: survey, bed and depth raster."""
    from toolbox.bed.gridding import grid_bed
    from toolbox.bed.triangulation import triangulate

    folder.mkdir(parents=True, exist_ok=True)
    write_survey(folder, count)
    layer = soundings(count)
    np.savez(folder / "points.npz", places=layer.coordinates, depth=layer.depth)
    bed = triangulate(layer, shoreline())
    (folder / "bed.pickle").write_bytes(pickle.dumps(bed))
    grid = grid_bed(bed)
    (folder / "depth.pickle").write_bytes(pickle.dumps(grid))
    _write_plain(grid, folder / "depth.tif")


def missing_peers() -> list[str]:
    """Name the libraries that are not installed, so that their rows are left out."""
    wanted = {"xrspatial": "xarray-spatial", "skimage": "scikit-image"}
    return [name for module, name in wanted.items() if find_spec(module) is None]


def points_of(folder: Path) -> Soundings:
    kept = np.load(folder / "points.npz")
    return Soundings.from_arrays(kept["places"], kept["depth"], crs=shoreline().crs, source="track")


def fresh(layer: Soundings) -> Soundings:
    """Return the same soundings, which remember nothing."""
    return Soundings(layer.frame, layer.notes)


def bed_of(folder: Path) -> Tin:
    return pickle.loads((folder / "bed.pickle").read_bytes())  # written by this program


def grid_of(folder: Path) -> Grid:
    return pickle.loads((folder / "depth.pickle").read_bytes())


def _write_plain(grid: Grid, path: Path) -> None:
    """Write a raster as GDAL's programs read it fastest."""
    import rasterio

    rows, cols = grid.shape
    profile = {"driver": "GTiff", "dtype": "float32", "count": 1, "nodata": NODATA}
    profile |= {"height": rows, "width": cols, "transform": grid.transform, "crs": grid.crs}
    with rasterio.open(path, "w", **profile) as raster:
        raster.write(np.nan_to_num(grid.values, nan=NODATA), 1)


def centres(grid: Grid) -> list[np.ndarray]:
    left, _, _, top = grid.bounds
    rows, cols = grid.shape
    easting = left + (np.arange(cols) + 0.5) * grid.cell
    northing = top - (np.arange(rows) + 0.5) * grid.cell
    return np.meshgrid(easting, northing)
