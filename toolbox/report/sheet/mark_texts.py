"""What is told of one mark, in the units that people read at the water."""

import math
from typing import Any

from toolbox.report.sheet.marks_on_map import has_slip
from toolbox.report.sheet.subject import Subject
from toolbox.report.text import short
from toolbox.units import convert

__all__ = [
    "bearing_text",
    "confidence_text",
    "depth_text",
    "distance_text",
    "mark_rows",
    "name_of",
    "place_text",
]

_LONGEST = 40


def mark_rows(subject: Subject) -> list[dict[Any, Any]]:
    """Return what is known of each mark; bearings of a boat's legs become magnetic too.

    A boat's legs say from where they start as ``from_name``.
    """
    assert subject.marks is not None
    rows = [dict(row) for _, row in subject.marks.frame.iterrows()]
    before = "the slip" if has_slip(subject) else ""
    for row in rows:
        if "leg_m" in row:
            row["from_name"], before = before, f"mark {row['mark']}"
            if subject.declination is not None:
                row["bearing_magnetic_deg"] = number(row, "leg_bearing_deg") - subject.declination
    return rows


def number(row: dict[Any, Any], name: str) -> float:
    """Return a figure of a mark; NaN where it has none."""
    try:
        return float(row.get(name, math.nan))
    except (TypeError, ValueError):
        return math.nan


def name_of(row: dict[Any, Any], *, brief: bool = False) -> str:
    """Return from which peg it is reached, what it is, and unless brief where a leg starts."""
    kind = short(str(row.get("kind", "mark")), _LONGEST)
    if "peg" in row:
        return f"{short(str(row['peg']), _LONGEST)}: {kind}"
    return f"{kind}, from {row['from_name']}" if row.get("from_name") and not brief else kind


def bearing_text(row: dict[Any, Any], *, short: bool = False) -> str:
    """Return the way to it in whole degrees, true and if known magnetic.

    Examples
    --------
    >>> bearing_text({"bearing_true_deg": 359.7, "bearing_magnetic_deg": 11.6})
    '000\u00b0 true, 012\u00b0 magnetic'
    """
    true, magnetic = number(row, "bearing_true_deg"), number(row, "bearing_magnetic_deg")
    if math.isnan(true):
        true = number(row, "leg_bearing_deg")
    told = [(true, "T" if short else "true"), (magnetic, "M" if short else "magnetic")]
    return ", ".join(
        f"{round(angle) % 360:03d}\u00b0 {side}" for angle, side in told if not math.isnan(angle)
    )


def distance_text(row: dict[Any, Any], *, short: bool = False) -> str:
    """Return how far it is, in metres, and unless short in feet and wraps too."""
    metres = number(row, "distance_m")
    if math.isnan(metres):
        metres = number(row, "leg_m")
    if math.isnan(metres):
        return ""
    if short:
        return f"{metres:.0f} m"
    told = [f"{metres:.1f} m", f"{float(convert(metres, 'm', 'ft')):.0f} ft"]
    wraps = number(row, "distance_wraps")
    return ", ".join(told + ([] if math.isnan(wraps) else [f"{wraps:.1f} wraps"]))


def depth_text(row: dict[Any, Any], *, short: bool = False) -> str:
    """Return how deep it is, with its band, and unless short in feet too.

    Examples
    --------
    >>> depth_text({"depth_m": 6.71, "depth_low_m": 6.31, "depth_high_m": 7.1})
    '6.7 m (6.3 to 7.1 m), 22.0 ft'
    """
    depth, low, high = (number(row, name) for name in ("depth_m", "depth_low_m", "depth_high_m"))
    if short:
        return f"{depth:.1f} m"
    band = "" if math.isnan(low) else f" ({low:.1f} to {high:.1f} m)"
    return f"{depth:.1f} m{band}, {float(convert(depth, 'm', 'ft')):.1f} ft"


def confidence_text(row: dict[Any, Any]) -> str:
    """Say how sure the feature is to be there, and how far soundings tell its depth."""
    sure, support = number(row, "confidence"), number(row, "support")
    told = []
    if not math.isnan(sure):
        told.append(
            "more than 99 % sure to be there"
            if sure > 0.99
            else f"{100 * sure:.0f} % sure to be there"
        )
    if not math.isnan(support):
        told.append(f"support {support:.2f} of 1")
    return "; ".join(told)


def place_text(row: dict[Any, Any]) -> str:
    """Return where it is, in degrees if they are known, else on the grid."""
    latitude, longitude = number(row, "latitude_deg"), number(row, "longitude_deg")
    if math.isnan(latitude):
        return f"{number(row, 'easting_m'):.1f} m E, {number(row, 'northing_m'):.1f} m N"
    return f"latitude {latitude:.6f}, longitude {longitude:.6f}"
