"""Marks: where they lead when followed from the peg, and what no cast may do."""

import math
from typing import Any

import geopandas
import numpy as np
import pandas as pd
import pyproj
import pytest
import shapely
from click.testing import CliRunner
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.distance import cdist

from toolbox.commands import tool_command
from toolbox.errors import LayerError, ParameterError
from toolbox.formats.bed_file import write_bed
from toolbox.layers import Places, Shoreline, Tin, Vectors, VertexKind
from toolbox.marks.marks import marks

ISLAND = (140, 80, 160, 120)
KINDS = {
    "weight_drop_off_foot": "drop-off foot",
    "weight_drop_off_lip": "drop-off lip",
    "weight_gully": "gully",
    "weight_hump_top": "hump top",
    "weight_hump_side": "hump side",
    "weight_hole": "hole",
    "weight_plant_edge": "plant edge",
    "weight_plateau_edge": "plateau edge",
    "weight_bottom_change": "bottom change",
}


class Pond:
    """A water of 300 x 200 m with an island, features drawn upon it, and two pegs."""

    def __init__(
        self, crs: pyproj.CRS | None = None, at: tuple[float, float] = (0, 0), size: float = 1.0
    ) -> None:
        self.crs, self.at, self.size = crs, np.array(at), size
        water = shapely.box(0, 0, 300, 200) - shapely.box(*ISLAND)
        self.shoreline = Shoreline(shapely.MultiPolygon([self.moved(water)]), crs)
        self.bed = self._bed()

    def moved(self, shape: Any) -> Any:
        return shapely.transform(shape, lambda place: place * self.size + self.at)

    def _bed(self) -> Tin:
        x, y = np.meshgrid(np.arange(31) * 10.0, np.arange(21) * 10.0)
        place = np.column_stack([x.ravel(), y.ravel()])
        away = np.minimum.reduce([x, 300 - x, y, 200 - y]).ravel()
        hump = 2.5 * np.exp(-((place - [60, 120]) ** 2).sum(axis=1) / 300)
        hole = 3.0 * np.exp(-((place - [240, 60]) ** 2).sum(axis=1) / 400)
        depth = np.where(away > 0, np.minimum(0.1 * away, 5) - hump + hole, 0)
        cells = [
            row * 31 + col
            for row in range(20)
            for col in range(30)
            if not (14 <= col < 16 and 8 <= row < 12)
        ]
        a = np.array(cells)
        triangles = np.vstack([np.c_[a, a + 1, a + 32], np.c_[a, a + 32, a + 31]])
        keep = np.unique(triangles)
        number = np.zeros(len(place), int)
        number[keep] = np.arange(len(keep))
        kind = np.where(away > 0, VertexKind.SOUNDING, VertexKind.SHORELINE)[keep]
        sd = np.where(away > 0, 0.25, 0)[keep]
        support = np.where(place[:, 0] < 200, 0.9, 0.3)[keep]
        vertices = place[keep] * self.size + self.at
        return Tin(vertices, depth[keep], number[triangles], kind, self.crs, sd, None, (), support)

    def vectors(self, name: str, shapes: list[Any], **columns: Any) -> Vectors:
        moved = [self.moved(shape) for shape in shapes]
        return Vectors(geopandas.GeoDataFrame(columns, geometry=moved, crs=self.crs), name)

    def features(self) -> Vectors:
        rows: list[tuple[str, Any, float, float]] = [
            ("drop-off lip", shapely.LineString([(20, 15), (280, 15)]), 3.0, 0.9),
            ("drop-off foot", shapely.LineString([(20, 40), (280, 40)]), 3.0, 0.9),
            ("gully axis", shapely.LineString([(100, 30), (130, 150)]), 1.0, 0.7),
            ("gully", shapely.LineString([(100, 30), (130, 150)]).buffer(6), 1.0, 0.7),
            ("hump", shapely.Point(60, 120).buffer(25), 2.5, 0.95),
            ("hole", shapely.Point(240, 60).buffer(30), 3.0, 1.0),
            ("plateau", shapely.box(190, 140, 230, 170), 0.8, 0.5),
            ("plants", shapely.Point(50, 30).buffer(15), math.nan, 0.8),
            ("change of bottom", shapely.LineString([(250, 20), (250, 120)]), math.nan, 0.6),
            ("shelf", shapely.box(20, 0, 280, 15), 1.0, 0.9),
        ]
        kind, shapes, relief, sure = zip(*rows, strict=True)
        number = np.arange(len(rows)) + 1
        return self.vectors(
            "features",
            list(shapes),
            kind=list(kind),
            feature=number,
            relief_m=list(relief),
            confidence=list(sure),
        )

    def pegs(self, *places: tuple[float, float], **columns: list[object]) -> Places:
        return Places(
            np.array(places, float) * self.size + self.at, pd.DataFrame(columns), self.crs
        )

    def marks(self, pegs: Places | None = None, **options: Any) -> Vectors:
        pegs = pegs or self.pegs((60, -1), (300, 60), peg=["A", "B"])
        return marks(self.bed, self.shoreline, pegs, self.features(), **options)


POND = Pond()


def vincenty(
    longitude: float, latitude: float, bearing: float, distance: float
) -> tuple[float, float]:
    """Go along the geodesic on WGS 84 by Vincenty's direct formula.

    Vincenty 1975, Survey Review 23(176):88, eq. 1 to 11 (from memory).
    """
    a, f = 6378137.0, 1 / 298.257223563
    b = a * (1 - f)
    alpha, phi = math.radians(bearing), math.radians(latitude)
    tan_u = (1 - f) * math.tan(phi)
    cos_u = 1 / math.hypot(1, tan_u)
    sin_u = tan_u * cos_u
    sigma_1 = math.atan2(tan_u, math.cos(alpha))
    sin_a = cos_u * math.sin(alpha)
    cos2_a = 1 - sin_a**2
    u2 = cos2_a * (a * a - b * b) / (b * b)
    big_a = 1 + u2 / 16384 * (4096 + u2 * (-768 + u2 * (320 - 175 * u2)))
    big_b = u2 / 1024 * (256 + u2 * (-128 + u2 * (74 - 47 * u2)))
    sigma = distance / (b * big_a)
    for _ in range(20):
        c2 = math.cos(2 * sigma_1 + sigma)
        s, c = math.sin(sigma), math.cos(sigma)
        inner = c * (-1 + 2 * c2**2) - big_b / 6 * c2 * (-3 + 4 * s * s) * (-3 + 4 * c2**2)
        sigma = distance / (b * big_a) + big_b * s * (c2 + big_b / 4 * inner)
    s, c, c2 = math.sin(sigma), math.cos(sigma), math.cos(2 * sigma_1 + sigma)
    down = sin_u * s - cos_u * c * math.cos(alpha)
    phi_2 = math.atan2(sin_u * c + cos_u * s * math.cos(alpha), (1 - f) * math.hypot(sin_a, down))
    lam = math.atan2(s * math.sin(alpha), cos_u * c - sin_u * s * math.cos(alpha))
    big_c = f / 16 * cos2_a * (4 + f * (4 - 3 * cos2_a))
    inner = sigma + big_c * s * (c2 + big_c * c * (-1 + 2 * c2**2))
    return longitude + math.degrees(lam - (1 - big_c) * f * sin_a * inner), math.degrees(phi_2)


@pytest.mark.parametrize(
    ("code", "longitude", "latitude", "size"),
    [
        (32633, 15.0, 47.0, 1.0),  # middle of a zone
        (32633, 12.01, 60.0, 1.0),  # its edges
        (32633, 17.99, 0.1, 1.0),
        (32633, 21.5, 69.0, 1.0),  # and beyond
        (32733, 17.9, -34.0, 1.0),
        (32601, -179.99, 52.0, 1.0),  # at the antimeridian
        (3857, 24.0, 62.0, 2.13),  # 2.13 m on the map for one on the ground
        (3857, -70.0, -50.0, 1.55),
        (3035, -8.0, 53.0, 1.0),  # equal areas, not angles
        (32661, 40.0, 86.0, 1.0),  # polar
    ],
)
def test_bearing_and_distance_lead_from_the_peg_to_the_mark(
    code: int, longitude: float, latitude: float, size: float
) -> None:
    crs = pyproj.CRS(code)
    at = pyproj.Transformer.from_crs(4326, crs, always_xy=True).transform(longitude, latitude)
    pond = Pond(crs, at, size)
    frame = pond.marks(declination=4.0).frame
    assert len(frame) >= 6
    to_degrees = pyproj.Transformer.from_crs(crs, 4326, always_xy=True)
    start = to_degrees.transform(frame["peg_easting_m"], frame["peg_northing_m"])
    end = to_degrees.transform(frame.geometry.x, frame.geometry.y)
    # pyproj.Geod (GeographicLib; Karney 2013, J. Geod. 87:43, doi:10.1007/s00190-012-0578-z)
    geod = pyproj.Geod(ellps="WGS84")
    reached = geod.fwd(*start, frame["bearing_true_deg"], frame["distance_m"])[:2]
    assert geod.inv(*reached, *end)[2] == pytest.approx(0, abs=0.01)
    rows = zip(*start, frame["bearing_true_deg"], frame["distance_m"], strict=True)
    by_hand = np.array([vincenty(*row) for row in rows]).T
    assert geod.inv(*by_hand, *end)[2] == pytest.approx(0, abs=0.01)
    assert geod.inv(frame["longitude_deg"], frame["latitude_deg"], *end)[2] == pytest.approx(
        0, abs=0.01
    )
    assert (frame["distance_m"] <= 60).all()
    # on the map lengths are `size` times those on the ground
    stand = pond.features().frame.geometry[7]
    assert frame.distance(stand).min() / size == pytest.approx(1.5, abs=0.08)
    np.testing.assert_allclose(frame["bearing_magnetic_deg"], (frame["bearing_true_deg"] - 4) % 360)


def test_distances_in_feet_and_wraps() -> None:
    frame = POND.marks().frame
    # a foot is 0.3048 m exactly (1959 agreement of yard and pound; from memory), a wrap 12 ft
    np.testing.assert_allclose(frame["distance_ft"] * 0.3048, frame["distance_m"])
    np.testing.assert_allclose(frame["distance_wraps"] * 12, frame["distance_ft"])
    assert frame["bearing_magnetic_deg"].isna().all()
    metric = POND.marks(wrap_length=4.0).frame
    np.testing.assert_allclose(metric["distance_wraps"] * 4, metric["distance_m"])


def test_what_is_told_of_a_mark() -> None:
    frame = POND.marks(declination=-3.0).frame
    assert frame["mark"].tolist() == list(range(1, len(frame) + 1))
    assert (np.diff(frame["score"]) <= 0).all()
    assert frame.geometry.x.tolist() == frame["easting_m"].tolist()
    row = frame[(frame["peg"] == "A") & (frame["kind"] == "drop-off foot")].iloc[0]
    # derived: straight out from (60, -1) to the line at 40 m north, 4 m deep; plants lie between
    assert row["distance_m"] == pytest.approx(41, abs=0.2)
    assert row["depth_m"] == pytest.approx(4.0, abs=1e-6)
    # derived: 1.644854 sd of 0.25 m on either side
    assert row[["depth_low_m", "depth_high_m"]].tolist() == pytest.approx(
        [4 - 0.411213, 4 + 0.411213], abs=1e-6
    )
    assert row["slope_deg"] == pytest.approx(np.degrees(np.arctan(0.1)))
    assert (row["relief_m"], row["confidence"], row["feature"]) == (3.0, 0.9, 2)
    assert row["over_plants_m"] == pytest.approx(
        POND.features()
        .frame.geometry[7]
        .intersection(shapely.LineString([(60, -1), (row["easting_m"], row["northing_m"])]))
        .length
    )
    # derived: 0.9 x 3 / (3 + 1), less a quarter of 41 / 60
    assert row["score"] == pytest.approx(0.675 * (1 - 0.25 * row["distance_m"] / 60))


def test_the_sentence_says_it_all() -> None:
    pegs = POND.pegs((60, -1), peg=[3])
    told = POND.marks(pegs, declination=-3.0, per_peg=1, count=1, weight_plant_edge=0).frame
    bearing = round(told["bearing_true_deg"][0]) % 360
    assert told["sentence"][0] == (
        f"From peg 3 cast 41 m (11.3 wraps) on {bearing} deg true ({bearing + 3} magnetic): foot "
        f"of the drop-off, 4.0 m deep (3.6 to 4.4 m); {told['over_plants_m'][0]:.0f} m of the way "
        "back lies over plants; 90 % sure to be there."
    )
    far = POND.marks(POND.pegs((300, 60), peg=["B"])).frame
    unsure = far["sentence"][far["support"] < 0.5]
    assert len(unsure)
    assert unsure.str.endswith("; hardly sounded: sound it before you trust it.").all()
    assert "magnetic" not in far["sentence"][0]


def test_names_of_pegs_stay_as_they_are() -> None:
    names = ["=cmd|' /C calc'!A1", "<b>Schäfers Loch</b>\n{row} %s; DROP TABLE"]
    frame = POND.marks(POND.pegs((60, -1), (300, 60), peg=names)).frame
    assert set(frame["peg"]) == set(names)
    for row in frame.itertuples():
        assert row.sentence.startswith(f"From peg {row.peg} cast ")
    numbered = POND.marks(POND.pegs((60, -1), (300, 60), note=["", ""])).frame
    assert set(numbered["peg"]) == {"1", "2"}


def test_a_bed_without_an_error_and_unknown_confidence() -> None:
    bed = Tin(POND.bed.vertices, POND.bed.depth, POND.bed.triangles, POND.bed.kind, None)
    features = POND.features()
    features = Vectors(features.frame.assign(confidence=np.nan), "features")
    found = marks(bed, POND.shoreline, POND.pegs((60, -1), peg=["A"]), features)
    assert found.frame[["depth_low_m", "support", "confidence"]].isna().all(axis=None)
    assert " m deep" in found.frame["sentence"][0]
    assert "sure" not in found.frame["sentence"][0]
    assert "nan" not in found.frame["sentence"].str.cat()
    assert "nobody told how sure features are: each counts as certain" in found.notes
    assert "the bed does not know its error: only a fitted bed does" in found.notes


def test_cautions_stand_in_the_notes() -> None:
    notes = " ".join(POND.marks().notes)
    for word in ("overhead lines", "wading", "cold water", "ice", "local rules", "navigation"):
        assert word in notes
    sparse = POND.marks(POND.pegs((60, -1), (290, 203), peg=["A", "far\noff"]), reach=20.0)
    assert "no feature can be cast to from peg far\noff" in sparse.notes
    idle = POND.marks(POND.pegs((60, -1), (290, 203), (289, 203), peg=["A", "B", "C"]), reach=20.0)
    assert "no feature can be cast to from pegs B, C" in idle.notes
    few = POND.marks(count=1)
    assert len(few) == 1
    assert not any("no feature can be cast to" in note for note in few.notes)
    none = POND.marks(reach=2.0)
    assert len(none) == 0
    assert "no mark: no spot can be reached that has a weight" in none.notes
    assert [none.frame[name].dtype.kind for name in ("peg", "kind", "sentence")] == ["O"] * 3


places_on_bank = st.sampled_from(
    [(x, -1.0) for x in (20, 60, 100, 150, 260)]
    + [(301.0, y) for y in (40, 100)]
    + [(150.0, 203.0), (-4.0, 120.0), (60.0, 8.0)]
)
degrees = st.integers(0, 359)


@settings(max_examples=20, deadline=None)
@given(
    st.lists(st.tuples(places_on_bank, st.integers(10, 120), degrees, degrees), min_size=1),
    st.tuples(st.integers(0, 300), st.integers(0, 200), st.integers(5, 40)),
    st.tuples(st.integers(0, 300), degrees),
    st.integers(1, 40),
)
def test_no_cast_does_what_it_must_not(
    pegs: list[tuple[tuple[float, float], int, int, int]],
    closed: tuple[int, int, int],
    wire: tuple[int, int],
    apart: int,
) -> None:
    places, reach, start, end = zip(*pegs, strict=True)
    names = [str(number) for number in range(len(pegs))]
    columns: dict[str, list[object]] = {"peg": list(names), "reach_m": list(reach)}
    columns |= {"sector_from_deg": list(start), "sector_to_deg": list(end)}
    area = shapely.Point(closed[:2]).buffer(closed[2])
    turn = np.radians(wire[1])
    off = 400 * np.array([np.sin(turn), np.cos(turn)])
    middle = np.array([wire[0], 100])
    line = shapely.LineString([middle - off, middle + off])
    found = POND.marks(
        POND.pegs(*places, **columns),
        exclusions=POND.vectors("exclusions", [area, line]),
        plants=POND.vectors("plants", [shapely.Point(240, 60).buffer(8)]),
        clearance=25.0,
        apart=float(apart),
        per_peg=3,
    ).frame
    water = shapely.box(0, 0, 300, 200) - shapely.box(*ISLAND)
    plants = shapely.union(shapely.Point(240, 60).buffer(8), shapely.Point(50, 30).buffer(15))
    for row in found.itertuples():
        own = int(row.peg)
        assert math.dist(places[own], (row.easting_m, row.northing_m)) <= reach[own] + 1e-9
        east, north = np.array([row.easting_m, row.northing_m]) - places[own]
        bearing = np.degrees(np.arctan2(east, north))
        width = (end[own] - start[own]) % 360
        assert start[own] == end[own] or (bearing - start[own] + 1e-9) % 360 <= width + 2e-9
        way = shapely.LineString([places[own], (row.easting_m, row.northing_m)])
        dry = way.difference(water)
        assert dry.length <= 10
        assert dry.is_empty or dry.distance(shapely.Point(places[own])) == 0
        assert not way.intersects(shapely.box(*ISLAND))
        assert water.boundary.distance(shapely.Point(row.easting_m, row.northing_m)) >= 0.99
        assert not way.intersects(area)
        assert way.distance(line) >= 25 - 1e-9
        assert plants.distance(row.geometry) >= 0.97 * 1.5
        assert row.depth_m >= 0.5
    assert found.groupby("peg").size().max() <= 3 if len(found) else True
    at = shapely.get_coordinates(found.geometry)
    spread = cdist(at, at)
    np.fill_diagonal(spread, np.inf)
    assert spread.min(initial=np.inf) >= apart


@settings(max_examples=12, deadline=None)
@given(
    st.fixed_dictionaries({name: st.sampled_from([0.0, 0.3, 0.6, 1.0, 1.7]) for name in KINDS}),
    st.sampled_from(sorted(KINDS)),
    st.floats(1.05, 4),
)
def test_weights(weights: dict[str, float], raised: str, factor: float) -> None:
    def best(given_: dict[str, float]) -> float:
        kinds = POND.marks(per_peg=3, count=8, **given_).frame["kind"].tolist()
        silent = {KINDS[name] for name, weight in given_.items() if weight == 0}
        assert not silent & set(kinds)
        return kinds.index(KINDS[raised]) if KINDS[raised] in kinds else math.inf

    assert best(weights | {raised: weights[raised] * factor}) <= best(weights)


def test_every_kind_is_found_where_its_weight_is_the_only_one() -> None:
    pegs = POND.pegs((60, -1), (300, 60), (210, 201), (0, 120), (110, -1), peg=[*"ABCDE"])
    for name, kind in KINDS.items():
        only = {other: float(other == name) for other in KINDS}
        found = POND.marks(pegs, reach=90.0, **only).frame
        assert set(found["kind"]) == {kind}


def test_depths_are_kept_to() -> None:
    found = POND.marks(shallowest=2.0, deepest=4.5, reach=90.0, count=50, per_peg=50).frame
    assert found["depth_m"].between(2.0, 4.5).all()
    assert len(found) > 5


def test_a_sector_about_the_way_a_peg_faces() -> None:
    found = POND.marks(sector=40.0, reach=120.0, per_peg=20, count=40).frame
    facing = {"A": 0.0, "B": 270.0}
    off = (found["bearing_true_deg"] - found["peg"].map(facing) + 180) % 360 - 180
    assert (np.abs(off) <= 20 + 1e-9).all()
    assert set(found["peg"]) == {"A", "B"}


def test_pegs_are_placed_where_none_are_given() -> None:
    closed = POND.vectors("closed", [shapely.box(-20, -20, 400, 30)])
    found = marks(POND.bed, POND.shoreline, None, POND.features(), closed, peg_spacing=25.0)
    assert len(found) == 20
    edge = shapely.box(0, 0, 300, 200).boundary
    pegs = shapely.points(found.frame[["peg_easting_m", "peg_northing_m"]].to_numpy())
    assert shapely.distance(pegs, edge).max() < 1e-9
    assert (found.frame["peg_northing_m"] > 30).all()
    assert any("nobody looked at the bank" in note for note in found.notes)


def test_the_same_again_and_features_in_another_order() -> None:
    one, again = POND.marks(), POND.marks()
    pd.testing.assert_frame_equal(one.frame, again.frame)
    turned = Vectors(POND.features().frame.iloc[::-1].reset_index(drop=True), "features")
    pegs = POND.pegs((60, -1), (300, 60), peg=["A", "B"])
    other = marks(POND.bed, POND.shoreline, pegs, turned)
    np.testing.assert_allclose(other.frame["score"], one.frame["score"])


def test_layers_that_do_not_fit() -> None:
    features = POND.features()
    pegs = POND.pegs((60, -1), peg=["A"])
    lacking = Vectors(features.frame.drop(columns=["relief_m", "confidence"]), "features")
    told = r"^features need columns \['relief_m', 'confidence'\], got \['kind', 'feature', 'geom"
    with pytest.raises(LayerError, match=told):
        marks(POND.bed, POND.shoreline, pegs, lacking)
    strange = Vectors(features.frame.assign(kind="reef"), "features")
    with pytest.raises(LayerError, match=r"^feature 1: kind must be one of .*, got 'reef'$"):
        marks(POND.bed, POND.shoreline, pegs, strange)
    wrong = Vectors(features.frame.assign(kind="hump"), "features")
    with pytest.raises(LayerError, match=r"^feature 1: a hump must be polygons, got LineString$"):
        marks(POND.bed, POND.shoreline, pegs, wrong)
    with pytest.raises(LayerError, match=r"^plants must be polygons, got LineString$"):
        POND.marks(plants=POND.vectors("plants", [shapely.LineString([(0, 0), (1, 1)])]))
    elsewhere = Places(pegs.coordinates, pegs.frame, pyproj.CRS(32633))
    with pytest.raises(LayerError, match="pegs must be in the CRS of the bed"):
        marks(POND.bed, POND.shoreline, elsewhere, features)
    nobody = Places(np.empty((0, 2)), pegs.frame.iloc[:0], None)
    with pytest.raises(LayerError, match="pegs must hold at least one peg, got none"):
        marks(POND.bed, POND.shoreline, nobody, features)
    with pytest.raises(ParameterError, match="weight_hole must be >= 0, got -1"):
        POND.marks(weight_hole=-1)


def test_as_a_command(tmp_path: Any) -> None:
    pond = Pond(pyproj.CRS(32633), (500_000, 5_200_000))
    write_bed(pond.bed, tmp_path / "bed.gpkg")
    water = geopandas.GeoDataFrame(geometry=list(pond.shoreline.polygons.geoms), crs=pond.crs)
    water.to_file(tmp_path / "water.gpkg")
    pond.features().frame.to_file(tmp_path / "features.gpkg")
    lines = ["peg,easting,northing,reach_m", "P 1,500060,5199999,", "P 2,500300,5200060,30"]
    (tmp_path / "pegs.csv").write_text("\n".join(lines), encoding="utf-8")
    layers = [str(tmp_path / f"{name}.gpkg") for name in ("bed", "water")]
    options = ["--features", str(tmp_path / "features.gpkg")]
    options += ["--pegs", str(tmp_path / "pegs.csv"), "--pegs-crs", "EPSG:32633"]
    options += ["--weight-hole", "0", "--reach", "50 m", "--out", str(tmp_path / "marks.geojson")]
    done = CliRunner().invoke(tool_command(marks), layers + options)
    assert done.exit_code == 0, done.output
    written = geopandas.read_file(tmp_path / "marks.geojson")
    assert set(written["peg"]) == {"P 1", "P 2"}
    assert written["distance_m"][written["peg"] == "P 2"].max() <= 30
    assert written["sentence"][0].startswith("From peg P ")


def test_pegs_of_one_name_are_told() -> None:
    found = marks(POND.bed, POND.shoreline, POND.pegs((60, -1), (100, -1), peg=["oak", "oak"]))
    assert "several pegs are called oak: tell them apart by their coordinates" in found.notes
    found = marks(POND.bed, POND.shoreline, POND.pegs((60, -1), (100, -1), peg=["oak", "elm"]))
    assert not any("several pegs" in note for note in found.notes)
