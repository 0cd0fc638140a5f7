"""What makes a result another one."""

import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import pytest
from invented_waters import write_surveys

from toolbox.batch.content import content_digest
from toolbox.errors import InputFileError
from toolbox.survey.settings import load_settings


@pytest.fixture
def survey(tmp_path: Path) -> Path:
    write_surveys(tmp_path / "here", [1], count=30)
    return tmp_path / "here" / "lake_1" / "survey.toml"


def test_a_survey_that_was_moved_is_the_same(survey: Path) -> None:
    before = content_digest(load_settings(survey))
    moved = survey.parent.rename(survey.parent.with_name("elsewhere"))
    assert content_digest(load_settings(moved / survey.name)) == before
    assert len(before) == 64


def test_one_byte_or_one_setting_makes_another(survey: Path) -> None:
    before = content_digest(load_settings(survey))
    text = survey.read_text(encoding="utf-8")
    survey.write_text(f"{text}\n# a remark only\n", encoding="utf-8")
    assert content_digest(load_settings(survey)) == before
    survey.write_text(f"{text}\n[make]\ncell = 3\n", encoding="utf-8")
    changed = content_digest(load_settings(survey))
    soundings = survey.parent / "soundings.csv"
    soundings.write_bytes(soundings.read_bytes().replace(b"easting", b"eastin_", 1))
    assert len({before, changed, content_digest(load_settings(survey))}) == 3


def test_another_version_makes_another(survey: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    before = content_digest(load_settings(survey))
    monkeypatch.setattr("toolbox.batch.content._version", lambda: "0.0.0")
    assert content_digest(load_settings(survey)) != before


@pytest.mark.parametrize("spelled", [str.lower, str.upper])
def test_tables_beside_a_shapefile_count_however_they_are_spelled(
    survey: Path, spelled: Callable[[str], str]
) -> None:
    import geopandas

    shapes = geopandas.read_parquet(survey.parent / "shoreline.parquet").assign(label="a")
    shapes.to_file(survey.parent / "shoreline.shp")
    for part in list(survey.parent.glob("shoreline.???")):
        part.rename(part.with_suffix(spelled(part.suffix)))
    text, name = survey.read_text(encoding="utf-8"), f"shoreline{spelled('.shp')}"
    survey.write_text(text.replace("shoreline.parquet", name), encoding="utf-8")
    before = content_digest(load_settings(survey))
    table = survey.parent / f"shoreline{spelled('.dbf')}"
    table.write_bytes(table.read_bytes().replace(b"a  ", b"b  "))
    assert content_digest(load_settings(survey)) != before


def test_a_missing_input_is_named(survey: Path) -> None:
    (survey.parent / "soundings.csv").unlink()
    with pytest.raises(InputFileError, match=r"soundings\.csv does not exist"):
        content_digest(load_settings(survey))


def test_changes_of_a_geopackage_that_is_open_elsewhere_count(survey: Path) -> None:
    import geopandas

    layer = survey.parent / "shoreline.gpkg"
    shapes = geopandas.read_parquet(survey.parent / "shoreline.parquet").assign(label="a")
    shapes.to_file(layer, layer="shoreline", SPATIAL_INDEX="NO")
    text = survey.read_text(encoding="utf-8")
    survey.write_text(text.replace("shoreline.parquet", layer.name), encoding="utf-8")
    with closing(sqlite3.connect(layer)) as opened:
        opened.execute("PRAGMA journal_mode = WAL")  # as a desktop GIS does
        opened.commit()
        before = content_digest(load_settings(survey))
        opened.execute("UPDATE shoreline SET label = 'b'")
        opened.commit()
        assert geopandas.read_file(layer)["label"].tolist() == ["b"]
        assert content_digest(load_settings(survey)) != before
