"""Isobaths of two million triangles at 38 levels, against matplotlib and gdal_contour.

matplotlib traces the same triangles and gives bare arrays. `gdal_contour` reads the raster of the
same bed, 2000 x 2000 cells, from an uncompressed GeoTIFF and writes a FlatGeobuf of bare lines: its
lines follow cells and stop half a cell from the shore. Our full side also measures the lines on the
ground and makes a layer of them, but writes no file.
"""

import subprocess
import tempfile
from pathlib import Path

import numpy as np
import rasterio
import shapely
from invented_lake import CELL, shoreline, soundings
from matplotlib._tri import TriContourGenerator
from matplotlib.tri import Triangulation
from measure import Row, Sides, foreign_environment, medians, show
from rasterio.transform import from_origin

from toolbox.bed.gridding import grid_bed
from toolbox.bed.triangulation import triangulate
from toolbox.isobaths.isobaths import isobaths
from toolbox.isobaths.isolines import Isolines
from toolbox.isobaths.zones import depth_zones
from toolbox.layers import Grid, Tin

COUNT, LEVELS, ROUNDS = 1_000_000, 38, 5


def ours(bed: Tin, levels: np.ndarray) -> list[np.ndarray]:
    """Trace all levels, and give the lines as arrays."""
    found = Isolines(bed.vertices, bed.triangles, bed.depth, levels)
    nodes, line = found.lines().drawn()
    return np.split(found.places[nodes], np.flatnonzero(np.diff(line)) + 1)


def matplotlib_lines(bed: Tin, levels: np.ndarray) -> list[np.ndarray]:
    """Let matplotlib do it."""
    net = Triangulation(*bed.vertices.T, bed.triangles)
    tracer = TriContourGenerator(net.get_cpp_triangulation(), bed.depth)
    return [line for level in levels for line in tracer.create_contour(level)[0]]


def write_raster(grid: Grid, path: Path) -> None:
    """Write a raster as gdal_contour reads it fastest."""
    left, _, _, top = grid.bounds
    rows, cols = grid.shape
    values = np.where(np.isfinite(grid.values), grid.values, -9999).astype(np.float32)
    profile = {"driver": "GTiff", "dtype": "float32", "count": 1, "nodata": -9999}
    place = {"width": cols, "height": rows, "transform": from_origin(left, top, CELL, CELL)}
    with rasterio.open(path, "w", crs=grid.crs, **profile, **place) as raster:
        raster.write(values, 1)


def gdal_contour(source: Path, target: Path, levels: np.ndarray) -> None:
    """Let gdal_contour do it in its own process."""
    target.unlink(missing_ok=True)
    fixed = [text for level in levels for text in ("-fl", repr(float(level)))]
    command = ["gdal_contour", "-q", "-a", "depth", *fixed, "-f", "FlatGeobuf"]
    command += ["-lco", "SPATIAL_INDEX=NO", str(source), str(target)]
    subprocess.run(command, check=True, env=foreign_environment())


def total(lines: list[np.ndarray]) -> float:
    """Length of all lines on the map, m."""
    return float(sum(np.hypot(*np.diff(line, axis=0).T).sum() for line in lines))


def rows() -> list[Row]:
    """Measure."""
    bed = triangulate(soundings(COUNT), shoreline())
    levels = np.linspace(0, bed.depth.max(), LEVELS + 2)[1:-1]
    kept: dict[str, list[np.ndarray]] = {}
    with tempfile.TemporaryDirectory() as name:
        source, target = Path(name) / "depth.tif", Path(name) / "lines.fgb"
        write_raster(grid_bed(bed, cell=CELL), source)
        sides: Sides = {
            "ours": lambda: kept.update(ours=ours(bed, levels)),
            "layer": lambda: isobaths(bed, levels=tuple(levels)),
            "smooth": lambda: isobaths(bed, levels=tuple(levels), smooth=10.0),
            "zones": lambda: depth_zones(bed, levels=tuple(levels)),
            "matplotlib": lambda: kept.update(matplotlib=matplotlib_lines(bed, levels)),
            "gdal_contour": lambda: gdal_contour(source, target, levels),
        }
        for side in ("ours", "layer", "smooth", "zones"):
            sides[side]()  # kernels compile
        seconds = medians(sides, ROUNDS)
    valid = shapely.is_valid(depth_zones(bed, levels=tuple(levels)).frame.geometry.values).mean()
    return _rows(bed, seconds, kept, 100 * float(valid))


def _rows(
    bed: Tin, seconds: dict[str, float], kept: dict[str, list[np.ndarray]], valid: float
) -> list[Row]:
    what = f"isobaths of {len(bed.triangles):,} triangles at {LEVELS} levels"
    tracer, gdal = "matplotlib's TriContourGenerator", "gdal_contour on the raster"
    apart = abs(total(kept["ours"]) / total(kept["matplotlib"]) - 1)
    more = len(kept["ours"]) - len(kept["matplotlib"])
    return [
        Row(what, tracer, seconds["matplotlib"] / seconds["ours"], at_least=3),
        Row(f"{what}, as a layer", gdal, seconds["gdal_contour"] / seconds["layer"], at_least=1),
        Row(f"{what}, smoothed", gdal, seconds["gdal_contour"] / seconds["smooth"]),
        Row(
            "depth zones between them", "isobaths", seconds["zones"] / seconds["layer"], "x as long"
        ),
        Row("length of all lines, apart from", tracer, apart, "", at_most=1e-9),
        Row("lines more than", tracer, more, "", at_least=0, at_most=0),
        Row("zones that are valid polygons", "all", valid, "%", at_least=100),
    ]


if __name__ == "__main__":
    show(rows())
