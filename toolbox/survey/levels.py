"""The record of water levels that a survey names."""

from toolbox.formats.levels_file import read_levels
from toolbox.layers import Table
from toolbox.notes import same_kind
from toolbox.survey.settings import Datum

__all__ = ["record_of"]


def record_of(datum: Datum) -> Table | None:
    """Read the record, if there is one; its notes name the file."""
    if datum.record is None:
        return None
    options = datum.model_dump(include={"timezone", "date_format"})
    found = read_levels(datum.record, zero=datum.gauge_zero, **options)
    notes = tuple(same_kind(note, f"{datum.record.name}: {note}") for note in found.notes)
    return Table(found.frame, found.title, notes)
