"""Limits say what is wrong with them; values that nobody vouches for are named."""

from collections.abc import Callable

import numpy as np
import pytest

from toolbox.errors import ParameterError
from toolbox.habitat.species import (
    Limit,
    OxygenDemand,
    Species,
    SpeciesLimits,
    species_table,
)

COLD = Limit("temperature_c", most=15.0, source="a book")
RICH = Limit("oxygen_mg_l", least=5.0, source="illustrative")
CURVE = OxygenDemand(0.40, 6e-6, 0.59, "Jacobson et al. 2008, from memory")
TROUT = Species("trout", (COLD, RICH), CURVE, "of ponds")


@pytest.mark.parametrize(
    ("temperature", "least"),
    [(20.0, 1.200), (22.0, 3.002), (22.1, 3.160)],
)
def test_lethal_curve_of_cisco(temperature: float, least: float) -> None:
    # Jacobson et al. 2008: DO = 0.40 + 6e-6 exp(0.59 T), from memory; it meets the lethal pair of
    # Jiang and Fang 2016, Water 8:279, abstract: 22.1 degrees Celsius and 3 mg/L
    assert CURVE.least(temperature) == pytest.approx(least, abs=0.0005)


def test_lethal_curve_stays_finite_in_any_heat() -> None:
    assert np.isfinite(OxygenDemand(0.0, 1.0, 2.0, "illustrative").least(60.0))


@pytest.mark.parametrize(
    ("make", "message"),
    [
        (
            lambda: Limit("salt", least=1.0, source="x"),  # type: ignore[arg-type]
            "must limit one of temperature_c, oxygen_mg_l, depth_m, light, plants, slope_deg, "
            "got 'salt'",
        ),
        (lambda: Limit("light", source="x"), "light must have least or most, got neither"),
        (
            lambda: Limit("light", least=1.5, source="x"),
            "least of light must be 0 to 1, got 1.5",
        ),
        (
            lambda: Limit("depth_m", most=float("nan"), source="x"),
            "most of depth_m must be 0 to 2000, got nan",
        ),
        (
            lambda: Limit("depth_m", 4.0, 3.0, "x"),
            "least of depth_m must be at most 3, its most, got 4",
        ),
        (
            lambda: Limit("depth_m", 4.0, source=" "),
            "depth_m must have a source, a citation or 'illustrative', got none",
        ),
        (
            lambda: OxygenDemand(0.4, 0.0, 0.6, "x"),
            "factor_mg_l of the oxygen demand must be > 0 and <= 40, got 0",
        ),
        (
            lambda: OxygenDemand(-1.0, 1e-6, 0.6, "x"),
            "base_mg_l of the oxygen demand must be >= 0 and <= 40, got -1",
        ),
        (
            lambda: OxygenDemand(0.4, 1e-6, 0.6, ""),
            "the oxygen demand must have a source, a citation or 'illustrative', got none",
        ),
        (lambda: Species(" ", (COLD,)), "a species must have a name, got none"),
        (lambda: Species("roach"), "species 'roach' must have at least one limit, got none"),
        (
            lambda: Species("roach", (COLD, Limit("temperature_c", least=18.0, source="x"))),
            "species 'roach': limits of temperature_c leave nothing, least 18 is more than most 15",
        ),
        (lambda: SpeciesLimits(()), "species must name at least one, got none"),
        (
            lambda: SpeciesLimits((TROUT, TROUT)),
            "each species must be named once, got 'trout' twice",
        ),
        (lambda: SpeciesLimits((TROUT,)).of("eel"), "species must be one of trout, got 'eel'"),
    ],
)
def test_refusals(make: Callable[[], object], message: str) -> None:
    with pytest.raises(ParameterError, match=r".") as caught:
        make()
    assert str(caught.value) == message


def test_several_limits_of_one_measure_all_hold() -> None:
    both = Species("x", (COLD, Limit("temperature_c", 4.0, 12.0, "y")))
    assert both.range_of("temperature_c") == (4.0, 12.0)
    assert both.range_of("light") == (-np.inf, np.inf)


def test_measures_in_their_order() -> None:
    one = Species("x", (Limit("slope_deg", most=5.0, source="y"),), CURVE)
    assert one.measures == ("temperature_c", "oxygen_mg_l", "slope_deg")


def test_species_by_name_and_in_the_order_asked() -> None:
    perch = Species("perch", (COLD,))
    several = SpeciesLimits((TROUT, perch), ("a note",))
    assert several.of(" Perch ") is perch
    assert several.only(("perch", "trout")).names == ("perch", "trout")
    assert several.only(None) is several
    assert several.only(("perch",)).notes == ("a note",)


def test_doubtful_values_are_named() -> None:
    assert SpeciesLimits((TROUT, Species("perch", (COLD,)))).cautions == (
        "some or all limits of species are only illustrative, not to decide by: trout",
        "some or all limits of species were written from memory, to be checked: trout",
    )
    assert SpeciesLimits((Species("perch", (COLD,)),)).cautions == ()


def test_table_holds_every_value_with_its_source() -> None:
    frame = species_table(SpeciesLimits((TROUT,))).frame
    assert list(frame.columns) == ["species", "measure", "least", "most", "source", "remarks"]
    assert list(frame["measure"]) == ["temperature_c", "oxygen_mg_l", "oxygen_demand"]
    assert list(frame["source"]) == ["a book", "illustrative", CURVE.source]
    assert frame["most"][0] == 15.0
    assert np.isnan(frame["least"][0])
    assert frame["remarks"][2] == "oxygen_mg_l >= 0.4 + 6e-06 exp(0.59 temperature_c)"
