"""Invented small waters for many at once, and work that stands in for a survey's."""

import os
import signal
import time
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import shapely

from toolbox.batch.waters import Job, Record
from toolbox.batch.work import finished
from toolbox.blocks.memory import memory_allowed
from toolbox.formats.paths import new_folder

__all__ = ["CRS_CODE", "jobs", "small_lake", "stand_in", "write_layers", "write_surveys"]

CRS_CODE = "EPSG:32633"
WEST, SOUTH, APART, IN_A_ROW = 500_000.0, 5_300_000.0, 800.0, 100


def small_lake(number: int, count: int) -> tuple[shapely.Polygon, np.ndarray]:
    """Return a lake of 160 to 500 m across, and about `count` rows of easting, northing, depth."""
    rng = np.random.default_rng(20_261_126 + number)
    middle = (
        WEST + number % IN_A_ROW * APART,
        SOUTH + number // IN_A_ROW * APART,
    )
    angle = np.linspace(0, 2 * np.pi, 200, endpoint=False)
    order = np.arange(2, 10)
    waves = rng.normal(0, 0.15, 8) / order * np.cos(order * angle[:, None] + rng.uniform(0, 6.3, 8))
    radius = rng.uniform(80, 250) * np.maximum(1 + waves.sum(axis=1), 0.3)
    ring = middle + np.column_stack([radius * np.cos(angle), radius * np.sin(angle)])
    water = shapely.Polygon(np.round(ring, 2))
    places = _tracks(water, count)
    away = np.hypot(*(places - middle).T) / radius.max()
    hump = 0.3 * np.sin(places[:, 0] / 25)
    depth = 6 * (1.05 - away**1.6) + hump + rng.normal(0, 0.03, len(places))
    return water, np.round(np.column_stack([places, np.maximum(depth, 0.1)]), 2)


def _tracks(water: shapely.Polygon, count: int) -> np.ndarray:
    """Lay wiggly lines over a water, six steps apart."""
    step = np.sqrt(water.area / count / 6)
    west, south, east, north = water.bounds
    across, up = np.meshgrid(np.arange(west, east, step), np.arange(south, north, step * 6))
    places = np.column_stack([across.ravel(), (up + step * np.sin(across / 20)).ravel()])
    return places[shapely.contains_xy(water, *places.T)]


def write_surveys(folder: Path, numbers: Sequence[int], count: int = 300) -> None:
    """Write a survey for each of these lakes into a folder of its own."""
    import geopandas

    for number in numbers:
        water, rows = small_lake(number, count)
        place = folder / f"lake_{number}"
        place.mkdir(parents=True)
        frame = geopandas.GeoDataFrame(geometry=[water], crs=CRS_CODE)
        frame.to_parquet(place / "shoreline.parquet")
        np.savetxt(
            place / "soundings.csv",
            rows,
            "%.2f",
            ",",
            header="easting,northing,depth",
            comments="",
        )
        (place / "survey.toml").write_text(
            f'[water]\nname = "Lake {number}"\nshoreline = "shoreline.parquet"\n\n'
            f'[[soundings]]\nfile = "soundings.csv"\ncrs = "{CRS_CODE}"\nsource = "track"\n'
            '[bed]\nmethod = "triangulated"\n',
            encoding="utf-8",
        )


def write_layers(folder: Path, numbers: Sequence[int], count: int = 300) -> Path:
    """Write these lakes as one layer and their soundings as another; return their batch file."""
    import geopandas

    lakes = [small_lake(number, count) for number in numbers]
    names = [f"Lake {number}" for number in numbers]
    waters = geopandas.GeoDataFrame(
        {"name": names}, geometry=[water for water, _ in lakes], crs=CRS_CODE
    )
    waters.to_parquet(folder / "lakes.parquet")
    rows = np.vstack([rows for _, rows in lakes])
    points = geopandas.GeoDataFrame(
        {"depth": rows[:, 2]}, geometry=shapely.points(rows[:, :2]), crs=CRS_CODE
    )
    points.to_parquet(folder / "soundings.parquet")
    file = folder / "batch.toml"
    file.write_text(
        '[waters]\nfile = "lakes.parquet"\n\n[[soundings]]\nfile = "soundings.parquet"\n'
        'source = "track"\n[bed]\nmethod = "triangulated"\n',
        encoding="utf-8",
    )
    return file


def jobs(out: Path, **surveys: str) -> list[Job]:
    """Return jobs for :func:`stand_in`, each with what is to become of it as its survey."""
    return [Job(folder, survey, str(out / folder)) for folder, survey in surveys.items()]


def stand_in(job: Job) -> Record:
    """Do no survey, but leave a folder as one would, and a line in a list of all that was done.

    The survey says what happens: ``ok``, ``fail``, ``die``, ``die once``, ``wait 0.2``, or
    ``need 0.5``, GiB of memory, with which it dies if there is a third word.
    """
    if finished(job.out) is not None:
        return Record(job.folder, "done")
    what, _, seconds = job.survey.partition(" ")
    out = Path(job.out)
    if what == "fail":
        return Record(job.folder, "failed", error="as asked for")
    if what == "die" and not (seconds and _was_here(out)):
        os.kill(os.getpid(), signal.SIGKILL)
    if what == "wait":
        time.sleep(float(seconds))
    allowed = memory_allowed() / 2**30
    if what == "need":
        needed, *death = seconds.split()
        if allowed < float(needed):
            return Record(job.folder, "failed", error="too large", short=True)
        if death:
            os.kill(os.getpid(), signal.SIGKILL)
    told = {
        "pid": os.getpid(),
        "threads": int(os.environ.get("NUMBA_NUM_THREADS", "0")),
        "allowed_gib": allowed,
    }
    record = Record(job.folder, "done", figures=told, made=True)
    with new_folder(out, overwrite=True) as folder:
        (folder / "water.json").write_text(record.to_json(), encoding="utf-8")
        (folder / "lineage.json").write_text("{}", encoding="utf-8")
        with (out.parent / "done.txt").open("a", encoding="utf-8") as list_of_done:
            list_of_done.write(f"{job.folder}\n")
    return record


def _was_here(out: Path) -> bool:
    mark = out.with_name(f"{out.name}.tried")
    if mark.exists():
        return True
    mark.write_text("", encoding="utf-8")
    return False
