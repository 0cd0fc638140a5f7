"""Run the examples of the gallery: one of each tool, from the files of the sample."""

import shlex
import tomllib
from collections.abc import Callable, Iterator
from contextlib import chdir
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

__all__ = ["EXAMPLES", "Example", "load", "prepare", "run"]

HERE = Path(__file__).resolve().parent
ROOT = HERE.parents[1]
EXAMPLES = HERE / "examples.toml"


@dataclass(frozen=True)
class Example:
    """A command as one types it, and what its result shows."""

    tool: str
    command: str
    caption: str
    chart: list[dict[str, Any]] = field(default_factory=list)

    @property
    def words(self) -> list[str]:
        """The command's arguments, without its first word."""
        return shlex.split(self.command)[1:]

    @property
    def out(self) -> str:
        """Name of the file it writes."""
        return self.words[self.words.index("--out") + 1]

    @property
    def read(self) -> list[str]:
        """Names of the files it reads."""
        named = [word for word in self.words if Path(word).suffix in SUFFIXES]
        return [name for name in dict.fromkeys(named) if name != self.out]


SUFFIXES = {".csv", ".geojson", ".gpkg", ".tif", ".nmea", ".toml"}


def load(path: Path = EXAMPLES) -> dict[str, Example]:
    """Return the examples by the tool's name, in the order in which they can be run."""
    texts = tomllib.loads(path.read_text(encoding="utf-8"))
    return {name: Example(name, **text) for name, text in texts.items()}


def prepare(folder: Path) -> None:
    """Lay out what examples read where their commands look for it."""
    (folder / "docs" / "gallery").mkdir(parents=True)
    (folder / "sample_layers").symlink_to(ROOT / "sample_layers")
    (folder / "docs" / "gallery" / "inputs").symlink_to(HERE / "inputs")


def run(folder: Path, carry_out: Callable[[list[str]], object]) -> Iterator[Example]:
    """Run one example after the other in a prepared folder; give each when it is done."""
    for example in load().values():
        with chdir(folder):
            carry_out(example.words)
        yield example
