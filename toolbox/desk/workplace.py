"""Workplace: the folder of a desk, and the names of files that get into it."""

import contextlib
import re
import secrets
import shutil
import tempfile
import unicodedata
import zipfile
from collections.abc import Iterable
from pathlib import Path, PurePosixPath

from toolbox.errors import OutputError, ParameterError
from toolbox.formats.containers import ARCHIVES, READ_WORKBOOKS, WORKBOOKS

__all__ = ["MOST_BYTES", "MOST_FILES", "SUFFIXES", "SURVEY", "Workplace", "safe_name"]

MOST_BYTES = 500 * 2**20
"""Of all files together."""

MOST_FILES = 40
SURVEY = "survey.toml"
"""The survey file that the desk writes."""

SUFFIXES = (
    *(".csv", ".txt", ".tsv", ".dat", ".xyz", ".nmea", ".log", ".gpx", *READ_WORKBOOKS),
    *(".gpkg", ".geojson", ".json", ".fgb", ".parquet", ".geoparquet"),
    *(".kml", ".shp", ".shx", ".dbf", ".prj", ".cpg", ".toml"),
)
_HELP = {
    **dict.fromkeys(ARCHIVES, "an archive: unpack it, and give what was in it"),
    **dict.fromkeys(WORKBOOKS, "a workbook: save its sheet as CSV, and give that"),
}
_GIVEN = "survey_given.toml"
_LONGEST = 180
"""Bytes of a name before its ending; disks take 255 with it."""
_DEVICES = {"con", "prn", "aux", "nul", *(f"{p}{n}" for p in ("com", "lpt") for n in range(10))}


def safe_name(given: str) -> str:
    r"""Return a name that stays in its folder on every system.

    Parameters
    ----------
    given : str
        As a browser tells it; a path is cut to its last part.

    Raises
    ------
    ParameterError
        If nothing is left of it, or its ending is not one that can be read.

    Examples
    --------
    >>> safe_name("..\\..\\etc/Lac d'été (1).CSV")
    'Lac d_été _1_.csv'
    """
    last = unicodedata.normalize("NFC", given).replace("\\", "/").rsplit("/", 1)[-1]
    kept = re.sub(r"[^\w. -]", "_", last).strip(" .-")
    stem, dot, suffix = kept.rpartition(".")
    suffix = (dot + suffix).lower()
    stem = stem.strip(" .-").encode()[:_LONGEST].decode(errors="ignore").rstrip(" .-")
    if not stem or suffix not in SUFFIXES:
        if suffix in _HELP:
            raise ParameterError(f"{last[:80]!r} is {_HELP[suffix]}")
        allowed = ", ".join(SUFFIXES)
        raise ParameterError(f"{last[:80]!r} is no kind of file that is read here: {allowed}")
    if stem.lower() in _DEVICES or f"{stem}{suffix}" == SURVEY:
        stem = f"{stem}_given"
    return stem + suffix


class Workplace:
    """A folder with the files given, the survey file made of them, and the results.

    Parameters
    ----------
    folder : Path, optional
        Kept at the end; if left out, a temporary one that is taken away.

    Raises
    ------
    OutputError
        If the folder holds something else, or cannot be written.
    """

    def __init__(self, folder: Path | None = None) -> None:
        self.kept = folder is not None
        if folder is None:
            self.folder = Path(tempfile.mkdtemp(prefix="leadline-desk-"))
        else:
            self.folder = folder.absolute()
            if self.folder.is_dir() and any(self.folder.iterdir()) and not self.inputs.is_dir():
                raise OutputError(f"{folder} holds other things: give a new or an empty folder")
        try:
            self.inputs.mkdir(parents=True, exist_ok=True)
            if self.survey.is_file():  # of an earlier desk: taken as given, with its answers
                self.survey.replace(self.inputs / _GIVEN)
        except OSError as error:
            raise OutputError(f"{folder} cannot be written: {error.strerror or error}") from error

    @property
    def inputs(self) -> Path:
        """Folder of the files given and of the survey file."""
        return self.folder / "survey"

    @property
    def results(self) -> Path:
        """Folder that a run makes."""
        return self.folder / "results"

    @property
    def survey(self) -> Path:
        """The survey file."""
        return self.inputs / SURVEY

    @property
    def names(self) -> list[str]:
        """Files given."""
        given = (path.name for path in self.inputs.iterdir() if path.is_file())
        return sorted(n for n in given if n != SURVEY and Path(n).suffix in SUFFIXES)

    @property
    def taken(self) -> int:
        """Bytes of the files given."""
        return sum((self.inputs / name).stat().st_size for name in self.names)

    def store(self, name: str, parts: Iterable[bytes]) -> None:
        """Write a file given, whole or not at all; one of that name is replaced."""
        fresh = self.inputs / f".{secrets.token_hex(8)}.part"  # two windows may send one name
        try:
            with fresh.open("wb") as file:
                file.writelines(parts)
            fresh.replace(self.inputs / name)
        except OSError as error:
            raise OutputError(f"{name} cannot be kept: {error.strerror or error}") from error
        finally:
            fresh.unlink(missing_ok=True)

    def remove(self, name: str) -> None:
        """Take a file away that was given."""
        if name in self.names:
            (self.inputs / name).unlink()

    def found(self) -> dict[str, Path]:
        """Return the files of the results, by their path in the folder."""
        if not self.results.is_dir():
            return {}
        paths = sorted(path for path in self.results.rglob("*") if path.is_file())
        return {path.relative_to(self.results).as_posix(): path for path in paths}

    def tidy(self) -> None:
        """Take away what a run that was stopped left."""
        for left in self.folder.glob(".results.*"):
            shutil.rmtree(left, ignore_errors=True)

    def forget_results(self) -> None:
        """Take the results away."""
        shutil.rmtree(self.results, ignore_errors=True)
        (self.folder / "results.zip").unlink(missing_ok=True)

    def packed(self) -> Path:
        """Pack the results, and the survey file with its inputs, into one file.

        Returns
        -------
        Path
            ``results/`` and ``survey/`` in it; the run can be repeated from it by command.
        """
        packed = self.folder / "results.zip"
        if not packed.is_file():
            fresh = self.folder / ".results.zip.part"
            members = {f"results/{name}": path for name, path in self.found().items()}
            for name in (*self.names, SURVEY):
                members[str(PurePosixPath("survey", name))] = self.inputs / name
            with zipfile.ZipFile(fresh, "w", zipfile.ZIP_DEFLATED, compresslevel=1) as file:
                for member, path in members.items():
                    file.write(path, member)
            fresh.replace(packed)
        return packed

    def close(self) -> None:
        """Take the folder away unless it is to be kept."""
        self.tidy()
        if not self.kept:
            with contextlib.suppress(OSError):
                shutil.rmtree(self.folder)
