"""What is told of a tool is true, for machines and for people."""

import json
import re
from pathlib import Path
from typing import Any

import click
import jsonschema
import pytest
import yaml
from referencing import Registry, Resource
from referencing.jsonschema import DRAFT202012

from toolbox.catalogue import CHAPTERS, record, tools
from toolbox.cli import main
from toolbox.commands import tool_command
from toolbox.describe import (
    describe,
    moves,
    option_name,
    page,
    pages,
    reader_params,
    write_pages,
)
from toolbox.formats.doors import READERS, SUFFIXES

SHARED = Path(__file__).resolve().parents[1].parent / "shared"
SCHEMAS = SHARED / "schemas" / "ogcapi" / "processes-core"
TOOLS = [record(function) for function in tools().values()]
each_tool = pytest.mark.parametrize("tool", TOOLS, ids=lambda tool: tool.name)

# ---- for machines ----


def retrieve(uri: str) -> Resource[Any]:
    """Read a schema from the folder of published ones, never from the network."""
    if Path(uri).name == "schema.yaml":
        # as published it describes objects with properties only and refuses the standard's own
        # examples; what it stands for is checked as JSON Schema instead
        return Resource(contents=True, specification=DRAFT202012)
    contents = yaml.safe_load((SCHEMAS / Path(uri).name).read_text(encoding="utf-8"))
    return Resource(contents=contents, specification=DRAFT202012)


@pytest.fixture(scope="module")
def judge() -> jsonschema.protocols.Validator:
    """Judge by OGC API - Processes, process.yaml (OGC 18-062r2 and its schema repository)."""
    if not SCHEMAS.is_dir():
        pytest.skip("the published schemas are not beside the repository")
    registry: Registry[Any] = Registry(retrieve=retrieve)  # type: ignore[call-arg]
    schema = {"$id": "file:///processes-core/judge.yaml", "$ref": "process.yaml"}
    return jsonschema.Draft202012Validator(schema, registry=registry)


@each_tool
def test_the_description_is_one_after_ogc_api_processes(
    tool: Any, judge: jsonschema.protocols.Validator
) -> None:
    told = json.loads(json.dumps(describe(tool), allow_nan=False))
    assert [error.json_path for error in judge.iter_errors(told)] == []
    for part in (*told["inputs"].values(), *told["outputs"].values()):
        jsonschema.Draft202012Validator.check_schema(part["schema"])


def test_the_judge_refuses_what_is_no_description(judge: jsonschema.protocols.Validator) -> None:
    told = describe(TOOLS[0])
    for wrong in (
        {name: value for name, value in told.items() if name != "id"},
        told | {"version": 1},
        told | {"jobControlOptions": ["whenever"]},
        told | {"inputs": {"depth": {"title": "without a schema"}}},
    ):
        assert not judge.is_valid(wrong)


@each_tool
def test_every_parameter_is_an_input_and_the_required_are_asked_for(tool: Any) -> None:
    told = describe(tool)
    assert list(told["inputs"]) == [param.name for param in tool.params]
    asked = {name for name, given in told["inputs"].items() if given["minOccurs"] == 1}
    assert asked == {param.name for param in tool.params if param.required}
    assert (told["id"], told["title"]) == (tool.name, tool.title)
    for param in tool.params:
        assert told["inputs"][param.name]["description"] == param.text


@each_tool
def test_the_schema_of_an_input_allows_what_the_tool_allows(tool: Any) -> None:
    for param in tool.params:
        if param.type in READERS:
            continue
        schema = describe(tool)["inputs"][param.name]["schema"]
        judge = jsonschema.Draft202012Validator(schema)
        for value in candidates(param):
            allowed = True
            try:
                param.check(tuple(value) if isinstance(value, list) else value)
            except ValueError:
                allowed = False
            assert judge.is_valid(value) == allowed, (param.name, value)
        if not param.required and param.default is not None:
            assert schema["default"] == (list(param.default) if param.many else param.default)
            assert judge.is_valid(schema["default"])


def candidates(param: Any) -> list[Any]:
    """List values around the limits of a parameter, and of other kinds."""
    numbers = [-1e9, -1.0, 0.0, 1e-9, 0.5, 1.0, 45.0, 90.0, 1e9]
    if param.range:
        ends = [end for end in (param.range.min, param.range.max, param.range.above) if end]
        numbers += [near for end in ends for near in (end, end - 0.01, end + 0.01)]
    if param.holds is int:  # 1.0 is whole to JSON Schema, but no whole number to Python
        return [*map(round, numbers), 0.5, "deep", True]
    if param.many and param.holds is str:
        return [["2026-05-12"], ["a", "b"], [3], "a"]
    if param.many:
        return [[number] for number in numbers] + [[1.0, "deep"], "deep"]
    if param.choices:
        return [*param.choices, "nonsense", 3]
    if param.type is bool:
        return [True, False, "yes"]
    return ["text", 3] if param.type is str else [*numbers, "deep", True]


@each_tool
def test_the_command_prints_the_same(tool: Any, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["describe", tool.name, "--json"]) == 0
    assert json.loads(capsys.readouterr().out) == describe(tool)
    assert main(["describe", tool.name]) == 0
    assert capsys.readouterr().out == page(tool) + "\n"


# ---- for people ----


@each_tool
def test_a_page_tells_every_parameter_and_reading_option(tool: Any) -> None:
    text = page(tool)
    assert text.startswith(f"# {tool.title}\n")
    assert tool.summary in " ".join(text.split())
    for param in tool.params:
        assert f"| `{param.name}` | " in text
        assert param.text in text
        for option in reader_params(param):
            assert f"| `--{option_name(param, option)}` | " in text
            assert option.text in text
    assert ("| `--in-crs` | " in text) is moves(tool)


@each_tool
def test_the_usage_on_a_page_holds_all_that_must_be_given(tool: Any) -> None:
    usage = next(line for line in page(tool).splitlines() if line.startswith("    leadline "))
    command = tool_command(tools()[tool.name])
    for parameter in command.params:
        if not parameter.required and parameter.name != "out_":
            continue
        if isinstance(parameter, click.Option):
            assert parameter.opts[0] in usage
        else:
            assert str(parameter.name).upper() in usage
    assert usage.endswith(SUFFIXES[tool.returns][0])


@each_tool
def test_tables_on_a_page_have_even_rows(tool: Any) -> None:
    lines = page(tool).splitlines()
    rows = [line for line in lines if line.startswith("|")]
    assert len(rows) >= 3 or not tool.params
    for row in rows:
        assert re.fullmatch(r"\|([^|]+\|){3}", row), row


@each_tool
def test_a_page_says_what_comes_out(tool: Any) -> None:
    (result,) = re.findall(r"\n## Result\n\n(.+?)(?=\n\n## |\n*\Z)", page(tool), re.S)
    for suffix in SUFFIXES[tool.returns]:
        assert suffix in result
    returned = re.search(r"\nReturns\n-------\n\w+\n    (.+)", tool.doc)
    assert returned is not None
    assert returned[1].strip() in result


def test_pages_are_complete_and_the_index_follows_the_chapters() -> None:
    written = pages()
    assert {f"tools/{tool.name}.md" for tool in TOOLS} < set(written)
    index = written["tools/index.md"]
    headings = [line[3:] for line in index.splitlines() if line.startswith("## ")]
    assert headings == list(CHAPTERS)
    links = re.findall(r"\]\((.+?)\)", index)
    assert [f"tools/{link}" for link in links] == [f"tools/{tool.name}.md" for tool in TOOLS]


def test_pages_are_written_where_they_are_wanted(tmp_path: Path) -> None:
    write_pages(tmp_path / "docs")
    found = {
        str(path.relative_to(tmp_path / "docs")): path.read_text(encoding="utf-8")
        for path in (tmp_path / "docs").rglob("*")
        if path.is_file()
    }
    assert found == pages()
