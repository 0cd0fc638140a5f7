"""Workbooks that would swell, are locked or are none are refused before a library opens them."""

import io
import zipfile
from pathlib import Path

import openpyxl
import pytest

from toolbox.errors import InputFileError
from toolbox.formats import workbook_parts
from toolbox.formats.workbook_parts import check_parts


@pytest.fixture
def path(tmp_path: Path) -> Path:
    book = openpyxl.Workbook()
    for row in (["a", "b"], [1, 2], [3, 4]):
        book.active.append(row)
    book.save(tmp_path / "a.xlsx")
    return tmp_path / "a.xlsx"


def test_a_good_workbook_passes_and_says_whether_it_has_formulas(path: Path) -> None:
    assert not check_parts(path)
    book = openpyxl.load_workbook(path)
    book.active["A4"] = "=A1"
    book.save(path)
    assert check_parts(path)


@pytest.mark.parametrize(
    ("limit", "words"),
    [
        ("_MOST_PACKED", "has more than 0 MB"),
        ("_MOST_PLAIN", "unpacks to more than 0 MB"),
        ("_MOST_PARTS", "has more than 5 parts"),
        ("_MOST_OTHERS", "has too much in its part"),
        ("_MOST_ASKED", "has 1 sheets, some of them large"),
    ],
)
def test_limits(limit: str, words: str, path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(workbook_parts, limit, 5)
    with pytest.raises(InputFileError, match=rf"a\.xlsx {words}.*: save the sheet that is wanted"):
        check_parts(path)


def test_a_part_that_swells_is_refused_unread(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """30 MB of zeros pack into some 30 kB (DEFLATE, at most 1032 to 1; from memory)."""
    monkeypatch.setattr(workbook_parts, "_MOST_PLAIN", 20 * 2**20)
    with zipfile.ZipFile(path, "a", zipfile.ZIP_DEFLATED) as book, book.open("x", "w") as part:
        for _ in range(30):
            part.write(bytes(2**20))
    assert path.stat().st_size < 2**16
    with pytest.raises(InputFileError, match=r"a\.xlsx unpacks to more than 20 MB"):
        check_parts(path)


def test_a_part_that_lies_of_its_size_is_refused(path: Path) -> None:
    data = path.read_bytes()
    plain = zipfile.ZipFile(io.BytesIO(data)).getinfo("xl/styles.xml").file_size
    size = plain.to_bytes(4, "little")
    assert data.count(size) == 2
    path.write_bytes(data.replace(size, (100).to_bytes(4, "little")))
    with pytest.raises(InputFileError, match=r"a\.xlsx cannot be read as a workbook: .*styles"):
        check_parts(path)


def test_passwords_and_odd_packing_are_refused(path: Path, tmp_path: Path) -> None:
    data = bytearray(path.read_bytes())
    data[data.index(b"PK\1\2") + 8] |= 1  # general purpose flag (APPNOTE.TXT 6.3.10, 4.4.4)
    (tmp_path / "b.xlsx").write_bytes(data)
    with pytest.raises(InputFileError, match=r"b\.xlsx has a password: save it without one"):
        check_parts(tmp_path / "b.xlsx")
    with zipfile.ZipFile(path, "a", zipfile.ZIP_LZMA) as book:
        book.writestr("x", b"1")
    with pytest.raises(InputFileError, match=r"a\.xlsx is packed in a way that no workbook is"):
        check_parts(path)


@pytest.mark.parametrize("content", [b"PK\3\4", b"easting,northing,depth\n1,2,3\n"])
def test_what_is_no_workbook_is_refused(content: bytes, tmp_path: Path) -> None:
    path = tmp_path / "a.xlsx"
    path.write_bytes(content)
    with pytest.raises(InputFileError, match=r"a\.xlsx cannot be read as a workbook: .*zip"):
        check_parts(path)
