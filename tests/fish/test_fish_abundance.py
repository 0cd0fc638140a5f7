"""Numbers of fish: exact where fish stand evenly, and as sure as they say where they shoal."""

from dataclasses import replace
from typing import Any

import invented_fish
import numpy as np
import pandas as pd
import pytest

from toolbox.errors import LayerError, ParameterError
from toolbox.fish.beam import Beam
from toolbox.fish.fish_abundance import fish_abundance
from toolbox.layers import Table, Tin

COLUMNS = [
    "layer", "measure", "top_m", "bottom_m", "transects", "echoes", "searched_m3", "water_m3",
    "unsearched_share", "per_1000_m3", "number", "number_sd", "number_low", "number_high",
    "mean_ts_db", "per_ha",
]  # fmt: skip


def tank(depth: float = 8.0, spread: tuple[float, ...] = ()) -> Tin:
    """Make a basin of 100 by 100 m with upright walls."""
    vertices = np.array([[0, 0], [100, 0], [100, 100], [0, 100]], float)
    depths = np.full(4, depth)
    draws = np.outer(depths, spread) if spread else None
    kind = np.full(4, 2)
    return Tin(vertices, depths, np.array([[0, 1, 2], [0, 2, 3]]), kind, None, draws=draws)


def pings(count: int = 30, transects: int = 3, **columns: Any) -> pd.DataFrame:
    number = np.arange(count * transects)
    frame = {"transect": number % transects + 1, "ping": number, "bed_m": 8.0}
    return pd.DataFrame(frame | columns)


def echoes(table: pd.DataFrame, *ranges: float, **columns: Any) -> Table:
    """Put the same fish into every ping."""
    rows = table.loc[np.repeat(table.index, len(ranges)), ["transect", "ping"]]
    return Table(rows.assign(range_m=np.tile(ranges, len(table)), **columns).reset_index(drop=True))


def estimated(bed: Tin, fish: Table, beds: pd.DataFrame, **options: Any) -> pd.DataFrame:
    table = fish_abundance(bed, fish, Table(beds), **({"beam_angle": 20.0, "step": 2.0} | options))
    return table.frame.set_index("layer")


def test_columns_and_rows() -> None:
    beds = pings()
    table = fish_abundance(tank(), echoes(beds, 3.0), Table(beds), beam_angle=20, step=2.0)
    assert list(table.frame) == COLUMNS
    assert table.frame["layer"].tolist() == [
        "0 to 2 m", "2 to 4 m", "4 to 6 m", "6 to 8 m", "whole",
    ]  # fmt: skip


def test_even_fish() -> None:
    # derived: 1,000 fish a 1000 m3 thrown evenly; the number is the density times the water told
    rng = np.random.default_rng(1)
    beds = pings(400, 4)
    ping = np.repeat(beds.index, 400)
    # thrown into a sphere's shell: the cube of the range is even
    reach = rng.uniform(0, 9.0**3, len(ping)) ** (1 / 3)
    volume = 2 * np.pi / 3 * (1 - np.cos(np.radians(10))) * 9.0**3
    fish = Table(beds.loc[ping, ["transect", "ping"]].assign(range_m=reach).reset_index(drop=True))
    found = estimated(tank(), fish, beds, calibrated=True)
    beam = Beam(20.0, blind=1.0)
    told = 10_000 * (float(beam.last(np.array([8.0]))[0]) - beam.top)
    whole = found.loc["whole"]
    assert whole["number"] == pytest.approx(told * 400 / volume, rel=0.01)
    assert whole["unsearched_share"] == pytest.approx(1 - told / 80_000, rel=1e-6)
    assert whole["per_ha"] == pytest.approx(whole["number"])
    layers = found.drop(index="whole")
    assert layers["number"].sum() == pytest.approx(whole["number"])
    assert layers["water_m3"].tolist() == pytest.approx([20_000.0] * 4)
    np.testing.assert_allclose(layers["per_1000_m3"], 1000 * 400 / volume, rtol=0.06)


def test_the_height_of_layers_does_not_change_the_whole() -> None:
    rng = np.random.default_rng(2)
    beds = pings(100, 3)
    fish = echoes(beds, 2.1, 3.4, 5.6)
    fish = Table(fish.frame.assign(range_m=fish.frame["range_m"] + rng.normal(0, 0.3, 900)))
    high, low = (estimated(tank(), fish, beds, step=step).loc["whole"] for step in (4.0, 1.0))
    names = ["number", "number_low", "number_high", "unsearched_share"]
    assert high[names].tolist() == pytest.approx(low[names].tolist())


def test_index_unless_calibrated() -> None:
    beds = pings()
    options: dict[str, Any] = {"beam_angle": 20.0, "step": 2.0}
    index = fish_abundance(tank(), echoes(beds, 3.0), Table(beds), **options)
    census = fish_abundance(tank(), echoes(beds, 3.0), Table(beds), calibrated=True, **options)
    assert index.title == "Index of fish, not a census"
    assert set(index.frame["measure"]) == {"index"}
    assert any(
        note.startswith("sounder not calibrated: the count of fish is an index")
        for note in index.notes
    )
    assert census.title == "Number of fish"
    assert set(census.frame["measure"]) == {"number"}
    assert not any("calibrated" in note for note in census.notes)
    same = [name for name in COLUMNS if name != "measure"]
    pd.testing.assert_frame_equal(index.frame[same], census.frame[same])


def test_dead_zone_and_blind_range_are_not_counted() -> None:
    beds = pings()
    table = fish_abundance(tank(), echoes(beds, 0.8, 3.0, 7.9), Table(beds), beam_angle=20, step=2)
    assert table.frame.iloc[-1]["echoes"] == 90
    assert any(note.startswith("180 echoes in the blind range") for note in table.notes)
    assert any(" of the lake's water was not searched for fish" in note for note in table.notes)
    wide = estimated(tank(), echoes(beds, 3.0), beds, margin=1.0, blind=2.5).loc["whole"]
    slim = estimated(tank(), echoes(beds, 3.0), beds).loc["whole"]
    assert wide["unsearched_share"] > slim["unsearched_share"] + 0.25


def test_layers_out_of_reach_have_no_number() -> None:
    beds = pings(bed_m=5.0)  # no transect went over the deep part
    found = estimated(tank(), echoes(beds, 3.0), beds)
    assert np.isnan(found.loc["6 to 8 m", "number"])
    assert found.loc["6 to 8 m", "unsearched_share"] == 1
    assert found.loc["6 to 8 m", "transects"] == 0
    layers = found.drop(index="whole")
    unsearched = (layers["unsearched_share"] * layers["water_m3"]).sum() / 80_000
    assert found.loc["whole", "unsearched_share"] == pytest.approx(unsearched)


def test_one_transect_and_no_fish_have_no_interval() -> None:
    beds = pings(transects=1)
    table = fish_abundance(tank(), echoes(beds, 3.0), Table(beds), beam_angle=20, step=2)
    assert np.isnan(table.frame.iloc[-1][["number_low", "number_high"]].to_numpy(float)).all()
    assert any("one transect alone" in note for note in table.notes)
    beds = pings()
    none = fish_abundance(tank(), echoes(beds[:0], 3.0), Table(beds), beam_angle=20, step=2)
    assert none.frame.iloc[-1]["number"] == 0
    assert np.isnan(none.frame.iloc[-1]["number_high"])
    assert "no fish counted: no interval" in none.notes


def test_the_beds_draws_join_in() -> None:
    # derived: the same fish in every ping leave the water's spread alone
    beds = pings(transects=4)
    spread = tuple(np.linspace(0.9, 1.1, 21))
    found = estimated(tank(spread=spread), echoes(beds, 3.0, 5.0, 7.3), beds).loc["whole"]
    sure = estimated(tank(), echoes(beds, 3.0, 5.0, 7.3), beds).loc["whole"]
    assert sure["number_sd"] == pytest.approx(0, abs=1e-6 * sure["number"])
    assert found["number"] == pytest.approx(sure["number"])
    assert 0.01 * found["number"] < found["number_sd"] < 0.1 * found["number"]
    assert found["number_low"] < found["number"] < found["number_high"]


def test_a_low_surface_is_less_water() -> None:
    beds = pings(bed_m=7.0)
    low = estimated(tank(), echoes(beds, 3.0), beds, surface=1.0)
    assert low.loc["whole", "water_m3"] == pytest.approx(70_000)
    assert low.index[0] == "1 to 2 m"
    assert low.loc["2 to 4 m", "echoes"] == 90  # 3 m below the surface is 3.98 m below the datum


def test_limits_of_size() -> None:
    beds = pings()
    sizes = {"ts_db": -40.0, "length_cm": np.tile([4.0, 8, 20], 90), "weight_g": 5.0}
    fish = echoes(beds, 3.0, 3.5, 5.0, **sizes)
    assert estimated(tank(), fish, beds).loc["whole", "echoes"] == 270
    assert estimated(tank(), fish, beds, least_length=8.0).loc["whole", "echoes"] == 180
    both = estimated(tank(), fish, beds, least_length=5.0, greatest_length=10.0)
    assert both.loc["whole", "echoes"] == 90
    assert estimated(tank(), fish, beds, least_ts=-35.0).loc["whole", "echoes"] == 0
    with pytest.raises(LayerError, match="no column 'length_cm'"):
        estimated(tank(), echoes(beds, 3.0), beds, least_length=8.0)


def test_biomass_is_the_number_times_the_weight() -> None:
    beds = pings()
    even = estimated(tank(), echoes(beds, 3.0, 5.0, weight_g=20.0), beds).loc["whole"]
    assert even["biomass_kg"] == pytest.approx(0.02 * even["number"])
    known = np.tile([20.0, np.nan], 90)  # of unknown weight: as the mean of the others
    part = estimated(tank(), echoes(beds, 3.0, 5.0, weight_g=known), beds).loc["whole"]
    assert part["biomass_kg"] == pytest.approx(even["biomass_kg"])
    strength = estimated(tank(), echoes(beds, 3.0, 5.0, ts_db=np.tile([-40.0, -50], 90)), beds)
    assert strength.loc["whole", "mean_ts_db"] == pytest.approx(-42.596, abs=0.0005)


def test_periods_are_named() -> None:
    beds = pings(period=np.where(np.arange(90) < 30, "day", "night"))
    fish = echoes(beds, 3.0)
    with pytest.raises(ParameterError, match=r"period must be named .* one of 'day', 'night'"):
        estimated(tank(), fish, beds)
    assert estimated(tank(), fish, beds, period="night").loc["whole", "echoes"] == 60
    timed = beds.drop(columns="period").assign(time="2026-08-12T23:00Z")
    hours = {"night_start": 22.0, "night_end": 5.0, "period": "night"}
    assert estimated(tank(), fish, timed, **hours).loc["whole", "echoes"] == 90


def test_nothing_searched_is_refused() -> None:
    beds = pings(bed_m=1.0)
    with pytest.raises(LayerError, match="no water was searched"):
        estimated(tank(), echoes(beds, 3.0), beds)


def held(number: int, **options: Any) -> tuple[float, bool]:
    """Count one invented population; found over true, and whether the interval holds."""
    rng = np.random.default_rng([77, number])
    population = invented_fish.make_population(rng)
    fish, beds = invented_fish.sound(population, rng, lines=8, design="even")
    if options.get("counting") == "traces":
        nearest = fish.frame.sort_values("range_m", kind="stable")
        fish = Table(nearest.drop_duplicates(["transect", "fish"]))
    bed = invented_fish.drawn_bed(0.03, rng)
    gear = {"draft": invented_fish.DRAFT, "blind": invented_fish.BLIND}
    row = fish_abundance(bed, fish, beds, beam_angle=invented_fish.ANGLE, **gear, **options)
    whole = row.frame.iloc[-1]
    true = population.told
    return whole["number"] / true, bool(whole["number_low"] <= true <= whole["number_high"])


@pytest.mark.parametrize(("counting", "count"), [("pings", 24), ("traces", 12)])
def test_invented_populations(counting: str, count: int) -> None:
    # benchmarks/fish_populations.py does the same with 200 and many designs
    found = [held(number, counting=counting) for number in range(count)]
    ratio, holds = np.array(found).T
    assert ratio.mean() == pytest.approx(1, abs=0.08)
    assert holds.mean() > 0.75
    assert ratio.std() > 0.02  # chance is at work: the interval has something to hold


def test_truth_of_the_invented_fish() -> None:
    # derived: the analytic bed against the net of triangles
    bed = invented_fish.bed()
    centres = bed.vertices[bed.triangles].mean(axis=1)
    across = bed.depth[bed.triangles].mean(axis=1)
    volume = float(bed.areas() @ across)
    assert volume == pytest.approx(float(bed.areas() @ invented_fish.bed_depth(centres)), rel=2e-3)
    population = invented_fish.make_population(np.random.default_rng(4))
    all_told = replace(population, places=np.tile([[0.0, 0.0, 5.0]], (7, 1)))
    assert all_told.told == 7


def test_a_layer_without_fish_has_no_spread_of_none() -> None:
    beds = pings(transects=4)
    found = estimated(tank(), echoes(beds, 3.0), beds)
    empty = found[found["number"] == 0]
    assert len(empty)
    assert empty[["number_sd", "number_low", "number_high"]].isna().all(axis=None)


@pytest.mark.parametrize(("scale", "told"), [(1.0, False), (3.28, True)])
def test_echoes_below_the_bed_look_like_a_wrong_unit(scale: float, told: bool) -> None:
    beds = pings(transects=4)
    fish = echoes(beds, 3.0 * scale, 3.2 * scale, 4.0)
    table = fish_abundance(tank(), fish, Table(beds), beam_angle=20, step=2)
    said = "that is more than half: check the unit of ranges, the draft and the bed"
    assert (said in table.notes) == told
