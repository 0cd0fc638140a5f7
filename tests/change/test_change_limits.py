"""What two surveys can show follows the published formulas."""

import numpy as np
import pytest

from toolbox.change.change_limits import change_limits


def test_limits_before_the_surveys_are_made() -> None:
    # Rolstad, Haug & Denby 2009 (from memory): variance of the mean 0.2 pi range^2 / area of the
    # variance at a place, then Anderson 2019 (from memory): the common error on top
    table = change_limits(
        sd_before=0.1, sd_after=0.1, area=60_000, correlation_range=30, datum_sd=0.02
    )
    found = table.frame.set_index("measure")["value"]
    mean_sd = np.sqrt(0.02 * 0.2 * np.pi * 30**2 / 60_000 + 0.02**2)
    assert found["limit at a place"] == pytest.approx(1.959964 * np.sqrt(0.02 + 0.02**2))
    assert found["sd of the mean change"] == pytest.approx(mean_sd)
    assert found["limit of the volume"] == pytest.approx(1.959964 * mean_sd * 60_000)


def test_what_all_depths_have_in_common_does_not_average_out() -> None:
    sizes = [
        change_limits(sd_before=0.1, sd_after=0, area=area, correlation_range=30, datum_sd=0.05)
        .frame.set_index("measure")
        .loc["sd of the mean change", "value"]
        for area in (1e3, 1e6, 1e10)
    ]
    assert sizes[0] > sizes[1] > sizes[2]
    assert sizes[2] == pytest.approx(0.05, rel=1e-4)
