"""Long text of x, y, z: the same soundings as from memory, whatever the file looks like."""

import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from toolbox.errors import InputFileError, ParameterError, TooLargeError
from toolbox.formats.soundings_file import read_soundings
from toolbox.formats.xyz import thin_xyz
from toolbox.layers.crs import parse_crs
from toolbox.reduction.thinning import By, thin
from toolbox.units import convert

UTM = "EPSG:32633"
PLACE = np.array([[500_000.25, 5_400_000.5], [500_000.75, 5_400_000.5], [500_003.5, 5_400_007.0]])
DEPTH = np.array([3.5, 4.5, 8.25])


def put(folder: Path, text: str, name: str = "figures.xyz", encoding: str = "utf-8") -> Path:
    path = folder / name
    path.write_bytes(text.encode(encoding))
    return path


def table(
    mark: str = ",", *, header: str | None = "easting,northing,depth", decimal: str = "."
) -> str:
    rows = [
        mark.join(f"{value}" for value in row)
        for row in zip(*PLACE.T.tolist(), DEPTH.tolist(), strict=True)
    ]
    head = [] if header is None else [header.replace(",", mark)]
    return "\n".join([*head, *(row.replace(".", decimal) for row in rows)]) + "\n"


def check(path: Path, **options: object) -> None:
    """Compare with the figures: the first two share a cell of one metre."""
    done = thin_xyz(path, **{"cell": 1.0, "crs": UTM} | options)  # type: ignore[arg-type]
    np.testing.assert_array_equal(done.frame["count"], [2, 1])
    np.testing.assert_allclose(done.depth, [4.0, 8.25], atol=1e-9)
    np.testing.assert_allclose(done.coordinates, [PLACE[:2].mean(axis=0), PLACE[2]], atol=1e-9)


# ---- however it is written ----


@pytest.mark.parametrize("mark", [",", ";", "\t", "|", " ", "   "])
@pytest.mark.parametrize("header", ["easting,northing,depth", "X,Y,Z", None])
def test_delimiters_and_headers(mark: str, header: str | None, tmp_path: Path) -> None:
    check(put(tmp_path, table(mark, header=header)))


@pytest.mark.parametrize("mark", [";", "\t", " "])
def test_decimal_commas(mark: str, tmp_path: Path) -> None:
    path = put(tmp_path, table(mark, decimal=","))
    check(path)
    check(path, decimal=",")


@pytest.mark.parametrize("ending", ["\n", "\r\n"])
def test_remarks_blank_lines_and_line_ends(ending: str, tmp_path: Path) -> None:
    lines = ["# sounded in spring", "", *table().splitlines(), "", "  "]
    lines.insert(5, "")
    check(put(tmp_path, ending.join(lines)))


def test_encoding_and_byte_order_mark(tmp_path: Path) -> None:
    check(put(tmp_path, table(), encoding="utf-8-sig"))
    named = table(header="easting,northing,Tiefe f\u00fcr Boote")
    path = put(tmp_path, named, encoding="cp1252")
    check(path, encoding="cp1252", depth="Tiefe f\u00fcr Boote")
    with pytest.raises(InputFileError, match=r"figures\.xyz is not utf-8 text"):
        thin_xyz(path, cell=1, crs=UTM)


def test_columns_by_name_among_others(tmp_path: Path) -> None:
    rows = [
        f"{k},reeds & 'lilies',{z},{y},{x},9"
        for k, (x, y, z) in enumerate(zip(*PLACE.T, DEPTH, strict=True))
    ]
    path = put(tmp_path, "\n".join(["id,note,read,b,a,depth", *rows]))
    check(path, easting="a", northing="b", depth="read")


@pytest.mark.parametrize("rows", [1, 2, 3, 1000])
def test_portions_of_any_size(rows: int, tmp_path: Path) -> None:
    check(put(tmp_path, table()), rows=rows)


# ---- what the figures mean ----


@pytest.mark.parametrize("unit", ["ft", "fathom", "survey_foot"])
def test_units_of_depth(unit: str, tmp_path: Path) -> None:
    values = convert(DEPTH, "m", unit)
    rows = [f"{x!r},{y!r},{z!r}" for (x, y), z in zip(PLACE.tolist(), values.tolist(), strict=True)]
    check(put(tmp_path, "\n".join(["x,y,z", *rows])), unit=unit)
    if unit == "ft":
        path = put(tmp_path, "\n".join(["x,y,depth_ft", *rows]))
        check(path)
        assert thin_xyz(path, cell=1, crs=UTM).notes[0] == (
            "depths read in ft, as their column's name says"
        )


def test_depths_that_grow_upwards_and_elevations(tmp_path: Path) -> None:
    up = [f"{x} {y} {-z}" for (x, y), z in zip(PLACE, DEPTH, strict=True)]
    path = put(tmp_path, "\n".join(up))
    check(path, positive="up")
    with pytest.raises(InputFileError, match=r"most depths in column '3' are negative; if they gr"):
        thin_xyz(path, cell=1, crs=UTM)
    bed = [f"{x} {y} {431.5 - z}" for (x, y), z in zip(PLACE, DEPTH, strict=True)]
    check(put(tmp_path, "\n".join(bed)), datum=431.5)


def test_degrees_and_feet_are_projected(tmp_path: Path) -> None:
    import pyproj

    to_degrees = pyproj.Transformer.from_crs(UTM, "EPSG:4326", always_xy=True)
    degrees = np.column_stack(to_degrees.transform(*PLACE.T)).tolist()
    rows = [f"{x!r},{y!r},{z}" for (x, y), z in zip(degrees, DEPTH, strict=True)]
    path = put(tmp_path, "\n".join(["longitude,latitude,depth", *rows]))
    done = thin_xyz(path, cell=1.0, rows=2)
    np.testing.assert_allclose(done.coordinates[1], PLACE[2], atol=1e-6)
    assert done.crs == parse_crs(UTM)
    assert done.notes[0] == "longitude and latitude taken as WGS 84"
    feet = convert(PLACE - [499_000, 5_399_000], "m", "survey_foot").tolist()
    crs = "+proj=tmerc +lon_0=15 +k=0.9996 +x_0=1000 +y_0=-5399000 +datum=WGS84 +units=us-ft"
    rows = [f"{x!r},{y!r},{z}" for (x, y), z in zip(feet, DEPTH, strict=True)]
    done = thin_xyz(put(tmp_path, "\n".join(rows)), cell=1.0, crs=crs)
    np.testing.assert_allclose(done.coordinates[1], PLACE[2], atol=1e-6)


def test_the_zone_does_not_depend_on_the_order_of_rows(tmp_path: Path) -> None:
    rows = ["11.9,48,5", "12.3,48,6", "12.31,48,7"]  # across the edge of two zones
    layers = [
        thin_xyz(put(tmp_path, "\n".join(["lon,lat,depth", *order])), cell=1, rows=1)
        for order in (rows, rows[::-1])
    ]
    assert layers[0].crs == layers[1].crs == parse_crs("EPSG:32633")
    np.testing.assert_array_equal(layers[0].depth, layers[1].depth)


# ---- the same as from memory ----


@settings(
    max_examples=15, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(
    st.integers(0, 2**32 - 1),
    st.sampled_from(["mean", "shoalest", "deepest"]),
    st.sampled_from([0.5, 3.0, 200.0]),
    st.integers(20, 400),
)
def test_the_same_as_in_memory(tmp_path: Path, seed: int, by: By, cell: float, rows: int) -> None:
    rng = np.random.default_rng(seed)
    place = np.round(rng.uniform(-20, 20, (300, 2)) + np.array([500_000, 5_400_000]), 2)
    lines = [
        f"{x:.2f} {y:.2f} {z:.1f}" for (x, y), z in zip(place, rng.uniform(0, 9, 300), strict=True)
    ]
    path = put(tmp_path, "\n".join(["x y depth", *lines]), "a.csv")
    shuffled = put(tmp_path, "\n".join(["x y depth", *rng.permutation(lines)]), "b.csv")
    streamed = thin_xyz(shuffled, cell=cell, by=by, crs=UTM, rows=rows)  # type: ignore[arg-type]
    whole = thin(read_soundings(path, crs=UTM), cell=cell, by=by)
    assert streamed.frame["count"].sum() == 300
    np.testing.assert_array_equal(streamed.frame["count"], whole.frame["count"])
    exact = 0 if by != "mean" else 1e-9
    np.testing.assert_allclose(streamed.depth, whole.depth, rtol=0, atol=exact)
    np.testing.assert_allclose(streamed.coordinates, whole.coordinates, rtol=0, atol=exact)


def test_rows_without_depth_or_place_are_counted(tmp_path: Path) -> None:
    rows = ["1,1,5", "1,1,", "1,,5", "NA,1,5", "1,1,-", "1,1,NaN", "1,1,6"]
    done = thin_xyz(put(tmp_path, "\n".join(["x,y,depth", *rows])), cell=1, crs=UTM, rows=2)
    assert done.frame["count"].tolist() == [2]
    assert done.notes == (
        "1 sounding, by mean over cells of 1 m, stand for 2 rows; "
        "left out: 5 rows without a depth or a place",
    )


# ---- what is wrong with it ----


@pytest.mark.parametrize("rows", [1, 1000])
@pytest.mark.parametrize(
    ("line", "message"),
    [
        ("1,2,deep", r"line 6: column 'depth' must hold a finite number or be empty, got 'deep'$"),
        ("1,2,inf", r"line 6: column 'depth' must hold a finite number or be empty, got 'inf'$"),
        ("1,2x,3", r"line 6: column 'y' must hold a finite number or be empty, got '2x'$"),
        ("1,2,3,4", r"line 6: the row must have 3 cells, got 4$"),
    ],
)
def test_the_line_that_is_wrong_is_named(
    line: str, message: str, rows: int, tmp_path: Path
) -> None:
    text = "# remark\nx,y,depth\n1,2,3\n\n1,2,3\n" + line + "\n1,2,3\n"
    with pytest.raises(InputFileError, match=r"figures\.xyz, " + message):
        thin_xyz(put(tmp_path, text), cell=1, crs=UTM, rows=rows, delimiter=",")


def test_refusals(tmp_path: Path) -> None:
    path = put(tmp_path, table())
    with pytest.raises(InputFileError, match=r"names no CRS: give one with crs, such as 'EPSG:326"):
        thin_xyz(path, cell=1)
    with pytest.raises(
        InputFileError, match=r"has no column 'peg', only easting, northing, depth$"
    ):
        thin_xyz(path, cell=1, crs=UTM, easting="peg")
    with pytest.raises(
        InputFileError, match=r"has no column that is plainly the depth; name one of"
    ):
        thin_xyz(put(tmp_path, "x,y,w\n1,2,3\n"), cell=1, crs=UTM)
    with pytest.raises(InputFileError, match=r"holds no row with a depth and a place$"):
        thin_xyz(put(tmp_path, "x,y,depth\n1,2,\n"), cell=1, crs=UTM)
    with pytest.raises(InputFileError, match=r"does not exist$"):
        thin_xyz(tmp_path / "none.xyz", cell=1, crs=UTM)
    with pytest.raises(InputFileError, match=r"is empty$"):
        thin_xyz(put(tmp_path, ""), cell=1, crs=UTM)
    with pytest.raises(ParameterError, match=r"^cell must be > 0 m, got 0$"):
        thin_xyz(path, cell=0, crs=UTM)
    with pytest.raises(
        ParameterError, match=r"^by must be one of 'mean', 'shoalest', 'deepest', g"
    ):
        thin_xyz(path, cell=1, crs=UTM, by="median")  # type: ignore[arg-type]


def test_too_many_cells_are_refused_before_memory_ends(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    import psutil

    class Little:
        available = 700

    monkeypatch.setattr(psutil, "virtual_memory", Little)
    path = put(tmp_path, table())
    with pytest.raises(
        TooLargeError, match=r"has 2 cells of cell = 1 m and more to come, .* widen"
    ):
        thin_xyz(path, cell=1, crs=UTM)
    check_one = thin_xyz(path, cell=1000, crs=UTM)
    assert len(check_one) == 1


_PEAK = """
import sys
from pathlib import Path
from toolbox.formats.xyz import thin_xyz
done = thin_xyz(Path(sys.argv[1]), cell=10.0, crs="EPSG:32633", rows=50_000)
peak = next(line for line in open("/proc/self/status") if line.startswith("VmHWM"))
print(done.frame["count"].sum(), peak.split()[1])
"""


@pytest.mark.skipif(sys.platform != "linux", reason="peak memory is read from /proc")
def test_memory_stays_flat_as_the_file_grows(tmp_path: Path) -> None:
    rng = np.random.default_rng(11)
    lines = [f"{x:.2f},{y:.2f},{z:.2f}\n" for x, y, z in rng.uniform(0, 500, (50_000, 3))]
    block, peaks = "".join(lines), []
    for times in (2, 30):
        path = put(tmp_path, "x,y,depth\n" + block * times)
        done = subprocess.run(
            [sys.executable, "-c", _PEAK, str(path)], capture_output=True, text=True, check=True
        )
        count, peak = map(int, done.stdout.split())
        assert count == 50_000 * times
        peaks.append(peak)
    # kB; the longer file has 1.4 million rows more, 34 MB as numbers and as much as text
    assert peaks[1] < peaks[0] + 10_000


@pytest.mark.parametrize("rows", [1, 1000])
def test_a_cell_too_many_is_found_among_delimiters_that_end_rows(rows: int, tmp_path: Path) -> None:
    text = "x,y,depth\n" + "1,2,3,\n" * 3
    assert len(thin_xyz(put(tmp_path, text), cell=1, crs=UTM, rows=rows, delimiter=",")) == 1
    with pytest.raises(InputFileError, match=r"line 5: the row must have 3 cells, got 4$"):
        thin_xyz(put(tmp_path, text + "1,2,3,4\n"), cell=1, crs=UTM, rows=rows, delimiter=",")
