"""The anoxic factor of series worked out by hand."""

import math

import numpy as np
import pandas as pd
import pytest

from toolbox.errors import LayerError
from toolbox.layers import Profiles, Tin
from toolbox.water.anoxic_factor import anoxic_factor

CORNERS = np.array([[0, 0], [300, 0], [300, 40], [0, 40]], float)
HALVES = np.array([[0, 1, 2], [0, 2, 3]])


def wedge(draws: np.ndarray | None = None) -> Tin:
    """Make a bed of 10 m whose area falls evenly with depth."""
    return Tin(CORNERS, np.array([0, 10, 10, 0.0]), HALVES, np.full(4, 2), None, draws=draws)


def profiles(*visits: tuple[str, list[float]], station: str = "", surface: float = 0.0) -> Profiles:
    """Make profiles of oxygen at 0, 5 and 10 m."""
    parts = [
        pd.DataFrame(
            {"time": pd.Timestamp(day, tz="UTC"), "depth_m": [0.0, 5, 10], "oxygen_mg_l": o}
        )
        for day, o in visits
    ]
    return Profiles(pd.concat(parts, ignore_index=True).assign(station=station, surface_m=surface))


def test_a_season_in_which_nothing_moves() -> None:
    # derived: half of the bed lies below 5 m, for 40 days
    water = profiles(
        ("2026-06-01", [9, 1, 0]), ("2026-06-21", [9, 1, 0]), ("2026-07-11", [9, 1, 0])
    )
    table = anoxic_factor(wedge(), water)
    assert list(table.frame) == [
        "year", "first", "last", "visits", "days", "longest_gap_days", "anoxic_factor_days",
        "anoxic_days", "greatest_anoxic_volume_m3", "greatest_anoxic_area_m2",
    ]  # fmt: skip
    row = table.frame.iloc[0]
    assert row[["year", "visits", "days", "longest_gap_days"]].tolist() == [2026, 3, 40, 20]
    assert row["anoxic_factor_days"] == pytest.approx(20.0)
    assert row["anoxic_days"] == 40
    assert row["greatest_anoxic_area_m2"] == pytest.approx(6000)
    assert row["greatest_anoxic_volume_m3"] == pytest.approx(15000)
    assert table.notes == (
        "anoxic: 1 mg/L or less; oxygen linear between visits",
        "from the first to the last visit of each year only",
    )


def test_oxygen_that_wanes_from_visit_to_visit() -> None:
    # derived: u of the way between the visits oxygen is 5.5 - 4.5 u at 5 m and 1 - u at 10 m, so
    # that u / (9 - 7 u) of the wedge lie below 1 mg/L; its integral is (9 ln 4.5 - 7) / 49
    water = profiles(("2026-06-01", [10, 5.5, 1]), ("2026-07-11", [10, 1, 0]))
    found = anoxic_factor(wedge(), water, step=0.05).frame["anoxic_factor_days"][0]
    assert found == pytest.approx(40 * (9 * math.log(4.5) - 7) / 49, rel=2e-3)
    still = profiles(("2026-06-01", [10, 5.5, 1]), ("2026-07-11", [10, 5.5, 1]))
    assert anoxic_factor(wedge(), still).frame["anoxic_factor_days"][0] == pytest.approx(
        0, abs=1e-9
    )


def test_surfaces_and_their_area() -> None:
    # derived: 2 m lower the wedge is 8 m deep; 3 of them lie below 5 m
    water = profiles(("2026-06-01", [9, 1, 0]), ("2026-06-11", [9, 1, 0]), surface=2.0)
    row = anoxic_factor(wedge(), water).frame.iloc[0]
    assert row["anoxic_factor_days"] == pytest.approx(10 * 3 / 8)


def test_years_and_seasons() -> None:
    water = profiles(
        ("2025-12-01", [9, 1, 0]), ("2026-02-01", [9, 1, 0]), ("2026-11-01", [9, 1, 0])
    )
    years = anoxic_factor(wedge(), water).frame
    assert years["year"].tolist() == [2025, 2026]
    assert np.isnan(years["anoxic_factor_days"][0])
    assert np.isnan(years["longest_gap_days"][0])
    south = anoxic_factor(wedge(), water, first_month=7).frame
    assert south["year"].tolist() == [2025, 2026]
    assert south["visits"].tolist() == [2, 1]
    assert south["anoxic_factor_days"][0] == pytest.approx(31.0)


def test_spans_of_which_nothing_is_known_do_not_count() -> None:
    spring = profiles(("2026-05-01", [9, 1, 0]), ("2026-05-11", [9, 1, 0]), station="a")
    autumn = profiles(("2026-09-01", [9, 1, 0]), ("2026-09-21", [9, 1, 0]), station="b")
    both = Profiles(pd.concat([spring.frame, autumn.frame], ignore_index=True))
    row = anoxic_factor(wedge(), both).frame.iloc[0]
    assert row["days"] == 30
    assert row["anoxic_factor_days"] == pytest.approx(15.0)
    assert anoxic_factor(wedge(), both, stations=("a",)).frame["days"][0] == 10


def test_draws_make_a_band() -> None:
    floor = np.linspace(9, 11, 41)
    draws = np.vstack([np.zeros(41), floor, floor, np.zeros(41)])
    water = profiles(("2026-06-01", [9, 1, 0]), ("2026-07-11", [9, 1, 0]))
    row = anoxic_factor(wedge(draws), water).frame.iloc[0]
    # derived: 40 (1 - 5 / floor) at 5 % and 95 % of the floors
    assert row["anoxic_factor_low_days"] == pytest.approx(40 * (1 - 5 / 9.1), rel=1e-6)
    assert row["anoxic_factor_high_days"] == pytest.approx(40 * (1 - 5 / 10.9), rel=1e-6)
    assert row["greatest_anoxic_volume_low_m3"] < row["greatest_anoxic_volume_m3"]


def test_oxygen_is_needed() -> None:
    time = pd.to_datetime(["2026-06-01"], utc=True)
    warm = Profiles(pd.DataFrame({"time": time, "depth_m": [0.0], "temperature_c": [20.0]}))
    with pytest.raises(LayerError, match="anoxia needs oxygen in mg/L, and the profiles hold none"):
        anoxic_factor(wedge(), warm)


def test_a_single_visit_is_said_to_tell_no_factor() -> None:
    lone = anoxic_factor(wedge(), profiles(("2026-06-01", [9, 1, 0])))
    assert np.isnan(lone.frame["anoxic_factor_days"][0])
    assert "a single visit tells no factor: 2026" in lone.notes
    two = anoxic_factor(wedge(), profiles(("2026-06-01", [9, 1, 0]), ("2026-06-11", [9, 1, 0])))
    assert not any("tells no factor" in note for note in two.notes)
