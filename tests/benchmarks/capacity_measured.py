"""What the planning page needs beside the stages: thinning of files, a small batch, sizes."""

import json
import os
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

import numpy as np
from invented_lake import write_survey

__all__ = ["check_batch", "raster_megabytes", "thinning_cost"]

MILLION, THINNED = 1e6, 5_000_000
ONE_THREAD = dict.fromkeys(
    ("NUMBA_NUM_THREADS", "OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "GDAL_NUM_THREADS"), "1"
)
CHECK_COUNTS = (500, 800, 1_300, 2_000, 3_200, 5_000, 700, 1_000)
"""Soundings of the lakes of the batch that checks the simulation."""
BATCH = "from toolbox.batch.command import batch_command as run; run()"


def raster_megabytes() -> float:
    """Return the size of a million cells of water as they are written, MB."""
    from invented_lake import shoreline, soundings

    from toolbox.bed.gridding import grid_bed
    from toolbox.bed.triangulation import triangulate
    from toolbox.formats.geotiff import write_grid

    depth = grid_bed(triangulate(soundings(100_000), shoreline()), cell=5.0)
    with tempfile.TemporaryDirectory() as name:
        path = Path(name) / "depth.tif"
        write_grid(depth, path)
        return path.stat().st_size / np.isfinite(depth.values).sum()


def thinning_cost() -> dict[str, float]:
    """Thin some millions of soundings of a LAZ file to 1 m: costs of a million of them."""
    from bench_big_points import ELEVATION, cost_of_thinning, write_laz

    with tempfile.TemporaryDirectory() as name:
        points, out = Path(name) / "points.laz", Path(name) / "thinned.parquet"
        write_laz(points, THINNED)
        cost = cost_of_thinning(points, out, *ELEVATION)
        import pyarrow.parquet

        cells = pyarrow.parquet.ParquetFile(out).metadata.num_rows
        return {
            "seconds": cost.processor / THINNED * MILLION,
            "gib": cost.gib,
            "mb_in": points.stat().st_size / THINNED,
            "mb_cell": out.stat().st_size / cells,
        }


def check_batch() -> dict[str, Any]:
    """Carry out a small batch on one worker and on two; each lake keeps to one thread."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        for number, count in enumerate(CHECK_COUNTS):
            (folder / "lakes" / f"{number:02d}").mkdir(parents=True)
            write_survey(folder / "lakes" / f"{number:02d}", count)
        return {str(workers): _batch(folder, workers) for workers in (1, 2)}


def _batch(folder: Path, workers: int) -> dict[str, Any]:
    """Carry out the batch: seconds of all, of the lakes, and of starting with nothing to do."""
    program, out = folder / "batch.py", folder / f"out{workers}"
    program.write_text(f"if __name__ == '__main__':\n    {BATCH}\n", encoding="utf-8")
    words = [folder / "lakes", "--out", out, "--workers", str(workers), "--quiet"]
    command = [sys.executable, str(program), *map(str, words)]
    start = time.perf_counter()
    subprocess.run(command, check=True, env=os.environ | ONE_THREAD)
    took = time.perf_counter() - start
    records = [json.loads(path.read_text()) for path in sorted(out.glob("waters/*/water.json"))]
    start = time.perf_counter()
    subprocess.run(command, check=True, env=os.environ | ONE_THREAD)  # all is done: passed over
    idle = time.perf_counter() - start
    shutil.rmtree(out)
    return {"took": took, "idle": idle, "lakes": [record["seconds"] for record in records]}
