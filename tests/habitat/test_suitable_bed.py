"""Polygons of suitable bed: their shape, their area and its band."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
import shapely

from toolbox.errors import LayerError, ParameterError
from toolbox.habitat.species import Limit, Species, SpeciesLimits
from toolbox.habitat.suitable_bed import suitable_bed
from toolbox.habitat.suitable_water import suitable_water
from toolbox.layers import Profiles, Tin, VertexKind

COLUMNS = [
    "species", "upper_depth_m", "lower_depth_m", "upper_limit", "lower_limit", "area_m2",
    "area_low_m2", "area_high_m2", "share", "geometry",
]  # fmt: skip

TROUT = Species(
    "trout",
    (
        Limit("temperature_c", most=20.0, source="illustrative"),
        Limit("oxygen_mg_l", least=3.0, source="illustrative"),
    ),
)
EDGE = Species("edge", (Limit("depth_m", most=1.0, source="illustrative"),))
NOWHERE = Species("nowhere", (Limit("depth_m", least=50.0, source="illustrative"),))
ALL = SpeciesLimits((TROUT, EDGE, NOWHERE))


def profiles(rich: list[float], surface: float = 0.0) -> Profiles:
    """T = 25 - 2 z at 0, 5 and 10 m, with oxygen as given."""
    time = pd.Timestamp("2026-07-01", tz="UTC")
    columns = {"depth_m": [0.0, 5.0, 10.0], "temperature_c": [25.0, 15.0, 5.0]}
    return Profiles(
        pd.DataFrame({"time": time, **columns, "oxygen_mg_l": rich, "surface_m": surface})
    )


LINES = profiles([10, 5, 0])


def cone(sides: int = 12) -> Tin:
    angle = 2 * np.pi * np.arange(sides) / sides
    rim = 500 * np.column_stack([np.cos(angle), np.sin(angle)])
    here = np.arange(sides)
    triangles = np.column_stack([here, (here + 1) % sides, np.full(sides, sides)])
    depth = np.r_[np.zeros(sides), 10.0]
    shapes = np.where(depth == 0, VertexKind.SHORELINE, VertexKind.SOUNDING)
    return Tin(np.vstack([rim, [[0, 0]]]), depth, triangles, shapes, None)


def test_rings_of_a_cone() -> None:
    bed = cone()
    found = suitable_bed(bed, ALL, LINES)
    assert found.name == "suitable_bed"
    assert list(found.frame.columns) == COLUMNS
    assert found.frame["species"].tolist() == ["trout", "edge"]
    # derived: bed from 2.5 to 7 m, and down to 1 m
    shares = [0.75**2 - 0.3**2, 1 - 0.9**2]
    assert found.frame["share"].tolist() == pytest.approx(shares)
    areas = bed.areas().sum() * np.array(shares)
    assert found.frame["area_m2"].tolist() == pytest.approx(areas)
    assert found.frame.geometry.area.tolist() == pytest.approx(areas)
    trout, edge = found.frame.geometry
    assert trout.contains(shapely.Point(300, 0))
    assert not trout.contains(shapely.Point(450, 0))
    assert not trout.contains(shapely.Point(0, 0))
    assert edge.contains(shapely.Point(480, 0))
    assert found.frame["area_low_m2"].isna().all()


def test_several_layers_and_one_that_reaches_the_bed() -> None:
    found = suitable_bed(cone(), SpeciesLimits((TROUT,)), profiles([9, 1, 9])).frame
    # derived: oxygen is 3 mg/L at 3.75 and 6.25 m
    assert found["upper_depth_m"].tolist() == pytest.approx([2.5, 6.25])
    assert found["lower_depth_m"].tolist() == pytest.approx([3.75, 10])
    assert found["lower_limit"].tolist() == ["oxygen_mg_l", "bed"]
    assert found["share"].tolist() == pytest.approx([0.75**2 - 0.625**2, 0.375**2])
    assert found.geometry.area.tolist() == pytest.approx(found["area_m2"].tolist())


def test_agrees_with_the_table_of_suitable_water() -> None:
    fallen = profiles([9, 1, 9], surface=1.5)
    areas = suitable_bed(cone(), ALL, fallen).frame.groupby("species")["area_m2"].sum()
    table = suitable_water(cone(), fallen, ALL).frame.set_index("species")
    assert areas["trout"] == pytest.approx(table["bed_area_m2"]["trout"])
    assert areas["edge"] == pytest.approx(table["bed_area_m2"]["edge"])
    whole = suitable_bed(cone(), ALL, fallen).frame
    assert whole["share"].iloc[-1] == pytest.approx(1 - (0.75 / 0.85) ** 2)


def test_band_of_the_draws() -> None:
    bed, factors = cone(), np.linspace(0.8, 1.25, 10)
    drawn = replace(bed, draws=bed.depth[:, None] * factors)
    (row,) = suitable_bed(drawn, SpeciesLimits((EDGE,))).frame.to_dict("records")
    areas = bed.areas().sum() * (1 - (1 - 1 / (10 * factors)) ** 2)  # derived
    low, high = np.quantile(areas, [0.05, 0.95])
    assert (row["area_low_m2"], row["area_high_m2"]) == pytest.approx((low, high))
    assert low < row["area_m2"] < high


def test_water_above_the_mapped_shore_adds_no_bed() -> None:
    # all of the layer down to 1 m lies above the shore that was mapped
    none = suitable_bed(cone(), SpeciesLimits((EDGE,)), profiles([10, 5, 0], -1.0)).frame
    assert not len(none)
    some = suitable_bed(cone(), ALL, LINES).frame
    assert [str(kind) for kind in none.dtypes] == [str(kind) for kind in some.dtypes]


def test_without_profiles_depth_and_light_alone() -> None:
    lit = Species("lit", (Limit("light", least=0.01, source="illustrative"),))
    found = suitable_bed(cone(), SpeciesLimits((TROUT, lit)), secchi=2.0)
    assert found.frame["species"].tolist() == ["lit"]
    # 5.418 m at a Secchi depth of 2 m: k = 1.7 / Secchi, Poole and Atkins 1929, from memory
    assert found.frame["lower_depth_m"][0] == pytest.approx(5.418, abs=0.0005)
    assert "nobody read temperature_c: unknown for trout" in found.notes


def test_refusals() -> None:
    with pytest.raises(LayerError, match=r"must lie above the deepest bed, at 10 m, got 10.5 m"):
        suitable_bed(cone(), ALL, profiles([10, 5, 0], 10.5))
    with pytest.raises(
        ParameterError, match="species must be one of trout, edge, nowhere, got 'x'"
    ):
        suitable_bed(cone(), ALL, species_names=("x",))
