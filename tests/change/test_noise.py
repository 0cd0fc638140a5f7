"""Errors of beds: simulated fields against their own correlation, and the sd of means."""

import numpy as np
import pytest

from toolbox.bed.location import locate
from toolbox.change.noise import BedError, spherical_fields, spherical_sd_of_mean
from toolbox.errors import ParameterError
from toolbox.layers import Tin

SQUARE = np.array([[0, 0], [10, 0], [10, 10], [0, 10]], float)


def plate(**changes: object) -> Tin:
    pair = np.array([[0, 1, 2], [0, 2, 3]])
    return Tin(SQUARE, np.full(4, 5.0), pair, np.full(4, 2), None, **changes)  # type: ignore[arg-type]


def error(bed: Tin, sd: float | None = None) -> BedError:
    places = np.array([[2.5, 2.5], [9, 1]])
    return BedError(bed, locate(bed.vertices, bed.triangles, places), sd, "before")


def test_simulated_fields_have_the_correlation_asked_for() -> None:
    # derived: 1 - 1.5 h + 0.5 h^3 of the range h, and 0 beyond it
    fields = spherical_fields((40, 50), 2.0, 20.0, 400, np.random.default_rng(1)).astype(float)
    assert fields.std() == pytest.approx(1, abs=0.02)
    for apart in (1, 3, 5, 10, 14):
        h = min(apart * 2 / 20, 1)
        expected = 1 - 1.5 * h + 0.5 * h**3
        across = (fields[:, :, apart:] * fields[:, :, :-apart]).mean()
        along = (fields[:, apart:] * fields[:, :-apart]).mean()
        assert across == pytest.approx(expected, abs=0.03)
        assert along == pytest.approx(expected, abs=0.03)


def test_sd_of_a_mean_within_and_beyond_the_range() -> None:
    # Rolstad, Haug & Denby 2009, Journal of Glaciology 55:666 (from memory): beyond the range the
    # variance of the mean is a fifth of the correlated area over the area; both forms meet at it
    assert spherical_sd_of_mean(1e6, 50.0) ** 2 == pytest.approx(0.2 * np.pi * 50**2 / 1e6)
    assert spherical_sd_of_mean(np.pi * 50**2, 50.0) ** 2 == pytest.approx(0.2)
    assert spherical_sd_of_mean(1e-9, 50.0) == pytest.approx(1, abs=1e-5)
    assert spherical_sd_of_mean(1e6, 0.0) == 0


def test_sd_of_a_mean_is_that_of_simulated_fields() -> None:
    # the form takes the covariance with the middle of a round area for that of all pairs, which
    # matters less the larger the area; here of 200 m by 200 m with a range of 20 m
    fields = spherical_fields((100, 100), 2.0, 20.0, 1000, np.random.default_rng(2))
    found = fields.mean(axis=(1, 2), dtype=float).std()
    assert spherical_sd_of_mean(200.0**2, 20.0) == pytest.approx(found, rel=0.12)


def test_a_bed_with_draws_is_told_by_them() -> None:
    draws = 5 + np.outer(np.ones(4), [-1.0, 0, 1])
    of = error(plate(draws=draws))
    np.testing.assert_allclose(of.sd, 1)  # derived: the sd of -1, 0 and 1
    np.testing.assert_allclose(of.fields(4, 1, None)[:, 0] / np.sqrt(1.5), [-1, 0, 1, 0])


def test_its_own_sd_comes_first() -> None:
    draws = 5 + np.outer(np.ones(4), [-1.0, 0, 1])
    np.testing.assert_allclose(error(plate(draws=draws, sd=np.full(4, 0.7))).sd, 0.7)


def test_a_bed_without_draws_takes_simulated_fields() -> None:
    of = error(plate(), sd=0.2)
    assert of.drawn is None
    np.testing.assert_allclose(of.fields(3, 0, lambda count: np.ones((count, 2))), 0.2)


def test_refusals() -> None:
    with pytest.raises(
        ParameterError, match=r"^sd_before must be given: the bed does not know its"
    ):
        error(plate())
    with pytest.raises(ParameterError, match=r"^sd_before must be left out, the bed .*; got 0.1$"):
        error(plate(sd=np.full(4, 0.1)), sd=0.1)
    with pytest.raises(ParameterError, match=r"^draws of a bed must be two or more .*, got 1$"):
        error(plate(draws=np.full((4, 1), 5.0)))
