"""Soundings put down by water and taken up again."""

import errno
from pathlib import Path
from typing import Any

import geopandas
import numpy as np
import pandas as pd
import pyarrow
import pyogrio
import pytest
import shapely
from geopandas.testing import assert_geodataframe_equal
from hypothesis import given, settings
from hypothesis import strategies as st
from pyproj import CRS

from toolbox.batch.splitting import NOWHERE
from toolbox.batch.spool import Outside, Spool
from toolbox.errors import OutputError
from toolbox.layers import Soundings

UTM = CRS.from_epsg(32633)


def soundings(count: int, first: int = 0, **columns: Any) -> Soundings:
    """Make soundings a metre apart whose depth is their number."""
    number = first + np.arange(count, dtype=float)
    place = np.column_stack([500_000 + number, np.full(count, 5_300_000.0)])
    return Soundings.from_arrays(place, number, crs=UTM, **columns)


def joined(parts: list[Soundings], owners: list[np.ndarray], water: int) -> Any:
    """Return the soundings of a water as they would be if nothing were put down."""
    frame = pd.concat([part.frame for part in parts], ignore_index=True)
    return frame[np.concatenate(owners) == water].reset_index(drop=True)


@settings(max_examples=12, deadline=None)
@given(seed=st.integers(0, 2**32 - 1), together=st.sampled_from([1, 7, 1000]))
def test_each_water_gets_its_own_in_the_order_in_which_they_came(
    seed: int, together: int, tmp_path_factory: pytest.TempPathFactory
) -> None:
    rng = np.random.default_rng(seed)
    spool = Spool(tmp_path_factory.mktemp("spool") / "s", 5, together=together)
    sizes = rng.integers(1, 12, 4)
    firsts = np.cumsum(sizes) - sizes
    lines = [[f"då {k % 3}" for k in range(size)] for size in sizes]
    parts = [soundings(n, f, line=t) for n, f, t in zip(sizes, firsts, lines, strict=True)]
    owners = [rng.integers(NOWHERE, 5, size) for size in sizes]
    for part, owner in zip(parts, owners, strict=True):
        spool.add(part, owner)
    expected = np.bincount(np.concatenate(owners) + 1, minlength=6)[1:]
    assert spool.counts.tolist() == expected.tolist()
    for water in rng.permutation(5):
        found = spool.of_water(water).reset_index(drop=True)
        assert_geodataframe_equal(found, joined(parts, owners, water))


def test_times_that_are_missing_at_first_or_finer_later_are_kept(tmp_path: Path) -> None:
    spool = Spool(tmp_path / "s", 1, together=9)
    times = [
        np.array([np.datetime64("NaT", "s")] * 2),
        pd.to_datetime(["2026-05-12T08:00:00Z", None]).as_unit("s"),
        pd.to_datetime(["2026-05-12T08:00:00.123456Z", "2026-05-12T09:00:00.000001Z"]).as_unit(
            "us"
        ),
        pd.to_datetime(["2026-05-12T10:00:00.5Z", None]).as_unit("ms"),
    ]
    for number, time in enumerate(times):
        spool.add(soundings(2, 2 * number, time=time), np.zeros(2, int))
    found = spool.of_water(0)["time"]
    told = [None if pd.isna(time) else time.isoformat() for time in found]
    morning = "2026-05-12T"
    assert told == [
        *(None, None, f"{morning}08:00:00+00:00", None),
        *(f"{morning}08:00:00.123456+00:00", f"{morning}09:00:00.000001+00:00"),
        *(f"{morning}10:00:00.500000+00:00", None),
    ]


def test_a_water_without_soundings_gets_none_and_a_place_that_is_missing_stays_so(
    tmp_path: Path,
) -> None:
    spool = Spool(tmp_path / "s", 3, together=1)
    part = soundings(2)
    spool.add(part, np.array([NOWHERE, NOWHERE]))
    spool.add(part, np.array([2, 0]))
    assert spool.counts.tolist() == [1, 0, 1]
    assert len(spool.of_water(1)) == 0
    assert spool.of_water(2)["depth"].tolist() == [0.0]
    assert spool.of_water(0).crs == UTM


def test_only_the_waters_that_are_wanted_are_taken_up(tmp_path: Path) -> None:
    spool = Spool(tmp_path / "s", 4, together=5)
    for first in range(0, 40, 10):
        spool.add(soundings(10, first), np.repeat([0, 1, 2, 3], [1, 1, 1, 7]))
    # derived: 4, 4, 4 and 28 soundings, of which at most 5 together or one water alone
    spans = []
    for water in range(4):
        spool.of_water(water)
        assert spool._held is not None
        spans.append((spool._held[0], spool._held[1], len(spool._held[2])))
    assert spans == [(0, 1, 4), (1, 2, 4), (2, 3, 4), (3, 4, 28)]


def test_a_full_disk_is_one_error(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(*_: object) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    spool = Spool(tmp_path / "s", 1, together=5)
    monkeypatch.setattr(pyarrow.ipc, "new_file", full)
    with pytest.raises(OutputError, match=r"/s cannot be written: .*No space left on device"):
        spool.add(soundings(2), np.zeros(2, int))


def outside_of(path: Path) -> geopandas.GeoDataFrame:
    return geopandas.read_file(path)


def test_rows_in_no_water_are_told_by_their_file_row_and_reason(tmp_path: Path) -> None:
    outside = Outside(tmp_path / "outside.gpkg")
    outside.add(soundings(3), np.array([1]), 0, "a.csv")
    outside.add(soundings(3), np.array([], int), 3, "a.csv")
    outside.add(soundings(3), np.array([0, 2]), 6, "a.csv")
    outside.add(soundings(2, 50), np.array([1]), 0, "b.csv")
    assert outside.counts == {"in no water": 4}
    told = outside_of(tmp_path / "outside.gpkg")
    assert told["file"].tolist() == ["a.csv", "a.csv", "a.csv", "b.csv"]
    assert told["row"].tolist() == [2, 7, 9, 2]
    assert told["depth"].tolist() == [1.0, 0.0, 2.0, 51.0]
    east = shapely.get_coordinates(told.to_crs(UTM).geometry)[:, 0]
    assert east == pytest.approx([500_001, 500_000, 500_002, 500_051], abs=1e-3)


def test_where_all_lie_in_a_water_there_is_no_file(tmp_path: Path) -> None:
    outside = Outside(tmp_path / "outside.gpkg")
    outside.add(soundings(3), np.array([], int), 0, "a.csv")
    assert (outside.counts, list(tmp_path.iterdir())) == ({}, [])


def test_rows_without_a_place_may_be_the_first(tmp_path: Path) -> None:
    """A layer whose first rows have no place is one of points all the same."""
    nowhere = Soundings.from_arrays(np.full((3, 2), np.nan), np.arange(3.0), crs=UTM)
    somewhere = Soundings.from_arrays(np.array([[500_000.0, 5_300_000]]), np.array([9.0]), crs=UTM)
    outside = Outside(tmp_path / "outside.gpkg")
    outside.add(nowhere, np.arange(3), 0, "a.csv")
    outside.add(somewhere, np.arange(1), 3, "a.csv")
    outside.add(nowhere, np.arange(1), 4, "a.csv")
    assert outside.counts == {"no place": 4, "in no water": 1}
    assert pyogrio.read_info(tmp_path / "outside.gpkg")["geometry_type"] == "Point"
    told = outside_of(tmp_path / "outside.gpkg")
    assert told["why"].tolist() == [*["no place"] * 3, "in no water", "no place"]
    assert told["row"].tolist() == [1, 2, 3, 4, 5]
    placed = ~(told.geometry.isna() | told.geometry.is_empty)
    assert placed.tolist() == [False, False, False, True, False]
    place = told.to_crs(UTM).geometry[3]
    assert (place.x, place.y) == (pytest.approx(500_000), pytest.approx(5_300_000))
