"""Two tables of one water are compared at the rows of the published one."""

from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from toolbox.errors import LayerError
from toolbox.formats.doors import read_table
from toolbox.layers import Table
from toolbox.units import convert
from toolbox.volume.table_comparison import compare_tables

SHARED = Path(__file__).resolve().parents[2].parent / "shared"
DATA = SHARED / "data" / "stage_area_volume"


def lake(levels: Any, *, factor: float = 1.0) -> Table:
    """Make a table of a paraboloid of 1e6 m2 and 10 m."""
    z = np.asarray(levels, float)
    columns = {
        "depth_m": z,
        "area_m2": 1e6 * (1 - z / 10) * factor,
        "volume_below_m3": 5e6 * (1 - z / 10) ** 2 * factor,
    }
    return Table(pd.DataFrame(columns))


def test_a_paraboloid_is_read_exactly_between_its_rows() -> None:
    # derived: its area is linear, so any rows of it are on the curve
    table = compare_tables(lake([0, 2, 7, 10]), lake(np.linspace(0, 10, 11)))
    assert not table.frame["departs"].any()
    np.testing.assert_allclose(table.frame["area_off_m2"], 0, atol=1e-6)
    np.testing.assert_allclose(table.frame["volume_off_m3"], 0, atol=1e-6)
    assert table.notes[0] == "0 of 11 rows depart by more than 1.00%"


def test_rows_that_depart_are_named_with_how_much() -> None:
    other = lake(np.linspace(0, 10, 11))
    frame = other.frame.copy()
    frame.loc[3, "area_m2"] *= 1.05
    frame.loc[5, "volume_below_m3"] /= 1.25
    table = compare_tables(lake([0, 5, 10]), Table(frame))
    assert np.flatnonzero(table.frame["departs"]).tolist() == [3, 5]
    assert table.frame["area_off_share"][3] == pytest.approx(1 / 1.05 - 1)
    assert table.frame["volume_off_share"][5] == pytest.approx(0.25)
    assert table.frame["volume_off_m3"][5] == pytest.approx(5e6 * 0.25 * 0.2)
    assert table.notes == (
        "2 of 11 rows depart by more than 1.00%",
        "between 3 and 5 m",
        "greatest departure of the area: 4.762% at 3 m",
        "greatest departure of the volume: 25.000% at 5 m",
    )


def test_water_where_the_published_table_has_none_departs() -> None:
    frame = lake(np.linspace(0, 10, 11)).frame.copy()
    frame.loc[8:, ["area_m2", "volume_below_m3"]] = 0.0  # silted up, says the former table
    table = compare_tables(lake([0, 5, 10]), Table(frame))
    # at 8 m 0.2 of the area; at 9 m 0.1; at 10 m nothing is left in either (derived)
    assert np.flatnonzero(table.frame["departs"]).tolist() == [8, 9]
    assert np.isnan(table.frame["area_off_share"][8])
    assert table.frame["area_off_m2"][8] == pytest.approx(2e5)


@pytest.mark.parametrize("up", [False, True])
def test_a_tank_has_one_area_at_all_levels(up: bool) -> None:
    z = np.linspace(0, 4, 9)
    columns = {"z": z, "A": 100.0, "V": 100 * z if up else 400 - 100 * z}
    tank = Table(pd.DataFrame(columns))
    frame = compare_tables(tank, tank, level="z", area="A", volume="V").frame
    assert not frame["departs"].any()
    assert frame["volume_m3"].tolist() == pytest.approx(columns["V"])


def test_feet_acres_and_another_zero() -> None:
    z = np.linspace(0, 10, 21)
    printed = pd.DataFrame(
        {
            "stage": convert(1000 - z, "m", "ft"),
            "acres": convert(1e6 * (1 - z / 10), "m^2", "acre"),
            "storage": convert(5e6 * (1 - z / 10) ** 2, "m^3", "acre_foot"),
        }
    )
    own = lake([0, 4, 10]).frame.assign(elevation_m=lambda frame: 50 - frame["depth_m"])
    table = compare_tables(
        Table(own),
        Table(printed),
        level="elevation_m",
        published_level="stage",
        published_area="acres",
        published_volume="storage",
        level_unit="ft",
        area_unit="acre",
        volume_unit="acre_foot",
        shift=-950.0,
    )
    assert len(table.frame) == 21
    np.testing.assert_allclose(table.frame["level_m"], 50 - z)
    np.testing.assert_allclose(table.frame["volume_off_m3"], 0, atol=1e-3)


@pytest.mark.skipif(not DATA.is_dir(), reason="needs the folder of open data beside the repository")
def test_every_other_row_of_a_published_table_tells_the_rest() -> None:
    # klimphyt, dam of Bautzen: above 157 m the rows between are met to 0.2 %
    whole = read_table(DATA / "bautzen.tsv")
    names = {"level": "level", "area": "area", "volume": "volume"}
    rows = [*range(0, 25, 2), 25]
    table = compare_tables(Table(whole.frame.iloc[rows]), whole, **names)
    upper = table.frame[table.frame["level_m"] > 157]
    assert len(upper) == 19
    assert upper["volume_off_share"].abs().max() < 0.002
    kept = table.frame.iloc[rows]
    np.testing.assert_allclose(kept["volume_off_m3"], 0, atol=1)
    np.testing.assert_allclose(kept["area_off_m2"], 0, atol=1e-6)


def test_levels_beyond_the_table_are_left_out() -> None:
    table = compare_tables(lake([2, 5, 8]), lake(np.linspace(0, 10, 11)))
    assert table.frame["level_m"].tolist() == [2, 3, 4, 5, 6, 7, 8]
    assert table.notes[0] == "left out: 4 levels beyond the table"
    # volumes of the table count from its own last row up
    np.testing.assert_allclose(table.frame["volume_off_m3"], 0, atol=1e-6)


def test_tables_with_no_level_in_common_are_refused() -> None:
    message = r"^the tables must share levels, one has 0 to 10 m, the published one 100 to 110 m$"
    with pytest.raises(LayerError, match=message):
        compare_tables(lake([0, 5, 10]), lake([0, 5, 10]), shift=100.0)
