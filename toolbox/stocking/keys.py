"""Keys: what may stand behind a key of a stocking file."""

import re
from datetime import date
from typing import Annotated, Any

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field

from toolbox.errors import ParameterError
from toolbox.stocking.days import month_day
from toolbox.stocking.rates import Price, Rate, amount, spelled
from toolbox.units import convert

__all__ = [
    "Amount",
    "Celsius",
    "Day",
    "Hours",
    "Kilograms",
    "Loading",
    "Metres",
    "MonthDay",
    "Name",
    "Part",
    "PriceText",
    "RateText",
    "Remark",
    "Share",
    "Source",
    "Tank",
]

_SAID = "said elsewhere"
_LONGEST = 100  # characters of a quantity
_UNITED = re.compile(r"\s*([-+]?(?:\d+\.?\d*|\.\d+)(?:e[-+]?\d+)?)\s*([^\d\s.+-].*)", re.IGNORECASE)


class Part(BaseModel):
    """A table of the file: no unknown keys, nothing changed afterwards."""

    model_config = ConfigDict(extra="forbid", frozen=True)


def _in(unit: str, example: str) -> BeforeValidator:
    """Take text with a unit, never a bare number: grams are not pounds."""

    def read(value: Any) -> float:
        short = isinstance(value, str) and len(value) <= _LONGEST
        found = _UNITED.fullmatch(value) if short else None
        if found is None:
            raise ValueError(f"must be a number and its unit, such as {example!r}")
        try:
            return float(convert(float(found[1]), spelled(found[2]), unit))
        except ParameterError as error:
            raise ValueError(f"must be a number and its unit, such as {example!r}") from error

    return BeforeValidator(read)


def _rate(value: Any) -> Any:
    Rate.parse(str(value), source=_SAID)
    return value


def _amount(value: Any) -> Any:
    amount(str(value), source=_SAID)
    return value


def _price(value: Any) -> Any:
    Price.parse(str(value))
    return value


def _day(value: Any) -> Any:
    return value.isoformat() if isinstance(value, date) else value


_POSITIVE = Field(gt=0, allow_inf_nan=False)

Metres = Annotated[float, _in("m", "5 cm"), _POSITIVE]
Kilograms = Annotated[float, _in("kg", "1.2 g"), Field(ge=1e-9, le=1e4)]
Tank = Annotated[float, _in("m**3", "1200 L"), _POSITIVE]
Loading = Annotated[float, _in("kg/m**3", "0.1 kg/L"), _POSITIVE]
Hours = Annotated[float, _in("hour", "2.5 h"), _POSITIVE]
Celsius = Annotated[float, Field(ge=-2, le=45, strict=True)]
Share = Annotated[float, Field(ge=1e-9, le=1, strict=True)]
Name = Annotated[str, Field(min_length=1, max_length=300, pattern=r"\S")]
Source = Annotated[str, Field(min_length=3, max_length=600, pattern=r"\S")]
Remark = Annotated[str, Field(max_length=3000)]
Day = Annotated[str, BeforeValidator(_day), Field(max_length=300)]
MonthDay = Annotated[str, Field(pattern=r"^\d\d-\d\d$"), AfterValidator(month_day)]
RateText = Annotated[str, BeforeValidator(_rate)]
Amount = Annotated[str, BeforeValidator(_amount)]
PriceText = Annotated[str, BeforeValidator(_price)]
