"""Limits of detection and quantiles are the published ones."""

import pytest

from toolbox.change.comparison import limit_of_detection, quantile


@pytest.mark.parametrize(
    ("before", "after", "t", "limit"),
    [(0.10, 0.10, 1.96, 0.2772), (0.15, 0.05, 1.96, 0.3099), (0.10, 0.10, 1.282, 0.1813)],
)
def test_limit_of_detection(before: float, after: float, t: float, limit: float) -> None:
    # Lane et al. 2003; Brasington et al. 2003; Wheaton et al. 2010: t sqrt(s1^2 + s2^2)
    assert limit_of_detection(before, after, t) == pytest.approx(limit, abs=5e-5)


def test_quantiles_of_the_normal_distribution() -> None:
    # any table of the normal distribution (from memory)
    assert [quantile(level) for level in (0.8, 0.9, 0.95)] == pytest.approx(
        [1.2816, 1.6449, 1.9600], abs=5e-5
    )
