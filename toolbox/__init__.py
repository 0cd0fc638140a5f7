"""Leadline: from depth soundings and a shoreline to a lake bed one can act on."""

from typing import Any

__all__ = ["__version__"]


def __getattr__(name: str) -> Any:
    """Look the version up when it is asked for: that takes longer than the rest of a start."""
    if name == "__version__":
        from importlib.metadata import version

        return version("leadline")
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
