"""Batch files: what they say, and what is wrong with one."""

from pathlib import Path
from typing import Any

import pytest

from toolbox.batch.batch_file import load_batch_file
from toolbox.errors import SettingsError
from toolbox.survey.settings import read_keys

GIVEN: dict[str, Any] = {
    "waters": {"file": "lakes.gpkg", "id": "code"},
    "soundings": [{"file": "soundings.csv", "crs": "EPSG:32633"}],
    "make": {"cell": "10 ft"},
}


def test_paths_are_as_seen_from_the_file(tmp_path: Path) -> None:
    wanted = load_batch_file(GIVEN, tmp_path / "batch.toml")
    assert wanted.waters.file == tmp_path / "lakes.gpkg"
    assert wanted.common.soundings[0].file == tmp_path / "soundings.csv"
    assert wanted.common.make.cell == pytest.approx(3.048)  # derived: a foot is 0.3048 m


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"waters": {"file": "a", "colour": 1}}, "waters: key 'colour' is unknown; allowed here"),
        ({"waters": {}}, "waters: key 'file' is missing"),
        ({"water": {"name": "a"}}, r"give \[waters\], a layer of them, or \[water\], not both"),
        ({"make": {"cel": 1}}, "key 'make.cel' is unknown; allowed here"),
        ({"soundings": [{"file": "a", "kind": "nmea"}]}, "soundings 1: kind must be 'points'"),
        ({"waters": {"file": "a", "shoreline_level": 3}}, "needs datum.elevation"),
    ],
)
def test_what_is_wrong_is_named(change: dict[str, Any], message: str) -> None:
    with pytest.raises(SettingsError, match=message):
        load_batch_file(GIVEN | change, Path("batch.toml"))


def test_all_that_is_wrong_is_told() -> None:
    wrong = {
        "waters": {"colour": 1},
        "water": {},
        "make": {"cell": 0},
        "soundings": [{"file": "a", "kind": "nmea"}, {"file": "b"}, {"file": "c", "kind": "xyz"}],
        "species": {},
    }
    with pytest.raises(SettingsError, match="waters: key 'colour'") as caught:
        load_batch_file(wrong, Path("batch.toml"))
    assert [fault.partition(";")[0] for fault in caught.value.faults] == [
        "batch.toml: waters: key 'colour' is unknown",
        "batch.toml: waters: key 'file' is missing",
        "batch.toml: give [waters], a layer of them, or [water], not both",
        "batch.toml: key 'make.cell': Input should be greater than 0, got 0",
        "batch.toml: kind = 'xyz' needs thinning.cell, and thinning.by no median",
        "batch.toml: species need profiles of temperature and oxygen: give [profiles]",
    ]
    del wrong["make"], wrong["species"], wrong["water"]
    wrong |= {"waters": {"file": "a"}, "thinning": {"cell": 3}}
    with pytest.raises(SettingsError, match="soundings 1: kind must be 'points'") as caught:
        load_batch_file(wrong, Path("batch.toml"))
    assert caught.value.faults[1].startswith("batch.toml: soundings 3: kind must be 'points'")


def test_other_files_are_refused(tmp_path: Path) -> None:
    (tmp_path / "a.toml").write_text("[water", encoding="utf-8")
    with pytest.raises(SettingsError, match=r"a\.toml is not a TOML file: "):
        read_keys(tmp_path / "a.toml")
    with pytest.raises(SettingsError, match=r"b\.toml does not exist"):
        read_keys(tmp_path / "b.toml")
