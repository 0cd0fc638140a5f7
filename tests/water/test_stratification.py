"""Stratification of exact solids at visits, and of the sample's summer."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from toolbox.errors import LayerError, ParameterError
from toolbox.layers import Profiles, Tin
from toolbox.water.stratification import stratification

SAMPLE = Path(__file__).resolve().parents[2] / "sample_layers"
SQUARE = np.array([[0, 0], [100, 0], [100, 100], [0, 100], [50, 50]], float)
FANS = np.array([[0, 1, 4], [1, 2, 4], [2, 3, 4], [3, 0, 4]])
TWO_LAYERS = ([0.0, 4.9999, 5.0001, 10.0], [20.0, 20.0, 10.0, 10.0])


def bed(rim: float, middle: float, draws: np.ndarray | None = None) -> Tin:
    depth = np.array([rim, rim, rim, rim, middle])
    return Tin(SQUARE, depth, FANS, np.full(5, 2), None, draws=draws)


def wedge() -> Tin:
    """Make a bed whose area falls evenly with depth, as a paraboloid's does."""
    triangles = np.array([[0, 1, 2], [0, 2, 3]])
    return Tin(SQUARE[:4], np.array([0, 10, 10, 0.0]), triangles, np.full(4, 2), None)


def profiles(
    depth: list[float], temperature: list[float], time: str = "2026-07-01", **more: object
) -> Profiles:
    times = pd.to_datetime([time] * len(depth), utc=True)
    columns = {"time": times, "depth_m": depth, "temperature_c": temperature}
    return Profiles(pd.DataFrame(columns | more))


@pytest.mark.parametrize(
    ("solid", "expected"),
    [(bed(10, 10), 183.442), (wedge(), 61.147), (bed(0, 10), 22.930)],
    ids=["box", "as a paraboloid", "as a cone"],
)
def test_exact_two_layer_stability(solid: Tin, expected: float) -> None:
    # derived: g (rho(10) - rho(20)) times 12.5, 25/6, 1.5625 m2, with the density of Tanaka
    row = stratification(solid, profiles(*TWO_LAYERS)).frame.iloc[0]
    assert row["schmidt_stability_j_m2"] == pytest.approx(expected, rel=1e-4)
    assert row["state"] == "stratified"
    assert row["thermocline_m"] == pytest.approx(5.0, abs=0.05)
    assert row["unread_share"] == pytest.approx(0.0, abs=1e-9)


def test_the_columns() -> None:
    table = stratification(bed(0, 10), profiles([0, 4, 5, 8], [20, 20, 10, 10]))
    assert list(table.frame) == [
        "time", "station", "surface_m", "state", "thermocline_m", "gradient_kg_m3_m",
        "metalimnion_top_m", "metalimnion_bottom_m", "mixed_layer_m", "temperature_top_c",
        "temperature_bottom_c", "schmidt_stability_j_m2", "heat_content_j", "heat_content_j_m2",
        "unread_share",
    ]  # fmt: skip
    row = table.frame.iloc[0]
    assert row["thermocline_m"] == pytest.approx(4.5)
    assert row["gradient_kg_m3_m"] == pytest.approx(1.49596, abs=1e-4)  # rho(10) - rho(20)
    assert row["unread_share"] == pytest.approx(0.2**3)  # derived
    assert table.notes == (
        "density of fresh water, g 9.81 m/s2, heat above 0 C",
        "layered from a density gradient of 0.1 kg/m3/m on",
        "the deepest reading of temperature stands for all water below it: up to 0.8% of the "
        "water (2026-07-01, deepest at 8 m)",
    )


def test_mixed_water_has_no_thermocline_and_no_stability() -> None:
    table = stratification(bed(0, 10), profiles([0, 5, 10], [8, 8, 8]), reference=4.0)
    row = table.frame.iloc[0]
    assert row["state"] == "mixed"
    assert row[["thermocline_m", "metalimnion_top_m", "metalimnion_bottom_m"]].isna().all()
    assert row["schmidt_stability_j_m2"] == pytest.approx(0, abs=1e-9)
    assert row["mixed_layer_m"] == 10
    # derived: 10/3 m of water under each m2, 4 degrees above the reference
    assert row["heat_content_j_m2"] == pytest.approx(10 / 3 * 999.849 * 4186 * 4, rel=1e-5)
    assert row["heat_content_j"] == pytest.approx(row["heat_content_j_m2"] * 1e4)
    assert "no gradient reaches that in 1 of 1 rows: no thermocline there" in table.notes


def test_ice_makes_an_inverse_profile() -> None:
    water = profiles([0, 1, 2, 4, 10], [0.2, 2.5, 3.2, 3.8, 4.0], time="2027-01-20")
    row = stratification(bed(0, 10), water).frame.iloc[0]
    assert row["state"] == "inverse"
    assert row["thermocline_m"] == pytest.approx(0.5)
    assert row["schmidt_stability_j_m2"] > 0


def test_a_lower_surface_is_a_smaller_lake() -> None:
    # derived: 2 m below the datum a pyramid of 10 m is one of 8 m and 0.64 of the area
    read = ([0.0, 3.9999, 4.0001, 8.0], [20.0, 20.0, 10.0, 10.0])
    low = stratification(bed(0, 10), profiles(*read, surface_m=2.0)).frame.iloc[0]
    small = stratification(bed(-2, 8), profiles(*read, surface_m=0.0)).frame.iloc[0]
    for name in ("schmidt_stability_j_m2", "heat_content_j_m2", "heat_content_j"):
        assert low[name] == pytest.approx(small[name], rel=1e-9)
    assert low["schmidt_stability_j_m2"] == pytest.approx(22.930 * 0.8**2, rel=1e-3)
    assert low["thermocline_m"] == pytest.approx(4.0, abs=0.01)


def test_draws_of_the_bed_make_bands() -> None:
    floors = np.linspace(9, 11, 41)
    draws = np.vstack([np.zeros((4, 41)), floors])
    table = stratification(bed(0, 10, draws), profiles([0, 4, 5, 12], [20, 20, 10, 10]))
    row = table.frame.iloc[0]
    for name in ("schmidt_stability_{}j_m2", "heat_content_{}j", "heat_content_{}j_m2"):
        low, value, high = (row[name.format(end)] for end in ("low_", "", "high_"))
        assert low < value < high
    alone = stratification(bed(0, floors[2]), profiles([0, 4, 5, 12], [20, 20, 10, 10]))
    lowest = alone.frame["schmidt_stability_j_m2"][0]
    assert row["schmidt_stability_low_j_m2"] == pytest.approx(lowest, rel=1e-3)
    assert "low and high: 90 % band of 41 beds drawn" in table.notes


def test_stations_and_their_mean() -> None:
    hole, arm = profiles([0, 4, 5, 9], [20, 20, 10, 10]), profiles([0, 2], [22, 21])
    both = pd.concat([hole.frame.assign(station="hole"), arm.frame.assign(station="arm")])
    table = stratification(bed(0, 10), Profiles(both))
    assert table.frame["station"].tolist() == ["arm", "hole", "all"]
    assert table.frame["temperature_top_c"].tolist() == [22, 20, 21]
    only = stratification(bed(0, 10), Profiles(both), stations=("hole",))
    assert only.frame["station"].tolist() == ["hole"]


def test_one_depth_gaps_and_depths_not_read_from_the_top() -> None:
    one = stratification(bed(0, 10), profiles([0.5], [15])).frame.iloc[0]
    assert one["state"] == "one depth"
    assert one["schmidt_stability_j_m2"] == pytest.approx(0, abs=1e-9)
    gap = stratification(bed(0, 10), profiles([0, 2, 4, 8], [20, np.nan, 18, 8])).frame.iloc[0]
    assert gap["thermocline_m"] == pytest.approx(6.0)
    deep = stratification(bed(0, 10), profiles([3, 5, 8], [20, 12, 8])).frame.iloc[0]
    assert np.isnan(deep["schmidt_stability_j_m2"])
    assert deep["thermocline_m"] == pytest.approx(4.0)


def test_what_stratification_cannot_do() -> None:
    time = pd.to_datetime(["2026-07-01"], utc=True)
    oxygen = Profiles(pd.DataFrame({"time": time, "depth_m": [0.0], "oxygen_mg_l": [9.0]}))
    with pytest.raises(LayerError, match="needs temperatures, and the profiles hold none"):
        stratification(bed(0, 10), oxygen)
    with pytest.raises(ParameterError, match="step must be > 0 m, got 0"):
        stratification(bed(0, 10), profiles([0], [8]), step=0)


def test_the_summer_of_the_sample() -> None:
    """The invented lake warms, and its thermocline sinks until it mixes."""
    frame = pd.read_csv(SAMPLE / "profile.csv")
    sample = Profiles(frame.assign(time=pd.to_datetime(frame["date"], utc=True)))
    found = stratification(bed(0, 12), sample).frame
    summer = found[found["time"].dt.month.between(5, 9)]
    assert (summer["state"] == "stratified").all()
    # the depths of the step by which the sample was made (sample_layers/survey.py)
    np.testing.assert_allclose(summer["thermocline_m"], [4.0, 4.2, 4.6, 5.1, 5.9], atol=0.8)
    assert (np.diff(summer["thermocline_m"]) > 0).all()
    assert summer["schmidt_stability_j_m2"].idxmax() == summer["temperature_top_c"].idxmax()
