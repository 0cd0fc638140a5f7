"""Rates and years follow from the change that was planted."""

import numpy as np
import pytest
from two_surveys import DEPTH, PLACES, plain, surveyed

from toolbox.change.sedimentation import sedimentation
from toolbox.errors import LayerError, ParameterError


def test_rate_and_years_left() -> None:
    # derived: 0.1 m in ten years over 60,000 m2 of water 6.5 m deep on average before, 6.4 m after
    table = sedimentation(
        plain(DEPTH),
        plain(DEPTH - 0.1),
        date_before="2009-06-30",
        date_after="2019-06-30",
        sd_before=0.01,
        sd_after=0.01,
        correlation_range=20,
        cell=5,
    )
    row = table.frame.set_index("measure")
    years = 3652 / 365.2425
    assert row.loc["years between", "value"] == pytest.approx(years)
    assert row.loc["sedimentation rate", "value"] == pytest.approx(6000 / years)
    assert row.loc["mean rise of the bed", "value"] == pytest.approx(100 / years)
    assert row.loc["storage left", "value"] == pytest.approx(6.4 * 60_000)
    assert row.loc["storage lost", "value"] == pytest.approx(100 * 0.1 / 6.5 / years)
    lasting = row.loc["years of storage left"]
    assert lasting["value"] == pytest.approx(64 * years)
    assert lasting["low"] < lasting["value"] < lasting["high"]


def test_a_bed_that_held_no_water_has_no_rate() -> None:
    dry = plain(np.where(PLACES[:, 0] < 0, 1.0, 0.0))
    with pytest.raises(
        LayerError, match=r"^the earlier bed holds no water below its water's edge$"
    ):
        sedimentation(
            dry,
            plain(DEPTH),
            date_before="2009-06-30",
            date_after="2019-06-30",
            sd_before=0.01,
            sd_after=0.01,
            correlation_range=20,
        )


def test_a_water_that_may_not_be_filling_lasts_for_ever() -> None:
    chance = np.random.default_rng(5)
    rows = sedimentation(
        surveyed(chance, DEPTH),
        surveyed(chance, DEPTH),
        date_before="2009-06-30",
        date_after="2010-06-30",
    ).frame.set_index("measure")
    assert rows.loc["years of storage left", "high"] == np.inf


@pytest.mark.parametrize(
    ("before", "after", "message"),
    [
        ("2019-06-30", "2009-06-30", r"^date_after must be later than 2019-06-30, got 2009-06-30$"),
        ("30.6.2009", "2019-06-30", r"^date_before must be a day such as 2009-06-30, got '30.6.20"),
    ],
)
def test_dates_that_are_none(before: str, after: str, message: str) -> None:
    with pytest.raises(ParameterError, match=message):
        sedimentation(plain(DEPTH), plain(DEPTH), date_before=before, date_after=after)
