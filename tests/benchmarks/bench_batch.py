"""Many small waters, ``leadline batch``: two processes against one core; killed and taken up again.

``--count`` sets how many waters are killed half-way; 10,000 of them take their time.
"""

import os
import sys
import tempfile
import time
from pathlib import Path
from subprocess import Popen

import click
from measure import FASTER, Cost, Row, cost_of, quiet, show

from toolbox.batch.engines import ONE_THREAD

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from invented_waters import write_layers

WATERS, KILLED, SOUNDINGS, PATIENCE = 300, 10_000, 1_500, 60.0
ENVIRONMENT = os.environ | ONE_THREAD
LEADLINE = (sys.executable, "-c", "from toolbox.batch.command import batch_command as run; run()")


def command(file: Path, out: Path, workers: int) -> list[str | Path]:
    """Return a batch that writes tables only."""
    options = ("--write", "tables", "--workers", str(workers), "--quiet")
    return [*LEADLINE, file, "--out", out, *options]


def start(file: Path, out: Path) -> Popen[bytes]:
    """Start a batch of two processes."""
    return Popen(command(file, out, 2), env=ENVIRONMENT)


def cost_of_batch(file: Path, out: Path, workers: int, cores: int) -> Cost:
    """Carry a batch out on so many cores."""
    return cost_of(command(file, out, workers), cores=cores, env=ENVIRONMENT)


def ratio(folder: Path, count: int) -> tuple[Cost, Cost]:
    """Return what one core and what two processes on two cores take."""
    few = folder / "few"
    few.mkdir()
    file = write_layers(few, range(2), SOUNDINGS)
    cost_of_batch(file, few / "out", 1, 1)  # loops are compiled by now
    file = write_layers(folder, range(count), SOUNDINGS)
    quiet(PATIENCE)
    one = cost_of_batch(file, folder / "one", 1, 1)
    quiet(PATIENCE)
    return one, cost_of_batch(file, folder / "two", 2, 2)


def finished(out: Path) -> dict[str, int]:
    """Return the folders of a batch that stand whole, and when each was made, ns."""
    return {
        path.parent.name: path.stat().st_mtime_ns
        for path in (out / "waters").glob("[!.]*/lineage.json")
    }


def killed(folder: Path, count: int) -> tuple[int, int, float]:
    """Kill a batch half-way and start it again: waters done twice, waters lost, seconds in all."""
    file, out = write_layers(folder, range(count), SOUNDINGS), folder / "killed"
    begun = time.perf_counter()
    process = start(file, out)
    while process.poll() is None and len(finished(out)) < count // 2:
        time.sleep(1)
    process.kill()
    process.wait()
    time.sleep(2)  # its workers end with it
    before = finished(out)
    start(file, out).wait()
    seconds = time.perf_counter() - begun
    after = finished(out)
    twice = sum(after.get(name) != made for name, made in before.items())
    if not count // 2 <= len(before) < count:
        raise RuntimeError(f"killed at {len(before)} of {count} waters, not half-way")
    return twice, count - len(after), seconds


def rows(waters: int = WATERS, kill: int = KILLED) -> list[Row]:
    """Measure."""
    with tempfile.TemporaryDirectory() as name:
        one, two = ratio(Path(name), waters)
    with tempfile.TemporaryDirectory() as name:
        twice, lost, seconds = killed(Path(name), kill)
    what = f"{waters} waters of {SOUNDINGS:,} soundings, tables only"
    again = f"{kill:,} waters killed half-way and taken up again"
    return [
        Row(f"{what}, two processes", "one core", one.seconds / two.seconds, FASTER, at_least=1.8),
        Row(f"{what}, one core, each", "", one.seconds / waters, "s"),
        Row(f"{what}, on the cores", "one core", two.processor / one.processor, "x as much work"),
        Row(f"{again}, done twice", "", twice, at_most=0, unit=""),
        Row(f"{again}, lost", "", lost, at_most=0, unit=""),
        Row(f"{again}, in all", "", seconds, "s"),
    ]


@click.command()
@click.option("--waters", default=WATERS, help="To compare one core and two processes.")
@click.option("--count", default=KILLED, help="To be killed half-way.")
def main(waters: int, count: int) -> None:
    """Measure and print."""
    show(rows(waters, count))


if __name__ == "__main__":
    main()
