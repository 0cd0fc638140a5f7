"""Advice: the check says what to write where soundings lie outside the water."""

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from toolbox.desk.advice import place_advice
from toolbox.errors import InputFileError
from toolbox.formats.toml_text import read_toml
from toolbox.survey.lineage import Lineage
from toolbox.survey.reduce import read_inputs
from toolbox.survey.run import run
from toolbox.survey.settings import load_settings


def advised(
    folder: Path, pond: Any, header: str, *columns: np.ndarray, more: str = ""
) -> list[str]:
    np.savetxt(folder / "p.csv", np.column_stack(columns), "%.7f", ",", header=header, comments="")
    text = f'[water]\nname = "Pond"\nshoreline = "{pond.shoreline.as_posix()}"\n'
    text += f'[[soundings]]\nfile = "p.csv"\n{more}\n'
    (folder / "survey.toml").write_text(text, encoding="utf-8")
    settings = load_settings(folder / "survey.toml")
    return place_advice(settings, read_inputs(settings, Lineage(settings)))


def test_exchanged_columns_are_mended_by_what_is_advised(tmp_path: Path, pond: Any) -> None:
    east, north = pond.places.T
    crs = 'crs = "EPSG:32633"'
    (line,) = advised(tmp_path, pond, "easting,northing,depth", north, east, pond.depth, more=crs)
    assert line.startswith("p.csv: none of the soundings lie in the water; with easting and northi")
    with pytest.raises(
        InputFileError, match=r"^none of the \d+ soundings can be used \(\d+ outside"
    ):
        run(load_settings(tmp_path / "survey.toml"), tmp_path / "out")
    keys = line.partition("Put under [[soundings]]: ")[2].replace(", ", "\n")
    (tmp_path / "keys.toml").write_text(keys, encoding="utf-8")
    assert set(read_toml(tmp_path / "keys.toml")) == {"crs", "easting", "northing"}
    columns = (north, east, pond.depth)
    assert advised(tmp_path, pond, "easting,northing,depth", *columns, more=keys) == []


def test_another_water_is_asked_after(tmp_path: Path, pond: Any) -> None:
    degrees = np.full(len(pond.depth), 10.0)
    (line,) = advised(tmp_path, pond, "lon,lat,depth", degrees, degrees, pond.depth)
    assert line.endswith("Are shoreline and soundings of one water, and is the CRS right?")
