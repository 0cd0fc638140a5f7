"""What a sheet tells in words: title, title block, uncertainty, cautions."""

from collections.abc import Sequence

from toolbox.report.customary import FEET
from toolbox.report.drawing import FAULT, INK
from toolbox.report.sheet.blocks import Block, heading, heading_height
from toolbox.report.sheet.lettering import LEADING, wrapped
from toolbox.report.sheet.paper import Box
from toolbox.report.sheet.pen import Pen
from toolbox.report.sheet.subject import Subject
from toolbox.report.text import one_line

__all__ = ["CAUTIONS", "caution_block", "facts_block", "title_block", "trust_block"]

CAUTIONS = (
    "Not for navigation. Depths hold for the datum water level; levels and beds change.",
    "Between soundings the bed is interpolated. A blank is unsurveyed, not safe.",
    "Mind drop-offs when wading, cold water and ice. Keep clear of overhead lines when casting.",
    "Clean, drain and dry boat and tackle before the next water.",
)
_FACTS = (
    "Water area",
    "Volume",
    "Mean depth",
    "Greatest depth",
    "Coordinates",
    "Soundings",
    "Bed",
    "Remarks",
)
_MOST_LINES = 3  # of one fact: a sheet is no report
_LABEL = 0.34  # of the width


def title_block(subject: Subject, subtitle: str, width: float, size: float) -> Block:
    """Name the water."""
    large = 2.3 * size
    title = wrapped(subject.title, width, large, bold=True, most=2)
    below = wrapped(subtitle, width, 1.15 * size, most=2)
    height = (len(title) * large + len(below) * 1.15 * size) * LEADING + 0.3 * size

    def draw(pen: Pen, box: Box) -> None:
        bottom = pen.lines((box.left, box.top), title, large, bold=True)
        pen.lines((box.left, bottom - 0.3 * size), below, 1.15 * size)

    return Block("title", height, height, draw)


def facts_block(subject: Subject, width: float, size: float) -> Block:
    """Tell who surveyed what, when, how, and what depths and places refer to."""
    rows = []
    beside = width * (1 - _LABEL)
    for label, says in _facts(subject):
        words = wrapped(label, width * _LABEL - 0.5 * size, size, bold=True, most=3)
        rows.append((words, wrapped(says, beside, size, most=_MOST_LINES)))
    count = sum(max(map(len, row)) for row in rows)
    height = heading_height(size) + (count * LEADING + 0.12 * len(rows)) * size

    def draw(pen: Pen, box: Box) -> None:
        below = heading(pen, box, "About this survey", size)
        top = below.top
        for words, says in rows:
            pen.lines((below.left, top), words, size, bold=True)
            pen.lines((below.left + width * _LABEL, top), says, size)
            top -= (max(len(words), len(says)) * LEADING + 0.12) * size

    return Block("facts", height, height, draw)


def _facts(subject: Subject) -> list[tuple[str, str]]:
    """Return labels and what each says, those that say something."""
    level, name = subject.datum["elevation"], subject.datum["name"]
    datum = [name] if name else []
    datum += [] if level is None else [f"water at {level:.2f} m"]
    facts = [
        ("Surveyed by", subject.origin["by"]),
        ("Surveyed on", subject.origin["date"]),
        ("Datum", ", ".join(datum) or "not given"),
        *subject.told(*_FACTS),
        ("Units", f"m; feet of {FEET[subject.foot]}"),
        ("Made", subject.made_by),
    ]
    return [(label, one_line(says)) for label, says in facts if one_line(says)]


def trust_block(subject: Subject, width: float, size: float) -> Block:
    """Tell how far to trust the sheet."""
    return _paragraphs("trust", "How far to trust it", _trust(subject), width, size, INK)


def _trust(subject: Subject) -> list[str]:
    """Tell the error of the bed, if it knows its own, and what no band holds."""
    bed = subject.bed
    if subject.spread is None:
        return [
            "This bed is linear between soundings and does not know its own error: there are no "
            "bands. It misses what lies between soundings; its volume tends to be low where "
            "hollows were not sounded.",
        ]
    half, most = subject.spread
    told = [
        f"Standard deviation of depth: at most {half:.2f} m at half of the bed's nodes, at most "
        f"{most:.2f} m at 95 % of them.",
    ]
    if bed.draws is not None:
        told.append(
            f"Bands and figures in brackets: 5 % to 95 % of {bed.draws.shape[1]} equally likely "
            "beds; nine times in ten the true figure is inside, if errors are as stated."
        )
    told += [f"{label}: {says}." for label, says in subject.told("Share of the area unsurveyed")]
    return [*told, "No band holds an error of shoreline or datum, or one all soundings share."]


def caution_block(width: float, size: float, cautions: Sequence[str] = CAUTIONS) -> Block:
    """Tell what a reader must heed."""
    return _paragraphs("caution", "Caution", cautions, width, size, FAULT)


def _paragraphs(
    name: str, title: str, told: Sequence[str], width: float, size: float, colour: str
) -> Block:
    paragraphs = [wrapped(says, width, size, most=_MOST_LINES + 1) for says in told]
    count = sum(map(len, paragraphs))
    height = heading_height(size) + (count * LEADING + 0.2 * len(paragraphs)) * size

    def draw(pen: Pen, box: Box) -> None:
        below = heading(pen, box, title, size)
        top = below.top
        for lines in paragraphs:
            top = pen.lines((below.left, top), lines, size, colour=colour) - 0.2 * size

    return Block(name, height, height, draw)
