"""XYZ: a raster or the nodes of a bed as lines of text, easting, northing and value."""

from collections.abc import Iterator
from io import BytesIO
from pathlib import Path
from typing import Any, Literal

import numpy as np

from toolbox.errors import ParameterError
from toolbox.formats.paths import new_file
from toolbox.layers import Grid, Tin

__all__ = ["write_xyz"]

_CELLS = 2**20  # turned to text at a time
_DELIMITERS = {"blank": " ", "comma": ",", "tab": "\t", "semicolon": ";"}


def write_xyz(
    layer: Grid | Tin,
    path: Path,
    *,
    header: bool = True,
    delimiter: Literal["blank", "comma", "tab", "semicolon"] = "blank",
    overwrite: bool = False,
) -> None:
    """Write easting, northing and value, a line each.

    Parameters
    ----------
    layer : Grid or Tin
        The centres of cells that have a value, row by row from north-west; or the vertices of a
        bed in their order.
    path : Path
        File to write.
    header : bool
        Whether the first line names the columns: ``easting northing depth``.
    delimiter : str
        Between columns.
    overwrite : bool
        Whether a file that is there may be replaced.

    Raises
    ------
    OutputError
        If the file is there already or cannot be written.

    Notes
    -----
    Metres, to the millimetre; depths are positive down. Numbers have a decimal point.
    """
    if delimiter not in _DELIMITERS:
        raise ParameterError(
            f"delimiter must be one of {', '.join(_DELIMITERS)}, got {delimiter!r}"
        )
    mark = _DELIMITERS[delimiter]
    names = ("easting", "northing", "depth" if isinstance(layer, Tin) else layer.name)
    with new_file(path, overwrite=overwrite) as place, place.open("wb") as file:
        if header:
            file.write(f"{mark.join(names)}\n".encode())
        for columns in _portions(layer):
            file.write(_lines(columns, mark))


def _portions(layer: Grid | Tin) -> Iterator[list[np.ndarray]]:
    if isinstance(layer, Tin):
        yield [*layer.vertices.T, layer.depth]
        return
    rows, cols = layer.shape
    step = max(_CELLS // cols, 1)
    left, _, _, top = layer.bounds
    for start in range(0, rows, step):
        part = layer.values[start : start + step]
        row, col = np.nonzero(np.isfinite(part))
        easting = left + (col + 0.5) * layer.cell
        northing = top - (start + row + 0.5) * layer.cell
        yield [easting, northing, part[row, col].astype(float)]


def _lines(columns: list[np.ndarray], mark: str) -> bytes:
    import pyarrow
    from pyarrow import csv

    rounded: list[Any] = [np.round(column, 3) + 0.0 for column in columns]  # no -0
    table = pyarrow.table(rounded, names=["easting", "northing", "value"])
    target = BytesIO()
    options = csv.WriteOptions(include_header=False, delimiter=mark, quoting_style="none")
    csv.write_csv(table, target, options)
    return target.getvalue()
