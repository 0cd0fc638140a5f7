"""Reference: the survey file's keys, as a page and as a JSON Schema that editors complete from."""

import json

from pydantic.fields import FieldInfo
from pydantic_core import PydanticUndefined

from toolbox.survey.sections import Section, inner_section, is_list
from toolbox.survey.settings import Settings

__all__ = ["reference_page", "schema"]

_HEAD = """# The survey file

One [TOML](https://toml.io) file describes a survey. `leadline new` writes one with comments. Paths
are as seen from the file. A length is a number in metres, or text with a unit such as `"1.5 ft"`.
`leadline check` tells all that is wrong with a file at once, a line each.
An editor that knows JSON Schema completes keys from [survey.schema.json](survey.schema.json).
"""


def schema() -> str:
    """Return the JSON Schema of a survey file."""
    return json.dumps(Settings.model_json_schema(), indent=1, sort_keys=True) + "\n"


def reference_page() -> str:
    """Return the page that lists every key."""
    return "\n".join([_HEAD, *_sections("", Settings)]) + "\n"


def _sections(prefix: str, model: type[Section]) -> list[str]:
    parts = []
    for name, field in model.model_fields.items():
        inner = inner_section(field.annotation)
        if inner is not None:
            title = f"[[{name}]]" if is_list(field.annotation) else f"[{prefix}{name}]"
            parts += [f"## `{title}`", "", inner.__doc__ or "", "", *_rows(inner), ""]
            parts += _sections(f"{name}.", inner)
    return parts


def _rows(model: type[Section]) -> list[str]:
    plain = [(n, f) for n, f in model.model_fields.items() if inner_section(f.annotation) is None]
    rows = [
        f"| `{name}` | {_default(field)} | {field.description or ''} |" for name, field in plain
    ]
    return ["| key | default | meaning |", "| --- | --- | --- |", *rows]


def _default(field: FieldInfo) -> str:
    if field.default is PydanticUndefined:
        return "must be given"
    return "" if field.default in (None, "") else f"`{json.dumps(field.default)}`"
