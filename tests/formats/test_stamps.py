"""The time of a run: the clock's, or one that is fixed from outside."""

from datetime import UTC, datetime, timedelta

import pyogrio
import pytest

from toolbox.errors import ParameterError
from toolbox.formats.stamps import FIXED, moment, stamped


def test_without_a_fixed_time_it_is_the_clocks(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv(FIXED, raising=False)
    assert abs(moment() - datetime.now(UTC)) < timedelta(minutes=1)


def test_a_fixed_time_counts_from_1970(monkeypatch: pytest.MonkeyPatch) -> None:
    """2009-02-13 23:31:30 UTC is second 1234567890 (POSIX.1-2017, seconds since the epoch)."""
    monkeypatch.setenv(FIXED, "1234567890")
    assert moment() == datetime(2009, 2, 13, 23, 31, 30, tzinfo=UTC)


@pytest.mark.parametrize("text", ["", "now", "-1", "1.5", "9" * 30, "\u0661"])
def test_what_is_no_time_is_refused(text: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(FIXED, text)
    with pytest.raises(ParameterError, match="SOURCE_DATE_EPOCH must be seconds since 1970"):
        moment()


def test_layers_bear_the_time_only_within_the_block() -> None:
    before = pyogrio.get_gdal_config_option("OGR_CURRENT_DATE")
    with stamped(datetime(2026, 5, 1, 12, tzinfo=UTC)):
        assert pyogrio.get_gdal_config_option("OGR_CURRENT_DATE") == "2026-05-01T12:00:00.000Z"
    assert pyogrio.get_gdal_config_option("OGR_CURRENT_DATE") == before
