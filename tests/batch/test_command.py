"""The command, its exit codes and what it says."""

import re
from pathlib import Path

import pandas as pd
import pytest
from click.testing import CliRunner, Result
from invented_waters import CRS_CODE, small_lake, write_layers, write_surveys

from toolbox.batch.command import batch_command
from toolbox.batch.lock import locked
from toolbox.errors import InputFileError, OutputError, ParameterError, SettingsError


def _batch(*arguments: object) -> Result:
    return CliRunner().invoke(
        batch_command, [str(part) for part in (*arguments, "--write", "tables", "--workers", 1)]
    )


def test_folders_of_surveys_one_of_which_fails(tmp_path: Path) -> None:
    write_surveys(tmp_path / "in", [1, 2])
    broken = tmp_path / "in" / "lake_3"
    broken.mkdir()
    (broken / "survey.toml").write_text("[water]\n", encoding="utf-8")
    result = _batch(tmp_path / "in", "--out", tmp_path / "out")
    assert result.exit_code == 1
    assert result.stderr == "leadline: 3 waters: 2 done, 1 failed; see failures.txt\n"
    failures = (tmp_path / "out" / "failures.txt").read_text(encoding="utf-8")
    assert re.fullmatch(r"lake_3: .*survey\.toml: key 'water\.name' is missing; .+\n", failures)
    (broken / "survey.toml").unlink()
    result = _batch(tmp_path / "in", "--out", tmp_path / "out")
    assert result.exit_code == 0
    assert result.stdout.startswith("2 waters: 2 done (2 of them before)\n")


def test_a_layer_of_waters_by_file_and_by_options(tmp_path: Path) -> None:
    file = write_layers(tmp_path, [1, 2])
    result = _batch(file, "--out", tmp_path / "a")
    assert (result.exit_code, result.stderr) == (0, "")
    template = tmp_path / "template.toml"
    bed = '[bed]\nmethod = "triangulated"\n'
    text = f'[[soundings]]\nfile = "none"\nsource = "track"\n{bed}'
    template.write_text(text, encoding="utf-8")
    layers = ("--waters", tmp_path / "lakes.parquet", "--soundings", tmp_path / "soundings.parquet")
    other = _batch(*layers, "--template", template, "--out", tmp_path / "b")
    assert (other.exit_code, other.stderr) == (0, "")
    columns = ["folder", "name", "status", "area_m2", "volume_m3", "soundings", "digest"]
    tables = [pd.read_csv(tmp_path / out / "waters.csv")[columns] for out in "ab"]
    pd.testing.assert_frame_equal(*tables)
    assert tables[0]["name"].tolist() == ["Lake 1", "Lake 2"]
    counts = [len(small_lake(number, 300)[1]) for number in (1, 2)]
    given = pd.read_csv(tmp_path / "a" / "waters.csv")["soundings_given"]
    assert given.tolist() == counts


@pytest.mark.parametrize(
    ("arguments", "error", "message"),
    [
        ((), SettingsError, "^give survey files, folders that hold some"),
        (("nowhere",), InputFileError, r"^nowhere is no folder and no survey file \(.toml\)$"),
        (("--name", "n", "x.toml"), SettingsError, "^--name is for --waters, which is not given$"),
        (("--id", "n", "x.toml"), SettingsError, "^--id is for --waters, which is not given$"),
        (("x.toml",), SettingsError, r"x\.toml does not exist$"),
        (("--waters", "a", "b.toml"), SettingsError, "^give survey files or --waters, not both"),
        (("--waters", "a"), SettingsError, "key 'soundings' is missing"),
        (("a", "--write", "maps"), ParameterError, "^--write must name parts of layers,.*'maps'$"),
    ],
)
def test_what_cannot_be_is_refused_before_anything_is_done(
    arguments: tuple[str, ...],
    error: type[Exception],
    message: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.chdir(tmp_path)
    result = CliRunner().invoke(batch_command, ["--out", "out", *arguments])
    assert isinstance(result.exception, error)
    assert re.search(message, str(result.exception))


def test_a_folder_without_surveys_and_two_of_one_name(tmp_path: Path) -> None:
    (tmp_path / "empty").mkdir()
    result = _batch(tmp_path / "empty", "--out", tmp_path / "out")
    assert isinstance(result.exception, InputFileError)
    assert "holds no survey.toml, not in the folders below either" in str(result.exception)
    for place in ("a", "b"):
        write_surveys(tmp_path / place, [1], count=20)
    result = _batch(tmp_path / "a", tmp_path / "b", "--out", tmp_path / "out")
    assert isinstance(result.exception, SettingsError)
    assert "would both be written to 'lake_1'" in str(result.exception)


def test_two_batches_into_one_folder(tmp_path: Path) -> None:
    write_surveys(tmp_path / "in", [1], count=20)
    (tmp_path / "out").mkdir()
    with locked(str(tmp_path / "out")):
        result = _batch(tmp_path / "in", "--out", tmp_path / "out")
    assert isinstance(result.exception, OutputError)
    assert "another batch" in str(result.exception)


def test_soundings_in_no_water_are_told(tmp_path: Path) -> None:
    import geopandas
    import shapely

    file = write_layers(tmp_path, [1])
    points = geopandas.read_parquet(tmp_path / "soundings.parquet")
    away = geopandas.GeoDataFrame({"depth": [3.0]}, geometry=[shapely.Point(1, 1)], crs=CRS_CODE)
    pd.concat([points, away]).to_parquet(tmp_path / "soundings.parquet")
    result = _batch(file, "--out", tmp_path / "out")
    assert result.stderr == "1 soundings in no water: inputs/outside.gpkg\n"
    assert (tmp_path / "out" / "inputs" / "outside.gpkg").exists()
