"""Every suffix that is offered gives the file it promises."""

from pathlib import Path
from typing import Any

import geopandas
import numpy as np
import pyproj
import pytest
import shapely
from affine import Affine

from toolbox.errors import LayerError, OutputError
from toolbox.formats.doors import SUFFIXES, write
from toolbox.formats.exchange import EXCHANGE, write_exchange
from toolbox.layers import Grid, Tin, Vectors

UTM = pyproj.CRS.from_epsg(32633)
PLACES = np.array([(500_000.0, 5_200_000.0), (500_100.0, 5_200_000.0), (500_000.0, 5_200_100.0)])
BEGINNINGS = {
    ".gpx": b"<?xml version='1.0' encoding='utf-8'?>\n<gpx version=\"1.1\"",
    ".kml": b"<?xml version='1.0' encoding='utf-8'?>\n<kml ",
    ".kmz": b"PK\x03\x04",
    ".dxf": b"  0\nSECTION\n",
    ".ply": b"ply\n",
    ".glb": b"glTF\x02\x00\x00\x00",
    ".xyz": b"easting northing depth\n",
    ".mbtiles": b"SQLite format 3\x00",
}
ON_EARTH = (".gpx", ".kml", ".kmz", ".mbtiles")


def nouns(crs: pyproj.CRS | None = UTM) -> dict[type, Any]:
    shapes = [shapely.Polygon(PLACES), shapely.Point(PLACES[0]), shapely.LineString(PLACES)]
    frame = geopandas.GeoDataFrame({"kind": ["hump", "hole", "bar"]}, geometry=shapes, crs=crs)
    place = Affine(1, 0, 500_000, 0, -1, 5_200_000)
    return {
        Vectors: Vectors(frame, "features"),
        Tin: Tin(PLACES, np.array([0.0, 2.0, 1.0]), np.array([[0, 1, 2]]), np.zeros(3), crs),
        Grid: Grid(np.eye(20, 30) + 1, place, crs, "depth", "m"),
    }


WAYS = [(kind, suffix) for kind, suffixes in EXCHANGE.items() for suffix in suffixes]


@pytest.mark.parametrize(("kind", "suffix"), WAYS, ids=lambda way: getattr(way, "__name__", way))
def test_a_noun_goes_out_by_each_suffix(kind: type, suffix: str, tmp_path: Path) -> None:
    path = tmp_path / f"a{suffix.upper()}"
    write(nouns()[kind], path)
    assert path.read_bytes().startswith(BEGINNINGS[suffix])
    assert list(tmp_path.iterdir()) == [path]
    assert suffix in SUFFIXES[kind]
    with pytest.raises(OutputError, match="exists already"):
        write_exchange(nouns()[kind], path)


@pytest.mark.parametrize(("kind", "suffix"), WAYS, ids=lambda way: getattr(way, "__name__", way))
def test_a_plane_goes_out_where_no_degrees_are_needed(
    kind: type, suffix: str, tmp_path: Path
) -> None:
    path = tmp_path / f"a{suffix}"
    if suffix in ON_EARTH:
        with pytest.raises(LayerError, match=r"must be tied to the earth .*, got a plane$"):
            write(nouns(None)[kind], path)
        assert list(tmp_path.iterdir()) == []
    else:
        write(nouns(None)[kind], path)
        assert path.stat().st_size > 0


def test_nothing_usual_became_a_file_for_others() -> None:
    for kind, suffixes in EXCHANGE.items():
        assert SUFFIXES[kind][0] not in suffixes  # the first is what pages show
        assert len(set(SUFFIXES[kind])) == len(SUFFIXES[kind])
