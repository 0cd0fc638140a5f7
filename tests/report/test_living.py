"""What lives in the water is told in few words, with the figures of the tables."""

import numpy as np
import pandas as pd

from toolbox.layers import Table
from toolbox.report.living import living_told

DAY = pd.Timestamp("2026-08-12T12:00", tz="UTC")


def told(name: str, **columns: object) -> list[str]:
    return living_told({name: Table(pd.DataFrame(columns))})


def test_nothing_is_told_of_nothing() -> None:
    assert living_told({}) == []
    assert told("fish", measure=[], number=[]) == []


def test_layers_are_counted_by_visit_and_not_by_mean() -> None:
    rows = {"station": ["a", "a", "all"], "thermocline_m": [4.0, np.nan, 9.0]}
    assert told("stratification", **rows) == [
        "layered at 1 of 2 visits, the thermocline 4.0 to 4.0 m down"
    ]
    assert told("stratification", station=["a"], thermocline_m=[np.nan]) == [
        "layered at 0 of 1 visits"
    ]


def test_the_worst_visit_is_named_with_its_band() -> None:
    rows = {
        "time": [DAY - pd.Timedelta(days=30), DAY],
        "anoxic_volume_m3": [0.0, 41_700.0],
        "anoxic_volume_low_m3": [0.0, 38_000.0],
        "anoxic_volume_high_m3": [0.0, 46_000.0],
        "anoxic_volume_share": [0.0, 0.042],
    }
    (line,) = told("anoxic_water", **rows)
    assert line == ("most anoxic water on 2026-08-12: 41,700 m3 (38,000 to 46,000), 4.2% of all")
    none = {name: values[:1] for name, values in rows.items()}
    assert told("anoxic_water", **none) == ["no visit found anoxic water"]


def test_a_year_of_one_visit_has_no_factor() -> None:
    rows = {"year": [2025, 2026], "days": [0.0, 210.0], "anoxic_factor_days": [np.nan, 7.5]}
    assert told("anoxic_factor", **rows) == [
        "anoxic factor of 2026: 7.500 days, over 210 days of visits"
    ]


def test_a_species_without_room_is_told_so() -> None:
    rows = {
        "species": ["pike", "tench"],
        "least_volume_m3": [0.0, np.nan],
        "least_volume_time": [DAY, pd.NaT],
        "squeezed_days": [55.0, 0.0],
    }
    assert told("squeeze", **rows, from_time=DAY, to_time=DAY)[0].startswith(
        "suitable water of pike, 2026-08-12 to 2026-08-12: least none"
    )
    assert told("squeeze", **rows) == [
        "suitable water of pike: least none, on 2026-08-12; squeezed on 55 days",
        "suitable water of tench: not known",
    ]


def test_an_index_is_no_census() -> None:
    rows = {
        "measure": ["index"],
        "number": [39_119.8],
        "number_low": [32_027.0],
        "number_high": [47_782.0],
        "unsearched_share": [0.296],
    }
    assert told("fish", **rows) == [
        "an index, no census, of 39,100 fish (32,000 to 47,800); 30% of the water was not searched"
    ]
    rows["measure"] = ["number"]
    (line,) = told("fish", **rows)
    assert line.startswith("by echo counts 39,100 fish")


def test_alternatives_are_told_lot_by_lot_on_one_line() -> None:
    plan = {
        "alternative": ["nothing", "both\nof them", "both\nof them"],
        "fish": ["", "tench", "pike " + "x" * 300],
        "number": [0.0, 155.0, 361.0],
        "number_low": [0.0, 75.0, 361.0],
        "number_high": [0.0, 315.0, 361.0],
    }
    lines = living_told({}, Table(pd.DataFrame(plan)))
    assert lines[0] == "stocking, alternative 'nothing': no fish"
    assert lines[1].startswith(
        "stocking, alternative 'both of them': 155 (75 to 315) tench and 361"
    )
    assert len(lines[1]) < 200


PLANTS = {
    "plant_area_m2": [17_376.0],
    "bed_area_m2": [210_800.0],
    "cover_percent": [4.75],
    "pvi_percent": [0.79],
}


def test_mapped_beds_of_plants_are_not_taken_for_their_cover() -> None:
    assert told("plants_by_depth", **PLANTS) == [
        "beds of plants were mapped on 17,380 m2, 8.2% of the bed; with the gaps in them left out, "
        "plants cover 4.8 % of the bed and take up 0.79 % of the water"
    ]


def test_plants_are_told_of_the_bed_that_was_looked_at_alone() -> None:
    seen = {"looked_area_m2": [26_840.0], "looked_cover_percent": [7.0]}
    near, rest = told("plants_by_depth", **PLANTS, **seen)
    assert near == (
        "plants cover 7 % of the bed near the soundings that looked for them: 1,879 m2 of "
        "26,840 m2, without a band"
    )
    assert rest.startswith("of the other 87% of the bed nobody knows")
    everything = {"looked_area_m2": [210_800.0], "looked_cover_percent": [7.0]}
    assert len(told("plants_by_depth", **PLANTS, **everything)) == 1
    nothing = {"looked_area_m2": [0.0], "looked_cover_percent": [np.nan]}
    (none,) = told("plants_by_depth", **PLANTS, **nothing)
    assert none == "plants: no reading of them lies near the bed of this water"
