"""Accuracy standards as published, and what crossings say of a survey."""

import math

import numpy as np
import pandas as pd
import pytest

from toolbox.errors import LayerError
from toolbox.layers import Soundings, Table
from toolbox.reduction.quality import (
    ORDERS,
    crossing_statistics,
    nssda_vertical,
    survey_orders,
)

SPECIAL = ORDERS[1]

# IHO S-44 edition 6 (2020), Table 1: TVU and THU in metres by depth
PUBLISHED = {
    5: ((0.1546, 0.2528, 0.5042, 0.5042, 1.0066), 5.25, 20.5),
    10: ((0.1677, 0.2610, 0.5166, 0.5166, 1.0261), 5.5, 21.0),
    20: ((0.2121, 0.2915, 0.5636, 0.5636, 1.1007), 6.0, 22.0),
    30: ((0.2704, 0.3363, 0.6341, 0.6341, 1.2149), 6.5, 23.0),
    50: ((0.4039, 0.4507, 0.8201, 0.8201, 1.5240), 7.5, 25.0),
    100: ((0.7649, 0.7906, 1.3928, 1.3928, 2.5080), 10.0, 30.0),
}


@pytest.mark.parametrize("depth", PUBLISHED)
def test_limits_of_the_orders(depth: int) -> None:
    vertical, order_1, order_2 = PUBLISHED[depth]
    at = np.array([float(depth)])
    for each, expected in zip(ORDERS, vertical, strict=True):
        assert each.vertical(at)[0] == pytest.approx(expected, abs=1e-4)
    horizontal = [each.horizontal(at)[0] for each in ORDERS]
    assert horizontal == pytest.approx([1, 2, order_1, order_1, order_2])


def test_above_the_water_the_limit_is_that_at_its_surface() -> None:
    assert SPECIAL.vertical(np.array([-3.0, 0.0])).tolist() == [0.25, 0.25]


def as_published() -> np.ndarray:
    """Errors with the count, mean and standard deviation of the published case."""
    errors = np.random.default_rng(51).normal(size=51)
    errors = (errors - errors.mean()) / errors.std(ddof=1)
    return np.asarray(errors * 0.0577205913534 - 0.00533333349535)


def test_nssda_as_published() -> None:
    # USGS lidar accuracy report LA_Barataria_2013, n = 51: RMSE_z and Accuracy_z
    rmse, accuracy = nssda_vertical(as_published())
    assert rmse == pytest.approx(0.0574002119585, abs=1e-8)
    assert accuracy == pytest.approx(0.112504415439, abs=1e-8)


def test_nssda_leaves_out_what_is_not_known() -> None:
    assert nssda_vertical(np.array([3, np.nan, -4]))[0] == pytest.approx(math.sqrt(12.5))
    assert np.isnan(nssda_vertical(np.array([np.nan]))).all()


def crossings(difference: np.ndarray, depth: float = 10.0) -> Table:
    return Table(
        pd.DataFrame(
            {
                "depth_a": depth + difference / 2,
                "depth_b": depth - difference / 2,
                "difference": difference,
            }
        )
    )


def figures(table: Table) -> dict[str, float]:
    return dict(zip(table.frame["figure"], table.column("value"), strict=True))


def test_statistics_of_the_published_case() -> None:
    errors = as_published()
    found = figures(crossing_statistics(crossings(errors)))
    assert found["crossings"] == 51
    assert found["mean"] == pytest.approx(-0.00533333349535, abs=1e-8)
    assert found["standard deviation"] == pytest.approx(0.0577205913534, abs=1e-8)
    assert found["root mean square"] == pytest.approx(0.0574002119585, abs=1e-8)
    assert found["NSSDA accuracy at 95 %"] == pytest.approx(0.112504415439, abs=1e-8)
    assert found["NSSDA accuracy of one depth"] == pytest.approx(0.112504415439 / math.sqrt(2))
    assert found["median"] == pytest.approx(np.sort(errors)[25])
    assert found["median of absolute"] == pytest.approx(np.sort(np.abs(errors))[25])


def test_share_within_an_order_allows_for_both_depths() -> None:
    # S-44 order 1a at 10 m: TVU 0.5166 m (Table 1), so two depths may differ by 0.7306 m
    found = figures(crossing_statistics(crossings(np.array([0.60, -0.73, 0.731, -2.0]))))
    assert found["share within S-44 order 1a"] == 0.5
    assert found["share within S-44 order 2"] == 0.75
    assert found["share within S-44 order Special"] == 0.0


def test_normal_depths_of_an_order_meet_it_in_95_of_100_crossings() -> None:
    # TVU is at 95 %: depths whose 1.96 standard deviations are the TVU at 30 m
    random = np.random.default_rng(8)
    sd = SPECIAL.vertical(np.array([30.0]))[0] / 1.96
    difference = random.normal(0, sd, 40_000) - random.normal(0, sd, 40_000)
    found = figures(crossing_statistics(crossings(difference, 30.0)))
    assert found["share within S-44 order Special"] == pytest.approx(0.95, abs=0.004)


def test_no_crossings_give_no_figures_but_their_count() -> None:
    found = figures(crossing_statistics(crossings(np.array([]))))
    assert found.pop("crossings") == 0
    assert np.isnan(list(found.values())).all()


def test_a_table_of_something_else_is_refused() -> None:
    with pytest.raises(LayerError, match=r"^the table has no column 'difference', only \['x'\]$"):
        crossing_statistics(Table(pd.DataFrame({"x": [1.0]})))


def test_orders_that_soundings_meet_by_their_own_spread() -> None:
    # at 10 m: Special asks 0.2610 m and 2 m, 1a 0.5166 m and 5.5 m (S-44 edition 6, Table 1)
    soundings = Soundings.from_arrays(
        np.zeros((5, 2)),
        np.full(5, 10.0),
        crs=None,
        sd=np.array([0.13, 0.2, 0.3, np.nan, 9.0]),
        sd_xy=np.array([0.8, 2.2, 2.3, 1.0, 99.0]),
    ).reject(np.arange(5) == 4, "spike along the line")
    found = survey_orders(soundings).frame.set_index("order")
    assert found.vertical_share.round(3).tolist() == [0.0, 0.333, 0.667, 0.667, 1.0]
    assert found.horizontal_share.round(3).tolist() == [0.0, 0.25, 0.75, 0.75, 1.0]
    assert found.known_share.tolist() == [0.75] * 5


def test_unknown_spreads_meet_no_order_and_miss_none() -> None:
    soundings = Soundings.from_arrays(np.zeros((2, 2)), np.ones(2), crs=None)
    found = survey_orders(soundings).frame
    assert found.vertical_share.isna().all()
    assert (found.known_share == 0).all()
