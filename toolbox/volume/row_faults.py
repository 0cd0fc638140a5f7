"""Faults of single rows of a stage table: which figure is to blame, by what the others say."""

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from toolbox.volume.consistency import Chain, Rows

__all__ = ["Finding", "Words", "finding", "layer_fault", "row_faults", "slip"]

_MIXED = {
    "feet for metres": 0.3048,
    "acres for hectares": 0.40468564224,
    "acres for square metres": 4046.8564224,
    "hectares for square metres": 1e4,
    "square feet for square metres": 0.09290304,
    "cubic feet for cubic metres": 0.028316846592,
    "acre-feet for cubic metres": 1233.48183754752,
    "acre-feet for megalitres": 1.23348183754752,
    "gallons for cubic metres": 0.003785411784,
    "a decimal point moved by one": 10.0,
    "a decimal point moved by two": 100.0,
    "litres for cubic metres, or a decimal point moved by three": 1000.0,
    "a decimal point moved by six": 1e6,
}
"""Slips of units, and how many of the second make one of the first."""

_NEAR = 0.02  # share within which a ratio is taken for such a slip
_PLAIN = 1.15  # ratio from which one looks for it
_SURE = 0.25  # of a layer: beyond it no single column is to blame

Finding = dict[str, Any]


def finding(
    what: str,
    text: str,
    row: int | None = None,
    level: float = np.nan,
    found: float = np.nan,
    expected: float = np.nan,
) -> Finding:
    """Make one row of the table of findings."""
    off = found / expected - 1 if expected else np.nan
    return dict(
        zip(
            ("row", "level", "what", "found", "expected", "off_share", "text"),
            (row, level, what, found, expected, off, text),
            strict=True,
        )
    )


@dataclass(frozen=True)
class Words:
    """How to say depths, areas and volumes as the table does.

    Parameters
    ----------
    factors : tuple of float
        m, m2 and m3 that make its units.
    up : bool
        Whether its levels are elevations.
    above : float
        Its whole volume, in its unit, where volumes count from the top down; else 0.
    """

    factors: tuple[float, float, float]
    up: bool
    above: float

    def level(self, depth: float) -> float:
        """Return a level in the table's words."""
        return float((-depth if self.up else depth) / self.factors[0])

    def area(self, area: float) -> float:
        """Return an area in the table's unit."""
        return float(area / self.factors[1])

    def volume(self, below: float) -> float:
        """Return a volume in the table's words."""
        volume = below / self.factors[2]
        return float(self.above - volume if self.above else volume)


def slip(ratio: float) -> str:
    """Say which slip of units a ratio looks like, if any."""
    if not ratio > 0:
        return ""
    for text, factor in _MIXED.items():
        if min(abs(ratio * factor - 1), abs(ratio / factor - 1)) <= _NEAR:
            return f": as {text}, or the other way round"
    return ""


def row_faults(words: Words, rows: Rows, found: Chain) -> list[Finding]:
    """Say of each row that contradicts the others what is wrong with it."""
    findings: list[Finding] = []
    done: set[int] = set()
    for row in np.setdiff1d(np.arange(len(rows)), found.kept).tolist():
        if row in done:
            continue
        if (twin := _duplicate_of(rows, row, found.kept)) is not None:
            findings.append(_duplicate(words, rows, row, twin))
        elif (swap := _swapped(rows, row)) is not None:
            other, column = swap
            done.add(other)
            pairs = ((row, other), (other, row))
            findings += [_swap(words, rows, one, two, column) for one, two in pairs]
        else:
            findings += _wrong(words, rows, row, found.kept)
    return findings


def _duplicate_of(rows: Rows, row: int, kept: np.ndarray) -> int | None:
    """Return the row kept that says the same, if any."""
    same = (rows.depth[kept] == rows.depth[row]) & (rows.area[kept] == rows.area[row])
    if rows.has_volume:
        same &= rows.below[kept] == rows.below[row]
    return int(kept[same][0]) if same.any() else None


def _duplicate(words: Words, rows: Rows, row: int, twin: int) -> Finding:
    text = f"row {rows.number[row]} repeats row {rows.number[twin]}"
    return finding("duplicate", text, int(rows.number[row]), words.level(rows.depth[row]))


def _swapped(rows: Rows, row: int) -> tuple[int, str] | None:
    """Return the neighbour with which a row's figures are swapped, and whose, if they are."""
    columns = [("areas", ("area",)), ("volumes", ("below",)), ("levels", ("area", "below"))]
    for other in (row - 1, row + 1):
        if not 0 <= other < len(rows):
            continue
        for name, fields in columns if rows.has_volume else columns[:1]:
            order = np.arange(len(rows))
            order[[row, other]] = order[[other, row]]
            mended = replace(rows, **{field: getattr(rows, field)[order] for field in fields})
            first, last = max(min(row, other) - 1, 0), min(max(row, other) + 1, len(rows) - 1)
            upper = np.arange(first, last)
            if np.isfinite(mended.misfit(upper, upper + 1)).all():
                return other, name
    return None


def _swap(words: Words, rows: Rows, row: int, other: int, column: str) -> Finding:
    text = f"the {column} of rows {rows.number[row]} and {rows.number[other]} look swapped"
    return finding("swapped", text, int(rows.number[row]), words.level(rows.depth[row]))


def _wrong(words: Words, rows: Rows, row: int, kept: np.ndarray) -> list[Finding]:
    """Name the column to blame for a row, or its layers where both err to one side."""
    number, level = int(rows.number[row]), words.level(rows.depth[row])
    what, found, expected = _blame(rows, row, kept)
    layers = _impossible(rows, row)
    if layers and (what == "row" or (what == "volume" and _to_one_side(rows, row))):
        own = finding("row", f"row {number} does not fit the rows about it", number, level)
        told = [layer_fault(words, rows, layer) for layer in layers]
        return told if what == "volume" else [own, *told]
    if what == "row":
        return [finding("row", f"row {number} does not fit the rows about it", number, level)]
    say = {"area": words.area, "volume": words.volume, "level": words.level}[what]
    shown, wanted = say(found), say(expected)
    ratio = found / expected if expected else np.nan
    like = slip(ratio) if not 1 / _PLAIN < ratio < _PLAIN else ""
    text = f"{what} of row {number} is {shown:.10g}, the other rows lead to {wanted:.8g}{like}"
    return [finding(what, text, number, level, shown, wanted)]


def _impossible(rows: Rows, row: int) -> list[int]:
    """Upper rows of the layers about a row whose volumes their areas do not allow."""
    upper = np.array([k for k in (row - 1, row) if 0 <= k < len(rows) - 1])
    level = rows.depth[upper + 1] > rows.depth[upper]
    # a row whose level is wrong has come between others that it has nothing to do with
    listed = np.abs(rows.number[upper + 1] - rows.number[upper]) == 1
    bad = level & listed & ~np.isfinite(rows.misfit(upper, upper + 1)) & rows.has_volume
    return [int(k) for k in upper[bad]]


def _to_one_side(rows: Rows, row: int) -> bool:
    """Whether both layers about a row hold more than their areas say, or both less."""
    if not 0 < row < len(rows) - 1:
        return False
    three = slice(row - 1, row + 2)
    height, area = np.diff(rows.depth[three]), rows.area[three]
    over = -np.diff(rows.below[three]) - height * (area[:-1] + area[1:]) / 2
    return bool((over > 0).all() or (over < 0).all())


def _blame(rows: Rows, row: int, kept: np.ndarray) -> tuple[str, float, float]:
    depth, area, below = rows.depth[kept], rows.area[kept], rows.below[kept]
    here = float(rows.depth[row])
    if not depth[0] <= here <= depth[-1]:
        within = depth[0] < _at(rows.area[row], area, depth) < depth[-1]
        expected = _at(rows.area[row], area, depth)
        return ("level", here, expected) if within else ("row", np.nan, np.nan)
    expected_area = float(np.interp(here, depth, area))
    if not rows.has_volume:
        return "area", float(rows.area[row]), expected_area
    expected_below = _expected(here, depth, area, below)
    place = int(np.clip(np.searchsorted(depth, here), 1, len(depth) - 1))
    steps = np.array([area[place - 1] - area[place], below[place - 1] - below[place]])
    off = np.array([rows.area[row] - expected_area, rows.below[row] - expected_below])
    # told by each column alone, at which depth the row belongs
    by_area, by_below = (
        _at(value[row], column, depth) for value, column in ((rows.area, area), (rows.below, below))
    )
    apart = abs(by_area - by_below) / (depth[place] - depth[place - 1])
    with np.errstate(divide="ignore", invalid="ignore"):
        area_off, below_off = np.abs(off) / np.maximum(steps, rows.units_of(row))
    blames = {
        "area": (below_off, rows.area[row], expected_area),
        "volume": (area_off, rows.below[row], expected_below),
        "level": (apart, here, by_below),
    }
    what = min(blames, key=lambda name: blames[name][0])
    misfit, found, expected = blames[what]
    return (what, float(found), float(expected)) if misfit <= _SURE else ("row", np.nan, np.nan)


def _at(value: float, column: np.ndarray, depth: np.ndarray) -> float:
    """Depth at which a column that falls with depth has a value."""
    return float(np.interp(value, column[::-1], depth[::-1]))


def _expected(here: float, depth: np.ndarray, area: np.ndarray, below: np.ndarray) -> float:
    """Volume below a depth by the rows: a cubic between them whose slope is the area."""
    from scipy.interpolate import CubicHermiteSpline

    return float(CubicHermiteSpline(depth, below, -area)(here))


def layer_fault(words: Words, rows: Rows, row: int) -> Finding:
    """Say what a layer holds and what its areas give."""
    height = rows.depth[row + 1] - rows.depth[row]
    held = rows.below[row] - rows.below[row + 1]
    expected = height * (rows.area[row] + rows.area[row + 1]) / 2
    numbers = sorted((int(rows.number[row]), int(rows.number[row + 1])))
    shown, wanted = held / words.factors[2], expected / words.factors[2]
    text = (
        f"rows {numbers[0]} and {numbers[1]} differ by {shown:.6g} in volume, their levels and "
        f"areas by {wanted:.6g}"
    )
    level = words.level(rows.depth[row])
    return finding("layer", text, int(rows.number[row]), level, shown, wanted)
