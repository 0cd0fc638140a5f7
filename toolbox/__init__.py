"""Leadline: from depth soundings and a shoreline to a lake bed one can act on."""

from importlib.metadata import version

__all__ = ["__version__"]

__version__ = version("leadline")
