"""Vectors are checked when made, and move between reference systems."""

import geopandas
import pandas as pd
import pyproj
import pytest
import shapely

from toolbox.errors import LayerError
from toolbox.layers import Vectors

UTM, NEXT = pyproj.CRS(32633), pyproj.CRS(32632)


def frame(crs: object) -> geopandas.GeoDataFrame:
    return geopandas.GeoDataFrame(
        {"kind": ["hole"]}, geometry=[shapely.Point(500_000, 5_200_000)], crs=crs
    )


def test_features_keep_what_is_beside_them_in_another_crs() -> None:
    moved = Vectors(frame(UTM), "marks", ("read",)).to_crs(NEXT)
    # independent: pyproj
    east, north = pyproj.Transformer.from_crs(UTM, NEXT, always_xy=True).transform(5e5, 5.2e6)
    assert moved.frame.geometry[0].x == pytest.approx(east, abs=1e-6)
    assert moved.frame.geometry[0].y == pytest.approx(north, abs=1e-6)
    assert (moved.name, moved.notes, len(moved)) == ("marks", ("read",), 1)
    assert moved.frame["kind"].tolist() == ["hole"]


def test_features_in_the_crs_asked_for_and_on_a_plane_stay_as_they_are() -> None:
    for crs in (UTM, None):
        one = Vectors(frame(crs), "marks")
        assert one.to_crs(UTM) is one


def test_a_table_without_geometry_and_degrees_are_refused() -> None:
    with pytest.raises(LayerError, match=r"^marks must have geometries, got \['kind'\]$"):
        Vectors(pd.DataFrame({"kind": ["hole"]}), "marks")  # type: ignore[arg-type]
    with pytest.raises(LayerError, match="marks must be in a projected CRS in metres"):
        Vectors(frame(4326), "marks")
