"""Parts of a folder: what is asked for is written as in the whole, and nothing else."""

import shutil
from pathlib import Path

import pytest

from toolbox.errors import SettingsError
from toolbox.survey.run import run
from toolbox.survey.settings import load_settings

SAMPLE = Path(__file__).resolve().parents[2] / "sample_layers"
ALWAYS = {"findings.txt", "lineage.json"}
PARTS = {
    "layers": {"lakebed.gpkg"},
    "rasters": {"depth.tif", "depth.sld", "slope.tif", "distance_to_sounding.tif"},
    "tables": {"hypsography.csv", "morphometry.csv", "crossings.csv", "methods.csv"},
    "workbook": {"areas_and_volumes.xlsx", "areas_and_volumes.csv"},
    "pictures": {"map.png", "figures"},
    "sheet": {"sheet.pdf"},
    "page": {"report.html"},
    "exports": {"exports"},
    "metadata": {"metadata.xml", "metadata.txt"},
}


@pytest.fixture(scope="module")
def inputs(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("inputs")
    for name in ("shoreline.gpkg", "boat_points.csv", "plummet.csv"):
        shutil.copy(SAMPLE / name, folder)
    return folder


def written(inputs: Path, parts: str) -> Path:
    """Carry out the sample with these parts, on coarse cells; the folder."""
    text = (SAMPLE / "points.toml").read_text(encoding="utf-8").replace('"2 m"', '"5 m"')
    survey = inputs / "survey.toml"
    survey.write_text(text.replace("[make]\n", f"[make]\nwrite = {parts}\n"), encoding="utf-8")
    out = inputs / "out"
    run(load_settings(survey), out, overwrite=True)
    return out


@pytest.mark.parametrize("part", PARTS)
def test_a_part_alone(inputs: Path, part: str) -> None:
    out = written(inputs, f'["{part}"]')
    names = {path.name for path in out.iterdir()}
    assert names >= PARTS[part] | ALWAYS
    others = set().union(*(found for name, found in PARTS.items() if name != part))
    assert not names & others


def test_tables_are_those_of_the_whole_folder(inputs: Path) -> None:
    tables = {path.name: path.read_bytes() for path in written(inputs, '["tables"]').glob("*.csv")}
    assert len(tables) >= 4
    parts = str([name for name in PARTS if name not in ("exports", "sheet", "page")])
    out = written(inputs, parts)
    assert {name: (out / name).read_bytes() for name in tables} == tables
    told = (out / "findings.txt").read_text(encoding="utf-8")
    assert "drop-off" in told.lower() or "hole" in told.lower() or "hump" in told.lower()


def test_features_that_nobody_looked_for_are_not_told_as_missing(inputs: Path) -> None:
    told = (written(inputs, '["tables"]') / "findings.txt").read_text(encoding="utf-8").lower()
    assert "drop-off" not in told
    assert "no feature" not in told


def test_stocking_asks_for_what_it_shows(inputs: Path) -> None:
    with pytest.raises(SettingsError, match="stocking shows what pictures and habitat hold"):
        written(inputs, '["stocking", "pictures"]')


def test_an_unknown_part_is_refused(inputs: Path) -> None:
    with pytest.raises(SettingsError, match=r"write.*'poster'"):
        written(inputs, '["poster"]')
