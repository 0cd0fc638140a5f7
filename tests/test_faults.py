"""Faults of keys are told in the order of a file, without those that only follow."""

from typing import Any

import pytest
from pydantic import BaseModel, ConfigDict, Field, ValidationError

from toolbox.errors import SettingsError
from toolbox.faults import every_fault, first_fault, in_order, said_by


class Part(BaseModel):
    """A table within."""

    model_config = ConfigDict(extra="forbid")
    depth: float
    shore: str


class Whole(BaseModel):
    """A file."""

    model_config = ConfigDict(extra="forbid")
    name: str
    parts: tuple[Part, ...] = Field(min_length=1)


def refused(given: Any) -> ValidationError:
    with pytest.raises(ValidationError, match="validation error") as caught:
        Whole.model_validate(given)
    return caught.value


def told(given: Any) -> list[str]:
    return in_order(every_fault(refused(given), Whole), given)


def test_faults_stand_in_the_order_of_the_file() -> None:
    given = {
        "parts": [{"shore": 1, "colour": 2}, {"depth": "low", "shore": "a"}],
        "size": 3,
        "name": 4,
    }
    assert told(given) == [
        "key 'parts.1.shore': Input should be a valid string, got 1",
        "key 'parts.1.colour' is unknown; allowed here: depth, shore",
        "key 'parts.1.depth' is missing",
        "key 'parts.2.depth': Input should be a valid number, unable to parse string as a number, "
        "got 'low'",
        "key 'size' is unknown; allowed here: name, parts",
        "key 'name': Input should be a valid string, got 4",
    ]


def test_a_misspelt_key_is_not_missing_too() -> None:
    assert told({"nam": "a", "parts": [{"dept": 1, "shore": "a"}, {"shor": "a", "dpt": 1}]}) == [
        "key 'nam' is unknown; allowed here: name, parts",
        "key 'parts.1.dept' is unknown; allowed here: depth, shore",
        "key 'parts.2.shor' is unknown; allowed here: depth, shore",
        "key 'parts.2.dpt' is unknown; allowed here: depth, shore",
    ]
    assert "key 'name' is missing" in told({"parts": [{"nam": 1}]})  # that of another table
    assert told({"parts": [{"depth": 1, "shore": "a"}], "colour": 1})[-1] == "key 'name' is missing"


def test_a_list_whose_parts_are_wrong_is_not_too_short_as_well() -> None:
    assert told({"name": "a", "parts": [7]}) == [
        "key 'parts.1': Input should be a valid dictionary or instance of Part, got 7"
    ]
    (short,) = told({"name": "a", "parts": []})
    assert short.startswith("key 'parts': Tuple should have at least 1 item")


def test_the_first_is_one_of_them() -> None:
    given = {"name": 4}
    assert first_fault(refused(given), Whole) == told(given)[0]


def test_many_faults_on_one_line_are_kept_apart() -> None:
    assert said_by(SettingsError("a is\n wrong", "b, too")) == "a is wrong; b, too"
    assert said_by(ValueError("a is\n wrong")) == "a is wrong"
