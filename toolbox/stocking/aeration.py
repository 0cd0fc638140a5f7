"""Aeration: air to break up stratification, and the pressure it needs."""

from typing import TYPE_CHECKING, Annotated, Any

from toolbox.errors import ParameterError
from toolbox.layers import Table
from toolbox.stocking.measured import Measured, Span
from toolbox.tool import Range, tool
from toolbox.units import convert

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["aeration_sizing", "depth_pressure"]

_GRAVITY, _DENSITY = 9.80665, 1000.0

_RULES: tuple[tuple[str, float, str, str, str], ...] = (
    (
        "destratification, metric form",
        9.2,
        "m**3/min/km**2",
        "Lorenzen & Fast 1977 (from memory)",
        "",
    ),
    (
        "destratification, customary form",
        30e-6,
        "ft**3/min/ft**2",
        "30 scfm per million ft2, quoted of Lorenzen & Fast 1977 (from memory)",
        "",
    ),
    (
        "small pond, at least 12 ft deep",
        1.5,
        "ft**3/min/acre",
        "seen on a general web page without a primary source",
        "of one acre; not for shallow ponds",
    ),
)

_NOTES = (
    "a first size, not a design: depth, diffusers, pipe losses and the maker's curves decide",
    "air is free air at the surface; mixing a stratified water at once can bring up water without "
    "oxygen and kill fish: begin in small steps, or before the water stratifies",
    "aeration may need a permit; open water in ice is a danger to people: mark and fence it",
)


def depth_pressure(depth: float) -> float:
    """Return the pressure of a depth of fresh water over that of the air, kPa (0.433 psi/ft).

    Examples
    --------
    >>> round(depth_pressure(10.0), 2)
    98.07
    """
    return _DENSITY * _GRAVITY * depth / 1000


@tool("Size of an aeration")
def aeration_sizing(
    measures: Table,
    *,
    diffuser_depth: Annotated[float, Range("m", above=0)] | None = None,
    losses: Annotated[float, Range("kPa", min=0)] = 0.0,
) -> Table:
    """Size the air flow that mixes a water, and the pressure at its diffusers.

    Parameters
    ----------
    measures : Table
        With rows ``surface area`` and ``greatest depth``, as the tool of measures makes it.
    diffuser_depth : float, optional
        Depth of the diffusers below the surface; if left out, the greatest depth.
    losses : float
        Of pipes and diffusers, from their makers.

    Returns
    -------
    Table
        Columns ``measure, value, low, high, unit, us_value, us_unit, note``: the air flow by each
        rule (m3/min and ft3/min), then ``pressure of the water`` and ``pressure with losses`` (kPa
        and psi, over that of the air). `low` and `high` follow the band of area or depth.

    Raises
    ------
    LayerError
        If a measure is missing.
    ParameterError
        If the diffusers lie deeper than the water.

    Notes
    -----
    The two forms of the first rule are 1.315 and 1.307 ft3/min per acre: one rule, rounded twice.
    Pressure is 9.80665 kPa a metre, 0.4335 psi a foot.

    References
    ----------
    Lorenzen & Fast 1977, A Guide to Aeration/Circulation Techniques for Lake Management, US EPA
    (from memory).
    """
    import pandas as pd

    water = Measured(measures)
    area, deepest = water.span("surface area"), water.span("greatest depth")
    if diffuser_depth is not None and diffuser_depth > deepest.high:
        raise ParameterError(
            f"diffuser_depth must be at most {deepest.high:g} m, the greatest depth, "
            f"got {diffuser_depth:g}"
        )
    depth = deepest if diffuser_depth is None else Span.of(diffuser_depth)
    rows: list[tuple[Any, ...]] = [
        ("air flow, " + name, *_times(area, convert(rate, unit, "m/min")), "m3/min", _said(*told))
        for name, rate, unit, *told in _RULES
    ]
    pressure = _times(depth, depth_pressure(1.0))
    with_losses = [end + losses for end in pressure]
    rows += [
        ("pressure of the water", *pressure, "kPa", f"{depth.likely:.3g} m of water"),
        ("pressure with losses", *with_losses, "kPa", f"losses of {losses:g} kPa"),
    ]
    frame = pd.DataFrame(rows, columns=["measure", "value", "low", "high", "unit", "note"])
    return Table(_with_customary(frame), "Size of an aeration", _NOTES)


def _times(span: Span, factor: float) -> tuple[float, float, float]:
    return span.likely * factor, span.low * factor, span.high * factor


def _said(source: str, validity: str) -> str:
    return f"{source}; {validity}" if validity else source


def _with_customary(frame: "pd.DataFrame") -> "pd.DataFrame":
    units = {"m3/min": ("m**3/min", "ft**3/min", "ft3/min"), "kPa": ("kPa", "psi", "psi")}
    values = [
        convert(value, units[unit][0], units[unit][1])
        for value, unit in zip(frame["value"], frame["unit"], strict=True)
    ]
    frame.insert(5, "us_value", values)
    frame.insert(6, "us_unit", [units[unit][2] for unit in frame["unit"]])
    return frame
