"""The stages of a survey: what each is given, what it does, and who else does the same work.

A stage is made ready by a function that takes a folder of inputs (stage_inputs.py) and returns
the sides: ours first, then peers. A peer's ratio says how many times as long it takes as we do.
"""

import subprocess
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np
from invented_lake import CRS_CODE, shoreline
from measure import Sides, foreign_environment
from stage_inputs import bed_of, centres, fresh, grid_of, missing_peers, points_of

from toolbox.layers import Grid, Tin

__all__ = ["OURS", "STAGES", "Stage"]

OURS = "ours"
COLUMNS = ("easting", "northing", "depth")


@dataclass(frozen=True)
class Stage:
    """One stage.

    Parameters
    ----------
    ready : callable
        Given the folder of inputs, returns the sides.
    most : int
        Soundings beyond which it is not run.
    peers : dict
        By name of a peer: soundings beyond which it is not run, for it takes too long or too
        much memory.
    """

    ready: Callable[[Path], Sides]
    most: int = 10_000_000
    peers: dict[str, int] = field(default_factory=dict)


def _reading(folder: Path) -> Sides:
    import pandas as pd
    import pyarrow.csv

    from toolbox.formats.soundings_file import read_soundings

    path = folder / "soundings.csv"

    def pandas_side() -> np.ndarray:
        return pd.read_csv(path)[list(COLUMNS)].to_numpy()

    def arrow_side() -> np.ndarray:
        table = pyarrow.csv.read_csv(path)
        return np.column_stack([table[name].to_numpy() for name in COLUMNS])

    return {
        OURS: lambda: read_soundings(path, crs=CRS_CODE),
        "pandas, bare figures": pandas_side,
        "pyarrow, bare figures": arrow_side,
    }


def _cleaning(folder: Path) -> Sides:
    from scipy.spatial import cKDTree

    from toolbox.reduction.cleaning import clean

    layer, water = points_of(folder), shoreline()
    places = layer.coordinates
    return {
        OURS: lambda: clean(fresh(layer), water),
        "scipy, 8 nearest of each and no more": lambda: cKDTree(places).query(places, 9, workers=2),
    }


def _thinning(folder: Path) -> Sides:
    import pandas as pd

    from toolbox.reduction.thinning import thin

    layer = points_of(folder)
    places, depth = layer.coordinates, layer.depth
    cell = float(np.sqrt(shoreline().polygons.area / len(layer)))  # some 3.6 soundings each

    def pandas_side() -> pd.DataFrame:
        east, north = np.floor(places / cell).astype(np.int64).T
        columns = {"i": east, "j": north, "x": places[:, 0], "y": places[:, 1], "depth": depth}
        return pd.DataFrame(columns).groupby(["i", "j"]).mean()

    return {
        OURS: lambda: thin(fresh(layer), cell=cell),
        "pandas, bare means of cells": pandas_side,
        "scipy, one of each neighbourhood by KD-tree": lambda: _one_of_each(places, cell / 2),
    }


def _one_of_each(places: np.ndarray, radius: float) -> np.ndarray:
    """Keep a place unless one kept before lies within the radius."""
    from scipy.spatial import cKDTree

    tree, kept = cKDTree(places), np.ones(len(places), bool)
    for place in range(len(places)):
        if kept[place]:
            near = tree.query_ball_point(places[place], radius)
            kept[near] = False
            kept[place] = True
    return kept


def _triangulating(folder: Path) -> Sides:
    from scipy.spatial import Delaunay

    from toolbox.bed.triangulation import triangulate

    layer, bed, water = points_of(folder), bed_of(folder), shoreline()
    centred = bed.vertices - bed.vertices.mean(axis=0)
    return {
        OURS: lambda: triangulate(fresh(layer), water),
        "scipy Delaunay, no shoreline": lambda: Delaunay(centred),
    }


def _fitting(folder: Path) -> Sides:
    from scipy.interpolate import RBFInterpolator

    from toolbox.bed.fitting import fit

    layer, nodes = points_of(folder), bed_of(folder).vertices
    middle = nodes.mean(axis=0)

    def splines() -> np.ndarray:
        thin_plates = RBFInterpolator(layer.coordinates - middle, layer.depth, neighbors=30)
        return thin_plates(nodes - middle)

    return {
        OURS: lambda: fit(fresh(layer), shoreline()).bed(draws=100, seed=0),
        "scipy RBFInterpolator, 30 neighbours, no errors": splines,
    }


def _gridding(folder: Path) -> Sides:
    from matplotlib.tri import LinearTriInterpolator, Triangulation

    from toolbox.bed.gridding import grid_bed

    bed, like = bed_of(folder), grid_of(folder)
    return {
        OURS: lambda: grid_bed(bed),
        "matplotlib LinearTriInterpolator": lambda: LinearTriInterpolator(
            Triangulation(*bed.vertices.T, bed.triangles), bed.depth
        )(*centres(like)),
    }


def _bed_and_raster(folder: Path) -> Sides:
    from bench_bed import gdal_grid, scipy_linear

    from toolbox.bed.gridding import grid_bed
    from toolbox.bed.triangulation import triangulate

    layer, bed, like, water = points_of(folder), bed_of(folder), grid_of(folder), shoreline()
    source = folder / "vertices.fgb"
    if not source.exists():
        from bench_bed import _write_points

        _write_points(bed.vertices, bed.depth, source)
    return {
        OURS: lambda: grid_bed(triangulate(fresh(layer), water)),
        "gdal_grid -a linear": lambda: gdal_grid(source, folder / "theirs.tif", like),
        "scipy LinearNDInterpolator": lambda: scipy_linear(bed, like),
    }


def _terrain(folder: Path) -> Sides:
    from toolbox.survey.terrain import terrain_grids
    from toolbox.survey.wanted import Make

    bed, depth = bed_of(folder), grid_of(folder)
    return {OURS: lambda: list(terrain_grids(depth, bed, Make()))}


def _three_layers(folder: Path) -> Sides:
    from toolbox.terrain.aspect import aspect
    from toolbox.terrain.relief import shaded_relief
    from toolbox.terrain.slope import slope

    depth, source = grid_of(folder), folder / "depth.tif"

    def gdal() -> None:
        for what in ("slope", "aspect", "hillshade"):
            command = ["gdaldem", what, "-q", str(source), str(folder / f"{what}.tif")]
            subprocess.run(command, check=True, env=foreign_environment())

    sides: Sides = {
        OURS: lambda: (slope(depth), aspect(depth), shaded_relief(depth)),
        "gdaldem, files read and written": gdal,
    }
    return sides | _by_xarray_spatial(depth)


def _by_xarray_spatial(depth: Grid) -> Sides:
    if "xarray-spatial" in missing_peers():
        return {}
    import xarray
    import xrspatial

    easting, northing = centres(depth)
    raster = xarray.DataArray(depth.values, dims=("y", "x"))
    raster = raster.assign_coords(x=easting[0], y=northing[:, 0])
    makers = (xrspatial.slope, xrspatial.aspect, xrspatial.hillshade)
    return {"xarray-spatial": lambda: [make(raster) for make in makers]}


def _levels(bed: Tin) -> np.ndarray:
    from toolbox.isobaths.levels import chosen_levels

    return chosen_levels(bed, None, None)[0]


def _isobaths(folder: Path) -> Sides:
    from bench_isobaths import gdal_contour, matplotlib_lines

    from toolbox.isobaths.isobaths import isobaths

    bed, depth = bed_of(folder), grid_of(folder)
    levels, target = _levels(bed), folder / "lines.fgb"
    sides: Sides = {
        OURS: lambda: isobaths(bed),
        "matplotlib TriContourGenerator, bare lines": lambda: matplotlib_lines(bed, levels),
        "gdal_contour on the raster": lambda: gdal_contour(folder / "depth.tif", target, levels),
    }
    if "scikit-image" not in missing_peers():
        from skimage.measure import find_contours

        sides["scikit-image find_contours on the raster, bare lines"] = lambda: [
            find_contours(depth.values, level) for level in levels
        ]
    return sides


def _zones(folder: Path) -> Sides:
    from toolbox.isobaths.zones import depth_zones

    bed = bed_of(folder)
    return {OURS: lambda: depth_zones(bed)}


def _features(folder: Path) -> Sides:
    from toolbox.features.bed_features import bed_features

    bed = bed_of(folder)
    return {OURS: lambda: bed_features(replace(bed))}


def _hypsography(folder: Path) -> Sides:
    from bench_hypsography import loop

    from toolbox.volume.hypsography import hypsography

    bed = bed_of(folder)
    levels = hypsography(bed).frame["depth_m"].to_numpy()

    def by_levels() -> Any:
        fresh = replace(bed)
        corners = np.sort(fresh.depth[fresh.triangles], axis=1)
        return loop(fresh.ground_areas(), corners, levels)

    return {OURS: lambda: hypsography(replace(bed)), "numpy, level by level": by_levels}


def _writing_points(folder: Path) -> Sides:
    import pyogrio

    from toolbox.formats.vector import write_features

    frame = points_of(folder).frame
    ours, theirs = folder / "ours.gpkg", folder / "theirs.gpkg"

    def fiona_side() -> None:
        theirs.unlink(missing_ok=True)
        frame.to_file(theirs, driver="GPKG", engine="fiona", layer="soundings")

    def pyogrio_side() -> None:
        theirs.unlink(missing_ok=True)
        pyogrio.write_dataframe(frame, theirs, driver="GPKG", layer="soundings")

    def our_side() -> None:
        ours.unlink(missing_ok=True)
        write_features(frame, ours, layer="soundings")

    return {OURS: our_side, "pyogrio": pyogrio_side, "fiona": fiona_side}


def _writing_bed(folder: Path) -> Sides:
    import geopandas
    import shapely

    from toolbox.formats.bed_file import write_bed

    bed, ours, theirs = bed_of(folder), folder / "bed.gpkg", folder / "theirs.gpkg"

    def our_side() -> None:
        ours.unlink(missing_ok=True)
        write_bed(bed, ours)

    def geopandas_side() -> None:
        theirs.unlink(missing_ok=True)
        corners = bed.vertices[bed.triangles[:, [0, 1, 2, 0]]]
        columns = dict(zip("abc", bed.triangles.T, strict=True))
        frame = geopandas.GeoDataFrame(columns, geometry=shapely.polygons(corners), crs=bed.crs)
        frame.to_file(theirs, driver="GPKG", engine="pyogrio")

    return {OURS: our_side, "geopandas and pyogrio, the triangles alone": geopandas_side}


def _writing_raster(folder: Path) -> Sides:
    from toolbox.formats.geotiff import write_grid

    depth, source = grid_of(folder), folder / "depth.tif"
    options = ["COMPRESS=DEFLATE", "PREDICTOR=YES", "OVERVIEW_RESAMPLING=AVERAGE"]
    command = ["gdal_translate", "-q", "-of", "COG"]
    command += [word for option in options for word in ("-co", option)]
    command += [str(source), str(folder / "theirs.tif")]

    def gdal() -> None:
        subprocess.run(command, check=True, env=foreign_environment())

    return {OURS: lambda: write_grid(depth, folder / "ours.tif"), "gdal_translate to COG": gdal}


SMALL, MIDDLE, LARGE = 100_000, 1_000_000, 10_000_000

STAGES: dict[str, Stage] = {
    "reading": Stage(
        _reading, peers={"pandas, bare figures": LARGE, "pyarrow, bare figures": LARGE}
    ),
    "cleaning": Stage(_cleaning, peers={"scipy, 8 nearest of each and no more": LARGE}),
    "thinning": Stage(
        _thinning,
        peers={
            "pandas, bare means of cells": LARGE,
            "scipy, one of each neighbourhood by KD-tree": MIDDLE,
        },
    ),
    "triangulating": Stage(_triangulating, peers={"scipy Delaunay, no shoreline": MIDDLE}),
    "fitting, 100 draws": Stage(
        _fitting,
        most=MIDDLE,
        peers={"scipy RBFInterpolator, 30 neighbours, no errors": SMALL},
    ),
    "gridding": Stage(_gridding, peers={"matplotlib LinearTriInterpolator": SMALL}),
    "triangulating and gridding": Stage(
        _bed_and_raster,
        peers={"gdal_grid -a linear": MIDDLE, "scipy LinearNDInterpolator": MIDDLE},
    ),
    "terrain, eight layers": Stage(_terrain),
    "slope, aspect and relief": Stage(
        _three_layers,
        peers={"gdaldem, files read and written": LARGE, "xarray-spatial": LARGE},
    ),
    "isobaths": Stage(
        _isobaths,
        peers={
            "matplotlib TriContourGenerator, bare lines": LARGE,
            "gdal_contour on the raster": LARGE,
            "scikit-image find_contours on the raster, bare lines": LARGE,
        },
    ),
    "depth zones": Stage(_zones),
    "features": Stage(_features),
    "hypsography": Stage(_hypsography, peers={"numpy, level by level": LARGE}),
    "writing soundings": Stage(_writing_points, peers={"pyogrio": MIDDLE, "fiona": SMALL}),
    "writing the bed": Stage(
        _writing_bed, peers={"geopandas and pyogrio, the triangles alone": MIDDLE}
    ),
    "writing a raster": Stage(_writing_raster, peers={"gdal_translate to COG": LARGE}),
}
