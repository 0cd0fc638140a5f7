"""Tables that contradict themselves are named at the right rows; good ones are left alone."""

from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from toolbox.errors import LayerError, ParameterError
from toolbox.formats.doors import read_table
from toolbox.layers import Table
from toolbox.volume.table_checks import check_table

SHARED = Path(__file__).resolve().parents[2].parent / "shared"
DATA = SHARED / "data" / "stage_area_volume"
NAMES: dict[str, Any] = {"level": "z", "area": "A", "volume": "V"}


def lake(count: int = 20, power: float = 1.4, *, up: bool = False, above: bool = False) -> Table:
    """Make a table of A = A0 (1 - z / zm)^p, printed to whole m2 and m3."""
    z = np.linspace(0, 10, count + 1)
    area = 1e6 * (1 - z / 10) ** power
    below = 1e7 / (power + 1) * (1 - z / 10) ** (power + 1)
    volume = below[0] - below if above else below
    columns = {"z": 300 - z if up else z, "A": area.round(), "V": volume.round()}
    return Table(pd.DataFrame(columns))


def changed(table: Table, row: int, **values: float) -> Table:
    """Change figures of a row counted from 1."""
    frame = table.frame.astype(float)
    for name, value in values.items():
        frame.loc[row - 1, name] = value
    return Table(frame)


def findings(table: Table, **options: Any) -> list[tuple[int, str]]:
    frame = check_table(table, **(NAMES | options)).frame
    return list(zip(frame["row"], frame["what"], strict=True))


# ---- published tables ----


@pytest.mark.skipif(not DATA.is_dir(), reason="needs the folder of open data beside the repository")
@pytest.mark.parametrize(
    ("file", "options"),
    [
        # klimphyt, dam of Bautzen; EDI edi.1254, Carvins Cove (litres); Wisconsin DNR, Long Lake
        ("bautzen.tsv", {"level": "level", "area": "area", "volume": "volume"}),
        (
            "carvins_cove.csv",
            {
                "level": "Depth_m",
                "area": "SA_m2",
                "volume": "Volume_below_L",
                "volume_unit": "litre",
            },
        ),
        ("long_lake_wi.csv", {"level": "elev_m", "area": "area_m2", "volume": "vol_m3"}),
    ],
)
def test_published_tables_hold_together(file: str, options: dict[str, Any]) -> None:
    table = check_table(read_table(DATA / file), **options)
    assert table.frame.empty
    assert table.notes[0].startswith("0 findings in 0 of ")


@pytest.mark.skipif(not DATA.is_dir(), reason="needs the folder of open data beside the repository")
def test_litres_taken_for_cubic_metres() -> None:
    table = read_table(DATA / "carvins_cove.csv")
    frame = check_table(table, level="Depth_m", area="SA_m2", volume="Volume_below_L").frame
    assert frame["what"].tolist() == ["unit"]
    assert frame["row"].isna().all()
    assert frame["found"][0] == pytest.approx(1000, rel=0.01)
    assert "as litres for cubic metres" in frame["text"][0]


@cache
def mead() -> Table:
    """Join the two tables of Lake Mead, US Bureau of Reclamation 2009: ft, acres, acre-ft."""
    areas, volumes = (read_table(DATA / f"mead_2009_{name}.txt").frame for name in ("area", "vol"))
    frame = areas.merge(volumes, on="1", suffixes=("_area", "_volume"))
    return Table(frame.set_axis(["z", "A", "V"], axis=1))


@pytest.mark.skipif(not DATA.is_dir(), reason="needs the folder of open data beside the repository")
def test_lake_mead_departs_where_its_areas_and_volumes_do_not_meet() -> None:
    """From 1085.5 to 1095 ft the volumes outrun the areas, by 0.2 to 0.5 %."""
    units = {"level_unit": "ft", "area_unit": "acre", "volume_unit": "acre_foot"}
    frame = check_table(mead(), **NAMES, **units).frame
    z, area, volume = (mead().column(name) for name in "zAV")
    held, height = np.diff(volume), np.diff(z)
    low, high = (height * area[:-1], height * area[1:])  # acre-ft that the areas allow
    impossible = np.flatnonzero((held > 1.001 * high + 1) | (held < 0.999 * low - 1)) + 2
    layers = frame[frame["what"] == "layer"]
    assert layers["row"].tolist() == impossible.tolist()
    inner = layers[layers["level"] < 1200]
    assert inner["level"].tolist() == np.arange(1086, 1095.1, 0.5).tolist()
    assert inner["off_share"].between(0.002, 0.006).all()
    gap = frame[frame["what"] == "gap"]
    assert gap["text"].tolist() == ["from 1230 to 1250 there is no row, the usual step is 0.5"]


@pytest.mark.skipif(not DATA.is_dir(), reason="needs the folder of open data beside the repository")
@pytest.mark.parametrize("row", range(3, 26))
@pytest.mark.parametrize(("column", "factor"), [("area", 2.47), ("volume", 1.5), ("level", 1.05)])
def test_a_published_table_made_inconsistent_is_named_there(
    row: int, column: str, factor: float
) -> None:
    table = read_table(DATA / "bautzen.tsv")
    names = {"level": "level", "area": "area", "volume": "volume"}
    frame = table.frame.astype(float)
    frame.loc[row - 1, column] *= factor
    found = check_table(Table(frame), **names).frame
    assert row in set(found["row"].dropna())
    # below 156 m areas double from row to row, and more than one figure could be to blame
    assert row < 5 or found[found["row"] == row]["what"].isin([column, "row"]).any()


# ---- made tables ----


@pytest.mark.parametrize("up", [False, True])
@pytest.mark.parametrize("above", [False, True])
def test_a_good_table_has_no_findings(up: bool, above: bool) -> None:
    assert findings(lake(up=up, above=above)) == []
    backward = Table(lake(up=up, above=above).frame.iloc[::-1].reset_index(drop=True))
    assert findings(backward) == []


@settings(max_examples=60, deadline=None)
@given(
    st.integers(8, 40),
    st.floats(0.6, 2.5),
    st.booleans(),
    st.booleans(),
    st.data(),
)
def test_one_corrupt_row_is_named(
    count: int, power: float, up: bool, above: bool, data: st.DataObject
) -> None:
    good = lake(count, power, up=up, above=above)
    row = data.draw(st.integers(2, count), label="row")
    column = data.draw(st.sampled_from("zAV"), label="column")
    size = data.draw(st.floats(1.3, 8), label="size")
    sign = data.draw(st.sampled_from([-1, 1]), label="sign")
    value = good.frame[column][row - 1]
    # an area must leave the range of its neighbours, a level pass one, a volume outweigh a layer
    around = good.frame[column][[row - 2, row]]
    if column == "A":
        value = around.max() * size if sign > 0 else around.min() / size - 2
    else:
        value += sign * size * np.ptp(around)
    frame = check_table(changed(good, row, **{column: max(value, -1e9)}), **NAMES).frame
    named = frame[frame["what"] != "gap"]["row"].dropna()
    assert row in set(named)


@pytest.mark.parametrize("row", [2, 7, 13, 19])
@pytest.mark.parametrize(("column", "what"), [("z", "level"), ("A", "area"), ("V", "volume")])
def test_only_that_row_is_named_and_its_column(row: int, column: str, what: str) -> None:
    good = lake()
    value = {"z": 9.9, "A": good.frame["A"][row - 1] * 3, "V": good.frame["V"][row - 1] * 1.6}
    if column == "z" and row == 19:
        value["z"] = 4.1
    found = findings(changed(good, row, **{column: value[column]}))
    assert [each for each in found if each[1] != "gap"] == [(row, what)]


def test_rows_that_stand_swapped_are_both_named() -> None:
    order = np.arange(21)
    for one, other in ((4, 5), (3, 12)):
        order[[one, other]] = [other, one]
        frame = lake().frame.iloc[order].reset_index(drop=True)
        assert findings(Table(frame)) == [(one + 1, "order"), (other + 1, "order")]
        order[[one, other]] = [one, other]


def test_a_row_that_stands_far_off_is_named_alone() -> None:
    order = np.r_[0:3, 4:15, 3, 15:21]
    assert findings(Table(lake().frame.iloc[order].reset_index(drop=True))) == [(14 + 1, "order")]


def test_a_row_given_twice() -> None:
    frame = lake().frame.iloc[[*range(6), 5, *range(6, 21)]].reset_index(drop=True)
    assert findings(Table(frame)) == [(7, "duplicate")]
    twice = changed(Table(frame), 7, A=1.0)
    assert (7, "area") in findings(twice)


def test_a_row_left_out_is_a_gap() -> None:
    frame = lake().frame.drop(index=8).reset_index(drop=True)
    table = check_table(Table(frame), **NAMES)
    assert table.frame[["row", "what"]].to_numpy().tolist() == [[8, "gap"]]
    assert table.frame["text"][0] == "from 3.5 to 4.5 there is no row, the usual step is 0.5"


def test_figures_left_out_are_named() -> None:
    table = changed(changed(lake(), 5, A=np.nan, V=np.nan), 9, z=np.nan)
    found = check_table(table, **NAMES).frame
    assert found[found["what"] == "missing"]["row"].tolist() == [5, 9]
    assert found["text"][0] == "row 5 has no A and no V"


def test_one_wrong_layer_carried_upward_is_one_finding() -> None:
    frame = lake().frame.copy()
    frame.loc[:7, "V"] += 5e5
    found = check_table(Table(frame), **NAMES).frame
    assert found[["row", "what"]].to_numpy().tolist() == [[8, "layer"]]
    assert found["found"][0] - found["expected"][0] == pytest.approx(5e5, rel=0.01)


def test_areas_alone() -> None:
    frame = changed(lake(), 9, A=8.5e5).frame.drop(columns="V")
    assert findings(Table(frame), volume=None) == [(9, "area")]
    unseen = "volumes were not looked at: volume names their column"
    assert unseen in check_table(Table(frame), level="z", area="A").notes
    assert unseen not in check_table(lake(), **NAMES).notes


@pytest.mark.parametrize(
    ("column", "factor", "text"),
    [
        ("z", 1 / 0.3048, "feet for metres"),
        ("A", 1 / 0.40468564224, "acres for hectares"),
        ("V", 1 / 1233.48183754752, "acre-feet for cubic metres"),
        ("A", 1e-4, "hectares for square metres"),
    ],
)
def test_a_whole_column_in_another_unit(column: str, factor: float, text: str) -> None:
    frame = lake().frame.copy()
    frame[column] *= factor
    found = check_table(Table(frame), **NAMES).frame
    assert found["what"].tolist() == ["unit"]
    assert text in found["text"][0]


def test_units_that_are_told_are_no_mistake() -> None:
    frame = lake().frame.copy()
    frame["z"] /= 0.3048
    frame["A"] /= 4046.8564224
    frame["V"] /= 1233.48183754752
    units = {"level_unit": "ft", "area_unit": "acre", "volume_unit": "acre_foot"}
    assert findings(Table(frame), **units) == []


def test_rounding_of_what_is_printed_is_no_contradiction() -> None:
    # three digits: a layer of the deepest water differs by more than its areas allow
    frame = lake(40).frame.copy()
    frame["A"] = (frame["A"] / 1e4).round(1)
    frame["V"] = (frame["V"] / 1e6).round(2)
    assert findings(Table(frame), area_unit="hectare", volume_unit="km^2 * m", tolerance=0.0) == []


@pytest.mark.parametrize("power", [0.6, 1.0, 1.4, 2.5])
@pytest.mark.parametrize("figures", [3, 4])
def test_rounding_to_figures_is_no_contradiction(power: float, figures: int) -> None:
    frame = lake(30, power).frame.copy()
    for name in "AV":
        frame[name] = [float(f"{value:.{figures}g}") for value in frame[name]]
    assert findings(Table(frame), tolerance=0.0) == []


@pytest.mark.parametrize("up", [False, True])
def test_volumes_printed_to_more_than_a_layer_are_no_contradiction(up: bool) -> None:
    frame = lake(100, up=up).frame.copy()
    frame["V"] = (frame["V"] / 1e5).round() * 1e5  # a layer is 1e5 at most
    assert findings(Table(frame)) == []


@pytest.mark.parametrize("power", [0.6, 1.0, 2.5])
def test_rounded_levels_are_no_contradiction(power: float) -> None:
    frame = lake(33, power).frame.copy()
    frame["z"] = frame["z"].round(2)  # steps of 0.303 m
    assert findings(Table(frame)) == []
    wrong = changed(Table(frame), 12, z=frame["z"][11] + 0.2)
    assert (12, "level") in findings(wrong)


@pytest.mark.parametrize("offset", [-2e5, 3e5])
@pytest.mark.parametrize("above", [False, True])
def test_volumes_that_count_from_elsewhere_are_no_contradiction(offset: float, above: bool) -> None:
    frame = lake(above=above).frame.copy()
    frame["V"] += offset  # as from a dead storage
    assert findings(Table(frame)) == []


def test_rows_below_the_bed_are_no_contradiction() -> None:
    frame = lake().frame
    dry = pd.DataFrame({"z": [10.5, 11.0, 11.5], "A": 0.0, "V": 0.0})
    assert findings(Table(pd.concat([frame, dry], ignore_index=True))) == []


@pytest.mark.parametrize("up", [False, True])
@pytest.mark.parametrize(
    ("column", "text"),
    [("A", "the areas from row"), ("V", "the volumes from row"), ("z", "the levels from row")],
)
def test_a_column_that_slipped_by_a_row_is_one_finding(column: str, text: str, up: bool) -> None:
    frame = lake(30, up=up).frame.copy()
    values = frame[column].to_numpy().copy()
    values[11:] = values[10:-1]
    frame[column] = values
    found = check_table(Table(frame), **NAMES).frame
    assert found["what"].tolist() == ["shifted"]
    assert abs(found["row"][0] - 12) <= 1
    assert found["text"][0].startswith(text)
    assert found["text"][0].endswith("on stand one row too low")


@pytest.mark.skipif(not DATA.is_dir(), reason="needs the folder of open data beside the repository")
@pytest.mark.parametrize("seed", range(12))
@pytest.mark.parametrize("column", ["area", "volume"])
def test_a_published_column_that_slipped_by_a_row_is_named(seed: int, column: str) -> None:
    rng = np.random.default_rng(seed)
    frame = read_table(DATA / "bautzen.tsv").frame.astype(float)
    frame = frame if rng.random() < 0.5 else frame.iloc[::-1].reset_index(drop=True)
    row = int(rng.integers(2, len(frame) - 5))
    values = frame[column].to_numpy().copy()
    values[row + 1 :] = values[row:-1]
    frame[column] = values
    names = {"level": "level", "area": "area", "volume": "volume"}
    found = check_table(Table(frame), **names).frame
    assert found["what"].tolist() == ["shifted"]
    assert abs(found["row"][0] - (row + 2)) <= 1


def test_a_factor_that_the_layers_do_not_share_is_no_unit() -> None:
    frame = lake(12, 2.5).frame.copy()
    frame["A"] *= np.linspace(2.5, 1.2, 13)  # no one unit of the column
    found = findings(Table(frame))
    assert "unit" not in {what for _, what in found}
    assert found


def test_a_long_table_is_checked_in_little_time() -> None:
    table = changed(lake(3000), 1500, V=1.0)
    assert findings(table) == [(1500, "volume")]


def test_refusals() -> None:
    message = r"^the table must have three whole rows or more, got 2$"
    with pytest.raises(LayerError, match=message):
        check_table(Table(lake().frame.head(2)), **NAMES)
    with pytest.raises(LayerError, match=r"^the table has no column 'depth_m', only \['z', "):
        check_table(lake())
    with pytest.raises(ParameterError, match=r"^cannot convert 'parsnip' to 'm': "):
        check_table(lake(), **NAMES, level_unit="parsnip")
    with pytest.raises(ParameterError, match=r"^tolerance must be >= 0 and <= 1, got 2\.0$"):
        check_table(lake(), **NAMES, tolerance=2.0)
