"""Archives and workbooks are explained alike, whatever is read."""

import tarfile
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from toolbox.desk.workplace import SUFFIXES
from toolbox.errors import InputFileError
from toolbox.formats.containers import ARCHIVES, READ_WORKBOOKS, WORKBOOKS, refuse_container
from toolbox.formats.delimited import read_delimited
from toolbox.formats.sources import vector_source


@pytest.mark.parametrize("read", [read_delimited, vector_source])
@pytest.mark.parametrize(
    ("suffix", "words"),
    [
        (".gz", "is an archive: unpack it, and name the file in it"),
        (".ZIP", "is an archive: unpack it, and name the file in it"),
        (".xlsb", "is a workbook: save its sheet as CSV, and name that file"),
    ],
)
def test_every_reader_says_the_same(
    read: Callable[[Path], Any], suffix: str, words: str, tmp_path: Path
) -> None:
    path = tmp_path / f"lake{suffix}"
    path.write_bytes(b"PK\3\4")
    with pytest.raises(InputFileError, match=f"{words}$"):
        read(path)


def test_what_python_packs_is_an_archive(tmp_path: Path) -> None:
    """By its own modules: ``zipfile``, and ``tarfile`` with each compression it knows."""
    with zipfile.ZipFile(tmp_path / "a.zip", "w"):
        pass
    for name in ("a.tar", "a.tar.gz", "a.tgz", "a.tar.bz2", "a.tar.xz"):
        with tarfile.open(tmp_path / name, f"w:{name.partition('a.tar.')[2]}"):
            pass
    for path in tmp_path.iterdir():
        with pytest.raises(InputFileError, match="is an archive"):
            refuse_container(path)


def test_nothing_that_is_read_is_refused(tmp_path: Path) -> None:
    assert set(SUFFIXES) & {*ARCHIVES, *WORKBOOKS} == set(READ_WORKBOOKS)
    for suffix in set(SUFFIXES) - set(READ_WORKBOOKS):
        refuse_container(tmp_path / f"a{suffix}")
