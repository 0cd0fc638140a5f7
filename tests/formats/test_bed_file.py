"""Beds on disk: the same to the last bit, and any GIS shows them."""

import re
import shutil
import sqlite3
import struct
import subprocess
from dataclasses import replace
from pathlib import Path

import geopandas
import numpy as np
import pyogrio
import pyproj
import pytest
import shapely
from pyogrio.errors import DataLayerError

from toolbox.errors import InputFileError, LayerError, OutputError
from toolbox.formats.bed_file import DRAWS, TRIANGLES, VERTICES, read_bed, write_bed
from toolbox.formats.vector import layer_names, write_features
from toolbox.layers import Tin, VertexKind

UTM = pyproj.CRS.from_epsg(32633)


def made(count: int = 40, *, sd: bool = False) -> Tin:
    """Make a bed whose figures use all their bits, with every kind of vertex."""
    from scipy.spatial import Delaunay

    chance = np.random.default_rng(5)
    place = np.array([500_000, 5_200_000]) + chance.random((count, 2)) * 100
    triangles = Delaunay(place).simplices
    a, b, c = (place[triangles[:, k]] for k in range(3))
    turned = (b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0] < 0
    triangles[turned] = triangles[turned][:, ::-1]
    kind = np.arange(count) % len(VertexKind)
    spread = chance.random(count) if sd else None
    return Tin(place, chance.normal(4, 2, count), triangles, kind, UTM, spread)


def spoil(path: Path, layer: str, **columns: object) -> None:
    """Rewrite one layer of a bed with other columns; None takes one away."""
    frame = geopandas.read_file(path, layer=layer).assign(**columns)
    gone = [name for name, values in columns.items() if values is None]
    pyogrio.write_dataframe(frame.drop(columns=gone), path, layer=layer)


@pytest.mark.parametrize("sd", [False, True], ids=["plain", "with spread"])
def test_a_bed_written_is_read_again_to_the_last_bit(sd: bool, tmp_path: Path) -> None:
    first = made(sd=sd)
    write_bed(first, tmp_path / "bed.gpkg")
    again = read_bed(tmp_path / "bed.gpkg")
    for name in ("vertices", "depth", "triangles", "kind"):
        assert np.array_equal(getattr(again, name), getattr(first, name)), name
        assert getattr(again, name).dtype == getattr(first, name).dtype, name
    assert again.crs == UTM
    assert (again.sd is None) == (not sd)
    if sd:
        assert np.array_equal(again.sd, first.sd)


def test_a_bed_that_is_not_there_is_told(tmp_path: Path) -> None:
    with pytest.raises(InputFileError, match=r"none\.gpkg does not exist$"):
        read_bed(tmp_path / "none.gpkg")


def test_a_bed_lives_beside_other_layers(tmp_path: Path) -> None:
    path = tmp_path / "lake.gpkg"
    shore = geopandas.GeoDataFrame(geometry=[shapely.box(0, 0, 1, 1)], crs=UTM)
    write_features(shore, path, layer="shoreline")
    write_bed(made(), path, append=True)
    assert layer_names(path) == ["shoreline", VERTICES, TRIANGLES]
    assert np.array_equal(read_bed(path).depth, made().depth)


@pytest.mark.skipif(shutil.which("ogrinfo") is None, reason="ogrinfo is not installed")
def test_another_reader_sees_vertices_and_triangles(tmp_path: Path) -> None:
    bed = made()
    write_bed(bed, tmp_path / "bed.gpkg")
    query = "SELECT COUNT(*) n, SUM(ST_Area(geom)) area FROM bed_triangles"
    done = subprocess.run(
        ["ogrinfo", "-q", "-dialect", "SQLite", "-sql", query, str(tmp_path / "bed.gpkg")],
        capture_output=True,
        text=True,
        check=True,
    )
    told = dict(re.findall(r"(\w+) \(\w+\) = (\S+)", done.stdout))
    assert int(told["n"]) == len(bed.triangles)
    # the triangles fill the hull of the vertices
    hull = shapely.convex_hull(shapely.multipoints(bed.vertices)).area
    assert float(told["area"]) == pytest.approx(hull, rel=1e-9)


def test_the_mean_depth_of_triangles_is_written_for_those_who_look(tmp_path: Path) -> None:
    bed = made()
    write_bed(bed, tmp_path / "bed.gpkg")
    frame = geopandas.read_file(tmp_path / "bed.gpkg", layer=TRIANGLES)
    shapes = shapely.polygons(bed.vertices[bed.triangles])
    assert shapely.equals_exact(shapely.normalize(frame.geometry), shapely.normalize(shapes)).all()
    assert frame["mean_depth"].to_numpy() == pytest.approx(bed.depth[bed.triangles].mean(axis=1))


def test_a_file_without_bed_is_told(tmp_path: Path) -> None:
    shore = geopandas.GeoDataFrame(geometry=[shapely.box(0, 0, 1, 1)], crs=UTM)
    write_features(shore, tmp_path / "a.gpkg", layer="shoreline")
    with pytest.raises(InputFileError, match=r"a\.gpkg holds no bed: layers .* are missing$"):
        read_bed(tmp_path / "a.gpkg")


@pytest.mark.parametrize(("layer", "column"), [(VERTICES, "depth"), (TRIANGLES, "b")])
def test_a_column_that_is_missing_is_named(layer: str, column: str, tmp_path: Path) -> None:
    write_bed(made(), tmp_path / "bed.gpkg")
    spoil(tmp_path / "bed.gpkg", layer, **{column: None})
    with pytest.raises(InputFileError, match=rf"holds no bed: columns \['{column}'\] are missing$"):
        read_bed(tmp_path / "bed.gpkg")


def test_a_kind_that_is_unknown_is_named(tmp_path: Path) -> None:
    write_bed(made(), tmp_path / "bed.gpkg")
    spoil(tmp_path / "bed.gpkg", VERTICES, kind="weed")
    with pytest.raises(InputFileError, match=r"bed\.gpkg.*'weed'"):
        read_bed(tmp_path / "bed.gpkg")


def test_a_triangle_between_vertices_that_are_missing_is_refused(tmp_path: Path) -> None:
    write_bed(made(), tmp_path / "bed.gpkg")
    spoil(tmp_path / "bed.gpkg", TRIANGLES, a=40)
    with pytest.raises(LayerError, match=r"triangles must name vertices 0 to 39, got .* to 40$"):
        read_bed(tmp_path / "bed.gpkg")


def test_a_triangle_that_names_no_vertex_is_refused(tmp_path: Path) -> None:
    write_bed(made(), tmp_path / "bed.gpkg")
    spoil(tmp_path / "bed.gpkg", TRIANGLES, a=np.nan)
    with pytest.raises((InputFileError, LayerError), match=r"bed|triangle"):
        read_bed(tmp_path / "bed.gpkg")


def test_writing_leaves_the_bed_as_it_is(tmp_path: Path) -> None:
    bed = made()
    copy = replace(bed, depth=bed.depth.copy())
    write_bed(bed, tmp_path / "bed.gpkg")
    assert np.array_equal(bed.depth, copy.depth)


def test_a_disk_that_fills_up_under_the_triangles_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_: object, **__: object) -> None:
        raise DataLayerError("sqlite3_exec(COMMIT) failed: database or disk is full")

    monkeypatch.setattr("pyogrio.write_arrow", full)
    with pytest.raises(OutputError, match=r"^bed\.gpkg cannot be written: .*disk is full$"):
        write_bed(made(), tmp_path / "bed.gpkg")


# ---- what a bed knows of its own error ----

PIECES = {"sd": None, "support": None, "draws": None}


def fitted(*, number: type = np.float64, draws: int = 7) -> Tin:
    """Make a bed that knows its error, all its figures with all their bits."""
    chance, bed = np.random.default_rng(6), made(sd=True)
    drawn = chance.normal(4, 2, (len(bed.depth), draws)).astype(number)
    return replace(bed, draws=drawn, support=chance.random(len(bed.depth)))


def told_by_sqlite(path: Path, query: str) -> list[tuple[object, ...]]:
    """Ask the file with the SQLite of Python, which knows nothing of maps."""
    connection = sqlite3.connect(path)
    try:
        return connection.execute(query).fetchall()
    finally:
        connection.close()


@pytest.mark.parametrize("number", [np.float32, np.float64])
@pytest.mark.parametrize("draws", [1, 7, 130])
def test_spread_support_and_draws_come_back_to_the_last_bit(
    number: type, draws: int, tmp_path: Path
) -> None:
    first = fitted(number=number, draws=draws)
    write_bed(first, tmp_path / "bed.gpkg")
    again = read_bed(tmp_path / "bed.gpkg")
    for name in PIECES:
        found, wanted = getattr(again, name), getattr(first, name)
        assert found.dtype == wanted.dtype, name
        assert found.tobytes() == wanted.tobytes(), name


@pytest.mark.parametrize("kept", PIECES)
def test_what_a_bed_does_not_have_is_not_in_the_file(kept: str, tmp_path: Path) -> None:
    whole = fitted()
    write_bed(replace(whole, **(PIECES | {kept: getattr(whole, kept)})), tmp_path / "bed.gpkg")
    again = read_bed(tmp_path / "bed.gpkg")
    assert [name for name in PIECES if getattr(again, name) is not None] == [kept]
    assert (DRAWS in layer_names(tmp_path / "bed.gpkg")) == (kept == "draws")


@pytest.mark.parametrize(("number", "letter"), [(np.float32, "f"), (np.float64, "d")])
def test_another_reader_finds_the_draws_as_the_page_says(
    number: type, letter: str, tmp_path: Path
) -> None:
    # independent: SQLite and the struct module of Python, after docs/outputs.md
    bed = fitted(number=number)
    assert bed.draws is not None
    write_bed(bed, tmp_path / "bed.gpkg")
    rows = told_by_sqlite(
        tmp_path / "bed.gpkg", "SELECT draw, number, depths FROM bed_draws ORDER BY draw"
    )
    assert [row[:2] for row in rows] == [(k, np.dtype(number).name) for k in range(1, 8)]
    for row, draw in zip(rows, bed.draws.T, strict=True):
        assert struct.unpack(f"<40{letter}", row[2]) == tuple(draw.tolist())  # type: ignore[arg-type]
    vertices = told_by_sqlite(
        tmp_path / "bed.gpkg", "SELECT fid, depth, sd, support FROM bed_vertices ORDER BY fid"
    )
    columns = (range(1, 41), bed.depth, bed.sd, bed.support)
    assert list(map(list, zip(*vertices, strict=True))) == [list(values) for values in columns]  # type: ignore[arg-type]


@pytest.mark.skipif(shutil.which("ogrinfo") is None, reason="ogrinfo is not installed")
def test_a_geographic_reader_sees_the_draws_as_a_table_without_shapes(tmp_path: Path) -> None:
    write_bed(fitted(), tmp_path / "bed.gpkg")
    done = subprocess.run(
        ["ogrinfo", "-so", str(tmp_path / "bed.gpkg"), DRAWS],
        capture_output=True,
        text=True,
        check=True,
    )
    assert "Geometry: None" in done.stdout
    assert "Feature Count: 7" in done.stdout
    assert re.findall(r"^(\w+): (\w+)", done.stdout, re.M)[-3:] == [
        ("draw", "Integer64"),
        ("number", "String"),
        ("depths", "Binary"),
    ]


def test_draws_are_read_in_their_own_order_whatever_that_of_the_rows(tmp_path: Path) -> None:
    bed = fitted()
    assert bed.draws is not None
    write_bed(bed, tmp_path / "bed.gpkg")
    change(tmp_path / "bed.gpkg", "UPDATE bed_draws SET draw = 8 - draw")
    again = read_bed(tmp_path / "bed.gpkg").draws
    assert again is not None
    np.testing.assert_array_equal(again, bed.draws[:, ::-1])


def change(path: Path, statement: str) -> None:
    connection = sqlite3.connect(path)
    with connection:
        connection.execute(statement)
    connection.close()


@pytest.mark.parametrize(
    ("statement", "message"),
    [
        (
            "UPDATE bed_draws SET depths = x'00' WHERE draw = 3",
            r"bed\.gpkg: draw 3 must hold 40 depths in 320 bytes, got 1 bytes$",
        ),
        (
            "UPDATE bed_draws SET depths = NULL WHERE draw = 2",
            r"bed\.gpkg: draw 2 must hold 40 depths in 320 bytes, got 0 bytes$",
        ),
        (
            "UPDATE bed_draws SET number = 'int8'",
            r"bed\.gpkg: number of the draws must be float32 or float64, got \['int8'\]$",
        ),
        (
            "UPDATE bed_draws SET number = 'float32' WHERE draw = 1",
            r"must be float32 or float64, got \['float32', 'float64'\]$",
        ),
        ("DELETE FROM bed_draws", r"must be float32 or float64, got \[\]$"),
        (
            "ALTER TABLE bed_draws RENAME COLUMN depths TO beds",
            r"bed\.gpkg holds no draws: columns \['depths'\] are missing$",
        ),
    ],
)
def test_draws_that_do_not_fit_are_told(statement: str, message: str, tmp_path: Path) -> None:
    write_bed(fitted(), tmp_path / "bed.gpkg")
    change(tmp_path / "bed.gpkg", statement)
    with pytest.raises(InputFileError, match=message):
        read_bed(tmp_path / "bed.gpkg")
