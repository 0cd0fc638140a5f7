"""Drawdown: areas laid bare and water let go add up, and shores are as long as they are."""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
import zoo
from scipy.stats import norm

from toolbox.bed.triangulation import triangulate
from toolbox.errors import LayerError, ParameterError
from toolbox.layers import Tin, VertexKind
from toolbox.volume.drawdown import drawdown, exposed_margin
from toolbox.volume.hypsography import area_and_volume


def pyramid(**changes: Any) -> Tin:
    """Make a square pit of 100 m, 10 m deep in the middle."""
    vertices = np.array([[0, 0], [100, 0], [100, 100], [0, 100], [50, 50]], float)
    triangles = np.array([[0, 1, 4], [1, 2, 4], [2, 3, 4], [3, 0, 4]])
    kind = np.array([VertexKind.SHORELINE] * 4 + [VertexKind.SOUNDING])
    bed = Tin(vertices, np.array([0, 0, 0, 0, 10.0]), triangles, kind, None)
    return replace(bed, **changes)


def two_basins() -> Tin:
    """Make two pits, 10 and 6 m deep, with a sill at 4 m between."""
    vertices = np.array([[0, 0], [200, 0], [200, 100], [0, 100], [50, 50], [100, 50], [150, 50.0]])
    triangles = [[0, 4, 3], [0, 5, 4], [4, 5, 3], [0, 1, 5], [5, 2, 3], [1, 6, 5], [5, 6, 2]]
    triangles.append([1, 2, 6])
    kind = np.array([VertexKind.SHORELINE] * 4 + [VertexKind.SOUNDING] * 3)
    return Tin(vertices, np.array([0, 0, 0, 0, 10, 4, 6.0]), np.array(triangles), kind, None)


def test_pyramid() -> None:
    # derived: at depth z the square is 100 - 10 z wide, and a pyramid remains below
    table = drawdown(pyramid(), falls=(5.0, 2.0, 10.0), datum=50.0)
    frame = table.frame
    assert frame["fall_m"].tolist() == [0, 2, 5, 10]
    assert frame["elevation_m"].tolist() == [50, 48, 45, 40]
    side = 100 - 10 * frame["depth_m"].to_numpy()
    np.testing.assert_allclose(frame["area_m2"], side**2, atol=1e-9)
    np.testing.assert_allclose(frame["volume_m3"], side**2 * (side / 10) / 3, atol=1e-9)
    np.testing.assert_allclose(frame["shoreline_m"], 4 * side, atol=1e-9)
    np.testing.assert_allclose(frame["exposed_m2"], 1e4 - side**2, atol=1e-9)
    np.testing.assert_allclose(frame["exposed_share"], 1 - side**2 / 1e4, atol=1e-12)
    np.testing.assert_allclose(frame["released_share"], 1 - (side / 100) ** 3, atol=1e-12)
    # derived: the ring between two squares is (100 - side) / 2 wide
    np.testing.assert_allclose(frame["margin_width_m"], (100 - side) / 2, atol=1e-9)
    assert frame["waters"].tolist() == [1, 1, 1, 0]
    assert table.notes == ("the water falls from depth 0 m",)


def test_a_sill_cuts_a_pool_off() -> None:
    frame = drawdown(two_basins(), falls=(3.0, 4.5, 7.0)).frame
    assert frame["waters"].tolist() == [1, 1, 2, 1]


def test_ice_lake_lets_go_as_published() -> None:
    # Water on the Web, Ice Lake: 16.6 ha at 0 m and 14.2 ha at 2 m; the first two layers hold
    # 3.081e5 m3. A round bed of these areas: a cone's mantle between two circles.
    sectors = 360
    angle = 2 * np.pi * np.arange(sectors) / sectors
    circle = np.column_stack([np.cos(angle), np.sin(angle)])
    share = np.pi / (sectors / 2 * np.sin(2 * np.pi / sectors))  # circle over polygon
    radii = np.sqrt(np.array([16.6e4, 14.2e4]) / np.pi * share)
    vertices = np.vstack([radii[0] * circle, radii[1] * circle, [[0, 0]]])
    depth = np.r_[np.zeros(sectors), np.full(sectors, 2.0), 16.0]
    here, after = np.arange(sectors), np.roll(np.arange(sectors), -1)
    triangles = np.vstack(
        [
            np.column_stack([here, after, sectors + after]),
            np.column_stack([here, sectors + after, sectors + here]),
            np.column_stack([sectors + here, sectors + after, np.full(sectors, 2 * sectors)]),
        ]
    )
    kind = np.where(depth == 0, VertexKind.SHORELINE, VertexKind.SOUNDING)
    row = drawdown(Tin(vertices, depth, triangles, kind, None), falls=(2.0,)).frame.iloc[1]
    assert row["area_m2"] == pytest.approx(14.2e4, rel=1e-9)
    # one cone for two layers that bulge a little
    assert row["released_m3"] == pytest.approx(3.081e5, rel=0.002)
    assert row["exposed_m2"] == pytest.approx(2.4e4, rel=1e-9)


def test_an_open_edge_is_no_shoreline() -> None:
    bed = pyramid()
    kind = bed.kind.copy()
    kind[:2] = VertexKind.OPEN_EDGE
    found = drawdown(replace(bed, kind=kind), falls=(2.0,)).frame["shoreline_m"]
    assert found.iloc[0] == pytest.approx(100)


@pytest.fixture(scope="module")
def zoo_bed() -> Tin:
    lake = zoo.lakes(7)[2]  # with islands
    return triangulate(zoo.survey(lake, "points", seed=1), lake.shoreline)


def test_margins_tile_what_is_laid_bare(zoo_bed: Tin) -> None:
    falls = (0.5, 1.0, 3.0)
    margin = exposed_margin(zoo_bed, falls=falls)
    frame = drawdown(zoo_bed, falls=falls).frame
    assert margin.name == "exposed_margin"
    assert margin.crs == zoo_bed.crs
    assert margin.frame["fall_m"].tolist() == [0.5, 1, 3]
    assert list(margin.frame.columns) == ["from_m", "to_m", "fall_m", "area_m2", "geometry"]
    np.testing.assert_allclose(margin.frame["area_m2"].cumsum(), frame["exposed_m2"][1:], rtol=1e-9)
    union = margin.frame.union_all()
    # on the map, polygons apart from the table: those of the scale 0.9996^2 at most
    assert union.area == pytest.approx(frame["exposed_m2"].iloc[-1], rel=1e-3)
    assert union.area == pytest.approx(margin.frame.area.sum(), rel=1e-9)


def test_from_a_level_already_low(zoo_bed: Tin) -> None:
    start = drawdown(zoo_bed, falls=(1.0,), start=2.0).frame
    area, volume = area_and_volume(zoo_bed, np.array([2.0, 3.0]))
    np.testing.assert_allclose(start["area_m2"], area, rtol=1e-12)
    assert start["released_m3"].iloc[1] == pytest.approx(volume[0] - volume[1], rel=1e-12)
    margin = exposed_margin(zoo_bed, falls=(1.0,), start=2.0).frame
    assert margin[["from_m", "to_m", "fall_m"]].to_numpy().tolist() == [[2, 3, 1]]
    assert margin["area_m2"].sum() == pytest.approx(area[0] - area[1], rel=1e-9)


def test_a_fitted_bed_brings_its_band() -> None:
    # derived: of draws f times as deep, f falls of the first metre of a pyramid
    factors = 1 + 0.1 * norm.ppf((np.arange(101) + 0.5) / 101)
    bed = pyramid(draws=pyramid().depth[:, None] * factors)
    row = drawdown(bed, falls=(1.0,)).frame.iloc[1]
    bare = np.sort(1e4 * (1 - (1 - 0.1 / factors) ** 2))
    assert row["exposed_low_m2"] == pytest.approx(bare[5])
    assert row["exposed_high_m2"] == pytest.approx(bare[95])
    assert row["released_low_m3"] < row["released_m3"] < row["released_high_m3"]


def test_shores_are_there_at_any_level() -> None:
    falls = tuple(np.random.default_rng(4).uniform(0.01, 9.8, 40))
    frame = drawdown(pyramid(), falls=falls, start=0.1).frame
    np.testing.assert_allclose(frame["shoreline_m"], 4 * (100 - 10 * frame["depth_m"]), atol=1e-9)


def test_refusals() -> None:
    for function in (drawdown, exposed_margin):
        with pytest.raises(ParameterError, match=r"^falls must name at least one, got none$"):
            function(pyramid(), falls=())
        with pytest.raises(ParameterError, match=r"^falls must be > 0 m, got 0\.0$"):
            function(pyramid(), falls=(0.0,))
    message = r"^start must be at or below the mapped water's edge \(depth 0 m\), got -1$"
    with pytest.raises(ParameterError, match=message):
        drawdown(pyramid(), falls=(1.0,), start=-1.0)
    with pytest.raises(LayerError, match=r"^there is no water below the start, 10 m$"):
        drawdown(pyramid(), falls=(1.0,), start=10.0)
