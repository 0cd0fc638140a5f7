"""Stage tables: storage by elevation, split at outlets, in both systems of units."""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from scipy.stats import norm

from toolbox.errors import LayerError, ParameterError
from toolbox.layers import Tin, VertexKind
from toolbox.units import MetreOrFoot
from toolbox.volume.hypsography import area_and_volume
from toolbox.volume.stage import Foot, customary, stage_table


def wedge(**changes: Any) -> Tin:
    """Make a reservoir 300 m by 40 m, its bed a plane from the shore down to 10 m at the dam."""
    vertices = np.array([[0, 0], [300, 0], [300, 40], [0, 40]], float)
    kind = np.array([VertexKind.SHORELINE, VertexKind.OPEN_EDGE] * 2)[[0, 1, 1, 0]]
    triangles = np.array([[0, 1, 2], [0, 2, 3]])
    bed = Tin(vertices, np.array([0, 10, 10, 0.0]), triangles, kind, None)
    return replace(bed, **changes)


def test_wedge_by_elevation() -> None:
    # derived: with y m of water at the dam, 30 y long and 40 wide: area 1200 y, storage 600 y^2
    frame = stage_table(wedge(), datum=105.0, step=2.0).frame
    assert frame["elevation_m"].tolist() == [95, 96, 98, 100, 102, 104, 105]
    y = frame["elevation_m"] - 95
    assert frame["depth_m"].tolist() == [10, 9, 7, 5, 3, 1, 0]
    np.testing.assert_allclose(frame["area_m2"], 1200 * y, atol=1e-9)
    np.testing.assert_allclose(frame["storage_m3"], 600 * y**2, atol=1e-9)


def test_centimetres_and_tenths_of_feet() -> None:
    frame = stage_table(wedge(), datum=105.0, step=0.01).frame
    assert len(frame) == 1001
    np.testing.assert_allclose(
        frame["storage_m3"], 600 * (frame["elevation_m"] - 95) ** 2, atol=1e-6
    )
    feet = stage_table(wedge(), datum=105.0, step=0.03048).frame["elevation_ft"]
    tenths = feet[1:-1] * 10
    np.testing.assert_allclose(tenths, np.round(tenths), atol=1e-7)
    survey = stage_table(wedge(), datum=105.0, step=120 / 3937, foot="survey").frame["elevation_ft"]
    np.testing.assert_allclose(survey[1:-1] * 10, np.round(survey[1:-1] * 10), atol=1e-7)


@pytest.mark.parametrize(("unit", "foot"), [("ft", "international"), ("survey_foot", "survey")])
def test_a_step_left_out_is_round_in_feet(unit: MetreOrFoot, foot: Foot) -> None:
    # derived: a tenth of 10 m is 3.28 ft, of which 2 ft is the next smaller of 1, 2 and 5
    feet = stage_table(wedge(), datum=105.0, foot=foot, unit=unit).frame["elevation_ft"]
    np.testing.assert_allclose(feet[1:-1], np.arange(312, 346, 2), atol=1e-6)


def test_the_two_feet() -> None:
    # Federal Register 2020-21902 and NIST: metres of a survey foot; acres and acre-feet derived
    one = np.array([1.0])
    survey = customary(one * 1200 / 3937, one * 4046.872610, one * 1233.489238, "survey")
    whole = customary(one * 0.3048, one * 4046.8564224, one * 1233.48183754752, "international")
    for columns in (survey, whole):
        assert list(columns) == ["elevation_ft", "area_acre", "storage_acre_ft"]
        np.testing.assert_allclose(np.array(list(columns.values())), 1, rtol=1e-9)
    elevation = customary(one * 500_000, one, one, "survey")["elevation_ft"][0]
    other = customary(one * 500_000, one, one, "international")["elevation_ft"][0]
    assert (other - elevation) * 0.3048 == pytest.approx(1.0, abs=1e-5)  # 1 m in 500 km


def test_dead_and_active_storage_and_surcharge_sum_to_all() -> None:
    table = stage_table(wedge(), datum=105.0, step=1.0, dead=97.0, full=103.0)
    frame = table.frame.set_index("elevation_m")
    parts = frame[["dead_m3", "active_m3", "surcharge_m3"]]
    np.testing.assert_allclose(parts.sum(axis=1), frame["storage_m3"], atol=1e-9)
    # derived: 600 y^2 at 2, 8 and 10 m of water
    np.testing.assert_allclose(parts.loc[105.0], [2400, 38400 - 2400, 60000 - 38400])
    np.testing.assert_allclose(parts.loc[96.0], [600, 0, 0], atol=1e-9)
    np.testing.assert_allclose(parts.loc[100.0], [2400, 15000 - 2400, 0], atol=1e-9)
    assert frame["active_acre_ft"].loc[105.0] == pytest.approx(36000 / 1233.48183754752)
    assert table.notes == (
        "feet, acres and acre-feet of the international foot",
        "active storage from 97 to 103 m: 36000 m3",
    )
    assert "dead_m3" not in stage_table(wedge(), datum=105.0).frame


def test_without_a_dead_outlet_all_below_full_is_active() -> None:
    frame = stage_table(wedge(), datum=105.0, step=5.0, full=100.0).frame
    assert frame["dead_m3"].tolist() == [0, 0, 0]
    np.testing.assert_allclose(frame["active_m3"], [0, 15000, 15000])
    np.testing.assert_allclose(frame["surcharge_m3"], [0, 0, 45000])


def test_from_bottom_to_top() -> None:
    frame = stage_table(wedge(), datum=105.0, step=1.0, bottom=94.5, top=97.5).frame
    assert frame["elevation_m"].tolist() == [94.5, 95, 96, 97, 97.5]
    np.testing.assert_allclose(frame["storage_m3"], [0, 0, 600, 2400, 3750], atol=1e-9)


def test_a_fitted_bed_brings_its_band() -> None:
    # derived: draws of the wedge f times as deep hold f times as much; 6th and 96th of 101
    factors = 1 + 0.1 * norm.ppf((np.arange(101) + 0.5) / 101)
    bed = wedge(draws=wedge().depth[:, None] * factors)
    frame = stage_table(bed, datum=105.0, step=5.0).frame
    assert frame["storage_low_m3"].iloc[-1] == pytest.approx(60000 * factors[5])
    assert frame["storage_high_m3"].iloc[-1] == pytest.approx(60000 * factors[95])
    assert (frame["area_low_m2"] <= frame["area_high_m2"]).all()
    plain = area_and_volume(bed, np.array([5.0]))[1][0]
    assert frame["storage_low_m3"].iloc[1] < plain < frame["storage_high_m3"].iloc[1]
    message = r"^step must give at most 198,019 rows for a bed of 101 draws, got 200,001$"
    with pytest.raises(ParameterError, match=message):
        stage_table(bed, datum=105.0, step=5e-5)


@pytest.mark.parametrize(
    ("options", "message"),
    [
        ({"top": 105.5}, r"^top must be at or below the highest water known, 105 m, got 105\.5$"),
        ({"bottom": 100.0, "top": 100.0}, r"^bottom must be below top, got 100 and 100 m$"),
        ({"dead": 103.0, "full": 100.0}, r"^dead must be below full, got 103 and 100 m$"),
        ({"full": 106.0}, r"^full must be below top, got 106 and 105 m$"),
        ({"bottom": 98.0, "dead": 97.0}, r"^bottom must be below dead, got 98 and 97 m$"),
        ({"step": 0.0}, r"^step must be > 0 m, got 0\.0$"),
        ({"step": 1e-6}, r"^step must give at most 1,000,000 rows over 10 m, got 1e-06 m$"),
        ({"foot": "royal"}, r"^foot must be one of 'international', 'survey', got 'royal'$"),
    ],
)
def test_refusals(options: dict[str, Any], message: str) -> None:
    with pytest.raises(ParameterError, match=message):
        stage_table(wedge(), datum=105.0, **options)


def test_a_bed_without_water_is_refused() -> None:
    bed = wedge(depth=np.zeros(4))
    message = r"^the bed is nowhere deeper than the water's edge, there is no water in it$"
    with pytest.raises(LayerError, match=message):
        stage_table(bed, datum=105.0)
