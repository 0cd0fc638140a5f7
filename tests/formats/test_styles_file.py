"""The table of styles: desktop GISs find it, and the GeoPackage stays one."""

import shutil
import sqlite3
import subprocess
from contextlib import closing
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path

import geopandas
import pytest
import shapely

from toolbox.errors import InputFileError, OutputError
from toolbox.formats.styles_file import (
    LAYER_STYLES,
    StyleText,
    write_layer_styles,
    write_style_beside,
)
from toolbox.formats.vector import read_features, write_features

MADE = datetime(2026, 5, 14, 9, 30, 0, 250_000, tzinfo=UTC)
HOSTILE = "a\"b'; DROP TABLE layer_styles; -- <script>"


def package(folder: Path, *names: str) -> Path:
    path = folder / "lakebed.gpkg"
    frame = geopandas.GeoDataFrame({"depth": [1.0]}, geometry=[shapely.Point(5e5, 5e6)], crs=32633)
    for number, name in enumerate(names):
        write_features(frame, path, layer=name, append=number > 0)
    return path


def rows(path: Path, wanted: str) -> list[tuple[object, ...]]:
    with closing(sqlite3.connect(path)) as file:
        return file.execute(wanted).fetchall()


def styles_in(path: Path) -> dict[object, StyleText]:
    wanted = f"SELECT f_table_name, styleSLD, styleQML FROM {LAYER_STYLES} ORDER BY id"
    return {name: StyleText(str(sld), str(qml)) for name, sld, qml in rows(path, wanted)}


def test_styles_come_back_and_others_are_left_out(tmp_path: Path) -> None:
    path = package(tmp_path, "marks", "pegs")
    styles = {"marks": StyleText("<a/>", "<b/>"), "isobaths": StyleText("<c/>", "<d/>")}
    assert write_layer_styles(path, styles, made=MADE) == ["marks"]
    assert styles_in(path) == {"marks": StyleText("<a/>", "<b/>")}


def test_the_table_is_as_desktop_programs_look_for_it(tmp_path: Path) -> None:
    # columns as QGIS 3.22 makes them when it saves a style into a GeoPackage, from memory
    path = package(tmp_path, "marks")
    write_layer_styles(path, {"marks": StyleText("<a/>", "<b/>")}, made=MADE)
    columns = [row[1] for row in rows(path, f"PRAGMA table_info({LAYER_STYLES})")]
    assert columns == [
        *("id", "f_table_catalog", "f_table_schema", "f_table_name", "f_geometry_column"),
        *("styleName", "styleQML", "styleSLD", "useAsDefault", "description", "owner", "ui"),
        "update_time",
    ]
    wanted = (
        f"SELECT f_table_name, f_geometry_column, useAsDefault, update_time FROM {LAYER_STYLES}"
    )
    assert rows(path, wanted) == [("marks", "geom", 1, "2026-05-14T09:30:00.250Z")]


def test_a_second_time_replaces_the_first(tmp_path: Path) -> None:
    path = package(tmp_path, "marks", "pegs")
    both = {"marks": StyleText("<a/>", ""), "pegs": StyleText("<b/>", "")}
    write_layer_styles(path, both, made=MADE)
    write_layer_styles(path, {"marks": StyleText("<c/>", "")}, made=MADE)
    found = styles_in(path)
    assert {name: style.sld for name, style in found.items()} == {"pegs": "<b/>", "marks": "<c/>"}


@pytest.mark.parametrize(
    "made",
    [MADE, MADE.replace(tzinfo=None), MADE.astimezone(timezone(timedelta(hours=5)))],
    ids=["UTC", "no zone", "elsewhere"],
)
def test_times_are_told_in_utc(tmp_path: Path, made: datetime) -> None:
    path = package(tmp_path, "marks")
    write_layer_styles(path, {"marks": StyleText("", "")}, made=made)
    told = rows(path, f"SELECT last_change FROM gpkg_contents WHERE table_name = '{LAYER_STYLES}'")
    assert told == [("2026-05-14T09:30:00.250Z",)]


def test_hostile_names_are_text(tmp_path: Path) -> None:
    path = package(tmp_path, "marks", HOSTILE)
    styles = {HOSTILE: StyleText(f"<a>{HOSTILE}</a>", "'"), "marks": StyleText("", "")}
    assert write_layer_styles(path, styles, made=MADE) == [HOSTILE, "marks"]
    assert styles_in(path) == styles


def test_layers_are_read_as_before(tmp_path: Path) -> None:
    path = package(tmp_path, "marks", "pegs")
    write_layer_styles(path, {"marks": StyleText("<a/>", "<b/>")}, made=MADE)
    assert read_features(path, layer="marks")["depth"].tolist() == [1.0]
    assert rows(path, "PRAGMA integrity_check") == [("ok",)]


@pytest.mark.skipif(shutil.which("ogrinfo") is None, reason="no ogrinfo here (Debian: gdal-bin)")
def test_another_program_still_takes_it_for_a_geopackage(tmp_path: Path) -> None:
    path = package(tmp_path, "marks")
    write_layer_styles(path, {"marks": StyleText("<a/>", "<b/>")}, made=MADE)
    done = subprocess.run(
        ["ogrinfo", "-ro", "-al", str(path)], capture_output=True, text=True, check=True
    )
    assert "using driver `GPKG' successful" in done.stdout
    assert "Layer name: marks" in done.stdout
    assert f"Layer name: {LAYER_STYLES}" in done.stdout
    assert "styleSLD (String) = <a/>" in done.stdout
    assert done.stderr == ""


def test_what_is_no_geopackage_is_refused(tmp_path: Path) -> None:
    text = tmp_path / "notes.gpkg"
    text.write_text("not at all a database, but long enough to look like one " * 20)
    with pytest.raises(
        InputFileError, match=r"notes.gpkg holds no layers of a GeoPackage: file is"
    ):
        write_layer_styles(text, {}, made=MADE)
    with pytest.raises(InputFileError, match=r"absent.gpkg"):
        write_layer_styles(tmp_path / "absent.gpkg", {}, made=MADE)


def test_a_file_in_use_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = package(tmp_path, "marks")
    connect = sqlite3.connect
    monkeypatch.setattr(sqlite3, "connect", lambda name: connect(name, timeout=0.01))
    with closing(connect(path)) as other:
        other.execute("BEGIN IMMEDIATE")
        with pytest.raises(
            OutputError, match=r"lakebed.gpkg cannot be written: database is locked"
        ):
            write_layer_styles(path, {"marks": StyleText("", "")}, made=MADE)


def test_rasters_have_their_style_beside_them(tmp_path: Path) -> None:
    files = write_style_beside(StyleText("<a>\u00e9</a>", "<b/>"), tmp_path / "depth.tif")
    assert [file.name for file in files] == ["depth.sld", "depth.qml"]
    assert files[0].read_bytes().decode() == "<a>\u00e9</a>"
