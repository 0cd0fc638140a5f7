"""Points in delimited text, read some rows at a time."""

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from toolbox.errors import InputFileError
from toolbox.faults import said_by
from toolbox.formats import columns as names
from toolbox.formats.delimited import line_of
from toolbox.formats.layout import find_layout
from toolbox.formats.point_chunks import Choices, PointChunk
from toolbox.formats.point_columns import Columns, coordinate_columns, height_column, kind_of
from toolbox.formats.text_portions import EMPTY, parsed
from toolbox.layers.crs import parse_crs

if TYPE_CHECKING:
    import pandas as pd
    from pyproj import CRS

__all__ = ["TextPoints"]

_LOOK = 65_536  # bytes


class TextPoints:
    """A text of columns, such as easting, northing and depth.

    Parameters
    ----------
    path : Path
        The file. Without a header line its first three columns are easting, northing and height.
    choices : Choices
        Its CRS if the columns are no longitude and latitude, its columns if their names do not
        tell, and its decimal mark.

    """

    def __init__(self, path: Path, choices: Choices) -> None:
        self.path, self._layout = path, find_layout(path)
        self._decimal, self.rows = choices.decimal, _about_rows(path)
        listed = list(self._layout.names)
        bare = not self._layout.header and len(listed) >= 3
        easting, northing, height = listed[:3] if bare else (None, None, None)
        self._pair, degrees = coordinate_columns(
            listed, path, choices.easting or easting, choices.northing or northing
        )
        found = height_column(listed, path, choices.height or height)
        self._height = names.need(found, listed, path, "depth")
        if choices.crs is None and not degrees:
            raise InputFileError(f"{path} names no CRS: give one with crs, such as 'EPSG:32633'")
        self.crs: CRS = parse_crs(choices.crs or "EPSG:4326")
        self.kind = kind_of(self._height)
        self.unit = names.unit_of(self._height)
        self._others = Columns.among([] if bare else listed)
        self.columns = self._others.carried

    def chunks(self, rows: int) -> Iterator[PointChunk]:
        """Go through the points, at most `rows` at a time."""
        try:
            for frame in self._frames(rows, "float64"):
                place = frame[list(self._pair)].to_numpy(float)
                height = frame[self._height].to_numpy(float)
                if np.isinf(place).any() or np.isinf(height).any():
                    raise ValueError("infinite figures")
                yield self._others.chunk(frame, place, height)
        except InputFileError:
            raise
        except ValueError as error:  # it says what is wrong but seldom where
            raise self._fault(rows, said_by(error)) from error

    def _frames(self, rows: int, kind: str) -> Iterator["pd.DataFrame"]:
        figures = (*self._pair, self._height)
        return parsed(
            self.path,
            self._layout,
            rows=rows,
            decimal=self._decimal,
            dtype=dict.fromkeys(self._layout.names, "str") | dict.fromkeys(figures, kind),
            keep_default_na=False,
            na_values=dict.fromkeys(figures, EMPTY),
        )

    def _fault(self, rows: int, reason: str) -> InputFileError:
        """Find the first figure that is none."""
        import pandas as pd

        try:
            for frame in self._frames(rows, "str"):
                for name in (*self._pair, self._height):
                    text = frame[name].str.replace(self._decimal, ".", regex=False)
                    figures = pd.to_numeric(text, errors="coerce").to_numpy(float)
                    wrong = frame[name].notna().to_numpy() & ~np.isfinite(figures)
                    if wrong.any():
                        return self._wrong(frame, name, int(wrong.argmax()))
        except ValueError:  # the text is not even a table
            pass
        return InputFileError(f"{self.path} is not an even table: {reason}")

    def _wrong(self, frame: "pd.DataFrame", name: str, row: int) -> InputFileError:
        value, number = frame[name].iloc[row], int(frame.index[row])
        frame.attrs["layout"] = self._layout
        line = line_of(frame, number, self.path, every=True)
        return InputFileError(
            f"{self.path}, line {line}: column {name!r} must hold a finite number or be "
            f"empty, got {str(value)[:40]!r}"
        )


def _about_rows(path: Path) -> int:
    """Tell from its first lines how many a text has."""
    with path.open("rb") as file:
        start = file.read(_LOOK)
    lines = max(start.count(b"\n"), 1)
    return -(-path.stat().st_size * lines // len(start))
