"""A multibeam survey larger than memory, thinned to cells of 1 m: time, memory, disk, sameness.

    python tests/benchmarks/bench_big_points.py [soundings] [folder]

500 million soundings take 2 GB as Parquet, 12 GB in the temporary file and 3 GB thinned.
"""

import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

import geopandas
import numpy as np
import shapely
from measure import Cost, Row, cost_of, show
from pyproj import CRS

from toolbox.blocks.thin_file import thin_files
from toolbox.formats.point_chunks import Choices
from toolbox.layers import Soundings
from toolbox.reduction.thinning import By, thin

SEED = 20_260_611
WEST, SOUTH, CRS_CODE = 498_000.0, 5_301_000.0, "EPSG:32633"
SWATH, LINE_SPACING, PER_M2 = 60.0, 50.0, 8.0
"""Width of what a line covers and distance of the lines, m; soundings on a square metre of it."""
STRETCH = 500_000
STEP = 1 / 256  # m, to which figures are rounded: exact in binary, so that files stay small
COUNT, SUBSET, IN_LAZ = 500_000_000, 5_000_000, 5_000_000
MEMORY = 2.0
ELEVATION = ("--z", "elevation", "--datum", "0")
COMMAND = "from toolbox.blocks.command import thin_file_command as run; run()"


def stretches(count: int) -> Iterator[tuple[np.ndarray, np.ndarray]]:
    """Go through `count` soundings as a vessel takes them: places, shape (n, 2), and depths, m.

    Lines run to the north and back, side by side, over a square.
    """
    side = np.sqrt(count / PER_M2 * LINE_SPACING / SWATH)
    done, along = 0, 0.0
    while done < count:
        size = min(STRETCH, count - done)
        rng = np.random.default_rng([SEED, done])
        length = size / (SWATH * PER_M2)
        way = along + np.sort(rng.uniform(0, length, size))
        line, way = np.divmod(way, side)
        north = np.where(line % 2 == 0, way, side - way)
        east = line * LINE_SPACING + rng.uniform(0, SWATH, size)
        bed = 20 + 12 * np.sin(east / 700) * np.cos(north / 900) + rng.normal(0, 0.05, size)
        places = np.column_stack([WEST + east, SOUTH + north])
        yield np.round(places / STEP) * STEP, np.round(bed / STEP) * STEP
        done, along = done + size, along + length


def write_parquet(path: Path, count: int) -> None:
    """Write them as Parquet with columns easting, northing and depth."""
    import pyarrow
    import pyarrow.parquet

    names = ("easting", "northing", "depth")
    schema = pyarrow.schema([(name, pyarrow.float64()) for name in names])
    options = {"use_dictionary": False, "use_byte_stream_split": True, "compression": "zstd"}
    with pyarrow.parquet.ParquetWriter(path, schema, **options) as writer:
        for places, depth in stretches(count):
            writer.write_table(pyarrow.table([*places.T, depth], schema=schema))


def write_laz(path: Path, count: int) -> None:
    """Write them as LAZ, whose third coordinate is the elevation below a water level of 0 m."""
    import laspy

    header = laspy.LasHeader(point_format=6, version="1.4")
    header.scales, header.offsets = np.full(3, STEP), np.array([WEST, SOUTH, 0.0])
    header.add_crs(CRS.from_user_input(CRS_CODE))
    with laspy.open(path, mode="w", header=header) as writer:
        for places, depth in stretches(count):
            points = laspy.ScaleAwarePointRecord.zeros(len(depth), header=header)
            points.x, points.y, points.z = *places.T, -depth
            points.classification = np.full(len(depth), 40)
            points.return_number = points.number_of_returns = np.ones(len(depth), np.uint8)
            writer.write_points(points)


def cost_of_thinning(points: Path, out: Path, *options: str) -> Cost:
    """Thin a file in a process of its own."""
    words = [points, out, "--cell", "1", "--memory", f"{MEMORY} GiB", "--quiet", *options]
    return cost_of([sys.executable, "-c", COMMAND, *words])


def differing(points: Path, whole: Soundings, by: By) -> int:
    """Count the soundings that are not, bit for bit and in order, those thinned in memory."""
    out = points.with_name(f"{by}.parquet")
    choices = Choices(crs=CRS_CODE)
    thin_files([points], out, cell=1.0, by=by, choices=choices, memory="16 GiB")
    found, expected = geopandas.read_parquet(out), thin(whole, cell=1.0, by=by).frame
    if len(found) != len(expected):
        return abs(len(found) - len(expected))
    same = (_figures(found) == _figures(expected)).all(axis=1)
    return int((~same).sum())


def _figures(frame: geopandas.GeoDataFrame) -> np.ndarray:
    places = shapely.get_coordinates(frame.geometry.to_numpy())
    figures = np.column_stack([places, frame[["depth", "count", "lines", "cell"]]]).astype(float)
    return figures.view(np.int64)


def rows(count: int = COUNT, there: Path | None = None) -> list[Row]:
    """Measure in a folder below `there`, or where temporary files are made."""
    with tempfile.TemporaryDirectory(dir=there) as name:
        return _measured(count, Path(name))


def _measured(count: int, folder: Path) -> list[Row]:
    write_parquet(folder / "points.parquet", count)
    big = cost_of_thinning(folder / "points.parquet", folder / "big.parquet", "--crs", CRS_CODE)
    write_laz(folder / "points.laz", IN_LAZ)
    laz = cost_of_thinning(folder / "points.laz", folder / "laz.parquet", *ELEVATION)
    costs = [*_costs(f"{count:,} of Parquet", big), *_costs(f"{IN_LAZ:,} of LAZ", laz)]
    return [*costs, *_sameness(folder / "subset.parquet")]


def _sameness(points: Path) -> list[Row]:
    write_parquet(points, SUBSET)
    parts = zip(*stretches(SUBSET), strict=True)
    places, depth = (np.concatenate(part) for part in parts)
    whole = Soundings.from_arrays(places, depth, crs=CRS.from_user_input(CRS_CODE))
    ways: tuple[By, ...] = ("mean", "median", "shoalest", "deepest")
    return [
        Row(f"{SUBSET:,} by {by}, unlike", "in memory", differing(points, whole, by), "", at_most=0)
        for by in ways
    ]


def _costs(what: str, cost: Cost) -> list[Row]:
    return [
        Row(f"{what}, peak memory", "", cost.gib, "GiB", at_most=MEMORY),
        Row(f"{what}, time", "", cost.seconds, "s"),
        Row(f"{what}, processor time", "", cost.processor, "s"),
    ]


if __name__ == "__main__":
    given = int(sys.argv[1]) if len(sys.argv) > 1 else COUNT
    show(rows(given, Path(sys.argv[2]) if len(sys.argv) > 2 else None))
