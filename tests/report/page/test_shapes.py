"""Shapes of a page lie where they lay, and large layers are thinned."""

import base64
import zlib
from typing import Any

import geopandas
import numpy as np
import pytest
import shapely

from toolbox.layers import Soundings, Vectors
from toolbox.report.page import shapes as module
from toolbox.report.page.shapes import packed_shapes, packed_soundings, plain

WEST, NORTH = 500_000.0, 5_000_000.0
CORNER = {"west": WEST, "north": NORTH}


def numbers(pack: dict[str, Any]) -> np.ndarray:
    raw = zlib.decompress(base64.b64decode(pack["z"]))
    words = np.frombuffer(raw, np.uint8).reshape(4, -1).astype(np.int64)
    folded = words[0] | words[1] << 8 | words[2] << 16 | words[3] << 24
    return ((folded >> 1) ^ -(folded & 1)).cumsum()


def layer(*shapes: Any, **columns: Any) -> Vectors:
    return Vectors(geopandas.GeoDataFrame(columns, geometry=list(shapes)), "layer")


def box(west: float, south: float, east: float, north: float) -> Any:
    return shapely.box(WEST + west, NORTH + south, WEST + east, NORTH + north)


def test_polygon_with_a_hole_and_a_line() -> None:
    holed = box(0, -90, 100, 0).difference(box(20, -50, 40, -30))
    line = shapely.LineString([(WEST, NORTH), (WEST + 5.25, NORTH - 7.5)])
    pack = packed_shapes(layer(holed, line, kind=["a", "b"]), ("kind", "none"), **CORNER)
    assert pack is not None
    assert (pack["kind"], pack["rings"], pack["sizes"]) == ([2, 1], [2, 1], [5, 5, 2])
    assert pack["rows"] == [{"kind": "a"}, {"kind": "b"}]
    east, south = numbers(pack["east"]) * pack["step"], numbers(pack["south"]) * pack["step"]
    np.testing.assert_allclose(east[-2:], [0, 5.25])
    np.testing.assert_allclose(south[-2:], [0, 7.5])
    assert sorted(set(east[:5])) == [0, 100]


def test_parts_of_collections_keep_their_row() -> None:
    several = shapely.GeometryCollection(
        [shapely.MultiPoint([(WEST, NORTH), (WEST + 1, NORTH)]), box(0, 0, 1, 1)]
    )
    pack = packed_shapes(layer(shapely.Point(), several, mark=[1, 2]), ("mark",), **CORNER)
    assert pack is not None
    assert pack["kind"] == [0, 0, 2]
    assert pack["row"] == [1, 1, 1]


@pytest.mark.parametrize("nothing", [None, layer(), layer(shapely.Point())])
def test_nothing(nothing: Vectors | None) -> None:
    assert packed_shapes(nothing, (), **CORNER) is None


def test_shapes_without_columns_still_have_rows() -> None:
    pack = packed_shapes(layer(box(0, 0, 1, 1), box(2, 2, 3, 3)), ("kind",), **CORNER)
    assert pack is not None
    assert pack["rows"] == [{}, {}]


def test_large_layers_are_thinned(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "MOST_VERTICES", 300)
    along = np.linspace(0, 40, 5000)
    wave = shapely.LineString(np.column_stack([WEST + 50 * along, NORTH + 80 * np.sin(along)]))
    pack = packed_shapes(layer(wave), (), **CORNER)
    assert pack is not None
    assert 40 < pack["sizes"][0] <= 300


def test_plain_values() -> None:
    told = [plain(value) for value in (np.int64(3), np.float32(0.5), np.nan, True, None, "a\nb")]
    assert told == [3, 0.5, None, True, None, "a b"]
    assert plain(1 / 3) == 0.3333333333
    assert len(plain("x" * 900)) == 300


def soundings(count: int) -> Soundings:
    places = np.column_stack([WEST + np.arange(count), np.full(count, NORTH)])
    depth = np.arange(count) / 7
    depth[3] = np.nan
    reason = np.where(np.arange(count) % 5 == 0, "double echo", "")
    reason[3] = "no depth"
    return Soundings.from_arrays(places, depth, crs=None, flag=reason != "", reason=reason)


def test_soundings() -> None:
    pack = packed_soundings(soundings(50), **CORNER)
    assert pack is not None
    reasons = [pack["reasons"][code] for code in numbers(pack["reason"])]
    assert sorted(set(reasons)) == ["", "double echo", "no depth"]
    assert pack["all"] == pack["placed"] == pack["shown"] == [39, 11]
    east = numbers(pack["east"]) * pack["step"]
    np.testing.assert_allclose(east[:4], [1, 2, 4, 6])  # kept ones first
    np.testing.assert_allclose(
        numbers(pack["depth"])[:4] / 1000, [1 / 7, 2 / 7, 4 / 7, 6 / 7], atol=1e-3
    )


def test_rejected_soundings_without_a_place_count_though_they_are_not_shown() -> None:
    places = np.array([(WEST, NORTH), (WEST + 5, NORTH), (np.nan, np.nan)])
    lost = Soundings.from_arrays(places, np.ones(3), crs=None)
    pack = packed_soundings(lost.reject(np.array([False, True, False]), "spike"), **CORNER)
    assert pack is not None
    assert (pack["all"], pack["placed"], pack["shown"]) == ([1, 2], [1, 1], [1, 1])


def test_many_soundings_are_thinned_evenly() -> None:
    pack = packed_soundings(soundings(1000), **CORNER, most=100)
    assert pack is not None
    assert pack["all"] == [799, 201]
    assert pack["shown"][0] <= 100
    assert pack["shown"][1] <= 25
    kept = numbers(pack["east"])[: pack["shown"][0]] * pack["step"]
    assert kept.max() - kept.min() > 950
