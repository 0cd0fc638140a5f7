"""Finds: features of the bed and marks, in words that one can take along."""

from typing import Any

import numpy as np

from toolbox.layers import Vectors
from toolbox.report.text import one_line
from toolbox.words import counted

__all__ = ["features_told", "marks_told"]

_MOST = 12  # of each kind that are told; the file has all

_KINDS = {
    "drop-off lip": ("drop-off", ""),
    "gully": ("gully", "gullies"),
    "hump": ("hump", ""),
    "bar": ("bar", ""),
    "plateau": ("plateau", ""),
    "hole": ("hole", ""),
    "shelf": ("shelf", "shelves"),
}


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
    for kind, (name, plural) in _KINDS.items():
        rows = frame[frame["kind"] == kind].sort_values("relief_m", ascending=False)
        if len(rows):
            lines.append(f"{counted(len(rows), name, plural)}:")
            lines += [_feature(row) for row in rows.head(_MOST).to_dict("records")]
            if len(rows) > _MOST:
                lines.append(f"and {len(rows) - _MOST} more, in features.csv")
    return lines or ["nothing stands out from the bed at the spacing of the lines"]


def marks_told(marks: Vectors) -> list[str]:
    """Say where to put a bait, the best first, with what a person must mind.

    Parameters
    ----------
    marks : Vectors
        From the tools that rank marks.

    Returns
    -------
    list of str
        One a line of the page.
    """
    told = [
        f"{number:>3}  {one_line(str(sentence))}"
        for number, sentence in enumerate(marks.frame["sentence"], start=1)
    ]
    return [*told, *marks.notes]


def _feature(row: dict[str, Any]) -> str:
    """Say how deep it lies, how large and how sure it is."""
    parts = [f"{row['feature']:>4}  {row['depth_least_m']:.1f} to {row['depth_greatest_m']:.1f} m"]
    for name, words in (("relief_m", "{:.1f} m of relief"), ("area_m2", "{:,.0f} m2")):
        if _known(row[name]):
            parts.append(words.format(row[name]))
    if _known(row["length_m"]) and not _known(row["area_m2"]):
        parts.append(f"{row['length_m']:.0f} m long")
    if _known(row["confidence"]):
        parts.append(f"{row['confidence']:.0%} sure")
    return ", ".join(parts)


def _known(value: Any) -> bool:
    return value is not None and bool(np.isfinite(value))
