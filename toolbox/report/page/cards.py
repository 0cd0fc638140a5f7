"""Cast cards: for each mark how to reach it, and the depths on the way."""

import math
import re
from typing import TYPE_CHECKING, Any

import numpy as np

from toolbox.layers import Table, Vectors
from toolbox.report.text import short
from toolbox.units import convert
from toolbox.volume.stage import CUSTOMARY, Foot

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["cast_cards"]

_WIDE, _HIGH = 240.0, 72.0  # of a profile, in its own units
_LONGEST = 300
_METRES = re.compile(r"\b(\d+(?:\.\d+)?)(?: to (\d+(?:\.\d+)?))? m\b")


def cast_cards(
    marks: Vectors | None, profiles: Table | None, *, foot: Foot
) -> list[dict[str, Any]]:
    """Arrange a card for each mark.

    Parameters
    ----------
    marks : Vectors or None
        With ``mark``; what else is known of each is told where there are such columns.
    profiles : Table or None
        Depth along each cast.
    foot : str
        Of which feet are made.

    Returns
    -------
    list of dict
        ``mark``, ``title``, ``sentence`` as ``(SI, US)``, ``facts`` as ``(label, SI, US)``, and
        ``profile`` or None.
    """
    if marks is None:
        return []
    return [
        {
            "mark": short(str(row["mark"]), 12),
            "title": _title(row),
            "sentence": _sentence(row, foot),
            "facts": _facts(row, foot),
            "place": _place(row),
            "profile": _profile(profiles, row["mark"], foot),
        }
        for row in marks.frame.drop(columns=marks.frame.geometry.name).to_dict("records")
    ]


def _place(row: dict[str, Any]) -> tuple[float, float] | None:
    east, north = _number(row, "easting_m"), _number(row, "northing_m")
    return (east, north) if math.isfinite(east) and math.isfinite(north) else None


def _title(row: dict[str, Any]) -> str:
    kind, peg = _text(row, "kind"), _text(row, "peg")
    return (
        f"Mark {short(str(row['mark']), 12)}"
        + (f": {kind}" if kind else "")
        + (f", from peg {short(peg, 40)}" if peg else "")
    )


def _text(row: dict[str, Any], name: str) -> str:
    value = row.get(name)
    return short(value, _LONGEST) if isinstance(value, str) else ""


def _sentence(row: dict[str, Any], foot: Foot) -> tuple[str, str]:
    """Return the sentence in metres and in feet; of a peg's name no figure is touched."""
    said, peg = _text(row, "sentence"), _text(row, "peg")
    names = ("distance_m", "depth_m", "depth_low_m", "depth_high_m", "over_plants_m")
    known = [_number(row, name) for name in names]

    def in_feet(match: re.Match[str]) -> str:
        told = [_feet(part, known, foot) for part in match.groups() if part]
        return f"{' to '.join(told)} ft"

    start = f"From peg {peg}" if peg and said.startswith(f"From peg {peg}") else ""
    return said, start + _METRES.sub(in_feet, said[len(start) :])


def _feet(told: str, known: list[float], foot: Foot) -> str:
    """Convert a length that was rounded, from the length itself where that is known."""
    digits = len(told.partition(".")[2])
    metres = next((value for value in known if f"{value:.{digits}f}" == told), float(told))
    return f"{convert(metres, 'm', CUSTOMARY[foot]['m']):.{digits}f}"


def _number(row: dict[str, Any], name: str) -> float:
    value = row.get(name)
    return (
        float(value) if isinstance(value, int | float) and not isinstance(value, bool) else math.nan
    )


def _facts(row: dict[str, Any], foot: Foot) -> list[tuple[str, str, str]]:
    """Tell what is known of a mark, in SI and in US customary units."""
    depth, low, high = (_number(row, f"depth{end}_m") for end in ("", "_low", "_high"))
    east, north = _number(row, "easting_m"), _number(row, "northing_m")
    longitude, latitude = _number(row, "longitude_deg"), _number(row, "latitude_deg")
    wraps, magnetic = _number(row, "distance_wraps"), _number(row, "bearing_magnetic_deg")
    cast = f" ({wraps:.1f} wraps)" if math.isfinite(wraps) else ""
    turn = f", {magnetic:.0f}\u00b0 magnetic" if math.isfinite(magnetic) else ""
    away = _both(_number(row, "distance_m"), foot, 0)
    plants = _number(row, "over_plants_m")
    facts = [
        ("Distance", away[0] + cast, away[1] + cast),
        ("Leg of the boat", *_both(_number(row, "leg_m"), foot, 0)),
        _same("Leg begins on", f"{_number(row, 'leg_bearing_deg'):.0f}\u00b0 true"),
        _same("Bearing", f"{_number(row, 'bearing_true_deg'):.0f}\u00b0 true{turn}"),
        ("Depth", *_band(depth, low, high, foot)),
        _same("Slope", f"{_number(row, 'slope_deg'):.0f}\u00b0"),
        ("Over plants", *_both(plants if plants > 0 else math.nan, foot, 0)),
        _same("Easting, northing", f"{east:.0f} {north:.0f}"),
        _same("Latitude, longitude", f"{latitude:.6f}, {longitude:.6f}"),
    ]
    return [fact for fact in facts if "nan" not in fact[1]]


def _same(label: str, told: str) -> tuple[str, str, str]:
    return label, told, told


def _both(metres: float, foot: Foot, digits: int) -> tuple[str, str]:
    feet = convert(metres, "m", CUSTOMARY[foot]["m"])
    return f"{metres:.{digits}f} m", f"{feet:.{digits}f} ft"


def _band(depth: float, low: float, high: float, foot: Foot) -> tuple[str, str]:
    """Tell a depth and its band, to a decimetre and to a tenth of a foot."""
    told = []
    for unit, name in (("m", "m"), (CUSTOMARY[foot]["m"], "ft")):
        value, least, most = (convert(part, "m", unit) for part in (depth, low, high))
        ends = "" if math.isnan(low) else f" ({least:.1f} to {most:.1f})"
        told.append(f"{value:.1f} {name}{ends}")
    return told[0], told[1]


def _profile(profiles: Table | None, mark: Any, foot: Foot) -> dict[str, Any] | None:
    """Draw the depths along a cast as places in a box, the peg to the left."""
    if profiles is None or "mark" not in profiles.frame:
        return None
    frame = profiles.frame[profiles.frame["mark"] == mark]
    frame = frame[np.isfinite(frame["depth_m"].to_numpy(float))]
    if len(frame) < 2:
        return None
    away, depth = (frame[name].to_numpy(float) for name in ("distance_m", "depth_m"))
    low, high = _ends(frame, depth)
    longest, deepest = max(float(away.max()), 1e-6), max(float(np.nanmax(high)), 1e-6)
    across, scale = _WIDE * away / longest, _HIGH / deepest
    return {
        "bed": _points(across, depth * scale),
        "ground": _points(
            np.r_[across, across[-1], across[0]], np.r_[depth * scale, _HIGH + 6, _HIGH + 6]
        ),
        "band": _points(np.r_[across, across[::-1]], np.r_[low, high[::-1]] * scale),
        "distance": _both(longest, foot, 0),
        "deepest": _both(float(depth.max()), foot, 1),
    }


def _ends(frame: "pd.DataFrame", depth: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    names = ("depth_low_m", "depth_high_m")
    if not set(names) <= set(frame):
        return depth, depth
    low, high = (frame[name].to_numpy(float) for name in names)
    return np.where(np.isfinite(low), low, depth), np.where(np.isfinite(high), high, depth)


def _points(across: np.ndarray, down: np.ndarray) -> str:
    return " ".join(f"{x:.1f},{y:.1f}" for x, y in zip(across, down, strict=True))
