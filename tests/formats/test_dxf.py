"""DXF: lines at their depth on layers of their own, read by other programs."""

import csv
import io
import shutil
import subprocess
from pathlib import Path

import ezdxf
import geopandas
import numpy as np
import pytest
import shapely

from toolbox.errors import LayerError, OutputError
from toolbox.formats.dxf import write_dxf
from toolbox.layers import Vectors

UTM = 32633
PLACES = np.array([(500_000.0, 5_200_000.0), (500_040.25, 5_200_010.5), (500_020.0, 5_200_090.0)])
HOSTILE = "<script>'%%d'</script>\"\n  0\nEOF\n\x00\u202e\U0001f3a3|*?" + "x" * 300


def isobaths() -> Vectors:
    shapes = [shapely.LineString([*PLACES, PLACES[0]]), shapely.LineString(PLACES)]
    columns = {"depth_m": [2.5, 5.0], "index_line": [False, True]}
    return Vectors(geopandas.GeoDataFrame(columns, geometry=shapes, crs=UTM), "isobaths")


def marks(name: str = "oak") -> Vectors:
    columns = {"name": [name], "depth_m": [6.71]}
    shapes = [shapely.Point(PLACES[0])]
    return Vectors(geopandas.GeoDataFrame(columns, geometry=shapes, crs=UTM), "marks")


def areas() -> Vectors:
    water = shapely.box(0, 0, 90, 90).difference(shapely.box(20, 20, 30, 30))
    return Vectors(geopandas.GeoDataFrame({"kind": ["bar"]}, geometry=[water]), "features")


def seen_by_ogr(path: Path) -> list[tuple[str, shapely.Geometry, str]]:
    """Layer, shape and text of each entity."""
    command = ["ogr2ogr", "-f", "CSV", "-lco", "GEOMETRY=AS_WKT", "/vsistdout/", str(path)]
    done = subprocess.run(command, check=True, capture_output=True)
    csv.field_size_limit(10_000_000)
    rows = csv.DictReader(io.StringIO(done.stdout.decode("utf-8")))
    return [(row["Layer"], shapely.from_wkt(row["WKT"]), row["Text"]) for row in rows]


@pytest.mark.skipif(shutil.which("ogr2ogr") is None, reason="ogr2ogr is not installed")
@pytest.mark.parametrize(("datum", "level"), [(None, 0.0), (412.5, 412.5)])
def test_gdal_finds_lines_at_their_depth(datum: float | None, level: float, tmp_path: Path) -> None:
    write_dxf(tmp_path / "a.dxf", isobaths(), marks(), datum=datum)
    found = seen_by_ogr(tmp_path / "a.dxf")
    lines = {layer: shape for layer, shape, _ in found if layer.startswith("isobaths")}
    assert set(lines) == {"isobaths_2.5_m", "isobaths_5_m"}
    for shape, depth, was in zip(
        lines.values(), (2.5, 5.0), isobaths().frame.geometry, strict=True
    ):
        height = shapely.get_coordinates(shape, include_z=True)[:, 2]
        assert height == pytest.approx(np.full(len(height), level - depth), abs=1e-9)
        assert shape.hausdorff_distance(was) < 1e-6
        assert shape.is_ring == was.is_ring
    point = next(shape for _, shape, text in found if shape.geom_type == "Point" and not text)
    assert (point.x, point.y, point.z) == pytest.approx((*PLACES[0], level - 6.71))
    said = " ".join(text for layer, _, text in found if layer == "notes")
    assert ("412.5 m" in said) is (datum is not None)
    assert ("depths are negative" in said) is (datum is None)
    assert "WGS 84 / UTM zone 33N" in said
    assert "Not for navigation" in said


@pytest.mark.skipif(shutil.which("ogr2ogr") is None, reason="ogr2ogr is not installed")
def test_lines_told_in_feet_name_their_layers_and_lie_at_metres(tmp_path: Path) -> None:
    frame = isobaths().frame.assign(depth_m=[1.524, 3.048], depth_ft=[5.0, 10.0])
    write_dxf(tmp_path / "a.dxf", Vectors(frame, "isobaths"))
    found = seen_by_ogr(tmp_path / "a.dxf")
    lines = {layer: shape for layer, shape, _ in found if layer.startswith("isobaths")}
    assert set(lines) == {"isobaths_5_ft", "isobaths_10_ft"}
    height = shapely.get_coordinates(lines["isobaths_10_ft"], include_z=True)[:, 2]
    assert height == pytest.approx(-3.048, abs=1e-9)


@pytest.mark.skipif(shutil.which("ogr2ogr") is None, reason="ogr2ogr is not installed")
def test_polygons_are_outlined_with_their_islands(tmp_path: Path) -> None:
    write_dxf(tmp_path / "a.dxf", areas())
    rings = [shape for layer, shape, _ in seen_by_ogr(tmp_path / "a.dxf") if layer == "features"]
    assert sorted(round(ring.length) for ring in rings) == [40, 360]
    assert all(ring.is_ring for ring in rings)


def test_the_file_is_sound_and_in_metres(tmp_path: Path) -> None:
    write_dxf(tmp_path / "a.dxf", isobaths(), marks(), title="Figment Mere")
    drawing = ezdxf.readfile(tmp_path / "a.dxf")
    assert drawing.audit().errors == []
    assert drawing.header["$INSUNITS"] == 6  # metres (DXF reference, header variables; from memory)
    assert [entity.dxftype() for entity in drawing.modelspace()][:4] == [
        "POLYLINE", "POLYLINE", "POINT", "TEXT",
    ]  # fmt: skip
    extent = drawing.header["$EXTMIN"][:2] + drawing.header["$EXTMAX"][:2]
    assert extent == pytest.approx((*PLACES.min(axis=0), *PLACES.max(axis=0)))
    assert drawing.layers.get("isobaths_5_m").rgb != drawing.layers.get("isobaths_2.5_m").rgb


def test_hostile_names_break_nothing(tmp_path: Path) -> None:
    layer = Vectors(marks(HOSTILE).frame, HOSTILE)
    write_dxf(tmp_path / "a.dxf", layer, isobaths(), title=HOSTILE)
    drawing = ezdxf.readfile(tmp_path / "a.dxf")
    assert drawing.audit().errors == []
    texts = [entity.dxf.text for entity in drawing.modelspace().query("TEXT")]
    assert texts[0].startswith("\u2039script\u203a")
    assert "\U0001f3a3" in texts[0]
    assert all(text.isprintable() for text in texts)
    names = [entry.dxf.name for entry in drawing.layers]
    assert not [name for name in names if set(name) & set('<>/\\":;?*|=`,')]
    assert len(drawing.modelspace().query("POLYLINE")) == 2


def test_the_same_input_gives_the_same_bytes(tmp_path: Path) -> None:
    for name in "ab":
        write_dxf(tmp_path / name, isobaths(), marks(), title="Figment Mere")
    assert (tmp_path / "a").read_bytes() == (tmp_path / "b").read_bytes()


def test_what_is_there_stays(tmp_path: Path) -> None:
    path = tmp_path / "a.dxf"
    path.write_text("precious")
    with pytest.raises(OutputError, match=r"a\.dxf exists already"):
        write_dxf(path, isobaths())
    assert path.read_text() == "precious"


def test_layers_of_several_crs_are_refused(tmp_path: Path) -> None:
    far = Vectors(marks().frame.to_crs(32634), "marks")
    with pytest.raises(LayerError, match=r"^marks must be in the CRS of the isobaths"):
        write_dxf(tmp_path / "a.dxf", isobaths(), far)


def test_nothing_to_write_is_told(tmp_path: Path) -> None:
    empty = marks().frame.assign(geometry=[None])
    for layer in (Vectors(marks().frame[:0], "marks"), Vectors(empty, "marks")):
        with pytest.raises(LayerError, match=r"at least one feature with a place, got none$"):
            write_dxf(tmp_path / "a.dxf", layer)
