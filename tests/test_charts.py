"""The gallery's charts: they draw the figures of the table, in its units, depths downward."""

import importlib
import math
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np
import pandas as pd
import pytest

from toolbox.formats.picture_file import figure_of

GALLERY = Path(__file__).resolve().parents[1] / "docs" / "gallery"

HYPSOGRAPHY = pd.DataFrame(
    {
        "depth_m": [0.0, 1.0, 2.0],
        "area_m2": [30_000.0, 20_000.0, 0.0],
        "area_low_m2": [29_000.0, 18_000.0, 0.0],
        "area_high_m2": [31_000.0, 22_000.0, 0.0],
        "volume_below_m3": [40_000.0, 12_000.0, 0.0],
    }
)
MEASURES = pd.DataFrame(
    {
        "measure": ["mean depth", "greatest depth", "volume", "volume sd"],
        "value": [2.0, 5.0, 9_000.0, 10.0],
        "low": [1.5, 4.0, 8_000.0, np.nan],
        "high": [2.5, 6.0, 9_900.0, np.nan],
        "unit": ["m", "m", "m3", "m3"],
    }
)


@pytest.fixture
def chart(monkeypatch: pytest.MonkeyPatch) -> ModuleType:
    monkeypatch.syspath_prepend(GALLERY)
    return importlib.import_module("chart")


@pytest.fixture
def rows(monkeypatch: pytest.MonkeyPatch) -> ModuleType:
    monkeypatch.syspath_prepend(GALLERY)
    return importlib.import_module("chart_rows")


def axes_of(chart: ModuleType, frame: pd.DataFrame, *declared: dict[str, Any]) -> list[Any]:
    axes: list[Any] = figure_of(chart.chart(frame, list(declared), GALLERY)).axes
    return axes


def test_curves_over_depth_go_down_with_figures_of_each_unit_apart(chart: ModuleType) -> None:
    shown = {"kind": "curve", "along": "depth_m", "show": ["area_m2", "volume_below_m3"]}
    area, volume = axes_of(chart, HYPSOGRAPHY, shown)
    assert area.get_ylim()[0] > area.get_ylim()[1] == 0
    assert [axes.get_xlabel() for axes in (area, volume)] == ["area (ha)", "volume below (1000 m³)"]
    assert area.get_ylabel() == "depth (m)"
    np.testing.assert_allclose(area.lines[0].get_xydata(), [[3, 0], [2, 1], [0, 2]])
    np.testing.assert_allclose(volume.lines[0].get_xdata(), [40, 12, 0])


def test_bands_reach_from_the_low_to_the_high_figure(chart: ModuleType) -> None:
    (axes,) = axes_of(
        chart, HYPSOGRAPHY, {"kind": "curve", "along": "depth_m", "show": ["area_m2"]}
    )
    (band,) = axes.collections
    corners = {tuple(corner) for corner in band.get_paths()[0].vertices.round(6)}
    assert {(2.9, 0.0), (3.1, 0.0), (1.8, 1.0), (2.2, 1.0)} <= corners


def test_rows_of_one_unit_share_axes_and_others_do_not(chart: ModuleType) -> None:
    shown = {"kind": "range", "names": ["measure"], "show": ["value"], "unit": "unit"}
    depths, volumes = axes_of(chart, MEASURES, shown)
    assert [text.get_text() for text in depths.get_yticklabels()] == [
        "mean depth",
        "greatest depth",
    ]
    assert (depths.get_xlabel(), volumes.get_xlabel()) == ("m", "m³")
    bands = [(bar.get_x(), bar.get_x() + bar.get_width()) for bar in depths.patches[:2]]
    assert bands == [(1.5, 2.5), (4.0, 6.0)]
    assert [line.get_xdata()[0] for line in volumes.lines] == [9_000.0, 10.0]


def test_rows_are_chosen_by_name_in_the_order_given(chart: ModuleType) -> None:
    shown = {"kind": "range", "names": ["measure"], "show": ["value"], "unit": "unit"}
    (axes,) = axes_of(chart, MEASURES, shown | {"rows": ["greatest*", "mean*"]})
    assert [text.get_text() for text in axes.get_yticklabels()] == ["greatest depth", "mean depth"]


def test_without_bands_there_are_bars_from_zero(chart: ModuleType) -> None:
    bare = MEASURES.drop(columns=["low", "high"])
    shown = {"kind": "range", "names": ["measure"], "show": ["value"], "where": {"unit": "m"}}
    (axes,) = axes_of(chart, bare, shown)
    assert [bar.get_width() for bar in axes.patches] == [2.0, 5.0]
    assert axes.get_xlim()[0] == 0


def test_a_band_of_90_per_cent_is_made_of_a_standard_deviation(rows: ModuleType) -> None:
    # 0.05 of a normal spread lies beyond 1.6449 sd: Abramowitz & Stegun 1964, Table 26.5
    frame = pd.DataFrame({"offset_m": [1.0], "sd_m": [0.1]})
    low, high = rows.ends_of(frame, "offset_m", rows.Chart("range", sd="sd_m"))
    assert (high - low)[0] == pytest.approx(2 * 1.6449 * 0.1, rel=1e-3)


def test_a_span_without_an_end_goes_on_to_the_edge(chart: ModuleType) -> None:
    limits = pd.DataFrame({"species": ["a", "b"], "least": [4.0, 2.0], "most": [np.nan, 6.0]})
    shown = {"kind": "spans", "names": ["species"], "low": "least", "high": "most"}
    (axes,) = axes_of(chart, limits, shown)
    ends = [(bar.get_x(), bar.get_x() + bar.get_width()) for bar in axes.patches]
    assert ends[1] == (2.0, 6.0)
    assert ends[0][0] == 4.0
    assert ends[0][1] > 6.0


def test_layers_lie_at_their_depths(chart: ModuleType) -> None:
    layers = pd.DataFrame({"top_m": [0.0, 2.0], "bottom_m": [2.0, 6.0], "share": [0.25, 0.75]})
    (axes,) = axes_of(chart, layers, {"kind": "layers", "show": ["share"]})
    assert axes.get_ylim() == (6.0, 0.0)
    middles = [bar.get_y() + bar.get_height() / 2 for bar in axes.patches]
    np.testing.assert_allclose(middles, [1, 4])
    assert [bar.get_width() for bar in axes.patches] == [25.0, 75.0]


def test_marks_stand_on_the_rows_behind_them(chart: ModuleType) -> None:
    wrong = pd.DataFrame({"level": [68.0], "found": [57.3]})
    marks = [{"upright": "level", "show": "found", "name": "wrong", "sign": "x"}]
    file = {"of": "inputs/stage.csv", "along": "level_ft", "show": ["volume_acre_foot"]}
    (axes,) = axes_of(chart, wrong, {"kind": "curve", "marks": marks} | file)
    table, mark = axes.lines
    assert mark.get_xydata().tolist() == [[57.3, 68.0]]
    assert [57.3, 68.0] in table.get_xydata().tolist()
    assert axes.get_ylim()[0] < axes.get_ylim()[1]


@pytest.mark.parametrize(
    ("column", "told"),
    [
        ("depth_m", "depth (m)"),
        ("oxygen_mg_l", "oxygen (mg/L)"),
        ("area_share", "area share (%)"),
        ("attenuation_per_m", "attenuation (1/m)"),
        ("fish_before", "fish before"),
    ],
)
def test_labels_tell_the_unit_that_a_column_ends_in(
    column: str, told: str, rows: ModuleType
) -> None:
    assert rows.label(column) == told


def test_figures_in_words_are_read_with_their_range(rows: ModuleType) -> None:
    assert rows.parsed("9.504 ha (9.268 to 9.740 ha) = 23.48 acre") == (9.504, 9.268, 9.74, "ha")
    assert rows.parsed("20 /ha (10 /ha to 40 /ha)") == (20, 10, 40, "/ha")
    value, low, high, unit = rows.parsed("2,471.05 /ha")
    assert (value, unit) == (2471.05, "/ha")
    assert math.isnan(low)
    assert math.isnan(high)


def test_a_declaration_that_fits_nothing_is_refused(chart: ModuleType) -> None:
    with pytest.raises(ValueError, match="no rows to chart"):
        axes_of(chart, MEASURES, {"kind": "range", "show": ["value"], "where": {"unit": "kg"}})
    with pytest.raises(TypeError, match="'colour'"):
        axes_of(chart, MEASURES, {"kind": "range", "show": ["value"], "colour": "red"})
    with pytest.raises(KeyError, match="'volume_m3'"):
        axes_of(chart, MEASURES, {"kind": "range", "names": ["measure"], "show": ["volume_m3"]})
