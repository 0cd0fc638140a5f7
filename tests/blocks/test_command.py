"""``leadline thin-file`` as a person calls it."""

from pathlib import Path

import geopandas
import pytest
from click.testing import CliRunner, Result

from toolbox.blocks.command import _BY, _UNITS, thin_file_command
from toolbox.errors import ParameterError
from toolbox.reduction.thinning import By
from toolbox.units import Unit


def call(*arguments: object) -> Result:
    return CliRunner().invoke(
        thin_file_command, [str(word) for word in arguments], standalone_mode=False
    )


@pytest.fixture
def text(tmp_path: Path) -> Path:
    path = tmp_path / "in.xyz"
    path.write_text("500000.5 5200000.5 190\n500000.7 5200000.5 189\n500009.5 5200000.5 -\n")
    return path


def test_thins_and_tells(text: Path) -> None:
    out = text.with_name("out.gpkg")
    words = ("--cell", "3 ft", "--z", "elevation", "--datum", "200 m", "--by", "shoalest")
    ran = call(text, out, *words, "--crs", "EPSG:32633")
    assert ran.exception is None
    assert ran.stdout == f"written: {out}\n"
    told = ran.stderr.splitlines()
    assert told[0].startswith("note: the temporary file in ")
    assert told[1:] == [
        "note: 2 points of 3 thinned to 1 sounding",
        "note: left out: 1 point: no depth",
    ]
    found = geopandas.read_file(out)
    assert found["depth"].tolist() == [10.0]
    assert found["cell"].tolist() == [pytest.approx(0.9144, abs=1e-12)]


def test_quiet_says_nothing(text: Path) -> None:
    out = text.with_name("out.parquet")
    ran = call(text, out, "--cell", "1", "--z", "depth", "--crs", "EPSG:32633", "--quiet")
    assert (ran.exception, ran.output) == (None, "")
    assert out.exists()


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (["--cell", "wide"], "cell must be a number in m, or a number and a unit .*got 'wide'"),
        (["--cell", "1", "--datum", "x"], "datum must be a number in m, or .*got 'x'"),
        (["--cell", "-1"], "cell must be > 0 m, got -1.0"),
    ],
)
def test_bad_options(text: Path, words: list[str], message: str) -> None:
    ran = call(text, text.with_name("out.gpkg"), *words)
    assert isinstance(ran.exception, ParameterError)
    with pytest.raises(ParameterError, match=message):
        raise ran.exception


def test_one_file_is_too_few(text: Path) -> None:
    ran = call(text, "--cell", "1")
    assert str(ran.exception) == f"give one or more files to thin and then OUT, got {text} alone"


def test_choices_are_those_of_the_functions() -> None:
    assert By.__args__ == _BY  # type: ignore[attr-defined]
    assert Unit.__args__ == _UNITS  # type: ignore[attr-defined]
