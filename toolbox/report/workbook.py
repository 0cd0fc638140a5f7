"""Workbook: the tables a surveyor hands over, with title block, units, method and cautions."""

from collections.abc import Mapping, Sequence
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

from toolbox.layers import Soundings, Table, Tin
from toolbox.report.about import about_lines
from toolbox.report.book import Book, Paper
from toolbox.report.customary import (
    areas_and_volumes,
    with_customary_columns,
    with_customary_values,
)
from toolbox.report.text import one_line
from toolbox.volume.stage import Foot

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["write_workbook"]

_AREAS = "Areas and volumes"
_READ = (
    "Area is the water's at or deeper than the depth; volume below is between that level and the "
    "bed. The volume between two levels is the difference of theirs.",
    "Cells hold all digits, whole units are shown in full even where the band is wider, decimals "
    "as far as the band goes. Quote a figure with its band.",
)


def write_workbook(
    path: Path,
    *,
    title: str,
    origin: dict[str, Any],
    datum: dict[str, Any],
    made: date,
    bed: Tin,
    soundings: Soundings | None,
    hypsography: Table,
    morphometry: Table,
    stage: Table | None = None,
    checks: Mapping[str, Table] | None = None,
    why: str = "",
    notes: Sequence[str] = (),
    foot: Foot = "international",
    paper: Paper = "A4",
) -> None:
    """Write tables of areas and volumes as a spreadsheet (.xlsx) that goes into a report as it is.

    Parameters
    ----------
    path : Path
        File to write.
    title : str
        Name of the water.
    origin, datum : dict
        As in the survey file: who surveyed and when; elevation and name of the datum water level.
    made : date
        Day on which the tables are made; the same input gives the same file.
    bed : Tin
        Of which the tables were made.
    soundings : Soundings or None
        Of which the bed was made, rejected ones too.
    hypsography, morphometry : Table
        Of this bed.
    stage : Table, optional
        Stage table, of feet of the same foot.
    checks : mapping of Table, optional
        What a reviewer asks for, each on a sheet of the name given.
    why : str
        Why the bed was made as it was.
    notes : sequence of str
        What was assumed, mended or inferred.
    foot : str
        ``"international"`` (0.3048 m) or ``"survey"`` (1200/3937 m), of which feet, acres and
        acre-feet are made.
    paper : str
        Size to which the sheets are laid out.

    Raises
    ------
    ParameterError
        If the stage table is of another foot.

    Notes
    -----
    Each sheet but the first is one table: its header is the sheet's first row, and it bears the
    sheet's name, so that programs find it. Notes stand under it. No cell is a formula, and none is
    merged.
    """
    lines = about_lines(
        title,
        origin=origin,
        datum=datum,
        made=made,
        bed=bed,
        soundings=soundings,
        morphometry=morphometry,
        why=why,
        foot=foot,
    )
    book = Book(title, str(origin["by"]), made, paper, _reference(origin, datum))
    book.add_lines("About", lines)
    book.add_table(_AREAS, _area_sheet(hypsography, foot), curve=("area_m2", "depth_m"))
    if stage is not None:
        book.add_table("Stage", with_customary_columns(stage, foot=foot))
    book.add_table("Morphometry", with_customary_values(morphometry, foot=foot))
    for name, table in (checks or {}).items():
        book.add_table(name, table)
    if notes:
        book.add_table("Assumptions", Table(_one_column(notes)))
    path.write_bytes(book.closed())


def _reference(origin: dict[str, Any], datum: dict[str, Any]) -> str:
    """Say of which day the figures are, and below which level."""
    level, name = datum["elevation"], datum["name"]
    height = "" if level is None else f"{level:.3f} m"
    told = ", ".join(part for part in (height, name) if part) or "not given"
    day = f"Surveyed {origin['date']}. " if origin["date"] else ""
    return f"{day}Datum water level: {told}"


def _area_sheet(hypsography: Table, foot: Foot) -> Table:
    """Leave out what does not fit on a page: the volume above a level, a difference of two rows."""
    table = areas_and_volumes(hypsography, foot=foot)
    kept = [name for name in table.frame if not str(name).startswith("volume_above")]
    told = [note.replace("shares and volume above", "shares") for note in table.notes]
    return Table(table.frame[kept], table.title, (*_READ, *told))


def _one_column(notes: Sequence[str]) -> "pd.DataFrame":
    import pandas as pd

    return pd.DataFrame({"assumed, mended or inferred": [one_line(note) for note in notes]})
