"""Finds: features of the bed and marks, in words that one can take along."""

from typing import Any

import numpy as np

from toolbox.layers import Vectors
from toolbox.report.text import one_line
from toolbox.words import counted

__all__ = ["features_told", "marks_told"]

_MOST = 12  # of each kind that are told; the file has all
_SUREST = 0.99  # a hundred draws tell no more
_SURE = "more than 99 % sure to be there, unless a line says less:"

_KINDS = {
    "drop-off lip": ("drop-off", "", "falls {:.1f} m"),
    "gully": ("gully", "gullies", "{:.1f} m below its sides"),
    "hump": ("hump", "", "rises {:.1f} m"),
    "bar": ("bar", "", "rises {:.1f} m"),
    "plateau": ("plateau", "", "rises {:.1f} m"),
    "hole": ("hole", "", "{:.1f} m below its rim"),
    "shelf": ("shelf", "shelves", ""),
}
"""Kinds that are told: in the singular, the plural, and what their relief means."""


def features_told(features: Vectors) -> list[str]:
    """Say what was found on the bed, kind by kind.

    Parameters
    ----------
    features : Vectors
        From the tool that finds the features of the bed.

    Returns
    -------
    list of str
        One a line of the page.
    """
    frame = features.frame
    lines = []
    for kind, (name, plural, relief) in _KINDS.items():
        order = "relief_m" if relief else "area_m2"
        rows = frame[frame["kind"] == kind].sort_values(order, ascending=False, kind="stable")
        if len(rows):
            lines.append(f"{counted(len(rows), name, plural)}:")
            lines += [_feature(row, relief) for row in rows.head(_MOST).to_dict("records")]
            if len(rows) > _MOST:
                lines.append(f"     and {len(rows) - _MOST} more, in features.csv")
    if not lines:
        lines.append(
            "no form high and steep enough to be told was found, at the spacing of the lines"
        )
    elif frame["confidence"].notna().any():
        lines.insert(0, _SURE)
    return [*lines, *map(one_line, features.notes)]


def marks_told(marks: Vectors) -> list[str]:
    """Say where to put a bait, the best first, with what a person must mind.

    Parameters
    ----------
    marks : Vectors
        From the tools that rank marks, or put them in the order of a tour.

    Returns
    -------
    list of str
        One a line of the page.
    """
    boat = "leg_m" in marks.frame
    head = "in the order of the tour:" if boat else "the best first:"
    told = [
        f"{number:>3}  {one_line(str(sentence))}"
        for number, sentence in zip(marks.frame["mark"], marks.frame["sentence"], strict=True)
    ]
    return [*([head] if told else []), *told, *map(one_line, marks.notes)]


def _feature(row: dict[str, Any], relief: str) -> str:
    """Say how deep it lies, how large it is, where, and how sure."""
    parts = [f"{row['depth_least_m']:.1f} to {row['depth_greatest_m']:.1f} m deep"]
    if relief and _known(row["relief_m"]):
        parts.append(relief.format(row["relief_m"]))
    if _known(row["area_m2"]):
        parts.append(f"{row['area_m2']:,.0f} m2")
    elif _known(row["length_m"]):
        parts.append(f"{row['length_m']:,.0f} m long")
    place = row["geometry"].representative_point()
    parts.append(f"at {place.x:.0f} E {place.y:.0f} N")
    if _known(share := row["confidence"]) and share <= _SUREST:
        parts.append(f"{100 * share:.0f} % sure")
    return f"{row['feature']:>3}  {', '.join(parts)}"


def _known(value: Any) -> bool:
    return value is not None and bool(np.isfinite(value))
