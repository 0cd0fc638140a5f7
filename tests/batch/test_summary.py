"""The layer, the table and the list of failures."""

from pathlib import Path

import geopandas
import pandas as pd
import pytest
import shapely

from toolbox.batch.storage import read_bytes
from toolbox.batch.summary import summary_frame, without_soundings, write_summary
from toolbox.batch.waters import Record

SQUARE = shapely.to_wkb(shapely.box(15, 47, 15.01, 47.01), hex=True)
DONE = Record(
    "a",
    "done",
    "Ån",
    digest="0" * 64,
    seconds=0.5,
    figures={"area_m2": 10.0, "volume_m3": 20.0, "soundings": 7, "soundings_given": 8},
    outline=SQUARE,
)
FAILED = Record("b", "failed", error="soundings.csv does not exist")


def test_layer_and_table_tell_the_same(tmp_path: Path) -> None:
    write_summary([DONE, FAILED], str(tmp_path))
    layer = geopandas.read_file(tmp_path / "waters.gpkg", layer="waters")
    table = pd.read_csv(tmp_path / "waters.csv")
    for frame in (layer, table):
        assert frame["folder"].tolist() == ["a", "b"]
        assert frame["status"].tolist() == ["done", "failed"]
        assert frame["area_m2"][0] == 10.0
        assert frame["soundings"][0] == 7
        assert frame[["area_m2", "soundings"]].isna().all(axis=1).tolist() == [False, True]
    assert layer.crs.to_epsg() == 4326
    assert layer.geometry[0].bounds == (15, 47, 15.01, 47.01)
    assert layer.geometry.isna().tolist() == [False, True]
    failures = (tmp_path / "failures.txt").read_text(encoding="utf-8")
    assert failures == "b: soundings.csv does not exist\n"


def test_a_list_of_failures_goes_when_there_are_none(tmp_path: Path) -> None:
    write_summary([FAILED], str(tmp_path))
    write_summary([DONE], str(tmp_path))
    assert sorted(path.name for path in tmp_path.iterdir()) == ["waters.csv", "waters.gpkg"]


def test_behind_a_url() -> None:
    write_summary([DONE, FAILED], "memory://summary")
    assert (read_bytes("memory://summary/waters.csv") or b"").startswith(b"folder,name,status,")


def test_no_waters_at_all() -> None:
    assert len(summary_frame([])) == 0


def test_waters_without_soundings_keep_their_outline_and_area(tmp_path: Path) -> None:
    (tmp_path / "inputs").mkdir()
    shapes = [shapely.box(500_000, 5_300_000, 500_100, 5_300_100), None, shapely.box(0, 0, 1, 1)]
    frame = geopandas.GeoDataFrame(
        {"name": ["Pond", "No shape", "Sounded"], "folder": ["p", "n", "s"]},
        geometry=shapes,
        crs="EPSG:32633",
    )
    frame.assign(soundings=[0, 0, 5]).to_parquet(tmp_path / "inputs" / "waters.parquet")
    pond, shapeless = without_soundings(str(tmp_path))
    assert (pond.folder, pond.status, pond.name) == ("p", "no soundings", "Pond")
    # derived: a square of 100 m at the central meridian of UTM, whose scale is 0.9996
    assert pond.figures["area_m2"] == pytest.approx(100**2 / 0.9996**2, rel=1e-4)
    assert shapely.from_wkb(pond.outline).bounds[0] == pytest.approx(15)
    assert (shapeless.outline, shapeless.figures) == ("", {})
    assert without_soundings(str(tmp_path / "inputs")) == []
