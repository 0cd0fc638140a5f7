"""Filling, emptying and residence times against closed forms and a stepwise integration."""

from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad

from toolbox.errors import ParameterError
from toolbox.layers import Table
from toolbox.units import convert
from toolbox.volume.water_balance import (
    SECONDS_PER_DAY,
    evaporated,
    layer_days,
    residence_days,
    storage_times,
)


def table(depth: Any, area: Any) -> Table:
    return Table(pd.DataFrame({"depth_m": depth, "area_m2": area}))


BOX = table([0.0, 2.0, 5.0], [1e4, 1e4, 1e4])
PARABOLOID = table([0.0, 5.0, 10.0], [1e6, 5e5, 0.0])


def test_residence_time() -> None:
    # derived: Ice Lake's 1.16e6 m3 over 0.010 m3/s
    days = residence_days(np.array([1.16e6]), 0.010)[0]
    assert days / 365.25 == pytest.approx(3.676, abs=0.0005)
    # GLEON, Carvins Cove Reservoir: 229 to 642 days for 24.3e6 m3, so 0.44 to 1.23 m3/s
    assert 229 < residence_days(np.array([24.3e6]), 0.8)[0] < 642
    with pytest.raises(ParameterError, match=r"^outflow must be > 0 m3/s, got 0$"):
        residence_days(np.array([1.0]), 0.0)


def test_evaporation() -> None:
    # derived: a millimetre of a hectare is 10 m3; an inch of an acre a twelfth of an acre-foot
    assert evaporated(np.array([1e4]), 1.0)[0] == pytest.approx(10)
    acre = np.array([convert(1.0, "acre", "m^2")])
    assert convert(evaporated(acre, 25.4)[0], "m^3", "acre_foot") == pytest.approx(1 / 12)


def test_a_box_fills_at_an_even_rate() -> None:
    # derived: 5e4 m3 at 0.1 m3/s
    frame = storage_times(BOX, inflow=0.1).frame
    np.testing.assert_allclose(frame["filling_days"], np.array([5e5, 3e5, 0]) / SECONDS_PER_DAY)
    np.testing.assert_allclose(frame["residence_days"], frame["filling_days"])
    assert frame["emptying_days"].tolist()[0] == 0
    assert frame["emptying_days"][1:].isna().all()
    assert frame["evaporation_m3_per_mm"].tolist() == [10, 10, 10]


def test_a_box_that_only_evaporates_falls_by_that() -> None:
    # derived: 5 mm a day, whatever the shape
    for water in (BOX, PARABOLOID):
        frame = storage_times(water, inflow=0.0, evaporation=5.0).frame
        np.testing.assert_allclose(frame["emptying_days"], frame["depth_m"] / 0.005)
        assert frame["residence_days"].isna().all()
        assert frame["filling_days"][:2].isna().all()


def test_acre_feet_of_a_cubic_foot_a_second() -> None:
    # 1 cfs for a day is 1.983471 acre-ft: USGS water-supply papers (from memory); V 86400/43560
    area = convert(1.0, "acre", "m^2")
    water = table([0.0, convert(1.983471, "ft", "m")], [area, area])
    frame = storage_times(water, inflow=convert(1.0, "cfs", "m^3/s")).frame
    assert frame["filling_days"][0] == pytest.approx(1.0, abs=1e-6)


def test_the_level_comes_to_rest_where_losses_balance() -> None:
    # derived: 0.05 m3/s are 4320 m3 a day, what 8 mm take off 540,000 m2, 4.6 m below the top
    found = storage_times(PARABOLOID, inflow=0.06, outflow=0.01, evaporation=8.0)
    assert found.notes == ("the level comes to rest at depth 4.6 m, area 540000 m2",)
    days = found.frame["filling_days"]
    assert np.isnan(days[0])
    # derived: A = 1e5 y, dy/dt = (4320 - 800 y) / (1e5 y)
    exact = quad(lambda y: 1e5 * y / (4320 - 800 * y), 0, 5)[0]
    assert days[1] == pytest.approx(exact, rel=1e-9)
    assert storage_times(PARABOLOID, inflow=0.5, evaporation=8.0).notes == ()


@settings(max_examples=80, deadline=None)
@given(
    st.one_of(st.just(0.0), st.floats(1e-6, 2), st.floats(-2, -1e-6)),
    st.one_of(st.just(0.0), st.floats(1e-6, 20)),
    st.lists(st.one_of(st.just(0.0), st.floats(1e-3, 1e7)), min_size=2, max_size=2),
)
def test_a_layer_is_its_integral(gain: float, evaporation: float, ends: list[float]) -> None:
    # an independent quadrature of A / r over the layer
    lower, upper = sorted(ends)
    daily, loss = gain * SECONDS_PER_DAY, evaporation / 1000
    rates = daily - loss * lower, daily - loss * upper
    found = layer_days(
        np.array([0.0, 3.0]), np.array([upper, lower]), gain=gain, evaporation=evaporation
    )[0]
    if not (min(rates) > 0 or max(rates) < 0):
        assert np.isnan(found) or gain == 0
        return
    near = min(map(abs, rates)) / max(map(abs, rates))
    if near < 1e-3:  # where the quadrature itself is at its end
        return

    def integrand(t: float) -> float:
        area = lower + t * (upper - lower)
        return 3 * area / (daily - loss * area)

    exact = quad(integrand, 0, 1, epsabs=0, epsrel=1e-12, limit=300)[0]
    assert found == pytest.approx(exact, rel=1e-7, abs=1e-9)
    assert found == 0 or (found > 0) == (rates[0] > 0)


def test_refusals() -> None:
    with pytest.raises(ParameterError, match=r"^inflow must be >= 0 m\^3/s, got -1\.0$"):
        storage_times(BOX, inflow=-1.0)
    with pytest.raises(ParameterError, match=r"^evaporation must be >= 0 mm/day, got nan$"):
        storage_times(BOX, inflow=1.0, evaporation=np.nan)
