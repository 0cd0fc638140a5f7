"""Between the rows of a table the volume is the integral of the area."""

from collections.abc import Callable

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from toolbox.errors import LayerError, ParameterError
from toolbox.layers import Table
from toolbox.units import convert
from toolbox.volume.area_curve import AreaCurve, table_at

# Water on the Web (University of Minnesota Duluth), Ice Lake, table 1: ha at 0, 1 to 16 m
_DEEP = [7.11, 5.93, 4.75, 3.57, 2.38, 1.20, 0.060, 0.029, 0.0]
ICE_AREA_HA = np.array([16.6, 15.4, 14.2, 13.0, 11.8, 10.7, 9.49, 8.30, *_DEEP])


def ice_lake() -> Table:
    return Table(pd.DataFrame({"depth_m": np.arange(17.0), "area_m2": ICE_AREA_HA * 1e4}))


def test_ice_lake_between_its_rows() -> None:
    # derived from the published areas, linear between: deeper than 15, 10 and 8 ft, and at 2 m
    feet = tuple(convert(np.array([15.0, 10.0, 8.0]), "ft", "m"))
    frame = table_at(ice_lake(), levels=(*feet, 2.0, 0.0)).frame
    hectares = frame["area_m2"].to_numpy() / 1e4
    assert hectares[0] == pytest.approx(11.171, abs=0.0005)
    assert 16.6 - hectares[0] == pytest.approx(5.429, abs=0.0005)  # littoral
    assert convert(16.6 - hectares[0], "hectare", "acre") == pytest.approx(13.416, abs=0.001)
    assert hectares[1] / 16.6 == pytest.approx(0.780, abs=0.0005)
    assert hectares[2] / 16.6 == pytest.approx(0.824, abs=0.0005)
    below = frame["volume_below_m3"].to_numpy() / 1e5
    assert below[4] == pytest.approx(11.622, abs=0.001)
    assert below[4] - below[3] == pytest.approx(3.081, abs=0.005)  # a drawdown of 2 m


SOLIDS: dict[str, tuple[Callable[[np.ndarray], np.ndarray], Callable[[np.ndarray], np.ndarray]]] = {
    # derived: area and volume below, as shares, by depth as a share
    "cone": (lambda z: (1 - z) ** 2, lambda z: (1 - z) ** 3 / 3),
    "paraboloid": (lambda z: 1 - z, lambda z: (1 - z) ** 2 / 2),
    "half ellipsoid": (lambda z: 1 - z**2, lambda z: 2 / 3 - z + z**3 / 3),
    "steep hollow": (lambda z: (1 - z) ** 5, lambda z: (1 - z) ** 6 / 6),
}


@pytest.mark.parametrize("solid", SOLIDS)
def test_solids_of_one_layer_with_their_volume_are_met_everywhere(solid: str) -> None:
    area, below = SOLIDS[solid]
    ends, inner = np.array([0.0, 1.0]), np.linspace(0, 1, 41)
    curve = AreaCurve.of_layers(ends, area(ends), -np.diff(below(ends)))
    np.testing.assert_allclose(curve.areas(inner), area(inner), atol=1e-12)
    np.testing.assert_allclose(curve.volumes(inner), below(inner), atol=1e-12)


def test_tables_of_a_cone_come_nearer_with_more_rows() -> None:
    # derived: halving the layers of a cone quarters the error of areas linear between rows
    area, _ = SOLIDS["cone"]
    worst = []
    for rows in (5, 9, 17):
        z = np.linspace(0, 1, rows)
        inner = np.linspace(0, 1, 201)
        curve = AreaCurve.of_areas(z, area(z), rule="trapezoid")
        worst.append(float(np.abs(curve.areas(inner) - area(inner)).max()))
    assert worst[0] / worst[1] == pytest.approx(4, rel=0.05)
    assert worst[1] / worst[2] == pytest.approx(4, rel=0.05)


def any_curve(count: int, seed: int) -> tuple[AreaCurve, np.ndarray, np.ndarray]:
    rng = np.random.default_rng(seed)
    depth = np.cumsum(rng.uniform(0.05, 3, count))
    area = np.sort(rng.uniform(0, 1e6, count))[::-1]
    if count > 4:
        area[2] = area[3]  # a wall
    share = rng.uniform(0.02, 0.98, count - 1)
    layers = np.diff(depth) * (area[1:] + share * (area[:-1] - area[1:]))
    return AreaCurve.of_layers(depth, area, layers), depth, layers


@settings(max_examples=60, deadline=None)
@given(st.integers(2, 12), st.integers(0, 2**32 - 1))
def test_rows_are_met_and_the_slope_of_the_volume_is_the_area(count: int, seed: int) -> None:
    # derived
    curve, depth, layers = any_curve(count, seed)
    np.testing.assert_allclose(curve.areas(depth), curve.area, rtol=1e-12)
    np.testing.assert_allclose(-np.diff(curve.volumes(depth)), layers, rtol=1e-9)
    inner = np.linspace(depth[0], depth[-1], 2001)
    area, volume = curve.areas(inner), curve.volumes(inner)
    assert (np.diff(area) <= 1e-9 * area[0]).all()
    step = np.diff(inner)
    slack = 1e-12 * volume[0]
    assert (-np.diff(volume) <= step * area[:-1] + slack).all()
    assert (-np.diff(volume) >= step * area[1:] - slack).all()


@settings(max_examples=40, deadline=None)
@given(st.integers(2, 12), st.integers(0, 2**32 - 1))
def test_depth_of_a_volume_is_where_the_volume_is(count: int, seed: int) -> None:
    curve, depth, _ = any_curve(count, seed)
    wanted = np.linspace(depth[0], depth[-1], 50)
    back = curve.depths(curve.volumes(wanted))
    np.testing.assert_allclose(curve.volumes(back), curve.volumes(wanted), rtol=1e-9, atol=1e-6)


def test_cones_between_rows_meet_the_frustum_rule() -> None:
    # derived: h/3 (A + sqrt(A B) + B) at both rows
    frame = table_at(ice_lake(), levels=(0.0, 13.0, 14.0), rule="frustum").frame
    layer = -np.diff(frame["volume_below_m3"])[1]
    assert layer == pytest.approx((1.2e4 + np.sqrt(1.2e4 * 600) + 600) / 3, rel=1e-12)


def test_volumes_that_are_given_are_met() -> None:
    table = Table(
        pd.DataFrame({"z": [4.0, 0.0, 2.0], "A": [10.0, 100.0, 50.0], "V": [5.0, 205.0, 60.0]})
    )
    read = table_at(table, levels=(0.0, 2.0, 4.0), depth="z", area="A", volume="V")
    assert read.frame["volume_below_m3"].tolist() == [205, 60, 5]
    assert read.frame["area_m2"].tolist() == [100, 50, 10]
    assert read.notes == ()


def test_volumes_that_are_not_those_of_the_table_are_told() -> None:
    # derived: 2 (100 + 50) / 2 + 2 (50 + 10) / 2, though the table says 205
    table = Table(
        pd.DataFrame({"z": [4.0, 0.0, 2.0], "A": [10.0, 100.0, 50.0], "V": [5.0, 205.0, 60.0]})
    )
    read = table_at(table, levels=(0.0,), depth="z", area="A")
    assert read.frame["volume_below_m3"].tolist() == [210]
    told = "volumes from the areas by the trapezoid rule: volume names a column to meet"
    assert read.notes == (told,)


def test_refusals() -> None:
    with pytest.raises(ParameterError, match=r"^depths must lie .*, 0 to 16 m, got 17$"):
        table_at(ice_lake(), levels=(17.0,))
    grown = Table(pd.DataFrame({"depth_m": [0.0, 1.0, 2.0], "area_m2": [3.0, 2.0, 2.5]}))
    message = r"^areas must not grow with depth, got 2\.5 at depth 2 below 2 at 1$"
    with pytest.raises(LayerError, match=message):
        table_at(grown, levels=(1.0,))
    swollen = Table(
        pd.DataFrame({"depth_m": [0.0, 1.0], "area_m2": [3.0, 2.0], "volume_m3": [3.1, 0.0]})
    )
    message = (
        r"^the layer from depth 0 to 1 must hold 2 to 3 by its areas, got 3\.1; "
        r"check the table first$"
    )
    with pytest.raises(LayerError, match=message):
        table_at(swollen, levels=(1.0,), volume="volume_m3")
    curve = AreaCurve.of_areas(np.array([0.0, 1.0]), np.array([2.0, 1.0]), rule="trapezoid")
    with pytest.raises(ParameterError, match=r"^volumes must lie in 0 to 1\.5, the table's whole$"):
        curve.depths(np.array([2.0]))
    with pytest.raises(LayerError, match=r"^shares must lie in 0 to 1, one for each layer$"):
        AreaCurve(np.array([0.0, 1.0]), np.array([2.0, 1.0]), np.array([1.5]))
