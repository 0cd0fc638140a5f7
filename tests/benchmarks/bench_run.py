"""The whole job, ``leadline run``, on surveys of a thousand to a million soundings."""

import shutil
import statistics
import sys
import tempfile
from pathlib import Path

import numpy as np
from growth import fitted
from invented_lake import write_survey
from measure import SLOWER, Cost, Row, cost_of, quiet, show

COUNTS, ROUNDS, PATIENCE = (1_000, 10_000, 100_000, 1_000_000), 3, 60.0
LEADLINE = Path(sys.executable).with_name("leadline")


def cost_of_run(survey: Path, out: Path) -> Cost:
    """Run a survey in its own process."""
    return cost_of([LEADLINE, "run", survey, "--out", out, "--quiet"])


def costs(counts: tuple[int, ...], rounds: int) -> dict[int, Cost]:
    """Return median costs by number of soundings, the sizes taking turns."""
    taken: dict[int, list[Cost]] = {count: [] for count in counts}
    with tempfile.TemporaryDirectory() as name:
        surveys = {}
        for count in counts:
            folder = Path(name) / str(count)
            folder.mkdir()
            surveys[count] = write_survey(folder, count)
        for _ in range(rounds):
            quiet(PATIENCE)
            for count, survey in surveys.items():
                taken[count].append(cost_of_run(survey, survey.parent / "out"))
                shutil.rmtree(survey.parent / "out")
    return {count: _median(found) for count, found in taken.items()}


def _median(found: list[Cost]) -> Cost:
    figures = zip(*((cost.seconds, cost.processor, cost.gib) for cost in found), strict=True)
    return Cost(*map(statistics.median, figures))


def rows() -> list[Row]:
    """Measure."""
    found = costs(COUNTS, ROUNDS)
    tiny, small, middle, large = (found[count] for count in COUNTS)
    grown = fitted(np.array(COUNTS), np.array([found[count].seconds for count in COUNTS]))
    return [
        Row("run of 1,000,000 soundings, peak memory", "", large.gib, "GiB", at_most=3),
        Row("run of 1,000,000 soundings, time", "", large.seconds, "s", at_most=90),
        Row("run of 100,000 soundings, peak memory", "", middle.gib, "GiB"),
        Row("run of 100,000 soundings, time", "", middle.seconds, "s", at_most=25),
        Row("run of 10,000 soundings, peak memory", "", small.gib, "GiB"),
        Row("run of 10,000 soundings, time", "", small.seconds, "s"),
        Row("run of 1,000 soundings, time", "", tiny.seconds, "s"),
        Row("growth of the run's time", "beyond fixed cost", grown.power, "as power", at_most=1.1),
        Row("run of 1,000,000", "of 100,000", large.seconds / middle.seconds, SLOWER),
        Row("run of 100,000", "of 10,000", middle.seconds / small.seconds, SLOWER),
    ]


if __name__ == "__main__":
    show(rows())
