"""Rows whose coordinates were typed in each other's columns are told, with how many they are."""

from pathlib import Path

import geopandas
import numpy as np
import pytest
import shapely

from toolbox.notes import Caution
from toolbox.survey.lineage import Lineage
from toolbox.survey.reduce import read_inputs
from toolbox.survey.settings import load_settings

CORNERS = np.array([(9.0, 48.0), (9.01, 48.0), (9.01, 48.01), (9.0, 48.01)])


def told(folder: Path, rows: list[tuple[float, float]], head: str, more: str = "") -> list[str]:
    water = geopandas.GeoDataFrame(geometry=[shapely.Polygon(CORNERS)], crs=4326)
    water.to_file(folder / "shore.geojson", driver="GeoJSON")
    text = "\n".join([head, *(f"{a:.7f},{b:.7f},2" for a, b in rows)])
    (folder / "p.csv").write_text(text + "\n", encoding="utf-8")
    text = (
        f'[water]\nname = "W"\nshoreline = "shore.geojson"\n[[soundings]]\nfile = "p.csv"\n{more}'
    )
    (folder / "s.toml").write_text(text, encoding="utf-8")
    settings = load_settings(folder / "s.toml")
    lineage = Lineage(settings)
    read_inputs(settings, lineage)
    return [note for note in lineage.notes if isinstance(note, Caution)]


@pytest.mark.parametrize("lon_first", [True, False])
def test_rows_of_plain_degrees_that_were_exchanged_are_counted(
    tmp_path: Path, lon_first: bool
) -> None:
    inside = [(9.002 + k / 1000, 48.004) for k in range(5)]
    away = [(9.5, 48.5), (10.0, 49.0)]
    rows = [*inside, (48.004, 9.003), away[0], (48.005, 9.004), away[1]]
    head = "longitude,latitude,depth"
    if not lon_first:
        rows, head = [(b, a) for a, b in rows], "lat,lon,depth"
    (note,) = told(tmp_path, rows, head)
    pair = "longitude and latitude" if lon_first else "lat and lon"
    assert note == (
        f"p.csv: 2 of 4 soundings outside the water would lie in it with {pair} exchanged, the "
        "first in line 7: put right what is exchanged in the file"
    )


def test_eastings_and_northings_that_were_exchanged_are_counted(tmp_path: Path) -> None:
    water = geopandas.GeoSeries(shapely.points(CORNERS.mean(axis=0)[None]), crs=4326)
    x, y = water.to_crs(32632).get_coordinates().to_numpy()[0]
    rows = [(x, y), (x + 20, y), (y, x)]
    (note,) = told(tmp_path, rows, "easting,northing,depth", 'crs = "EPSG:32632"\n')
    assert note.startswith("p.csv: 1 of 1 sounding outside the water would lie in it with easting")


@pytest.mark.parametrize("away", [(9.5, 48.5), (48.5, 9.5), (9.0105, 48.004), (9.004, 47.0)])
def test_nothing_is_said_of_rows_that_lie_elsewhere(
    tmp_path: Path, away: tuple[float, float]
) -> None:
    inside = [(9.002 + k / 1000, 48.004) for k in range(5)]
    assert told(tmp_path, [*inside, away], "longitude,latitude,depth") == []
