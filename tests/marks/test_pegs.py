"""Pegs: where they stand, how far they reach, and what is told of each."""

import geopandas
import numpy as np
import pandas as pd
import pyproj
import pytest
import shapely

from toolbox.errors import LayerError, ParameterError
from toolbox.layers import Places, Shoreline, Vectors
from toolbox.marks.pegs import Pegs, facing, geometries, keeps_clear, place_pegs, within_sector

WEB = pyproj.CRS(3857)


def water(crs: pyproj.CRS | None = None, at: tuple[float, float] = (0, 0)) -> Shoreline:
    shape = shapely.box(0, 0, 200, 100) - shapely.box(90, 40, 110, 60)
    return Shoreline(shapely.MultiPolygon([shapely.affinity.translate(shape, *at)]), crs)


def places(*at: tuple[float, float], **columns: list[object]) -> Places:
    return Places(np.array(at, float).reshape(-1, 2), pd.DataFrame(columns), None)


def exclusions(*shapes: object, crs: object = None) -> Vectors:
    return Vectors(geopandas.GeoDataFrame(geometry=list(shapes), crs=crs), "exclusions")


def test_pegs_stand_evenly_along_the_outer_bank_and_face_the_water() -> None:
    placed = place_pegs(water(), spacing=20.0)
    at = shapely.get_coordinates(placed.frame.geometry.to_numpy())
    edge = shapely.box(0, 0, 200, 100).exterior
    assert placed.frame["peg"].tolist() == list(range(1, 31))
    assert shapely.distance(shapely.points(at), edge).max() < 1e-9
    along = np.sort(shapely.line_locate_point(edge, shapely.points(at)))
    np.testing.assert_allclose(np.diff(along), 20, atol=1e-9)
    south = (at[:, 1] == 0) & (np.abs(at[:, 0] - 100) < 70)
    np.testing.assert_allclose((placed.frame["facing_deg"][south] + 180) % 360, 180, atol=1e-6)
    assert placed.frame[["easting_m", "northing_m"]].to_numpy().tolist() == at.tolist()
    assert "nobody looked at the bank" in placed.notes[0]


def test_spacing_and_clearance_are_those_on_the_ground() -> None:
    # derived: at 60 degrees north the web's Mercator map is 1 / cos(60) = 2 times too wide, on the
    # ellipsoid 0.4 % off that
    at = pyproj.Transformer.from_crs(4326, WEB, always_xy=True).transform(10.0, 60.0)
    lake = water(WEB, at)
    placed = place_pegs(lake, spacing=10.0).frame
    assert len(placed) == pytest.approx(600 / 20, abs=1)
    wire = shapely.LineString([(at[0] - 20, at[1]), (at[0] - 20, at[1] + 100)])
    kept = place_pegs(lake, exclusions(wire, crs=WEB), spacing=10.0, clearance=30.0).frame
    gone = placed[~placed.geometry.isin(kept.geometry)]
    # derived: 30 m on the ground are 60 on the map, 40 from the western bank
    assert gone.geometry.x.max() - at[0] == pytest.approx(40, abs=20)
    assert kept.geometry.x.min() - at[0] > 39.5


def test_stretches_without_pegs() -> None:
    closed = shapely.box(-10, -10, 210, 50)
    placed = place_pegs(water(), exclusions(closed, shapely.Point(100, 100)), clearance=25.0)
    assert (placed.frame.geometry.y > 50).all()
    assert placed.frame.distance(shapely.Point(100, 100)).min() >= 25
    assert placed.frame["peg"].tolist() == list(range(1, len(placed) + 1))
    with pytest.raises(ParameterError, match="no peg is left: exclusions with clearance = 500 m"):
        place_pegs(water(), exclusions(shapely.Point(100, 100)), clearance=500.0)
    with pytest.raises(LayerError, match="exclusions must be in the CRS of the shoreline"):
        place_pegs(water(), exclusions(closed, crs=WEB))


def test_a_peg_far_from_the_water_faces_the_nearest() -> None:
    at = np.array([[100.0, -70.0], [100.0, 50.0], [260.0, 50.0]])
    np.testing.assert_allclose(facing(at[[0, 2]], water()), [0, 270], atol=1e-6)
    assert np.isfinite(facing(at, water())).all()


@pytest.mark.parametrize(
    ("bearing", "start", "end", "within"),
    [
        (10, 350, 20, True),
        (350, 350, 20, True),
        (20, 350, 20, True),
        (21, 350, 20, False),
        (340, 350, 20, False),
        (180, 20, 350, True),
        (77, 40, 40, False),
        (40, 40, 40, True),
        (77, 0, 360, True),
        (77, np.nan, np.nan, True),
        (200, -30, 210, True),
    ],
)
def test_sectors_run_clockwise(bearing: float, start: float, end: float, within: bool) -> None:
    found = within_sector(np.array([bearing]), np.array([start]), np.array([end]))
    assert found.tolist() == [within]


def test_what_stands_beside_pegs() -> None:
    given = places(
        (0, 0),
        (200, 50),
        (10, -2),
        peg=["a", "b", 7],
        reach_m=["", 35, None],
        sector_from_deg=[np.nan, 200, 10],
        sector_to_deg=[np.nan, 300, 20],
    )
    pegs = Pegs.of(given, water(), 60.0, 360.0)
    assert (pegs.names, pegs.reach.tolist()) == (["a", "b", "7"], [60, 35, 60])
    np.testing.assert_array_equal(pegs.start, [np.nan, 200, 10])
    narrow = Pegs.of(given, water(), 60.0, 90.0)
    assert narrow.start[1:].tolist() == [200, 10]
    assert narrow.end[0] - narrow.start[0] == pytest.approx(90)
    assert within_sector(np.array([63.0]), narrow.start[:1], narrow.end[:1])[0]
    assert Pegs.of(places((0, 0), name=["slip"]), water(), 60.0, 360.0).names == ["slip"]
    unnamed = places((0, 0), (200, 50), peg=["a", None])
    assert Pegs.of(unnamed, water(), 60.0, 360.0).names == ["a", "2"]
    assert Pegs.of(places((0, 0), x=[1]), water(), 60.0, 360.0).names == ["1"]


@pytest.mark.parametrize(
    ("columns", "told"),
    [
        ({"reach_m": [0]}, "peg 'A': reach_m must be > 0 m, got 0"),
        ({"reach_m": [np.inf]}, "peg 'A': reach_m must be > 0 m, got inf"),
        ({"reach_m": ["far"]}, "peg 'A': reach_m must be a number, got 'far'"),
        ({"sector_to_deg": [90]}, "peg 'A' needs both of sector_from_deg and sector_to_deg"),
    ],
)
def test_pegs_that_cannot_be_read(columns: dict[str, list[object]], told: str) -> None:
    with pytest.raises(LayerError, match=rf"^{told}$"):
        Pegs.of(places((0, 0), peg=["A"], **columns), water(), 60.0, 360.0)


def test_pegs_without_a_place_and_no_pegs() -> None:
    with pytest.raises(LayerError, match=r"^peg 'B' has no position$"):
        Pegs.of(places((0, 0), (np.nan, 0), peg=["A", "B"]), water(), 60.0, 360.0)
    with pytest.raises(LayerError, match="pegs must hold at least one peg, got none"):
        Pegs.of(places(peg=[]), water(), 60.0, 360.0)


def test_exclusions_are_sorted_and_kept_clear_of() -> None:
    mixed = shapely.GeometryCollection([shapely.box(0, 0, 1, 1), shapely.Point(5, 5)])
    areas, wires = geometries(
        exclusions(mixed, shapely.LineString([(0, 9, 3), (9, 9, 3)]), None, shapely.Polygon())
    )
    assert areas.equals(shapely.box(0, 0, 1, 1))
    assert [wire.geom_type for wire in wires] == ["Point", "LineString"]
    ways = shapely.linestrings([[(0, 0), (9, 0)], [(0, 0), (5, 4)]])
    assert keeps_clear(ways, wires[1], 5.0, None).tolist() == [True, True]
    assert keeps_clear(ways, wires[1], 5.1, None).tolist() == [True, False]
    assert keeps_clear(ways, shapely.LineString([(3, -1), (3, 3)]), 0.1, None).tolist() == [
        False,
        False,
    ]
