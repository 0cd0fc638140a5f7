"""The reference lists every key, and editors take its schema at its word."""

import json
import tomllib
from collections.abc import Iterator
from importlib.resources import files
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from pydantic import BaseModel

from toolbox.survey.reference import reference_page, schema
from toolbox.survey.settings import Settings, load_settings

ROOT = Path(__file__).resolve().parents[2]
SURVEYS = {
    "sample": (ROOT / "sample_layers" / "survey.toml").read_text(encoding="utf-8"),
    "starter": files("toolbox.survey").joinpath("starter.toml").read_text(encoding="utf-8"),
    "units": """
        [water]
        name = "Pond"
        shoreline = "s.gpkg"
        shoreline_level = "330 ft"
        open_within = "2 m"
        [datum]
        elevation = 100
        [[soundings]]
        file = "a.csv"
        unit = "ft"
        water_level = "330.2 ft"
        [make]
        cell = "6 ft"
        levels = [0, "5 ft", 2.5]
        [bed]
        method = "auto"
        [plan]
        kind = "lines"
        track = "1 km"
        turn = 0
        """,
}
LEAST: dict[str, Any] = {"water": {"name": "A", "shoreline": "s"}, "soundings": [{"file": "a"}]}


@pytest.fixture(scope="module")
def judge() -> jsonschema.protocols.Validator:
    told = json.loads(schema())
    jsonschema.Draft202012Validator.check_schema(told)
    return jsonschema.Draft202012Validator(told)


@pytest.mark.parametrize("name", SURVEYS)
def test_the_schema_allows_what_the_toolbox_allows(
    name: str, judge: jsonschema.protocols.Validator, tmp_path: Path
) -> None:
    (tmp_path / "survey.toml").write_text(SURVEYS[name], encoding="utf-8")
    load_settings(tmp_path / "survey.toml")
    faults = [error.json_path for error in judge.iter_errors(tomllib.loads(SURVEYS[name]))]
    assert faults == []


@pytest.mark.parametrize(
    "wrong",
    [
        {},
        {"water": {"name": "A"}, "soundings": [{"file": "a"}]},
        LEAST | {"soundings": []},
        LEAST | {"colour": "red"},
        LEAST | {"make": {"cel": 2}},
        LEAST | {"make": {"cell": 0}},
        LEAST | {"bed": {"method": "auto"}, "plan": {"casts": 0}},
        LEAST | {"bed": {"method": "auto"}, "plan": {"kind": "lines", "turn": -1}},
        LEAST | {"bed": {"duplicates": "median"}},
        LEAST | {"soundings": [{"file": "a", "unit": "parsec"}]},
        LEAST | {"water": {"name": 7, "shoreline": "s"}},
    ],
    ids=lambda wrong: json.dumps(wrong)[-40:],
)
def test_the_schema_refuses_what_the_toolbox_refuses(
    wrong: dict[str, object], judge: jsonschema.protocols.Validator
) -> None:
    assert judge.is_valid(LEAST)
    assert not judge.is_valid(wrong)
    with pytest.raises(ValueError, match="validation error"):
        Settings.model_validate(wrong)


def keys(model: type[BaseModel]) -> Iterator[tuple[str, str | None]]:
    """Yield every key of a section and of the sections within, each with its meaning."""
    for name, field in model.model_fields.items():
        options = [field.annotation, *getattr(field.annotation, "__args__", ())]
        inner = [o for o in options if isinstance(o, type) and issubclass(o, BaseModel)]
        if inner:
            yield from keys(inner[0])
        else:
            yield name, field.description


def test_every_key_is_described_once_for_all_doors() -> None:
    page = reference_page()
    listed = list(keys(Settings))
    assert len(listed) > 30
    for name, meaning in listed:
        assert meaning, name
        assert f"| `{name}` | " in page
        assert meaning in page


def test_every_section_has_a_heading() -> None:
    headings = [line for line in reference_page().splitlines() if line.startswith("## ")]
    assert headings[:3] == [f"## `{title}`" for title in ("[water]", "[datum]", "[[soundings]]")]
    assert {
        "## `[bed]`",
        "## `[bed.breaklines]`",
        "## `[make]`",
        "## `[plan]`",
        "## `[origin]`",
    } <= set(headings)


def test_what_must_be_given_is_said() -> None:
    rows = [line for line in reference_page().splitlines() if "must be given" in line]
    assert {"name", "shoreline", "file"} <= {row.split("`")[1] for row in rows}
