"""XYZ: one line a place, read again by other readers."""

import shutil
import subprocess
from pathlib import Path
from typing import Any

import numpy as np
import pyproj
import pytest
from affine import Affine

from toolbox.errors import OutputError, ParameterError
from toolbox.formats.soundings_file import read_soundings
from toolbox.formats.xyz import thin_xyz
from toolbox.formats.xyz_file import write_xyz
from toolbox.layers import Grid, Tin

UTM = pyproj.CRS.from_epsg(32633)


def grid(rows: int = 3, cols: int = 4) -> Grid:
    values = np.arange(rows * cols, dtype=float).reshape(rows, cols) / 8 - 0.0004
    values[1, 2] = np.nan
    return Grid(values, Affine(2.5, 0, 500_000.25, 0, -2.5, 5_200_100), UTM, "depth", "m")


def bed() -> Tin:
    places = np.array([(500_000.0625, 5_200_000.0), (500_100, 5_200_000), (500_000, 5_200_100)])
    return Tin(places, np.array([0.0, -0.0001, 1.5]), np.array([[0, 1, 2]]), np.zeros(3), UTM)


def test_cells_are_told_at_their_centres_from_north_west(tmp_path: Path) -> None:
    write_xyz(grid(), tmp_path / "a.xyz")
    first, *lines = (tmp_path / "a.xyz").read_text().splitlines()
    assert first == "easting northing depth"
    assert lines[:2] == ["500001.5 5200098.75 0", "500004 5200098.75 0.125"]
    assert len(lines) == 11  # the empty cell is left out
    assert "nan" not in "".join(lines)


def test_nodes_of_a_bed_keep_their_order(tmp_path: Path) -> None:
    write_xyz(bed(), tmp_path / "a.xyz", header=False, delimiter="comma")
    assert (tmp_path / "a.xyz").read_text() == (
        "500000.062,5200000,0\n500100,5200000,0\n500000,5200100,1.5\n"
    )


DELIMITERS = pytest.mark.parametrize("delimiter", ["blank", "comma", "tab", "semicolon"])


@DELIMITERS
def test_soundings_are_read_from_it(delimiter: Any, tmp_path: Path) -> None:
    write_xyz(grid(30, 40), tmp_path / "a.xyz", delimiter=delimiter)
    read = read_soundings(tmp_path / "a.xyz", crs="EPSG:32633")
    values = grid(30, 40).values
    assert read.depth == pytest.approx(values[np.isfinite(values)], abs=6e-4)
    assert read.coordinates[0].tolist() == [500_001.5, 5_200_098.75]


@DELIMITERS
def test_they_are_thinned_from_it_without_a_header(delimiter: Any, tmp_path: Path) -> None:
    write_xyz(grid(30, 40), tmp_path / "a.xyz", header=False, delimiter=delimiter)
    read = thin_xyz(tmp_path / "a.xyz", cell=0.5, crs="EPSG:32633")
    values = grid(30, 40).values
    assert np.sort(read.depth) == pytest.approx(np.sort(values[np.isfinite(values)]), abs=6e-4)


@pytest.mark.skipif(shutil.which("gdal_translate") is None, reason="gdal is not installed")
def test_gdal_reads_it_as_a_raster(tmp_path: Path) -> None:
    write_xyz(grid(30, 40), tmp_path / "a.xyz")
    info = subprocess.run(
        ["gdalinfo", "-stats", str(tmp_path / "a.xyz")], capture_output=True, text=True, check=True
    ).stdout
    assert "Driver: XYZ" in info
    assert "Size is 40, 30" in info
    assert "Pixel Size = (2.5" in info
    assert "Origin = (500000.25" in info
    assert "STATISTICS_MAXIMUM=149.875" in info


def test_portions_join_without_a_seam(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    write_xyz(grid(30, 40), tmp_path / "whole.xyz")
    monkeypatch.setattr("toolbox.formats.xyz_file._CELLS", 90)  # two rows at a time
    write_xyz(grid(30, 40), tmp_path / "parts.xyz")
    assert (tmp_path / "parts.xyz").read_bytes() == (tmp_path / "whole.xyz").read_bytes()


def test_what_is_there_stays(tmp_path: Path) -> None:
    (tmp_path / "a.xyz").write_text("precious")
    with pytest.raises(OutputError, match=r"a\.xyz exists already"):
        write_xyz(bed(), tmp_path / "a.xyz")
    assert (tmp_path / "a.xyz").read_text() == "precious"


def test_another_delimiter_is_refused(tmp_path: Path) -> None:
    message = r"^delimiter must be one of blank, comma, tab, semicolon, got ';'$"
    with pytest.raises(ParameterError, match=message):
        write_xyz(bed(), tmp_path / "a.xyz", delimiter=";")  # type: ignore[arg-type]
