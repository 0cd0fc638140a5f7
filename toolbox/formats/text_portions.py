"""A text table as the parser gives it, some rows at a time."""

import warnings
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from toolbox.errors import InputFileError
from toolbox.formats.layout import MISSING, Layout

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["EMPTY", "parsed"]

EMPTY = [*MISSING, *(word.upper() for word in MISSING)]
"""Cells that the parser takes for empty where figures are wanted."""


def parsed(
    path: Path,
    found: Layout,
    *,
    rows: int | None = None,
    surplus: Literal["error", "ignore"] = "error",
    **options: Any,
) -> Iterator["pd.DataFrame"]:
    """Parse a text table in portions.

    Parameters
    ----------
    path : Path
        The file.
    found : Layout
        How its lines are divided.
    rows : int, optional
        How many at a time; if left out, all.
    surplus : {"error", "ignore"}
        What to do with a row of cells too many: refuse it or cut it. A delimiter at the end of a
        row makes such a cell.
    **options
        More of what :func:`pandas.read_csv` takes.

    Yields
    ------
    DataFrame
        With the columns of `found`.

    Raises
    ------
    InputFileError
        If two columns have one name.
    ValueError
        As the parser says what is wrong.
    """
    import pandas as pd

    names = found.names
    if repeated := [name for k, name in enumerate(names) if name in names[:k]]:
        raise InputFileError(f"{path} has two columns named {repeated[0]!r}")
    with pd.read_csv(
        path,
        sep=found.mark,
        encoding=found.encoding,
        names=list(names),
        header=0 if found.header else None,
        skiprows=found.remarks,
        index_col=False,
        skipinitialspace=True,
        low_memory=False,
        iterator=True,
        **options,
    ) as parser:
        while (frame := _next(parser, rows, surplus)) is not None:
            yield frame


def _next(
    parser: Any, rows: int | None, surplus: Literal["error", "ignore"]
) -> "pd.DataFrame | None":
    import pandas as pd

    with warnings.catch_warnings():  # not over the yield: warnings of others are not ours
        warnings.simplefilter(surplus, pd.errors.ParserWarning)
        try:
            frame: pd.DataFrame = parser.read(rows)
        except StopIteration:
            return None
        except pd.errors.ParserWarning as error:
            raise ValueError(str(error)) from error
    return frame
