"""Sections: closed forms along lines, exact at edges of triangles, nothing bridged over land."""

import geopandas
import numpy as np
import pyproj
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from toolbox.errors import LayerError, ParameterError
from toolbox.features.sections import bed_section
from toolbox.layers import Tin, Vectors, VertexKind

UTM = pyproj.CRS("EPSG:32633")
PLANE = np.array([0.03, -0.04])  # deepens by 3 m in 100 eastwards, shoals by 4 m northwards


def lines(*shapes: object, crs: object = None, **columns: list[object]) -> Vectors:
    return Vectors(geopandas.GeoDataFrame(columns, geometry=list(shapes), crs=crs), "lines")


def net(cols: int, rows: int, cell: float, gone: tuple[int, int, int, int] | None = None) -> Tin:
    """Make a sloping plane of square cells cut in two, without those of an island."""
    x, y = np.meshgrid(np.arange(cols + 1) * cell, np.arange(rows + 1) * cell)
    vertices = np.column_stack([x.ravel(), y.ravel()])
    triangles = []
    for row in range(rows):
        for col in range(cols):
            if gone and gone[0] <= col < gone[1] and gone[2] <= row < gone[3]:
                continue
            a = row * (cols + 1) + col
            b, c, d = a + 1, a + cols + 2, a + cols + 1
            # the diagonal changes sides, so that edges run in all four directions
            halves = [(a, b, c), (a, c, d)] if (row + col) % 2 else [(a, b, d), (b, c, d)]
            triangles += halves
    depth = 10 + vertices @ PLANE
    used = np.unique(triangles)
    number = np.full(len(vertices), -1)
    number[used] = np.arange(len(used))
    kind = np.full(len(used), VertexKind.SOUNDING)
    return Tin(vertices[used], depth[used], number[np.array(triangles)], kind, None)


def cone(spokes: int = 24) -> Tin:
    """Make a cone of 100 m radius and 8 m depth, its tip at (200, 100)."""
    turn = np.arange(spokes) * 2 * np.pi / spokes
    rim = np.column_stack([np.cos(turn), np.sin(turn)]) * 100
    vertices = np.array([200.0, 100.0]) + np.vstack([[0.0, 0.0], rim])
    after = np.roll(np.arange(spokes), -1)
    triangles = np.column_stack([np.zeros(spokes, int), np.arange(spokes) + 1, after + 1])
    kind = np.r_[VertexKind.SOUNDING, np.full(spokes, VertexKind.SHORELINE)]
    return Tin(vertices, np.r_[8.0, np.zeros(spokes)], triangles, kind, None)


@pytest.mark.parametrize("step", [None, 7.0])
@pytest.mark.parametrize(
    "line",
    [
        [(3.0, 4.0), (97.0, 51.0)],
        [(5.0, 60.0), (20.0, 11.0), (95.0, 11.0), (95.0, 70.0)],
        [(0.0, 10.0), (100.0, 10.0)],  # along edges
        [(0.0, 0.0), (70.0, 70.0)],  # through vertices
        [(0.0, 70.0), (100.0, 0.0)],
    ],
)
def test_a_plane_is_its_formula(line: list[tuple[float, float]], step: float | None) -> None:
    # derived
    frame = bed_section(net(10, 7, 10.0), lines(shapely.LineString(line)), step=step).frame
    place = frame[["easting_m", "northing_m"]].to_numpy()
    np.testing.assert_allclose(frame["depth_m"], 10 + place @ PLANE, atol=1e-9)
    np.testing.assert_allclose(frame["slope_deg"], np.degrees(np.arctan(0.05)), atol=1e-9)
    on = shapely.LineString(line)
    away = [on.interpolate(distance) for distance in frame["distance_m"]]
    np.testing.assert_allclose(shapely.get_coordinates(away), place, atol=1e-9)
    assert frame["distance_m"].iloc[[0, -1]].tolist() == pytest.approx([0, on.length], abs=1e-9)
    run = np.diff(place, axis=0)[0]
    along = np.degrees(np.arctan(run @ PLANE / np.hypot(*run)))
    assert frame["slope_along_deg"].iloc[0] == pytest.approx(along, abs=1e-9)


def test_a_cone_along_its_spoke_and_across_its_edges() -> None:
    # derived: along a spoke the depth is 8 m (1 - r / 100 m)
    spoke = shapely.LineString([(90, 100), (310, 100)])
    frame = bed_section(cone(), lines(spoke), step=2.5).frame
    inside = np.abs(frame["easting_m"] - 200) <= 100
    depth = 8 * (1 - np.abs(frame["easting_m"] - 200) / 100)
    np.testing.assert_allclose(frame["depth_m"][inside], depth[inside], atol=1e-9)
    assert frame["depth_m"][~inside].isna().all()
    assert frame["depth_m"].max() == pytest.approx(8.0, abs=1e-9)
    # beside the tip a line at 10 m meets the spokes at 10 m / tan(angle), where the net is exact
    chord = shapely.LineString([(100, 110), (300, 110)])
    frame = bed_section(cone(), lines(chord)).frame.dropna(subset="depth_m").iloc[1:-1]
    turn = np.radians(np.arange(15, 180, 15))
    expected = np.sort(200 + 10 / np.tan(turn))
    np.testing.assert_allclose(frame["easting_m"], expected, atol=1e-9)
    away = np.hypot(expected - 200, 10)
    np.testing.assert_allclose(frame["depth_m"], 8 * (1 - away / 100), atol=1e-9)


def test_the_area_under_an_exact_section_is_the_integral() -> None:
    # derived: trapezoids over the rows of an exact section are the integral of a bed linear
    # between them; a section of small steps tends to the same number
    line = lines(shapely.LineString([(80, 73), (320, 131)]))
    areas = []
    for step in (None, 0.01):
        frame = bed_section(cone(), line, step=step).frame.dropna(subset="depth_m")
        areas.append(np.trapezoid(frame["depth_m"], frame["distance_m"]))
    assert areas[0] == pytest.approx(areas[1], rel=1e-7)
    assert len(bed_section(cone(), line).frame) < 20


def test_the_edge_of_the_water_is_not_above_it() -> None:
    line = lines(shapely.LineString([(93.1, 71.7), (303.3, 129.9)]))
    depth = bed_section(cone(), line).frame["depth_m"].dropna()
    assert depth.iloc[[0, -1]].tolist() == pytest.approx([0, 0], abs=1e-12)
    assert (depth >= 0).all()


@pytest.mark.parametrize("step", [None, 9.0, 300.0])
def test_an_island_is_a_gap_whatever_the_step(step: float | None) -> None:
    bed = net(10, 7, 10.0, gone=(4, 6, 2, 5))
    line = lines(shapely.LineString([(-20, 33), (130, 33)]))
    frame = bed_section(bed, line, step=step).frame
    on_island = (frame["easting_m"] > 40) & (frame["easting_m"] < 60)
    outside = (frame["easting_m"] < 0) | (frame["easting_m"] > 100)
    assert on_island.any()
    assert frame["depth_m"][on_island | outside].isna().all()
    assert frame["depth_m"][~(on_island | outside)].notna().all()
    # the water's edges are among the rows
    edges = frame["easting_m"][frame["depth_m"].notna()]
    for edge in (0, 40, 60, 100):
        assert np.abs(edges - edge).min() < 1e-9
    assert frame["depth_m"].isna().iloc[[0, -1]].all()
    assert frame.drop(columns="line")[frame["depth_m"].isna()].iloc[:, 3:].isna().all(axis=None)


def test_an_islet_thinner_than_the_step_is_a_gap() -> None:
    bed = net(40, 3, 1.0, gone=(20, 21, 0, 3))
    frame = bed_section(bed, lines(shapely.LineString([(0, 1.2), (40, 1.2)])), step=10.0).frame
    dry = frame[frame["depth_m"].isna()]
    assert dry["easting_m"].tolist() == [20.5]  # the middle of the gap, between its two edges
    assert len(dry) == 1


OFF, OVER = shapely.LineString([(0, 0), (30, 0)]), shapely.LineString([(150, 100), (250, 100)])


def test_a_line_outside_the_water_has_two_empty_rows_and_is_named() -> None:
    table = bed_section(cone(), lines(OVER, OFF))
    frame = table.frame[table.frame["line"] == 2]
    assert frame["distance_m"].tolist() == [0, 30]
    assert frame["depth_m"].isna().all()
    assert table.notes[0] == "1 line of 2 outside the water: 2"
    assert not any(
        "lines of" in note or "line of" in note for note in bed_section(cone(), lines(OVER)).notes
    )
    many = bed_section(cone(), lines(OVER, *[OFF] * 8))
    assert many.notes[0] == "8 lines of 9 outside the water: 2, 3, 4, 5, 6, 7 ..."


def test_lines_that_never_meet_the_water_are_refused() -> None:
    # derived: from (15, 0) to the rim of the cone, in the direction (-185, -100) from its tip
    away = np.hypot(185, 100) - 100
    message = rf"lines must cross the water of the bed, which lies {away:.0f} m from its middle"
    with pytest.raises(LayerError, match=message):
        bed_section(cone(96), lines(OFF, OFF))


def test_a_ring_of_several_lines_and_parts() -> None:
    two = shapely.MultiLineString([[(110, 100), (150, 100)], [(250, 100), (290, 100)]])
    given_ = lines(shapely.LineString([(200, 100), (260, 100)]), two, name=["deep", "in two"])
    frame = bed_section(cone(), given_).frame
    assert frame.groupby("line")["name"].first().tolist() == ["deep", "in two"]
    own = frame[frame["line"] == 2]
    np.testing.assert_allclose(own["distance_m"], [0, 40, 40, 80], atol=1e-9)
    np.testing.assert_allclose(own["depth_m"], [0.8, 4, 4, 0.8], atol=1e-9)


def test_bands_of_a_bed_that_knows_its_sd_and_of_one_with_draws() -> None:
    plain = cone()
    sd = np.full(25, 0.5)
    line = lines(shapely.LineString([(100, 100), (200, 100)]))
    told = Tin(plain.vertices, plain.depth, plain.triangles, plain.kind, None, sd, None, (), sd)
    frame = bed_section(told, line).frame
    # derived: 1.6449 sd of a normal distribution on either side hold 90 %; no water above 0
    assert frame["depth_low_m"].tolist() == pytest.approx([0, 8 - 1.644854 * 0.5], abs=1e-6)
    assert frame["depth_high_m"].tolist() == pytest.approx([0.822427, 8.822427], abs=1e-6)
    np.testing.assert_allclose(frame[["depth_sd_m", "support"]], 0.5)
    draws = np.outer(plain.depth, np.linspace(0.9, 1.1, 201))
    drawn = Tin(plain.vertices, plain.depth, plain.triangles, plain.kind, None, None, draws)
    frame = bed_section(drawn, line).frame
    # derived: the 5 % and 95 % quantiles of factors evenly from 0.9 to 1.1
    assert frame[["depth_low_m", "depth_high_m"]].iloc[-1].tolist() == pytest.approx([7.28, 8.72])
    table = bed_section(plain, line)
    assert table.frame["depth_low_m"].isna().all()
    assert any("does not know its error" in note for note in table.notes)


def test_plants_and_the_top_of_them() -> None:
    plants = lines(shapely.box(150, 50, 175, 150), height_m=[3.5])
    line = lines(shapely.LineString([(100, 100), (200, 100)]))
    frame = bed_section(cone(), line, plants).frame
    # derived: 4 m deep at 150, 6 m at 175, and plants 3.5 m high
    assert frame["easting_m"].tolist() == pytest.approx([100, 150, 175, 200])
    assert frame["plants"].tolist() == [0, 1, 1, 0]
    np.testing.assert_allclose(frame["canopy_m"], [np.nan, 0.5, 2.5, np.nan], atol=1e-9)
    bare = lines(shapely.box(150, 50, 175, 150))
    assert "canopy_m" not in bed_section(cone(), line, bare).frame
    tall = lines(shapely.box(150, 50, 175, 150), height_m=[5.0])
    top = bed_section(cone(), line, tall).frame["canopy_m"]
    assert top.tolist() == pytest.approx([np.nan, 0, 1, np.nan], nan_ok=True)


@pytest.mark.parametrize("code", [32633, 3857])
def test_distances_and_slopes_are_those_on_the_ground(code: int) -> None:
    # pyproj.Geod (GeographicLib; Karney 2013, J. Geod. 87:43, doi:10.1007/s00190-012-0578-z)
    crs = pyproj.CRS(code)
    east, north = pyproj.Transformer.from_crs(4326, crs, always_xy=True).transform(17.9, 60.0)
    bed = net(20, 20, 50.0)
    moved = Tin(bed.vertices + np.array([east, north]), bed.depth, bed.triangles, bed.kind, crs)
    line = shapely.LineString([(east + 20, north + 30), (east + 900, north + 700)])
    frame = bed_section(moved, lines(line, crs=crs), step=25.0).frame
    ends = pyproj.Transformer.from_crs(crs, 4326, always_xy=True).transform(*np.array(line.xy))
    geod = pyproj.Geod(ellps="WGS84")
    ground = geod.inv(ends[0][0], ends[1][0], ends[0][1], ends[1][1])[2]
    assert frame["distance_m"].iloc[-1] == pytest.approx(ground, rel=1e-6)
    assert np.diff(frame["distance_m"])[:-1] == pytest.approx(25, abs=1e-3)
    fall = frame["depth_m"].iloc[-1] - frame["depth_m"].iloc[0]
    along = np.degrees(np.arctan(fall / ground))
    np.testing.assert_allclose(frame["slope_along_deg"], along, rtol=5e-3)
    assert frame["slope_deg"].iloc[0] > abs(along)


@settings(max_examples=40, deadline=None)
@given(
    st.lists(
        st.tuples(st.integers(-15, 115), st.integers(-15, 85)), min_size=2, max_size=5, unique=True
    )
)
def test_any_line_over_a_plane_with_an_island(path: list[tuple[int, int]]) -> None:
    # whole numbers run along edges and through vertices as often as can be
    bed = net(10, 7, 10.0, gone=(4, 6, 2, 5))
    line = shapely.LineString(path)
    inside = shapely.LineString([(1, 1), (2, 2)])  # so that lines may lie outside
    frame = bed_section(bed, lines(line, inside)).frame
    frame = frame[frame["line"] == 1]
    place = frame[["easting_m", "northing_m"]].to_numpy()
    water = shapely.box(0, 0, 100, 70) - shapely.box(40, 20, 60, 50)
    wet = frame["depth_m"].notna().to_numpy()
    points = shapely.points(place)
    np.testing.assert_allclose(frame["depth_m"][wet], (10 + place @ PLANE)[wet], atol=1e-9)
    assert shapely.distance(points[wet], water).max(initial=0) < 1e-9
    # no row within the water is empty, and between two with depths there is water only
    assert (
        shapely.distance(points[~wet], water.boundary)[water.contains(points[~wet])] < 1e-6
    ).all()
    between = wet[:-1] & wet[1:]
    middle = shapely.points((place[:-1] + place[1:])[between] / 2)
    assert shapely.distance(middle, water).max(initial=0) < 1e-6
    assert (np.diff(frame["distance_m"]) > 1e-7).all()
    assert frame["distance_m"].iloc[-1] == pytest.approx(line.length, abs=1e-9)


def test_a_line_through_vertices_meets_each_once() -> None:
    # in the tenths of 7.3 m and far from the origin, where crossings at a vertex differ by rounding
    bed = net(10, 7, 0.73)
    far = Tin(bed.vertices + 5e5, bed.depth, bed.triangles, bed.kind, None)
    line = shapely.LineString(np.array([[0, 0], [0.73 * 7, 0.73 * 7]]) + 5e5)
    frame = bed_section(far, lines(line)).frame
    steps = np.diff(frame["distance_m"])
    assert len(steps) <= 14
    assert steps.min() > 0.3
    assert frame["depth_m"].notna().all()


def test_turned_round_it_reads_the_same() -> None:
    line = shapely.LineString([(80, 73), (320, 131)])
    one, other = (bed_section(cone(), lines(way)).frame for way in (line, line.reverse()))
    np.testing.assert_allclose(one["depth_m"], other["depth_m"][::-1], atol=1e-9)
    np.testing.assert_allclose(
        one["distance_m"], line.length - other["distance_m"][::-1].to_numpy(), atol=1e-9
    )


@pytest.mark.parametrize(
    ("shape", "told"),
    [
        (shapely.Point(1, 1), "lines must hold lines, got Point in row 2"),
        (shapely.LineString(), "lines must hold lines, got nothing in row 2"),
        (None, "lines must hold lines, got nothing in row 2"),
        (shapely.LineString([(1, 1), (1, 1)]), "lines: line 2 has no length"),
    ],
)
def test_what_is_no_line(shape: object, told: str) -> None:
    good = shapely.LineString([(0, 0), (30, 0)])
    with pytest.raises(LayerError, match=rf"^{told}$"):
        bed_section(cone(), lines(good, shape))


def test_layers_that_do_not_fit() -> None:
    line = shapely.LineString([(0, 0), (30, 0)])
    with pytest.raises(LayerError, match="lines must be in the CRS of the bed"):
        bed_section(cone(), lines(line, crs=UTM))
    with pytest.raises(LayerError, match="must hold polygons of plants, got"):
        bed_section(cone(), lines(line), lines(line))
    with pytest.raises(ParameterError, match="step must be > 0 m, got 0"):
        bed_section(cone(), lines(line), step=0)
    with pytest.raises(LayerError, match="lines must hold at least one line, got none"):
        bed_section(cone(), lines())


def test_heights_of_plants_must_be_numbers() -> None:
    plants = lines(shapely.box(10, 10, 40, 40), height_m=["tall"])
    path = lines(shapely.LineString([(5, 20), (45, 20)]))
    with pytest.raises(LayerError, match="column 'height_m' must hold numbers"):
        bed_section(net(5, 5, 10), path, plants)
