"""A survey keeps within what it may use, or says what would help."""

import shutil
from pathlib import Path

import pytest

from toolbox.cli import main

SAMPLE = Path(__file__).resolve().parents[2] / "sample_layers"


@pytest.fixture
def survey(tmp_path: Path) -> Path:
    for name in ("shoreline.gpkg", "boat_points.csv", "plummet.csv", "points.toml"):
        shutil.copy(SAMPLE / name, tmp_path)
    return tmp_path / "points.toml"


def with_make(survey: Path, keys: str) -> Path:
    text = survey.read_text(encoding="utf-8").replace('cell = "2 m"', keys)
    survey.write_text(text, encoding="utf-8")
    return survey


def refused(survey: Path, capsys: pytest.CaptureFixture[str]) -> str:
    """Run, and return the one line that refuses."""
    out = survey.parent / "out"
    assert main(["run", str(survey), "--out", str(out), "--quiet"]) == 2
    (line,) = capsys.readouterr().err.splitlines()
    assert not out.exists()
    return line


def test_rasters_that_do_not_fit_are_refused_with_a_cell_that_fits(
    survey: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    line = refused(with_make(survey, 'cell = "2 cm"\nmemory = "3 GiB"'), capsys)
    assert "cell = 0.02 m makes 13 rasters of" in line
    assert "3 GiB may be used: take cell = 0.2 m or allow more memory" in line  # 77 GiB / 10^2


def test_what_is_in_use_already_counts(survey: Path, capsys: pytest.CaptureFixture[str]) -> None:
    line = refused(with_make(survey, 'cell = "2 m"\nmemory = "20 MiB"'), capsys)
    assert "memory = 20 MiB is too little" in line
    assert "before reading" in line


def test_the_environment_may_say_it(
    survey: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("LEADLINE_MEMORY", "3 GiB")
    assert "3 GiB may be used" in refused(with_make(survey, 'cell = "2 cm"'), capsys)
    monkeypatch.setenv("LEADLINE_MEMORY", "20 MiB")
    line = refused(survey, capsys)
    assert "LEADLINE_MEMORY = 20 MiB is too little" in line
    assert "before reading" in line


@pytest.mark.parametrize("given", ['"plenty"', "0", "-1", '"3 m"'])
def test_what_is_no_amount_is_refused(
    survey: Path, capsys: pytest.CaptureFixture[str], given: str
) -> None:
    line = refused(with_make(survey, f'cell = "2 m"\nmemory = {given}'), capsys)
    assert "make.memory" in line
    assert "such as '2 GiB'" in line


def test_a_survey_within_its_memory_is_carried_out(survey: Path) -> None:
    with_make(survey, 'cell = "5 m"\nmemory = 8\nwrite = ["tables"]')
    out = survey.parent / "out"
    assert main(["run", str(survey), "--out", str(out), "--quiet"]) == 0
    assert (out / "hypsography.csv").is_file()
