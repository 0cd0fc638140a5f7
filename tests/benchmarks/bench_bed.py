"""Triangulation and raster of a million soundings, against gdal_grid and scipy.

All sides get the same points (the vertices of our bed) and give a raster of the same 2000 x 2000
cells. `gdal_grid -a linear` reads them from a FlatGeobuf and uses all cores. Neither it nor scipy
keeps to the shoreline. scipy gets coordinates about the middle of the lake: on map coordinates,
millions of metres from the origin, the triangulator that both use loses digits and draws other
triangles.
"""

import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import geopandas
import numpy as np
import rasterio
import shapely
from invented_lake import CELL, CRS_CODE, shoreline, soundings
from measure import SLOWER, Row, foreign_environment, medians, show
from scipy.interpolate import LinearNDInterpolator

from toolbox.bed.gridding import grid_bed
from toolbox.bed.triangulation import triangulate
from toolbox.formats.soundings_file import read_soundings
from toolbox.layers import Grid, Soundings, Tin

COUNT, ROUNDS, MILLIMETRE = 1_000_000, 3, 1e-3
FIRST_CALL = "first-call"


def ours(points: Soundings) -> Grid:
    """Triangulate and grid."""
    return grid_bed(triangulate(points, shoreline()), cell=CELL)


def gdal_grid(source: Path, target: Path, like: Grid) -> None:
    """Let gdal_grid do it in its own process; radius 0 keeps it from filling beyond the hull."""
    left, bottom, right, top = like.bounds
    rows, cols = like.shape
    command = ["gdal_grid", "-q", "-a", "linear:radius=0:nodata=-9999", "-ot", "Float32"]
    command += ["-txe", str(left), str(right), "-tye", str(top), str(bottom)]
    command += ["-outsize", str(cols), str(rows), "-zfield", "depth", "-l", source.stem]
    command += ["--config", "GDAL_NUM_THREADS", "ALL_CPUS", str(source), str(target)]
    subprocess.run(command, check=True, env=foreign_environment())


def scipy_linear(bed: Tin, like: Grid) -> np.ndarray:
    """Let scipy do it: its own Delaunay triangulation, then evaluation at the cell centres."""
    left, _, _, top = like.bounds
    rows, cols = like.shape
    easting = left + (np.arange(cols) + 0.5) * like.cell
    northing = top - (np.arange(rows) + 0.5) * like.cell
    middle = bed.vertices.mean(axis=0)
    linear = LinearNDInterpolator(bed.vertices - middle, bed.depth)
    places = np.meshgrid(easting - middle[0], northing - middle[1])
    return np.asarray(linear(*places), np.float32)


def agreement(one: np.ndarray, other: np.ndarray) -> float:
    """Per cent of the cells of the water on which two rasters agree to a millimetre."""
    water = np.isfinite(one)
    return float(100 * (np.abs(one - other)[water] < MILLIMETRE).mean())


def first_calls(caches: Path) -> tuple[float, float]:
    """Time the first and the second call of a fresh process with empty kernel caches."""
    told = subprocess.run(
        [sys.executable, __file__, FIRST_CALL],
        env=os.environ | {"NUMBA_CACHE_DIR": str(caches)},
        check=True,
        capture_output=True,
        text=True,
    )
    first, second = map(float, told.stdout.split())
    return first, second


def tell_first_calls() -> None:
    """Print the seconds of the first and the second call."""
    points, seconds = soundings(COUNT), []
    for _ in range(2):
        start = time.perf_counter()
        ours(points)
        seconds.append(time.perf_counter() - start)
    sys.stdout.write(" ".join(map(str, seconds)))


def rows() -> list[Row]:
    """Measure."""
    points = soundings(COUNT)
    bed = triangulate(points, shoreline())
    grid = grid_bed(bed, cell=CELL)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        source, raw, target = folder / "points.fgb", folder / "soundings.fgb", folder / "out.tif"
        _write_points(bed.vertices, bed.depth, source)
        _write_points(points.coordinates, points.depth, raw)
        kept: dict[str, np.ndarray] = {}
        sides = {
            "ours": lambda: ours(points),
            "from file": lambda: ours(read_soundings(raw)),
            "raster": lambda: grid_bed(bed, cell=CELL),
            "gdal_grid": lambda: gdal_grid(source, target, grid),
            "scipy": lambda: kept.update(scipy=scipy_linear(bed, grid)),
        }
        seconds = medians(sides, ROUNDS)
        cold = first_calls(folder / "caches")
        with rasterio.open(target) as raster:
            kept["gdal_grid"] = raster.read(1)
    return _rows(seconds, cold, {name: agreement(grid.values, v) for name, v in kept.items()})


def _rows(
    seconds: dict[str, float], cold: tuple[float, float], same: dict[str, float]
) -> list[Row]:
    ours, gdal = seconds["ours"], seconds["gdal_grid"]
    what = "bed and 2000 x 2000 raster of 1,000,000 soundings"
    first, later = cold
    gdal_grid = "gdal_grid -a linear"
    return [
        Row(what, gdal_grid, gdal / ours, at_least=5),
        Row(what, "scipy LinearNDInterpolator", seconds["scipy"] / ours, at_least=8),
        Row(f"{what}, reading them too", gdal_grid, gdal / seconds["from file"]),
        Row("the raster alone", gdal_grid, gdal / seconds["raster"]),
        Row("the raster alone", "bed and raster", 100 * seconds["raster"] / ours, "% of the time"),
        Row("first call, kernels not yet compiled", "a later call", first / later, SLOWER),
        Row("first call, kernels not yet compiled", gdal_grid, gdal / first),
        Row("cells equal to 1 mm", "scipy", same["scipy"], "%", at_least=99),
        Row("cells equal to 1 mm", f"{gdal_grid}, on map coordinates", same["gdal_grid"], "%"),
    ]


def _write_points(places: np.ndarray, depth: np.ndarray, path: Path) -> None:
    frame = geopandas.GeoDataFrame({"depth": depth}, geometry=shapely.points(places), crs=CRS_CODE)
    # without an index the file keeps the order of the points and is read fastest
    frame.to_file(path, driver="FlatGeobuf", layer=path.stem, SPATIAL_INDEX="NO")


if __name__ == "__main__":
    if sys.argv[1:] == [FIRST_CALL]:
        tell_first_calls()
    else:
        show(rows())
