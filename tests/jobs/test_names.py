"""Names of files that others send lead nowhere."""

import pytest

from toolbox.errors import InputFileError
from toolbox.jobs.names import check_member, check_name, is_id, new_id


@pytest.mark.parametrize("name", ["a.csv", "Nordsee (1).gpkg", "Müritz+Plau_2.tif", "2026-05.nmea"])
def test_plain_names_are_kept(name: str) -> None:
    assert check_name(name) == name


@pytest.mark.parametrize(
    "name",
    [
        *("", ".", "..", ".a", "-a", " a", "a/b", "a\\b", "a\0", "a\n", "a:b", "a*", "~a", "_a"),
        *("con", "NUL.csv", "com1.txt", "a.", "a ", "x" * 101, "\ud800", "a\u202ecsv"),
    ],
)
def test_others_are_refused(name: str) -> None:
    with pytest.raises(InputFileError, match="a file is named by letters, digits"):
        check_name(name)


def test_a_path_in_an_archive_is_made_of_plain_names() -> None:
    assert check_member("pond/inputs/a.csv") == ("pond", "inputs", "a.csv")
    for path in ("/a", "a//b", "a/../b", "./a", "a/"):
        with pytest.raises(InputFileError, match="a file is named by"):
            check_member(path)


def test_ids_are_told_from_other_texts() -> None:
    assert is_id(new_id())
    assert new_id() != new_id()
    for text in ("", "..", new_id().upper() + "x", new_id() + "/..", new_id()[:-1]):
        assert not is_id(text)
