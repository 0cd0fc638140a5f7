"""Tell what an example gave: a sentence of figures, and the first rows of a table."""

import math
from pathlib import Path
from typing import Any

import numpy as np

from toolbox.catalogue import find, record
from toolbox.formats.doors import READERS
from toolbox.layers import Grid, Picture, Shoreline, Soundings, Table, Tin, Vectors

__all__ = ["read_result", "tell"]

ROWS, COLUMNS, LETTERS = 5, 8, 60


def read_result(tool: str, path: Path) -> Any:
    """Read back what a tool wrote; of a picture, nothing."""
    kind = record(find(tool)).returns
    return None if kind is Picture else READERS[kind](path)


def tell(result: Any) -> dict[str, Any]:
    """Return what a page says of a result: ``text``, and of a table ``rows``, its header first."""
    if result is None:
        return {"text": "The picture as it was written"}
    if isinstance(result, Table):
        return {"text": _counted(len(result.frame), "row"), "rows": _rows(result.frame)}
    return {"text": _TEXTS[type(result)](result)}


def _counted(number: int, what: str) -> str:
    return f"{number:,} {what}{'' if number == 1 else 's'}"


def _grid(grid: Grid) -> str:
    known = grid.values[np.isfinite(grid.values)]
    unit = "" if grid.unit in ("1", "") else f" {grid.unit}"
    rows, columns = grid.values.shape
    ends = f"{_short(known.min())} to {_short(known.max())}{unit}"
    return f"{columns} by {rows} cells of {grid.cell:g} m; {ends}, mean {_short(known.mean())}"


def _vectors(vectors: Vectors) -> str:
    frame = vectors.frame
    kind = frame.geom_type.str.removeprefix("Multi").iloc[0].lower()
    kind = {"linestring": "line"}.get(kind, kind)
    told = _counted(len(frame), kind)
    if "kind" in frame and len(set(frame["kind"])) > 1:
        counts = frame["kind"].value_counts().sort_index()
        told += ": " + ", ".join(f"{number} {name}" for name, number in counts.items())
    return told


def _soundings(soundings: Soundings) -> str:
    kept = soundings.kept
    ends = f"{_short(kept.depth.min())} to {_short(kept.depth.max())} m"
    reasons = soundings.frame.loc[soundings.flag, "reason"].value_counts().sort_index()
    left = "; rejected: " + ", ".join(f"{number:,} {reason}" for reason, number in reasons.items())
    told = f"{_counted(len(kept.depth), 'sounding')}, {ends} deep"
    return told + left if len(reasons) else told


def _bed(bed: Tin) -> str:
    sd = "" if bed.sd is None else f"; half of them good to {_short(np.median(bed.sd))} m"
    greatest = f"down to {_short(bed.depth.max())} m"
    return f"{len(bed.triangles):,} triangles on {len(bed.vertices):,} points, {greatest}{sd}"


def _shoreline(shoreline: Shoreline) -> str:
    return f"{_counted(len(shoreline.polygons.geoms), 'polygon')} of water"


_TEXTS: dict[type, Any] = {
    Grid: _grid, Vectors: _vectors, Soundings: _soundings, Tin: _bed, Shoreline: _shoreline,
}  # fmt: skip


def _rows(frame: Any) -> list[list[str]]:
    shown = frame.dropna(axis=1, how="all").iloc[:ROWS, :COLUMNS]
    return [[str(name) for name in shown], *[[_cell(cell) for cell in row] for row in shown.values]]


def _cell(cell: Any) -> str:
    if isinstance(cell, str):
        return cell if len(cell) <= LETTERS else cell[: LETTERS - 1].rstrip() + "…"
    return _short(cell) if isinstance(cell, (int, float, np.number)) else str(cell)


def _short(number: Any) -> str:
    """Write a number with four digits that count, and whole ones whole."""
    number = float(number)
    if not math.isfinite(number):
        return "" if math.isnan(number) else str(number)
    if number == round(number) and abs(number) < 1e7:
        return f"{number:.0f}"
    return f"{number:.0f}" if abs(number) >= 1000 else f"{number:.4g}"
