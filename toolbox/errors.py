"""What can go wrong, in one family.

Every error a person can cause is a :class:`ToolboxError`, says in one line what is wrong, the
value given and what is allowed, and is also the built-in error that a Python caller expects.
Where a file has several faults, one error tells them all, a line each.
"""

__all__ = [
    "InputFileError",
    "LayerError",
    "MissingExtraError",
    "OutputError",
    "ParameterError",
    "SettingsError",
    "TooLargeError",
    "ToolboxError",
]


_MOST = 20
"""Faults that a message tells; of more it says how many there are."""


class ToolboxError(Exception):
    """Root of the family: catch this to catch them all."""

    def __str__(self) -> str:
        """Return what is wrong, on one line a fault whatever the names in a file hold."""
        faults = self.faults
        if len(faults) > _MOST:
            faults = (*faults[:_MOST], f"and {len(faults) - _MOST} more")
        return "\n".join(faults)

    @property
    def faults(self) -> tuple[str, ...]:
        """All that is wrong, one line each."""
        return tuple(" ".join(str(fault).splitlines()) for fault in self.args)


class ParameterError(ToolboxError, ValueError):
    """A parameter is outside what a tool allows."""


class LayerError(ToolboxError, ValueError):
    """A layer contradicts itself or does not fit the layer beside it."""


class InputFileError(ToolboxError, ValueError):
    """A file cannot be read as what it should be."""


class SettingsError(ToolboxError, ValueError):
    """A survey file has a key or a value that is not allowed."""


class OutputError(ToolboxError, OSError):
    """A result cannot be written where it was asked for."""


class TooLargeError(ToolboxError, MemoryError):
    """A result would not fit into memory."""


class MissingExtraError(ToolboxError, ImportError):
    """A job needs a library of an extra that is not installed."""
