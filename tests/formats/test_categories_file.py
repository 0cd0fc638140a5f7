"""Rasters of codes: colours in the file, names beside it, and no means of codes."""

import json
import shutil
import subprocess
from pathlib import Path

import numpy as np
import pytest
import rasterio
from affine import Affine
from pyproj import CRS

from toolbox.errors import LayerError
from toolbox.formats.categories_file import write_categories
from toolbox.formats.geotiff import NO_CODE, read_grid, write_grid
from toolbox.layers import Grid

CLASSES = {1: ("flat", "#ece7dc"), 3: ('<b>ridge</b> & "more"', "#c4502a"), 10: ("pit", "#0b2f66")}
PALETTE = {code: colour for code, (_, colour) in CLASSES.items()}


def codes(side: int = 64) -> Grid:
    found = np.random.default_rng(3).choice(
        [1, 3, 10, np.nan], (side, side), p=[0.6, 0.1, 0.2, 0.1]
    )
    return Grid(found, Affine(1, 0, 5e5, 0, -1, 5e6), CRS.from_epsg(32633), "landforms", "1")


def test_codes_come_back_as_they_were(tmp_path: Path) -> None:
    path, wanted = tmp_path / "landforms.tif", codes()
    write_grid(wanted, path, palette=PALETTE)
    found = read_grid(path)
    np.testing.assert_array_equal(found.values, wanted.values)
    assert (found.name, found.unit, found.transform) == ("landforms", "1", wanted.transform)


def test_colours_are_in_the_file(tmp_path: Path) -> None:
    path = tmp_path / "landforms.tif"
    write_grid(codes(), path, palette=PALETTE)
    with rasterio.open(path) as source:
        assert source.dtypes == ("uint8",)
        assert source.nodata == NO_CODE
        table = source.colormap(1)
    told = {code: "#" + bytes(table[code][:3]).hex() for code in PALETTE}
    assert told == PALETTE


def test_overviews_hold_codes_that_are_there_and_no_means(tmp_path: Path) -> None:
    path, wanted = tmp_path / "landforms.tif", codes(1200)
    write_grid(wanted, path, palette=PALETTE)
    with rasterio.open(path) as source:
        assert source.overviews(1)
        small = source.read(1, out_shape=(300, 300))
    assert set(np.unique(small)) <= {1, 3, 10, NO_CODE}
    assert (small == 1).mean() > 0.6  # the commonest: more often than in the whole


def test_a_code_without_a_colour_is_refused(tmp_path: Path) -> None:
    with pytest.raises(LayerError, match=r"landforms must hold codes 1, 3, got 10"):
        write_grid(codes(), tmp_path / "a.tif", palette={1: "#000000", 3: "#ffffff"})
    half = Grid(np.full((2, 2), 1.5), Affine(1, 0, 0, 0, -1, 0), None, "landforms", "1")
    with pytest.raises(LayerError, match=r"landforms must hold codes 1, got 1.5"):
        write_grid(half, tmp_path / "a.tif", palette={1: "#000000"})


@pytest.mark.skipif(shutil.which("gdalinfo") is None, reason="no gdalinfo here (Debian: gdal-bin)")
def test_another_program_reads_names_and_colours(tmp_path: Path) -> None:
    path = tmp_path / "landforms.tif"
    write_grid(codes(), path, palette=PALETTE)
    assert write_categories(CLASSES, path).name == "landforms.tif.aux.xml"
    done = subprocess.run(
        ["gdalinfo", "-json", str(path)], capture_output=True, text=True, check=True
    )
    band = json.loads(done.stdout)["bands"][0]
    assert [band["categories"][code] for code in CLASSES] == [name for name, _ in CLASSES.values()]
    assert len(band["categories"]) == 11
    assert band["colorTable"]["entries"][3][:3] == [0xC4, 0x50, 0x2A]
    rows = json.loads(done.stdout)["rat"]["row"]
    assert [row["f"][:2] for row in rows] == [[code, name] for code, (name, _) in CLASSES.items()]
