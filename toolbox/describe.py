"""Describe: a tool as an OGC API - Processes description and as a page of documentation."""

import json
import re
import sys
from importlib.metadata import version
from pathlib import Path
from typing import Any

from toolbox.catalogue import TITLES, by_chapter
from toolbox.formats.doors import READERS, SUFFIXES
from toolbox.habitat.species import SpeciesLimits
from toolbox.layers import (
    Breaklines,
    CastLog,
    Centreline,
    Grid,
    Picture,
    Places,
    Profiles,
    Shoreline,
    Soundings,
    Table,
    Tin,
    TrackLog,
    Vectors,
)
from toolbox.layers.grid_blocks import GridBlocks
from toolbox.stocking.proposal import StockingProposal
from toolbox.survey.reference import reference_page, schema
from toolbox.tool import Param, Tool, read_params

__all__ = [
    "IN_CRS",
    "describe",
    "moves",
    "option_name",
    "page",
    "pages",
    "reader_params",
    "write_pages",
    "written_titles",
]

IN_CRS = "Projected CRS in metres to work in."
"""What is said of the option that every tool has whose layers can be moved."""

GALLERY = Path(__file__).parents[1] / "docs" / "gallery" / "shown.json"
"""What the examples of the tools gave."""

_RASTER = {
    "type": "string",
    "contentEncoding": "binary",
    "contentMediaType": "image/tiff; application=geotiff",
}
_MEDIA: dict[type, list[dict[str, Any]]] = {
    Grid: [_RASTER],
    GridBlocks: [_RASTER],
    Table: [{"type": "string", "contentMediaType": "text/csv"}],
    CastLog: [{"type": "string", "contentMediaType": "text/csv"}],
    TrackLog: [{"type": "string", "contentMediaType": "text/plain"}],
    Profiles: [{"type": "string", "contentMediaType": "text/csv"}],
    SpeciesLimits: [{"type": "string", "contentMediaType": "application/toml"}],
    StockingProposal: [{"type": "string", "contentMediaType": "application/toml"}],
    Picture: [
        {"type": "string", "contentEncoding": "binary", "contentMediaType": "image/png"},
        {"type": "string", "contentMediaType": "image/svg+xml"},
        {"type": "string", "contentEncoding": "binary", "contentMediaType": "application/pdf"},
    ],
    Tin: [
        {
            "type": "string",
            "contentEncoding": "binary",
            "contentMediaType": "application/geopackage+sqlite3",
        }
    ],
}
_FEATURES: list[dict[str, Any]] = [
    {
        "allOf": [
            {"format": "geojson-feature-collection"},
            {"$ref": "https://geojson.org/schema/FeatureCollection.json"},
        ]
    },
    {
        "type": "string",
        "contentEncoding": "binary",
        "contentMediaType": "application/geopackage+sqlite3",
    },
]
_WORDS = {
    Soundings: "Point soundings",
    Places: "Places",
    Shoreline: "Polygons of the water",
    Breaklines: "Lines of known depth",
    Centreline: "Lines along which the water runs",
    CastLog: "A cast log",
    TrackLog: "An NMEA 0183 log",
    Tin: "A lake bed",
    Grid: "A raster",
    Table: "A table",
    Vectors: "A layer of points, lines or polygons",
    GridBlocks: "A raster",
    Profiles: "Profiles down the water",
    Picture: "A figure",
    SpeciesLimits: "Limits of species",
    StockingProposal: "A stocking proposal",
}


def reader_params(param: Param) -> tuple[Param, ...]:
    """Return the reading options of a parameter that is a layer, none for others.

    The CRS to read into is left out: it is one for all layers.
    """
    reader = READERS.get(param.type)
    options = read_params(reader)[1:] if reader else ()
    return tuple(option for option in options if option.name != "into")


def moves(tool: Tool) -> bool:
    """Tell whether a tool takes a layer that can be brought into another CRS."""
    return any(hasattr(param.type, "to_crs") for param in tool.params)


def describe(tool: Tool) -> dict[str, Any]:
    """Return the OGC API - Processes description of a tool.

    Parameters
    ----------
    tool : Tool
        Any in the catalogue.

    Returns
    -------
    dict
        After OGC 18-062r2, process description; ready for JSON.
    """
    return {
        "id": tool.name,
        "title": tool.title,
        "description": tool.summary,
        "version": version("leadline"),
        "jobControlOptions": ["sync-execute", "async-execute"],
        "outputTransmission": ["value", "reference"],
        "inputs": {param.name: _input(param) for param in tool.params},
        "outputs": {
            "result": {"title": _WORDS[tool.returns], "schema": _layer_schema(tool.returns)}
        },
    }


def _input(param: Param) -> dict[str, Any]:
    return {
        "title": param.name.replace("_", " "),
        "description": param.text,
        "schema": _schema(param),
        "minOccurs": 1 if param.required else 0,
        "maxOccurs": 1,
    }


def _layer_schema(kind: type) -> dict[str, Any]:
    options = _MEDIA.get(kind, _FEATURES)
    return options[0] if len(options) == 1 else {"oneOf": options}


def _schema(param: Param) -> dict[str, Any]:
    if param.type in READERS:
        return _layer_schema(param.type)
    schema = _scalar(param)
    if param.many:
        schema = {"type": "array", "items": schema} | (
            {} if param.default == () else {"minItems": 1}
        )
    if param.default is not None and not param.required:
        schema["default"] = list(param.default) if param.many else param.default
    return schema


def _scalar(param: Param) -> dict[str, Any]:
    if param.choices:
        return {"type": "string", "enum": list(param.choices)}
    if param.type is bool:
        return {"type": "boolean"}
    return {"type": "string"} if param.holds is str else _number(param)


def _number(param: Param) -> dict[str, Any]:
    schema: dict[str, Any] = {"type": "integer" if param.type is int else "number"}
    if limits := param.range:
        named = {"minimum": limits.min, "maximum": limits.max, "exclusiveMinimum": limits.above}
        schema |= {name: value for name, value in named.items() if value is not None}
        schema |= {"x-ogc-unit": limits.unit} if limits.unit else {}
    return schema


_WORKING = (
    "## CRS to work in\n\n| option | value | meaning |\n| --- | --- | --- |\n"
    f"| `--in-crs` | text; optional | {IN_CRS} If left out, that of a raster or bed, else of the "
    "shoreline, else of the first layer; degrees go into a suitable zone of the Universal "
    "Transverse Mercator. |"
)


def page(tool: Tool, example: dict[str, Any] | None = None) -> str:
    """Return the documentation page of a tool in Markdown, with its example from the gallery."""
    layers = [param for param in tool.params if param.type in READERS]
    prose, *notes = _body(tool)
    parts = [
        f"# {tool.title}",
        f"`leadline {tool.name}`, in Python `{tool.function.__module__}.{tool.function.__name__}`",
        _usage(tool),
        prose,
        *(_example(example) if example else []),
        *notes,
        "## Parameters",
        _table(tool.params),
        "## Result",
        _result(tool),
        *(_reading(param) for param in layers),
        *([_WORKING] if moves(tool) else []),
    ]
    return "\n\n".join(parts) + "\n"


def _example(shown: dict[str, Any]) -> list[str]:
    """Show the command, and the picture and the first rows of what it gave."""
    caption, text = shown["caption"], shown["text"]
    parts = ["## Example", f"    {shown['command']}", f"*{caption}. {text}.*"]
    parts.append(f"![{caption}](../gallery/{shown['picture']})")
    if "rows" not in shown:
        return parts
    header, *rows = [" | ".join(cell.replace("|", "/") for cell in row) for row in shown["rows"]]
    lines = [header, " | ".join("---" for _ in shown["rows"][0]), *rows]
    return [*parts, "\n".join(f"| {line} |" for line in lines)]


def _examples() -> dict[str, Any]:
    """Return what the gallery shows of each tool; nothing outside a copy of the repository."""
    found: dict[str, Any] = json.loads(GALLERY.read_text("utf-8")) if GALLERY.exists() else {}
    return found


def _usage(tool: Tool) -> str:
    words = [tool.name]
    for param in (param for param in tool.params if param.required):
        flag = f"--{param.name.replace('_', '-')} "
        words.append(("" if param.type in READERS else flag) + param.name.upper())
        for option in reader_params(param):
            if option.required:
                words.append(f"--{option_name(param, option)} {option.name.upper()}")
    return f"    leadline {' '.join(words)} --out RESULT{SUFFIXES[tool.returns][0]}"


def _body(tool: Tool) -> list[str]:
    """Prose of the docstring: everything but the lists of parameters, results and errors."""
    sections = re.split(r"\n\n(?=\w[\w ]*\n-{3,}\n)", tool.doc)
    prose = [sections[0]]
    for section in sections[1:]:
        heading, _, text = section.partition("\n")
        if heading in ("Notes", "References", "Examples"):
            prose.append(f"## {heading}\n\n{text.partition(chr(10))[2]}")
    return prose


def _result(tool: Tool) -> str:
    found = re.search(r"Returns\n-+\n\S+\n((?:    .*\n?|\n)+)", tool.doc + "\n")
    text = re.sub(r"^    ", "", found[1], flags=re.M).strip() if found else ""
    return f"{_WORDS[tool.returns]} ({', '.join(SUFFIXES[tool.returns])}). {text}"


def _table(params: tuple[Param, ...]) -> str:
    if not params:
        return "None."
    rows = ["| name | value | meaning |", "| --- | --- | --- |"]
    rows += [f"| `{param.name}` | {_allowed(param)} | {param.text} |" for param in params]
    return "\n".join(rows)


def _allowed(param: Param) -> str:
    if param.type in READERS:
        kind = f"{_WORDS[param.type].lower()} (file)"
    elif param.choices:
        kind = ", ".join(f"`{choice}`" for choice in param.choices)
    elif param.range:
        unit = f" in {param.range.unit}" if param.range.unit else ""
        kind = f"{'numbers' if param.many else 'number'}{unit} {param.range.interval}".rstrip()
    else:
        kind = {bool: "yes or no", str: "text", int: "whole number"}.get(param.type, "file name")
    if param.required:
        return kind
    return f"{kind}; optional" if param.default is None else f"{kind}; default `{param.default}`"


def _reading(param: Param) -> str:
    options = reader_params(param)
    if not options:
        return f"## Reading `{param.name}`\n\nNo options."
    rows = [
        f"| `--{option_name(param, option)}` | {_allowed(option)} | {option.text} |"
        for option in options
    ]
    head = f"## Reading `{param.name}`\n\n| option | value | meaning |\n| --- | --- | --- |\n"
    return head + "\n".join(rows)


def option_name(param: Param, option: Param) -> str:
    """Name the command-line option that says how a layer is read."""
    return f"{param.name}-{option.name}".replace("_", "-")


def write_pages(folder: Path) -> None:
    """Write all generated documentation below a folder."""
    for name, text in pages().items():
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_text(text, encoding="utf-8")


def pages() -> dict[str, str]:
    """Return all generated documentation by file name: tools, their index, the survey file."""
    listed = ["# Tools", "One page per tool, written from its declaration."]
    texts = {"survey-file.md": reference_page(), "survey.schema.json": schema()}
    shown = _examples()
    for chapter, own in by_chapter().items():
        texts |= {f"tools/{tool.name}.md": page(tool, shown.get(tool.name)) for tool in own}
        rows = [f"- [{tool.title}]({tool.name}.md): {tool.summary}" for tool in own]
        listed += [f"## {chapter}", "\n".join(rows)]
    return texts | {"tools/index.md": "\n\n".join(listed) + "\n"}


def written_titles() -> str:
    """Return the titles of the toolbox's own tools as their file holds them."""
    found = {
        chapter: {tool.name: tool.title for tool in own} for chapter, own in by_chapter().items()
    }
    return json.dumps(found, indent=1, ensure_ascii=False) + "\n"


if __name__ == "__main__":
    write_pages(Path(sys.argv[1]))
    Path(__file__).with_name(TITLES).write_text(written_titles(), encoding="utf-8")
