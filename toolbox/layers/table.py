"""Table: rows of figures a person reads, and what they are about."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from toolbox.errors import LayerError

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["Table"]


@dataclass(frozen=True, eq=False)
class Table:
    """Named columns of equal length.

    Parameters
    ----------
    frame : DataFrame
        The figures. Column names end in their unit where they have one (``area_m2``).
    title : str
        What the table is of.
    notes : tuple of str
        What a reader must know to use it.
    """

    frame: "pd.DataFrame"
    title: str = ""
    notes: tuple[str, ...] = ()

    def column(self, name: str) -> np.ndarray:
        """Return one column as floats, shape (n,).

        Raises
        ------
        LayerError
            If there is no such column, or it holds something that is no number.
        """
        if name not in self.frame:
            where = f" (table {self.title!r})" if self.title else ""
            listed = list(self.frame.columns)
            raise LayerError(f"the table has no column {name!r}, only {listed}{where}")
        try:
            return self.frame[name].to_numpy(float)
        except ValueError as error:
            raise LayerError(f"column {name!r} must hold numbers: {error}") from error
