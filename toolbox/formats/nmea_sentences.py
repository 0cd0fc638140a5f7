"""Sentences of an NMEA 0183 log: split, proved by their checksums and cut into fields, in blocks.

A log is read a block of bytes at a time and all sentences of a block are handled together, so that
memory does not grow with the log and a million sentences take seconds. A sentence begins at ``$``
and ends at the next ``$``, carriage return or line feed, whatever else stands on its line: one that
was cut short by the next does not take it along.
"""

import string
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

__all__ = [
    "BAD_CHECKSUM",
    "LONGEST",
    "NOT_A_SENTENCE",
    "NO_CHECKSUM",
    "OTHER",
    "Sentences",
    "code",
    "read_sentences",
]

BAD_CHECKSUM = "bad checksum"
NO_CHECKSUM = "no checksum"
NOT_A_SENTENCE = "not a sentence"
OTHER = "other sentence"

LONGEST = 1024
"""Bytes; the standard allows 82, and what is longer than this is no sentence of any device."""
_BLOCK = 1 << 20
_ADDRESS = 6  # "$", a talker of two letters and a kind of three
_WIDEST = 24  # characters of a number
_DOLLAR, _STAR, _COMMA, _BLANK, _P = b"$*, P"


def code(letters: bytes) -> int:
    """Return the number that stands for a few letters, such as the kind of a sentence."""
    return int.from_bytes(letters, "big")


@dataclass(frozen=True, eq=False)
class Sentences:
    """The good sentences of one block.

    Parameters
    ----------
    data : (k,) array of uint8
        The bytes of the block.
    stop : (n,) array of int
        Where the fields of each sentence end in `data`.
    kind : (n,) array of int
        Code of the three letters that name the kind, 0 where it has no usual address.
    talker : (n,) array of int
        Code of the two letters before them.
    first : (n,) array of int
        Number of each sentence's first comma in `commas`.
    commas : (m,) array of int
        Where the commas are in `data`.
    """

    data: np.ndarray
    stop: np.ndarray
    kind: np.ndarray
    talker: np.ndarray
    first: np.ndarray
    commas: np.ndarray

    def __len__(self) -> int:
        """Count the sentences."""
        return len(self.stop)

    def rows(self, kind: str) -> np.ndarray:
        """Return which sentences are of a kind, such as ``"GGA"``."""
        return np.flatnonzero(self.kind == code(kind.encode()))

    def field(self, rows: np.ndarray, number: int) -> tuple[np.ndarray, np.ndarray]:
        """Return where a field begins and how long it is, blanks around it left out.

        Fields are counted from 1 after the address; one that is not there has length 0.
        """
        stop = self.stop[rows]
        start = np.minimum(self._comma(rows, number - 1) + 1, stop)
        length = np.maximum(np.minimum(self._comma(rows, number), stop) - start, 0)
        while (padded := (length > 0) & (self.data[start] == _BLANK)).any():
            start, length = start + padded, length - padded
        while (padded := (length > 0) & (self.data[start + length - 1] == _BLANK)).any():
            length = length - padded
        return start, length

    def _comma(self, rows: np.ndarray, number: int) -> np.ndarray:
        place = self.first[rows] + number
        found = self.commas[np.minimum(place, len(self.commas) - 1)]
        return np.where(place < len(self.commas), found, len(self.data))

    def letter(self, rows: np.ndarray, number: int) -> np.ndarray:
        """Return the first byte of a field, 0 where it is empty."""
        start, length = self.field(rows, number)
        return np.where(length > 0, self.data[start], 0)

    def number(self, rows: np.ndarray, number: int) -> "Numbers":
        """Read a field as decimal numbers."""
        return _numbers(self.data, *self.field(rows, number))


@dataclass(frozen=True, eq=False)
class Numbers:
    """One field of several sentences, read as numbers; all shape (n,).

    Parameters
    ----------
    value : array of float
        NaN where the field is empty or no number.
    decimals : array of int
        Digits after the point.
    wholes : array of int
        Digits before it.
    unreadable : array of bool
        Whether the field holds something that is no number.
    """

    value: np.ndarray
    decimals: np.ndarray
    wholes: np.ndarray
    unreadable: np.ndarray


def _numbers(data: np.ndarray, start: np.ndarray, length: np.ndarray) -> Numbers:
    """Read ``[+-]digits[.digits]``, column by column, as exactly as ``float`` does."""
    digits = np.zeros(len(start))
    wholes, decimals = np.zeros(len(start), np.int64), np.zeros(len(start), np.int64)
    point = np.zeros(len(start), bool)
    good = length <= _WIDEST
    first = data[np.minimum(start, len(data) - 1)]
    signed = (length > 0) & ((first == ord("+")) | (first == ord("-")))
    for column in range(min(int(length.max(initial=0)), _WIDEST)):
        byte = data[np.minimum(start + column, len(data) - 1)]
        within = column < length
        figure = byte - np.uint8(ord("0"))  # wraps round, so that all but digits exceed 9
        digit = within & (figure <= 9)
        dot = within & (byte == ord("."))
        good &= ~within | digit | (dot & ~point) | (signed if column == 0 else False)
        digits = np.where(digit, digits * 10 + figure, digits)
        decimals += digit & point
        wholes += digit & ~point
        point |= dot
    good &= (wholes + decimals > 0) | (length == 0)
    value = digits / 10.0**decimals * np.where(signed & (first == ord("-")), -1, 1)
    return Numbers(np.where(good & (length > 0), value, np.nan), decimals, wholes, ~good)


def read_sentences(
    path: Path, counts: Counter[str], *, lenient_checksum: bool, block: int = _BLOCK
) -> Iterator[Sentences]:
    """Read a log block by block.

    Parameters
    ----------
    path : Path
        The log.
    counts : Counter
        Counts up what is skipped, by reason.
    lenient_checksum : bool
        Whether sentences without a checksum are good.
    block : int
        Bytes to read at a time.

    Yields
    ------
    Sentences
        The good ones, in the order of the log.
    """
    rest = b"\n"
    with path.open("rb") as file:
        while fresh := file.read(block):
            data = rest + fresh
            cut = max(data.rfind(mark) for mark in (b"\n", b"\r", b"$"))
            # what goes on beyond the longest sentence is none, however long it goes on
            rest = data[cut : cut + LONGEST + 2]
            if cut:
                yield _split(np.frombuffer(data[: cut + 1], np.uint8), counts, lenient_checksum)
    yield _split(np.frombuffer(rest + b"\n", np.uint8), counts, lenient_checksum)


def _split(data: np.ndarray, counts: Counter[str], lenient: bool) -> Sentences:
    """Split bytes that begin and end with a mark into sentences, and prove them."""
    marks = np.flatnonzero((data == ord("\n")) | (data == ord("\r")) | (data == _DOLLAR))
    start, stop = marks[:-1], marks[1:]
    sentence = data[start] == _DOLLAR
    _count_text(data, start[~sentence], stop[~sentence], counts)
    start, stop = start[sentence], stop[sentence]
    start, star, stop = _sized(data, start, stop, counts)
    good = _proved(data, start, star, stop, counts, lenient)
    return _addressed(data, start[good], np.where(star < stop, star, stop)[good])


def _count_text(
    data: np.ndarray, start: np.ndarray, stop: np.ndarray, counts: Counter[str]
) -> None:
    """Count lines without a sentence; a ``!`` begins one that holds no depth."""
    alone = (data[stop] != _DOLLAR) & (stop - start > 1)
    start, stop = start[alone], stop[alone]
    if not len(start):
        return
    capsule = data[start + 1] == ord("!")
    ink = ((data != _BLANK) & (data != ord("\t"))).view(np.uint8)
    counts[OTHER] += int(capsule.sum())
    counts[NOT_A_SENTENCE] += int(
        _reduced(np.maximum, ink, start[~capsule] + 1, stop[~capsule]).sum()
    )


def _sized(
    data: np.ndarray, start: np.ndarray, stop: np.ndarray, counts: Counter[str]
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return start, place of the checksum's star (or stop) and stop of what may be a sentence."""
    fits = (stop - start > _ADDRESS) & (stop - start <= LONGEST)
    counts[NOT_A_SENTENCE] += int((~fits).sum())
    start, stop = start[fits], stop[fits]
    stars = np.append(np.flatnonzero(data == _STAR), len(data))
    return start, np.minimum(stars[np.searchsorted(stars, start)], stop), stop


def _proved(
    data: np.ndarray,
    start: np.ndarray,
    star: np.ndarray,
    stop: np.ndarray,
    counts: Counter[str],
    lenient: bool,
) -> np.ndarray:
    """Return which sentences are as they were sent.

    References
    ----------
    The checksum is the exclusive or of all bytes between ``$`` and ``*``, in two hexadecimal
    digits (NMEA 0183).
    """
    marked = star < stop
    said = 16 * _hex(data, star + 1, stop) + _hex(data, star + 2, stop)
    ended = ~_WORD[data[np.minimum(star + 3, stop)]]
    found = _reduced(np.bitwise_xor, data, start + 1, star)
    wrong = marked & ~(ended & (said == found))
    cut_short = ~marked & (data[stop] == _DOLLAR)
    bare = ~marked & ~cut_short
    counts[BAD_CHECKSUM] += int(wrong.sum())
    counts[NOT_A_SENTENCE] += int(cut_short.sum())
    counts[NO_CHECKSUM] += int(bare.sum())
    return ~wrong & ~cut_short & (~bare | lenient)


def _addressed(data: np.ndarray, start: np.ndarray, stop: np.ndarray) -> Sentences:
    """Read the addresses; a P begins that of a maker's own sentence, whatever follows."""
    letters = [data[start + place].astype(np.int64) for place in range(1, _ADDRESS)]
    usual = (data[start + _ADDRESS] == _COMMA) & (letters[0] != _P)
    usual &= _WORD[data[start + 1]] & _WORD[data[start + 2]]
    talker = (letters[0] << 8) + letters[1]
    kind = (letters[2] << 16) + (letters[3] << 8) + letters[4]
    commas = np.flatnonzero(data == _COMMA)
    first = np.searchsorted(commas, start)
    return Sentences(data, stop, np.where(usual, kind, 0), talker, first, commas)


def _reduced(
    function: np.ufunc, data: np.ndarray, start: np.ndarray, stop: np.ndarray
) -> np.ndarray:
    """Reduce the bytes from each start up to its stop, which must follow one another; 0 if none."""
    if not len(start):
        return np.empty(0, data.dtype)
    edges = np.column_stack([start, stop]).ravel()
    found = function.reduceat(data, edges)[::2]
    return np.where(stop > start, found, 0)


def _hex(data: np.ndarray, place: np.ndarray, stop: np.ndarray) -> np.ndarray:
    """Read a hexadecimal digit, 1000 where there is none."""
    return np.where(place < stop, _HEX[data[np.minimum(place, stop)]], 1000)


_HEX = np.full(256, 1000)
_HEX[np.frombuffer(string.hexdigits.encode(), np.uint8)] = [*range(16), *range(10, 16)]
_WORD = np.isin(np.arange(256), [ord(letter) for letter in string.ascii_letters + string.digits])
