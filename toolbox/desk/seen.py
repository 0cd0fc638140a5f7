"""Seen: what the desk understood of the files it was given, ready to be shown."""

from dataclasses import dataclass, field
from typing import Any

__all__ = ["Column", "Doubt", "Field", "FileSeen", "Seen"]


@dataclass(frozen=True)
class Field:
    """One thing a person may correct.

    Parameters
    ----------
    key : str
        Name of the answer: ``level``, or ``boat.csv/unit`` for what concerns one file.
    label : str
        What it asks.
    value : str
        As things stand.
    options : tuple of (value, text)
        A choice; if empty, the answer is typed.
    hint : str
        What a person should know to answer.
    fault : str
        What is wrong with the answer.
    """

    key: str
    label: str
    value: str = ""
    options: tuple[tuple[str, str], ...] = ()
    hint: str = ""
    fault: str = ""


@dataclass(frozen=True)
class Doubt:
    """Something that looks wrong, and the answers that would mend it."""

    text: str
    ways: tuple[tuple[str, dict[str, str]], ...] = ()


@dataclass(frozen=True)
class Column:
    """A column of a table, what it was taken for, and its first cells."""

    name: str
    meaning: str
    cells: tuple[str, ...]


@dataclass(frozen=True)
class FileSeen:
    """One file.

    Parameters
    ----------
    name : str
        In the desk's folder.
    role : Field
        What it holds.
    facts : tuple of str
        What was found in it.
    columns : tuple of Column
        Of a table.
    fields : tuple of Field
        What may be corrected.
    fault : str
        What is wrong with it as a whole.
    """

    name: str
    role: Field
    facts: tuple[str, ...] = ()
    columns: tuple[Column, ...] = ()
    fields: tuple[Field, ...] = ()
    fault: str = ""


@dataclass(frozen=True)
class Seen:
    """Everything.

    Parameters
    ----------
    files : tuple of FileSeen
        In the order of their names.
    fields : tuple of Field
        What concerns the survey as a whole.
    wanting : tuple of str
        What is missing before a run can be made.
    facts : tuple of (label, text)
        Count, depths, dates, CRS.
    doubts : tuple of Doubt
        What looks wrong.
    notes, rejections : tuple of str
        As a run would tell them.
    chart : dict
        The first map, as :func:`toolbox.desk.chart.chart` draws it; empty if there is none.
    survey : str
        Text of the survey file; empty if it would not be one.
    ready : bool
        Whether a run can be made.
    """

    files: tuple[FileSeen, ...] = ()
    fields: tuple[Field, ...] = ()
    wanting: tuple[str, ...] = ()
    facts: tuple[tuple[str, str], ...] = ()
    doubts: tuple[Doubt, ...] = ()
    notes: tuple[str, ...] = ()
    rejections: tuple[str, ...] = ()
    chart: dict[str, Any] = field(default_factory=dict)
    survey: str = ""
    ready: bool = False
