"""Depth bands become the isobaths between them, whichever way they are drawn."""

import geopandas
import numpy as np
import pytest
import shapely

from toolbox.errors import LayerError
from toolbox.formats.shoreline_file import read_breaklines
from toolbox.isobaths.map_bands import isobaths_of_bands

LAKE, TWO, FIVE = (shapely.box(-s, -s, s, s) for s in (50.0, 30.0, 10.0))
RISE = shapely.box(15, -5, 25, 5)
SIDE_BY_SIDE = [LAKE - TWO, TWO - FIVE - RISE, FIVE, RISE]
STACKED = [LAKE, TWO, FIVE, RISE]
SHALLOW = np.array([0.0, 2.0, 5.0, 0.5])


@pytest.mark.parametrize("bands", [SIDE_BY_SIDE, STACKED], ids=["side by side", "lost holes"])
def test_rings_enclose_what_is_deeper_by_even_and_odd(bands: list[shapely.Polygon]) -> None:
    rings = isobaths_of_bands(bands, SHALLOW)
    area = {0.5: 0.0, 2.0: 0.0, 5.0: 0.0}
    for ring, depth in rings:
        shape = shapely.Polygon(ring)
        others = [shapely.Polygon(r) for r, d in rings if d == depth and r is not ring]
        nested = sum(other.contains(shape) for other in others)
        area[depth] += shape.area * (-1) ** nested
    # by hand: 60 x 60 less the rise of 10 x 10; the rise itself begins at 0.5 m
    assert area[2.0] == pytest.approx(3600 - 100)
    assert area[5.0] == pytest.approx(400)
    assert area[0.5] == pytest.approx(3600)


def test_the_shore_is_no_isobath() -> None:
    assert min(depth for _, depth in isobaths_of_bands(STACKED, SHALLOW)) == 0.5
    assert isobaths_of_bands([LAKE], np.array([0.0])) == []


def test_bands_must_be_polygons() -> None:
    with pytest.raises(LayerError, match=r"must be polygons, got a LineString \(2\)"):
        isobaths_of_bands([LAKE, shapely.LineString([(0, 0), (1, 1)])], np.array([0.0, 1.0]))


def test_a_file_of_bands_is_read_as_isobaths(tmp_path: object) -> None:
    path = tmp_path / "bands.gpkg"  # type: ignore[operator]
    moved = shapely.transform(np.array(SIDE_BY_SIDE), lambda place: np.add(place, (5e5, 5e6)))
    geopandas.GeoDataFrame({"from_ft": SHALLOW}, geometry=moved, crs=32633).to_file(path)
    lines = read_breaklines(path, depth="from_ft", bands=True).lines
    assert sorted({line[0, 2] for line in lines}) == pytest.approx([0.1524, 0.6096, 1.524])
    assert all((line[0] == line[-1]).all() for line in lines)
