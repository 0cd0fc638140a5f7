"""Rendering: one file of HTML; texts are escaped, data and script cannot leave their elements."""

import base64
import functools
import hashlib
import json
from importlib.resources import files
from typing import Any

from toolbox.report.templating import templates

__all__ = ["embedded", "rendered"]

_SCRIPTS = (
    "base",
    "shapes",
    "rasters",
    "pen",
    "water",
    "signs",
    "margin",
    "reading",
    "map",
    "hands",
    "section",
    "bed",
    "levels",
    "page",
)
_HARMLESS = {"<": "\\u003c", ">": "\\u003e", "&": "\\u0026"}


def embedded(data: Any) -> str:
    r"""Write data as JSON that no parser of HTML or of script takes for anything else.

    Raises
    ------
    ValueError
        If a number is not finite.

    Examples
    --------
    >>> embedded({"name": "</script>"})
    '{"name":"\\u003c/script\\u003e"}'
    """
    text = json.dumps(data, allow_nan=False, separators=(",", ":"))  # ASCII: U+2028 too is escaped
    for sign, told in _HARMLESS.items():
        text = text.replace(sign, told)
    return text


def rendered(data: dict[str, Any], view: dict[str, Any]) -> str:
    """Lay out the page.

    Parameters
    ----------
    data : dict
        For the script, as JSON holds it.
    view : dict
        Texts and tables for the template.

    Returns
    -------
    str
        HTML that asks for nothing outside itself. Its policy allows this one script and no other.
    """
    script = _script()
    digest = base64.b64encode(hashlib.sha256(script.encode()).digest()).decode("ascii")
    page = templates("toolbox.report", "templates/page").get_template("page.html")
    return str(
        page.render(
            **view, data=embedded(data), script=script, digest=digest, style=_read("page.css")
        )
    )


@functools.cache
def _script() -> str:
    """Return all scripts as one, in a scope of its own."""
    parts = "\n".join(_read(f"{name}.js") for name in _SCRIPTS)
    return f'\n"use strict";\n(function () {{\n{parts}\n}})();\n'


def _read(name: str) -> str:
    """Return a file of the templates, with line ends as a parser of HTML leaves them."""
    found = files("toolbox.report").joinpath("templates", "page", name)
    return found.read_text(encoding="utf-8").replace("\r\n", "\n")
