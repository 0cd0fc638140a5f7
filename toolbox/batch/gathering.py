"""Gathering: the waters that a person asked for, from files, folders and layers."""

import posixpath
import tempfile
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from toolbox.batch.batch_file import BatchFile, load_batch_file
from toolbox.batch.inputs import SPLIT, Split, read_split, split_digest, split_inputs
from toolbox.batch.storage import (
    at_hand,
    found_below,
    is_url,
    joined,
    put_folder,
    read_bytes,
)
from toolbox.batch.waters import Job, check_folders, folder_name
from toolbox.errors import InputFileError, SettingsError
from toolbox.formats.paths import new_folder
from toolbox.survey.settings import read_keys

__all__ = ["INPUTS", "WATERS", "Gathered", "batch_file_of", "gather_split", "gather_surveys"]

WATERS, INPUTS = "waters", "inputs"
"""Folders of results and of what a large layer was split into."""

_SURVEY = "survey.toml"


@dataclass(frozen=True)
class Gathered:
    """What is to be done.

    Parameters
    ----------
    jobs : tuple of Job
        The waters.
    split : Split, optional
        Of a large layer, if that is where they come from.
    """

    jobs: tuple[Job, ...]
    split: Split | None = None


def gather_surveys(places: Sequence[str], out: str, write: tuple[str, ...] | None) -> Gathered:
    """Find survey files.

    Parameters
    ----------
    places : sequence of str
        Survey files, and folders that are searched for files named ``survey.toml``; paths or URLs.
    out : str
        Folder of the batch.
    write : tuple of str, optional
        Parts of each folder to write.

    Returns
    -------
    Gathered
        One job for each.

    Raises
    ------
    InputFileError, SettingsError
        If a place holds none, or two would be written to one folder.
    """
    found = [pair for place in places for pair in _surveys(place)]
    found = list(dict(reversed(found)).items())[::-1]  # a survey named twice is done once
    surveys, folders = [survey for survey, _ in found], [folder for _, folder in found]
    check_folders(folders, surveys, "rename one, or start a batch for each")
    return Gathered(
        tuple(Job(folder, survey, joined(out, WATERS, folder), write) for survey, folder in found)
    )


def _surveys(place: str) -> Iterator[tuple[str, str]]:
    """Give survey files and the names of their folders."""
    if place.endswith(".toml"):
        place = place if is_url(place) else str(Path(place).absolute())
        folder, name = posixpath.split(place.replace("\\", "/"))
        own = posixpath.basename(folder) if name == _SURVEY else name.removesuffix(".toml")
        yield place, folder_name(own)
        return
    root = place if is_url(place) else str(Path(place).absolute())
    if not is_url(root) and not Path(root).is_dir():
        raise InputFileError(f"{place} is no folder and no survey file (.toml)")
    found = found_below(root, _SURVEY)
    if not found:
        raise InputFileError(f"{place} holds no {_SURVEY}, not in the folders below either")
    for survey in found:
        below = posixpath.dirname(survey.replace("\\", "/"))[len(root.rstrip("/")) :].strip("/")
        yield survey, folder_name(below or posixpath.basename(root.rstrip("/")))


@contextmanager
def batch_file_of(place: str) -> Iterator[tuple[BatchFile, Path] | None]:
    """Read a batch file, and give it with the folder of copies; None if it is a survey file."""
    with tempfile.TemporaryDirectory(prefix="leadline-") as name:
        scratch = Path(name).resolve()
        path = at_hand(place, scratch, _named_by)
        given = read_keys(path)
        yield (load_batch_file(given, path), scratch) if "waters" in given else None


def _named_by(path: Path) -> tuple[Path, ...]:
    given = read_keys(path)
    if "waters" not in given:
        return ()
    wanted = load_batch_file(given, path)
    return (wanted.waters.file, *wanted.common.inputs)


def gather_split(
    wanted: BatchFile, out: str, write: tuple[str, ...] | None, scratch: Path
) -> Gathered:
    """Split a large layer by water, unless that is done, and return the waters with soundings.

    Parameters
    ----------
    wanted : BatchFile
        Layers, and what holds for all waters.
    out : str
        Folder of the batch.
    write : tuple of str, optional
        Parts of each folder to write.
    scratch : Path
        Where copies stand of files behind URLs.

    Returns
    -------
    Gathered
        With the split.
    """
    inputs = joined(out, INPUTS)
    split = read_split(read_bytes(joined(inputs, SPLIT)))
    if split is None or split.digest != split_digest(wanted):
        split = _split(wanted, inputs, scratch)
    return Gathered(
        tuple(
            Job(folder, joined(inputs, folder, _SURVEY), joined(out, WATERS, folder), write)
            for folder, count in zip(split.folders, split.soundings, strict=True)
            if count
        ),
        split,
    )


def _split(wanted: BatchFile, inputs: str, scratch: Path) -> Split:
    if is_url(inputs):
        with tempfile.TemporaryDirectory(prefix="leadline-") as name:
            split = split_inputs(wanted, Path(name), scratch)
            put_folder(Path(name), inputs, last=SPLIT)
            return split
    there = Path(inputs)
    if there.exists() and not (there / SPLIT).is_file():
        raise SettingsError(f"{inputs} exists already and holds no {SPLIT}; choose another --out")
    with new_folder(there, overwrite=True) as folder:
        return split_inputs(wanted, folder, scratch)
