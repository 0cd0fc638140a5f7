"""The coldest water with 3 mg/L, on lines where it can be worked out."""

import numpy as np
import pandas as pd
import pytest

from toolbox.errors import LayerError
from toolbox.habitat.refuge import oxygen_refuge
from toolbox.layers import Profiles


def visits(*several: tuple[float, list[float], list[float], list[float]]) -> Profiles:
    """Day, depths, temperatures and oxygen of each visit."""
    frames = [
        pd.DataFrame(
            {
                "time": pd.Timestamp("2026-07-01", tz="UTC") + pd.Timedelta(days=day),
                "depth_m": depth,
                "temperature_c": warm,
                "oxygen_mg_l": rich,
            }
        )
        for day, depth, warm, rich in several
    ]
    return Profiles(pd.concat(frames))


@pytest.mark.parametrize(
    ("bottom", "warmth", "tier"), [(5.0, 11.0, 1), (6.0, 11.7, 2), (14.0, 17.3, 3)]
)
def test_oxygen_that_falls_with_depth(bottom: float, warmth: float, tier: int) -> None:
    # derived: DO = 10 - z is 3 mg/L at 7 m, where T = 25 - (25 - bottom) 7 / 10;
    # tiers at 11 and 17 degrees Celsius from memory (after Fang, Jiang and others)
    table = oxygen_refuge(visits((0, [0, 10], [25, bottom], [10, 0])))
    assert list(table.frame.columns) == ["time", "tdo3_c", "depth_m", "tier", "read_at"]
    (row,) = table.frame.to_dict("records")
    assert row["tdo3_c"] == pytest.approx(warmth)
    assert row["depth_m"] == pytest.approx(7.0)
    assert (row["tier"], row["read_at"]) == (tier, "oxygen 3 mg/L")


def test_rich_to_the_last_reading() -> None:
    (row,) = oxygen_refuge(visits((0, [0, 5, 9], [20, 9, 6], [9, 8, 7]))).frame.to_dict("records")
    assert (row["tdo3_c"], row["depth_m"], row["read_at"]) == (6, 9, "deepest reading")


def test_coldest_water_above_warmer() -> None:
    # under ice
    (row,) = oxygen_refuge(visits((0, [0, 4, 9], [0.5, 3, 4], [12, 10, 7]))).frame.to_dict(
        "records"
    )
    assert (row["tdo3_c"], row["depth_m"], row["read_at"]) == (0.5, 0, "coldest water")


def test_no_water_with_enough_oxygen() -> None:
    (row,) = oxygen_refuge(visits((0, [0, 9], [20, 9], [2, 0]))).frame.to_dict("records")
    assert np.isnan(row["tdo3_c"])
    assert (row["tier"], row["read_at"]) == (0, "")


def test_between_visits() -> None:
    profiles = visits((0, [0, 10], [20, 10], [10, 0]), (10, [0, 10], [24, 14], [12, 2]))
    frame = oxygen_refuge(profiles, step_days=5).frame
    # derived: in the middle DO = 11 - z is 3 at 8 m, where T = 22 - z is 14
    assert frame["tdo3_c"].tolist() == pytest.approx([13, 14, 15])
    assert frame["depth_m"].tolist() == pytest.approx([7, 8, 9])


def test_both_measures_are_needed() -> None:
    frame = visits((0, [0, 10], [20, 10], [10, 0])).frame
    with pytest.raises(LayerError, match="profiles need oxygen_mg_l, nobody read it"):
        oxygen_refuge(Profiles(frame.drop(columns="oxygen_mg_l")))
