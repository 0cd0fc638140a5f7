"""Features are found on beds whose forms are known, and on no others.

All beds are formulas, so what must be found is derived. The thresholds are common practice, no
source.
"""

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pyogrio
import pytest
import shapely
from scipy.spatial import Delaunay

from toolbox.errors import ParameterError
from toolbox.features.bed_features import bed_features, find
from toolbox.formats.vector import write_features
from toolbox.layers import Tin, VertexKind

Depth = Callable[[np.ndarray, np.ndarray], np.ndarray]

SIZE = 240.0


def points() -> np.ndarray:
    """Return places about 4 m apart in a square, shaken, with its edge kept straight."""
    axis = np.arange(0, SIZE + 1, 4.0)
    grid = np.stack(np.meshgrid(axis, axis), axis=-1).reshape(-1, 2)
    inner = ((grid > 0) & (grid < SIZE)).all(axis=1)
    grid[inner] += np.random.default_rng(5).uniform(-1, 1, (inner.sum(), 2))
    return grid


def net(depth: Depth, places: np.ndarray | None = None) -> Tin:
    """Return a square water with the given bed, dry on its edge only where the bed is."""
    flat = points()
    triangles = Delaunay(flat).simplices
    corners = flat[triangles]
    u, v = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
    triangles = triangles[u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0] > 1e-6]
    edge = ((flat == 0) | (flat == SIZE)).any(axis=1)
    kind = np.where(edge, VertexKind.OPEN_EDGE, VertexKind.SOUNDING)
    return Tin(flat if places is None else places, depth(*flat.T), triangles, kind, None)


def cone(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """5 m of water with a hole of 3 m, 30 m from its middle to its rim."""
    return 5 + np.maximum(0, 3 * (1 - np.hypot(x - 100, y - 120) / 30))


def hump(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """8 m of water with a rounded hump of 4 m."""
    return 8 - 4 * np.exp(-((x - 120) ** 2 + (y - 110) ** 2) / (2 * 15**2))


def bar(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """8 m of water with a hump of 3 m, four times as long as wide."""
    return 8 - 3 * np.exp(-((x - 120) ** 2) / (2 * 28**2) - (y - 110) ** 2 / (2 * 7**2))


def terrace(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """2 m of water as far as 100 m north, 6 m from 116 m on."""
    return 2 + 4 * np.clip((y - 100) / 16, 0, 1)


def trough(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """Let a bed fall 1 in 60, with a gully of 2 m along y, 16 m wide at half its depth."""
    return 4 + y / 60 + 2 * 0.5 ** (((x - 120) / 8) ** 2)


def plane(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """Let a bed fall 1 in 8."""
    return 1 + x / 8


def bowl(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """Make a paraboloid, 10 m deep in its middle: a basin and no hole."""
    return 10 * (1 - ((x - 120) ** 2 + (y - 120) ** 2) / (2 * 120**2))


def kinds(bed: Tin) -> list[str]:
    return sorted(bed_features(bed).frame["kind"])


@pytest.mark.parametrize("depth", [plane, bowl, lambda x, y: np.full(len(x), 3.0)])
def test_even_beds_hold_nothing(depth: Depth) -> None:
    assert kinds(net(depth)) == []


def test_a_cone_is_a_hole_up_to_its_rim() -> None:
    frame = bed_features(net(cone)).frame
    assert frame["kind"].tolist() == ["hole"]
    hole = frame.iloc[0]
    # derived: rim at 5 m, bottom at 8 m, sides of 3 in 30
    assert hole["depth_greatest_m"] == pytest.approx(8, abs=0.3)
    assert hole["pour_depth_m"] == pytest.approx(5, abs=0.35)
    assert hole["area_m2"] == pytest.approx(np.pi * 30**2, rel=0.2)
    assert hole["slope_deg"] == pytest.approx(np.degrees(np.arctan(0.1)), abs=1)
    assert hole.geometry.contains(shapely.Point(100, 120))
    assert np.isnan(hole["closing_depth_m"])


def test_a_rise_is_a_hump_and_a_long_one_a_bar() -> None:
    frame = bed_features(net(hump)).frame
    assert frame["kind"].tolist() == ["hump"]
    assert frame["depth_least_m"][0] == pytest.approx(4, abs=0.2)
    assert 7 < frame["closing_depth_m"][0] <= 8
    assert frame["relief_m"][0] == pytest.approx(4, abs=0.8)
    assert "bar" in kinds(net(bar))
    assert "hump" not in kinds(net(bar))


def test_an_even_top_makes_a_plateau() -> None:
    def block(x: np.ndarray, y: np.ndarray) -> np.ndarray:
        return 7 - 3 * np.clip((36 - np.hypot(x - 120, y - 120)) / 8, 0, 1)

    # derived: the top is 28 m of 36 m in radius, six tenths of the ground
    assert "plateau" in kinds(net(block))


def test_a_terrace_is_a_drop_off_with_lip_above_foot() -> None:
    frame = bed_features(net(terrace)).frame.set_index("kind")
    assert set(frame.index) == {"drop-off lip", "drop-off foot"}
    lip, foot = frame.loc["drop-off lip"], frame.loc["drop-off foot"]
    assert lip["feature"] == foot["feature"]
    # derived: the edges lie at 100 m and 116 m; the net blurs them by its spacing of 4 m
    north = [np.mean(shapely.get_coordinates(row.geometry)[:, 1]) for row in (lip, foot)]
    assert north == pytest.approx([100, 116], abs=5)
    assert lip["relief_m"] == pytest.approx(4, abs=0.5)
    assert lip["length_m"] > 0.8 * SIZE


def test_a_shelf_lies_between_the_shore_and_a_lip() -> None:
    bed = net(lambda x, y: np.minimum(y / 6, 1.0) + 4 * np.clip((y - 45) / 16, 0, 1))
    frame = bed_features(bed).frame.set_index("kind")
    assert "shelf" in frame.index
    shelf = frame.loc["shelf"]
    assert shelf.geometry.contains(shapely.Point(120, 30))
    assert not shelf.geometry.contains(shapely.Point(120, 60))
    assert shelf["depth_greatest_m"] < 1.7


def test_a_trough_is_a_gully_and_its_sides_are_no_drop_offs() -> None:
    frame = bed_features(net(trough)).frame.set_index("kind")
    assert set(frame.index) == {"gully", "gully axis"}
    axis = shapely.get_coordinates(frame.loc["gully axis"].geometry)
    aside = np.abs(axis[:, 0] - 120)
    # its ends lean where the water ends
    assert np.median(aside) < 1
    assert aside[(axis[:, 1] > 30) & (axis[:, 1] < SIZE - 30)].max() < 2
    assert frame.loc["gully axis"]["length_m"] > 0.8 * SIZE
    assert frame.loc["gully"]["relief_m"] == pytest.approx(2, abs=0.5)
    assert frame.loc["gully"]["feature"] == frame.loc["gully axis"]["feature"]


@pytest.mark.parametrize(("flank", "expected"), [(58.0, set()), (22.0, {"drop-off"})])
def test_the_flank_of_a_wide_hole_is_a_drop_off_only_if_it_is_steep(
    flank: float, expected: set[str]
) -> None:
    def hole(x: np.ndarray, y: np.ndarray) -> np.ndarray:
        away = (np.hypot(x - 120, y - 120) - 20) / flank
        return 4 + 2 * (1 + np.cos(np.pi * np.clip(away, 0, 1)))

    # derived: 4 m in 58 m is 3.9 degrees in the mean and 6.2 at its steepest; in 22 m 10.3 and 16
    found = bed_features(net(hole), largest_share=0.5).frame["kind"]
    assert {kind.rpartition(" ")[0] for kind in found if kind.startswith("drop-off")} == expected
    assert "hole" in set(found)


@pytest.mark.parametrize(("tilt", "is_one"), [(0.0, True), (0.03, False)])
def test_a_gentle_bank_is_a_drop_off_only_between_level_beds(tilt: float, is_one: bool) -> None:
    def bank(x: np.ndarray, y: np.ndarray) -> np.ndarray:
        return 4 + tilt * y + (1.5 - 28 * tilt) * np.clip((y - 106) / 28, 0, 1)

    # derived: 1.5 m in 28 m is 3.1 degrees, more than four tenths of 6 and less than six; bed
    # beside it is level, or has 0.56 of that slope
    assert ("drop-off lip" in kinds(net(bank))) == is_one


def groove(x: np.ndarray, y: np.ndarray, half: float, length: float) -> np.ndarray:
    """1 m deep along y in the middle, so long where it is half as deep."""
    across = 0.5 ** (((x - 120) / half) ** 2)
    return across * 0.5 ** (((y - 120) / (length / 2)) ** 8)


def test_a_gully_in_the_floor_of_a_wide_hole_is_told_beside_the_hole() -> None:
    def floor(x: np.ndarray, y: np.ndarray) -> np.ndarray:
        away = np.clip((np.hypot(x - 120, y - 120) - 45) / 35, 0, 1)
        return 4 + 1.5 * (1 + np.cos(np.pi * away)) + groove(x, y, 7, 80)

    # derived: the hole is 160 m wide at its rim, the gully 14 m at half its depth
    frame = bed_features(net(floor), largest_share=0.7).frame.set_index("kind")
    assert {"hole", "gully"} <= set(frame.index)
    assert frame.loc["gully axis"]["length_m"] == pytest.approx(80, abs=25)


@pytest.mark.parametrize(("length", "found"), [(70.0, {"gully", "gully axis"}), (26.0, set())])
def test_a_gully_shows_on_two_and_a_half_of_its_widths(length: float, found: set[str]) -> None:
    bed = net(lambda x, y: 4 + y / 40 + groove(x, y, 9, length))
    # derived: 18 m wide, so it must show on 45 m
    told = set(bed_features(bed, least_length=20.0).frame["kind"])
    assert {kind for kind in told if kind.startswith("gully")} == found


def test_a_gully_must_rise_less_above_the_doubt_of_a_bed_than_a_hump() -> None:
    def gully(x: np.ndarray, y: np.ndarray) -> np.ndarray:
        return 4 + y / 60 + 0.6 * 0.5 ** (((x - 120) / 8) ** 2)

    def swell(x: np.ndarray, y: np.ndarray) -> np.ndarray:
        return 8 - 0.5 * np.exp(-((x - 120) ** 2 + (y - 110) ** 2) / (2 * 10**2))

    # derived: half a metre is more than an sd of 0.3 m and less than two
    for depth, told in ((gully, ["gully", "gully axis"]), (swell, [])):
        bed = net(depth)
        assert kinds(replace(bed, sd=np.full(len(bed.depth), 0.3))) == told
    assert kinds(net(swell)) == ["hump"]


def ring_water() -> Tin:
    """Return a water of 240 m around an island of 50 m radius, deepest half way to the shore."""
    flat = points()
    away = np.hypot(*(flat - 120).T)
    triangles = Delaunay(flat).simplices
    corners = flat[triangles]
    u, v = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
    wet = (away[triangles] > 50).all(axis=1) & (u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0] > 1e-6)
    used, triangles = np.unique(triangles[wet], return_inverse=True)
    flat, away = flat[used], away[used]
    edge = ((flat == 0) | (flat == SIZE)).any(axis=1)
    kind = np.where(away < 57, VertexKind.ISLAND, VertexKind.SOUNDING)
    kind[edge] = VertexKind.SHORELINE
    depth = np.minimum(np.maximum(away - 57, 0), np.minimum(flat, SIZE - flat).min(axis=1)) / 6
    return Tin(flat, depth, triangles.reshape(-1, 3), kind, None)


def test_the_water_around_an_island_is_no_gully() -> None:
    assert "gully" not in kinds(ring_water())


def test_the_outline_of_a_gully_ends_at_the_shore() -> None:
    bed = net(lambda x, y: trough(x, y) - 3)
    frame = bed_features(bed).frame.set_index("kind")
    outline = frame.loc["gully"].geometry
    assert outline.difference(shapely.box(0, 0, SIZE, SIZE)).area < 1e-6
    assert frame.loc["gully"]["area_m2"] == pytest.approx(outline.area)
    assert frame.loc["gully"]["seen_share"] > 0.9


SQUARE = np.array([[0.0, 0], [60, 0], [60, 60], [0, 60]])
HALVES = np.array([[0, 1, 2], [0, 2, 3]])


@pytest.mark.parametrize("size", [1e-3, 1.0, 50.0])
@pytest.mark.parametrize("depth", [[0, 0, 0, 0], [0, 0, 5, 5], [-1, -1, -1, -1], [3, 3, 3, 3]])
@pytest.mark.parametrize("draws", [None, 3])
def test_a_bed_of_two_triangles_holds_nothing(
    size: float, depth: list[float], draws: int | None
) -> None:
    told = None if draws is None else np.tile(np.array(depth, float)[:, None], draws)
    bed = Tin(size * SQUARE, np.array(depth, float), HALVES, np.full(4, 2), None, draws=told)
    assert len(bed_features(bed)) == 0


@pytest.mark.parametrize("depth", [cone, hump, terrace, trough])
@pytest.mark.parametrize("turn", ["shift", "mirror", "turn"])
def test_moving_mirroring_and_turning_a_bed_moves_its_features(depth: Depth, turn: str) -> None:
    flat = points()
    angle = np.radians(31)
    turned = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    places = {
        "shift": flat + np.array([1_000.37, 2_000.61]),
        "mirror": flat * (1, -1),
        "turn": flat @ turned.T,
    }[turn]
    bed = net(depth)
    triangles = bed.triangles[:, ::-1] if turn == "mirror" else bed.triangles
    moved = Tin(places, bed.depth, triangles, bed.kind, None)
    before, after = (bed_features(one).frame.sort_values("kind") for one in (bed, moved))
    assert before["kind"].tolist() == after["kind"].tolist()
    np.testing.assert_allclose(before["relief_m"], after["relief_m"], rtol=0.08)
    lengths = [frame.geometry.length.to_numpy() for frame in (before, after)]
    np.testing.assert_allclose(*lengths, rtol=0.15)


def with_draws(bed: Tin, draws: np.ndarray, **columns: np.ndarray) -> Tin:
    return Tin(bed.vertices, bed.depth, bed.triangles, bed.kind, None, draws=draws, **columns)


def test_confidence_is_the_share_of_draws_that_hold_the_feature() -> None:
    bed = net(hump)
    level = np.full(len(bed.depth), 8.0)
    draws = np.column_stack([bed.depth] * 7 + [level] * 3)
    frame = bed_features(with_draws(bed, draws)).frame
    assert frame["confidence"].tolist() == [0.7]


@pytest.mark.parametrize(("left", "confidence"), [(0.7, 1.0), (0.35, 0.5)])
def test_a_draw_with_a_faint_hole_counts_as_half_as_far_again_from_the_bed(
    left: float, confidence: float
) -> None:
    bed = net(cone)
    faint = 5 + left * (bed.depth - 5)
    ((hole,), _) = find(with_draws(bed, np.column_stack([bed.depth, faint])))
    # derived: of the hole 1 - 1.5 (1 - left) remains, 0.55 or 0.025 of 3 m
    assert hole.confidence == confidence


def test_a_drop_off_goes_on_where_another_crosses_it() -> None:
    def steps(x: np.ndarray, y: np.ndarray) -> np.ndarray:
        return 4 + 2 * np.clip((y - 116) / 8, 0, 1) + 2 * np.clip((x - 116) / 8, 0, 1)

    frame = bed_features(net(steps)).frame
    lips = shapely.union_all(frame.geometry[frame["kind"] == "drop-off lip"].to_numpy())
    # derived: each goes from one side of the water to the other
    for line in ([(0, 116), (SIZE, 116)], [(116, 0), (116, SIZE)]):
        whole = shapely.LineString(line)
        assert whole.intersection(lips.buffer(6)).length > 0.8 * SIZE


def test_a_bed_without_draws_has_no_confidence() -> None:
    frame = bed_features(net(hump)).frame
    assert frame["confidence"].isna().all()
    assert frame["support"].isna().all()


def test_what_few_draws_hold_and_what_no_data_tell_is_left_out_and_counted() -> None:
    bed = net(hump)
    level = np.full(len(bed.depth), 8.0)
    unsure = with_draws(bed, np.column_stack([bed.depth] + [level] * 9))
    told = bed_features(unsure)
    assert len(told) == 0
    assert "1 feature left out: too unsure or on unsurveyed bed" in told.notes
    assert len(bed_features(unsure, least_confidence=0.05)) == 1
    blank = with_draws(bed, np.column_stack([bed.depth] * 2), support=np.full(len(bed.depth), 0.2))
    assert len(bed_features(blank)) == 0
    assert len(bed_features(blank, least_support=0.1)) == 1


def wide(depth: Depth) -> Tin:
    """Return a net of a water four times as wide, with vertices 16 m apart."""
    bed = net(lambda x, y: depth(4 * x, 4 * y))
    return replace(bed, vertices=4 * bed.vertices)


def gentle_rise(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """Return a slope of 1.2 % with a rise of 3 m whose standard deviation is 60 m."""
    return 6 + 0.012 * x - 3 * np.exp(-((x - 480) ** 2 + (y - 440) ** 2) / (2 * 60**2))


@pytest.mark.parametrize(
    ("sd", "told"), [(0.05, ["hump"]), (0.1, ["hump"]), (0.22, []), (0.5, []), (None, [])]
)
def test_a_gentle_hump_is_told_where_it_stands_out_from_the_error(
    sd: float | None, told: list[str]
) -> None:
    # derived: on the axis of the slope top and saddle lie where 0.012 = 3 u / 60 exp(-u2 / 2),
    # u = 0.247 and 2.08 (times 60 m to the west): at 8.67 and 9.91 m
    bed = wide(gentle_rise)
    if sd is not None:
        known = {"sd": np.full(len(bed.depth), sd), "support": np.ones(len(bed.depth))}
        bed = with_draws(bed, np.column_stack([bed.depth] * 2), **known)
    frame = bed_features(bed).frame
    assert frame["kind"].tolist() == told
    if told:
        assert frame["depth_least_m"][0] == pytest.approx(8.67, abs=0.05)
        assert frame["closing_depth_m"][0] == pytest.approx(9.91, abs=0.05)
        assert frame["relief_m"][0] < 0.02 * np.sqrt(frame["area_m2"][0] / np.pi)
        assert frame.geometry[0].contains(shapely.Point(465, 440))
        assert not frame.geometry[0].contains(shapely.Point(345, 440))


@pytest.mark.parametrize("sign", [1, -1])
def test_waves_no_higher_than_the_error_are_no_forms(sign: int) -> None:
    # waves of 0.2 m between lines 80 m apart, as a fitted bed has them
    bed = wide(lambda x, y: 6 + sign * 0.1 * np.cos(x / 80 * 2 * np.pi) * np.cos(y / 120 * np.pi))
    known = {"sd": np.full(len(bed.depth), 0.05), "support": np.ones(len(bed.depth))}
    bed = with_draws(bed, np.column_stack([bed.depth] * 2), **known)
    assert kinds(bed) == []


def test_a_steep_bank_on_the_side_of_a_gentle_hump_stays_a_drop_off() -> None:
    def stepped(x: np.ndarray, y: np.ndarray) -> np.ndarray:
        step = 2.5 / (1 + np.exp(-(x - 640) / 4))
        return gentle_rise(x, y) + step

    bed = wide(stepped)
    known = {"sd": np.full(len(bed.depth), 0.05), "support": np.ones(len(bed.depth))}
    bed = with_draws(bed, np.column_stack([bed.depth] * 2), **known)
    assert {"hump", "drop-off lip"} <= set(kinds(bed))


def test_columns_keep_their_types_without_rows(tmp_path: Path) -> None:
    none, some = bed_features(net(plane)), bed_features(net(hump))
    for name in some.frame:
        assert none.frame[name].dtype == some.frame[name].dtype, name
    path = tmp_path / "features.gpkg"
    write_features(none.frame.set_crs(32633), path, layer="features")
    told = pyogrio.read_info(path)
    types = dict(zip(told["fields"], told["ogr_types"], strict=True))
    assert (types["kind"], types["feature"], types["relief_m"]) == (
        "OFTString",
        "OFTInteger64",
        "OFTReal",
    )


def test_thresholds_are_kept() -> None:
    assert len(bed_features(net(hump), least_relief=4.5)) == 0
    assert len(bed_features(net(terrace), least_drop=4.5)) == 0
    assert len(bed_features(net(trough), least_length=300.0)) == 0
    with pytest.raises(ParameterError, match="least_relief must be > 0 m, got -1"):
        bed_features(net(hump), least_relief=-1.0)


def test_a_form_found_on_one_bed_is_asked_of_another() -> None:
    ((found,), _) = find(net(cone))
    places = found.form.places
    deep, flat = cone(*places.T), np.full(len(places), 5.0)
    assert found.form.held(np.stack([deep, flat])).tolist() == [True, False]
