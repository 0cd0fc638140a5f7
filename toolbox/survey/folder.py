"""Folder: what is needed to write a part of a survey's folder."""

from dataclasses import dataclass
from pathlib import Path

from toolbox.survey.aside import Aside
from toolbox.survey.lineage import Lineage
from toolbox.survey.living import Living
from toolbox.survey.results import Results
from toolbox.survey.settings import Settings

__all__ = ["Folder"]


@dataclass(frozen=True)
class Folder:
    """A folder in the making.

    Parameters
    ----------
    path : Path
        Where it is made.
    settings, living, results, lineage
        What was asked for, read, found and done.
    beside : Aside
        For what can be written while other parts are.
    """

    path: Path
    settings: Settings
    living: Living
    results: Results
    lineage: Lineage
    beside: Aside
