"""Suitable water of bodies whose answer can be written down, and of a published table."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from toolbox.errors import LayerError, ParameterError
from toolbox.habitat.species import Limit, Measure, Species, SpeciesLimits
from toolbox.habitat.suitable_water import suitable_water, suitable_water_of_table
from toolbox.layers import Profiles, Table, Tin, VertexKind

SAMPLE = Path(__file__).resolve().parents[2] / "sample_layers" / "profile.csv"

COLUMNS = [
    "species", "time", "surface_m", "suitable_volume_m3", "suitable_volume_low_m3",
    "suitable_volume_high_m3", "share", "share_low", "share_high", "upper_depth_m",
    "lower_depth_m", "thickness_m", "layers", "total_thickness_m", "upper_limit", "lower_limit",
    "bed_area_m2", "bed_area_low_m2", "bed_area_high_m2", "unknown_volume_m3", "bed_note",
]  # fmt: skip


def kind(name: str = "trout", **limits: tuple[float | None, float | None]) -> SpeciesLimits:
    parts = [Limit(_measure(key), *ends, "illustrative") for key, ends in limits.items()]
    return SpeciesLimits((Species(name, tuple(parts)),))


def _measure(key: str) -> Measure:
    measures: dict[str, Measure] = {
        "warmth": "temperature_c",
        "oxygen": "oxygen_mg_l",
        "depth": "depth_m",
        "light": "light",
        "slope": "slope_deg",
    }
    return measures[key]


COLD_AND_RICH = kind(warmth=(None, 20), oxygen=(3, None))


def visit(day: float, depth: list[float], warm: list[float], rich: list[float]) -> pd.DataFrame:
    time = pd.Timestamp("2026-07-01", tz="UTC") + pd.Timedelta(days=day)
    return pd.DataFrame(
        {"time": time, "depth_m": depth, "temperature_c": warm, "oxygen_mg_l": rich}
    )


LINES = Profiles(visit(0, [0, 10], [25, 5], [10, 0]))
"""T = 25 - 2 z and DO = 10 - z: at most 20 degrees from 2.5 m, at least 3 mg/L to 7 m."""


def box() -> Tin:
    """Dig a hole of 100 m by 100 m with upright walls, 10 m deep."""
    corners = np.array([[0, 0], [100, 0], [100, 100], [0, 100]], float)
    triangles = np.array([[0, 1, 2], [0, 2, 3]])
    return Tin(corners, np.full(4, 10.0), triangles, np.full(4, VertexKind.SOUNDING), None)


def cone(sides: int = 12) -> Tin:
    angle = 2 * np.pi * np.arange(sides) / sides
    rim = 500 * np.column_stack([np.cos(angle), np.sin(angle)])
    here = np.arange(sides)
    triangles = np.column_stack([here, (here + 1) % sides, np.full(sides, sides)])
    depth = np.r_[np.zeros(sides), 10.0]
    shapes = np.where(depth == 0, VertexKind.SHORELINE, VertexKind.SOUNDING)
    return Tin(np.vstack([rim, [[0, 0]]]), depth, triangles, shapes, None)


def row(table: Table, number: int = 0) -> pd.Series:
    return table.frame.iloc[number]


def test_columns_and_order_of_rows() -> None:
    two = SpeciesLimits((*kind("b", depth=(1, 2)).species, *kind("a", depth=(1, 3)).species))
    visits = pd.concat([visit(3, [0], [9], [9]), visit(0, [0], [8], [8])])
    table = suitable_water(cone(), Profiles(visits), two)
    assert len(table.frame) == 4
    assert list(table.frame.columns) == COLUMNS
    assert table.frame["species"].tolist() == ["b", "b", "a", "a"]
    assert table.frame["time"].dt.day.tolist() == [1, 4, 1, 4]
    assert str(table.frame["time"].dt.tz) == "UTC"


def test_box() -> None:
    found = row(suitable_water(box(), LINES, COLD_AND_RICH))
    assert found["suitable_volume_m3"] == pytest.approx(100 * 100 * 4.5)  # derived
    assert found["share"] == pytest.approx(0.45)
    assert (found["upper_depth_m"], found["lower_depth_m"]) == pytest.approx((2.5, 7.0))
    assert (found["upper_limit"], found["lower_limit"]) == ("temperature_c", "oxygen_mg_l")
    assert found["thickness_m"] == pytest.approx(4.5)
    assert found["bed_area_m2"] == 0
    assert found["unknown_volume_m3"] == 0
    assert np.isnan(found["suitable_volume_low_m3"])


def test_level_bed_belongs_to_the_layer_above_it() -> None:
    found = row(suitable_water(box(), LINES, kind(warmth=(None, 20))))
    assert found["lower_limit"] == "bed"
    assert found["bed_area_m2"] == pytest.approx(10_000)
    assert found["suitable_volume_m3"] == pytest.approx(75_000)


def test_cone() -> None:
    bed = cone()
    found = row(suitable_water(bed, LINES, COLD_AND_RICH))
    rim = bed.areas().sum()
    # derived: A = A0 (1 - z / 10)^2 and its integral, exact for the polyhedron
    assert found["suitable_volume_m3"] == pytest.approx(rim * 10 / 3 * (0.75**3 - 0.3**3))
    assert found["share"] == pytest.approx(0.75**3 - 0.3**3)
    assert found["bed_area_m2"] == pytest.approx(rim * (0.75**2 - 0.3**2))


def test_paraboloid_by_its_table() -> None:
    depth = np.linspace(0, 10, 5)
    table = Table(pd.DataFrame({"depth_m": depth, "area_m2": 1e6 * (1 - depth / 10)}))
    found = row(suitable_water_of_table(table, LINES, COLD_AND_RICH))
    # derived: the area is linear, so that the trapezoid between rows is exact
    assert found["suitable_volume_m3"] == pytest.approx(1e6 * (4.5 - (7**2 - 2.5**2) / 20))
    assert found["bed_area_m2"] == pytest.approx(1e6 * 0.45)


def test_ice_lake() -> None:
    """Water above 10 m, where the oxygen by layers falls through 3 mg/L.

    Ice Lake, Minnesota: areas at 0 to 15 m and volumes of 2 m layers from Water on the Web
    (waterontheweb.org, Ice Lake, morphometry, Tables 1 and 2). Oxygen 9, 9, 8, 6, 4, 2, 0, 0 mg/L
    in the middle of those layers is invented; it is 3 mg/L at 10 m.
    """
    hectares = [16.6, 15.4, 14.2, 13.0, 11.8, 10.7, 9.49, 8.30, 7.11, 5.93, 4.75, 3.57, 2.38, 1.20,
                0.060, 0.029, 0]  # fmt: skip
    layers = [3.081, 2.606, 2.134, 1.660, 1.186, 0.713, 0.242, 0.005]  # 1e5 m3
    table = Table(pd.DataFrame({"depth_m": np.arange(17.0), "area_m2": 1e4 * np.array(hectares)}))
    middle = [1.0, 3, 5, 7, 9, 11, 13, 15]
    profiles = Profiles(visit(0, middle, [20.0] * 8, [9, 9, 8, 6, 4, 2, 0, 0]))
    found = row(suitable_water_of_table(table, profiles, kind(oxygen=(3, None))))
    assert found["lower_depth_m"] == pytest.approx(10.0)
    # trapezoid by layers of 1 m: each published layer agrees within 0.004e5
    assert found["suitable_volume_m3"] == pytest.approx(1e5 * sum(layers[:5]), abs=0.02e5)
    assert found["share"] == pytest.approx(sum(layers[:5]) / sum(layers), abs=0.001)
    assert found["bed_area_m2"] == pytest.approx(1e4 * (16.6 - 4.75))


def test_surface_below_the_datum_carries_the_layer_down_with_it() -> None:
    fallen = Profiles(LINES.frame.assign(surface_m=2.0))
    found = row(suitable_water(cone(), fallen, COLD_AND_RICH))
    # derived: the layer lies 2.5 to 7 m below that surface, 4.5 to 9 m below the datum
    assert found["share"] == pytest.approx((0.55**3 - 0.1**3) / 0.8**3)
    assert (found["surface_m"], found["upper_depth_m"]) == (2.0, pytest.approx(2.5))
    ends = row(suitable_water(cone(), fallen, kind(warmth=(None, 20))))
    assert (ends["lower_depth_m"], ends["lower_limit"]) == (8.0, "bed")


def test_water_above_the_mapped_shore_is_not_counted() -> None:
    risen = Profiles(LINES.frame.assign(surface_m=-1.0))
    table = suitable_water(cone(), risen, kind(warmth=(None, 30)), carry_down=True)
    found = row(table)
    assert found["share"] == pytest.approx(1.0)
    assert found["suitable_volume_m3"] == pytest.approx(cone().areas().sum() * 10 / 3)
    assert found["thickness_m"] == pytest.approx(11.0)
    assert "1 rows with water above the mapped shore, which is not counted" in table.notes


def test_water_that_fell_below_the_bed() -> None:
    dry = Profiles(LINES.frame.assign(surface_m=10.0))
    with pytest.raises(
        LayerError,
        match="the water surface of 2026-07-01 must lie above the deepest bed, at 10 m, got 10 m",
    ):
        suitable_water(cone(), dry, COLD_AND_RICH)


def test_water_below_the_last_reading_is_unknown_unless_carried_down() -> None:
    short = Profiles(visit(0, [0, 6], [25, 13], [10, 4]))
    table = suitable_water(cone(), short, COLD_AND_RICH)
    found = row(table)
    assert found["share"] == pytest.approx(0.75**3 - 0.4**3)
    assert found["unknown_volume_m3"] == pytest.approx(cone().areas().sum() * 10 / 3 * 0.4**3)
    assert found["lower_limit"] == "unknown"
    assert any(
        note.startswith("at 1 of 1 times of all species there is water") for note in table.notes
    )
    carried = row(suitable_water(cone(), short, COLD_AND_RICH, carry_down=True))
    assert carried["share"] == pytest.approx(0.75**3)
    assert (carried["unknown_volume_m3"], carried["lower_limit"]) == (0, "bed")


def test_limits_that_nobody_could_apply_are_named() -> None:
    warmth = Profiles(LINES.frame.drop(columns="oxygen_mg_l"))
    table = suitable_water(
        cone(), warmth, kind(oxygen=(3, None), light=(0.01, None), slope=(None, 5))
    )
    assert row(table)["suitable_volume_m3"] == 0
    assert row(table)["unknown_volume_m3"] == pytest.approx(cone().areas().sum() * 10 / 3)
    for note in (
        "nobody read oxygen_mg_l: unknown for trout",
        "limits on light are unknown without secchi or attenuation: trout",
        "suitable water keeps no limits on plants or slope, which are of the bed: trout",
        "some or all limits of species are only illustrative, not to decide by: trout",
    ):
        assert note in table.notes
    assert any("permit" in note for note in table.notes)


def test_light_by_secchi_depth() -> None:
    found = row(suitable_water(cone(), LINES, kind(light=(0.01, None)), secchi=2.0))
    # 1 % at 5.418 m: k = 1.7 / Secchi, Poole and Atkins 1929, from memory
    assert found["lower_depth_m"] == pytest.approx(5.418, abs=0.0005)
    with pytest.raises(ParameterError, match="give secchi or attenuation, one of them"):
        suitable_water(cone(), LINES, kind(light=(0.01, None)), secchi=2.0, attenuation=0.8)


def test_species_and_dates_asked_for() -> None:
    two = SpeciesLimits((*kind("a", depth=(1, 2)).species, *kind("b", depth=(1, 3)).species))
    visits = pd.concat([visit(0, [0], [8], [8]), visit(10, [0], [9], [9])])
    table = suitable_water(
        cone(),
        Profiles(visits),
        two,
        species_names=("b",),
        start="2026-07-02",
        end="2026-07-06",
        step_days=2.0,
    )
    assert table.frame["species"].unique().tolist() == ["b"]
    assert table.frame["time"].dt.day.tolist() == [2, 4, 6]


def test_band_holds_what_the_draws_hold() -> None:
    """Draws of a cone made deeper and shallower; the figures of each are derived."""
    bed, factors = cone(), np.linspace(0.8, 1.25, 10)
    drawn = replace(bed, draws=bed.depth[:, None] * factors)
    deep = Profiles(visit(0, [0, 20], [25, -1], [20, 0]))  # T = 25 - 1.3 z, DO = 20 - z
    found = row(suitable_water(drawn, deep, kind(warmth=(None, 20), oxygen=(13, None))))
    upper, lower = 5 / 1.3, 7.0
    reach = 10 * factors
    shares = (1 - upper / reach) ** 3 - (1 - lower / reach) ** 3
    areas = (1 - upper / reach) ** 2 - (1 - lower / reach) ** 2
    rim = bed.areas().sum()
    for name, values in (
        ("share{}", shares),
        ("suitable_volume{}_m3", rim * reach / 3 * shares),
        ("bed_area{}_m2", rim * areas),
    ):
        low, high = np.quantile(values, [0.05, 0.95])
        assert found[name.format("_low")] == pytest.approx(low)
        assert found[name.format("_high")] == pytest.approx(high)
        assert low <= found[name.format("")] <= high


def test_draws_that_are_deeper_than_the_bed_count_their_water() -> None:
    bed = cone()
    deeper = replace(bed, draws=np.column_stack([bed.depth * 1.2, bed.depth * 1.2]))
    deep = Profiles(visit(0, [0, 20], [25, 5], [9, 9]))
    found = row(suitable_water(deeper, deep, kind(depth=(11, None))))
    assert (found["suitable_volume_m3"], found["layers"]) == (0, 0)
    rim = bed.areas().sum()
    assert found["suitable_volume_low_m3"] == pytest.approx(rim * 12 / 3 * (1 / 12) ** 3)


@given(
    st.lists(st.integers(0, 30), min_size=4, max_size=4),
    st.lists(st.integers(0, 14), min_size=4, max_size=4),
    st.integers(0, 25),
    st.integers(0, 10),
)
@settings(max_examples=12, deadline=None)
def test_a_tighter_limit_never_gives_more(
    warm: list[float], rich: list[float], most: int, least: int
) -> None:
    profiles = Profiles(visit(0, [0, 3, 6, 9], warm, rich))
    loose, tight = (
        row(suitable_water(cone(6), profiles, kind(warmth=(None, most + by), oxygen=(least, None))))
        for by in (2, 0)
    )
    for name in ("suitable_volume_m3", "share", "total_thickness_m", "bed_area_m2"):
        assert tight[name] <= loose[name] + 1e-6
    everything = row(suitable_water(cone(6), profiles, kind(depth=(0, None))))
    whole = everything["suitable_volume_m3"]
    assert loose["suitable_volume_m3"] + loose["unknown_volume_m3"] <= whole * (1 + 1e-9)


def test_sample_profiles() -> None:
    """The invented lake in July: a cold and rich layer, its edges by hand from the readings."""
    frame = pd.read_csv(SAMPLE)
    frame["time"] = pd.to_datetime(frame.pop("date"), utc=True)
    july = frame[frame["time"].dt.month == 7]
    depth, warm, rich = (july[name] for name in ("depth_m", "temperature_c", "oxygen_mg_l"))
    upper, lower = np.interp(-15, -warm, depth), np.interp(-4, -rich, depth)
    assert 4 < upper < lower < 6
    table = suitable_water(
        cone(), Profiles(frame), kind("lake trout", warmth=(None, 15), oxygen=(4, None))
    )
    found = table.frame[table.frame["time"].dt.month == 7].iloc[0]
    assert (found["upper_depth_m"], found["lower_depth_m"]) == pytest.approx((upper, lower))
    assert found["share"] == pytest.approx((1 - upper / 10) ** 3 - (1 - lower / 10) ** 3)
