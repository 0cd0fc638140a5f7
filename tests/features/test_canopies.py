"""What an empty canopy means changes what plants cover; it is never guessed without a word."""

import numpy as np
import pytest

from toolbox.errors import LayerError
from toolbox.features.canopies import (
    canopy_tops,
    one_sided,
    says_plants_alone,
    with_bare_bed,
)
from toolbox.layers import Soundings
from toolbox.notes import Caution

NAN = np.nan


def soundings(*canopy: float, source: str | list[str] = "cast") -> Soundings:
    places = np.column_stack([np.arange(len(canopy)), np.zeros(len(canopy))]).astype(float)
    depth = np.full(len(canopy), 2.0)
    return Soundings.from_arrays(places, depth, crs=None, canopy=np.array(canopy), source=source)


def test_an_empty_canopy_is_unknown_unless_it_is_said_to_be_bare() -> None:
    given = soundings(1.0, NAN, 2.0)
    assert canopy_tops(given) == pytest.approx([1.0, NAN, 2.0], nan_ok=True)
    assert canopy_tops(given, "bare").tolist() == [1.0, 2.0, 2.0]


def test_a_source_that_never_tells_plants_looked_for_none() -> None:
    given = soundings(1.0, NAN, NAN, source=["cast", "cast", "plummet"])
    assert canopy_tops(given, "bare") == pytest.approx([1.0, 2.0, NAN], nan_ok=True)


def test_nobody_looked_is_an_error() -> None:
    with pytest.raises(LayerError, match="nobody looked for plants"):
        canopy_tops(soundings(NAN, NAN))


def test_bare_bed_is_written_where_it_is_meant_and_nowhere_else() -> None:
    filled = with_bare_bed(soundings(1.0, NAN, NAN), np.array([True, True, False]))
    canopy = filled.frame["canopy"].to_numpy(float)
    assert canopy == pytest.approx([1.0, 2.0, NAN], nan_ok=True)


@pytest.mark.parametrize(
    ("canopy", "alone"),
    [
        ((1.0, 1.2, NAN), True),
        ((1.0, 1.2), False),  # nothing is empty
        ((1.0, 2.0, NAN), False),  # bare bed is told, so that what is empty is not known
        ((NAN, NAN), False),
        ((*[1.0] * 19, 1.95, NAN), True),  # one low plant among many is no bare bed
    ],
)
def test_a_log_shows_whether_it_notes_bare_bed(canopy: tuple[float, ...], alone: bool) -> None:
    assert says_plants_alone(soundings(*canopy)) is alone


def test_readings_of_plants_alone_warn() -> None:
    (note,) = one_sided(np.array([1.0, 0.5]), 5)
    assert isinstance(note, Caution)
    assert note.startswith("2 of 5 soundings have a canopy, and nearly all of them met plants")
    assert one_sided(np.array([1.0, 0.0]), 5) == ()
    assert one_sided(np.array([1.0, 0.5]), 2) == ()
