"""Names: of files that others send, so that none leads out of its folder."""

import re
import uuid

from toolbox.errors import InputFileError

__all__ = ["check_member", "check_name", "is_id", "new_id"]

_NAME = re.compile(r"[^\W_][\w .()+-]{0,99}")
_RESERVED = re.compile(r"(?i)(con|prn|aux|nul|com\d|lpt\d)(\..*)?")
_ID = re.compile(r"[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}")


def new_id() -> str:
    """Return a name for a job or an upload that nobody can guess."""
    return str(uuid.uuid4())


def is_id(text: str) -> bool:
    """Tell whether a text has the form of such a name."""
    return _ID.fullmatch(text) is not None


def check_name(name: str) -> str:
    """Return the name of a file, or raise InputFileError if it is none that may be kept.

    Examples
    --------
    >>> check_name("north basin.csv")
    'north basin.csv'
    >>> check_name("../survey.toml")
    Traceback (most recent call last):
        ...
    toolbox.errors.InputFileError: a file is named by letters, digits, spaces and . ( ) + - _, at \
most 100, the first a letter or digit; got '../survey.toml'
    """
    if not _NAME.fullmatch(name) or _RESERVED.fullmatch(name) or name[-1] in ". ":
        raise InputFileError(
            "a file is named by letters, digits, spaces and . ( ) + - _, at most 100, the first a "
            f"letter or digit; got {name[:120]!r}"
        )
    return name


def check_member(name: str) -> tuple[str, ...]:
    """Return the parts of a path within an archive, each a name that may be kept."""
    return tuple(check_name(part) for part in name.split("/"))
