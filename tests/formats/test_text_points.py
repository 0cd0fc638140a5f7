"""Points in text, some rows at a time."""

from pathlib import Path

import numpy as np
import pytest

from toolbox.errors import InputFileError, ParameterError
from toolbox.formats.point_chunks import Choices, PointChunk, open_points
from toolbox.formats.soundings_file import read_soundings
from toolbox.formats.text_points import TextPoints

PLAIN = Choices(crs="EPSG:32633")


def written(path: Path, text: str) -> Path:
    path.write_text(text)
    return path


def only(file: TextPoints) -> PointChunk:
    (chunk,) = file.chunks(100)
    return chunk


def test_without_a_header_the_first_three_columns(tmp_path: Path) -> None:
    path = written(tmp_path / "a.xyz", "# made by hand\n1.5 2.5 3.5 9\n4 5 - 9\n")
    file = TextPoints(path, PLAIN)
    assert (file.kind, file.columns) == (None, ())
    found = only(file)
    np.testing.assert_array_equal(found.place, [[1.5, 2.5], [4, 5]])
    np.testing.assert_array_equal(found.height, [3.5, np.nan])


def test_same_numbers_as_the_reader_of_soundings(tmp_path: Path) -> None:
    rng = np.random.default_rng(3)
    figures = np.array([500_000, 5_200_000, 0]) + rng.uniform(0, 100, (500, 3))
    rows = "\n".join(f"{a:.4f};{b:.4f};{c:.3f};{k % 3}" for k, (a, b, c) in enumerate(figures))
    path = written(tmp_path / "a.csv", f"easting;northing;depth;line\n{rows}\n")
    file = TextPoints(path, PLAIN)
    chunks = list(file.chunks(64))
    assert len(chunks) == 8
    expected = read_soundings(path, crs="EPSG:32633")
    place = np.concatenate([chunk.place for chunk in chunks])
    np.testing.assert_array_equal(place, expected.coordinates)
    np.testing.assert_array_equal(np.concatenate([c.height for c in chunks]), expected.depth)
    lines = np.concatenate([chunk.columns["line"] for chunk in chunks])
    assert lines.tolist() == expected.frame["line"].tolist()


def test_rows_are_told_about_from_the_first_lines(tmp_path: Path) -> None:
    path = written(tmp_path / "a.xyz", "1.5 2.5 3.5\n" * 30_000)
    assert TextPoints(path, PLAIN).rows == pytest.approx(30_000, rel=0.01)


def test_decimal_commas(tmp_path: Path) -> None:
    path = written(tmp_path / "a.csv", "x;y;depth_ft\n1,5;2,5;3,25\n")
    file = TextPoints(path, Choices(crs="EPSG:32633", decimal=","))
    assert file.unit == "ft"
    np.testing.assert_array_equal(only(file).height, [3.25])


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("x,y,depth\n1,2,3\n\n1,2,deep\n", r"line 4: column 'depth' must hold a .* got 'deep'"),
        ("x,y,depth\n1,2,3\n1,inf,3\n", r"line 3: column 'y' must hold a finite .* got 'inf'"),
        ("x;y;depth\n1;2;3,5\n", r"line 2: column 'depth' must hold a finite .* got '3,5'"),
        ("x,y,depth\n" + "1,2,3\n" * 99 + "1,2,3,4\n", r"a.csv is not an even table: "),
    ],
)
def test_the_line_that_is_wrong_is_named(tmp_path: Path, text: str, message: str) -> None:
    file = TextPoints(written(tmp_path / "a.csv", text), PLAIN)
    with pytest.raises(InputFileError, match=message):
        list(file.chunks(1))


def test_what_is_not_told(tmp_path: Path) -> None:
    path = written(tmp_path / "a.xyz", "1 2 3\n")
    with pytest.raises(InputFileError, match=r"a\.xyz names no CRS: give one with crs, such as"):
        TextPoints(path, Choices())
    path = written(tmp_path / "b.csv", "x,y,b\n1,2,3\n")
    with pytest.raises(InputFileError, match="no column that is plainly the depth"):
        TextPoints(path, PLAIN)


def test_opened_by_suffix(tmp_path: Path) -> None:
    path = written(tmp_path / "a.TXT", "1 2 3\n")
    assert isinstance(open_points(path, PLAIN), TextPoints)
    with pytest.raises(ParameterError, match=r"point files are .las, .laz, .parquet, .* 'a.gpx'"):
        open_points(written(tmp_path / "a.gpx", "1 2 3\n"), PLAIN)


def test_a_fault_below_blank_rows_names_its_line(tmp_path: Path) -> None:
    path = tmp_path / "points.csv"
    path.write_text("x,y,depth\n1,2,3\n,,\n,,\n1,2,deep\n")
    points = TextPoints(path, Choices(crs="EPSG:32633"))
    with pytest.raises(InputFileError, match="line 5: column 'depth' must hold a finite number"):
        list(points.chunks(10))
