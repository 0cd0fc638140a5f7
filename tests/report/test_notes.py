"""On a terminal the notes that matter are shown, and the others are counted."""

from pathlib import Path

from toolbox.notes import Assumption, Caution, ranked
from toolbox.report.notes import foremost, rejected, told

FILE = Path("findings.txt")


def test_cautions_come_first_and_the_record_is_only_counted() -> None:
    notes = ranked(["12 nodes", Assumption("feet"), "7 means", Caution("a guess")])
    assert foremost(notes, FILE) == [
        "caution: a guess",
        "assumed: feet",
        "note: 2 more for the record: see findings.txt",
    ]
    assert told(notes)[2:] == ["note: 12 nodes", "note: 7 means"]


def test_what_does_not_fit_is_counted_by_its_kind() -> None:
    notes = ranked(
        [*(Caution(f"c{k}") for k in range(7)), *(Assumption(f"a{k}") for k in range(7))]
    )
    assert foremost(notes, FILE)[-2:] == ["assumed: a2", "note: 4 more assumed: see findings.txt"]
    *shown, last = foremost(notes, FILE, most=5)
    assert shown == [f"caution: c{k}" for k in range(5)]
    assert last == "note: 2 more to be cautious of, 7 more assumed: see findings.txt"


def test_nothing_to_tell_is_nothing_told() -> None:
    assert foremost(ranked([]), FILE) == []
    assert rejected([]) == []


def test_a_note_stays_on_its_line() -> None:
    assert told(ranked([Caution("a\x1b[2J\nb")])) == ["caution: a [2J b"]


def test_rejections_are_one_line_a_file() -> None:
    rows = [
        {"file": "a.csv", "reason": "no depth", "soundings": 9},
        {"file": "b.csv", "reason": "spike", "soundings": 1},
        {"file": "a.csv", "reason": "outside the water", "soundings": 3},
    ]
    assert rejected(rows) == [
        "rejected: a.csv: 9 no depth, 3 outside the water",
        "rejected: b.csv: 1 spike",
    ]
