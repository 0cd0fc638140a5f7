"""A Shapefile is whole, or it is said that it is not."""

import sys
from pathlib import Path

import geopandas
import numpy as np
import pytest
import shapely

from toolbox.errors import OutputError
from toolbox.formats.shapefile import check_whole
from toolbox.formats.vector import write_features


def points(count: int) -> geopandas.GeoDataFrame:
    places = np.random.default_rng(7).uniform(5e5, 5.1e5, (count, 2))
    return geopandas.GeoDataFrame(
        {"depth": np.arange(float(count))}, geometry=shapely.points(places), crs=32633
    )


def test_a_part_that_is_cut_is_found(tmp_path: Path) -> None:
    write_features(points(30), tmp_path / "a.shp", layer="a")
    check_whole(tmp_path / "a.shp")
    for suffix in (".shp", ".shx"):
        part = tmp_path / f"a{suffix}"
        content = part.read_bytes()
        part.write_bytes(content[:-1])
        with pytest.raises(OutputError, match=r"^a\.shp cannot be written: its end is missing"):
            check_whole(tmp_path / "a.shp")
        part.write_bytes(content)
    check_whole(tmp_path / "a.shp")


@pytest.mark.skipif(sys.platform == "win32", reason="the system knows no such limit")
def test_points_that_did_not_fit_on_the_disk_are_not_lost_in_silence(tmp_path: Path) -> None:
    import resource

    frame = points(20_000)
    write_features(frame, tmp_path / "whole.shp", layer="a")
    size = (tmp_path / "whole.shp").stat().st_size
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size - 500, hard))
    try:
        with pytest.raises(OutputError, match=r"a\.shp cannot be written: "):
            write_features(frame, tmp_path / "a.shp", layer="a")
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
