"""Volumes to treat and doses: published conversions, layers that sum, units that must be said."""

import math
from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from toolbox.errors import LayerError, ParameterError
from toolbox.layers import Table, Tin, VertexKind
from toolbox.stocking.treatment import CAUTION, dose, treatment_volume
from toolbox.units import convert


def wedge(draws: np.ndarray | None = None) -> Tin:
    """Make a pond 100 m by 50 m, from the shore down to 4 m."""
    vertices = np.array([[0, 0], [100, 0], [100, 50], [0, 50]], float)
    kind = np.array([VertexKind.SHORELINE] * 4)
    triangles = np.array([[0, 1, 2], [0, 2, 3]])
    return Tin(vertices, np.array([0, 4, 4, 0.0]), triangles, kind, None, None, draws)


def water(*volumes: float, unit: str = "acre_foot") -> Table:
    return Table(pd.DataFrame({"volume_m3": convert(np.array(volumes), unit, "m**3")}))


def weigh(volumes: Table, **options: Any) -> pd.Series:
    return dose(volumes, source="the label", **options).frame.iloc[0]


# ---- conversions ----


def test_one_ppm_of_an_acre_foot() -> None:
    # simetric.co.uk si_ppm (after Mississippi State University) and Texas Parks and Wildlife:
    # 2.72 lb or 1.233 kg an acre-foot; 2.71936 derived. Virginia DWR prints 2.7.
    found = weigh(water(1.0), ppm=1.0)
    assert found["product_lb"] == pytest.approx(2.71936, abs=5e-6)
    assert found["product_lb"] == pytest.approx(2.72, rel=1e-3)
    assert found["product_lb"] == pytest.approx(2.7, rel=1e-2)
    assert found["product_kg"] == pytest.approx(1.233, abs=5e-4)


def test_one_ppm_of_a_million_gallons() -> None:
    # same pages: 8.345 lb
    assert weigh(water(1e6, unit="gallon"), ppm=1.0)["product_lb"] == pytest.approx(8.345, abs=5e-4)


def test_units_of_volume() -> None:
    # same pages: an acre-foot is 43,560 ft3, 325,850 gal, 2,718,144 lb of water (62.4 lb a ft3)
    assert convert(1.0, "acre_foot", "ft**3") == pytest.approx(43_560)
    assert convert(1.0, "acre_foot", "gallon") == pytest.approx(325_850, rel=1e-5)
    assert pytest.approx(2_718_144) == 43_560 * 62.4
    assert weigh(water(1.0), ppm=1e6)["product_lb"] == pytest.approx(2_718_144, rel=1e-3)


def test_pounds_by_the_acre_foot() -> None:
    # derived: 11.5 acre-feet at 25 lb each, 9.19 ppm
    found = weigh(water(11.5), rate="25 lb/acre_foot")
    assert found["product_lb"] == pytest.approx(287.5)
    assert found["ppm"] == pytest.approx(9.19, abs=5e-3)


@settings(max_examples=30)
@given(st.floats(1e-3, 1e4), st.floats(1e-3, 1e3), st.floats(1, 100))
def test_a_product_of_part_strength(volume: float, ppm: float, active: float) -> None:
    # simetric.co.uk: volume x factor x ppm x 100 / % active
    found = weigh(water(volume), ppm=ppm, active_percent=active)
    assert found["product_kg"] == pytest.approx(1.23348183754752 * volume * ppm * 100 / active)
    assert found["ppm"] == pytest.approx(ppm)


@settings(max_examples=30)
@given(st.floats(1e-3, 1e4), st.floats(1e-3, 1e3))
def test_the_two_forms_of_a_dose_agree(volume: float, ppm: float) -> None:
    by_rate = weigh(water(volume), rate=f"{ppm!r} g/m3")
    assert by_rate["product_kg"] == pytest.approx(weigh(water(volume), ppm=ppm)["product_kg"])


# ---- layers ----


def test_layers_of_a_wedge() -> None:
    table = treatment_volume(wedge(), edges=(2.0,))
    frame = table.frame
    # derived: 10,000 m3; below 2 m a half of the length and of the depth, a quarter
    assert frame["layer"].tolist() == ["1", "2", "all"]
    assert frame["volume_m3"].tolist() == pytest.approx([7500, 2500, 10_000])
    assert frame["area_m2"].tolist() == pytest.approx([5000, 2500, 5000])
    assert frame["lower_m"].tolist() == pytest.approx([2, 4, 4])
    assert frame["volume_acre_ft"].tolist() == pytest.approx(
        (frame["volume_m3"] / 1233.48183754752).tolist()
    )
    assert frame["volume_megalitres"].iloc[2] == pytest.approx(10)
    assert frame["volume_gal"].iloc[2] == pytest.approx(2_641_720.5, abs=1)
    assert frame["volume_low_m3"].isna().all()
    assert table.notes[0] == CAUTION
    for word in ("label", "permit", "licensed applicator"):
        assert word in CAUTION


def test_the_water_of_the_day() -> None:
    # derived: 2 m down, a quarter is left
    low = treatment_volume(wedge(), level=2.0).frame
    assert low["volume_m3"].tolist() == pytest.approx([2500, 2500])
    assert low["upper_m"].tolist() == [0, 0]


@settings(max_examples=15)
@given(st.lists(st.floats(0.01, 3.99), unique=True, max_size=5))
def test_layers_sum_to_all(edges: list[float]) -> None:
    frame = treatment_volume(wedge(), edges=tuple(edges)).frame
    assert frame["volume_m3"][:-1].sum() == pytest.approx(10_000)
    assert len(frame) == len(edges) + 2


def test_bands_go_on_into_the_dose() -> None:
    scales = np.linspace(0.8, 1.2, 41)
    volumes = treatment_volume(wedge(np.outer([0, 4, 4, 0], scales)))
    found = weigh(volumes, ppm=2.0)
    low, high = np.quantile(scales, [0.05, 0.95])
    assert found["product_kg"] == pytest.approx(20)
    assert found["product_low_kg"] == pytest.approx(20 * low)
    assert found["product_high_lb"] == pytest.approx(convert(20 * high, "kg", "lb"))


# ---- refusals ----


@pytest.mark.parametrize(
    ("options", "told"),
    [
        ({"edges": (4.0,)}, r"edges must each be given once and lie between 0 and 4 m, got \(4\.0"),
        ({"edges": (1.0, 1.0)}, "edges must each be given once"),
        ({"level": -0.1}, r"level must be 0 m or more, where .* got -0\.1$"),
    ],
)
def test_edges_and_level_are_checked(options: dict[str, Any], told: str) -> None:
    with pytest.raises(ParameterError, match=told):
        treatment_volume(wedge(), **options)


def test_a_dry_pond_is_refused() -> None:
    with pytest.raises(LayerError, match="there is no water in the bed at level 4 m"):
        treatment_volume(wedge(), level=4.0)


@pytest.mark.parametrize(
    ("options", "told"),
    [
        ({}, "give ppm or rate, one of them"),
        ({"ppm": 1.0, "rate": "1 g/m3"}, "give ppm or rate, one of them"),
        ({"rate": "25 lb"}, "a rate must be fish or weight per"),
        ({"rate": "25 lb/acre"}, "rate must be a weight per volume, .* got '25 lb/acre'$"),
        ({"rate": "25 /m3"}, "rate must be a weight per volume"),
        ({"rate": "0 g/m3"}, "rate must be a weight per volume"),
        ({"ppm": 0.0}, "ppm must be > 0 mg/L, got 0"),
        ({"ppm": 1.0, "active_percent": 101.0}, "active_percent must be"),
        ({"ppm": 1.0, "source": " "}, "source must name the label"),
    ],
)
def test_doses_are_checked(options: dict[str, Any], told: str) -> None:
    with pytest.raises(ParameterError, match=told):
        dose(water(1.0), **{"source": "the label"} | options)


@pytest.mark.parametrize("volume", [-1.0, math.nan])
def test_volumes_are_checked(volume: float) -> None:
    with pytest.raises(LayerError, match="column 'volume_m3' must be >= 0 everywhere, got"):
        weigh(water(volume), ppm=1.0)


def test_gallons_are_of_the_us_unless_said() -> None:
    # derived from 231 cubic inches, and from the 4.54609 L of the British one (Weights and
    # Measures Act 1985, schedule 1; from memory)
    told = [
        weigh(water(1.0, unit="m**3"), rate=f"1 lb/{gallon}")["product_lb"]
        for gallon in ("gallon", "gal", "imperial_gallon")
    ]
    assert told == pytest.approx([1000 / 3.785411784, 1000 / 3.785411784, 1000 / 4.54609])
