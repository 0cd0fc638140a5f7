"""A cast log refuses what it cannot be."""

import numpy as np
import pandas as pd
import pytest

from toolbox.errors import LayerError
from toolbox.layers import CastLog


def casts(**columns: object) -> pd.DataFrame:
    facts = {"cast": ["1", "2"], "easting": 0.0, "northing": 0.0, "bearing": 10.0, "line_out": 40.0}
    return pd.DataFrame(facts | columns)


PINGS = pd.DataFrame({"cast": [1, 2], "seconds": [0.0, 1.0], "depth": [1.0, 2.0]})


def test_what_is_missing_is_filled_as_unknown() -> None:
    filled = CastLog(casts(), PINGS, None).casts
    assert (filled["rod_tip"] == 0).all()
    assert filled[["speed", "arrival", "water_level", "start"]].isna().all().all()


@pytest.mark.parametrize(
    ("columns", "message"),
    [
        ({"cast": ["1", "1"]}, "cast '1' is in the log twice"),
        ({"cast": ["1", "3"]}, "pings name cast '2', which is not in the log"),
        ({"line_out": [40.0, 0.0]}, "cast '2': line_out must be more than 0 m, got 0"),
        ({"rod_tip": [-1.0, 0.0]}, "cast '1': rod_tip must be 0 m or more, got -1"),
        ({"bearing": [np.nan, 0.0]}, "cast '1': bearing must be a number of degrees, got nan"),
        ({"speed": [0.5, -0.5]}, "cast '2': speed must be more than 0 m/s, or empty, got -0.5"),
        ({"arrival": [0.0, 9.0]}, "cast '1': arrival must be more than 0 s, or empty, got 0"),
    ],
)
def test_refuses(columns: dict[str, object], message: str) -> None:
    with pytest.raises(LayerError, match=message):
        CastLog(casts(**columns), PINGS, None)


def test_needs_its_columns() -> None:
    with pytest.raises(LayerError, match=r"casts need columns \['bearing'\]"):
        CastLog(casts().drop(columns="bearing"), PINGS, None)
    with pytest.raises(LayerError, match=r"pings need columns \['depth'\]"):
        CastLog(casts(), PINGS.drop(columns="depth"), None)
