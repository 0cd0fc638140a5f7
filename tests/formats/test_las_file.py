"""LAS and LAZ: what the standard's own bytes say is what is read."""

import struct
import sys
from collections import namedtuple
from pathlib import Path
from typing import Any

import laspy
import numpy as np
import psutil
import pytest
from pyproj import CRS

from toolbox.errors import InputFileError, MissingExtraError, TooLargeError
from toolbox.formats.las_file import LasFile, las_places
from toolbox.formats.point_chunks import Choices, PointChunk
from toolbox.formats.soundings_file import read_soundings

PLAIN = Choices(crs="EPSG:32633")


def by_hand(path: Path, points: list[tuple[int, int, int, int, int, int]]) -> Path:
    """Write LAS 1.2, point format 0, byte by byte: X, Y, Z, returns, class, source.

    Layout: ASPRS, 2008, LAS specification 1.2, tables "Public header block" and "Point data
    record format 0" (from memory). Scales of 0.01 m; offsets of 500,000 m, 5,200,000 m, 0 m.
    """
    head = struct.pack("<4sHHIHH8sBB", b"LASF", 0, 0, 0, 0, 0, b"", 1, 2)
    head += struct.pack("<32s32sHHH", b"", b"", 1, 2024, 227)
    head += struct.pack("<IIBHI5I", 227, 0, 0, 20, len(points), *[0] * 5)
    head += struct.pack("<3d3d6d", 0.01, 0.01, 0.01, 500_000, 5_200_000, 0, *[0] * 6)
    rows = [
        struct.pack("<iiiHBBbBH", x, y, z, 0, returns, kind, 0, 0, source)
        for x, y, z, returns, kind, source in points
    ]
    path.write_bytes(head + b"".join(rows))
    return path


def cloud(path: Path, count: int = 1_000, crs: Any = "EPSG:32633", **columns: Any) -> Path:
    header = laspy.LasHeader(point_format=6, version="1.4")
    header.scales, header.offsets = np.full(3, 0.01), np.array([500_000.0, 5_200_000.0, 0.0])
    if crs:
        header.add_crs(CRS.from_user_input(crs))
    las = laspy.LasData(header)
    rng = np.random.default_rng(5)
    las.x, las.y = 500_000 + rng.uniform(0, 90, count), 5_200_000 + rng.uniform(0, 90, count)
    las.z = rng.uniform(200, 210, count)
    las.return_number = las.number_of_returns = np.ones(count, np.uint8)
    for name, values in columns.items():
        las[name] = values
    las.write(path)
    return path


def whole(file: LasFile, rows: int = 300) -> PointChunk:
    """Put all chunks together."""
    chunks = list(file.chunks(rows))
    refused: dict[str, int] = {}
    for chunk in chunks:
        for reason, count in chunk.refused.items():
            refused[reason] = refused.get(reason, 0) + count
    return PointChunk(
        np.concatenate([chunk.place for chunk in chunks]),
        np.concatenate([chunk.height for chunk in chunks]),
        {"line": np.concatenate([chunk.columns["line"] for chunk in chunks])},
        refused,
    )


def test_bytes_of_the_standard(tmp_path: Path) -> None:
    one = 1 | 1 << 3  # first return of one: bits 0-2 the return, bits 3-5 of how many
    points = [
        (150, 250, -1234, one, 2, 7),
        (250, 250, -1000, one, 2 | 1 << 7, 7),  # withheld: bit 7
        (350, 250, -1100, 1 | 2 << 3, 2, 7),  # the first of two returns
        (450, 250, -1200, 2 | 2 << 3, 2, 0),
        (550, 250, -900, one, 7, 7),  # low noise
    ]
    file = LasFile(by_hand(tmp_path / "a.las", points), PLAIN)
    assert (file.rows, file.kind, file.unit) == (5, None, None)
    found = whole(file, 2)
    np.testing.assert_array_equal(found.place, [[500_001.5, 5_200_002.5], [500_004.5, 5_200_002.5]])
    np.testing.assert_allclose(found.height, [-12.34, -12.0], atol=1e-12)
    assert found.columns["line"].tolist() == ["7", ""]
    assert found.refused == {"withheld": 1, "not the last return": 1, "class 7 (low noise)": 1}


def test_all_returns_and_chosen_classes(tmp_path: Path) -> None:
    points = [(100 * k, 0, 0, 1 | 2 << 3, kind, 1) for k, kind in enumerate([2, 26, 40 & 31])]
    path = by_hand(tmp_path / "a.las", points)
    found = whole(LasFile(path, Choices("EPSG:32633", classes=(2, 8), returns="all")))
    assert len(found.height) == 2
    assert found.refused == {"class 26": 1}


def test_classes_of_the_bed_in_laz(tmp_path: Path) -> None:
    kinds = np.repeat([40, 41, 45, 1, 18], 200)
    path = cloud(tmp_path / "a.laz", classification=kinds)
    found = whole(LasFile(path, Choices()))
    assert len(found.height) == 400
    assert found.refused == {
        "class 41 (water surface)": 200,
        "class 45 (no bottom found)": 200,
        "class 18 (high noise)": 200,
    }
    only = whole(LasFile(path, Choices(classes=(40,))))
    assert len(only.height) == 200
    assert sum(only.refused.values()) == 800


def test_chunks_are_the_whole_in_its_order(tmp_path: Path) -> None:
    path = cloud(tmp_path / "a.laz", 2_500)
    las = laspy.read(path)
    found = whole(LasFile(path, Choices()), 333)
    np.testing.assert_array_equal(found.place, np.column_stack([las.x, las.y]))
    np.testing.assert_array_equal(found.height, np.asarray(las.z))


def test_crs_of_the_file_and_unit_of_its_heights(tmp_path: Path) -> None:
    file = LasFile(cloud(tmp_path / "a.laz"), Choices(crs="EPSG:25832"))
    assert file.crs.to_epsg() == 32633
    # NAD83 / UTM 15N + NAVD88 height (ftUS): the vertical part tells the unit (EPSG:6360)
    feet = LasFile(cloud(tmp_path / "b.laz", crs="EPSG:26915+6360"), Choices())
    assert (feet.crs.to_epsg(), feet.unit) == (26915, "survey_foot")


def test_no_crs(tmp_path: Path) -> None:
    with pytest.raises(InputFileError, match=r"a\.las names no CRS: give one with crs, such as"):
        LasFile(by_hand(tmp_path / "a.las", [(0, 0, 0, 9, 2, 1)]), Choices())


def test_no_points_no_las_and_a_file_cut_short(tmp_path: Path) -> None:
    with pytest.raises(InputFileError, match=r"a\.las holds no points"):
        LasFile(by_hand(tmp_path / "a.las", []), PLAIN)
    (tmp_path / "b.las").write_text("easting northing depth\n")
    with pytest.raises(InputFileError, match=r"b\.las cannot be read as LAS: "):
        LasFile(tmp_path / "b.las", PLAIN)
    cut = cloud(tmp_path / "c.laz", 5_000)
    file = LasFile(cut, Choices())
    cut.write_bytes(cut.read_bytes()[:-9_000])
    with pytest.raises(InputFileError, match=r"c\.laz (is damaged after|cannot be read as LAS)"):
        whole(file)


@pytest.mark.parametrize(("name", "missing"), [("a.las", "laspy"), ("a.laz", "lazrs")])
def test_the_package_that_is_missing_is_named(
    name: str, missing: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = cloud(tmp_path / name, 5)
    monkeypatch.setitem(sys.modules, missing, None)
    message = rf"{name} needs {missing}, which is not installed: pip install 'leadline\[laz\]'$"
    with pytest.raises(MissingExtraError, match=message):
        LasFile(path, PLAIN)


def test_places_of_a_small_file(tmp_path: Path) -> None:
    path = cloud(tmp_path / "a.laz", 500, classification=np.repeat([2, 7], 250))
    places, unit = las_places(path)
    las = laspy.read(path)
    np.testing.assert_array_equal(places.coordinates, np.column_stack([las.x, las.y])[:250])
    np.testing.assert_array_equal(places.frame["Z"], np.asarray(las.z)[:250])
    assert unit is None
    assert places.notes == ("left out: 250 points: class 7 (low noise)",)
    moved, _ = las_places(path, into="EPSG:25833")
    assert moved.crs is not None
    assert moved.crs.to_epsg() == 25833


def test_nothing_wanted_and_too_much(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = cloud(tmp_path / "a.laz", 500, classification=np.full(500, 41))
    with pytest.raises(InputFileError, match=r"no point that is wanted: left out: 500 points: cl"):
        las_places(path)
    monkeypatch.setattr(psutil, "virtual_memory", lambda: namedtuple("free", "available")(1_000))
    with pytest.raises(TooLargeError, match=r"holds 500 points, .* thin it first: leadline thin-"):
        las_places(path)


def test_a_survey_takes_points_as_soundings(tmp_path: Path) -> None:
    path = cloud(tmp_path / "points.las", 50)
    taken = read_soundings(path, elevation="Z", datum=212.0)
    points, _ = las_places(path)
    np.testing.assert_array_equal(taken.coordinates, points.coordinates)
    np.testing.assert_allclose(taken.depth, 212.0 - points.frame["Z"])


def test_nobody_guesses_which_way_points_count(tmp_path: Path) -> None:
    with pytest.raises(InputFileError, match="depth"):
        read_soundings(cloud(tmp_path / "points.laz", 50))
