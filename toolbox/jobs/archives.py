"""Archives: unpacked into a folder and no farther, and packed."""

import stat
import zipfile
import zlib
from pathlib import Path

from toolbox.errors import InputFileError
from toolbox.faults import said_by
from toolbox.formats.paths import new_file
from toolbox.jobs.names import check_member

__all__ = ["pack", "unpack"]

_MOST_FILES = 1000
_CHUNK = 1024**2
_EPOCH = (1980, 1, 1, 0, 0, 0)
_STORED = frozenset({".png", ".jpg", ".zip", ".kmz", ".xlsx", ".tif", ".mbtiles"})
"""Already compressed."""


def unpack(archive: Path, folder: Path, most: int) -> list[Path]:
    """Unpack a zip file into a folder.

    Parameters
    ----------
    archive : Path
        The zip file.
    folder : Path
        Where its files go.
    most : int
        Bytes that all of them may have.

    Returns
    -------
    list of Path
        The files.

    Raises
    ------
    InputFileError
        If it is no zip file, holds too much, or names a file outside the folder, a link, a file
        with a password or one that is there already.
    """
    try:
        with zipfile.ZipFile(archive) as source:
            members = [member for member in source.infolist() if not member.is_dir()]
            if len(members) > _MOST_FILES:
                raise InputFileError(
                    f"{archive.name} holds {len(members):,} files, at most {_MOST_FILES:,} are "
                    "taken"
                )
            written = []
            for member in members:
                written.append(_unpack(source, member, folder, most))
                most -= written[-1].stat().st_size
            return written
    except InputFileError:
        raise
    except (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, ValueError) as error:
        raise InputFileError(f"{archive.name} is no zip file: {said_by(error)}") from error
    except OSError as error:
        why = error.strerror or said_by(error)
        raise InputFileError(f"{archive.name} cannot be unpacked: {why}") from error


def _unpack(source: zipfile.ZipFile, member: zipfile.ZipInfo, folder: Path, most: int) -> Path:
    kind = stat.S_IFMT(member.external_attr >> 16)
    if kind not in (0, stat.S_IFREG):
        raise InputFileError(f"{member.filename!r} in an archive is no plain file")
    if member.flag_bits & 1:
        raise InputFileError(f"{member.filename!r} in an archive has a password")
    target = folder.joinpath(*check_member(member.filename))
    if target.exists():
        raise InputFileError(f"{member.filename!r} is given twice")
    target.parent.mkdir(parents=True, exist_ok=True)
    with source.open(member) as packed, target.open("xb") as plain:
        while chunk := packed.read(_CHUNK):  # what the member says of its size may be a lie
            most -= len(chunk)
            if most < 0:
                raise InputFileError("the files of the archive are larger than is allowed")
            plain.write(chunk)
    return target


def pack(folder: Path, archive: Path) -> None:
    """Pack a folder; the same files give the same bytes."""
    files = sorted(path for path in folder.rglob("*") if path.is_file())
    with new_file(archive) as place, zipfile.ZipFile(place, "w") as target:
        for path in files:
            name = path.relative_to(folder).as_posix()
            member = zipfile.ZipInfo(name, _EPOCH)
            member.external_attr = (stat.S_IFREG | 0o644) << 16
            stored = path.suffix.lower() in _STORED
            member.compress_type = zipfile.ZIP_STORED if stored else zipfile.ZIP_DEFLATED
            member.file_size = path.stat().st_size  # tells whether it needs the large form
            with path.open("rb") as source, target.open(member, "w") as sink:
                while chunk := source.read(_CHUNK):
                    sink.write(chunk)
