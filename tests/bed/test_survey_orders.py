"""How much of a bed meets an order is exact where it can be told by hand."""

import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
import scipy.spatial

from toolbox.bed.survey_orders import survey_order_share
from toolbox.errors import LayerError
from toolbox.layers import Tin, VertexKind


def level(depth: float, sd: Callable[[np.ndarray], np.ndarray]) -> Tin:
    """Make a level bed of 100 m by 60 m whose sd is a function of the place."""
    inner = np.random.default_rng(4).uniform([0, 0], [100, 60], (200, 2))
    place = np.vstack([[[0, 0], [100, 0], [100, 60], [0, 60]], inner])
    triangles = scipy.spatial.Delaunay(place).simplices
    kind = np.full(len(place), VertexKind.SOUNDING)
    return Tin(place, np.full(len(place), depth), triangles, kind, None, sd=sd(place))


def test_shares_of_a_level_bed_are_exact() -> None:
    # IHO 2020, S-44 edition 6, Table 1: TVU at 95 % = sqrt(a^2 + (b d)^2) with a, b of Exclusive
    # 0.15, 0.0075; Special 0.25, 0.0075; 1a and 1b 0.5, 0.013; 2 1.0, 0.023. The sd grows from 0
    # to 1 m along 100 m, so the share is that over 1.96 (derived)
    table = survey_order_share(level(10.0, lambda place: place[:, 0] / 100))
    allowed = np.sqrt([0.028125, 0.068125, 0.2669, 0.2669, 1.0529])
    assert list(table.frame["order"]) == ["Exclusive", "Special", "1a", "1b", "2"]
    np.testing.assert_allclose(table.frame["area_share"], allowed / 1.96, rtol=1e-9)
    np.testing.assert_allclose(table.frame["area_m2"], 6000 * allowed / 1.96, rtol=1e-9)
    np.testing.assert_allclose(table.frame["allowed_deepest_m"], allowed)
    np.testing.assert_allclose(table.frame["allowed_shoalest_m"], allowed)
    assert "which this does not show" in table.notes[0]


@pytest.mark.parametrize(("sd", "share"), [(0.0, 1.0), (9.0, 0.0)])
def test_all_or_nothing(sd: float, share: float) -> None:
    table = survey_order_share(level(3.0, lambda place: np.full(len(place), sd)))
    assert (table.frame["area_share"] == share).all()


def test_depth_allows_more() -> None:
    # 0.6 m at 95 %: order 1a allows it from sqrt(0.36 - 0.25) / 0.013 = 25.5 m down (derived from
    # S-44 edition 6, Table 1); to 1 %, as what is left is not quite linear over a triangle
    flat = level(0.0, lambda place: np.full(len(place), 0.6 / 1.96))
    deepening = replace(flat, depth=flat.vertices[:, 0] / 2)
    share = survey_order_share(deepening).frame.set_index("order")["area_share"]
    assert share["1a"] == pytest.approx(1 - 2 * math.sqrt(0.11) / 0.013 / 100, abs=0.01)
    assert share["2"] == 1


def test_a_bed_without_sd_meets_no_order() -> None:
    bare = replace(level(3.0, lambda place: place[:, 0]), sd=None)
    with pytest.raises(LayerError, match=r"^the bed has no sd: only a fitted bed tells its own"):
        survey_order_share(bare)
