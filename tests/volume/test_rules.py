"""Volume rules against published lakes and exact solids."""

from collections.abc import Callable
from typing import Literal

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from toolbox.errors import LayerError
from toolbox.layers import Table
from toolbox.units import convert
from toolbox.volume.rules import layer_volumes, volume_from_areas

Rule = Literal["frustum", "trapezoid", "simpson"]

# Spellman, Mathematics and Statistics for the Environment, example 20.1: feet and acres.
POND_AREA = np.array([510, 460, 420, 332, 274, 201, 140, 110, 75, 30, 1], float)

# Water on the Web (University of Minnesota Duluth), Ice Lake, morphometry, tables 1 and 2.
_TOPS = np.array(
    [
        [16.6, 15.4, 14.2, 13.0, 11.8, 10.7, 9.49, 8.30],
        [7.11, 5.93, 4.75, 3.57, 2.38, 1.20, 0.060, 0.029],
    ]
)
ICE_AREA_HA = np.r_[_TOPS.ravel(), 0.0]  # at 0, 1, 2 to 16 m
ICE_LAYERS = np.array(
    [
        [1.600, 1.481, 1.362, 1.244, 1.126, 1.008, 0.889, 0.771],
        [0.652, 0.534, 0.416, 0.297, 0.179, 0.063, 0.004, 0.001],
    ]
).ravel()  # 1e5 m3
ICE_LAYERS_2M = np.array([3.081, 2.606, 2.134, 1.660, 1.186, 0.713, 0.242, 0.005])


def ice_lake() -> pd.DataFrame:
    table = Table(pd.DataFrame({"depth_m": np.arange(17.0), "area_m2": ICE_AREA_HA * 1e4}))
    return volume_from_areas(table).frame


def test_textbook_pond() -> None:
    # The book prints 6823/3 = 2274 acre-ft; its own frustum formula gives 2288.06 with the areas it
    # lists, 0.6 % more. The formula is what is tested, and the print only to one per cent.
    depth = np.arange(11.0)
    frustum = layer_volumes(depth, POND_AREA, rule="frustum").sum()
    assert frustum == pytest.approx(2288.06, abs=0.01)
    assert frustum == pytest.approx(2274, rel=0.01)
    assert layer_volumes(depth, POND_AREA, rule="trapezoid").sum() == pytest.approx(2297.5)
    assert frustum / POND_AREA[0] == pytest.approx(4.486, abs=0.001)  # mean depth, ft: derived


def test_textbook_pond_is_the_same_in_metres() -> None:
    metres = layer_volumes(convert(np.arange(11.0), "ft", "m"), convert(POND_AREA, "acre", "m^2"))
    # US Federal Register 2020-21902: the international foot, not the survey foot of the acre
    assert convert(metres.sum(), "m^3", "acre * ft") == pytest.approx(2288.06, abs=0.01)


def test_ice_lake_layers_by_the_trapezoid_rule() -> None:
    layers = ice_lake()["layer_trapezoid_m3"].to_numpy()[:-1] / 1e5
    np.testing.assert_allclose(layers, ICE_LAYERS, rtol=0, atol=0.0041)
    np.testing.assert_allclose(layers.reshape(-1, 2).sum(axis=1), ICE_LAYERS_2M, rtol=0, atol=0.007)


def test_ice_lake_layers_by_the_frustum_rule() -> None:
    layers = ice_lake()["layer_frustum_m3"].to_numpy()[:-1] / 1e5
    split = 13  # from 13 to 14 m the area drops twentyfold, where the two rules part
    others = np.arange(16) != split
    np.testing.assert_allclose(layers[others], ICE_LAYERS[others], rtol=0, atol=0.0046)
    assert layers[split] == pytest.approx(0.051, abs=0.001)
    assert ICE_LAYERS[split] == 0.063


def test_ice_lake_as_a_whole() -> None:
    frame = ice_lake()
    for rule, total in (("trapezoid", 11.622), ("frustum", 11.596)):
        below = frame[f"volume_below_{rule}_m3"].to_numpy() / 1e5
        assert below[0] == pytest.approx(11.6, abs=0.05)  # published total
        assert below[0] == pytest.approx(total, abs=0.001)  # derived from the published areas
        assert below[-1] == 0
        # derived from the published layers: below 6 m, and what a drawdown of 2 m removes
        assert below[6] == pytest.approx(3.806, abs=0.025)
        assert below[6] / below[0] == pytest.approx(0.327, abs=0.002)
        assert below[0] - below[2] == pytest.approx(3.081, abs=0.005)
        assert (below[0] - below[2]) / below[0] == pytest.approx(0.265, abs=0.001)
        assert below[0] * 10 / 16.6 == pytest.approx(7.004, abs=0.025)  # mean depth, m
    assert frame["area_m2"].iloc[2] == pytest.approx(14.2e4)


def test_four_contour_exercise() -> None:
    # A published exercise without a printed answer (askfilo.com, lake survey); values derived.
    depth, area = 3 * np.arange(5.0), np.array([13340, 8550, 5149, 2088, 1975.0])
    assert layer_volumes(depth, area, rule="trapezoid").sum() == pytest.approx(70333.5, abs=0.05)
    assert layer_volumes(depth, area, rule="frustum").sum() == pytest.approx(69513.4, abs=0.05)
    assert layer_volumes(depth, area, rule="simpson").sum() == pytest.approx(68165, abs=0.5)


# Exact solids, derived: area 1e6 m2, 10 m deep, in 1, 2, 5 and 10 layers.
SOLIDS: dict[str, tuple[Callable[[np.ndarray], np.ndarray], float]] = {
    "cone": (lambda share: (1 - share) ** 2, 1e7 / 3),
    "paraboloid": (lambda share: 1 - share, 5e6),
    "half ellipsoid": (lambda share: 1 - share**2, 2e7 / 3),
    "box": (np.ones_like, 1e7),
}
COUNTS = (1, 2, 5, 10)


@pytest.mark.parametrize(
    ("solid", "rule", "volumes"),
    [
        ("cone", "frustum", [1e7 / 3] * 4),
        ("cone", "trapezoid", [5.0e6, 3.75e6, 3.40e6, 3.35e6]),
        ("paraboloid", "frustum", [3.3333e6, 4.5118e6, 4.9067e6, 4.9738e6]),
        ("paraboloid", "trapezoid", [5e6] * 4),
        ("half ellipsoid", "frustum", [3.3333e6, 5.6100e6, 6.4607e6, 6.6089e6]),
        ("half ellipsoid", "trapezoid", [5.0e6, 6.25e6, 6.60e6, 6.65e6]),
        ("half ellipsoid", "simpson", [np.nan, 2e7 / 3, 2e7 / 3, 2e7 / 3]),
        ("cone", "simpson", [np.nan, 1e7 / 3, 1e7 / 3, 1e7 / 3]),
        ("paraboloid", "simpson", [np.nan, 5e6, 5e6, 5e6]),
        ("box", "simpson", [np.nan, 1e7, 1e7, 1e7]),
        ("box", "frustum", [1e7] * 4),
        ("box", "trapezoid", [1e7] * 4),
    ],
)
def test_exact_solids(solid: str, rule: Rule, volumes: list[float]) -> None:
    area, exact = SOLIDS[solid]
    found = []
    counts = COUNTS[1:] if rule == "simpson" else COUNTS
    volumes = volumes[-len(counts) :]
    for count in counts:
        depth = np.linspace(0, 10, count + 1)
        found.append(layer_volumes(depth, 1e6 * area(depth / 10), rule=rule).sum())
    np.testing.assert_allclose(found, volumes, rtol=2e-5)
    if len(set(volumes)) == 1:  # exact at any count, then to rounding
        np.testing.assert_allclose(found, exact, rtol=1e-12)
    else:
        errors = np.abs(np.array(found) / exact - 1)
        assert (np.diff(errors) < 0).all()


areas = st.lists(st.floats(0, 1e9, allow_subnormal=False), min_size=2, max_size=12)


@settings(max_examples=100, deadline=None)
@given(areas, st.integers(0, 2**32 - 1))
def test_the_frustum_rule_never_reports_more(area: list[float], seed: int) -> None:
    # derived: the geometric mean never exceeds the arithmetic mean
    depth = np.cumsum(np.random.default_rng(seed).uniform(0.01, 5, len(area)))
    frustum = layer_volumes(depth, np.array(area), rule="frustum")
    trapezoid = layer_volumes(depth, np.array(area), rule="trapezoid")
    assert (frustum <= trapezoid * (1 + 1e-12)).all()
    assert (frustum >= trapezoid * 2 / 3 * (1 - 1e-12)).all()  # a cone's tip


def test_rows_in_any_order_and_columns_of_any_name() -> None:
    shuffled = Table(pd.DataFrame({"z": [5.0, 0.0, 10.0], "A": [25.0, 100.0, 0.0]}))
    frame = volume_from_areas(shuffled, depth="z", area="A").frame
    assert frame["depth_m"].tolist() == [0, 5, 10]
    assert frame["area_m2"].tolist() == [100, 25, 0]
    np.testing.assert_allclose(frame["layer_frustum_m3"], [5 / 3 * 175, 5 / 3 * 25, 0])
    np.testing.assert_allclose(frame["volume_below_frustum_m3"], [1000 / 3, 125 / 3, 0])
    np.testing.assert_allclose(frame["layer_trapezoid_m3"], [312.5, 62.5, 0])
    np.testing.assert_allclose(frame["volume_below_trapezoid_m3"], [375, 62.5, 0])


@pytest.mark.parametrize(
    ("depth", "area", "message"),
    [
        ([0.0], [1.0], r"^depths must ascend strictly, two or more of them$"),
        ([0.0, 0.0], [1.0, 1.0], r"^depths must ascend strictly, two or more of them$"),
        ([1.0, 0.0], [1.0, 1.0], r"^depths must ascend strictly, two or more of them$"),
        ([0.0, np.nan], [1.0, 1.0], r"^depths must ascend strictly, two or more of them$"),
        ([0.0, 2.0], [1.0, -1.0], r"^areas must be finite and >= 0, got -1\.0 at depth 2$"),
        ([0.0, 2.0], [np.nan, 1.0], r"^areas must be finite and >= 0, got nan at depth 0$"),
        ([0.0, 2.0], [np.inf, 1.0], r"^areas must be finite and >= 0, got inf at depth 0$"),
    ],
)
def test_refusals(depth: list[float], area: list[float], message: str) -> None:
    with pytest.raises(LayerError, match=message):
        layer_volumes(np.array(depth), np.array(area))


def test_a_depth_given_twice_is_refused() -> None:
    table = Table(pd.DataFrame({"depth_m": [0.0, 1.0, 1.0], "area_m2": [3.0, 2.0, 1.0]}))
    with pytest.raises(LayerError, match=r"^depths must ascend strictly, two or more of them$"):
        volume_from_areas(table)


def test_an_unknown_column_is_refused() -> None:
    table = Table(pd.DataFrame({"depth_m": [0.0, 1.0]}))
    with pytest.raises(
        LayerError, match=r"^the table has no column 'area_m2', only \['depth_m'\]$"
    ):
        volume_from_areas(table)


# ---- Simpson's rule ----


@settings(max_examples=50, deadline=None)
@given(st.integers(3, 12), st.integers(0, 2**32 - 1))
def test_simpson_is_exact_for_parabolas_however_the_rows_are_spaced(count: int, seed: int) -> None:
    # derived: a + b z + c z^2, each layer of it, with an odd layer left over or not
    rng = np.random.default_rng(seed)
    depth = np.cumsum(rng.uniform(0.1, 3, count))
    a, b, c = rng.uniform(0.1, 2, 3)
    exact = np.diff(a * depth + b * depth**2 / 2 + c * depth**3 / 3)
    layers = layer_volumes(depth, a + b * depth + c * depth**2, rule="simpson")
    np.testing.assert_allclose(layers, exact, rtol=1e-9)


@settings(max_examples=50, deadline=None)
@given(st.integers(1, 6), st.integers(0, 2**32 - 1))
def test_simpson_is_that_of_an_independent_library(pairs: int, seed: int) -> None:
    # scipy.integrate.simpson (Cartwright 2017 for uneven steps), an even number of layers
    from scipy.integrate import simpson

    rng = np.random.default_rng(seed)
    depth = np.cumsum(rng.uniform(0.1, 3, 2 * pairs + 1))
    area = np.sort(rng.uniform(0, 1e6, len(depth)))[::-1]
    found = layer_volumes(depth, area, rule="simpson").sum()
    assert found == pytest.approx(simpson(area, x=depth), rel=1e-10)


def test_simpson_needs_three_rows() -> None:
    message = r"^Simpson's rule needs areas at three depths or more, got 2$"
    with pytest.raises(LayerError, match=message):
        layer_volumes(np.array([0.0, 1.0]), np.array([2.0, 1.0]), rule="simpson")
    frame = volume_from_areas(Table(pd.DataFrame({"depth_m": [0.0, 1.0], "area_m2": [2.0, 1.0]})))
    assert frame.frame["layer_simpson_m3"].isna().all()
    assert frame.frame["volume_below_simpson_m3"].isna().all()


# ---- where the rules part ----


def test_rules_that_part_are_a_warning_and_name_the_layer() -> None:
    # Ice Lake: from 13 to 14 m the area drops twentyfold, but hardly any water is there
    frame = ice_lake()
    assert int(frame["rules_apart_share"][:15].argmax()) == 13  # the tip below 15 m apart
    assert frame["rules_apart_share"].iloc[13] == pytest.approx(0.0630 / 0.0508 - 1, abs=0.01)
    # derived: a cone in two layers; the trapezoid gives 3.75e6, 5/8 and 1/8 of 5e6, of 3.333e6
    cone = Table(pd.DataFrame({"depth_m": [0.0, 5.0, 10.0], "area_m2": [1e6, 2.5e5, 0.0]}))
    assert volume_from_areas(cone).notes == (
        "the table is coarse: the rules part by 12.5% on the whole",
        "the rules part by 7.1% from 0 to 5 m: add a row there",
        "the rules part by 50.0% from 5 to 10 m: add a row there",
    )
    box = Table(pd.DataFrame({"depth_m": [0.0, 5.0, 10.0], "area_m2": [1e6, 1e6, 1e6]}))
    assert volume_from_areas(box).notes == ()


# ---- whole waters ----


@pytest.mark.parametrize(
    ("volume", "unit", "area", "area_unit", "acre_feet", "acres", "mean_feet"),
    [
        # USGS SIM 2933, abstract: Lake Macbride and Lake Meyer, Iowa
        (590_501_000, "ft^3", 38_118_000, "ft^2", (13_600, 50), (875, 0.5), 15.49),
        (17_831_000, "ft^3", 1_373_000, "ft^2", (410, 5), (32, 0.5), 12.99),
        # gleon.org, Carvins Cove Reservoir: 6.42e9 gallons, 630 acres; 24.3e6 m3 is 19,702 acre-ft
        (6.42e9, "gallon", 2.55e6, "m^2", (19_702, 5), (630, 0.5), 31.27),
        # Washington Department of Ecology, lake file lklengr1: 1300 acres, mean 15 ft
        (19_500, "acre_foot", 1300, "acre", (19_500, 1), (1300, 1), 15.0),
    ],
)
def test_published_waters_in_their_units(
    volume: float,
    unit: str,
    area: float,
    area_unit: str,
    acre_feet: tuple[float, float],
    acres: tuple[float, float],
    mean_feet: float,
) -> None:
    water, surface = convert(volume, unit, "m^3"), convert(area, area_unit, "m^2")
    assert convert(water, "m^3", "acre_foot") == pytest.approx(acre_feet[0], abs=acre_feet[1])
    assert convert(surface, "m^2", "acre") == pytest.approx(acres[0], abs=acres[1])
    # derived from the published figures
    assert convert(water / surface, "m", "ft") == pytest.approx(mean_feet, abs=0.02)
