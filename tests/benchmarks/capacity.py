"""What a state's lakes and a national archive take, from what was measured here, by simulation.

    python tests/benchmarks/bench_stages.py --keep figures.json
    python tests/benchmarks/capacity.py figures.json --keep archive.json

The first measures what a lake costs by its soundings. The second measures what thinning point files
costs, carries out a small batch on one worker and on two to check the simulation, and prints the
tables of docs/capacity.md. All that is assumed stands in ``Lakes``, ``Archive`` and ``CLUSTER``.
"""

import json
import math
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import click
import numpy as np
from bench_stages import Found, Taken, kept
from capacity_measured import check_batch, raster_megabytes, thinning_cost
from growth import Growth, fitted
from lakes_of_a_state import Lakes
from measure import table
from simulate_archive import (
    Cluster,
    Outcome,
    Tasks,
    lower_bound,
    most_useful_workers,
    simulate,
)

HOUR, MB, GIB_IN_MIB, MILLION = 3_600.0, 1e6, 1024.0, 1e6
PLAYS = 5


@dataclass(frozen=True)
class Archive:
    """A national archive of multibeam soundings; all assumed.

    Parameters
    ----------
    points : float
        Soundings.
    in_file : float
        Those of one file, thinned as one task.
    per_cell : float
        Those of a cell of 1 m.
    in_tile : float
        Cells of a tile, of which bed, raster and terrain are made as one task.
    halo : float
        What a tile reads of its neighbours, of its own cells.
    layers : int
        Rasters of a tile.
    """

    points: float = 1e11
    in_file: float = 1e8
    per_cell: float = 8.0
    in_tile: float = 1e6
    halo: float = 0.1
    layers: int = 9


CLUSTER = Cluster(
    workers=1,
    handing=0.005,
    line=1_250.0,
    own_line=125.0,
    straggling=0.01,
    straggle=5.0,
    between_failures=24 * HOUR,
    restart=120.0,
)
"""Assumed: a scheduler that spends 5 ms on a task, 10 Gbit/s to the store and 1 Gbit/s to each
worker, one in a hundred tasks five times as long, each worker lost once a day and back in 2 min."""


@dataclass(frozen=True)
class Costs:
    """What was measured of a lake by its soundings.

    Parameters
    ----------
    seconds, mib, written : Growth
        Of one core, of memory, of results in MB.
    most : int
        Soundings up to which it was measured. Beyond, what grows is taken to grow by their number.
    """

    seconds: Growth
    mib: Growth
    written: Growth
    most: int

    @classmethod
    def of(cls, runs: dict[int, Taken]) -> "Costs":
        """Fit the rules to whole runs: seconds of one core, MiB, MB."""
        counts = np.array(sorted(runs), float)

        def rule(figure: Any) -> Growth:
            return fitted(counts, np.array([figure(runs[int(count)]) for count in counts]))

        return cls(
            rule(lambda taken: taken.processor),
            rule(lambda taken: taken.mib),
            rule(lambda taken: taken.bytes / MB),
            int(counts.max()),
        )

    def at(self, rule: Growth, counts: np.ndarray) -> np.ndarray:
        """Return what lakes of so many soundings cost by one of the rules."""
        measured = rule.at(np.minimum(counts, self.most)) - rule.fixed
        return np.asarray(rule.fixed + measured * np.maximum(counts / self.most, 1))


def lake_tasks(lakes: Lakes, costs: Costs) -> Tasks:
    """Return a task for each lake."""
    counts = lakes.soundings()
    seconds = costs.at(costs.seconds, counts) * lakes.unlikeness()
    fetched = counts * lakes.text / MB + lakes.outline
    return Tasks(seconds, fetched, costs.at(costs.written, counts))


def state_lines(lakes: Lakes, costs: Costs) -> list[tuple[str, ...]]:
    """Return what the lakes of a state come to."""
    counts, areas, tasks = lakes.soundings(), lakes.areas(), lake_tasks(lakes, costs)
    seconds, fetched, stored, _ = tasks.rows().T
    gib = costs.at(costs.mib, counts) / GIB_IN_MIB
    beyond = int((counts > costs.most).sum())
    return [
        ("a state", ""),
        ("lakes", f"{lakes.count:,}"),
        ("their areas: median, mean, largest", _three(areas, "km2")),
        ("their soundings: median, mean, most", _three(counts, "")),
        ("soundings of all", f"{counts.sum() / MILLION:,.0f} million"),
        ("lakes larger than any measured", f"{beyond}"),
        ("one core", f"{seconds.sum() / HOUR:,.1f} hours"),
        ("the longest lake", f"{seconds.max() / 60:,.1f} minutes"),
        (
            "memory of a worker: for 99 % of lakes, for all",
            f"{_most(gib):.1f}, {gib.max():.1f} GiB",
        ),
        ("read", f"{fetched.sum() / 1000:,.1f} GB"),
        ("written", f"{stored.sum() / 1000:,.0f} GB"),
        ("most workers that help", f"{most_useful_workers(tasks, CLUSTER):,.0f}"),
    ]


def _three(values: np.ndarray, unit: str) -> str:
    told = (np.median(values), values.mean(), values.max())
    return ", ".join(f"{value:,.3g}" if value < 1000 else f"{value:,.0f}" for value in told) + (
        f" {unit}" if unit else ""
    )


def _most(values: np.ndarray) -> float:
    return float(np.quantile(values, 0.99))


def typical(tasks: Tasks, cluster: Cluster) -> Outcome:
    """Return the middle one of several plays of chance, by its makespan."""
    plays = [simulate(tasks, cluster, seed=seed) for seed in range(PLAYS)]
    return sorted(plays, key=lambda play: play.makespan)[PLAYS // 2]


def worker_lines(tasks: Tasks, workers: tuple[int, ...]) -> list[tuple[str, ...]]:
    """Simulate a job on ever more workers, in the order given and the longest first."""
    lines = [
        (
            "workers",
            "hours",
            "well used",
            "longest first, hours",
            "well used",
            "bound, hours",
            "lost",
        )
    ]
    for count in workers:
        cluster = replace(CLUSTER, workers=count)
        given, sorted_ = typical(tasks, cluster), typical(tasks.longest_first(), cluster)
        lines.append(
            (
                f"{count:,}",
                f"{given.makespan / HOUR:.3g}",
                f"{given.efficiency:.0%}",
                f"{sorted_.makespan / HOUR:.3g}",
                f"{sorted_.efficiency:.0%}",
                f"{lower_bound(tasks, cluster) / HOUR:.3g}",
                f"{given.failures}",
            )
        )
    return lines


def short_lines(
    jobs: dict[str, tuple[Tasks, int, float]],
) -> list[tuple[str, ...]]:
    """Return the first table: of each job its tasks, how many workers, and GiB of each."""
    lines = [("", *jobs)]
    columns = []
    for tasks, workers, gib in jobs.values():
        found = typical(tasks.longest_first(), replace(CLUSTER, workers=workers))
        _, fetched, stored, _ = tasks.rows().T
        rate = (fetched + stored).sum() / found.makespan
        columns.append(
            (
                f"{workers} of one core each",
                _lasting(found.makespan),
                f"{gib:.1f} GiB",
                _size(fetched.sum()),
                _size(stored.sum()),
                f"{rate:,.0f} MB/s",
            )
        )
    names = ("workers", "time", "memory of each", "read", "written", "network, on average")
    return [*lines, *((name, *cells) for name, *cells in zip(names, *columns, strict=True))]


def _lasting(seconds: float) -> str:
    hours = seconds / HOUR
    return f"{hours:.1f} hours" if hours < 48 else f"{hours / 24:.1f} days"


def _size(megabytes: float) -> str:
    return f"{megabytes / 1000:,.1f} GB" if megabytes < MILLION else f"{megabytes / MILLION:.1f} TB"


def archive_tasks(archive: Archive, thinning: dict[str, float], tile: dict[str, float]) -> Tasks:
    """Return the tasks of both passes: files thinned, then tiles made of what is left.

    Tiles follow files, as if no tile had to wait for the last file.
    """
    files = math.ceil(archive.points / archive.in_file)
    cells = archive.points / archive.per_cell
    tiles = math.ceil(cells / archive.in_tile)
    per_file = archive.in_file / MILLION
    kept_cells = archive.in_file / archive.per_cell / MILLION
    whole = (1 + archive.halo) * archive.in_tile / MILLION
    seconds = np.r_[
        np.full(files, per_file * thinning["seconds"]), np.full(tiles, whole * tile["seconds"])
    ]
    fetched = np.r_[
        np.full(files, per_file * thinning["mb_in"]), np.full(tiles, whole * thinning["mb_cell"])
    ]
    stored = np.r_[
        np.full(files, kept_cells * thinning["mb_cell"]),
        np.full(tiles, archive.layers * archive.in_tile / MILLION * tile["mb_layer"]),
    ]
    return Tasks(seconds, fetched, stored)


def archive_lines(archive: Archive, tasks: Tasks, tile: dict[str, float]) -> list[tuple[str, ...]]:
    """Return what the archive comes to."""
    seconds, fetched, stored, _ = tasks.rows().T
    files = math.ceil(archive.points / archive.in_file)
    return [
        ("a national archive", ""),
        ("soundings", f"{archive.points:.0e}"),
        ("cells of 1 m", f"{archive.points / archive.per_cell / 1e9:.1f} thousand million"),
        ("tasks: files thinned, tiles made", f"{files:,}, {len(tasks) - files:,}"),
        ("one core, thinning", f"{seconds[:files].sum() / HOUR:,.0f} hours"),
        ("one core, bed, raster and terrain", f"{seconds[files:].sum() / HOUR:,.0f} hours"),
        ("memory of a worker: thinning, as set; a tile", f"2 GiB; {tile['gib']:.1f} GiB"),
        ("read: soundings, thinned", _two(fetched, files)),
        ("written: thinned, rasters", _two(stored, files)),
        ("most workers that help", f"{most_useful_workers(tasks, CLUSTER):,.0f}"),
    ]


def _two(megabytes: np.ndarray, files: int) -> str:
    first, second = megabytes[:files].sum() / MILLION, megabytes[files:].sum() / MILLION
    return f"{first:.2f}, {second:.2f} TB"


def tile_cost(found: Found) -> dict[str, float]:
    """Return what a tile of a million cells of 1 m costs, each with a sounding.

    Triangulating is measured by soundings, the rest by cells.
    """
    layers = Archive.layers
    parts = {"triangulating": 1, "gridding": 1, "terrain, eight layers": 1}
    seconds, gib = 0.0, 0.0
    for name, times in (parts | {"writing a raster": layers}).items():
        by_size = {count: taken for count, taken in found[name].items() if not taken.died}
        most = max(by_size)
        million = (most if name == "triangulating" else _cells(most)) / MILLION
        seconds += times * by_size[most].processor / million
        gib = max(gib, by_size[most].mib / million / GIB_IN_MIB)
    return {"seconds": seconds, "gib": gib, "mb_layer": raster_megabytes()}


def _cells(count: int) -> float:
    """Return how many cells the raster of an invented lake of so many soundings has, about."""
    from invented_lake import ISLAND_VERTICES, ISLANDS, SHORE_VERTICES, shoreline

    from toolbox.units import round_number

    area = shoreline().polygons.area
    vertices = count + SHORE_VERTICES + ISLANDS * ISLAND_VERTICES
    return area / round_number(math.sqrt(area / vertices) / 2) ** 2


def check_lines(checked: dict[str, Any]) -> list[tuple[str, ...]]:
    """Return what the simulation says of the batch, and what it took.

    Of two workers it says it twice: from the seconds of the lakes when one worker did them, and
    from those when two did: the first also tells whether cores slow each other down.
    """
    lines = [("batch", "took, s", "simulated from its own lakes", "from those of one worker")]
    alone = np.array(checked["1"]["lakes"])
    for workers in (1, 2):
        one = checked[str(workers)]
        told = []
        for seconds in (np.array(one["lakes"]), alone):
            cluster = Cluster(workers)
            told.append(one["idle"] + simulate(Tasks(seconds), cluster).makespan)
        ratios = [f"{it:.1f} ({it / one['took'] - 1:+.1%})" for it in told]
        lines.append((f"{len(alone)} lakes, {workers} workers", f"{one['took']:.1f}", *ratios))
    return lines


def cost_lines(found: Found) -> list[tuple[str, ...]]:
    """Return seconds of a core of each stage: of a small lake, and of a million soundings.

    The latter are those of the largest survey measured, by its number of soundings.
    """
    lines = [("stage", "a lake of 1,000 soundings, s", "a million soundings, s", "measured up to")]
    for stage, by_size in found.items():
        good = {count: taken for count, taken in by_size.items() if not taken.died}
        most, least = max(good), min(good)
        million = good[most].processor / most * MILLION if most > least else math.nan
        told = "" if math.isnan(million) else f"{million:.3g}"
        lines.append((stage, f"{good[least].processor:.2g}", told, f"{most:,}"))
    return lines


@click.command()
@click.argument("figures", type=click.Path(exists=True, path_type=Path))
@click.option("--keep", type=click.Path(path_type=Path), help="File of what is measured here.")
def main(figures: Path, keep: Path | None) -> None:
    """Print the tables of the planning page."""
    found = kept(figures)
    measured = json.loads(keep.read_text()) if keep and keep.exists() else {}
    for name, measure in (("thinning", thinning_cost), ("checked", check_batch)):
        if name not in measured:
            click.echo(f"{name} ...", err=True)
            measured[name] = measure()
            if keep:
                keep.write_text(json.dumps(measured, indent=1))
    costs, tile, archive = Costs.of(found["run"]), tile_cost(found), Archive()
    state = lake_tasks(Lakes(), costs)
    tasks = archive_tasks(archive, measured["thinning"], tile)
    gib = float(costs.at(costs.mib, Lakes().soundings()).max()) / GIB_IN_MIB
    jobs = {
        f"a state, {Lakes().count:,} lakes": (state, 16, gib),
        f"a national archive, {archive.points:.0e} soundings": (tasks, 256, max(2, tile["gib"])),
    }
    click.echo(table(short_lines(jobs)) + "\n")
    click.echo(table(cost_lines(found)) + "\n")
    click.echo(table(state_lines(Lakes(), costs)) + "\n")
    click.echo(table(worker_lines(state, STATE_WORKERS)) + "\n")
    click.echo(table(archive_lines(archive, tasks, tile)) + "\n")
    click.echo(table(worker_lines(tasks, ARCHIVE_WORKERS)) + "\n")
    click.echo(table(check_lines(measured["checked"])) + "\n")
    click.echo(json.dumps({"thinning": measured["thinning"], "tile": tile}, indent=1))


STATE_WORKERS = (1, 2, 4, 8, 16, 32, 64, 128, 256, 512)
ARCHIVE_WORKERS = (8, 32, 64, 128, 256, 512, 1_024, 2_048)

if __name__ == "__main__":
    main()
