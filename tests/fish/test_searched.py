"""Water searched and water there is, layer by layer."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from toolbox.errors import LayerError, ParameterError
from toolbox.fish.beam import Beam, shell_volume, swept_section
from toolbox.fish.searched import LayerWater, Searched, fine_edges, layer_edges
from toolbox.fish.sounded import Sounded
from toolbox.layers import Table, Tin

BEAM = Beam(20.0, pulse=2e-4, depth=0.0, blind=1.0)
EDGES = np.array([0.0, 2, 4, 6])


def wedge(draws: bool = False) -> Tin:
    """Make a bed 100 m wide that falls from the shore to 10 m over 200 m."""
    vertices = np.array([[0, 0], [200, 0], [200, 100], [0, 100]], float)
    depth = np.array([0, 10, 10, 0.0])
    bed = Tin(vertices, depth, np.array([[0, 1, 2], [0, 2, 3]]), np.array([0, 2, 2, 0]), None)
    drawn = np.column_stack([0.9 * depth, depth, 1.1 * depth])
    return replace(bed, draws=drawn) if draws else bed


def sounded(*ranges: float) -> Sounded:
    pings = pd.DataFrame(
        {"transect": [1, 1, 2], "ping": [1, 2, 3], "bed_m": [20.0, 3, 20], "distance_m": [0, 2, 0]}
    )
    echoes = pd.DataFrame({"transect": 1, "ping": 1, "range_m": ranges}, index=range(len(ranges)))
    return Sounded.of(Table(echoes), Table(pings))


def test_water_searched_by_pings() -> None:
    volumes = Searched.of(sounded(), BEAM, EDGES).volumes
    at = EDGES / BEAM.steepness
    whole = shell_volume(np.maximum(at[:-1], 1.0), at[1:], 20.0)
    last = BEAM.last(np.array([3.0]))[0]
    shallow = [shell_volume(1.0, at[1], 20.0), shell_volume(at[1], last, 20.0), 0]
    np.testing.assert_allclose(volumes, [whole + shallow, whole])


def test_water_searched_by_traces() -> None:
    searched = Searched.of(sounded(), BEAM, EDGES, "traces")
    at = EDGES / BEAM.steepness
    section = swept_section(np.maximum(at[:-1], 1.0), at[1:], 20.0, 1.0)
    np.testing.assert_allclose(searched.volumes[0, 2], 1.0 * section[2])
    assert (searched.volumes[1] == 0).all()  # a single ping runs no way
    with pytest.raises(LayerError, match="need a column 'distance_m'"):
        Searched.of(replace(sounded(), step=None), BEAM, EDGES, "traces")


def test_echoes_sorted_into_layers() -> None:
    edge = 2.0 / BEAM.steepness
    searched = Searched.of(sounded(0.5, 1.0, edge - 1e-9, edge + 1e-9, 5.0, 6.2), BEAM, EDGES)
    assert searched.layer.tolist() == [-1, 0, 0, 1, 2, -1]
    assert searched.sums().tolist() == [[2, 1, 1], [0, 0, 0]]
    weights = np.array([9.0, 1, np.nan, 2, 3, 9])
    assert searched.sums(weights).tolist() == [[1, 2, 3], [0, 0, 0]]


def test_water_of_layers() -> None:
    # derived: area 100 (200 - 20 z) below the surface, raised by dead(z) = z (1 / cos - 1) + 0.145
    water = LayerWater.of(wedge(), BEAM, EDGES, 0.0)
    assert water.whole == pytest.approx(100_000)
    assert water.area == pytest.approx(20_000)
    below = 1000 * (10 - EDGES) ** 2
    np.testing.assert_allclose(water.all, -np.diff(below))
    deep = 10 - BEAM.last(np.array([10.0]))[0]
    stretch = 1 - (1 / np.cos(np.radians(10)) - 1)
    floor = 10 - deep
    tops = np.array([BEAM.top, 2, 4, 6])
    np.testing.assert_allclose(
        water.told, -np.diff(1000 * (floor - tops) ** 2 / stretch), rtol=1e-9
    )
    assert water.drawn is None


def test_water_of_layers_on_a_low_day_and_of_draws() -> None:
    low = LayerWater.of(wedge(draws=True), replace(BEAM, depth=1.0), EDGES, 1.0)
    assert low.whole == pytest.approx(81_000)
    assert low.all[0] == pytest.approx(81_000 - 64_000)
    assert low.told[0] < 150  # 1 m of blind range from 1 m down leaves a centimetre
    assert low.drawn is not None
    assert low.drawn.shape == (3, 3)
    np.testing.assert_allclose(low.drawn[1], low.told, rtol=1e-6)
    assert (np.diff(low.drawn[:, 2]) > 0).all()


def test_layers_all_above_or_all_below_the_blind_range() -> None:
    above = LayerWater.of(wedge(), replace(BEAM, blind=7.0), EDGES, 0.0)
    assert above.told.tolist() == [0, 0, 0]
    below = LayerWater.of(wedge(), BEAM, np.array([3.0, 5]), 0.0)
    assert below.told[0] == pytest.approx(
        LayerWater.of(wedge(), BEAM, np.array([0, 3.0, 5]), 0).told[1]
    )


def test_edges() -> None:
    assert layer_edges(None, 2.0, 5.0, 0.0).tolist() == [0, 2, 4, 6]
    assert layer_edges(None, 2.0, 6.0, 0.5).tolist() == [0.5, 2, 4, 6]
    assert layer_edges(None, None, 12.0, 0.0).tolist() == [0, 2, 4, 6, 8, 10, 12]
    assert layer_edges((0.0, 3, 9), None, 5.0, 0.0).tolist() == [0, 3, 9]
    with pytest.raises(ParameterError, match="give strata or step, not both"):
        layer_edges((0.0, 3), 1.0, 5.0, 0.0)
    with pytest.raises(ParameterError, match=r"ascend from the surface \(1 m\) down"):
        layer_edges((0.0, 3), None, 5.0, 1.0)
    with pytest.raises(ParameterError, match=r"at most 1000 layers, got 0\.001 m"):
        layer_edges(None, 0.001, 5.0, 0.0)
    with pytest.raises(LayerError, match="no water over it"):
        layer_edges(None, 1.0, 5.0, 6.0)


def test_thin_layers_fill_the_high_ones() -> None:
    thin, groups = fine_edges(np.array([0.3, 2, 2.4, 5]))
    assert np.diff(thin).max() <= 0.5 + 1e-12
    assert [len(group) for group in groups] == [4, 1, 6]
    assert thin[[0, 4, 5, 11]].tolist() == pytest.approx([0.3, 2, 2.4, 5])
    assert np.concatenate(groups).tolist() == list(range(11))
    assert len(fine_edges(np.array([0.0, 400]))[0]) == 201
