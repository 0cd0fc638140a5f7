"""Growth: how a cost rises with the size of the work, beyond what any size costs.

The rule t = a + b n^p is fitted so that the sum of squares of relative errors is least, with a and
b not negative: for each p of a fine row of powers a and b follow by linear least squares, and the
best p is taken. With three sizes the rule goes through all of them.
"""

from dataclasses import dataclass

import numpy as np
from scipy.optimize import nnls

__all__ = ["POWERS", "Growth", "fitted", "steps"]

POWERS = np.arange(0.30, 2.005, 0.01)
"""Those that are tried: work that is not by the square lies well within."""


@dataclass(frozen=True)
class Growth:
    """The rule t = fixed + per_unit n^power."""

    fixed: float
    per_unit: float
    power: float

    def at(self, count: np.ndarray | float) -> np.ndarray:
        """Return the cost of so many."""
        return np.asarray(self.fixed + self.per_unit * np.asarray(count, float) ** self.power)


def fitted(counts: np.ndarray, costs: np.ndarray) -> Growth:
    """Fit the rule to three sizes or more."""
    counts, costs = np.asarray(counts, float), np.asarray(costs, float)
    if len(counts) < 3:
        raise ValueError(f"growth asks for three sizes, got {len(counts)}")
    unit = counts.max()  # powers of large numbers would spoil the least squares
    found = []
    for power in POWERS:
        columns = np.column_stack([np.ones_like(counts), (counts / unit) ** power])
        (fixed, per_unit), error = nnls(columns / costs[:, None], np.ones_like(costs))
        found.append((error, Growth(fixed, per_unit / unit**power, float(power))))
    return min(found, key=lambda pair: pair[0])[1]


def steps(counts: np.ndarray, costs: np.ndarray) -> np.ndarray:
    """Return the plain exponent between each two neighbouring sizes, fixed cost and all."""
    return np.asarray(np.diff(np.log(costs)) / np.diff(np.log(counts)))
