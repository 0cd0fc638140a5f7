"""One water, from its survey file to its folder."""

import json
from dataclasses import replace
from pathlib import Path

import pytest
import shapely
from invented_waters import small_lake, write_surveys

from toolbox.batch import work
from toolbox.batch.storage import put_file, read_bytes, remove_file
from toolbox.batch.waters import Job
from toolbox.batch.work import do_water, finished

PARTS = ("tables",)


@pytest.fixture
def job(tmp_path: Path) -> Job:
    write_surveys(tmp_path, [1])
    survey = tmp_path / "lake_1" / "survey.toml"
    return Job("one", str(survey), str(tmp_path / "out" / "one"), PARTS)


def test_a_water_is_done_once_and_again_when_its_inputs_change(job: Job) -> None:
    record = do_water(job)
    assert (record.status, record.error, record.made) == ("done", "", True)
    again = do_water(job)
    assert not again.made
    assert again.to_json() == record.to_json()
    soundings = Path(job.survey).with_name("soundings.csv")
    with soundings.open("a", encoding="utf-8") as file:
        file.write("0,0,1.0\n")
    changed = do_water(job)
    assert changed.made
    assert changed.digest != record.digest
    assert changed.figures["soundings_given"] == record.figures["soundings_given"] + 1
    assert finished(job.out) == replace(changed, made=False)


def test_figures_are_those_of_the_lake(job: Job) -> None:
    figures = do_water(job).figures
    water, rows = small_lake(1, 300)
    # derived: on UTM at its central meridian the scale is 0.9996, and areas its square
    assert figures["area_m2"] == pytest.approx(water.area / 0.9996**2, rel=1e-4)
    assert figures["greatest_depth_m"] == pytest.approx(rows[:, 2].max())
    assert figures["volume_m3"] == pytest.approx(figures["area_m2"] * figures["mean_depth_m"])
    assert figures["soundings_given"] == len(rows)


def test_the_outline_is_in_degrees(job: Job) -> None:
    west, south, east, north = shapely.from_wkb(do_water(job).outline).bounds
    # UTM zone 33 has its middle at 15 degrees east; 5,300 km of northing are 47.85 degrees,
    # from the length of a quarter meridian, 10,002 km to 90 degrees (from memory)
    assert 15 < west < east < 15.02
    assert 47.8 < south < north < 47.9


def test_only_the_parts_that_are_asked_for(job: Job) -> None:
    do_water(job)
    names = {path.name for path in Path(job.out).iterdir()}
    assert {"morphometry.csv", "lineage.json", "water.json"} <= names
    assert not {name for name in names if name.endswith((".pdf", ".tif", ".html", ".gpkg"))}


def test_what_is_wrong_is_told_on_one_line_and_leaves_nothing(job: Job) -> None:
    Path(job.survey).with_name("soundings.csv").write_text("a\n", encoding="utf-8")
    record = do_water(job)
    assert record.status == "failed"
    assert "soundings.csv" in record.error
    assert "\n" not in record.error
    assert not Path(job.out).exists()


def test_a_share_of_memory_limits_rasters_and_not_what_is_in_use(
    job: Job, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delenv("LEADLINE_MEMORY", raising=False)
    monkeypatch.setenv("LEADLINE_SHARE", "20 MiB")  # in use is more than that
    record = do_water(job)
    assert (record.status, record.short) == ("failed", True)
    assert "0.0195 GiB may be used: take cell = " in record.error
    monkeypatch.delenv("LEADLINE_SHARE")
    record = do_water(job)
    assert (record.status, record.short) == ("done", False)
    assert "short" not in read_bytes(f"{job.out}/water.json").decode()  # type: ignore[union-attr]


def test_a_defect_is_told_with_its_place(job: Job, monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(*_: object, **__: object) -> None:
        raise RuntimeError("of\ntwo lines")

    monkeypatch.setattr(work, "run", broken)
    record = do_water(job)
    assert record.error.startswith("unexpected RuntimeError: of two lines (work.py, line ")


def test_a_failure_says_that_a_former_result_stands(job: Job) -> None:
    done = do_water(job)
    Path(job.survey).write_text("[water]\n", encoding="utf-8")
    record = do_water(job)
    assert record.error.endswith("(the folder still holds a former result)")
    assert record.name == done.name
    assert finished(job.out) is not None


def test_a_folder_of_somebody_else_is_left_alone(job: Job) -> None:
    Path(job.out).mkdir(parents=True)
    (Path(job.out) / "notes.txt").write_text("mine", encoding="utf-8")
    assert "is no former result" in do_water(job).error
    assert (Path(job.out) / "notes.txt").read_text(encoding="utf-8") == "mine"


def test_inputs_and_results_behind_urls(job: Job, tmp_path: Path) -> None:
    for path in (tmp_path / "lake_1").iterdir():
        put_file(path, f"memory://lakes/one/{path.name}")
    far = Job("one", "memory://lakes/one/survey.toml", "memory://out/one", PARTS)
    here, there = do_water(job), do_water(far)
    assert there.error == ""
    assert there.digest == here.digest
    assert there.figures == here.figures
    table = Path(job.out, "morphometry.csv").read_bytes()
    assert read_bytes("memory://out/one/morphometry.csv") == table
    told = json.loads(read_bytes("memory://out/one/lineage.json") or b"")
    assert told["inputs"][0]["file"] == "memory://lakes/one/shoreline.parquet"
    assert not do_water(far).made
    remove_file("memory://out/one/lineage.json")  # as if it had been killed half-way up
    assert finished(far.out) is None
    assert do_water(far).made


def test_a_survey_here_may_name_inputs_elsewhere(job: Job) -> None:
    folder = Path(job.survey).parent
    put_file(folder / "soundings.csv", "memory://far/soundings.csv")
    (folder / "soundings.csv").unlink()
    text = Path(job.survey).read_text(encoding="utf-8")
    far = text.replace('"soundings.csv"', '"memory://far/soundings.csv"')
    Path(job.survey).write_text(far, encoding="utf-8")
    assert do_water(job).error == ""
    assert sorted(path.name for path in folder.iterdir()) == ["shoreline.parquet", "survey.toml"]


def test_a_place_for_results_that_cannot_be_reached_fails_the_water_and_no_more(job: Job) -> None:
    record = do_water(replace(job, out="nonsense://a/one"))
    assert record.status == "failed"
    assert record.error.startswith("nonsense://a/one/water.json cannot be reached: ")
