"""The sparse factor agrees with dense algebra, and refuses what is not positive definite."""

from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import sparse

from toolbox.bed.factor import Factor
from toolbox.errors import LayerError


def positive(seed: int, size: int, density: float) -> Any:
    """Return a sparse matrix that is positive definite, its rows of very different sizes."""
    rng = np.random.default_rng(seed)
    root = sparse.random(size, size, density, "coo", None, rng, rng.standard_normal)
    scale = sparse.diags(10.0 ** rng.uniform(-2, 2, size))
    return (scale @ (root @ root.T + 0.1 * sparse.identity(size)) @ scale).tocsc()


def close(found: np.ndarray, wanted: np.ndarray, *, rel: float = 1e-7) -> None:
    """Compare entry by entry, each in its own size."""
    np.testing.assert_allclose(found, wanted, rtol=rel, atol=rel * np.abs(wanted).max())


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 2**32 - 1), st.integers(1, 60), st.sampled_from([0.0, 0.02, 0.1, 0.5]))
def test_agrees_with_dense_matrices(seed: int, size: int, density: float) -> None:
    matrix = positive(seed, size, density)
    dense, factor = matrix.toarray(), Factor(matrix)
    right = np.random.default_rng(seed).standard_normal((size, 3))
    inverse = np.linalg.inv(dense)
    close(dense @ factor.solve(right), right)
    close(factor.solve(right[:, 0]), factor.solve(right)[:, 0])
    sign, wanted = np.linalg.slogdet(dense)
    assert sign == 1
    assert factor.log_determinant == pytest.approx(wanted, rel=1e-9, abs=1e-8)
    np.testing.assert_allclose(factor.inverse_diagonal(), np.diag(inverse), rtol=1e-6)


@settings(max_examples=20, deadline=None)
@given(st.integers(0, 2**32 - 1), st.integers(2, 40))
def test_order_of_the_unknowns_does_not_matter(seed: int, size: int) -> None:
    matrix = positive(seed, size, 0.1)
    order = np.random.default_rng(seed).permutation(size)
    there, turned = Factor(matrix), Factor(matrix[order][:, order])
    assert turned.log_determinant == pytest.approx(there.log_determinant, rel=1e-9, abs=1e-9)
    np.testing.assert_allclose(
        turned.inverse_diagonal(), there.inverse_diagonal()[order], rtol=1e-7
    )


def test_second_differences_have_their_known_inverse() -> None:
    # derived: the n x n matrix with 2 on and -1 beside its diagonal has determinant n + 1, and
    # the diagonal of its inverse is i (n + 1 - i) / (n + 1)
    size = 400
    matrix = sparse.diags([-1.0, 2.0, -1.0], [-1, 0, 1], shape=(size, size))
    factor = Factor(matrix)
    assert factor.log_determinant == pytest.approx(np.log(size + 1), rel=1e-12)
    at = np.arange(1, size + 1)
    np.testing.assert_allclose(
        factor.inverse_diagonal(), at * (size + 1 - at) / (size + 1), rtol=1e-10
    )
    # under a constant load it sags as a parabola: i (n + 1 - i) / 2
    np.testing.assert_allclose(factor.solve(np.ones(size)), at * (size + 1 - at) / 2, rtol=1e-9)


def test_a_lattice_that_fills_in_has_the_inverse_of_its_eigenvectors() -> None:
    # derived: eigenvalues of the five-point Laplacian on m x m are the sums of those of its sides
    side = 25
    line = sparse.diags([-1.0, 2.0, -1.0], [-1, 0, 1], shape=(side, side))
    matrix = sparse.kronsum(line, line) + 0.01 * sparse.identity(side**2)
    wave = np.arange(1, side + 1)
    own = 2 - 2 * np.cos(np.pi * wave / (side + 1))
    values = own[:, None] + own + 0.01
    shape = np.sqrt(2 / (side + 1)) * np.sin(np.pi * np.outer(wave, wave) / (side + 1))
    factor = Factor(matrix)
    assert factor.log_determinant == pytest.approx(np.log(values).sum(), rel=1e-10)
    wanted = np.einsum("ia,jb,ab->ij", shape**2, shape**2, 1 / values)
    np.testing.assert_allclose(factor.inverse_diagonal(), wanted.ravel(), rtol=1e-9)


def test_entries_stored_though_zero_change_nothing() -> None:
    # entries that are stored though zero, as columns of errors that do nothing give
    matrix = sparse.csc_matrix(
        (np.array([4.0, 0.0, 0.0, 9.0]), (np.array([0, 1, 0, 1]), np.array([0, 0, 1, 1])))
    )
    factor = Factor(matrix)
    np.testing.assert_allclose(factor.inverse_diagonal(), [1 / 4, 1 / 9])
    assert factor.log_determinant == pytest.approx(np.log(36))


@pytest.mark.parametrize(
    "rows",
    [
        [[1, 2], [2, 1]],
        [[-1, 0], [0, -1]],
        [[-4, 1], [1, 1]],
        [[3, 0, 0], [0, 1, 5], [0, 5, 1]],
        [[0, 1], [1, 0]],
        [[2, 0, 0], [0, 0, 1], [0, 1, 0]],
    ],
)
def test_what_is_not_positive_is_refused(rows: list[list[float]]) -> None:
    with pytest.raises(
        LayerError, match=r"^the field cannot be solved for: its precision is not positive$"
    ):
        Factor(sparse.csc_matrix(np.array(rows, float)))


@pytest.mark.parametrize(
    "rows", [[[1, 1], [1, 1]], [[0, 0], [0, 0]], [[1, 0], [0, 0]], [[np.nan, 0], [0, 1]]]
)
def test_what_is_singular_is_refused_in_one_line(rows: list[list[float]]) -> None:
    with pytest.raises(LayerError, match=r"^the field cannot be solved for: .+$") as caught:
        Factor(sparse.csc_matrix(np.array(rows, float)))
    assert "\n" not in str(caught.value)


def test_a_laplacian_alone_has_no_level_and_is_never_solved_for() -> None:
    # derived: rows sum to zero, so it is singular; with small whole numbers no rounding hides that
    line = sparse.diags([-1.0, 2.0, -1.0], [-1, 0, 1], shape=(4, 4)).tolil()
    line[0, 0] = line[3, 3] = 1.0
    with pytest.raises(LayerError, match=r"^the field cannot be solved for: "):
        Factor(line)
