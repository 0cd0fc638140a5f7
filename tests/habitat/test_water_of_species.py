"""Water is cut at the ends of layers, and what has no end in the water goes to its bottom."""

import numpy as np
import pandas as pd
import pytest

from toolbox.habitat.intervals import Interval
from toolbox.habitat.water_of_species import Moment, Water, water_rows
from toolbox.layers import Table

TABLE = Table(pd.DataFrame({"depth_m": [0.0, 10.0], "area_m2": [1000.0, 0.0]}))
WATER = Water.of_table(TABLE)
"""A trough of 1000 m2, 10 m deep: area 1000 - 100 z, volume below z 50 (10 - z)^2."""

DAY = pd.Timestamp("2026-07-01", tz="UTC")


def test_ends_of_layers() -> None:
    limited = Interval(2, 9, True, "temperature_c", "oxygen_mg_l")
    assert WATER.ends(limited, 0.0) == (2, 9)
    assert WATER.ends(limited, 1.5) == (3.5, 10.5)  # a limit ends it, below the bed
    assert WATER.ends(limited, -3.0) == (0, 6)  # what lies above the shore is not counted
    assert WATER.ends(limited, -9.5) == (0, 0)
    for beyond in ("bed", "unknown"):
        open_end = Interval(2, 9, True, "temperature_c", beyond)
        assert WATER.ends(open_end, 0.0) == (2, 9)
        assert WATER.ends(open_end, 1.0) == (3, WATER.bottom)
    assert WATER.bottom > WATER.bed == 10


def test_rows_by_hand() -> None:
    several = [
        Interval(0, 1, True, "surface", "oxygen_mg_l"),
        Interval(4, 7, True, "oxygen_mg_l", "unknown"),
        Interval(7, 11, False, "unknown", "bed"),
    ]
    moments = [
        Moment("a", DAY, 0.0, several),
        Moment("b", DAY, 0.0, []),
        Moment("c", DAY, 2.0, [Interval(0, 9, True, "surface", "bed")]),
    ]
    frame = water_rows(WATER, moments)
    # derived from the volume below a depth
    volumes = [50 * (10**2 - 9**2 + 6**2 - 3**2), 0, 50 * 8**2]
    assert frame["suitable_volume_m3"].tolist() == pytest.approx(volumes)
    assert frame["share"].tolist() == pytest.approx([volumes[0] / 5000, 0, 1])
    assert frame["bed_area_m2"].tolist() == pytest.approx([100 + 300, 0, 800])
    assert frame["unknown_volume_m3"].tolist() == pytest.approx([50 * 3**2, 0, 0])
    assert frame["layers"].tolist() == [2, 0, 1]
    assert frame["thickness_m"].tolist() == [3, 0, 8]
    assert frame["total_thickness_m"].tolist() == [4, 0, 8]
    assert frame["upper_depth_m"].tolist() == pytest.approx([4, np.nan, 0], nan_ok=True)
    assert frame["lower_limit"].tolist() == ["unknown", "", "bed"]
    assert frame["share_low"].isna().all()
