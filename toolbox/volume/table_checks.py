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
from toolbox.words import counted

__all__ = ["check_table"]

_PLAIN = 1.15  # ratio from which all volumes are taken to be in another unit
_GAP = 1.5

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
        order, duplicate, area, volume, level, row, swapped, layer, gap, unit``), ``found,
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
    that are right otherwise, carried on through all others. ``gap``: a step much wider than those
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
    rows, mixed = _to_one_unit(rows)
    found = chain(rows)
    findings = _missing(names, columns, whole) + mixed + row_faults(words, rows, found)
    findings += _order(words, rows, found.kept)
    findings += [layer_fault(words, rows, row) for row in found.broken]
    findings += _gaps(words, rows, findings)
    return _listed(findings, len(table.frame), volume)


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
        _last_digit(area) * factors[1],
        _last_digit(volume) * factors[2],
        tolerance,
    )
    return Words((factors[0], factors[1], factors[2]), up, above), rows


def _missing(names: Names, columns: list[np.ndarray], whole: np.ndarray) -> list[Finding]:
    findings = []
    for row in np.flatnonzero(~whole):
        gone = [n for n, c in zip(names, columns, strict=True) if n and not np.isfinite(c[row])]
        text = f"row {row + 1} has no {' and no '.join(gone)}"
        findings.append(finding("missing", text, int(row) + 1, float(columns[0][row])))
    return findings


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


def _last_digit(values: np.ndarray) -> float:
    for decimals in range(-6, 9):
        if np.abs(np.round(values, decimals) - values).max() <= 1e-9 * np.abs(values).max():
            return float(10.0**-decimals)
    return 1e-9 * float(np.abs(values).max())


def _to_one_unit(rows: Rows) -> tuple[Rows, list[Finding]]:
    """Bring volumes to what the areas say, where all of them are off by one factor."""
    height = np.diff(rows.depth)
    expected = height * (rows.area[:-1] + rows.area[1:]) / 2
    held = -np.diff(rows.below)
    told = (expected > 0) & (held > 0)
    if not told.any():
        return rows, []
    ratio = float(np.median(held[told] / expected[told]))
    if 1 / _PLAIN < ratio < _PLAIN:
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
