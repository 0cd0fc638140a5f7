"""Jobs: what the desk's own process does. It loads at once all that they need."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import geopandas  # noqa: F401  loaded while a person looks for the files
import scipy.spatial  # noqa: F401

from toolbox.desk.looking import look
from toolbox.report.text import one_line
from toolbox.survey.run import run
from toolbox.survey.settings import load_settings
from toolbox.words import counted

__all__ = ["JOBS"]


def _run(survey: Path, out: Path, *, watch: Callable[[str], None]) -> tuple[str, ...]:
    """Carry out the survey file; return what it noted."""
    lineage = run(load_settings(survey), out, overwrite=True, watch=watch)
    rejected = [
        f"rejected: {counted(row['soundings'], 'sounding')} of {row['file']}: {row['reason']}"
        for row in lineage.rejections
    ]
    return tuple(map(one_line, (*lineage.notes, *rejected)))


JOBS: dict[str, Callable[..., Any]] = {"look": look, "run": _run}
