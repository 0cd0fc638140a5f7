"""Rates are read as people write them, in either system, or refused."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from toolbox.errors import ParameterError
from toolbox.stocking.rates import Price, Rate, Total, amount

SOURCE = "common practice, no source"
SIZES = st.floats(1e-6, 1e9)
AREAS = ("ha", "acre", "m2", "km2", "ft2", "hectare", "square mile")
VOLUMES = ("m3", "acre_foot", "ML", "acre-ft", "1000 m3", "gallon", "ft^3")
LENGTHS = ("km", "mile", "m", "100 m", "ft", "yard")
WEIGHTS = ("", "kg", "lb", "g", "oz", "fish")


def rate(text: str) -> Rate:
    return Rate.parse(text, source=SOURCE)


# derived: acre 4046.8564224 m2, acre-foot 1233.48183754752 m3, pound 0.45359237 kg
@pytest.mark.parametrize(
    ("text", "amount", "of", "per"),
    [
        ("1000 /acre", 1000 / 4046.8564224, "number", "area"),
        ("30 /ha", 0.003, "number", "area"),
        ("30 fingerlings per ha", 0.003, "number", "area"),
        ("1 lb/acre", 0.45359237 / 4046.8564224, "weight", "area"),
        ("0.5 kg/ha", 0.5e-4, "weight", "area"),
        ("2 g/m²", 2e-3, "weight", "area"),
        ("50 /km", 0.05, "number", "length"),
        ("51.2 per km", 0.0512, "number", "length"),
        ("5 per 100 m", 0.05, "number", "length"),
        ("3 /mi", 3 / 1609.344, "number", "length"),
        ("20 /acre_foot", 20 / 1233.48183754752, "number", "volume"),
        ("20 per acre-ft", 20 / 1233.48183754752, "number", "volume"),
        ("20 /acre feet", 20 / 1233.48183754752, "number", "volume"),
        ("3 fish per 1000 m3", 0.003, "number", "volume"),
        ("2 /ML", 0.002, "number", "volume"),
    ],
)
def test_rates_as_people_write_them(text: str, amount: float, of: str, per: str) -> None:
    found = rate(text)
    assert found.amount == pytest.approx(amount, rel=1e-8)
    assert (found.of, found.per, found.text, found.source) == (of, per, text, SOURCE)


@pytest.mark.parametrize(
    "text",
    [
        "30",
        "30 kg",
        "/ha",
        "lots /ha",
        "1,000 /ha",
        "30 /s",
        "30 /kg",
        "-1 /ha",
        "3 /0 ha",
        "30 /",
        "1e999 /ha",
    ],
)
def test_a_rate_without_a_unit_is_refused(text: str) -> None:
    with pytest.raises(ParameterError, match=r"^a rate must be fish or weight per .* got '.+'$"):
        rate(text)


def test_a_millilitre_is_no_megalitre() -> None:
    with pytest.raises(ParameterError, match=r"got '3 /ml'; a megalitre is written ML$"):
        rate("3 /ml")


@pytest.mark.parametrize("source", ["", "  "])
def test_a_rate_without_a_source_is_refused(source: str) -> None:
    with pytest.raises(ParameterError, match=r"^rate '30 /ha' needs a source: who gives it"):
        Rate.parse("30 /ha", source=source)


@given(SIZES, st.sampled_from(WEIGHTS), st.sampled_from([*AREAS, *VOLUMES, *LENGTHS]))
def test_round_trip_between_the_systems(size: float, weight: str, unit: str) -> None:
    first = rate(f"{size!r} {weight}/{unit}")
    names = {"area": ("ha", "acre"), "volume": ("m3", "acre_foot"), "length": ("km", "mile")}
    metric, customary = names[first.per]
    there = rate(first.written(customary, weight="lb", digits=17))
    back = rate(there.written(metric, digits=17))
    assert back.amount == pytest.approx(first.amount, rel=1e-12)
    assert (back.of, back.per) == (first.of, first.per)


@given(SIZES)
def test_one_rate_gives_the_same_fish_in_either_system(size: float) -> None:
    found = rate(f"{size!r} /acre")
    assert found.inside("ha") * 0.40468564224 == pytest.approx(size, rel=1e-12)
    assert rate(found.metric).amount == pytest.approx(found.amount, rel=1e-5)
    assert rate(found.customary).amount == pytest.approx(found.amount, rel=1e-5)


def test_it_is_written_in_both_systems() -> None:
    assert rate("30 /ha").customary == "12.1406 /acre"
    assert rate("20 /acre_foot").metric == "0.0162143 /m3"
    assert rate("51.2 per km").customary == "82.3984 /mile"
    unit, scale = rate("1 lb/acre").metric_unit
    assert unit == "kg/ha"
    assert scale * rate("1 lb/acre").amount == pytest.approx(1.12085, rel=1e-5)


def test_totals_and_prices() -> None:
    assert amount("400 fish", source=SOURCE) == Total(400.0, "number", "400 fish")
    weight = amount("10 lb", source=SOURCE)
    assert (weight.of, weight.amount) == ("weight", pytest.approx(4.5359237))
    assert amount("3 /ha", source=SOURCE) == rate("3 /ha")
    assert Price.parse("0.35 per fish") == Price(0.35, "number", "0.35 per fish")
    assert Price.parse("90 per 1000 fish").amount == pytest.approx(0.09)
    assert Price.parse("8 /lb").amount == pytest.approx(8 / 0.45359237)
    with pytest.raises(ParameterError, match=r"^an amount must be such as .* got '5'$"):
        amount("5", source=SOURCE)
    with pytest.raises(ParameterError, match=r"^a price must be per fish or .* got '3'$"):
        Price.parse("3")
    with pytest.raises(ParameterError, match=r"^a price must be per fish or per weight"):
        Price.parse("3 per 0 fish")
