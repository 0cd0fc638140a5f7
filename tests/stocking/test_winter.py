"""Winter shares: a published lake, a wedge, and rules that hold, fail or are not certain."""

from typing import Any

import numpy as np
import pandas as pd
import pytest

from toolbox.errors import LayerError, ParameterError
from toolbox.layers import Table, Tin, VertexKind
from toolbox.stocking.winter import rule_rows, share_rows, winter_shares
from toolbox.water.water_layers import WaterLayers

FOOT = 0.3048

# waterontheweb.org, Ice Lake morphometry, Tables 1 and 2: area at the top of each metre, ha
ICE_LAKE = [16.6, 15.4, 14.2, 13.0, 11.8, 10.7, 9.49, 8.30, 7.11, 5.93, 4.75, 3.57, 2.38, 1.20,
            0.060, 0.029, 0.0]  # fmt: skip


def wedge(deepest: float, draws: np.ndarray | None = None) -> Tin:
    vertices = np.array([[0, 0], [100, 0], [100, 50], [0, 50]], float)
    kind = np.array([VertexKind.SHORELINE] * 4)
    triangles = np.array([[0, 1, 2], [0, 2, 3]])
    depth = np.array([0, deepest, deepest, 0])
    return Tin(vertices, depth, triangles, kind, None, None, draws)


def rules(table: Table) -> dict[str, Any]:
    rows = table.frame[table.frame["kind"] == "rule"]
    return dict(zip(rows["rule"], rows.to_dict("records"), strict=True))


def test_ice_lake_passes() -> None:
    table = Table(pd.DataFrame({"depth_m": np.arange(17.0), "area_m2": np.array(ICE_LAKE) * 1e4}))
    cuts = np.array([0, 2, 7, 8, 10]) * FOOT
    layers = WaterLayers.of_table(table, cuts)
    eight, ten = (row["share"] for row in share_rows(layers, 0.0, (8 * FOOT, 10 * FOOT)))
    # derived from the published areas by linear interpolation
    assert eight == pytest.approx(0.824, abs=5e-4)
    assert ten == pytest.approx(0.780, abs=5e-4)
    assert [row["met"] for row in rule_rows(layers, 0.0)] == ["yes"] * 5


def test_a_wedge() -> None:
    # derived: of a wedge to 10 ft the share deeper than d is 1 - d / 10
    table = winter_shares(wedge(10 * FOOT))
    shares = table.frame[table.frame["kind"] == "share"]
    assert shares["depth_ft"].tolist() == pytest.approx([2, 7, 8, 10])
    assert shares["share"].tolist() == pytest.approx([0.8, 0.3, 0.2, 0.0], abs=1e-12)
    assert shares["area_m2"].tolist() == pytest.approx([4000, 1500, 1000, 0], abs=1e-9)
    found = {name: row["met"] for name, row in rules(table).items()}
    assert found == {
        "mildest reading": "no",
        "strictest reading": "no",
        "above 6000 ft of elevation": "no",
        "with continuous inflow": "no",
        "shallow water, under 2 ft": "yes",
    }
    shallow = rules(table)["shallow water, under 2 ft"]
    assert shallow["share"] == pytest.approx(0.2)
    assert shallow["wanted"] == "at most 0.2"
    assert any("ice is never safe" in note for note in table.notes)


def test_a_wedge_of_forty_feet_passes() -> None:
    assert {row["met"] for row in rules(winter_shares(wedge(40 * FOOT))).values()} == {"yes"}


def test_a_band_that_holds_the_limit_is_not_certain() -> None:
    # derived: deeper than 8 ft are 1 - 8 / d of a wedge to d ft; 0.25 at 10.67 ft
    scales = np.linspace(0.9, 1.1, 21)
    deepest = 8 / 0.75 * FOOT
    table = winter_shares(wedge(deepest, np.outer([0, deepest, deepest, 0], scales)))
    row = rules(table)["mildest reading"]
    assert row["share_low"] < 0.25 < row["share_high"]
    assert row["met"] == "not certain"


def test_low_water_of_the_winter() -> None:
    # derived: 2 ft down, a wedge to 12 ft is one to 10 ft
    table = winter_shares(wedge(12 * FOOT), level=2 * FOOT, depths=(8 * FOOT,))
    assert table.frame["share"].iloc[0] == pytest.approx(0.2)
    assert table.frame["area_m2"].iloc[0] == pytest.approx(5000 / 6)


def test_what_cannot_be_told_is_refused() -> None:
    with pytest.raises(ParameterError, match=r"level must be 0 m or more, .* got -1$"):
        winter_shares(wedge(3.0), level=-1.0)
    with pytest.raises(ParameterError, match=r"depths must name each depth once"):
        winter_shares(wedge(3.0), depths=(1.0, 1.0))
    with pytest.raises(LayerError, match="there is no water in the bed at level 3 m"):
        winter_shares(wedge(3.0), level=3.0)
