"""Lineage: every figure can be followed back to the bytes it came from."""

import hashlib
import json
from datetime import UTC, datetime, timedelta
from importlib.metadata import version
from pathlib import Path

import numpy as np
import pyproj
import pytest

from toolbox.layers import Soundings
from toolbox.notes import Assumption, Caution
from toolbox.survey.lineage import Lineage
from toolbox.survey.settings import Settings, load_settings

SURVEY = """
[water]
name = "M\u00fchlweiher"
shoreline = "shoreline.gpkg"
[[soundings]]
file = "soundings.csv"
"""


@pytest.fixture
def settings(tmp_path: Path) -> Settings:
    (tmp_path / "survey.toml").write_text(SURVEY, encoding="utf-8")
    (tmp_path / "shoreline.gpkg").write_bytes(b"any bytes")
    (tmp_path / "soundings.csv").write_bytes(b"abc")
    return load_settings(tmp_path / "survey.toml")


def written(lineage: Lineage, folder: Path) -> dict[str, object]:
    path = folder / "lineage.json"
    lineage.write(path)
    told: dict[str, object] = json.loads(path.read_text(encoding="utf-8"))
    return told


def test_inputs_are_told_with_size_and_hash(settings: Settings, tmp_path: Path) -> None:
    told = written(Lineage(settings), tmp_path)["inputs"]
    assert isinstance(told, list)
    assert [Path(row["file"]).name for row in told] == ["shoreline.gpkg", "soundings.csv"]
    assert [row["bytes"] for row in told] == [9, 3]
    # FIPS 180-2 (NIST 2002), appendix B.1: SHA-256 of the message "abc"
    assert told[1]["sha256"] == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    assert told[0]["sha256"] == hashlib.sha256(b"any bytes").hexdigest()


def test_settings_come_back_as_they_were(settings: Settings, tmp_path: Path) -> None:
    told = written(Lineage(settings), tmp_path)["settings"]
    assert Settings.model_validate(told) == settings
    assert "M\u00fchlweiher" in (tmp_path / "lineage.json").read_text(encoding="utf-8")


def test_versions_and_time_are_told(settings: Settings, tmp_path: Path) -> None:
    told = written(Lineage(settings), tmp_path)
    made_with, made_at = told["made_with"], told["made_at"]
    assert isinstance(made_with, dict)
    assert isinstance(made_at, str)
    assert made_with["leadline"] == version("leadline")
    assert {"numpy", "pyproj", "shapely", "geopandas", "rasterio"} <= set(made_with)
    assert abs(datetime.now(UTC) - datetime.fromisoformat(made_at)) < timedelta(minutes=1)


def test_steps_keep_their_order_counts_and_notes(settings: Settings, tmp_path: Path) -> None:
    lineage = Lineage(settings)
    lineage.step("read", ("feet assumed",), soundings_out=5)
    lineage.step("grid", rows=3, cols=4)
    lineage.step("bed", ("two merged", "one inferred"))
    assert lineage.notes == ["feet assumed", "two merged", "one inferred"]
    assert written(lineage, tmp_path)["steps"] == [
        {"step": "read", "soundings_out": 5, "notes": ["feet assumed"]},
        {"step": "grid", "rows": 3, "cols": 4, "notes": []},
        {"step": "bed", "notes": ["two merged", "one inferred"]},
    ]


def test_notes_are_ranked_and_none_is_lost(settings: Settings, tmp_path: Path) -> None:
    lineage = Lineage(settings)
    lineage.step("read", ("12 rows", Assumption("feet")))
    lineage.step("bed", (Caution("mostly a guess"), Assumption("feet"), "7 nodes"))
    told = written(lineage, tmp_path)
    assert told["notes"] == {
        "caution": ["mostly a guess"],
        "assumed": ["feet"],
        "for the record": ["12 rows", "7 nodes"],
    }
    assert lineage.notes == ["mostly a guess", "feet", "12 rows", "7 nodes"]
    assert told["steps"][1]["notes"] == ["mostly a guess", "feet", "7 nodes"]


def test_rejections_are_counted_by_file_and_reason(settings: Settings, tmp_path: Path) -> None:
    soundings = Soundings.from_arrays(
        np.arange(12.0).reshape(6, 2),
        np.array([1, np.nan, np.nan, 2, 3, 4]),
        crs=pyproj.CRS.from_epsg(32633),
        file=np.array(["b.csv", "a.csv", "b.csv", "a.csv", "b.csv", "b.csv"]),
    ).reject(np.array([False, False, False, True, True, False]), "outside the water")
    lineage = Lineage(settings)
    lineage.rejected(soundings)
    assert written(lineage, tmp_path)["rejections"] == [
        {"file": "a.csv", "reason": "no depth", "soundings": 1},
        {"file": "a.csv", "reason": "outside the water", "soundings": 1},
        {"file": "b.csv", "reason": "no depth", "soundings": 1},
        {"file": "b.csv", "reason": "outside the water", "soundings": 1},
    ]


def test_nothing_rejected_is_nothing_told(settings: Settings, tmp_path: Path) -> None:
    lineage = Lineage(settings)
    places = np.arange(4.0).reshape(2, 2)
    lineage.rejected(Soundings.from_arrays(places, np.ones(2), crs=None, file=["a", "a"]))
    assert written(lineage, tmp_path)["rejections"] == []
