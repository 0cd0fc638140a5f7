"""What a page draws equals the tables and the bed it was made of."""

import json
from typing import Any

import numpy as np
import pytest
from pyproj import Transformer

from toolbox.layers import Table
from toolbox.report.page import MapLayers, PageTables
from toolbox.report.page.gather import LEVELS, fine_levels, gathered
from toolbox.report.styles.colours import FORMS, PLAN
from toolbox.volume.hypsography import area_and_volume


@pytest.fixture(scope="module")
def data(layers: MapLayers, tables: PageTables) -> dict[str, Any]:
    return gathered(layers, tables, datum=212.4, foot="international")


def test_is_json(data: dict[str, Any]) -> None:
    assert json.loads(json.dumps(data, allow_nan=False)) == data


def test_forms_have_the_colours_of_the_pictures(data: dict[str, Any]) -> None:
    assert data["forms"] == FORMS
    assert data["planned"] == PLAN


def test_rows_of_the_table_are_among_the_levels(data: dict[str, Any], tables: PageTables) -> None:
    frame, curve = tables.hypsography.frame, data["curve"]
    place = [curve["depth_m"].index(float(f"{depth:.10g}")) for depth in frame["depth_m"]]
    for name in frame:
        told = np.array([curve[name][row] for row in place], float)
        np.testing.assert_allclose(told, frame[name], rtol=1e-9, atol=1e-9)


def test_levels_between_are_those_of_the_bed(data: dict[str, Any], layers: MapLayers) -> None:
    depth = np.array(data["curve"]["depth_m"])
    assert len(depth) >= LEVELS
    area, volume = area_and_volume(layers.bed, depth)
    np.testing.assert_allclose(data["curve"]["area_m2"], area, rtol=1e-6, atol=1e-3)
    np.testing.assert_allclose(data["curve"]["volume_below_m3"], volume, rtol=1e-6, atol=1e-3)


def test_fine_levels_keep_the_rows() -> None:
    import pandas as pd

    levels = fine_levels(Table(pd.DataFrame({"depth_m": [0.0, 1.234567, 10.0]})))
    assert 1.234567 in levels
    assert len(levels) == LEVELS + 1


def test_feet_are_those_asked_for(
    data: dict[str, Any], layers: MapLayers, tables: PageTables
) -> None:
    survey = gathered(layers, tables, datum=None, foot="survey")["units"]
    assert data["units"]["m"] == pytest.approx(1 / 0.3048, rel=1e-12)
    # 1200/3937 m: National Bureau of Standards, Federal Register 24 FR 5348, 1959
    assert survey["m"] == pytest.approx(3937 / 1200, rel=1e-12)
    # an acre is 43560 square feet: NIST Handbook 44 (2023), appendix C
    assert data["units"]["m2"] == pytest.approx(1 / (43560 * 0.3048**2), rel=1e-12)


def test_degrees_are_those_of_the_corners(data: dict[str, Any], layers: MapLayers) -> None:
    left, bottom, right, top = layers.depth.bounds
    to_degrees = Transformer.from_crs("EPSG:32633", "EPSG:4326", always_xy=True)
    net = data["degrees"]
    for place, corner in ((0, (left, top)), (-1, (right, bottom))):
        told = net["longitude"][place], net["latitude"][place]
        np.testing.assert_allclose(told, to_degrees.transform(*corner), atol=1e-7)


def test_layers_that_are_not_there_are_left_out(layers: MapLayers, tables: PageTables) -> None:
    few = MapLayers(layers.bed, layers.shoreline, layers.depth)
    data = gathered(few, tables, datum=None, foot="international")
    assert data["shapes"] == {}
    assert data["soundings"] is None
    assert list(data["grids"]) == ["depth"]
