"""Start-up: how long ``leadline --help`` keeps a person waiting, files in the system's cache."""

import os
import subprocess
import sys
from pathlib import Path

from measure import SLOWER, Row, Sides, medians, show

ROUNDS = 10
LEADLINE = Path(sys.executable).with_name("leadline")
ENVIRONMENT = {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"}
"""An installed package is byte-compiled, so one that is not may become so."""


def start(*command: str | Path) -> None:
    """Run a command to its end."""
    subprocess.run(command, check=True, capture_output=True, env=ENVIRONMENT)


def rows() -> list[Row]:
    """Measure."""
    sides: Sides = {
        "help": lambda: start(LEADLINE, "--help"),
        "version": lambda: start(LEADLINE, "--version"),
        "tool": lambda: start(LEADLINE, "slope", "--help"),
        "numpy": lambda: start(sys.executable, "-c", "import numpy"),
        "python": lambda: start(sys.executable, "-c", ""),
    }
    for side in sides.values():
        side()
    seconds = medians(sides, ROUNDS)
    help_ = seconds["help"]
    return [
        Row("leadline --help", "", help_, "s", at_most=0.7),
        Row("leadline slope --help", "", seconds["tool"], "s"),
        Row("leadline --version", "", seconds["version"], "s"),
        Row("leadline --help", "python, importing numpy", help_ / seconds["numpy"], SLOWER),
        Row("leadline --help", "python, doing nothing", help_ / seconds["python"], SLOWER),
    ]


if __name__ == "__main__":
    show(rows())
