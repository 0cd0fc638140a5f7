"""Every noun goes in and out by the door that its file name opens."""

import csv
import inspect
from pathlib import Path
from typing import Any

import geopandas
import numpy as np
import pandas as pd
import pyproj
import pytest
import shapely
from affine import Affine

from toolbox import layers
from toolbox.errors import InputFileError, ParameterError
from toolbox.formats.doors import READERS, SUFFIXES, read_table, write
from toolbox.formats.exchange import EXCHANGE
from toolbox.habitat.species import SpeciesLimits
from toolbox.layers import (
    Breaklines,
    CastLog,
    Grid,
    Picture,
    Shoreline,
    Soundings,
    Table,
    Tin,
    Vectors,
)
from toolbox.layers.grid_blocks import GridBlocks
from toolbox.stocking.proposal import StockingProposal

UTM = pyproj.CRS.from_epsg(32633)
CORNERS = np.array([(500_000.0, 5_200_000.0), (500_100.0, 5_200_000.0), (500_000.0, 5_200_100.0)])


def nouns() -> dict[type, Any]:
    return {
        Soundings: Soundings.from_arrays(CORNERS, np.array([1.0, 2.5, np.nan]), crs=UTM),
        Shoreline: Shoreline.from_shapes([shapely.Polygon(CORNERS)], UTM, depth=-0.5),
        Tin: Tin(CORNERS, np.array([0.0, 2.0, 1.0]), np.array([[0, 1, 2]]), np.zeros(3), UTM),
        Grid: Grid(np.eye(2, 3), Affine(1, 0, 7, 0, -1, 9), UTM, "depth", "m"),
        Table: Table(pd.DataFrame({"depth_m": [0.0, 1.0], "note": ["a", "b"]}), "areas"),
        Vectors: Vectors(
            geopandas.GeoDataFrame(
                {"kind": ["hump", "hole"], "area_m2": [12.5, 3.0]},
                geometry=[shapely.Polygon(CORNERS), shapely.Polygon(CORNERS + 200)],
                crs=UTM,
            ),
            "features",
        ),
        Picture: Picture(lambda figure: figure.subplots(), 60.0, 60.0, 50),
    }


WRITTEN = [
    (kind, suffix)
    for kind, suffixes in SUFFIXES.items()
    for suffix in suffixes
    if suffix not in EXCHANGE.get(kind, ())  # for other programs: tested with each format
    and kind is not Picture  # which no tool takes
]


def test_every_noun_that_tools_take_has_a_reader() -> None:
    given = {kind for _, kind in inspect.getmembers(layers, inspect.isclass)}
    given |= {GridBlocks, SpeciesLimits, StockingProposal}
    readable = set(READERS)
    assert {Soundings, Shoreline, Breaklines, Tin, Grid, Table} <= readable <= given
    assert set(SUFFIXES) - {Picture} <= readable


@pytest.mark.parametrize("kind", READERS, ids=lambda kind: kind.__name__)
def test_readers_take_a_path_and_options_by_name(kind: type) -> None:
    parameters = list(inspect.signature(READERS[kind]).parameters.values())
    assert (parameters[0].name, parameters[0].annotation) == ("path", Path)
    assert {parameter.kind for parameter in parameters[1:]} <= {inspect.Parameter.KEYWORD_ONLY}
    needed = [
        parameter.name for parameter in parameters[1:] if parameter.default is parameter.empty
    ]
    assert needed == (["pings"] if kind is CastLog else [])


@pytest.mark.parametrize(
    ("kind", "suffix"), WRITTEN, ids=[f"{kind.__name__}{suffix}" for kind, suffix in WRITTEN]
)
def test_a_noun_written_with_any_suffix_that_is_offered_is_read_again(
    kind: type, suffix: str, tmp_path: Path
) -> None:
    path = tmp_path / f"result{suffix}"
    write(nouns()[kind], path)
    assert path.stat().st_size > 0
    options = {"crs": "EPSG:32633"} if suffix == ".csv" and kind is not Table else {}
    again = READERS[kind](path, **options)
    assert type(again) is kind
    if kind is Soundings:
        assert sorted(again.frame["reason"]) == ["", "", "no depth"]
        assert np.nansum(again.depth) == 3.5
    elif kind is Shoreline:
        assert again.ground_area() == pytest.approx(nouns()[kind].ground_area(), rel=1e-4)
    elif kind is Vectors:
        assert again.frame["area_m2"].astype(float).tolist() == [12.5, 3.0]
        assert again.frame.to_crs(UTM).area.tolist() == pytest.approx([5000, 5000], rel=1e-3)
    elif kind is Table:
        assert again.column("depth_m").tolist() == [0, 1]


@pytest.mark.parametrize("kind", SUFFIXES, ids=lambda kind: kind.__name__)
@pytest.mark.parametrize("name", ["result", "result.doc", "result.csv.bak"])
def test_a_suffix_that_does_not_fit_is_refused(kind: type, name: str, tmp_path: Path) -> None:
    noun = "layer of shapes" if kind is Vectors else kind.__name__.lower()
    words = rf"^a {noun} is written as \{SUFFIXES[kind][0]}.*, got '{name}'$"
    with pytest.raises(ParameterError, match=words):
        write(nouns()[kind], tmp_path / name)
    assert list(tmp_path.iterdir()) == []


def test_soundings_as_text_begin_with_their_place(tmp_path: Path) -> None:
    path = tmp_path / "soundings.csv"
    write(nouns()[Soundings], path)
    with path.open(newline="", encoding="utf-8") as file:
        first, *rows = list(csv.reader(file))
    assert first[:3] == ["easting", "northing", "depth"]
    assert "geometry" not in first
    assert [row[:3] for row in rows] == [
        ["500000", "5200000", "1"],
        ["500100", "5200000", "2.5"],
        ["500000", "5200100", ""],
    ]


def test_the_depth_of_a_shoreline_is_written_beside_it(tmp_path: Path) -> None:
    import geopandas

    write(nouns()[Shoreline], tmp_path / "shore.gpkg")
    frame = geopandas.read_file(tmp_path / "shore.gpkg", layer="shoreline")
    assert frame["depth"].tolist() == [-0.5]
    assert frame["islands"].tolist() == [0]


# ---- tables ----


def test_a_table_is_read_with_its_decimal_commas(tmp_path: Path) -> None:
    path = tmp_path / "areas.csv"
    path.write_text("depth_m;area_m2;note\n0,0;1500,5;shore, reeds\n1,5;200;-\n")
    table = read_table(path)
    assert table.column("depth_m").tolist() == [0, 1.5]
    assert table.column("area_m2").tolist() == [1500.5, 200]
    assert table.frame["note"].tolist() == ["shore, reeds", "-"]
    assert table.title == "areas"


def test_an_empty_cell_in_a_table_is_missing_and_no_text(tmp_path: Path) -> None:
    path = tmp_path / "areas.csv"
    path.write_text("depth_m,elevation_m\n0,\n1,99.5\n")
    assert read_table(path).column("elevation_m") == pytest.approx([np.nan, 99.5], nan_ok=True)


def test_a_table_that_is_missing_is_told(tmp_path: Path) -> None:
    with pytest.raises(InputFileError, match=r"areas\.csv does not exist$"):
        read_table(tmp_path / "areas.csv")
