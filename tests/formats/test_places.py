"""Places come from coordinates, or from a peg, a bearing and a distance."""

from pathlib import Path

import geopandas
import numpy as np
import pandas as pd
import pyproj
import pytest
import shapely

from toolbox.errors import InputFileError, ParameterError
from toolbox.formats.places import named_places, read_places, true_bearings

UTM = "EPSG:32633"
PEGS = "peg,easting,northing,note\nP1,376500,5117000,north\nOak,376600.5,5117000.25,east\n"


def put(folder: Path, text: str, name: str = "places.csv") -> Path:
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return path


def test_text_and_vector_files_give_the_same_places(tmp_path: Path) -> None:
    text = read_places(put(tmp_path, PEGS), crs=UTM)
    frame = geopandas.GeoDataFrame(
        {"peg": ["P1", "Oak"]},
        geometry=shapely.points([(376500, 5117000), (376600.5, 5117000.25)]),
        crs=UTM,
    )
    frame.to_file(tmp_path / "pegs.gpkg")
    vector = read_places(tmp_path / "pegs.gpkg")
    assert text.coordinates.tolist() == vector.coordinates.tolist()
    assert text.crs == vector.crs == pyproj.CRS.from_user_input(UTM)
    assert text.frame.columns.tolist() == ["peg", "note"]
    assert text.notes == vector.notes == ()


def test_degrees_are_projected_and_told(tmp_path: Path) -> None:
    places = read_places(put(tmp_path, "peg,lat,lon\nP1,46.2,13.4\n"))
    to_map = pyproj.Transformer.from_crs(4326, 32633, always_xy=True)
    assert places.coordinates[0] == pytest.approx(to_map.transform(13.4, 46.2), abs=1e-6)
    assert places.notes == ("longitude and latitude taken as WGS 84",)


def test_places_are_found_by_name_in_the_order_asked_for(tmp_path: Path) -> None:
    known = read_places(put(tmp_path, PEGS), crs=UTM)
    found = named_places(pd.Series(["Oak", "P1", "Oak"]), known, Path("log.csv"))
    assert found.tolist() == [[376600.5, 5117000.25], [376500, 5117000], [376600.5, 5117000.25]]
    with pytest.raises(InputFileError, match=r"^log\.csv: no such peg 'Elm', only Oak, P1$"):
        named_places(pd.Series(["P1", "Elm"]), known, Path("log.csv"))


# ---- bearings ----


@pytest.mark.parametrize(
    ("column", "given", "declination", "wanted"),
    [
        ("bearing", [0, 359.5, 360], None, [0, 359.5, 0]),
        ("bearing_deg_true", [90, -10, 370], None, [90, 350, 10]),
        # true = magnetic + declination, east positive (derived)
        ("bearing_magnetic", [0, 90, 358], 3.5, [3.5, 93.5, 1.5]),
        ("bearing_magnetic", [0, 90, 358], -3.5, [356.5, 86.5, 354.5]),
        ("bearing", [10, 20, 30], 3.5, [10, 20, 30]),  # true ones need no correction
    ],
)
def test_bearings_are_true(
    column: str, given: list[float], declination: float | None, wanted: list[float]
) -> None:
    found = true_bearings(pd.DataFrame({column: given}), Path("log.csv"), declination)
    assert found is not None
    assert found.tolist() == wanted


def test_magnetic_bearings_need_the_declination() -> None:
    frame = pd.DataFrame({"bearing_magnetic": [10.0]})
    with pytest.raises(ParameterError, match=r"^log\.csv: magnetic bearings need declination"):
        true_bearings(frame, Path("log.csv"), None)


def test_a_table_without_bearings_has_none() -> None:
    assert true_bearings(pd.DataFrame({"depth": [1.0]}), Path("log.csv"), None) is None


# ---- placed from pegs ----


@pytest.mark.parametrize("declination", [None, 4.0])
def test_readings_lie_where_the_geodesic_ends(declination: float | None, tmp_path: Path) -> None:
    """Checked on the ellipsoid by pyproj: bearings are from true north, not from the map's."""
    bearing, away = np.array([0.0, 77.0, 200.0]), np.array([30.0, 45.5, 60.0])
    column = "bearing" if declination is None else "bearing_magnetic"
    rows = [f"P1,{b},{d}\n" for b, d in zip(bearing, away, strict=True)]
    path = put(tmp_path, f"peg,{column},distance_m\n" + "".join(rows), "readings.csv")
    pegs = put(tmp_path, PEGS)
    places = read_places(path, crs=UTM, pegs=pegs, declination=declination)
    to_degrees = pyproj.Transformer.from_crs(UTM, 4326, always_xy=True)
    longitude, latitude = to_degrees.transform(376500, 5117000)
    end = pyproj.Geod(ellps="WGS84").fwd(
        [longitude] * 3, [latitude] * 3, bearing + (declination or 0), away
    )
    wanted = np.column_stack(to_degrees.transform(end[0], end[1], direction="INVERSE"))
    assert places.coordinates == pytest.approx(wanted, abs=1e-3)


def test_distances_may_be_in_feet(tmp_path: Path) -> None:
    pegs = put(tmp_path, PEGS)
    feet = put(tmp_path, "peg,bearing,distance_ft\nP1,50,100\n", "feet.csv")
    metres = put(tmp_path, "peg,bearing,distance_m\nP1,50,30.48\n", "metres.csv")
    one, other = (read_places(path, crs=UTM, pegs=pegs) for path in (feet, metres))
    assert one.coordinates == pytest.approx(other.coordinates, abs=1e-9)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("peg,distance_m\nP1,3\n", r"no column bearing or bearing_magnetic, only peg, distance_m$"),
        ("peg,bearing\nP1,3\n", r"no column that is plainly the distance; name one of"),
        ("place,bearing,distance\nP1,3,3\n", r"no column that is plainly the peg; name one of"),
        ("peg,bearing,distance\nP2,3,3\n", r"no such peg 'P2', only Oak, P1$"),
        ("peg,bearing,distance\nP1,east,3\n", r"line 2: column 'bearing' must hold a number"),
    ],
)
def test_what_is_missing_is_told(text: str, words: str, tmp_path: Path) -> None:
    pegs = put(tmp_path, PEGS)
    with pytest.raises(InputFileError, match=words):
        read_places(put(tmp_path, text, "readings.csv"), crs=UTM, pegs=pegs)


def test_a_file_without_any_place_is_told(tmp_path: Path) -> None:
    with pytest.raises(InputFileError, match=r"places\.csv holds no coordinates$"):
        read_places(put(tmp_path, "easting,northing,depth\n,,1\n,,2\n"), crs=UTM)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (
            "15,47,1\n16,48,1\n",
            "has no header line: write one above the figures, such as longitude,",
        ),
        (
            "500000,5200000,1\n",
            "such as easting,northing,depth; if that is the order of its columns",
        ),
        (
            "x,y\n15,47\n",
            r"give one with crs, such as 'EPSG:4326', if x and y are longitude and la",
        ),
        ("Rechtswert;Hochwert\n3512160,1;5378900,2\n", r"names no CRS: give one .*'EPSG:32633'$"),
    ],
)
def test_what_a_file_lacks_is_told_by_its_figures(text: str, words: str, tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InputFileError, match=words):
        read_places(path)


def test_text_that_is_not_utf_8_is_told(tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    path.write_bytes(b"easting,northing,G\xfcte\n500000,5200000,1\n")
    (note,) = read_places(path, crs="EPSG:32633").notes
    assert note.startswith("not UTF-8, so read as Windows-1252")
    assert read_places(path, crs="EPSG:32633", encoding="cp1252").notes == ()


def test_pins_of_a_kml_file_are_pegs_beside_an_outline(tmp_path: Path) -> None:
    pins = tmp_path / "pond.kml"
    corners = "15,47,0 15.001,47,0 15.001,47.001,0 15,47,0"
    pins.write_text(
        '<kml xmlns="http://www.opengis.net/kml/2.2"><Document><Placemark><name>pond</name><Polygon>'
        f"<outerBoundaryIs><LinearRing><coordinates>{corners}</coordinates></LinearRing>"
        "</outerBoundaryIs></Polygon></Placemark><Placemark><name>A</name><Point><coordinates>"
        "15.0005,47.0002,0</coordinates></Point></Placemark></Document></kml>"
    )
    path = tmp_path / "casts.csv"
    path.write_text("Peg,Bearing (compass),Distance (ft),depth_ft\nA,80,100,5\n,90,10,5\n")
    found = read_places(path, pegs=pins, declination=10.0)
    start = read_places(pins).coordinates
    away = found.coordinates[0] - start[0]
    assert np.hypot(*away) == pytest.approx(30.48, rel=1e-3)  # derived: a foot is 0.3048 m
    assert away[1] == pytest.approx(0, abs=0.1)  # due east, next to the zone's middle meridian
    assert np.isnan(found.coordinates[1]).all()  # names no peg
    assert "column 'Distance (ft)' read in ft, as its name says" in found.notes


def test_places_by_peg_ask_for_the_pegs(tmp_path: Path) -> None:
    path = tmp_path / "casts.csv"
    path.write_text("peg,bearing,distance,depth\nA,90,10,5\n")
    with pytest.raises(InputFileError, match="by peg, bearing and distance: give pegs"):
        read_places(path)


PIN = "<Placemark><name>{0}</name><Point><coordinates>{1}</coordinates></Point></Placemark>"
LINE = "<Placemark><LineString><coordinates>9,48 9.1,48</coordinates></LineString></Placemark>"


def test_pins_are_taken_from_all_folders_of_a_globe_viewer(tmp_path: Path) -> None:
    folders = [PIN.format("P1", "9,48"), LINE, PIN.format("P2", "9.01,48") + LINE, ""]
    body = "".join(f"<Folder><name>F{k}</name>{text}</Folder>" for k, text in enumerate(folders))
    kml = f'<kml xmlns="http://www.opengis.net/kml/2.2"><Document>{body}</Document></kml>'
    path = tmp_path / "pegs.kml"
    path.write_text(kml, encoding="utf-8")
    places = read_places(path)
    assert places.frame["Name"].tolist() == ["P1", "P2"]
    assert len(places.coordinates) == 2
    (only,) = read_places(path, layer="F2").frame["Name"]
    assert only == "P2"


def test_a_row_whose_latitude_is_a_longitude_is_named(tmp_path: Path) -> None:
    rows = ["-93.41,44.90", "-93.42,44.91", "44.92,-93.43", "44.93,-93.44"]
    path = tmp_path / "p.csv"
    path.write_text("\n".join(["lon,lat", *rows]), encoding="utf-8")
    told = r"p.csv, line 4: column 'lat' .* 90, got -93.43: .* of 2 rows are exchanged$"
    with pytest.raises(InputFileError, match=told):
        read_places(path)


@pytest.mark.parametrize(("peg", "named"), [("1", "1.0"), ("1.0", "1"), (" P1 ", "P1")])
def test_numbers_of_pegs_are_the_same_however_they_are_written(
    peg: str, named: str, tmp_path: Path
) -> None:
    known = tmp_path / "pegs.csv"
    known.write_text(f"peg,easting,northing,note\n{named},500000,5300000,\nA,5,5,\n", "utf-8")
    casts = tmp_path / "casts.csv"
    casts.write_text(f"peg,bearing,distance_m\n{peg},90,0\n", "utf-8")
    places = read_places(casts, pegs=known, crs="EPSG:32633")
    np.testing.assert_allclose(places.coordinates, [[500_000, 5_300_000]], atol=1e-6)


def test_pegs_with_a_point_in_their_names_stay_apart(tmp_path: Path) -> None:
    known = tmp_path / "pegs.csv"
    known.write_text("peg,easting,northing\n1.5,500000,5300000\n1.50,500010,5300000\nA,5,5\n")
    casts = tmp_path / "casts.csv"
    casts.write_text("peg,bearing,distance_m\n1.50,90,0\nA,90,0\n", "utf-8")
    places = read_places(casts, pegs=known, crs="EPSG:32633")
    np.testing.assert_allclose(places.coordinates[0], [500_010, 5_300_000], atol=1e-6)
