"""Write an invented pond: its shore, and soundings along lines that are each a little off.

python docs/gallery/inputs/make_pond.py
"""

import csv
import json
from pathlib import Path

import numpy as np

HERE = Path(__file__).resolve().parent
MIDDLE = np.array([377600.0, 5116400.0])  # in the open ocean, as Figment Mere
LONG, WIDE, DEEP = 70.0, 45.0, 4.0
ACROSS, TIES, APART = range(-4, 5), range(-1, 2), 14.0


def depth(east: np.ndarray, north: np.ndarray) -> np.ndarray:
    """Return the depth, m, at places from the middle."""
    return DEEP * (1 - (east / LONG) ** 2 - (north / WIDE) ** 2) + 0.25 * np.sin(east / 9)


def soundings() -> list[tuple[float, float, float, str]]:
    """Sound the pond line by line."""
    rng = np.random.default_rng(20261126)
    step = np.arange(-80, 81, 2.5)
    lines = [(f"{n}", np.full_like(step, n * APART), step) for n in ACROSS]
    lines += [(f"tie {n}", step, np.full_like(step, n * APART * 1.4)) for n in TIES]
    rows = []
    for name, east, north in lines:
        read = depth(east, north) + rng.normal(0, 0.12) + rng.normal(0, 0.04, len(step))
        inside = (east / LONG) ** 2 + (north / WIDE) ** 2 < 0.93
        for at in np.flatnonzero(inside):
            place = MIDDLE[0] + east[at], MIDDLE[1] + north[at]
            rows.append((*np.round(place, 1), round(float(max(read[at], 0.1)), 2), name))
    return rows


def faulty() -> list[tuple[object, ...]]:
    """Sound along two lines each second, with the faults that echo sounders make."""
    rows: list[tuple[object, ...]] = []
    for name, north in (("1", -14.0), ("2", 0.0), ("3", 14.0)):
        for east in np.arange(-60, 61, 1.0):
            read = round(float(depth(np.array([east]), np.array([north]))[0]), 2)
            if name == "2" and east == 0:  # the boat lay at anchor
                rows += [(MIDDLE[0] + east, MIDDLE[1] + north, read, name)] * 60
            if name == "3" and -20 <= east <= 20:  # a wrong setting for a while
                read = round(read - 1.2, 2)
            rows.append((MIDDLE[0] + east, MIDDLE[1] + north, read, name))
    rows += [
        (MIDDLE[0] + east, MIDDLE[1] + 7, read, "") for east, read in ((5.0, 0.6), (-30.0, 3.1))
    ]
    stamp = np.datetime64("2026-05-12T09:00:00") + np.arange(len(rows)).astype("timedelta64[s]")
    timed = [(*row, f"{time}Z") for row, time in zip(rows, stamp, strict=True)]
    return timed + timed[40:43]  # exported twice


def write() -> None:
    """Write all three files."""
    with (HERE / "pond_faults.csv").open("w", encoding="utf-8", newline="") as file:
        csv.writer(file, lineterminator="\n").writerows(
            [("easting", "northing", "depth", "line", "time"), *faulty()]
        )
    with (HERE / "pond.csv").open("w", encoding="utf-8", newline="") as file:
        csv.writer(file, lineterminator="\n").writerows(
            [("easting", "northing", "depth", "line"), *soundings()]
        )
    angle = np.linspace(0, 2 * np.pi, 73)
    ring = MIDDLE + np.column_stack([LONG * np.cos(angle), WIDE * np.sin(angle)])
    shape = {"type": "Polygon", "coordinates": [np.round(ring, 1).tolist()]}
    layer = {
        "type": "FeatureCollection",
        "crs": {"type": "name", "properties": {"name": "urn:ogc:def:crs:EPSG::32625"}},
        "features": [{"type": "Feature", "properties": {"name": "pond"}, "geometry": shape}],
    }
    (HERE / "pond.geojson").write_text(json.dumps(layer) + "\n", encoding="utf-8")


if __name__ == "__main__":
    write()
