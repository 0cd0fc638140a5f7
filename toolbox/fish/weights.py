"""Weights of fish by their lengths."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from toolbox.errors import ParameterError

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["Growth", "weighed"]


@dataclass(frozen=True)
class Growth:
    """Weight in g = a length^b, the length in cm, and where a and b come from."""

    a: float
    b: float
    source: str

    @classmethod
    def of(cls, a: float | None, b: float | None, source: str) -> "Growth | None":
        """Take the three together, or none of them.

        Raises
        ------
        ParameterError
            If one or two are given.
        """
        if a is None and b is None and not source.strip():
            return None
        if a is None or b is None or not source.strip():
            raise ParameterError(
                f"weight_a, weight_b and weight_source go together, got {a!r}, {b!r} and {source!r}"
            )
        return cls(a, b, source.strip())

    def weigh(self, length: np.ndarray) -> np.ndarray:
        """Return the weights of fish of some lengths in cm, g."""
        return self.a * length**self.b


def weighed(
    frame: "pd.DataFrame",
    own: np.ndarray | None,
    source: str,
    growth: Growth | None,
    excess: float,
) -> tuple["pd.DataFrame", tuple[str, ...]]:
    """Add ``weight_g`` to echoes with ``length_cm``, and say whence.

    `own` are weights by the relation itself, of `source`; `growth` goes before them. `excess` is
    the factor by which the scatter of echoes raises the mean.
    """
    if growth is not None:
        weight = growth.weigh(frame["length_cm"].to_numpy(float))
        note = f"weight in g = {growth.a:g} x (length in cm)^{growth.b:g} ({growth.source})"
    elif own is not None:
        weight, note = own, f"weights by target strength ({source})"
    else:
        return frame, ()
    doubt = (
        f"weights divided by {excess:.2f}, by which the scatter of echoes raises their mean"
        if excess > 1
        else "weights of single echoes that scatter are too great on average: give their scatter"
    )
    return frame.assign(weight_g=weight / excess), (note, doubt)
