"""Isobaths, zones, features and plants are those of the tools, as the survey file asks."""

from pathlib import Path
from typing import Any

import geopandas
import numpy as np
import pytest
import shapely

from toolbox.bed.triangulation import triangulate
from toolbox.errors import InputFileError, ParameterError
from toolbox.layers import Shoreline, Soundings, Tin
from toolbox.survey.lineage import Lineage
from toolbox.survey.reading import Drawn, draw, read_plants
from toolbox.survey.reduce import Inputs
from toolbox.survey.settings import Settings

CRS = "EPSG:32633"
WEST, SOUTH, WIDE, HIGH = 500_000.0, 5_300_000.0, 120.0, 100.0
BOX = shapely.box(WEST, SOUTH, WEST + WIDE, SOUTH + HIGH)
DEEPEST = 6.0


def soundings(**columns: Any) -> Soundings:
    """Sound a pyramid of 6 m at its middle and, to have some more, along its diagonals."""
    share = np.array([0.25, 0.5, 0.75])
    corners = np.array([(-1, -1), (1, -1), (1, 1), (-1, 1)]) * (WIDE / 2, HIGH / 2)
    middle = np.array([WEST + WIDE / 2, SOUTH + HIGH / 2])
    away = (corners[:, None] * share[None, :, None]).reshape(-1, 2)
    places = np.vstack([middle, middle + away])
    depth = np.r_[DEEPEST, np.tile(DEEPEST * (1 - share), 4)]
    made = Soundings.from_arrays(places, depth, crs=geopandas.GeoSeries(crs=CRS).crs)
    return Soundings(made.frame.assign(**columns))


def given(**columns: Any) -> tuple[Inputs, Tin]:
    points = soundings(**columns)
    shore = Shoreline.from_shapes([BOX], points.crs)
    return Inputs(shore, points, None), triangulate(points, shore)


def settings(**sections: Any) -> Settings:
    least = {"water": {"name": "A", "shoreline": "s"}, "soundings": [{"file": "a"}]}
    return Settings.model_validate(least | sections)


def drawn(make: dict[str, Any], **columns: Any) -> tuple[Drawn, Lineage]:
    wanted = settings(make=make)
    inputs, bed = given(**columns)
    lineage = Lineage(wanted)
    return draw(bed, None, wanted, inputs, lineage), lineage


@pytest.mark.parametrize(
    ("make", "depths"),
    [
        ({"isobath_interval": "1 m"}, [1, 2, 3, 4, 5]),
        ({"isobath_interval": "5 ft"}, [1.524, 3.048, 4.572]),  # derived: the foot is 0.3048 m
        ({"isobath_levels": [4, "2.5 m"]}, [2.5, 4]),
        ({}, [0.5 * k for k in range(1, 12)]),  # the round interval nearest to ten lines
    ],
)
def test_isobaths_lie_at_the_depths_asked_for(make: dict[str, Any], depths: list[float]) -> None:
    """Isobaths of a pyramid are rectangles like its foot: (1 - d / 6) of its edge (derived)."""
    found, lineage = drawn(make)
    frame = found.isobaths.frame
    inner = frame[(frame["depth_m"] > 0) & (frame["depth_m"] < DEEPEST)]
    assert inner["depth_m"].tolist() == pytest.approx(depths)
    edge = 2 * (WIDE + HIGH) * (1 - inner["depth_m"] / DEEPEST)
    np.testing.assert_allclose(inner.geometry.length, edge, rtol=1e-9)
    told = {step["step"]: step for step in lineage.steps}
    assert told["isobaths"]["lines"] == len(frame)
    assert told["isobaths"]["zones"] == len(found.zones)


@pytest.mark.parametrize(
    ("foot", "metres"),
    [("international", 0.3048), ("survey", 1200 / 3937)],  # NIST Special Publication 811, B.6
)
def test_whom_feet_are_told_sees_round_feet(foot: str, metres: float) -> None:
    """The pyramid is 19.685 ft deep: of 1, 2 and 5 ft, 2 is nearest to a tenth of it (derived)."""
    wanted = settings(make={"foot": foot}, report={"units": "us"})
    inputs, bed = given()
    found = draw(bed, None, wanted, inputs, Lineage(wanted))
    lines, zones = found.isobaths.frame, found.zones.frame
    inner = lines[(lines["depth_m"] > 0) & (lines["depth_m"] < DEEPEST)]
    assert inner["depth_ft"].tolist() == pytest.approx(range(2, 20, 2), abs=1e-6)
    np.testing.assert_allclose(inner["depth_m"], inner["depth_ft"] * metres, atol=1e-6)
    assert inner["index_line"].tolist() == [feet == 10 for feet in range(2, 20, 2)]
    assert set(found.labels.frame["label"]) <= {str(feet) for feet in range(2, 20, 2)}
    assert len(found.labels) > 0
    assert zones["to_ft"].tolist() == pytest.approx([*range(2, 20, 2), DEEPEST / metres], abs=1e-5)
    np.testing.assert_allclose(zones["from_m"], zones["from_ft"] * metres, atol=1e-6)


def test_an_interval_that_is_written_stays_where_feet_are_told() -> None:
    wanted = settings(make={"isobath_interval": "2 m"}, report={"units": "us"})
    inputs, bed = given()
    lines = draw(bed, None, wanted, inputs, Lineage(wanted)).isobaths.frame
    assert sorted(set(lines["depth_m"]) & {1.0, 2.0, 3.0, 4.0, 5.0}) == [2.0, 4.0]


def test_zones_share_out_the_water_and_end_at_the_isobaths() -> None:
    found, _ = drawn({"isobath_levels": [2, 4]})
    zones = found.zones.frame
    assert zones.geometry.area.sum() == pytest.approx(BOX.area, rel=1e-9)
    # derived: what is deeper than d covers (1 - d / 6)^2 of the water
    deeper = [zones[zones["from_m"] >= depth].geometry.area.sum() for depth in (2, 4)]
    assert deeper == pytest.approx([BOX.area * 4 / 9, BOX.area / 9], rel=1e-9)


def test_layers_hold_something_and_are_named_apart() -> None:
    found, _ = drawn({"isobath_interval": 1})
    names = [layer.name for layer in found.layers]
    assert names[:2] == ["depth_zones", "isobaths"]
    assert len(set(names)) == len(names)
    assert min(len(layer) for layer in found.layers) > 0
    assert found.plants is None


def test_isobaths_that_no_bed_reaches_are_no_error() -> None:
    found, lineage = drawn({"isobath_levels": [50]})
    assert len(found.isobaths) == len(found.labels) == 0
    assert "isobaths" not in [layer.name for layer in found.layers]
    assert found.zones.frame.geometry.area.sum() == pytest.approx(BOX.area)
    assert {step["step"]: step for step in lineage.steps}["isobaths"]["lines"] == 0


def test_isobaths_without_number_are_refused() -> None:
    with pytest.raises(ParameterError, match=r"interval = 1e-07 m .* got|interval .*1e-07"):
        drawn({"isobath_interval": 1e-7})


# ---- plants ----


def test_soundings_that_met_plants_tell_their_beds() -> None:
    inputs, bed = given()
    near = np.linspace(5, 30, 6)
    east, north = (part.ravel() for part in np.meshgrid(WEST + near, SOUTH + near))
    grown = Soundings.from_arrays(
        np.column_stack([east, north]), np.full(36, 1.5), crs=inputs.soundings.crs
    )
    inputs = Inputs(inputs.shoreline, Soundings(grown.frame.assign(canopy=0.5)), None)
    wanted = settings()
    lineage = Lineage(wanted)
    plants = draw(bed, None, wanted, inputs, lineage).plants
    assert plants is not None
    assert len(plants) == 1
    assert plants.frame.geometry[0].contains(shapely.Point(WEST + 17, SOUTH + 17))
    assert plants.frame["height_mean_m"][0] == pytest.approx(1.0)
    assert {step["step"]: step for step in lineage.steps}["plant beds"]["beds"] == 1


def test_a_column_in_which_nobody_noted_plants_tells_none() -> None:
    found, lineage = drawn({}, canopy=np.nan)
    assert found.plants is None
    assert "plant beds" not in [step["step"] for step in lineage.steps]


def mapped(folder: Path, shapes: list[shapely.Geometry], crs: str | None = CRS) -> Settings:
    path = folder / "weed.gpkg"
    frame = geopandas.GeoDataFrame({"height_m": [0.4] * len(shapes)}, geometry=shapes, crs=crs)
    frame.to_file(path, layer="summer")
    return settings(plants={"file": path, "layer": "summer"})


def test_plants_that_were_mapped_come_first_and_into_the_crs_of_the_water(tmp_path: Path) -> None:
    bed_of_plants = shapely.box(WEST + 10, SOUTH + 10, WEST + 40, SOUTH + 40)
    degrees = geopandas.GeoSeries([bed_of_plants], crs=CRS).to_crs(4326)
    wanted = mapped(tmp_path, [degrees[0]], "EPSG:4326")
    inputs, bed = given(canopy=0.0)
    lineage = Lineage(wanted)
    plants = read_plants(wanted, inputs, lineage)
    assert plants is not None
    found = draw(bed, plants, wanted, inputs, lineage)
    assert found.plants is not None
    assert found.plants.name == "plants"
    assert found.plants.crs == inputs.shoreline.crs
    assert found.plants.frame.geometry[0].area == pytest.approx(900, rel=1e-6)
    told = {step["step"]: step for step in lineage.steps}
    assert told["read plants"]["beds"] == 1
    assert "plant beds" not in told
    assert read_plants(settings(), inputs, lineage) is None


@pytest.mark.parametrize(
    "shape", [shapely.Point(WEST, SOUTH), shapely.LineString([(WEST, SOUTH), (WEST + 9, SOUTH)])]
)
def test_plants_are_polygons(shape: shapely.Geometry, tmp_path: Path) -> None:
    wanted = mapped(tmp_path, [shape])
    inputs, _ = given()
    with pytest.raises(
        InputFileError, match=rf"weed.gpkg must hold polygons, got {shape.geom_type}"
    ):
        read_plants(wanted, inputs, Lineage(wanted))


def test_a_layer_that_is_not_there_is_told(tmp_path: Path) -> None:
    wanted = mapped(tmp_path, [BOX])
    assert wanted.plants is not None
    wanted = settings(plants=wanted.plants.model_dump() | {"layer": "winter"})
    inputs, _ = given()
    with pytest.raises(InputFileError, match=r"weed.gpkg has no layer 'winter', only summer"):
        read_plants(wanted, inputs, Lineage(wanted))
