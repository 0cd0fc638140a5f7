"""Units at the edges: people write feet and fathoms, the inside is SI."""

import functools
import math
import re
from typing import TYPE_CHECKING, Any, Literal

from toolbox.errors import ParameterError
from toolbox.faults import said_by

if TYPE_CHECKING:
    import numpy as np

__all__ = [
    "LENGTH_UNITS",
    "MetreOrFoot",
    "Unit",
    "convert",
    "parse_quantity",
    "round_length",
    "round_number",
]

_QUANTITY = re.compile(
    r"\s*(?P<number>[-+]?(\d+\.?\d*|\.\d+)(e[-+]?\d+)?)\s*"
    r"(?P<unit>[a-z_]+(\^?[2-4])?(/[a-z_]+(\^?[2-4])?)?)\s*",
    re.IGNORECASE,
)
_POWER = re.compile(r"(?<=[a-z_])(?=[2-4])", re.IGNORECASE)
"""Where ``m3`` lacks the sign of a power."""

_LONGEST = 100  # characters of a quantity
_RECKONED = re.compile(r"[()]|\d\d|(?:\*\*|\^)[^/]*(?:\*\*|\^)|.{60}", re.DOTALL)
"""What makes the library of units reckon instead of look up: ``g^9^9^9`` would take it for ever."""

Unit = Literal["m", "cm", "ft", "survey_foot", "fathom"]
"""Units in which depths are read."""

MetreOrFoot = Literal["m", "ft", "survey_foot"]
"""Units in which depths are told, and in which steps between them are round."""

LENGTH_UNITS = ("m", "cm", "km", "ft", "survey_foot", "fathom", "yard", "inch")
"""Length units a person may name; the US survey foot is 1200/3937 m, the foot 0.3048 m."""


@functools.cache
def _registry() -> Any:
    import pint  # costs more than the rest of a small command

    registry: Any = pint.UnitRegistry()
    # of international feet, as on charts and in tables; the library's own are of survey feet
    registry.define("fathom = 1.8288 * meter = ftm")
    registry.define("acre = 4046.8564224 * meter ** 2")
    registry.define("acre_foot = 1233.48183754752 * meter ** 3 = _ = acre_feet = ac_ft")
    # of the survey foot, as in tables of reservoirs from before 2023
    registry.define("survey_acre = 43560 * (1200 / 3937) ** 2 * meter ** 2")
    registry.define(
        "survey_acre_foot = 43560 * (1200 / 3937) ** 3 * meter ** 3 = _ = survey_acre_feet"
    )
    registry.define("cfs = foot ** 3 / second = cusec")
    return registry


def convert(values: "float | np.ndarray", unit: str, to: str) -> Any:
    """Convert numbers from one unit to another.

    Parameters
    ----------
    values : float or array
        Numbers in `unit`.
    unit, to : str
        Unit names, such as ``"ft"``, ``"survey_foot"``, ``"acre_foot"``, ``"hectare"``.

    Returns
    -------
    float or array
        The same quantity in `to`.

    Raises
    ------
    ParameterError
        If a unit is unknown or the two do not measure the same thing.

    Examples
    --------
    >>> convert(1.0, "fathom", "m")
    1.8288
    """
    if unit == to:
        return values
    for name in (unit, to):
        if _RECKONED.search(name):
            raise ParameterError(f"a unit must be plain, such as 'kg' or 'm^3', got {name!r:.60}")
    registry = _registry()
    try:
        return registry.Quantity(values, unit).to(to).magnitude
    except Exception as error:
        raise ParameterError(f"cannot convert {unit!r} to {to!r}: {said_by(error)}") from error


def parse_quantity(text: str | float, unit: str) -> float:
    """Read a number with or without a unit.

    Parameters
    ----------
    text : str or float
        ``"1.5 ft"``, ``"2 m"``, or a bare number, which is then in `unit`.
    unit : str
        Unit of the answer.

    Returns
    -------
    float
        The quantity in `unit`.

    Raises
    ------
    ParameterError
        If the text is no number, or its unit does not convert.

    Examples
    --------
    >>> round(parse_quantity("10 ft", "m"), 4)
    3.048
    """
    found = None
    try:
        return float(text)
    except (ValueError, OverflowError):
        if len(str(text)) <= _LONGEST:
            found = _QUANTITY.fullmatch(str(text))
    shown = f"{text!r:.{_LONGEST}}"
    refusal = f"must be a number in {unit}, or a number and a unit such as '2 {unit}', got {shown}"
    if found is None:
        raise ParameterError(refusal)
    try:
        return float(convert(float(found["number"]), _POWER.sub("^", found["unit"]), unit))
    except ParameterError as error:
        raise ParameterError(refusal) from error


def round_number(value: float, *, up: bool = False) -> float:
    """Round a positive number to 1, 2 or 5 times a power of ten.

    Parameters
    ----------
    value : float
        Greater than zero.
    up : bool
        Whether to the next greater such number rather than the next smaller.

    Returns
    -------
    float
        `value` itself where it is such a number already.

    Examples
    --------
    >>> round_number(0.034), round_number(0.034, up=True)
    (0.02, 0.05)
    """
    magnitude = math.floor(math.log10(value))
    # written as decimals, because 2 * 0.1 is not always 0.2
    steps = [float(f"{digit}e{magnitude}") for digit in (1, 2, 5, 10)]
    hair = 1e-9 * value
    if up:
        return min(step for step in steps if step >= value - hair)
    return max(step for step in steps if step <= value + hair)


def round_length(metres: float, unit: MetreOrFoot) -> float:
    """Round a length to 1, 2 or 5 times a power of ten of a unit, the next smaller.

    Parameters
    ----------
    metres : float
        Greater than zero.
    unit : str
        ``"m"``, ``"ft"`` or ``"survey_foot"``.

    Returns
    -------
    float
        In metres.

    Examples
    --------
    >>> round_length(0.8, "m"), round(round_length(0.8, "ft"), 4)
    (0.5, 0.6096)
    """
    return float(convert(round_number(float(convert(metres, "m", unit))), unit, "m"))
