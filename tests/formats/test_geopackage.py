"""A GeoPackage whose spatial index found no room is no GeoPackage that was written."""

import re
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

import geopandas
import numpy as np
import pyogrio
import pyproj
import pytest
import shapely

from toolbox.errors import OutputError
from toolbox.formats.bed_file import TRIANGLES, VERTICES, write_bed
from toolbox.formats.geopackage import check_index
from toolbox.formats.vector import write_features
from toolbox.layers import Tin

CRS = "EPSG:32633"
MISSING = r"^a\.gpkg cannot be written: the spatial index of '{}' holds 0 of {} features; the disk"


def points(count: int) -> geopandas.GeoDataFrame:
    """Make points all over a square kilometre."""
    places = np.random.default_rng(0).uniform(0, 1000, (count, 2))
    return geopandas.GeoDataFrame({"a": range(count)}, geometry=shapely.points(places), crs=CRS)


@contextmanager
def limited(size: int) -> Iterator[None]:
    """Let no file of this process grow beyond a size, as on a full disk."""
    resource = pytest.importorskip("resource", reason="no limit can be set on the size of files")
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, hard))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))


def indexed(path: Path, layer: str) -> bool:
    """Ask the library itself, as GIS do that draw by the index."""
    fast = pyogrio.read_info(path, layer=layer)["capabilities"]["fast_spatial_filter"]
    return bool(fast)


def test_every_layer_that_is_written_has_its_index(tmp_path: Path) -> None:
    path, frame = tmp_path / "a.gpkg", points(50)
    frame.loc[3, "geometry"], frame.loc[4, "geometry"] = None, shapely.Point()
    layers = {"points": frame, 'of "Lake" d\'été': points(3), "none": points(2).iloc[:0]}
    for layer, one in layers.items():
        write_features(one, path, layer=layer, append=path.exists())
        assert indexed(path, layer)


def test_a_disk_that_is_full_when_the_index_is_made_is_told(tmp_path: Path) -> None:
    """The library itself calls the file written: the layer is there, its index is not."""
    frame, whole = points(3000), tmp_path / "whole.gpkg"
    write_features(frame, whole, layer="points")
    size = whole.stat().st_size - 40_000
    path = tmp_path / "a.gpkg"
    with limited(size):
        pyogrio.write_dataframe(frame, path, layer="points", driver="GPKG", use_arrow=True)
    assert pyogrio.read_info(path)["features"] == 3000
    assert not indexed(path, "points")
    path.unlink()
    with limited(size), pytest.raises(OutputError, match=MISSING.format("points", "3,000")):
        write_features(frame, path, layer="points")


@pytest.mark.parametrize("share", np.linspace(0.25, 0.99, 9).round(2).tolist())
def test_a_disk_that_becomes_full_anywhere_is_told(share: float, tmp_path: Path) -> None:
    frame, whole = points(2000), tmp_path / "whole.gpkg"
    write_features(frame, whole, layer="points")
    with (
        limited(int(share * whole.stat().st_size)),
        pytest.raises(OutputError, match=r"^a\.gpkg cannot be written: "),
    ):
        write_features(frame, tmp_path / "a.gpkg", layer="points")


def test_a_bed_is_told_as_well(tmp_path: Path) -> None:
    frame = points(2000)
    places = shapely.get_coordinates(frame.geometry.array)
    crs, kind = pyproj.CRS.from_user_input(CRS), np.zeros(2000, np.uint8)
    triangle = np.argsort(places[:, 0])[[0, 999, 1999]]
    (ax, ay), (bx, by), (cx, cy) = places[triangle]
    if (bx - ax) * (cy - ay) < (by - ay) * (cx - ax):
        triangle = triangle[::-1]
    bed = Tin(places, np.ones(2000), triangle[None].astype(np.int32), kind, crs)
    write_bed(bed, tmp_path / "whole.gpkg")
    assert indexed(tmp_path / "whole.gpkg", VERTICES)
    assert indexed(tmp_path / "whole.gpkg", TRIANGLES)
    size = (tmp_path / "whole.gpkg").stat().st_size - 40_000
    with limited(size), pytest.raises(OutputError, match=MISSING.format(VERTICES, "2,000")):
        write_bed(bed, tmp_path / "a.gpkg")


@pytest.mark.parametrize(
    ("spoiled", "found"),
    [
        ("DELETE FROM gpkg_extensions", 0),
        ("DROP TABLE gpkg_extensions", 0),
        ("DELETE FROM rtree_points_geom_rowid WHERE rowid > 7", 7),
    ],
)
def test_an_index_that_is_not_whole_is_noticed(spoiled: str, found: int, tmp_path: Path) -> None:
    path = tmp_path / "a.gpkg"
    write_features(points(12), path, layer="points")
    check_index(path, layer="points", shapes=12)
    with closing(sqlite3.connect(path)) as file, file:
        file.execute(spoiled)
    told = f"the spatial index of 'points' holds {found} of 12 features; the disk may be full"
    with pytest.raises(OutputError, match=re.escape(told)):
        check_index(path, layer="points", shapes=12)


def test_what_is_no_database_is_told(tmp_path: Path) -> None:
    (tmp_path / "a.gpkg").write_bytes(b"SQLite format 3\0" + bytes(200))
    with pytest.raises(OutputError, match=r"^a\.gpkg cannot be written: "):
        check_index(tmp_path / "a.gpkg", layer="points", shapes=1)
