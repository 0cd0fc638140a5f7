"""Stocking workbook: the tables of a stocking plan, to be reckoned with further."""

from datetime import date
from importlib.metadata import version
from pathlib import Path

from toolbox.layers import Table
from toolbox.report.about import DAY, Line
from toolbox.report.book import Book, Paper
from toolbox.report.lot_facts import lot_facts
from toolbox.report.stocking_document import CAUTIONS, StockingStudy, season_table

__all__ = ["write_stocking_workbook"]

_SHEETS = {
    "Measures": "stocking_measures",
    "Sensitivity": "stocking_sensitivity",
    "Assumptions": "stocking_assumptions",
}
"""Sheets that print well; the plan itself comes last, too wide for paper, to be reckoned with."""


def write_stocking_workbook(
    path: Path, study: StockingStudy, *, water: str, made: date, paper: Paper = "A4"
) -> None:
    """Write the tables of a stocking plan as a spreadsheet (.xlsx).

    Parameters
    ----------
    path : Path
        File to write.
    study : StockingStudy
        The plan and what it rests on.
    water : str
        Name of the water that was surveyed.
    made : date
        Day of its making; the same input gives the same file.
    paper : str
        Size to which the sheets are laid out.
    """
    proposal, permit = study.proposal, study.proposal.permit
    book = Book(proposal.title, proposal.prepared_by, made, paper)
    lines = [
        Line("Plan", proposal.title),
        Line("Water", water),
        Line("Prepared by", proposal.prepared_by),
        Line("Proposal of", proposal.date),
        Line("Purpose", proposal.purpose),
        Line("Currency", proposal.currency),
        Line("Permit"),
        Line("Authority", permit.authority or "to be filled in"),
        Line("Permit number", permit.permit_number or "to be filled in"),
        Line("Licence", permit.licence or "to be filled in"),
        Line("Health certificate", permit.health_certificate or "to be filled in"),
        Line("Conditions", permit.conditions),
        Line("Made"),
        Line("Made on", made, DAY),
        Line("Made with", f"Leadline {version('leadline')}"),
        Line("Cautions"),
        *(Line("Caution", caution) for caution in CAUTIONS),
    ]
    book.add_lines("About", [line for line in lines if line.value != ""])
    book.add_table("Alternatives", study.alternatives)
    book.add_table("Lots", _cards(study))
    for sheet, name in _SHEETS.items():
        book.add_table(sheet, study.tables[name])
    if study.squeeze is not None:
        book.add_table("Season", season_table(study.squeeze))
    if study.fish is not None:
        book.add_table("Fish", study.fish)
    book.add_table("Plan", study.plan)
    path.write_bytes(book.closed())


def _cards(study: StockingStudy) -> Table:
    """Set the lots side by side, a label in each row."""
    import pandas as pd

    rows = study.plan.frame[study.plan.frame["fish"] != ""]
    cards = [
        {"Alternative": row["alternative"], **dict(lot_facts(row, study.proposal.currency))}
        for _, row in rows.iterrows()
    ]
    labels = list(dict.fromkeys(label for card in cards for label in card))
    columns = {
        f"lot {number}": [card.get(label, "") for label in labels]
        for number, card in enumerate(cards, start=1)
    }
    return Table(pd.DataFrame({"what": labels} | columns), "Lots", study.plan.notes)
