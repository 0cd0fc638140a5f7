"""Extras: libraries that only some jobs need, and the command that installs them."""

from collections.abc import Iterator
from contextlib import contextmanager

from toolbox.errors import MissingExtraError

__all__ = ["needed"]


@contextmanager
def needed(extra: str, what: str) -> Iterator[None]:
    """Say how to install what an import inside the block does not find.

    Parameters
    ----------
    extra : str
        Name of the extra that holds it.
    what : str
        Who needs it, for the message.

    Raises
    ------
    MissingExtraError
        If a library is missing.

    Examples
    --------
    >>> with needed("cluster", "a scheduler"):
    ...     import no_such_library
    Traceback (most recent call last):
        ...
    toolbox.errors.MissingExtraError: a scheduler needs no_such_library, which is not installed: pip install 'leadline[cluster]'
    """  # noqa: E501
    try:
        yield
    except ModuleNotFoundError as error:
        missing = error.name or str(error)
        raise MissingExtraError(
            f"{what} needs {missing}, which is not installed: pip install 'leadline[{extra}]'"
        ) from error
