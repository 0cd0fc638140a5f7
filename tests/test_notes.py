"""Notes keep their kind wherever they are passed on, and are sorted by it."""

import json
import pickle

import pytest

from toolbox.notes import Assumption, Caution, Note, ranked, same_kind


@pytest.mark.parametrize("kind", [Caution, Assumption, Note])
def test_a_note_is_a_text_that_keeps_its_kind(kind: type[Note]) -> None:
    note = kind("feet")
    assert note == "feet"
    assert json.dumps([note]) == '["feet"]'
    assert type(pickle.loads(pickle.dumps(note))) is kind
    assert type(same_kind(note, "a.csv: feet")) is kind


def test_a_plain_text_is_for_the_record_and_stays_plain() -> None:
    assert type(same_kind("feet", "a.csv: feet")) is str
    assert ranked(["feet"])["for the record"] == ["feet"]


def test_notes_are_sorted_by_kind_each_once_in_their_order() -> None:
    given = ["b", Assumption("y"), Caution("q"), "a", Caution("p"), Assumption("y"), "b"]
    found = ranked(given)
    assert list(found) == ["caution", "assumed", "for the record"]
    assert [note for some in found.values() for note in some] == ["q", "p", "y", "b", "a"]
