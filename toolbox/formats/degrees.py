"""Degrees: longitude and latitude as people write them, with minutes and seconds."""

import re
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from toolbox.errors import InputFileError
from toolbox.formats.delimited import numbers, refuse
from toolbox.formats.layout import MISSING
from toolbox.notes import Assumption
from toolbox.words import counted

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["degrees"]

_PART = r"(\d{1,3}(?:[.,]\d{1,12})?)"
_MARK = "[\\s\u00b0\u00ba'\u2019\u2032\"\u201d\u2033:]"  # degree, minute and second, as typed
_ANGLE = re.compile(
    rf"([NSEW]?)\s?([-+]?){_PART}(?:{_MARK}{{1,4}}{_PART})?(?:{_MARK}{{1,4}}{_PART})?"
    rf"{_MARK}{{0,4}}([NSEW]?)",
    re.IGNORECASE,
)
_LONGEST = 40  # characters
_SIXTY = 60
_LETTERS = (("E", "W"), ("N", "S"))


def degrees(
    frame: "pd.DataFrame", columns: tuple[str, str], path: Path
) -> tuple[np.ndarray, tuple[str, ...]]:
    """Read longitude and latitude from a text table.

    Parameters
    ----------
    frame : DataFrame
        From :func:`toolbox.formats.delimited.read_delimited`.
    columns : (str, str)
        Longitude and latitude.
    path : Path
        Named in errors.

    Returns
    -------
    place : (n, 2) array
        Longitude and latitude, degrees, east and north positive; NaN where a cell is empty.
    notes : tuple of str
        How many were exchanged, if any.

    Raises
    ------
    InputFileError
        At the first cell that holds no such angle.

    Notes
    -----
    Numbers are degrees. Text may be degrees, degrees and minutes, or these and seconds, with their
    marks or blanks between, and N, S, E or W before or behind: ``53° 48.5011' N``, ``53 48 30.1``,
    ``W 93°24'``. O is refused: it is the east of some languages and the west of others. Where the
    letters say that a longitude stands in the column of latitudes and the other way round, the two
    are exchanged.
    """
    try:
        return np.column_stack([numbers(frame, column, path) for column in columns]), ()
    except InputFileError:
        found = [_column(frame, column, path) for column in columns]
    place = np.column_stack([values for values, _ in found])
    letters = np.column_stack([letter for _, letter in found])
    swapped = np.isin(letters[:, 0], _LETTERS[1]) & np.isin(letters[:, 1], _LETTERS[0])
    place[swapped] = place[swapped, ::-1]
    letters[swapped] = letters[swapped, ::-1]
    for k, column in enumerate(columns):
        most = (180, 90)[k]
        wrong = ~np.isin(letters[:, k], ("", *_LETTERS[k])) | (np.abs(place[:, k]) > most)
        refuse(frame, column, path, wrong, f"{('longitude', 'latitude')[k]} of at most {most}")
    told = f"longitude and latitude of {counted(int(swapped.sum()), 'place')} exchanged, as their "
    return place, (Assumption(f"{told}letters say"),) if swapped.any() else ()


def _column(frame: "pd.DataFrame", column: str, path: Path) -> tuple[np.ndarray, np.ndarray]:
    """Return the angles of a column, degrees, and the letters that they bear."""
    texts = frame[column].astype(str).str.strip()
    found = [_angle(text) for text in texts]
    values = np.array([value for value, _ in found], float)
    wrong = np.isnan(values) & ~texts.str.lower().isin(MISSING).to_numpy()
    refuse(frame, column, path, wrong, "degrees such as 53.80835 or 53° 48.501' N, or be empty")
    return values, np.array([letter for _, letter in found])


def _angle(text: str) -> tuple[float, str]:
    found = _ANGLE.fullmatch(text) if len(text) <= _LONGEST else None
    if found is None:
        return np.nan, ""
    before, sign, *parts, behind = found.groups(default="")
    whole, minutes, seconds = (float(part.replace(",", ".") or 0) for part in parts)
    told = [part for part in parts if part]
    broken = any("." in part or "," in part for part in told[:-1])  # only the last has a fraction
    if broken or max(minutes, seconds) >= _SIXTY or len(before + sign + behind) > 1:
        return np.nan, ""
    letter = (before + behind).upper()
    angle = whole + minutes / 60 + seconds / 3600
    return (-angle if letter in ("S", "W") or sign == "-" else angle), letter
