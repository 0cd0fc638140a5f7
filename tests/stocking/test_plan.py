"""Plans: published rates on known waters, targets, limits, loads, cost and what is said of them."""

import math
import re
from typing import Any

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from toolbox.errors import LayerError
from toolbox.layers import Profiles, Table
from toolbox.stocking.plan import CAUTION, stocking_plan
from toolbox.stocking.proposal import StockingProposal
from toolbox.units import convert

MEASURES = ("measure", "species", "value", "low", "high", "unit")


def measured(*rows: tuple[Any, ...]) -> Table:
    surface = ("surface area", "", 166_000.0, math.nan, math.nan, "m2")
    return Table(pd.DataFrame([surface, *rows], columns=list(MEASURES)))


def area(name: str, value: float, low: float = math.nan, high: float = math.nan) -> Table:
    return measured((name, "", value, low, high, "m2"))


def proposal(*entries: dict[str, Any], **more: Any) -> StockingProposal:
    fish = {"name": "lot", "species": "walleye", "mean_weight": "2 g"} | more.pop("fish", {})
    stock = [{"fish": "lot", "source": "told"} | entry for entry in entries]
    return StockingProposal.model_validate(
        {
            "title": "Plan",
            "water": "Mere",
            "fish": [fish],
            "alternative": [{"name": "one", "stock": stock}],
        }
        | more
    )


def row(measures: Table, entry: dict[str, Any], **more: Any) -> dict[str, Any]:
    frame = stocking_plan(measures, proposal(entry, **more)).frame
    assert len(frame) == 1
    return dict(frame.iloc[0])


# ---- published rates ----

# 5.429 ha of littoral in Ice Lake: see test_measures.py
LITTORAL = 5.42916e4


def test_fry_and_pounds_by_littoral_acre() -> None:
    # Minnesota DNR, stocking help: 1000 fry or 1 lb of fingerlings per littoral acre
    water = area("littoral area", LITTORAL)
    fry = row(water, {"basis": "littoral", "rate": "1000 /acre"})
    assert fry["number"] == 13_416
    assert fry["quantity_us"] == "13.42 acre"
    pounds = row(
        water, {"basis": "littoral", "rate": "1 lb/acre"}, fish={"mean_weight": "0.001 lb"}
    )
    assert pounds["weight_lb"] == pytest.approx(13.416, abs=1e-3)
    assert pounds["number"] == 13_416
    assert (pounds["rate"], pounds["rate_metric"]) == ("1 lb/acre", "1.12085 kg/ha")


def test_450_littoral_acres_take_450_pounds() -> None:
    # the worked example printed with that rate (Fergus Falls Journal)
    water = area("littoral area", convert(450.0, "acre", "m**2"))
    found = row(water, {"basis": "littoral", "rate": "1 lb/acre"}, fish={"mean_weight": "1 lb"})
    assert found["number"] == 450
    assert found["weight_lb"] == pytest.approx(450)


def test_fingerlings_by_littoral_hectare() -> None:
    # North American Journal of Fisheries Management 2017 (abstract): 30 per littoral ha
    found = row(area("littoral area", LITTORAL), {"basis": "littoral", "rate": "30 /ha"})
    assert found["number"] == 163
    assert found["rate_us"] == "12.1406 /acre"
    assert found["number_per_ha"] == pytest.approx(163 / 16.6)
    assert found["number_per_acre"] == pytest.approx(163 / 16.6 * 0.40468564224)


@pytest.mark.parametrize(("rate", "number"), [("100 /acre", 250), ("500 /acre", 1250)])
def test_a_pond_of_two_and_a_half_acres(rate: str, number: int) -> None:
    # Kansas KDWPT, What to stock initially: bass 100, bluegill 500, channel catfish 100 per acre
    pond = area("pond", 1.0)
    pond.frame.loc[0, "value"] = convert(2.5, "acre", "m**2")
    assert row(pond, {"rate": rate})["number"] == number


def test_by_length_of_shoreline() -> None:
    # derived: 8.6 mi are 13.840 km
    shoreline = convert(8.6, "mile", "m")
    assert shoreline == pytest.approx(13_840, abs=1)
    water = measured(("shoreline length", "", shoreline, math.nan, math.nan, "m"))
    found = row(water, {"basis": "shoreline", "rate": "50 /km"})
    assert found["number"] == 692
    assert (found["quantity_unit"], found["quantity_us"]) == ("m", "8.6 mile")


def test_a_target_goes_back_through_survival_and_is_rounded_up() -> None:
    # derived: 200 / (0.5 x 0.6) = 666.7
    steps = [{"step": name, "likely": share, "source": "told"} for name, share in
             (("winter", 0.5), ("summer", 0.6))]  # fmt: skip
    found = row(measured(), {"recruits": "200 fish", "survival": steps})
    assert found["number"] == 667
    assert found["survival"] == pytest.approx(0.3)
    assert found["recruits"] == pytest.approx(667 * 0.3)
    assert (found["basis"], found["target"], found["rate"]) == ("target", "200 fish", "")
    assert math.isnan(found["quantity"])


def test_survival_of_walleye_in_wisconsin() -> None:
    # NAJFM 2012 (abstract): 3.36 age-4 fish per ha are the most that came of 243 age-0 per ha
    step = {"step": "to age 4", "likely": 3.36 / 243, "source": "told"}
    assert step["likely"] == pytest.approx(0.01383, abs=5e-6)
    water = area("littoral area", 1.0)
    onward = row(water, {"rate": "243 /ha", "survival": [step]})
    assert onward["recruits"] == pytest.approx(3.36 * 16.6, rel=1e-3)
    back = row(water, {"recruits": "3.36 /ha", "survival": [step]})
    assert back["number"] == math.ceil(243 * 16.6)


# ---- bands ----


@settings(max_examples=25)
@given(
    st.floats(1, 1e6),
    st.floats(0, 0.5),
    st.floats(0, 0.5),
    st.sampled_from(["30 /ha", "1 lb/acre", "5 kg/ha"]),
)
def test_ends_hold_the_number(value: float, less: float, more: float, rate: str) -> None:
    water = area("littoral area", value, value * (1 - less), value * (1 + more))
    found = row(water, {"basis": "littoral", "rate": rate})
    assert found["number_low"] <= found["number"] <= found["number_high"]
    assert found["number_high"] == pytest.approx(found["number"] * (1 + more), abs=2)


def test_ends_take_every_input_at_its_worst() -> None:
    step = {"step": "all", "likely": 0.5, "low": 0.25, "high": 1.0, "source": "told"}
    stock = {
        "name": "old",
        "stock": "100 fish",
        "low": "0 fish",
        "high": "200 fish",
        "source": "net",
    }
    found = row(
        area("littoral area", 1e4, 0.9e4, 1.1e4),
        {"basis": "littoral", "recruits": "300 /ha", "survival": [step], "subtract": "old"},
        existing=[stock],
    )
    # derived: (300 - 100) / 0.5; (270 - 200) / 1; (330 - 0) / 0.25
    assert (found["number"], found["number_low"], found["number_high"]) == (400, 70, 1320)
    assert found["existing_subtracted"] == "100 recruits (old)"
    assert (found["recruits_low"], found["recruits"], found["recruits_high"]) == (100, 200, 400)


def test_a_range_of_rates() -> None:
    entry = {"rate": "20 /ha", "rate_low": "10 /ha", "rate_high": "40 /ha"}
    found = row(measured(), entry)
    assert (found["number_low"], found["number"], found["number_high"]) == (166, 332, 664)


# ---- existing stock and limits ----


@pytest.mark.parametrize(
    ("stock", "weight", "rate", "number"),
    [
        ("32 fish", None, "20 /ha", 300),  # derived: 332 - 32
        ("2 /ha", None, "20 /ha", 299),  # 332 - 33.2
        ("64 g", "2 g", "20 /ha", 300),
        ("16.6 kg", None, "2 kg/ha", 8300),  # (33.2 - 16.6) kg of 2 g
        ("8300 fish", "2 g", "2 kg/ha", 8300),
        ("400 fish", None, "20 /ha", 0),
    ],
)
def test_existing_stock_is_subtracted(
    stock: str, weight: str | None, rate: str, number: int
) -> None:
    old = {"name": "old", "stock": stock, "source": "net"}
    old |= {"mean_weight": weight} if weight else {}
    found = row(measured(), {"rate": rate, "subtract": "old"}, existing=[old])
    assert found["number"] == number
    assert ("the existing stock is all" in found["warnings"]) == (number == 0)


def test_only_what_remains_of_the_existing_stock_counts() -> None:
    old = {"name": "old", "stock": "100 fish", "remaining": 0.5, "source": "net"}
    found = row(measured(), {"rate": "20 /ha", "subtract": "old"}, existing=[old])
    assert found["number"] == 332 - 50


def test_existing_weight_needs_the_weight_of_a_fish() -> None:
    old = {"name": "old", "stock": "3 kg/ha", "source": "net"}
    with pytest.raises(LayerError, match=r"existing 'old' is told by weight, but number is asked"):
        row(measured(), {"rate": "20 /ha", "subtract": "old"}, existing=[old])


@pytest.mark.parametrize(
    ("limits", "number", "said"),
    [
        ({"cap": "100 fish"}, 100, "cap of 100 fish: the board"),
        ({"cap": "10.05 /ha"}, 166, "cap of 10.05 /ha: the board"),  # 166.83 held, not 167
        ({"cap": "200 g"}, 100, "cap of 200 g: the board"),
        ({"floor": "500 fish"}, 500, "floor of 500 fish: the board"),
        ({"floor": "500 fish", "cap": "400 fish"}, 400, "cap of 400 fish: the board"),
        ({"floor": "10 fish", "cap": "400 fish"}, 332, ""),
    ],
)
def test_caps_and_floors(limits: dict[str, str], number: int, said: str) -> None:
    told = {name: {"amount": text, "reason": "the board"} for name, text in limits.items()}
    found = row(measured(), {"rate": "20 /ha", **told})
    assert (found["number"], found["limit"]) == (number, said)


# ---- way and cost ----

TRUCK = {
    "tank": "100 L",
    "tanks": 2,
    "haul": "3 h",
    "hatchery_temperature": 10,
    "receiving_temperature": 12,
    "loading": [{"rate": "0.1 kg/L", "max_temperature": 15, "max_hours": "4 h", "source": "told"}],
}
PRICES = {"price_per_load": 50, "price_source": "offer"}


def test_loads_and_cost() -> None:
    fish = {"mean_weight": "100 g", "price": "12 per kg", "price_source": "offer"}
    found = row(measured(), {"rate": "20 /ha"}, fish=fish, transport=TRUCK | PRICES)
    # derived: 332 fish of 0.1 kg, 20 kg a load
    assert found["weight_kg"] == pytest.approx(33.2)
    assert (found["loads"], found["load_capacity_kg"]) == (2, pytest.approx(20))
    assert found["loading_kg_l"] == pytest.approx(0.1)
    assert found["cost_fish"] == pytest.approx(398.4)
    assert (found["cost_transport"], found["cost"]) == (100, pytest.approx(498.4))
    assert "cost without transport" not in found["warnings"]


def test_ends_of_the_cost_follow_fish_and_loads() -> None:
    fish = {"mean_weight": "100 g", "price": "1 per fish", "price_source": "offer"}
    entry = {"rate": "10 /ha", "rate_low": "5 /ha", "rate_high": "30 /ha"}
    found = row(measured(), entry, fish=fish, transport=TRUCK | PRICES)
    # derived: 83, 166 and 498 fish, in 1, 1 and 3 loads of 200
    assert (found["cost_low"], found["cost"], found["cost_high"]) == (133, 216, 648)


def test_cost_by_the_fish_and_by_the_recruit() -> None:
    step = {"step": "all", "likely": 0.5, "source": "told"}
    fish = {"price": "0.5 per fish", "price_source": "offer"}
    found = row(measured(), {"recruits": "100 fish", "survival": [step]}, fish=fish)
    assert (found["cost"], found["cost_per_recruit"]) == (100, 1)
    assert "cost without transport" in found["warnings"].split("; ")


def test_what_is_not_known_is_empty_and_said() -> None:
    found = row(measured(), {"rate": "20 /ha"}, fish={"mean_weight": None})
    for name in ("weight_kg", "loads", "cost", "recruits", "survival"):
        assert math.isnan(found[name]), name
    warnings = found["warnings"].split("; ")
    assert "mean weight not given: no weights and loads" in warnings
    assert "price not given: no cost" in warnings
    assert "no season given: say when to stock" in warnings


@pytest.mark.parametrize(("length", "odd"), [("5.5 cm", False), ("5.5 inch", True)])
def test_length_and_weight_must_fit(length: str, odd: bool) -> None:
    found = row(measured(), {"rate": "20 /ha"}, fish={"mean_length": length})
    assert ("condition factor" in found["warnings"]) == odd


# ---- alternatives, seasons, words ----


def test_doing_nothing_is_an_alternative() -> None:
    plan = proposal(alternative=[{"name": "none"}, {"name": "nothing either"}])
    frame = stocking_plan(measured(), plan).frame
    assert frame["alternative"].tolist() == ["none", "nothing either"]
    assert (frame[["number", "weight_kg", "cost", "loads", "number_per_ha"]] == 0).all(axis=None)
    assert (frame["fish"] == "").all()


def test_season_is_held_against_the_profiles() -> None:
    times = pd.to_datetime(["2026-05-01T12:00", "2026-06-01T12:00"], utc=True)
    profiles = Profiles(pd.DataFrame({"time": times, "depth_m": 0.5, "temperature_c": [8.0, 20.4]}))
    profiles = Profiles(pd.concat([profiles.frame, profiles.frame.assign(depth_m=3.0)]))
    season = {"first": "05-11", "last": "05-20", "max_temperature": 14.0, "source": "told"}
    truck = {key: value for key, value in TRUCK.items() if key != "receiving_temperature"}
    plan = proposal({"rate": "20 /ha", "season": season}, transport=truck)
    found = stocking_plan(measured(), plan, profiles=profiles).frame.iloc[0]
    # derived: 0.4 degrees a day from 8.0; 12.0 on the 11th, 15.6 on the 20th, mean 13.8
    assert found["season"] == "05-11 to 05-20, to 14 °C; 12.0 to 15.6 °C at 1 m in 2026"
    assert "outside the limits on 4 of 10 days, within them 05-11 to 05-16" in found["warnings"]
    assert "°C apart" not in found["warnings"]
    plan = proposal(
        {"rate": "20 /ha", "season": season}, transport=truck | {"largest_difference": 3}
    )
    found = stocking_plan(measured(), plan, profiles=profiles).frame.iloc[0]
    assert (
        # derived: 12.0 to 14.0 on the days that keep to the limits
        "hatchery 10 °C, receiving water 12 to 14 °C: up to 4 °C apart, more than 3 °C"
        in found["warnings"]
    )


def test_notes_hold_the_caution_and_what_was_left_blank() -> None:
    plan = stocking_plan(measured(), proposal({"rate": "20 /ha"}, currency="crowns"))
    assert plan.notes[0] == CAUTION
    assert "permit" in CAUTION
    assert plan.notes[1].endswith("authority, permit number, licence, health certificate")
    assert "costs in crowns" in plan.notes
    permit = dict.fromkeys(("authority", "permit_number", "licence", "health_certificate"), "x")
    full = stocking_plan(measured(), proposal({"rate": "20 /ha"}, permit=permit))
    assert not any("left blank" in note for note in full.notes)


def test_columns_are_as_told() -> None:
    plan = stocking_plan(measured(), proposal({"rate": "20 /ha"}))
    words = set(re.findall(r"\w+", stocking_plan.__doc__ or ""))
    assert [name for name in plan.frame if name not in words] == []
    text = [name for name in plan.frame if plan.frame[name].dtype.kind != "f"]
    assert text == [
        "alternative", "fish", "species", "stage", "basis", "quantity_unit", "quantity_us", "rate",
        "rate_metric", "rate_us", "target", "source", "existing_subtracted", "reckoned", "limit",
        "loading_source", "season", "warnings",
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("table", "told"),
    [
        (Table(measured().frame.assign(value=0.0)), "surface area must be above 0, got 0 m2$"),
        (measured(), r"the measures need 'littoral area' once, got it 0 times; they hold 'surface"),
        (area("littoral area", -1.0), "measure 'littoral area' must be >= 0, got -1$"),
        (Table(pd.DataFrame({"measure": ["x"]})), "measures need a column 'value', got"),
        (measured(("littoral area", "", 1.0, 1.0, 1.0, "acre")), "must be in m2, got 'acre'$"),
    ],
)
def test_measures_are_checked(table: Table, told: str) -> None:
    basis = "surface" if told.startswith("surface") else "littoral"
    with pytest.raises(LayerError, match=told):
        stocking_plan(table, proposal({"basis": basis, "rate": "1 /ha"}))


def test_suitable_water_is_that_of_the_species() -> None:
    rows = [("suitable volume", name, size, math.nan, math.nan, "m3")
            for name, size in (("walleye", 1000.0), ("tench", 5.0))]  # fmt: skip
    found = row(measured(*rows), {"basis": "suitable volume", "rate": "1 per 10 m3"})
    assert found["number"] == 100
    with pytest.raises(LayerError, match="the measures need 'suitable volume' of 'eel' once"):
        row(measured(*rows), {"basis": "suitable volume", "rate": "1 /m3"}, fish={"species": "eel"})


# ---- what a reader can follow, and must heed ----


def bed_of(note: str) -> Table:
    table = measured(("suitable bed area", "walleye", 4e4, math.nan, math.nan, "m2"))
    return Table(table.frame.assign(note=note))


@pytest.mark.parametrize(
    ("note", "warned"),
    [("of the species' limits, limits on plants left out", True), ("limits on plants kept", False)],
)
def test_a_suitable_bed_without_its_limits_asks_for_too_many_fish(note: str, warned: bool) -> None:
    found = row(bed_of(note), {"basis": "suitable bed", "rate": "10 /ha"})
    assert ("the rate asks for too many fish" in found["warnings"]) == warned


def test_a_bracket_without_a_range_is_said_to_hold_no_doubt_of_it() -> None:
    told = "no range given for rate: fewest and most fish leave out its doubt"
    assert told in row(measured(), {"rate": "20 /ha"})["warnings"]
    ranged = {"rate": "20 /ha", "rate_low": "10 /ha", "rate_high": "30 /ha"}
    assert "no range given" not in row(measured(), ranged)["warnings"]
    steps = [{"step": "winter", "likely": 0.5, "source": "told"}]
    found = row(measured(), {"recruits": "100 fish", "survival": steps})
    # a target is a wish: only the survival has a doubt
    assert "no range given for survival 1: winter: fewest" in found["warnings"]


def test_the_number_is_written_out() -> None:
    # derived: 16.6 ha at 30 fish; 16.6 ha at 2 kg, of 2 g
    told = row(measured(), {"rate": "30 /ha"})["reckoned"]
    assert told == "16.60 ha x 30.00 fish/ha = 498.00 fish, to the nearest whole fish"
    told = row(measured(), {"rate": "2 kg/ha"})["reckoned"]
    assert told == "16.60 ha x 2.000 kg/ha / 0.002 kg = 16,600.00 fish, to the nearest whole fish"


def test_a_chain_is_written_out_with_its_ends() -> None:
    steps = [
        {"step": "winter", "likely": 0.5, "low": 0.25, "high": 0.8, "source": "told"},
        {"step": "summer", "likely": 0.6, "source": "told"},
    ]
    stock = {"name": "old", "stock": "20 fish", "source": "net"}
    entry = {"recruits": "10 /ha", "survival": steps, "subtract": "old"}
    found = row(measured(), entry, existing=[stock])
    # derived: (16.6 x 10 - 20) / 0.3
    assert found["reckoned"] == (
        "(16.60 ha x 10.00 fish/ha - 20.00 fish) / 0.5 / 0.6 = 486.67 fish, the next whole fish "
        "more"
    )
    ends = [found[f"survival{end}"] for end in ("_low", "", "_high")]
    assert ends == pytest.approx([0.15, 0.3, 0.48])


def test_numbers_are_said_to_be_of_one_stocking() -> None:
    plan = proposal({"rate": "20 /ha"}, {"rate": "10 /ha"}, transport=TRUCK)
    notes = stocking_plan(measured(), plan).notes
    assert "numbers, loads and costs are of one stocking each, not of a year" in notes
    assert "each lot comes in loads of its own" in notes


def test_nothing_to_count_by_is_told() -> None:
    told = "there is none of the suitable bed area to count by"
    for size, warned in ((0.0, True), (4e4, False)):
        table = measured(("suitable bed area", "walleye", size, math.nan, math.nan, "m2"))
        found = row(table, {"basis": "suitable bed", "rate": "10 /ha"})
        assert (told in found["warnings"]) == warned


def test_unknown_water_is_told_beside_the_number() -> None:
    note = "of the species' limits; nobody read what the species needs of 4,000 m3, not counted"
    found = row(bed_of(note), {"basis": "suitable bed", "rate": "10 /ha"})
    assert "much of the water is unknown" in found["warnings"]
    surface = row(bed_of(note), {"rate": "10 /ha"})
    assert "unknown" not in surface["warnings"]


def test_profiles_without_temperatures_check_no_season() -> None:
    times = pd.to_datetime(["2026-05-01", "2026-06-01"], utc=True)
    profiles = Profiles(pd.DataFrame({"time": times, "depth_m": 1.0, "oxygen_mg_l": [9.0, 8.0]}))
    season = {"first": "05-11", "last": "05-20", "source": "told"}
    plan = proposal({"rate": "20 /ha", "season": season})
    found = stocking_plan(measured(), plan, profiles=profiles).frame.iloc[0]
    assert "season not checked: no profiles of temperature" in found["warnings"]
