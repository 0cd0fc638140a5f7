"""Squeezes of series whose dates can be worked out by hand."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from toolbox.errors import LayerError
from toolbox.habitat.species import Limit, Species, SpeciesLimits
from toolbox.habitat.squeeze import habitat_squeeze, suitable_periods
from toolbox.habitat.suitable_water import suitable_water
from toolbox.layers import Profiles, Table, Tin, VertexKind

FIRST = pd.Timestamp("2026-06-01", tz="UTC")


def day(number: float) -> pd.Timestamp:
    return FIRST + pd.Timedelta(days=number)


def series(
    thickness: list[float], every: float = 30.0, name: str = "trout", share: float = 0.1
) -> pd.DataFrame:
    """Say that a metre of thickness is so much of the water, and ten times as much volume in m3."""
    thick = np.array(thickness, float)
    times = [day(every * number) for number in range(len(thick))]
    figures = {"share": share * thick, "suitable_volume_m3": 100 * thick, "thickness_m": thick}
    return pd.DataFrame({"species": name, "time": times, **figures})


def test_three_visits_by_hand() -> None:
    table = Table(series([3.0, 0.5, 2.5]))
    (row,) = habitat_squeeze(table).frame.to_dict("records")
    # by hand: below 1 m from day 30 x 2 / 2.5 = 24 to day 30 + 30 x 0.5 / 2 = 37.5
    assert (row["longest_start"], row["longest_end"]) == (day(24), day(37.5))
    assert row["longest_days"] == row["squeezed_days"] == 13.5
    assert (row["squeezes"], row["windows"]) == (1, 2)
    assert (row["least_volume_m3"], row["least_volume_time"]) == (50.0, day(30))
    assert (row["least_thickness_m"], row["least_thickness_time"]) == (0.5, day(30))
    assert (row["from_time"], row["to_time"]) == (day(0), day(60))
    assert (row["first_suitable"], row["last_suitable"]) == (day(0), day(60))
    assert row["days_without"] == 0
    assert np.isnan(row["least_volume_low_m3"])


def test_share_squeezes_too() -> None:
    table = Table(series([3.0, 0.5, 2.5]))
    # by hand: a share of 0.2 is 2 m, from day 30 x 1 / 2.5 = 12 to day 30 + 30 x 1.5 / 2 = 52.5
    (row,) = habitat_squeeze(table, least_share=0.2).frame.to_dict("records")
    assert (row["longest_start"], row["longest_end"]) == (day(12), day(52.5))
    (row,) = habitat_squeeze(table, least_thickness=0.0, least_share=0.2).frame.to_dict("records")
    assert row["squeezed_days"] == 40.5


def test_periods_by_hand() -> None:
    periods = suitable_periods(Table(series([3.0, 0.5, 2.5]))).frame
    assert list(periods.columns) == [
        "species", "kind", "start", "end", "days", "open_start", "open_end", "least_thickness_m",
        "least_volume_m3", "least_volume_time",
    ]  # fmt: skip
    assert periods["kind"].tolist() == ["window", "squeeze", "window"]
    assert periods["start"].tolist() == [day(0), day(24), day(37.5)]
    assert periods["end"].tolist() == [day(24), day(37.5), day(60)]
    assert periods["days"].tolist() == [24, 13.5, 22.5]
    assert periods["open_start"].tolist() == [True, False, False]
    assert periods["open_end"].tolist() == [False, False, True]
    assert periods["least_thickness_m"].tolist() == pytest.approx([1.0, 0.5, 1.0])
    assert periods["least_volume_time"].tolist() == [day(24), day(30), day(37.5)]


def test_days_without_water() -> None:
    table = Table(series([2.0, 0.0, 0.0, 0.0, 4.0], every=10))
    (row,) = habitat_squeeze(table).frame.to_dict("records")
    assert row["days_without"] == 20
    # by hand: below 1 m from day 5, at 1 m again on day 30 + 2.5
    assert row["squeezed_days"] == 27.5
    assert (row["first_suitable"], row["last_suitable"]) == (day(0), day(40))


def test_never_suitable_and_always_suitable() -> None:
    never, always = series([0.0, 0.0], name="never"), series([2.0, 3.0], name="always")
    table = Table(pd.concat([never, always], ignore_index=True))
    frame = habitat_squeeze(table).frame.set_index("species")
    assert frame.index.tolist() == ["never", "always"]
    assert frame["squeezed_days"].tolist() == [30, 0]
    assert frame["windows"].tolist() == [0, 1]
    assert pd.isna(frame["first_suitable"]["never"])
    assert pd.isna(frame["longest_start"]["always"])
    periods = suitable_periods(table).frame
    assert periods["kind"].tolist() == ["squeeze", "window"]
    assert periods["open_start"].all()
    assert periods["open_end"].all()


def test_single_visit() -> None:
    for thickness, kind in ((0.2, "squeeze"), (2.0, "window")):
        (row,) = suitable_periods(Table(series([thickness]))).frame.to_dict("records")
        assert (row["kind"], row["days"]) == (kind, 0)
        assert (row["open_start"], row["open_end"]) == (True, True)
        assert habitat_squeeze(Table(series([thickness]))).frame["windows"][0] == (kind == "window")


def test_times_read_back_from_text() -> None:
    frame = series([3.0, 0.5, 2.5])
    text = frame.assign(time=frame["time"].astype(str))
    assert habitat_squeeze(Table(text)).frame.equals(habitat_squeeze(Table(frame)).frame)


def test_what_is_no_table_of_suitable_water() -> None:
    frame = series([3.0, 0.5])
    with pytest.raises(LayerError, match="needs a column 'share', got"):
        habitat_squeeze(Table(frame.drop(columns="share")))
    with pytest.raises(LayerError, match="column 'time' must hold times"):
        habitat_squeeze(Table(frame.assign(time="soon")))
    with pytest.raises(LayerError, match="each time once, got 'trout' at 2026-06-01 00:00 twice"):
        suitable_periods(Table(pd.concat([frame, frame])))


def test_terms_are_noted() -> None:
    table = Table(series([3.0]), notes=("a note",))
    assert habitat_squeeze(table, least_thickness=0.5, least_share=0.1).notes == (
        "a note",
        "squeezed: no suitable layer is as thick as 0.5 m, or less than 0.1 of all water suits",
    )


@given(
    st.lists(st.floats(0, 5), min_size=2, max_size=8),
    st.floats(0, 5),
    st.floats(0, 0.5),
)
@settings(max_examples=25, deadline=None)
def test_periods_tile_the_season(thickness: list[float], least: float, share: float) -> None:
    table = Table(series(thickness))
    options = {"least_thickness": least, "least_share": share}
    periods = suitable_periods(table, **options).frame
    assert periods["days"].sum() == pytest.approx(30 * (len(thickness) - 1), abs=1e-6)
    summary = habitat_squeeze(table, **options).frame.iloc[0]
    squeezed = periods["days"][periods["kind"] == "squeeze"]
    assert summary["squeezed_days"] == pytest.approx(squeezed.sum(), abs=1e-9)
    assert summary["squeezes"] == len(squeezed)
    assert summary["windows"] == (periods["kind"] == "window").sum()
    more = habitat_squeeze(table, least_thickness=least + 0.5, least_share=share).frame
    assert more["squeezed_days"][0] >= summary["squeezed_days"] - 1e-9


def test_oxygen_that_runs_out_over_three_visits() -> None:
    """From the profiles to the dates, worked out by hand.

    Oxygen falls in a line from s at the surface to nothing at 10 m; s is 10, 6 and 10 mg/L on days
    0, 40 and 80, and linear between. 5 mg/L reach down to 10 (1 - 5 / s) m, which is 2 m where
    s = 6.25: from day 37.5 to day 42.5.
    """
    visits = [
        pd.DataFrame({"time": day(number), "depth_m": [0.0, 10.0], "oxygen_mg_l": [oxygen, 0.0]})
        for number, oxygen in ((0, 10.0), (40, 6.0), (80, 10.0))
    ]
    limits = (Limit("oxygen_mg_l", least=5.0, source="illustrative"),)
    corners = np.array([[0, 0], [50, 0], [0, 50]], float)
    bed = Tin(
        corners, np.full(3, 10.0), np.array([[0, 1, 2]]), np.full(3, VertexKind.SOUNDING), None
    )
    table = suitable_water(
        bed, Profiles(pd.concat(visits)), SpeciesLimits((Species("x", limits),)), step_days=0.5
    )
    found = habitat_squeeze(table, least_thickness=2.0).frame.iloc[0]
    assert abs(found["longest_start"] - day(37.5)) < pd.Timedelta(minutes=1)
    assert abs(found["longest_end"] - day(42.5)) < pd.Timedelta(minutes=1)
    assert found["least_thickness_m"] == pytest.approx(10 * (1 - 5 / 6))
    # the volume of the prism: 1250 m2 of water surface
    assert found["least_volume_m3"] == pytest.approx(1250 * 10 / 6)
