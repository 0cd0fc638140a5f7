"""The fitted bed: 200,000 soundings on some 100,000 nodes, 100 draws; and the sample's lake."""

import subprocess
import sys
import time
from pathlib import Path

from bench_stages import Peak
from invented_lake import shoreline, soundings
from measure import Row, show

COUNT, DRAWS, LARGE, SAMPLE = 200_000, 100, "--large", "--sample"
SURVEY = Path(__file__).parents[2] / "sample_layers" / "survey.toml"
WARM = 1_000


def large_here() -> tuple[float, float, int]:
    """Fit the large lake in this process: seconds, GiB, nodes."""
    from toolbox.bed.fitting import fit

    fit(soundings(WARM), shoreline()).bed(draws=2, seed=0)  # compiled loops are loaded
    layer, water = soundings(COUNT), shoreline()
    peak, start = Peak(), time.perf_counter()
    bed = fit(layer, water).bed(draws=DRAWS, seed=0)
    return time.perf_counter() - start, peak.taken() / 1024, len(bed.depth)


def sample_here() -> tuple[float, float, int]:
    """Fit the sample's lake in this process: seconds, GiB, nodes."""
    from toolbox.bed.fitting import fit
    from toolbox.survey.lineage import Lineage
    from toolbox.survey.reduce import read_inputs
    from toolbox.survey.settings import load_settings

    settings = load_settings(SURVEY)
    inputs = read_inputs(settings, Lineage(settings))
    fit(soundings(WARM), shoreline()).bed(draws=2, seed=0)
    peak, start = Peak(), time.perf_counter()
    bed = fit(inputs.soundings, inputs.shoreline).bed(draws=DRAWS, seed=0)
    return time.perf_counter() - start, peak.taken() / 1024, len(bed.depth)


def in_child(which: str) -> tuple[float, float, int]:
    """Let a process of its own fit."""
    command = [sys.executable, __file__, which]
    told = subprocess.run(command, check=True, stdout=subprocess.PIPE, text=True).stdout.split()
    return float(told[0]), float(told[1]), int(told[2])


def rows() -> list[Row]:
    """Measure."""
    seconds, gib, nodes = in_child(LARGE)
    sample, _, few = in_child(SAMPLE)
    what = f"fit of {COUNT:,} soundings on {nodes:,} nodes, {DRAWS} draws"
    return [
        Row(f"{what}, time", "", seconds, "s", at_most=60),
        Row(f"{what}, peak memory", "", gib, "GiB", at_most=6),
        Row(
            f"fit of the sample's lake on {few:,} nodes, {DRAWS} draws", "", sample, "s", at_most=5
        ),
    ]


if __name__ == "__main__":
    if sys.argv[1:] in ([LARGE], [SAMPLE]):
        found = large_here() if sys.argv[1] == LARGE else sample_here()
        sys.stdout.write(" ".join(map(str, found)))
    else:
        show(rows())
