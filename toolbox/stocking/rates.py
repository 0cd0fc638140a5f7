"""Rates: fish or weight per area, volume or length, as people write them."""

import re
from dataclasses import dataclass
from typing import Literal

from toolbox.errors import ParameterError
from toolbox.units import convert

__all__ = ["PER", "Of", "Per", "Price", "Rate", "Total", "amount", "spelled"]

Of = Literal["number", "weight"]
"""What is counted."""

Per = Literal["length", "area", "volume"]
"""What it is counted by."""

PER: dict[Per, str] = {"length": "m", "area": "m**2", "volume": "m**3"}
"""SI unit of each."""

_METRIC: dict[Per, str] = {"length": "km", "area": "ha", "volume": "m3"}
_CUSTOMARY: dict[Per, str] = {"length": "mile", "area": "acre", "volume": "acre_foot"}
_COUNTS = (
    "fish", "fry", "fingerling", "fingerlings", "yearling", "yearlings", "smolt", "smolts",
    "adult", "adults", "recruit", "recruits",
)  # fmt: skip
_WEIGHTS = ("g", "kg", "t", "tonne", "oz", "lb", "lbs", "pound", "pounds")
_SHORT = {"t": "tonne", "lbs": "lb", "ac": "acre", "mi": "mile"}
_SHORT |= dict.fromkeys(("ac_ft", "acre_ft", "acre_feet"), "acre_foot")

_MOST = 1e15
"""More than anybody stocks; beyond it figures overflow."""

_NUMBER = r"[-+]?(?:\d+\.?\d*|\.\d+)(?:e[-+]?\d+)?"
_LONGEST = 100  # characters of a quantity
_UNIT = r"[a-z][a-z_ -]*(?:\^|\*\*)?[23²³]?"
_WRITTEN = re.compile(
    rf"\s*(?P<number>{_NUMBER})\s*(?P<what>[a-z]+)?"
    rf"(?:\s*(?:/|\bper\b)\s*(?P<each>{_NUMBER})?\s*(?P<unit>{_UNIT}))?\s*",
    re.IGNORECASE,
)


@dataclass(frozen=True)
class Rate:
    """How many fish, or what weight of them, go to a measure of the water.

    Parameters
    ----------
    amount : float
        Fish or kg, per m, m2 or m3.
    of : str
        ``"number"`` or ``"weight"``.
    per : str
        ``"length"``, ``"area"`` or ``"volume"``.
    source : str
        Where the figure comes from.
    text : str
        As it was written.

    Raises
    ------
    ParameterError
        If the amount is negative or beyond all reason, or the source is empty.

    Examples
    --------
    >>> rate = Rate.parse("1 lb/acre", source="common practice, no source")
    >>> rate.metric, rate.customary
    ('1.12085 kg/ha', '1 lb/acre')
    """

    amount: float
    of: Of
    per: Per
    source: str
    text: str = ""

    def __post_init__(self) -> None:
        if not 0 <= self.amount <= _MOST:
            raise ParameterError(
                f"a rate must be 0 to {_MOST:g} in SI units, got {self.text or self.amount!r}"
            )
        if not self.source.strip():
            raise ParameterError(
                f"rate {self.text or self.amount!r} needs a source: who gives it, and where; "
                "or 'common practice, no source'"
            )

    @classmethod
    def parse(cls, text: str, *, source: str) -> "Rate":
        """Read a rate as it is written, such as ``"30 /ha"``, ``"1 lb/acre"``, ``"50 per km"``.

        Parameters
        ----------
        text : str
            A number, nothing or a word for fish or a unit of weight, a stroke or ``per``, and a
            unit of length, area or volume, of which a number may be given (``"5 per 100 m"``).
        source : str
            Where it comes from.

        Raises
        ------
        ParameterError
            If a part is missing or unknown.
        """
        refusal = (
            "a rate must be fish or weight per length, area or volume, such as '30 /ha', "
            f"'1 lb/acre' or '50 per km', got {text!r}"
        )
        found = _read(text, refusal)
        if found["unit"] is None:
            raise ParameterError(refusal)
        of, number = _counted(found["number"], found["what"], refusal)
        per, each = _measured(found["each"], found["unit"], refusal)
        return cls(number / each, of, per, source, text.strip())

    def inside(self, unit: str, *, weight: str = "kg") -> float:
        """Return the rate as fish, or as `weight`, per `unit`."""
        each = convert(1.0, spelled(unit), PER[self.per])
        return float(self.amount * each * (1 if self.of == "number" else convert(1, "kg", weight)))

    def written(self, unit: str, *, weight: str = "kg", digits: int = 6) -> str:
        """Write the rate per `unit`, so that :meth:`parse` reads it again."""
        name = "" if self.of == "number" else weight
        return f"{self.inside(unit, weight=weight):.{digits}g} {name}/{unit}"

    @property
    def metric_unit(self) -> tuple[str, float]:
        """Unit of :attr:`metric`, and how many of them 1 of the amount is."""
        unit, what = _METRIC[self.per], "fish" if self.of == "number" else "kg"
        return f"{what}/{unit}", float(convert(1.0, spelled(unit), PER[self.per]))

    @property
    def metric(self) -> str:
        """Per km, ha or m3, weights in kg."""
        return self.written(_METRIC[self.per])

    @property
    def customary(self) -> str:
        """Per mile, acre or acre-foot, weights in lb."""
        return self.written(_CUSTOMARY[self.per], weight="lb")


@dataclass(frozen=True)
class Total:
    """A number of fish, or a weight of them, in kg."""

    amount: float
    of: Of
    text: str = ""


@dataclass(frozen=True)
class Price:
    """What one fish, or one kg of fish, costs."""

    amount: float
    of: Of
    text: str = ""

    @classmethod
    def parse(cls, text: str) -> "Price":
        """Read a price such as ``"0.35 per fish"``, ``"90 per 1000 fish"`` or ``"12 /kg"``.

        Raises
        ------
        ParameterError
            If it does not say per what.
        """
        refusal = f"a price must be per fish or per weight, such as '0.35 per fish', got {text!r}"
        found = _read(text, refusal)
        if found["unit"] is None or found["what"]:
            raise ParameterError(refusal)
        of, each = _counted(found["each"] or "1", found["unit"], refusal)
        if not each > 0:
            raise ParameterError(refusal)
        return cls(float(found["number"]) / each, of, text.strip())


def amount(text: str, *, source: str) -> Rate | Total:
    """Read a rate, or a total such as ``"400 fish"`` or ``"120 kg"``.

    Parameters
    ----------
    text : str
        As it is written.
    source : str
        Where it comes from.

    Raises
    ------
    ParameterError
        If it is neither.
    """
    refusal = f"an amount must be such as '400 fish', '120 kg', '30 /ha' or '2 kg/ha', got {text!r}"
    found = _read(text, refusal)
    if found["unit"] is not None:
        return Rate.parse(text, source=source)
    if not found["what"]:
        raise ParameterError(refusal)
    of, number = _counted(found["number"], found["what"], refusal)
    return Total(number, of, text.strip())


def _read(text: str, refusal: str) -> re.Match[str]:
    found = _WRITTEN.fullmatch(text) if len(text) <= _LONGEST else None
    if found is None or not 0 <= float(found["number"]) <= _MOST:
        raise ParameterError(refusal)
    return found


def _counted(number: str, what: str | None, refusal: str) -> tuple[Of, float]:
    word = (what or "fish").strip().lower()
    if word in _COUNTS:
        return "number", float(number)
    if word not in _WEIGHTS:
        raise ParameterError(refusal)
    return "weight", float(convert(float(number), _SHORT.get(word, word), "kg"))


def _measured(each: str | None, unit: str, refusal: str) -> tuple[Per, float]:
    count = float(each or 1)
    if unit.strip() == "ml":  # a millilitre; who writes it means a megalitre
        raise ParameterError(f"{refusal}; a megalitre is written ML")
    for per, base in PER.items():
        try:
            size = float(convert(count, spelled(unit), base))
        except ParameterError:
            continue
        if size > 0:
            return per, size
    raise ParameterError(refusal)


def spelled(text: str) -> str:
    """Spell a unit as the library of units does.

    Examples
    --------
    >>> spelled("acre-ft"), spelled("m³"), spelled("kg/L")
    ('acre_foot', 'm**3', 'kg/l')
    """
    plain = re.sub(r"[ -]+", "_", text.strip()).replace("²", "2").replace("³", "3")
    plain = re.sub(r"(?<=[a-z])(?:\^|\*\*)?([23])$", r"**\1", plain, flags=re.IGNORECASE)
    plain = plain if plain == "ML" else plain.lower()
    return _SHORT.get(plain, plain)
