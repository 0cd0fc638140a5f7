"""What the sentences of an NMEA 0183 log tell beside depths: fixes, speeds, temperatures."""

import numpy as np

from toolbox.formats.nmea_sentences import Sentences

__all__ = [
    "Columns",
    "joined",
    "one_an_epoch",
    "read_fixes",
    "read_motions",
    "read_temperatures",
]

Columns = dict[str, np.ndarray]
"""Equally long columns; ``epoch`` is the epoch of each row, the least ``rank`` the best row."""

_KNOT = 1852 / 3600  # m/s, exact (international nautical mile)
# fields of latitude, then of what says whether there is a fix
_POSITION = {"GGA": (2, 6), "RMC": (3, 2), "GLL": (1, 6)}
_MODE_FIELD = {"RMC": 12, "GLL": 7}


def read_fixes(sentences: Sentences, epoch: np.ndarray, odd: np.ndarray) -> Columns:
    """Read positions.

    Parameters
    ----------
    sentences : Sentences
        A block.
    epoch : (n,) array of int
        Epoch of each sentence.
    odd : (n,) array of bool
        Sentences whose position cannot be read are marked here.

    Returns
    -------
    Columns
        ``longitude``, ``latitude`` (degrees, NaN where empty), ``valid``, ``hdop``; GGA is better
        than RMC, RMC better than GLL, and none that has no fix better than one that has.
    """
    parts = []
    for rank, kind in enumerate(_POSITION):
        rows = sentences.rows(kind)
        place, status = _POSITION[kind]
        latitude, wrong = _degrees(sentences, rows, place, b"NS", 90)
        longitude, wrong_too = _degrees(sentences, rows, place + 2, b"EW", 180)
        odd[rows] |= wrong | wrong_too
        hdop = sentences.number(rows, 8).value if kind == "GGA" else np.full(len(rows), np.nan)
        valid = _has_fix(sentences, rows, kind, status)
        known = np.where(np.isnan(latitude + longitude), np.nan, 1)
        parts.append(
            {
                "epoch": epoch[rows],
                "rank": rank + len(_POSITION) * ~valid,
                "longitude": longitude * known,
                "latitude": latitude * known,
                "valid": valid,
                "hdop": hdop,
            }
        )
    return joined(parts)


def _has_fix(sentences: Sentences, rows: np.ndarray, kind: str, status: int) -> np.ndarray:
    """Tell whether the receiver says that it has a fix; old GLL say nothing and have one."""
    letter = sentences.letter(rows, status)
    if kind == "GGA":
        return (letter > ord("0")) & (letter <= ord("9"))
    said = (letter == ord("A")) | ((letter == 0) & (kind == "GLL"))
    return said & (sentences.letter(rows, _MODE_FIELD[kind]) != ord("N"))


def _degrees(
    sentences: Sentences, rows: np.ndarray, place: int, sides: bytes, limit: int
) -> tuple[np.ndarray, np.ndarray]:
    """Read ``dddmm.mmm`` and its side; return degrees, and which cannot be right."""
    written, side = sentences.number(rows, place), sentences.letter(rows, place + 1)
    whole = np.floor(written.value / 100)
    minutes = written.value - 100 * whole
    degrees = whole + minutes / 60
    known = ~np.isnan(written.value)
    possible = (minutes < 60) & (degrees <= limit) & ((side == sides[0]) | (side == sides[1]))
    signed = np.where(side == sides[1], -degrees, degrees)
    return np.where(possible, signed, np.nan), written.unreadable | (known & ~possible)


def read_motions(sentences: Sentences, epoch: np.ndarray) -> Columns:
    """Read ``speed`` (m/s) and ``course`` (degrees true) over the ground, RMC before VTG."""
    parts = []
    for rank, (kind, speed, course) in enumerate((("RMC", 7, 8), ("VTG", 5, 1))):
        rows = sentences.rows(kind)
        told = sentences.number(rows, speed).value * _KNOT, sentences.number(rows, course).value
        known = ~np.isnan(told[0])
        parts.append(
            {
                "epoch": epoch[rows][known],
                "rank": np.full(int(known.sum()), rank),
                "speed": told[0][known],
                "course": told[1][known],
            }
        )
    return joined(parts)


def read_temperatures(sentences: Sentences, epoch: np.ndarray) -> Columns:
    """Read the ``temperature`` of the water, degrees Celsius, where the time is known."""
    rows = sentences.rows("MTW")
    value, unit = sentences.number(rows, 1).value, sentences.letter(rows, 2)
    value = np.where(unit == ord("F"), (value - 32) / 1.8, value)
    known = ~np.isnan(value) & (epoch[rows] > 0)
    return {"epoch": epoch[rows][known], "temperature": value[known]}


def one_an_epoch(columns: Columns) -> Columns:
    """Keep the best row of each epoch."""
    order = np.lexsort((columns["rank"], columns["epoch"]))
    epoch = columns["epoch"][order]
    best = order[np.diff(epoch, prepend=-1) > 0]
    return {name: values[best] for name, values in columns.items()}


def joined(parts: list[Columns]) -> Columns:
    """Put columns of several blocks together, and let go of the blocks on the way."""
    return {name: np.concatenate([part.pop(name) for part in parts]) for name in list(parts[0])}
