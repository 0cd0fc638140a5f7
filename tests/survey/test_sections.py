"""Sections tell every fault of their keys and of the rules between them, and none that follows."""

from collections.abc import Iterator
from pathlib import Path
from typing import Any, ClassVar

import pytest
from pydantic import Field, ValidationError

from toolbox.survey.keys import Input, Metres
from toolbox.survey.sections import Known, Rule, Section, Unsound, keys_fit


def _rope_or_chain(anchor: Any) -> Iterator[str]:
    if anchor.rope is not None and anchor.chain is not None:
        yield "give rope or chain, not both"


class Anchor(Section):
    """An anchor."""

    rules: ClassVar[tuple[Rule, ...]] = (
        *keys_fit({"flukes": ("plough",), "mass": ("plough", "block")}),
        _rope_or_chain,
    )
    kind: str = Field("plough", max_length=6)
    flukes: int = Field(2, ge=1)
    mass: float | None = None
    rope: Metres | None = None
    chain: Metres | None = None


def _anchored(boat: Any) -> Iterator[str]:
    if boat.anchors[0].rope > boat.length:
        yield "the rope of the first anchor is longer than the boat"


class Boat(Section):
    """A boat."""

    rules: ClassVar[tuple[Rule, ...]] = (_anchored,)
    length: Metres
    log: Input | None = None
    anchors: tuple[Anchor, ...] = Field(min_length=1)


def faults(section: type[Section], given: object) -> set[tuple[str, str]]:
    """Return the places and kinds of all faults."""
    with pytest.raises(ValidationError, match="validation error") as caught:
        section.model_validate(given)
    return {(".".join(map(str, e["loc"])), e["msg"]) for e in caught.value.errors()}


def test_rules_are_broken_one_by_one() -> None:
    assert faults(Anchor, {"kind": "rake", "flukes": 3, "mass": 8, "rope": 1, "chain": 2}) == {
        ("", "Value error, flukes is for kind = 'plough', got kind = 'rake'"),
        ("", "Value error, mass is for kind = 'plough' or 'block', got kind = 'rake'"),
        ("", "Value error, give rope or chain, not both"),
    }


def test_a_wrong_key_hides_no_rule_but_those_that_ask_for_it() -> None:
    given = {"kind": "a rake", "flukes": 0, "mass": 8, "rope": "far", "chain": 2, "colour": 1}
    places = {place for place, _ in faults(Anchor, given)}
    assert places == {"", "flukes", "rope", "colour"}
    given["kind"] = "much too long"
    assert {place for place, _ in faults(Anchor, given)} == {"kind", "flukes", "rope", "colour"}


def test_a_rule_reads_sound_keys_as_the_section_does() -> None:
    """Against the length of 10 ft: 3.048 m, as the foot is 0.3048 m."""
    broken = ("", "Value error, the rope of the first anchor is longer than the boat")
    for rope, beside in (("10 ft", {broken}), (3.0, set())):
        boat = {"length": 3.04, "anchors": [{"rope": rope, "flukes": 0}]}
        assert {f for f in faults(Boat, boat) if not f[0]} == beside


@pytest.mark.parametrize("wrong", [3, {"rope": 2}, [], [7], [{"rope": None, "mass": "much"}]])
def test_what_is_no_table_breaks_no_rule(wrong: object) -> None:
    told = faults(Boat, {"length": "far", "anchors": wrong})
    assert "length" in {place for place, _ in told}
    assert "" not in {place for place, _ in told}


def test_what_is_known_leaves_out_what_is_wrong() -> None:
    given = {"log": "boat.log", "anchors": [{"flukes": "many", "rope": "1 m"}, 7]}
    known = Known(Boat, given, {"folder": Path("/deep")})
    told = dict(known)
    assert told.keys() == {"log", "anchors"}
    assert told["log"] == Path("/deep/boat.log")
    first, second = told["anchors"]
    assert dict(first) == {"kind": "plough", "mass": None, "rope": 1.0, "chain": None}
    assert dict(second) == {}
    with pytest.raises(Unsound, match="length"):
        _ = known.length
    with pytest.raises(AttributeError, match="no key 'depth'"):  # a rule that errs is told
        _ = known.depth


def test_a_section_that_was_made_already_is_judged_again() -> None:
    bad = Anchor.model_construct(kind="plough", rope=1.0, chain=1.0, flukes=2, mass=None)
    assert faults(Anchor, bad) == {("", "Value error, give rope or chain, not both")}
