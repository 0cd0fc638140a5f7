"""Oxygen saturation against published tables, and per cent of it."""

import numpy as np
import pandas as pd
import pytest

from toolbox.errors import LayerError, ParameterError
from toolbox.layers import Profiles
from toolbox.water.oxygen import (
    ATMOSPHERE,
    oxygen_saturation,
    pressure_at,
    saturated_oxygen,
)

# public code data with the values of APHA 4500-O, to 0.001 mg/L
APHA = {0: 14.621, 8: 11.843, 16: 9.870, 24: 8.418, 32: 7.305, 40: 6.413}
# EN 25814, table of 0 to 30 degrees (manual of an instrument, manualslib.es 67236, p. 52)
EN_25814 = (
    14.6, 14.2, 13.8, 13.5, 13.1, 12.8, 12.5, 12.2, 11.8, 11.6, 11.3, 11.0, 10.8, 10.5, 10.3, 10.1,
    9.87, 9.66, 9.47, 9.28, 9.09, 8.91, 8.74, 8.58, 8.42, 8.26, 8.11, 7.97, 7.83, 7.69, 7.56,
)  # fmt: skip
# manual of a colorimeter, p. 16, "approximate", at 0, 5, 10, 15 and 20 degrees, by mmHg
BY_PRESSURE = {
    750: (14.4, 12.6, 11.2, 10.0, 9.1),
    725: (13.9, 12.2, 10.8, 9.7, 8.7),
    700: (13.5, 11.8, 10.4, 9.3, 8.4),
    650: (12.5, 10.9, 9.7, 8.7, 7.8),
    625: (12.0, 10.5, 9.3, 8.3, 7.5),
}
MMHG = ATMOSPHERE / 760


def profiles(**columns: object) -> Profiles:
    time = pd.to_datetime(["2026-05-14"] * 2, utc=True)
    return Profiles(pd.DataFrame({"time": time, "depth_m": [0.0, 5.0]} | columns))


def at(temperature: float, pressure: float = ATMOSPHERE) -> float:
    return float(saturated_oxygen(np.array(temperature), pressure=pressure))


def test_the_published_values_at_one_atmosphere() -> None:
    found = saturated_oxygen(np.array(list(APHA), float))
    np.testing.assert_allclose(found, list(APHA.values()), atol=0.0006)


def test_further_values_of_the_formula() -> None:
    # derived with the coefficients as in APHA 4500-O, which prints 12.770 at 5 degrees (from
    # memory) where its formula gives 12.771
    derived = {4: 13.108, 5: 12.771, 10: 11.288, 15: 10.084, 20: 9.092, 25: 8.263, 30: 7.559}
    found = saturated_oxygen(np.array(list(derived), float))
    np.testing.assert_allclose(found, list(derived.values()), atol=0.0006)
    assert found[1] == pytest.approx(12.770, abs=0.002)


def test_the_european_table() -> None:
    # rounded to 0.1 below 16 degrees, where one entry (7 degrees) is off by a unit
    t = np.arange(31.0)
    apart = np.abs(saturated_oxygen(t) - EN_25814)
    assert apart[t >= 16].max() < 0.006
    assert apart[t < 16].max() < 0.07


def test_a_table_by_pressure() -> None:
    t = np.array([0.0, 5, 10, 15, 20])
    for mmhg, row in BY_PRESSURE.items():
        np.testing.assert_allclose(saturated_oxygen(t, pressure=mmhg * MMHG), row, atol=0.15)


def test_the_formula_at_other_pressures() -> None:
    # derived; correction for pressure as in APHA 4500-O, from memory
    assert at(20, 700 * MMHG) == pytest.approx(8.358, abs=0.001)
    assert at(20, 750 * MMHG) == pytest.approx(8.97, abs=0.005)
    assert at(15, 0.9 * ATMOSPHERE) == pytest.approx(9.059, abs=0.001)
    assert at(20, pressure_at(1500)) == pytest.approx(7.553, abs=0.001)


def test_the_standard_atmosphere() -> None:
    # derived: 0.8345 atm at 1500 m; ISO 2533:1975 lists 898.75 hPa at 1000 m and 701.09 hPa at
    # 3000 m of geopotential altitude, from memory
    assert pressure_at(0.0) == ATMOSPHERE
    assert pressure_at(1500.0) / ATMOSPHERE == pytest.approx(0.8345, abs=5e-5)
    assert pressure_at(1000.0) == pytest.approx(898.75, abs=0.02)
    assert pressure_at(3000.0) == pytest.approx(701.09, abs=0.02)


def test_less_oxygen_in_warm_water_and_thin_air() -> None:
    t = np.linspace(0, 40, 81)
    assert (np.diff(saturated_oxygen(t)) < 0).all()
    assert (saturated_oxygen(t, pressure=900.0) < saturated_oxygen(t)).all()


def test_per_cent_of_saturation() -> None:
    table = oxygen_saturation(profiles(temperature_c=[20.0, 8.0], oxygen_mg_l=[9.092, np.nan]))
    assert list(table.frame) == [
        "time", "station", "depth_m", "temperature_c", "oxygen_mg_l", "saturated_mg_l",
        "saturation_percent",
    ]  # fmt: skip
    np.testing.assert_allclose(table.frame["saturated_mg_l"], [9.092, 11.843], atol=0.001)
    np.testing.assert_allclose(table.frame["saturation_percent"], [100.0, np.nan], atol=0.01)
    assert table.notes == ("fresh water, air of 1013.2 hPa of the standard atmosphere; no salts",)


def test_altitude_and_pressure_do_the_same() -> None:
    water = profiles(temperature_c=[20.0, 41.0], oxygen_mg_l=[7.553, 5.0])
    high = oxygen_saturation(water, altitude=1500.0)
    same = oxygen_saturation(water, pressure=pressure_at(1500.0))
    assert high.frame.equals(same.frame)
    assert high.frame["saturation_percent"][0] == pytest.approx(100, abs=0.02)
    assert same.notes[0] == "fresh water, air of 845.6 hPa as given; no salts"
    assert same.notes[1] == "1 temperatures lie outside 0 to 40 C, the range of the saturation"


def test_what_saturation_cannot_do() -> None:
    water = profiles(temperature_c=[20.0, 8.0])
    with pytest.raises(ParameterError, match="give altitude or pressure, not both"):
        oxygen_saturation(water, altitude=0.0, pressure=1000.0)
    with pytest.raises(ParameterError, match=r"pressure must be >= 300 and <= 1100 hPa, got 29\.9"):
        oxygen_saturation(water, pressure=29.9)
    with pytest.raises(LayerError, match="needs temperatures, and the profiles hold none"):
        oxygen_saturation(profiles(oxygen_mg_l=[9.0, 8.0]))
