"""Waters: what a batch is asked for, and what became of each."""

import json
import re
import unicodedata
from collections.abc import Iterable
from dataclasses import asdict, dataclass, field
from typing import Any, Literal

from toolbox.errors import SettingsError

__all__ = ["FIGURES", "RECORD", "Job", "Record", "Status", "check_folders", "folder_name"]

RECORD = "water.json"
"""File in each finished folder that says what it was made from, and its figures."""

Status = Literal["done", "failed", "no soundings", "not done", "not checked"]

FIGURES = {
    "area_m2": "water area",
    "volume_m3": "volume",
    "mean_depth_m": "mean depth",
    "greatest_depth_m": "greatest depth",
}
"""Columns of the summary, and the measures of a survey they are taken from."""


@dataclass(frozen=True)
class Job:
    """One water to be done.

    Parameters
    ----------
    folder : str
        Name of its folder, alone of its kind in a batch.
    survey : str
        Its survey file: a path, or a URL.
    out : str
        The folder its results go to, path or URL.
    write : tuple of str, optional
        Parts of the folder to write, instead of those the survey file names.
    """

    folder: str
    survey: str
    out: str
    write: tuple[str, ...] | None = None


@dataclass(frozen=True)
class Record:
    """What became of a water.

    Parameters
    ----------
    folder : str
        Name of its folder.
    status : str
        ``"done"``, ``"failed"``, ``"no soundings"``; after an interruption also ``"not done"``,
        and ``"not checked"`` of a folder that is there but was not compared with its inputs.
    name : str
        Name of the water.
    error : str
        Why it failed, on one line.
    digest : str
        Digest of its inputs, its settings and the version that made it.
    seconds : float
        What it took.
    figures : dict
        Area, volume and depths as in :data:`FIGURES`, and numbers of soundings.
    outline : str
        Polygon in degrees on WGS 84, as hexadecimal well-known binary; empty if it has no place on
        the earth.
    made : bool
        Whether it was made now, not found done.
    short : bool
        Whether it failed for want of memory.
    """

    folder: str
    status: Status
    name: str = ""
    error: str = ""
    digest: str = ""
    seconds: float = 0.0
    figures: dict[str, float] = field(default_factory=dict)
    outline: str = ""
    made: bool = False
    short: bool = False

    def to_json(self) -> str:
        """Write as it stands in a finished folder."""
        told = asdict(self)
        del told["made"], told["short"]
        return json.dumps(told, indent=1, ensure_ascii=False) + "\n"

    @classmethod
    def from_json(cls, text: str | bytes) -> "Record | None":
        """Read what :meth:`to_json` wrote; None if it is anything else."""
        try:
            told: dict[str, Any] = json.loads(text)
            return cls(**told)
        except (ValueError, TypeError):
            return None


def folder_name(text: str) -> str:
    """Turn a name or a number into the name of a folder that every system and URL can hold.

    Examples
    --------
    >>> folder_name("Åsnen, södra"), folder_name("../7")
    ('Asnen_sodra', '7')
    """
    plain = unicodedata.normalize("NFKD", text).encode("ascii", "ignore").decode()
    return re.sub(r"[^A-Za-z0-9-]+", "_", plain).strip("_-")[:100]


def check_folders(folders: Iterable[str], sources: Iterable[str], mend: str) -> None:
    """Raise SettingsError where two waters would share a folder, or one would have none.

    Parameters
    ----------
    folders : iterable of str
        Names of folders.
    sources : iterable of str
        What each is for, for the message.
    mend : str
        What a person can do about it.
    """
    known: dict[str, str] = {}
    for folder, source in zip(folders, sources, strict=True):
        if not folder:
            raise SettingsError(f"{source} gives no name for a folder; {mend}")
        other = known.setdefault(folder.casefold(), source)  # some systems know no case
        if other is not source:
            raise SettingsError(f"{source} and {other} would both be written to {folder!r}; {mend}")
