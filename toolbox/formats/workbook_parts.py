"""Parts of a workbook: counted and sized before a library opens any of them."""

import re
import zipfile
import zlib
from pathlib import Path
from typing import Any
from xml.parsers import expat

from toolbox.errors import InputFileError
from toolbox.faults import said_by
from toolbox.formats.paths import existing_file

__all__ = ["check_parts"]

_LOCKED = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"  # a compound file: what Office encrypts into
_MOST_PACKED, _MOST_PLAIN, _MOST_PARTS = 64 * 2**20, 256 * 2**20, 1000
_MOST_MARKS = {"worksheet": 4_000_000, "sst": 1_000_000}  # four to a cell, four to a text
_MOST_OTHERS = 200_000
_MOST_ASKED = 16_000_000  # marks of the largest sheet, by how many sheets the workbook names
_METHODS = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)
_BLOCK = 1 << 20
_SHEET = re.compile(rb"<(?:\w+:)?sheet[ \t\r\n]")
_FORMULA = re.compile(rb"<(?:\w+:)?f[ >\t\r\n]")


def check_parts(path: Path) -> bool:
    """Refuse a workbook that would swell, has a password, or is none.

    Parameters
    ----------
    path : Path
        The file.

    Returns
    -------
    bool
        Whether cells hold formulas.

    Raises
    ------
    InputFileError
        If it is no zip file, has a password, has too many or too large parts, or one of them
        declares a document type.
    """
    with existing_file(path).open("rb") as file:
        if file.read(len(_LOCKED)) == _LOCKED:
            raise InputFileError(
                f"{path} has a password, or is a workbook of the old kind: save it as .xlsx "
                "without a password, or its sheet as CSV"
            )
    if path.stat().st_size > _MOST_PACKED:
        raise _too_large(path, f"has more than {_MOST_PACKED // 2**20} MB")
    try:
        with zipfile.ZipFile(path) as book:
            return _check(path, book)
    except InputFileError:
        raise
    except Exception as error:  # whatever the library makes of a broken directory
        raise InputFileError(f"{path} cannot be read as a workbook: {said_by(error)}") from error


def _check(path: Path, book: zipfile.ZipFile) -> bool:
    members = book.infolist()
    if len(members) > _MOST_PARTS:
        raise _too_large(path, f"has more than {_MOST_PARTS:,} parts")
    if sum(member.file_size for member in members) > _MOST_PLAIN:
        raise _too_large(path, f"unpacks to more than {_MOST_PLAIN // 2**20} MB")
    largest, sheets, formulas = 0, 0, False
    for member in members:
        if member.flag_bits & 1:
            raise InputFileError(f"{path} has a password: save it without one")
        if member.compress_type not in _METHODS:
            raise InputFileError(f"{path} is packed in a way that no workbook is")
        part = _Part(path, member.filename)
        with book.open(member) as plain:  # gives no more than the size it says
            while block := _block(plain):
                part.take(block)
        if part.root == "worksheet":
            largest = max(largest, part.marks)
        sheets += part.sheets
        formulas |= part.formulas
    if sheets * largest > _MOST_ASKED:
        raise _too_large(path, f"has {sheets:,} sheets, some of them large")
    return formulas


def _block(plain: Any) -> bytes:
    try:
        data: bytes = plain.read(_BLOCK)
        return data
    except (zlib.error, zipfile.BadZipFile, EOFError) as error:
        raise zipfile.BadZipFile(f"{plain.name}: {said_by(error)}") from error


class _Part:
    """What is counted of one part while it passes."""

    def __init__(self, path: Path, name: str) -> None:
        self._path, self._name = path, name
        self.root, self.marks, self.sheets, self.formulas = "", 0, 0, False
        self._parser: Any = expat.ParserCreate(namespace_separator=" ")
        self._parser.StartElementHandler = self._begin
        self._parser.StartDoctypeDeclHandler = self._refuse

    def _begin(self, name: str, _: dict[str, str]) -> None:
        self.root = self.root or name.rpartition(" ")[2]

    def _refuse(self, *_: Any) -> None:
        raise InputFileError(
            f"{self._path} declares a document type, in its part {self._name[:60]!r}: refused"
        )

    def take(self, block: bytes) -> None:
        if not self.root and self._parser is not None:
            try:  # no document type comes after the first element
                self._parser.Parse(block, False)
            except InputFileError:
                raise
            except (expat.ExpatError, ValueError, LookupError):
                self._parser = None  # a picture; if it should be XML, its reader says so
        if not self.root:
            return
        self.marks += block.count(b"<")
        self.formulas |= self.root == "worksheet" and bool(_FORMULA.search(block))
        self.sheets += len(_SHEET.findall(block)) if self.root == "workbook" else 0
        if self.marks > (most := _MOST_MARKS.get(self.root, _MOST_OTHERS)):
            cells = f"a sheet of more than {most // 4:,} cells"
            what = cells if self.root == "worksheet" else f"too much in its part {self._name!r}"
            raise _too_large(self._path, f"has {what}")


def _too_large(path: Path, what: str) -> InputFileError:
    return InputFileError(f"{path} {what}: save the sheet that is wanted as CSV")
