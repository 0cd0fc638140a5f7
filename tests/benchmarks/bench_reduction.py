"""Reading of long logs: a million NMEA sentences, and twenty million rows of x, y, z thinned."""

import sys
import tempfile
import time
from pathlib import Path

import numpy as np
from invented_lake import CRS_CODE, SOUTH, WEST
from measure import Cost, Row, cost_of, show

from toolbox.formats.nmea import read_nmea

SENTENCES, POINTS, ROUNDS = 1_000_000, 20_000_000, 3
SHORT = POINTS // 2
"""So many meet nearly all the cells too, so that memory may not depend on which it is."""
SIDE = 1_500.0
"""Of the square that the points fall into, m: 2.25 million cells of 1 m."""
STRETCH, THIN = 1_000_000, "--thin"


def write_log(path: Path) -> None:
    """Write a log of a position and a depth in turn, each second."""
    with path.open("w", encoding="ascii") as log:
        for second in range(SENTENCES // 2):
            day, minute = divmod(second, 86_400)
            hour, minute = divmod(minute, 3_600)
            time_of_day = f"{hour:02d}{minute // 60:02d}{minute % 60:02d}.00"
            degrees = 30 + second * 1e-5
            for words in (
                f"GPRMC,{time_of_day},A,47{degrees:08.5f},N,013{degrees:08.5f},E,4.0,45.0,"
                f"{1 + day:02d}0526,,",
                f"SDDBT,{30 + second % 90 / 10:.1f},f,{9.1 + second % 90 / 33:.2f},M,5.0,F",
            ):
                check = 0
                for letter in words.encode():
                    check ^= letter
                log.write(f"${words}*{check:02X}\r\n")


def write_points(path: Path, count: int) -> None:
    """Write rows of easting, northing and depth."""
    import pyarrow
    import pyarrow.csv

    schema = pyarrow.schema([(name, pyarrow.float64()) for name in ("x", "y", "depth")])
    with pyarrow.csv.CSVWriter(path, schema) as writer:
        for done in range(0, count, STRETCH):
            rng = np.random.default_rng([7, done])
            places = np.array([WEST, SOUTH]) + np.round(rng.uniform(0, SIDE, (STRETCH, 2)), 2)
            depth = np.round(rng.uniform(2, 30, STRETCH), 2)
            writer.write_table(pyarrow.table([*places.T, depth], schema=schema))


def thin_here(path: Path) -> None:
    """Thin in this process."""
    from toolbox.formats.xyz import thin_xyz

    thin_xyz(path, cell=1.0, crs=CRS_CODE, easting="x", northing="y", depth="depth")


def cost_of_thinning(path: Path) -> Cost:
    """Thin in a process of its own."""
    return cost_of([sys.executable, __file__, THIN, path])


def rows() -> list[Row]:
    """Measure."""
    with tempfile.TemporaryDirectory() as name:
        log, points = Path(name) / "log.nmea", Path(name) / "points.csv"
        write_log(log)
        start = time.perf_counter()
        read_nmea(log)
        reading = time.perf_counter() - start
        write_points(points, SHORT)
        less = cost_of_thinning(points)
        write_points(points, POINTS)
        took = cost_of_thinning(points)
    more = took.gib / less.gib
    what = f"{POINTS:,} rows of x, y, z thinned to 2.25 million cells"
    return [
        Row(f"{SENTENCES:,} NMEA sentences read", "", reading, "s", at_most=20),
        Row(f"{what}, peak memory", "", took.gib, "GiB", at_most=1),
        Row(f"{what}, peak memory", f"{SHORT:,} rows", more, "x as much", at_most=1.1),
        Row(f"{what}, time", "", took.seconds, "s"),
    ]


if __name__ == "__main__":
    if sys.argv[1:2] == [THIN]:
        thin_here(Path(sys.argv[2]))
    else:
        show(rows())
