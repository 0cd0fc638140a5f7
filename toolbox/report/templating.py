"""Templating: pages from templates in which whatever is filled in stays text."""

import functools
from typing import Any

__all__ = ["templates"]


@functools.cache
def templates(package: str, folder: str = "templates") -> Any:
    """Return the templates of a package's folder: escaped, and strict about what is missing."""
    from jinja2 import Environment, PackageLoader, StrictUndefined

    return Environment(
        loader=PackageLoader(package, folder),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
