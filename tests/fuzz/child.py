"""Child: fuzzes one reader in this process, with coverage of the toolbox as the guide.

What goes wrong is written down and the run goes on; what kills the process, a crash in a compiled
library or a time-out, is left as a file by the fuzzer, and the parent begins anew.
"""

import argparse
import contextlib
import hashlib
import json
import os
import random
import resource
import sys
import tempfile
import traceback
from pathlib import Path
from typing import Any

from fuzz.mutations import mutate
from fuzz.readers import READERS, Reader, fault, lay_out

__all__ = ["main", "signature"]

GIB = 2**30


def signature(found: BaseException | str) -> str:
    """Return one name for all faults of one kind at one place."""
    if isinstance(found, str):
        return found.split(":")[0]
    frames = [f for f in traceback.extract_tb(found.__traceback__) if "toolbox" in f.filename]
    frames = [f for f in frames if "/fuzz/" not in f.filename and f.name != "call"]
    place = f"{Path(frames[-1].filename).name}:{frames[-1].name}" if frames else "?"
    return f"{type(found).__name__} in {place}"


class _Book:
    """Counts inputs, and keeps the shortest input of each fault."""

    def __init__(self, out: Path) -> None:
        self._out, self.inputs, self.faults = out, 0, dict[str, int]()

    def note(self, content: bytes, found: BaseException | str) -> None:
        name = signature(found)
        if name in self.faults and len(content) >= self.faults[name]:
            return
        self.faults[name] = len(content)
        stem = hashlib.sha256(name.encode()).hexdigest()[:12]
        told = found if isinstance(found, str) else "".join(traceback.format_exception(found))
        (self._out / f"fault-{stem}.bin").write_bytes(content)
        (self._out / f"fault-{stem}.txt").write_text(f"{name}\n{told}", encoding="utf-8")

    def count(self) -> None:
        self.inputs += 1
        if self.inputs % 20 == 0:
            told = {"inputs": self.inputs, "faults": sorted(self.faults)}
            (self._out / "book.json").write_text(json.dumps(told), encoding="utf-8")


def _kernels() -> list[str]:
    """Name the compiled modules, whose bytes the compiler reads: they cannot be watched."""
    import toolbox

    root = Path(toolbox.__file__).parent
    found = [path for path in root.rglob("*.py") if "kernels" in str(path.relative_to(root))]
    return [".".join(("toolbox", *path.relative_to(root).with_suffix("").parts)) for path in found]


def main() -> None:
    """Fuzz one reader until told to stop."""
    words = argparse.ArgumentParser(description="Fuzz one reader in this process.")
    words.add_argument("reader", choices=READERS)
    words.add_argument("seeds", type=Path, help="folder of good files")
    words.add_argument("out", type=Path, help="folder for what is found")
    words.add_argument("--seconds", type=int, default=60)
    words.add_argument("--timeout", type=int, default=10, help="seconds for one input")
    words.add_argument("--memory", type=float, default=8.0, help="GiB of address space")
    words.add_argument("--seed", type=int, default=1)
    told = words.parse_args()
    limit = int(told.memory * GIB)
    resource.setrlimit(resource.RLIMIT_AS, (limit, limit))
    resource.setrlimit(resource.RLIMIT_FSIZE, (GIB, GIB))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    _fuzz(READERS[told.reader], told)


def _fuzz(reader: Reader, told: Any) -> None:
    import atheris

    folder = Path(tempfile.mkdtemp(dir=told.out))
    lay_out(reader, told.seeds, folder)
    good = (told.seeds / reader.file).read_bytes()
    with atheris.instrument_imports(include=["toolbox"], exclude=_kernels()):
        fault(reader, good, folder)  # imports what the reader imports
    book = _Book(told.out)

    def once(content: bytes) -> None:
        found = fault(reader, content, folder)
        if found is not None:
            book.note(content, found)
        book.count()

    def damaged(content: bytes, size: int, seed: int) -> bytes:
        source = random.Random(seed)
        if source.random() < 0.3:
            return bytes(atheris.Mutate(content, size))
        begin = good if source.random() < 0.3 else content
        return mutate(begin, source, size=size)

    corpus = told.out / "corpus"
    corpus.mkdir(exist_ok=True)
    (corpus / "good").write_bytes(good)
    options = {
        "max_total_time": told.seconds,
        "timeout": told.timeout,
        "rss_limit_mb": 0,
        "max_len": max(4096, 2 * len(good)),
        "seed": told.seed,
        "artifact_prefix": f"{told.out}/",
        "print_final_stats": 1,
    }
    arguments = [sys.argv[0], *(f"-{key}={value}" for key, value in options.items()), str(corpus)]
    atheris.Setup(arguments, once, custom_mutator=damaged)
    with contextlib.suppress(SystemExit):
        atheris.Fuzz()
    os._exit(0)


if __name__ == "__main__":
    main()
