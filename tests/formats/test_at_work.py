"""Temporary folders: held while their writer lives, cleared when it is gone."""

import os
from pathlib import Path

import pytest

from toolbox.errors import OutputError
from toolbox.formats.at_work import cleared, hold, left_over
from toolbox.formats.paths import new_file, new_folder

pytestmark = pytest.mark.skipif(os.name != "posix", reason="folders are held on POSIX only")

PLACE = ".result.0123abcd"


def test_only_its_own_temporary_folders_are_listed(tmp_path: Path) -> None:
    others = [
        "result",
        ".result.0123",
        ".result.0123abcg",
        ".result2.0123abcd",
        "x.result.0123abcd",
    ]
    for name in (PLACE, *others):
        (tmp_path / name).mkdir()
    assert left_over(tmp_path / "result") == [tmp_path / PLACE]


def test_a_held_folder_is_left_alone_and_one_that_was_left_is_taken_away(tmp_path: Path) -> None:
    place = tmp_path / PLACE
    place.mkdir()
    with hold(place), cleared(place) as state:
        assert state == "held"
    assert place.exists()
    with cleared(place) as state:
        assert state == "left"
    assert not place.exists()
    with cleared(place) as state:
        assert state == "unknown"


@pytest.mark.parametrize("door", [new_file, new_folder])
def test_who_writes_where_another_writes_is_refused(door: type, tmp_path: Path) -> None:
    words = "result is being written by another process; wait until it ends$"
    with door(tmp_path / "result") as place:
        with pytest.raises(OutputError, match=words), door(tmp_path / "result"):
            pytest.fail("the work must not begin")
        place.rmdir() if place.is_dir() else None
        place.write_text("good")
    assert (tmp_path / "result").read_text() == "good"


def test_a_result_is_put_back_that_was_about_to_be_replaced(tmp_path: Path) -> None:
    former = tmp_path / PLACE / "former"
    former.mkdir(parents=True)
    (former / "a.txt").write_text("former")
    with (
        pytest.raises(ValueError, match="bad figures"),
        new_folder(tmp_path / "result", overwrite=True),
    ):
        raise ValueError("bad figures")
    assert (tmp_path / "result" / "a.txt").read_text() == "former"
    assert [path.name for path in tmp_path.iterdir()] == ["result"]
