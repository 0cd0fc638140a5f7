"""Checks of stage-area-volume tables: where one contradicts itself, row by row."""

import bisect
from dataclasses import replace
from typing import Annotated

import numpy as np

from toolbox.errors import LayerError
from toolbox.layers import Table
from toolbox.tool import Range, tool
from toolbox.units import convert
from toolbox.volume.consistency import Rows, chain
from toolbox.volume.row_faults import Finding, Words, finding, layer_fault, row_faults, slip
from toolbox.volume.row_shifts import Shift, shifted
from toolbox.words import counted

__all__ = ["check_table"]

_PLAIN = 1.15  # ratio from which all volumes are taken to be in another unit
_ALIKE, _HALF = 0.05, 0.5  # so many layers must be off by one factor, within that share
_GAP = 1.5
_FEWEST = 3  # figures that anyone rounds an area or a volume to
_HAIR = 1e-11
_MOST = 0.8

Names = tuple[str, str, str | None]


@tool("Contradictions in a stage table")
def check_table(
    table: Table,
    *,
    level: str = "depth_m",
    area: str = "area_m2",
    volume: str | None = None,
    level_unit: str = "m",
    area_unit: str = "m^2",
    volume_unit: str = "m^3",
    tolerance: Annotated[float, Range("", min=0, max=1)] = 0.001,
) -> Table:
    """List what contradicts itself in a table of levels, areas and volumes.

    Parameters
    ----------
    table : Table
        One row per level.
    level : str
        Name of the column of depths or of elevations; which of the two, the areas tell.
    area : str
        Name of the column of areas.
    volume : str, optional
        Name of the column of volumes, below each level or above it; if left out, levels and areas
        alone are looked at.
    level_unit : str
        Unit of the levels, such as ``m``, ``ft`` or ``survey_foot``.
    area_unit : str
        Unit of the areas, such as ``m^2``, ``hectare`` or ``acre``.
    volume_unit : str
        Unit of the volumes, such as ``m^3``, ``litre`` or ``acre_foot``.
    tolerance : float
        Share by which a layer's volume may miss what its areas allow, beside the rounding of the
        figures printed.

    Returns
    -------
    Table
        One row per finding, empty if there is none, with columns ``row`` (its number in the table
        below the header, from 1; empty for the table as a whole), ``level``, ``what`` (``missing,
        order, duplicate, area, volume, level, row, swapped, shifted, layer, gap, unit``), ``found,
        expected`` (in the table's units), ``off_share`` and ``text``.

    Raises
    ------
    LayerError
        If there is no such column, or fewer than three whole rows.

    Notes
    -----
    Whatever a bed is like, its area does not grow downward, and a layer holds at least its height
    times the lower and at most its height times the upper area. The fewest rows are named without
    which this holds throughout; of each, the column is named that alone is to blame, by what the
    other rows lead to expect. An error that leaves the table possible cannot be found, and is less
    than the areas change from one row to the next. ``layer`` is a volume wrong between two rows
    that are right otherwise, carried on through all others; ``shifted`` a column whose figures from
    that row on stand one row too low or too high. ``gap``: a step much wider than those
    about it. Slips of units are guessed from ratios, within 2 %.
    """
    names: Names = (level, area, volume)
    columns = [np.full(len(table.frame), np.nan) if n is None else table.column(n) for n in names]
    whole = np.asarray(np.isfinite(columns if volume else columns[:2]).all(axis=0))
    if whole.sum() < 3:
        raise LayerError(f"the table must have three whole rows or more, got {whole.sum()}")
    units = ((level_unit, "m"), (area_unit, "m^2"), (volume_unit, "m^3"))
    factors = [float(convert(1.0, unit, to)) for unit, to in units]
    words, rows = _sorted(columns, whole, factors, tolerance)
    findings = _missing(names, columns, whole) + _contradictions(words, rows)
    return _listed(findings, len(table.frame), volume)


def _contradictions(words: Words, rows: Rows) -> list[Finding]:
    """Find what contradicts itself in whole rows."""
    scaled, findings = _to_one_unit(rows)
    # a column that slipped by a row may look like one of another unit
    for one in (rows, scaled) if findings else (rows,):
        found = chain(one)
        if (shift := shifted(one, found)) is not None:
            return [*(findings if one is scaled else []), _shift(words, one, shift)]
    findings += row_faults(words, scaled, found) + _order(words, scaled, found.kept)
    findings += [layer_fault(words, scaled, row) for row in found.broken]
    return findings + _gaps(words, scaled, findings)


def _listed(findings: list[Finding], count: int, volume: str | None) -> Table:
    import pandas as pd

    columns = ["row", "level", "what", "found", "expected", "off_share", "text"]
    frame = pd.DataFrame(findings, columns=columns)
    frame = frame.astype({"row": "Int64"}).drop_duplicates(["row", "what"])
    frame = frame.sort_values("row", kind="stable", na_position="first").reset_index(drop=True)
    named = frame["row"].nunique()
    note = f"{counted(len(frame), 'finding')} in {named} of {counted(count, 'row')}"
    unseen = () if volume else ("volumes were not looked at: volume names their column",)
    return Table(frame, "Contradictions", (note, *unseen))


def _sorted(
    columns: list[np.ndarray], whole: np.ndarray, factors: list[float], tolerance: float
) -> tuple[Words, Rows]:
    """Sort whole rows from the top down, in SI, and remember how the table says it."""
    level, area, volume = (column[whole] for column in columns)
    up = _trend(level, area) > 0
    downward = np.isfinite(volume).all() and _trend(volume, area) < 0
    above = float(volume.max()) if downward else 0.0
    depth = (-level if up else level) * factors[0]
    order = np.argsort(depth, kind="stable")
    rows = Rows(
        (np.flatnonzero(whole) + 1)[order],
        depth[order],
        area[order] * factors[1],
        (above - volume if downward else volume)[order] * factors[2],
        _last_digits(area)[order] * factors[1],
        _last_digits(volume)[order] * factors[2],
        tolerance,
        _level_digit(np.sort(level)) * factors[0],
    )
    return Words((factors[0], factors[1], factors[2]), up, above), rows


def _missing(names: Names, columns: list[np.ndarray], whole: np.ndarray) -> list[Finding]:
    findings = []
    for row in np.flatnonzero(~whole):
        gone = [n for n, c in zip(names, columns, strict=True) if n and not np.isfinite(c[row])]
        text = f"row {row + 1} has no {' and no '.join(gone)}"
        findings.append(finding("missing", text, int(row) + 1, float(columns[0][row])))
    return findings


def _shift(words: Words, rows: Rows, shift: Shift) -> Finding:
    """Say from which row on a column stands a row from where it belongs."""
    order = np.argsort(rows.number)
    number, depth = rows.number[order][shift.row], rows.depth[order][shift.row]
    name = {"area": "areas", "below": "volumes", "depth": "levels"}[shift.field]
    way = "low" if shift.low else "high"
    text = f"the {name} from row {number} on stand one row too {way}"
    return finding("shifted", text, int(number), words.level(depth))


def _order(words: Words, rows: Rows, kept: np.ndarray) -> list[Finding]:
    """Name rows that stand in a wrong place and are not wrong themselves."""
    number = rows.number[kept]  # by depth, so they must ascend or descend
    steps = np.diff(number)
    number = -number if (steps > 0).sum() < (steps < 0).sum() else number
    return [
        finding(
            "order",
            f"row {abs(number[k])} stands out of the order of levels",
            int(abs(number[k])),
            words.level(rows.depth[kept[k]]),
        )
        for k in _misplaced(number)
    ]


def _misplaced(number: np.ndarray) -> list[int]:
    """Fewest places whose numbers must be taken out for the rest to ascend; two if two swapped."""
    displaced = np.flatnonzero(np.argsort(number, kind="stable") != np.arange(len(number)))
    if len(displaced) <= 2:
        return [int(place) for place in displaced]
    ends: list[int] = []
    length = []
    for value in number.tolist():
        place = bisect.bisect_left(ends, value)
        ends[place : place + 1] = [value]
        length.append(place + 1)
    left, out = len(ends), []
    for place in range(len(number) - 1, -1, -1):
        if length[place] == left:
            left -= 1
        else:
            out.append(place)
    return out[::-1]


def _trend(one: np.ndarray, other: np.ndarray) -> float:
    """Correlation of ranks, which a wrong row does not turn."""
    first, second = (np.argsort(np.argsort(v, kind="stable")) for v in (one, other))
    return float(np.corrcoef(first, second)[0, 1])


def _last_digits(values: np.ndarray) -> np.ndarray:
    """Return the last digit that is printed of each value, in decimals or in figures."""
    size = np.abs(values)
    if not size.max() > 0:
        return np.zeros(len(values))
    decimal = next((10.0**-k for k in range(-12, 9) if _is_rounded(values, k)), 0.0)
    first = np.floor(np.log10(np.where(size > 0, size, 1.0)))
    figures = next((k for k in range(_FEWEST, 16) if _is_rounded(values, k - 1 - first)), 16)
    return np.maximum(decimal, np.where(size > 0, 10.0 ** (first - figures + 1), 0.0))


def _is_rounded(values: np.ndarray, decimals: float | np.ndarray) -> bool:
    scale = 10.0 ** np.asarray(decimals, float)
    off = np.abs(np.round(values * scale) / scale - values)
    return bool((off <= _HAIR * np.abs(values)).all())


def _level_digit(levels: np.ndarray) -> float:
    """Return the last digit of levels that were of one step before they were rounded, else 0."""
    unit = next((10.0**-k for k in range(7) if _is_rounded(levels, k)), 0.0)
    # the first or the last row may be one of its own, such as the deepest place
    for part in (levels, levels[:-1], levels[1:], levels[1:-1]):
        off = np.abs(part - np.linspace(part[0], part[-1], len(part)))
        if (off <= 1.01 * unit).mean() >= _MOST and (off > 0.05 * unit).mean() > _HALF:
            return unit
    return 0.0


def _to_one_unit(rows: Rows) -> tuple[Rows, list[Finding]]:
    """Bring volumes to what the areas say, where all of them are off by one factor."""
    height = np.diff(rows.depth)
    expected = height * (rows.area[:-1] + rows.area[1:]) / 2
    held = -np.diff(rows.below)
    # a layer of a few last digits tells nothing of its unit
    unit = np.broadcast_to(rows.volume_unit, len(rows))
    told = (expected > 0) & (held > 0) & (held > 10 * (unit[:-1] + unit[1:]))
    if not told.any():
        return rows, []
    ratio = float(np.median(held[told] / expected[told]))
    alike = np.abs(held[told] / expected[told] / ratio - 1) <= _ALIKE
    if 1 / _PLAIN < ratio < _PLAIN or alike.mean() < _HALF:
        return rows, []
    text = f"volumes are {ratio:.4g} times what levels and areas give{slip(ratio)}"
    scaled = replace(rows, below=rows.below / ratio, volume_unit=rows.volume_unit / ratio)
    return scaled, [finding("unit", text, None, np.nan, ratio, 1.0)]


def _gaps(words: Words, rows: Rows, others: list[Finding]) -> list[Finding]:
    """Name steps much wider than those on both sides, between levels that are right."""
    wrong = [each["row"] for each in others if each["what"] in ("level", "duplicate")]
    good = ~np.isin(rows.number, wrong)
    depth, number = rows.depth[good], rows.number[good]
    step = np.diff(depth)
    findings = []
    for k in range(len(step) if len(step) > 2 else 0):
        before, after = step[max(k - 3, 0) : k], step[k + 1 : k + 4]
        if step[k] <= _GAP * max(side.max(initial=0) for side in (before, after)):
            continue
        ends = sorted((words.level(depth[k]), words.level(depth[k + 1])))
        wide, usual = (
            float(w) / words.factors[0] for w in (step[k], np.median(np.r_[before, after]))
        )
        text = f"from {ends[0]:g} to {ends[1]:g} there is no row, the usual step is {usual:g}"
        findings.append(finding("gap", text, int(number[k]), words.level(depth[k]), wide, usual))
    return findings
