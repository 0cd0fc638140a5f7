"""Delimited text: columns of figures as people exchange them."""

import csv
import itertools
from pathlib import Path
from typing import TYPE_CHECKING, Any

from toolbox.errors import InputFileError, ParameterError

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["numbers", "read_delimited", "write_delimited"]

_DELIMITERS = "\t;|,"  # a comma last: it may be the decimal mark
_SAMPLE = 65_536
_MISSING = {"", "na", "n/a", "nan", "null", "none", "-", "--"}
_FORMULA = ("=", "+", "-", "@", "\t", "\r")


def read_delimited(
    path: Path,
    *,
    delimiter: str | None = None,
    decimal: str | None = None,
    encoding: str = "utf-8-sig",
) -> "pd.DataFrame":
    """Read a text table, finding out how its columns are divided.

    Parameters
    ----------
    path : Path
        The file. Empty lines, and lines before the first that begin with ``#``, are passed over.
    delimiter : str, optional
        Between columns; if left out, whichever of comma, semicolon, tab, bar or runs of blanks
        divides the first lines evenly.
    decimal : str, optional
        ``"."`` or ``","``; if left out, a comma where the columns are not divided by commas and
        numbers have them.
    encoding : str
        Of the text.

    Returns
    -------
    DataFrame
        Columns of numbers or text. A file without a header line has columns named ``1, 2, 3``...
        ``attrs`` holds what was found: ``decimal``, ``header`` (bool), ``encoding``.

    Raises
    ------
    InputFileError
        If the file is empty, not text, or its lines do not have equally many columns.
    """
    sample = _sample(path, encoding)
    mark = delimiter or _sniff(path, sample)
    header = _has_header(sample, mark)
    frame = _parse(path, mark, encoding, header, _leading_remarks(path, encoding))
    found = {"decimal": decimal or _decimal_mark(frame, mark), "header": header}
    frame.attrs |= found | {"encoding": encoding}
    return frame


def numbers(frame: "pd.DataFrame", column: str, path: Path) -> Any:
    """Read one column of text as numbers.

    Parameters
    ----------
    frame : DataFrame
        From :func:`read_delimited`.
    column : str
        Its name.
    path : Path
        Named in errors.

    Returns
    -------
    (n,) array of float
        NaN where the cell is empty or says that nothing was measured.

    Raises
    ------
    InputFileError
        At the first cell that is neither a number nor empty, or is infinite.
    """
    import numpy as np
    import pandas as pd

    if pd.api.types.is_numeric_dtype(frame[column]):
        values = frame[column].to_numpy(float)
    else:
        text = frame[column].fillna("").astype(str).str.strip()
        if frame.attrs.get("decimal") == ",":
            text = text.str.replace(",", ".", regex=False)
        figures = pd.to_numeric(text.mask(text.str.lower().isin(_MISSING)), errors="coerce")
        values = figures.to_numpy(float)
        wrong = np.isnan(values) & ~text.str.lower().isin(_MISSING).to_numpy()
        _refuse(frame, column, path, wrong, "a number or empty")
    _refuse(frame, column, path, np.isinf(values), "a finite number")
    return values


def write_delimited(frame: "pd.DataFrame", path: Path) -> None:
    """Write a table as comma-separated UTF-8 text with a header line.

    Text that a spreadsheet would run as a formula is made harmless by a leading apostrophe.
    """
    texts = frame.select_dtypes(exclude="number").columns
    safe = frame.assign(**{str(name): frame[name].map(_harmless) for name in texts})
    safe.to_csv(path, index=False, lineterminator="\n", float_format="%.10g")


def _harmless(value: Any) -> Any:
    return f"'{value}" if isinstance(value, str) and value.startswith(_FORMULA) else value


def _refuse(frame: "pd.DataFrame", column: str, path: Path, wrong: Any, allowed: str) -> None:
    if wrong.any():
        row = int(wrong.argmax())
        line, value = _line_number(path, row, frame.attrs), frame[column].iloc[row]
        raise InputFileError(
            f"{path}, line {line}: column {column!r} must hold {allowed}, got {str(value)[:40]!r}"
        )


def _line_number(path: Path, row: int, found: Any) -> int:
    """Find the line of a row of figures, past all lines that say nothing."""
    with path.open(encoding=found["encoding"], newline=None) as file:
        speaking = (number for number, line in enumerate(file, start=1) if _speaks(line))
        return next(itertools.islice(speaking, row + int(found["header"]), None), row)


def _sample(path: Path, encoding: str) -> list[str]:
    """First lines that say something."""
    try:
        with path.open(encoding=encoding, newline=None) as file:
            text = file.read(_SAMPLE)
            whole = not file.read(1)
    except UnicodeDecodeError as error:
        raise InputFileError(
            f"{path} is not {encoding.removesuffix('-sig')} text (byte {error.start} is "
            f"0x{error.object[error.start]:02x}); name its encoding, such as cp1252"
        ) from error
    except LookupError as error:
        raise ParameterError(f"encoding must be one Python knows, got {encoding!r}") from error
    if "\0" in text:
        raise InputFileError(f"{path} is not a text file (it holds NUL bytes)")
    lines = [line for line in text.splitlines()[: None if whole else -1] if _speaks(line)]
    if not lines:
        raise InputFileError(f"{path} is empty: a table needs at least one line of figures")
    return lines


def _speaks(line: str) -> bool:
    return bool(line.strip()) and not line.lstrip().startswith("#")


def _sniff(path: Path, sample: list[str]) -> str:
    for mark in _DELIMITERS:
        widths = {len(row) for row in csv.reader(sample[:50], delimiter=mark)}
        if len(widths) == 1 and widths.pop() > 1:
            return mark
    if len({len(line.split()) for line in sample[:50]}) == 1 and len(sample[0].split()) > 1:
        return r"\s+"
    raise InputFileError(
        f"{path}: no delimiter divides its lines into equally many columns; name it, such as ';'"
    )


def _has_header(sample: list[str], mark: str) -> bool:
    return not any(_is_number(cell) for cell in _cells(sample[0], mark))


def _cells(line: str, mark: str) -> list[str]:
    return line.split() if mark == r"\s+" else next(csv.reader([line], delimiter=mark))


def _is_number(text: str) -> bool:
    try:
        float(text.strip().replace(",", "."))
    except ValueError:
        return False
    return True


def _leading_remarks(path: Path, encoding: str) -> int:
    with path.open(encoding=encoding, newline=None) as file:
        return sum(1 for _ in itertools.takewhile(lambda line: not _speaks(line), file))


def _parse(path: Path, mark: str, encoding: str, header: bool, remarks: int) -> "pd.DataFrame":
    import pandas as pd

    try:
        frame = pd.read_csv(
            path,
            sep=mark,
            encoding=encoding,
            header=0 if header else None,
            skiprows=remarks,
            index_col=False,
            na_filter=False,
            skipinitialspace=True,
            low_memory=False,
        )
    except (pd.errors.ParserError, pd.errors.EmptyDataError, ValueError) as error:
        raise InputFileError(
            f"{path} is not an even table: {' '.join(str(error).split())}"
        ) from error
    if not len(frame):
        raise InputFileError(f"{path} has a header line and no figures below it")
    frame.columns = (
        [str(name).strip() for name in frame.columns]
        if header
        else [str(number + 1) for number in range(len(frame.columns))]
    )
    return frame


def _decimal_mark(frame: "pd.DataFrame", mark: str) -> str:
    if mark == ",":
        return "."
    head = frame.head(50).select_dtypes(exclude="number").astype(str)
    commas = head.apply(lambda column: column.str.fullmatch(r"\s*[-+]?\d+,\d+\s*"))
    return "," if commas.to_numpy().any() else "."
