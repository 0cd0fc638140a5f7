"""A file that a survey names and that is not there is told by key, value and folder."""

import re
from pathlib import Path

import pytest

from toolbox.errors import InputFileError, SettingsError
from toolbox.survey.files import check_files, load_survey
from toolbox.survey.settings import Settings, load_settings

SURVEY = """
[water]
name = "Pond"
shoreline = "shore.gpkg"
[datum]
elevation = 100
record = "levels.csv"
[[soundings]]
file = "Boat.csv"
[[soundings]]
kind = "casts"
file = "casts.csv"
pings = "logs/pings.csv"
pegs = "pegs.csv"
[bed]
breaklines = { file = "lines.gpkg" }
[plants]
file = "plants.gpkg"
[profiles]
file = "profiles.csv"
[species]
file = "species.toml"
[stocking]
file = "stocking.toml"
"""
NAMED = tuple(re.findall(r'"([\w/]+\.\w+)"', SURVEY))


@pytest.fixture
def desk(tmp_path: Path) -> Path:
    """Write a survey file, and something under each name that it gives."""
    for name in NAMED:
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).write_text("something")
    (tmp_path / "survey.toml").write_text(SURVEY, encoding="utf-8")
    return tmp_path


def refusal(desk: Path) -> str:
    survey = desk / "survey.toml"
    with pytest.raises(InputFileError, match=r"survey\.toml: \[") as caught:
        check_files(load_settings(survey), survey)
    return str(caught.value).removeprefix(f"{survey}: ")


def test_files_that_are_there_are_well(desk: Path) -> None:
    assert len(NAMED) == 11
    settings = load_settings(desk / "survey.toml")
    check_files(settings, desk / "survey.toml")
    # nothing that is read is left out: against the list that the lineage hashes
    assert {path.relative_to(desk).as_posix() for path in settings.inputs} == set(NAMED)


@pytest.mark.parametrize(
    ("name", "key"),
    [
        ("shore.gpkg", "[water] shoreline"),
        ("levels.csv", "[datum] record"),
        ("Boat.csv", "[[soundings]] 1, file"),
        ("casts.csv", "[[soundings]] 2, file"),
        ("logs/pings.csv", "[[soundings]] 2, pings"),
        ("pegs.csv", "[[soundings]] 2, pegs"),
        ("lines.gpkg", "[bed] breaklines.file"),
        ("plants.gpkg", "[plants] file"),
        ("profiles.csv", "[profiles] file"),
        ("species.toml", "[species] file"),
        ("stocking.toml", "[stocking] file"),
    ],
)
def test_a_file_that_is_not_there_is_told_by_key(name: str, key: str, desk: Path) -> None:
    (desk / name).unlink()
    assert refusal(desk) == f"{key}: '{name}' does not exist in {desk}"


def test_all_that_are_not_there_are_told_in_the_order_of_the_file(desk: Path) -> None:
    for name in ("species.toml", "shore.gpkg", "logs/pings.csv"):
        (desk / name).unlink()
    (desk / "plants.gpkg").write_text("")
    keys = ["[water] shoreline", "[[soundings]] 2, pings", "[plants] file", "[species] file"]
    survey = desk / "survey.toml"
    with pytest.raises(InputFileError, match="does not exist") as caught:
        load_survey(survey)
    said = [fault.removeprefix(f"{survey}: ") for fault in caught.value.faults]
    assert [fault.partition(": ")[0] for fault in said] == keys
    assert refusal(desk) == f"\n{survey}: ".join(said)


def test_files_and_keys_are_told_together(desk: Path) -> None:
    survey = desk / "survey.toml"
    text = SURVEY.replace("elevation = 100", "elevation = 'high'").replace(
        "[bed]", "longest = -1\npgs = 'p'\n[bed]\nmethod = 'best'"
    )
    survey.write_text(text, encoding="utf-8")
    for name in ("lines.gpkg", "levels.csv", "pegs.csv"):
        (desk / name).unlink()
    with pytest.raises(SettingsError, match=r"survey\.toml: key 'datum\.elevation'") as caught:
        load_survey(survey)
    said = [fault.removeprefix(f"{survey}: ") for fault in caught.value.faults]
    assert [re.split(r":| is|, got", fault)[0] for fault in said] == [
        "key 'datum.elevation'",
        "[datum] record",
        "[[soundings]] 2, pegs",
        "key 'soundings.2.longest'",
        "key 'soundings.2.pgs'",
        "key 'bed.method'",
        "[bed] breaklines.file",
    ]
    assert said[1] == f"[datum] record: 'levels.csv' does not exist in {desk}"


def test_a_survey_that_is_well_is_the_one_that_is_loaded(desk: Path) -> None:
    assert load_survey(desk / "survey.toml") == load_settings(desk / "survey.toml")


def test_a_name_that_is_nearly_right_is_offered(desk: Path) -> None:
    (desk / "Boat.csv").rename(desk / "boat.CSV")
    assert refusal(desk) == (
        f"[[soundings]] 1, file: 'Boat.csv' does not exist in {desk}; is 'boat.CSV' meant?"
    )


def test_a_whole_path_tells_its_own_folder(desk: Path) -> None:
    there = desk / "elsewhere" / "boat.csv"
    text = SURVEY.replace("Boat.csv", there.as_posix())
    (desk / "survey.toml").write_text(text, encoding="utf-8")
    assert refusal(desk) == f"[[soundings]] 1, file: {there.as_posix()!r} does not exist"


def test_an_empty_file_and_a_folder_are_told_by_key_too(desk: Path) -> None:
    (desk / "Boat.csv").write_text("")
    assert refusal(desk) == f"[[soundings]] 1, file: {desk / 'Boat.csv'} is empty"
    (desk / "Boat.csv").unlink()
    (desk / "Boat.csv").mkdir()
    assert refusal(desk).endswith("Boat.csv is a folder, a file is needed")


def test_what_the_file_does_not_say_is_told_as_it_is(desk: Path) -> None:
    survey, other = desk / "survey.toml", desk / "gone.csv"
    told = load_settings(survey).model_dump()
    told["marks"] = {"pegs": other}
    settings = Settings.model_validate(told)
    with pytest.raises(InputFileError, match=re.escape(f"[marks] pegs: {str(other)!r} does not")):
        check_files(settings, survey)
