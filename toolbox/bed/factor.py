"""Factor: a sparse symmetric positive definite matrix, ready to solve with."""

from functools import cached_property
from typing import Any

import numpy as np

from toolbox.errors import LayerError

__all__ = ["Factor"]

_SYMMETRIC = {
    "permc_spec": "MMD_AT_PLUS_A",
    "diag_pivot_thresh": 0.0,
    "options": {"SymmetricMode": True},
}
"""Pivots stay on the diagonal, so that L U = P A P^T with U = D L^T."""


_COLUMNS = 8  # solved for at a time


class Factor:
    """The factors L D L^T of a sparse symmetric positive definite matrix.

    Parameters
    ----------
    matrix : (n, n) sparse matrix
        Symmetric, positive definite.

    Raises
    ------
    LayerError
        If the matrix is not positive definite.

    Notes
    -----
    scipy's SuperLU with a minimum-degree ordering: deterministic, and no more licence than scipy's.
    """

    def __init__(self, matrix: Any) -> None:
        from scipy.sparse.linalg import splu

        try:
            self._factors = splu(matrix.tocsc(), **_SYMMETRIC)
        except RuntimeError as error:  # exactly singular
            raise LayerError(f"the field cannot be solved for: {error}") from error
        self._pivots = self._factors.U.diagonal()
        swapped = (self._factors.perm_r != self._factors.perm_c).any()
        if swapped or not (self._pivots > 0).all():
            raise LayerError("the field cannot be solved for: its precision is not positive")

    def solve(self, right: np.ndarray) -> np.ndarray:
        """Return A^-1 `right`, shape (n,) or (n, k).

        Notes
        -----
        A few columns at a time: with more, threads share the work, which is slower and rounds
        otherwise with other numbers of threads.
        """
        right = np.asarray(right, float)
        if right.ndim == 1:
            return np.asarray(self._factors.solve(right))
        starts = range(0, right.shape[1], _COLUMNS)
        return np.hstack([self._factors.solve(right[:, at : at + _COLUMNS]) for at in starts])

    @cached_property
    def log_determinant(self) -> float:
        """Natural logarithm of the determinant."""
        return float(np.log(self._pivots).sum())

    def inverse_diagonal(self) -> np.ndarray:
        """Return the diagonal of A^-1, shape (n,).

        References
        ----------
        Takahashi, Fagan & Chin 1973, Proc. 8th PICA Conference, 63-69; Rue & Held 2005, Gaussian
        Markov Random Fields, section 2.4.
        """
        from toolbox.bed.kernels import fill_inverse

        lower = self._factors.L.tocsc()
        lower.sort_indices()
        inverse = np.zeros(lower.nnz)
        fill_inverse(lower.indptr, lower.indices, lower.data, self._pivots, inverse)
        return np.asarray(inverse[lower.indptr[:-1]][self._factors.perm_c])
