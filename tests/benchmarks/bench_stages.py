"""Every stage of a survey by number of soundings: time, memory, growth, and peers on the same work.

Each stage of each size runs in a process of its own, which first does a small one, so that what is
compiled or imported does not count. Its peers run in the same process and take turns with it.
Seconds are medians. Memory is what the first turn of ours needs beyond what was resident before it
(the inputs and the program), for processes of another kind than Linux' the growth of their peak. A
whole run is a process by itself, start-up and all, and its memory is all of it.

Growth is the power p of t = a + b n^p (growth.py), over all sizes that were measured.
"""

import gc
import json
import resource
import shutil
import statistics
import sys
import tempfile
import time
from collections.abc import Iterable
from dataclasses import asdict, dataclass, field
from itertools import pairwise
from pathlib import Path
from typing import Any

import click
import numpy as np
from growth import POWERS, fitted, steps
from invented_lake import write_survey
from measure import Cost, Row, cost_of, machine, quiet, show, table
from stage_inputs import missing_peers, write_inputs
from stages import OURS, STAGES

SIZES = (1_000, 10_000, 100_000, 1_000_000, 10_000_000)
WARM = 1_000
"""Soundings of the small turn before."""
ROUNDS, LONG, PATIENCE = 3, 60.0, 60.0
"""Turns at most, s of a turn beyond which one is enough, s of waiting for other programs."""
LEAST_MIB = 1.0
"""Memory below which its growth tells nothing, MiB."""
LEAST_SECONDS = 1e-3
"""Parts of a run that are left out, since there was nothing to do in them, s."""
KIB_IN_MIB = 2**10
CHILD, RUN_CHILD = "--child", "--run-child"


@dataclass
class Taken:
    """What one stage of one size took.

    Parameters
    ----------
    seconds : dict
        Medians, by side.
    mib : float
        Peak memory of ours.
    processor : float
        Median seconds of all processors that ours kept busy.
    parts : dict
        Of a whole run, seconds by its own stages.
    bytes : int
        Of a whole run, size of the folder it wrote.
    died : str
        Why it has no figures.
    """

    seconds: dict[str, float] = field(default_factory=dict)
    mib: float = 0.0
    processor: float = 0.0
    parts: dict[str, float] = field(default_factory=dict)
    bytes: int = 0
    died: str = ""


@dataclass(frozen=True)
class Run:
    """A whole run: soundings beyond which it is left out, its bed, and what else its file says."""

    most: int
    method: str = "triangulated"
    added: str = ""


OUTPUTS = ("layers", "rasters", "tables", "workbook", "pictures", "sheet", "page", "exports")
"""Parts of a folder that are also written alone, to tell what each costs."""

RUNS = {
    "run": Run(10_000_000),
    "run, fitted": Run(1_000_000, "fitted"),
    "run, auto": Run(100_000, "auto"),
} | {
    f"run, for its {part} alone": Run(1_000_000, added=f'[make]\nwrite = ["{part}"]\n')
    for part in OUTPUTS
}


Found = dict[str, dict[int, Taken]]
"""By stage and number of soundings."""


class Peak:
    """Memory that is taken from here on, MiB."""

    def __init__(self) -> None:
        gc.collect()
        try:
            Path("/proc/self/clear_refs").write_text("5")  # the peak is counted anew
            self._of = self._counted
        except OSError:
            self._of = self._grown
        self._before = self._of()

    def taken(self) -> float:
        """Return what has been needed beyond what there was."""
        return self._of() - self._before

    @staticmethod
    def _counted() -> float:
        lines = Path("/proc/self/status").read_text().splitlines()
        return (
            next(float(line.split()[1]) for line in lines if line.startswith("VmHWM")) / KIB_IN_MIB
        )

    @staticmethod
    def _grown() -> float:
        return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / KIB_IN_MIB


def measured_here(stage: str, folder: Path, count: int) -> Taken:
    """Measure one stage of one size in this process."""
    STAGES[stage].ready(folder.parent / str(WARM))[OURS]()
    sides = STAGES[stage].ready(folder)
    for peer, most in STAGES[stage].peers.items():
        if count > most:
            sides.pop(peer, None)
    taken, seconds = Taken(), {side: [] for side in sides}  # type: dict[str, list[float]]
    busy = []
    for turn in range(ROUNDS):
        for side, work in sides.items():
            peak, start, before = Peak(), time.perf_counter(), time.process_time()
            result = work()
            seconds[side].append(time.perf_counter() - start)
            if side == OURS:
                busy.append(time.process_time() - before)
                taken.mib = taken.mib if turn else peak.taken()
            del result
        if sum(times[0] for times in seconds.values()) > LONG:
            break
    taken.seconds = {side: statistics.median(times) for side, times in seconds.items()}
    taken.processor = statistics.median(busy)
    return taken


def run_here(survey: Path) -> dict[str, float]:
    """Carry out a survey in this process; seconds by its stages."""
    from toolbox.survey.run import run
    from toolbox.survey.settings import load_settings

    told: list[tuple[str, float]] = []
    run(
        load_settings(survey),
        survey.parent / "out",
        watch=lambda stage: told.append((stage, time.perf_counter())),
    )
    told.append(("", time.perf_counter()))
    return {stage: after - begun for (stage, begun), (_, after) in pairwise(told)}


def in_child(*words: str | Path) -> tuple[dict[str, Any], Cost]:
    """Let this program do it in a process of its own: what it tells, and what it took."""
    with tempfile.TemporaryFile("w+") as told:
        took = cost_of([sys.executable, __file__, *map(str, words)], stdout=told)
        told.seek(0)
        return json.loads(told.read().splitlines()[-1]), took


def stage_taken(stage: str, folder: Path, count: int) -> Taken:
    """Measure one stage of one size."""
    told, _ = in_child(CHILD, stage, folder, str(count))
    return Taken(**told)


def run_taken(wanted: Run, folder: Path) -> Taken:
    """Measure one whole run of one size."""
    survey = folder / "changed.toml"
    text = (folder / "survey.toml").read_text(encoding="utf-8")
    text = text.replace('"triangulated"', f'"{wanted.method}"')
    survey.write_text(f"{text}\n{wanted.added}", encoding="utf-8")
    told, took = in_child(RUN_CHILD, survey)
    out = folder / "out"
    size = sum(path.stat().st_size for path in out.rglob("*") if path.is_file())
    shutil.rmtree(out)
    return Taken({OURS: took.seconds}, took.gib * 1024, took.processor, told, size)


def measure_all(sizes: Iterable[int], only: tuple[str, ...], keep: Path | None) -> Found:
    """Measure all stages and runs, size by size; what is kept from before is not done again."""
    found: Found = kept(keep)
    with tempfile.TemporaryDirectory() as name:
        for count in sizes:
            todo = [stage for stage in _stages(count, only) if count not in found.get(stage, {})]
            if not todo:
                continue
            _prepare(Path(name), count, todo)
            for stage in todo:
                click.echo(f"{stage}, {count:,} soundings", err=True)
                quiet(PATIENCE)
                found.setdefault(stage, {})[count] = _taken(stage, Path(name) / str(count), count)
                _keep(found, keep)
            if count != WARM:
                shutil.rmtree(Path(name) / str(count))
    return found


def _stages(count: int, only: tuple[str, ...]) -> list[str]:
    """Return what is measured at a size."""
    most = {stage: it.most for stage, it in STAGES.items()}
    most |= {stage: it.most for stage, it in RUNS.items()}
    return [
        stage for stage, limit in most.items() if count <= limit and (stage in only or not only)
    ]


def _prepare(folder: Path, count: int, todo: list[str]) -> None:
    """Write the inputs of a size; of the small one too where a stage needs it to warm up."""
    wanted = {count, WARM} if set(todo) - set(RUNS) else {count}
    for size in sorted(wanted):
        if (folder / str(size)).exists():
            continue
        if set(todo) <= set(RUNS):
            (folder / str(size)).mkdir()
            write_survey(folder / str(size), size)
        else:
            write_inputs(folder / str(size), size)


def _taken(stage: str, folder: Path, count: int) -> Taken:
    try:
        if stage in RUNS:
            return run_taken(RUNS[stage], folder)
        return stage_taken(stage, folder, count)
    except RuntimeError as error:
        return Taken(died=str(error))


def kept(keep: Path | None) -> Found:
    if keep is None or not keep.exists():
        return {}
    told = json.loads(keep.read_text(encoding="utf-8"))
    return {
        stage: {int(count): Taken(**taken) for count, taken in by_size.items()}
        for stage, by_size in told.items()
    }


def _keep(found: Found, keep: Path | None) -> None:
    if keep is not None:
        plain = {s: {c: asdict(t) for c, t in by_size.items()} for s, by_size in found.items()}
        keep.write_text(json.dumps(plain, indent=1), encoding="utf-8")


def written(found: Found) -> str:
    """Write all that was found as one Markdown table."""
    sizes = sorted({count for by_size in found.values() for count in by_size})
    lines = [("stage", "figure", *(f"{size:,}" for size in sizes), "by step", "growth")]
    for stage in (*STAGES, *RUNS):
        if stage in found:
            lines += _stage_lines(stage, found[stage], sizes)
    return table(lines)


def _stage_lines(stage: str, by_size: dict[int, Taken], sizes: list[int]) -> list[tuple[str, ...]]:
    """Return the lines of one stage: seconds, memory, its parts, and peers."""
    good = {count: taken for count, taken in by_size.items() if not taken.died}
    seconds = {count: taken.seconds[OURS] for count, taken in good.items()}
    lines = [(stage, "s", *_cells(seconds, by_size, sizes), *_growth(seconds))]
    memory = {count: taken.mib for count, taken in good.items()}
    grown = {count: mib for count, mib in memory.items() if mib >= LEAST_MIB}
    lines.append(("", "MiB", *_cells(memory, {}, sizes), *_growth(grown)))
    busy = {count: taken.processor for count, taken in good.items()}
    lines.append(("", "s of processors", *_cells(busy, {}, sizes), *_growth(busy)))
    for part in dict.fromkeys(name for taken in good.values() for name in taken.parts):
        of_part = {count: taken.parts[part] for count, taken in good.items() if part in taken.parts}
        if max(of_part.values()) < LEAST_SECONDS:
            continue
        lines.append(("", f"s of it {part}", *_cells(of_part, {}, sizes), *_growth(of_part)))
    if any(taken.bytes for taken in good.values()):
        size = {count: taken.bytes / 1e6 for count, taken in good.items()}
        lines.append(("", "MB written", *_cells(size, {}, sizes), *_growth(size)))
    for peer in STAGES[stage].peers if stage in STAGES else ():
        ratio = {
            count: taken.seconds[peer] / taken.seconds[OURS]
            for count, taken in good.items()
            if peer in taken.seconds
        }
        if ratio:
            lines.append(("", f"x as fast as {peer}", *_cells(ratio, {}, sizes), "", ""))
    return lines


def _cells(figures: dict[int, float], tried: dict[int, Taken], sizes: list[int]) -> list[str]:
    """Write a figure for each size, to three digits."""
    return [
        f"{figures[size]:.3g}" if size in figures and figures[size] < 1000
        else f"{figures[size]:,.0f}" if size in figures
        else tried[size].died if size in tried
        else ""
        for size in sizes
    ]  # fmt: skip


def _growth(figures: dict[int, float]) -> tuple[str, str]:
    """Return the exponents between neighbours, and the rule over all sizes."""
    counts = np.array(sorted(count for count, figure in figures.items() if figure > 0), float)
    values = np.array([figures[int(count)] for count in counts])
    if len(counts) < 2:
        return "", ""
    by_step = ", ".join(f"{step:.2f}" for step in steps(counts, values))
    if len(counts) < 3:
        return by_step, ""
    rule = fitted(counts, values)
    if rule.power >= POWERS[-1]:  # the last size alone stands out: there is nothing to tell yet
        return by_step, ""
    return by_step, f"n^{rule.power:.2f} beyond {rule.fixed:.2g}"


def goals(found: Found) -> list[Row]:
    """Return what the whole run has to reach."""
    runs = {count: taken for count, taken in found.get("run", {}).items() if not taken.died}
    rows = []
    for count, most in ((100_000, 25), (1_000_000, 90)):
        if count in runs:
            what = f"run of {count:,} soundings"
            rows.append(Row(f"{what}, time", "", runs[count].seconds[OURS], "s", at_most=most))
            rows.append(Row(f"{what}, memory", "", runs[count].mib / 1024, "GiB", at_most=4))
    grown = {count: taken.seconds[OURS] for count, taken in runs.items() if count <= 1_000_000}
    if len(grown) >= 3:
        rule = fitted(np.array(list(grown)), np.array(list(grown.values())))
        what = f"growth of the run from {min(grown):,} to {max(grown):,}"
        rows.append(Row(what, "beyond fixed cost", rule.power, "as power", at_most=1.1))
    return rows


@click.command()
@click.option("--sizes", default=",".join(map(str, SIZES)), help="Soundings, with commas.")
@click.option("--only", multiple=True, help="Stages; if left out, all.")
@click.option("--keep", type=click.Path(path_type=Path), help="File of figures, to go on later.")
def main(sizes: str, only: tuple[str, ...], keep: Path | None) -> None:
    """Measure every stage at every size, and print one table."""
    counts = [int(size.replace("_", "")) for size in sizes.split(",")]
    found = measure_all(counts, only, keep)
    click.echo(machine() + "\n")
    click.echo(written(found) + "\n")
    for name in missing_peers():
        click.echo(f"{name} is not installed, its rows are left out")
    show(goals(found))


if __name__ == "__main__":
    if sys.argv[1:2] == [CHILD]:
        stage, folder, count = sys.argv[2:]
        sys.stdout.write(json.dumps(asdict(measured_here(stage, Path(folder), int(count)))))
    elif sys.argv[1:2] == [RUN_CHILD]:
        sys.stdout.write(json.dumps(run_here(Path(sys.argv[2]))))
    else:
        main()
