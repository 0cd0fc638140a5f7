"""Layers of water: exact solids, a published table, and bands of draws."""

import numpy as np
import pandas as pd
import pytest

from toolbox.errors import LayerError, ParameterError
from toolbox.layers import Table, Tin
from toolbox.water.water_layers import WaterLayers

# Ice Lake, Minnesota: waterontheweb.org, data/icelake/context/morphometry.html, Tables 1 and 2
AREAS_HA = (
    16.6, 15.4, 14.2, 13.0, 11.8, 10.7, 9.49, 8.30, 7.11, 5.93, 4.75, 3.57, 2.38, 1.20, 0.060,
    0.029, 0.0,
)  # fmt: skip
TWO_METRES_1E5_M3 = (3.081, 2.606, 2.134, 1.660, 1.186, 0.713, 0.242, 0.005)


def ice_lake(**more: list[float]) -> Table:
    depth, area = np.arange(17.0), np.array(AREAS_HA) * 1e4
    return Table(pd.DataFrame({"depth_m": depth, "area_m2": area, **more}))


def pyramid(draws: np.ndarray | None = None) -> Tin:
    """Make a pyramid of 10 m depth under a square of 100 m."""
    corners = np.array([[0, 0], [100, 0], [100, 100], [0, 100], [50, 50]], float)
    triangles = np.array([[0, 1, 4], [1, 2, 4], [2, 3, 4], [3, 0, 4]])
    depth = np.array([0.0, 0.0, 0.0, 0.0, 10.0])
    return Tin(corners, depth, triangles, np.zeros(5, int), None, draws=draws)


def test_a_pyramid_is_cut_exactly() -> None:
    layers = WaterLayers.of_bed(pyramid(), np.array([0.0, 5.0, 10.0]))
    assert layers.area == pytest.approx([1e4, 2.5e3, 0.0])  # derived
    assert layers.volume == pytest.approx([1e5 / 3 * 7 / 8, 1e5 / 3 / 8])
    assert -np.diff(layers.area) == pytest.approx([7.5e3, 2.5e3])
    assert layers.middle.tolist() == [2.5, 7.5]


def test_planes_below_the_bed_hold_nothing() -> None:
    layers = WaterLayers.of_bed(pyramid(), np.array([8.0, 12.0, 15.0]))
    assert layers.volume == pytest.approx([1e5 / 3 * 0.2**3, 0.0])


def test_the_layers_of_a_published_lake() -> None:
    layers = WaterLayers.of_table(ice_lake(), np.arange(0.0, 17.0, 2.0))
    assert layers.volume / 1e5 == pytest.approx(TWO_METRES_1E5_M3, abs=0.008)


def test_the_volumes_of_a_table_are_met() -> None:
    below = [*(np.cumsum(TWO_METRES_1E5_M3[::-1])[::-1] * 1e5), 0.0]
    table = Table(
        pd.DataFrame(
            {
                "depth_m": np.arange(0.0, 17.0, 2.0),
                "area_m2": np.array(AREAS_HA)[::2] * 1e4,
                "volume_below_m3": below,
            }
        )
    )
    layers = WaterLayers.of_table(table, np.arange(0.0, 17.0, 2.0))
    assert layers.volume / 1e5 == pytest.approx(TWO_METRES_1E5_M3)


def test_a_table_ends_where_it_ends() -> None:
    layers = WaterLayers.of_table(ice_lake(), np.array([15.0, 16.0, 20.0]))
    assert layers.area.tolist() == [290.0, 0.0, 0.0]
    assert layers.volume[1] == 0


def test_a_figure_has_the_band_of_the_draws() -> None:
    scales = np.linspace(0.8, 1.2, 101)
    draws = pyramid().depth[:, None] * scales
    layers = WaterLayers.of_bed(pyramid(draws), np.array([0.0, 20.0]))
    found = layers.figure(lambda area, volume: volume.sum(axis=-1))
    assert found.value == pytest.approx(1e5 / 3)
    assert (found.low, found.high) == pytest.approx((0.82e5 / 3, 1.18e5 / 3))


def test_without_draws_a_figure_has_no_band() -> None:
    found = WaterLayers.of_bed(pyramid(), np.array([0.0, 20.0])).figure(lambda a, v: v.sum(axis=-1))
    assert np.isnan([found.low, found.high]).all()


def test_edges_must_ascend() -> None:
    with pytest.raises(ParameterError, match="two or more edges that ascend"):
        WaterLayers.of_bed(pyramid(), np.array([1.0, 1.0]))


def test_shapes_must_agree() -> None:
    with pytest.raises(LayerError, match="layers need 2 areas"):
        WaterLayers(np.array([0.0, 1.0]), np.zeros(3), np.zeros(1))
