"""Volumes of many draws, and of a raster that is larger than memory should hold."""

import sys
import tempfile
import time
from dataclasses import replace
from pathlib import Path

import numpy as np
import rasterio
from affine import Affine
from bench_hypsography import LEVELS, bed_of_two_million
from invented_lake import CRS_CODE, SOUTH, WEST
from measure import Cost, Row, cost_of, show

from toolbox.volume.hypsography import drawn_area_and_volume

DRAWS, ACROSS, TILE = 100, 17_400, 512
LEADLINE = Path(sys.executable).with_name("leadline")


def write_raster(path: Path) -> None:
    """Write a raster of 303 million cells, tiled and deflated, of a smooth bed."""
    profile = {"driver": "GTiff", "dtype": "float32", "count": 1, "nodata": -9999.0}
    profile |= {"width": ACROSS, "height": ACROSS, "crs": CRS_CODE, "tiled": True}
    profile |= {"blockxsize": TILE, "blockysize": TILE, "compress": "DEFLATE", "zlevel": 1}
    transform = Affine(1, 0, WEST, 0, -1, SOUTH + ACROSS)
    with rasterio.open(path, "w", transform=transform, **profile) as raster:
        for top in range(0, ACROSS, TILE):
            row = np.arange(top, min(top + TILE, ACROSS))[:, None]
            values = 20 + 15 * np.sin(row / 3_000) * np.cos(np.arange(ACROSS) / 2_500)
            window = ((top, top + len(row)), (0, ACROSS))
            raster.write(np.round(values, 2).astype(np.float32), 1, window=window)


def cost_of_table(raster: Path) -> Cost:
    """Tabulate by the command."""
    table = raster.with_name("table.csv")
    return cost_of([LEADLINE, "hypsography-of-grid", raster, "--out", table])


def seconds_of_draws() -> float:
    """Tabulate all draws of two million triangles."""
    bed = bed_of_two_million(None)
    levels = np.linspace(0, bed.depth.max(), LEVELS)
    rng = np.random.default_rng(3)
    draws = rng.normal(bed.depth[:, None], 0.1, (len(bed.depth), DRAWS)).astype(np.float32)
    drawn = replace(bed, draws=draws)
    # compiled loops are loaded
    drawn_area_and_volume(replace(bed, draws=draws[:, :1]), levels[:2])
    start = time.perf_counter()
    drawn_area_and_volume(drawn, levels)
    return time.perf_counter() - start


def rows() -> list[Row]:
    """Measure."""
    with tempfile.TemporaryDirectory() as name:
        raster = Path(name) / "depth.tif"
        write_raster(raster)
        took = cost_of_table(raster)
    cells = f"table of a raster of {ACROSS**2 / 1e6:.0f} million cells"
    what = f"2,000,000 triangles x {LEVELS} levels x {DRAWS} draws"
    return [
        Row(what, "", seconds_of_draws(), "s", at_most=60),
        Row(f"{cells}, peak memory", "", took.gib, "GiB", at_most=1),
        Row(f"{cells}, time", "", took.seconds, "s"),
    ]


if __name__ == "__main__":
    show(rows())
