"""Units convert exactly, and text that is no quantity is refused."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from toolbox.errors import ParameterError
from toolbox.units import LENGTH_UNITS, convert, parse_quantity, round_number

EXACT = [
    # NIST Handbook 44, appendix C (from memory): the foot is 0.3048 m exactly
    (1.0, "ft", "m", 0.3048),
    (1.0, "inch", "m", 0.0254),
    (1.0, "yard", "m", 0.9144),
    (1.0, "fathom", "m", 1.8288),
    # NIST and NOAA 2020, Federal Register 85 FR 62698 (2020-21902): 1200/3937 m
    (3937.0, "survey_foot", "m", 1200.0),
    (500_000.0, "ft", "survey_foot", 500_000 * 0.3048 * 3937 / 1200),
    # by definition
    (1.0, "km", "m", 1000.0),
    (1.0, "cm", "m", 0.01),
    (1.0, "hectare", "m**2", 10_000.0),
    (1.0, "megaliter", "m**3", 1000.0),
    (180.0, "degree", "radian", math.pi),
    # 43,560 square and cubic feet; since 2023 of the international foot (NIST, from memory)
    (1.0, "acre", "m**2", 4046.8564224),
    (1.0, "acre_foot", "m**3", 1233.48183754752),
    (1.0, "hectare * meter", "acre_foot", 8.10713193789913),
    # of the US survey foot, NIST and NOAA 2020 (Federal Register 2020-21902)
    (1.0, "survey_acre", "m**2", 43_560 * (1200 / 3937) ** 2),
    (1.0, "survey_acre_foot", "m**3", 43_560 * (1200 / 3937) ** 3),
    (1.0, "survey_acre_foot", "survey_acre * survey_foot", 1.0),
    (1.0, "cfs", "m^3/s", 0.3048**3),
    # NIST Handbook 44, appendix C (from memory): 231 cubic inches
    (1.0, "gallon", "liter", 3.785411784),
    (1.0, "knot", "m/s", 1852 / 3600),
]


@pytest.mark.parametrize(
    ("value", "unit", "to", "wanted"), EXACT, ids=[f"{row[1]} to {row[2]}" for row in EXACT]
)
def test_conversions_are_exact(value: float, unit: str, to: str, wanted: float) -> None:
    assert convert(value, unit, to) == pytest.approx(wanted, rel=1e-15, abs=0)
    assert convert(wanted, to, unit) == pytest.approx(value, rel=1e-15, abs=0)


@pytest.mark.parametrize(
    ("value", "unit", "to", "printed", "digits"),
    [
        # Federal Register 2020-21902 and NIST; the printed digits are met to half of the last
        (1.0, "survey_foot", "m", 0.304800609601, 12),
        (1.0, "survey_acre", "m^2", 4046.872610, 6),
        (1.0, "survey_acre_foot", "m^3", 1233.489238, 6),
        (1.0, "acre_foot", "gallon", 325_851.43, 2),
        # a day's flow of a cubic foot a second: USGS, Water-Supply Papers (from memory)
        (1.0, "cfs * day", "acre_foot", 1.983471, 6),
        (1.0, "hectare * meter", "acre_foot", 8.107132, 6),
    ],
)
def test_printed_conversions(value: float, unit: str, to: str, printed: float, digits: int) -> None:
    assert convert(value, unit, to) == pytest.approx(printed, abs=0.5 * 10.0**-digits)


def test_the_two_feet_part_by_two_millionths() -> None:
    """Exactly one metre in 500 km (Federal Register 2020-21902)."""
    apart = convert(1.0, "survey_foot", "m") / convert(1.0, "ft", "m") - 1
    assert apart == pytest.approx(2e-6, rel=1e-5)


def test_arrays_are_converted_and_stay_as_they_were() -> None:
    feet = np.array([0.0, 10.0, np.nan])
    metres = convert(feet, "ft", "m")
    assert metres == pytest.approx([0, 3.048, np.nan], nan_ok=True)
    assert feet == pytest.approx([0, 10, np.nan], nan_ok=True)


@pytest.mark.parametrize("unit", LENGTH_UNITS)
def test_every_length_unit_that_is_offered_is_one(unit: str) -> None:
    assert convert(convert(7.0, unit, "m"), "m", unit) == pytest.approx(7, rel=1e-15)
    assert parse_quantity(f"7 {unit}", "m") == pytest.approx(convert(7.0, unit, "m"), rel=1e-15)


@pytest.mark.parametrize(
    ("unit", "to"), [("ft", "kg"), ("parsnip", "m"), ("m", "m**2"), ("m", "s"), ("", "m")]
)
def test_what_does_not_convert_is_refused(unit: str, to: str) -> None:
    with pytest.raises(ParameterError, match=rf"^cannot convert '{unit}' to '{to[0]}.*: \S"):
        convert(1.0, unit, to)


# ---- quantities ----


@pytest.mark.parametrize(
    ("text", "metres"),
    [
        ("2", 2.0),
        (" 2.5 ", 2.5),
        ("-0.35", -0.35),
        ("1e3", 1000.0),
        (7, 7.0),
        (7.5, 7.5),
        ("2 m", 2.0),
        ("2m", 2.0),
        ("10 ft", 3.048),
        ("10ft", 3.048),
        ("1.5 feet", 0.4572),
        ("6 foot", 1.8288),
        ("-3 ft", -0.9144),
        ("1e2 cm", 1.0),
        ("2 fathom", 3.6576),
        ("2 fathoms", 3.6576),
        ("0.5 km", 500.0),
        ("212.40 metres", 212.4),
        ("3937 survey_foot", 1200.0),
    ],
)
def test_numbers_with_and_without_unit(text: str | float, metres: float) -> None:
    assert parse_quantity(text, "m") == pytest.approx(metres, rel=1e-15)


def test_a_bare_number_is_in_the_unit_asked_for() -> None:
    assert parse_quantity("2", "ft") == 2
    assert parse_quantity("0.6096 m", "ft") == pytest.approx(2, rel=1e-15)
    assert parse_quantity("90 degree", "degree") == 90


@pytest.mark.parametrize(
    "text",
    [
        "",
        " ",
        "deep",
        "m",
        "ft 2",
        "2 kg",
        "2 m^2",
        "2 parsnips",
        "1,5 m",
        "2 m 3",
        "5 ft 3 inch",
        "--2 m",
        "2 m + 3 m",
        "2 * 3 m",
        "2 ** 3 m",
        "(2) m",
        "2 m; 3",
        "__import__('os').getpid() m",
        "None",
        "True",
    ],
)
def test_text_that_is_no_quantity_is_refused(text: str) -> None:
    with pytest.raises(ParameterError) as caught:
        parse_quantity(text, "m")
    assert str(caught.value) == (
        f"must be a number in m, or a number and a unit such as '2 m', got {text!r}"
    )


@pytest.mark.parametrize(
    ("text", "unit", "number"),
    [("2 m^3/s", "m^3/s", 2), ("2 m3/s", "m^3/s", 2), ("3 km2", "hectare", 300)],
)
def test_powers_are_read_with_and_without_their_sign(text: str, unit: str, number: float) -> None:
    assert parse_quantity(text, unit) == pytest.approx(number, rel=1e-12)


# ---- round numbers ----


@pytest.mark.parametrize(
    ("value", "down", "up"),
    [
        (1.0, 1.0, 1.0),
        (0.034, 0.02, 0.05),
        (0.1, 0.1, 0.1),
        (0.2, 0.2, 0.2),
        (0.3, 0.2, 0.5),
        (7.0, 5.0, 10.0),
        (99.0, 50.0, 100.0),
        (1e-3, 1e-3, 1e-3),
        (123456.0, 100_000.0, 200_000.0),
    ],
)
def test_round_numbers_are_one_two_or_five(value: float, down: float, up: float) -> None:
    assert round_number(value) == down
    assert round_number(value, up=True) == up


@given(st.floats(1e-12, 1e12))
@settings(max_examples=300, deadline=None, derandomize=True)
def test_a_round_number_is_the_nearest_on_its_side(value: float) -> None:
    down, up = round_number(value), round_number(value, up=True)
    hair = 1e-9 * value
    assert down <= value + hair
    assert up >= value - hair
    assert up / down <= 2.5 * (1 + 1e-12)
    for number in (down, up):
        digits = f"{number:.12e}"
        assert digits.rstrip("0123456789").rstrip("e+-").rstrip("0") in ("1.", "2.", "5.")
        assert round_number(number) == round_number(number, up=True) == number
