"""Fuzz the readers, each in a process of its own: ``python tests/fuzz/run.py --minutes 10``.

Needs the extra ``fuzz``. Prints a table: inputs tried, what coverage grew to, and each fault with
the file that shows it. The exit code tells whether there was one.
"""

import argparse
import json
import os
import re
import shutil
import subprocess
import sys
import time
from dataclasses import dataclass, field
from pathlib import Path

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE.parent))

from fuzz.readers import READERS, make_seeds  # noqa: E402  (after the path is known)

_COVERED = re.compile(rb"cov: (\d+)")


@dataclass
class Result:
    """What came of fuzzing one reader."""

    inputs: int = 0
    seconds: float = 0.0
    edges: int = 0
    faults: dict[str, Path] = field(default_factory=dict)


def fuzz(name: str, seeds: Path, out: Path, *, seconds: int, timeout: int, memory: float) -> Result:
    """Fuzz one reader for so many seconds, beginning anew whenever an input ends the process.

    Parameters
    ----------
    name : str
        Of the reader.
    seeds, out : Path
        Folder of good files, and one for what is found.
    seconds, timeout : int
        In all, and for one input.
    memory : float
        GiB of address space.
    """
    result, begin, turn = Result(), time.monotonic(), 0
    out.mkdir(parents=True, exist_ok=True)
    while (left := int(seconds - (time.monotonic() - begin))) > 1:
        turn += 1
        (out / "book.json").unlink(missing_ok=True)
        limits = [f"--seconds={left}", f"--timeout={timeout}", f"--memory={memory}"]
        limits.append(f"--seed={turn}")
        command = [sys.executable, "-m", "fuzz.child", name, str(seeds), str(out), *limits]
        with (out / "log.txt").open("wb") as log:
            code = subprocess.run(command, env=_environment(), stdout=log, stderr=log).returncode
        _tally(result, out, turn if code else 0)
        for rest in out.glob("tmp*"):
            shutil.rmtree(rest)
    result.seconds = time.monotonic() - begin
    return result


def _environment() -> dict[str, str]:
    quiet = {"CPL_LOG": os.devnull, "NUMBA_NUM_THREADS": "1", "OMP_NUM_THREADS": "1"}
    paths = [str(HERE.parent), *filter(None, [os.environ.get("PYTHONPATH")])]
    return os.environ | quiet | {"PYTHONPATH": os.pathsep.join(paths)}


def _tally(result: Result, out: Path, turn: int) -> None:
    book = out / "book.json"
    result.inputs += json.loads(book.read_text(encoding="utf-8"))["inputs"] if book.exists() else 0
    log = (out / "log.txt").read_bytes()
    result.edges = max([result.edges, *map(int, _COVERED.findall(log))])
    for told in out.glob("fault-*.txt"):
        kind = told.read_text(encoding="utf-8").splitlines()[0]
        result.faults[kind] = told.with_suffix(".bin")
    for kind in ("crash", "timeout", "oom"):
        for found in out.glob(f"{kind}-*"):
            result.faults[f"{kind} {found.name[-8:]}"] = found
    if turn and not (book.exists() or result.faults):
        (out / "log.txt").rename(out / f"ended-{turn}.txt")
        result.faults["the process ended"] = out / f"ended-{turn}.txt"


def _say(line: str) -> None:
    sys.stdout.write(f"{line}\n")
    sys.stdout.flush()


def main() -> int:
    """Fuzz all readers, or those named."""
    words = argparse.ArgumentParser(description="Fuzz the readers.")
    words.add_argument("readers", nargs="*", help=f"some of: {', '.join(READERS)}")
    words.add_argument("--minutes", type=float, default=10, help="in all")
    words.add_argument("--timeout", type=int, default=10, help="seconds for one input")
    words.add_argument("--memory", type=float, default=8.0, help="GiB of address space")
    words.add_argument("--out", type=Path, default=Path("fuzzed"), help="folder for what is found")
    told = words.parse_args()
    names = told.readers or list(READERS)
    seeds = make_seeds(told.out / "seeds")
    seconds, faults = max(int(told.minutes * 60 / len(names)), 5), 0
    for name in names:
        out = told.out / name.replace(" ", "-")
        limits = {"seconds": seconds, "timeout": told.timeout}
        found = fuzz(name, seeds, out, memory=told.memory, **limits)
        faults += len(found.faults)
        line = (
            f"{name:20} {found.inputs:8} inputs {found.seconds / 60:6.1f} min {found.edges:6} edges"
        )
        _say(f"{line} {len(found.faults)} faults")
        for kind, file in sorted(found.faults.items()):
            _say(f"    {kind}: {file}")
    return 1 if faults else 0


if __name__ == "__main__":
    sys.exit(main())
