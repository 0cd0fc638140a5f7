"""What lives in the water, from the survey file to its folder."""

import re
import shutil
import subprocess
from pathlib import Path

import geopandas
import numpy as np
import pandas as pd
import pytest
import rasterio

from toolbox.errors import InputFileError, LayerError, SettingsError
from toolbox.formats.bed_file import read_bed
from toolbox.formats.profiles_file import read_profiles
from toolbox.formats.species_file import read_species
from toolbox.habitat.suitable_water import suitable_water
from toolbox.layers import Tin
from toolbox.survey.lineage import Lineage
from toolbox.survey.living import read_living
from toolbox.survey.run import run
from toolbox.survey.settings import load_settings
from toolbox.water.attenuation import attenuation

SAMPLE = Path(__file__).resolve().parents[2] / "sample_layers"
FILES = (
    "shoreline.gpkg", "boat_points.csv", "plummet.csv", "plants.gpkg", "profile.csv",
    "species.toml", "stocking.toml", "water_level.csv",
)  # fmt: skip
SECTIONS = """
[plants]
file = "plants.gpkg"

[profiles]
file = "profile.csv"

[light]

[species]
file = "species.toml"
step_days = 7

[stocking]
file = "stocking.toml"
suitable_first = "06-01"
suitable_last = "09-15"
"""


@pytest.fixture(scope="module")
def desk(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Lay out the invented lake with everything that lives in it."""
    folder = tmp_path_factory.mktemp("desk")
    for name in FILES:
        shutil.copy(SAMPLE / name, folder)
    points = (SAMPLE / "points.toml").read_text(encoding="utf-8")
    (folder / "survey.toml").write_text(points + SECTIONS, encoding="utf-8")
    return folder


@pytest.fixture(scope="module")
def out(desk: Path) -> Path:
    run(load_settings(desk / "survey.toml"), desk / "out")
    return desk / "out"


@pytest.fixture(scope="module")
def bed(out: Path) -> Tin:
    return read_bed(out / "lakebed.gpkg")


def changed(desk: Path, name: str, old: str, new: str) -> Path:
    text = (desk / "survey.toml").read_text(encoding="utf-8")
    assert old in text
    path = desk / name
    path.write_text(text.replace(old, new), encoding="utf-8")
    return path


def test_everything_asked_for_is_there(out: Path) -> None:
    styles = {".qml", ".sld", ".xml"}  # of rasters, as other programs read them
    every = (out / "habitat").iterdir()
    habitat = {path.name for path in every if path.suffix not in styles}
    assert habitat == {
        "plant_height.tif", "plant_cover.tif", "plant_volume.tif", "light_at_bed.tif",
        "suitable_bed_1_walleye.tif", "suitable_bed_2_tench.tif",
        "plants_by_depth.csv", "light.csv", "stratification.csv", "profile_means.csv",
        "anoxic_water.csv", "anoxic_factor.csv", "species.csv", "suitable_water.csv",
        "squeeze.csv", "suitable_periods.csv", "suitable_bed_area.csv", "season.png",
    }  # fmt: skip
    stocking = {path.name for path in (out / "stocking").iterdir()}
    tables = ("measures", "plan", "alternatives", "sensitivity", "assumptions")
    assert stocking == {f"stocking_{name}.csv" for name in tables} | {
        f"stocking_plan.{suffix}" for suffix in ("html", "pdf", "xlsx")
    }
    layers = set(geopandas.list_layers(out / "lakebed.gpkg")["name"])
    assert {"plants", "plant_edges", "lit_bed", "suitable_bed"} <= layers


def test_the_figures_are_those_of_the_tools(desk: Path, out: Path, bed: Tin) -> None:
    profiles = read_profiles(desk / "profile.csv")
    loss = float(np.median(attenuation(profiles).column("attenuation_per_m")))
    light = pd.read_csv(out / "habitat" / "light.csv").set_index("measure")["value"]
    assert light["attenuation"] == pytest.approx(loss, rel=1e-6)
    species = read_species(desk / "species.toml")
    wanted = suitable_water(bed, profiles, species, step_days=7.0, attenuation=loss).frame
    found = pd.read_csv(out / "habitat" / "suitable_water.csv")
    assert found["suitable_volume_m3"].to_numpy() == pytest.approx(
        wanted["suitable_volume_m3"].to_numpy(), rel=1e-6
    )


def test_fish_are_reckoned_on_the_measures_of_this_water(out: Path) -> None:
    measures = pd.read_csv(out / "stocking" / "stocking_measures.csv").set_index("measure")
    light = pd.read_csv(out / "habitat" / "light.csv").set_index("measure")["value"]
    assert measures.loc["lit area", "value"] == pytest.approx(light["lit bed area"], rel=1e-6)
    plan = pd.read_csv(out / "stocking" / "stocking_plan.csv").set_index("alternative")
    littoral = measures.loc["littoral area", "value"] / 4046.8564224  # acres
    # 1 lb of fingerlings of 30 g to each littoral acre: the rate of the sample's proposal
    assert plan.loc["maintenance", "number"] == round(littoral * 453.59237 / 30)


def test_suitable_bed_keeps_to_the_limits_of_the_bed(out: Path) -> None:
    with (
        rasterio.open(out / "habitat" / "suitable_bed_2_tench.tif") as suitable,
        rasterio.open(out / "habitat" / "plant_cover.tif") as cover,
        rasterio.open(out / "depth.tif") as depth,
    ):
        held = suitable.read(1) == 1
        assert held.any()
        assert (cover.read(1)[held] >= 10).all()
        assert ((depth.read(1)[held] >= 0.5) & (depth.read(1)[held] <= 5)).all()


def test_the_record_tells_the_surface_of_its_days(desk: Path) -> None:
    text = (desk / "survey.toml").read_text(encoding="utf-8")
    (line,) = [line for line in text.splitlines() if line.startswith("elevation")]
    path = changed(desk, "record.toml", line, f'{line}\nrecord = "water_level.csv"')
    settings = load_settings(path)
    found = read_living(settings, Lineage(settings)).profiles
    assert found is not None
    surface = found.frame.groupby("time")["surface_m"].first().tolist()
    # water_level.csv: 212.30 m at 7 h of 14 May and lower the day after; the datum is 212.40 m
    assert surface[0] == 0  # April, before the record
    assert surface[1] == pytest.approx(0.102, abs=0.002)
    said = "7 of 8 days of profiles without a record of the water level: their surface is at the"
    assert any(note.startswith(said) for note in found.notes)
    assert "each day's surface taken at the datum" not in found.notes


def test_the_document_says_what_the_tables_say(out: Path) -> None:
    page = (out / "stocking" / "stocking_plan.html").read_text(encoding="utf-8")
    plan = pd.read_csv(out / "stocking" / "stocking_plan.csv")
    for number in plan["number"]:
        assert f"{number:,.0f}" in page
    for part in ("Permit number", "Every figure that somebody could question", "walleye"):
        assert part in page
    text = re.sub(r'src="data:[^"]*"', "", page)
    assert not re.search(r"\bnan\b|NaN|None|NA>", text)


@pytest.mark.skipif(not shutil.which("pdftotext"), reason="needs pdftotext (poppler)")
def test_an_independent_program_reads_the_same_on_paper(out: Path) -> None:
    path = out / "stocking" / "stocking_plan.pdf"
    told = subprocess.run(["pdftotext", path, "-"], capture_output=True, text=True, check=True)
    plan = pd.read_csv(out / "stocking" / "stocking_plan.csv")
    for number in plan["number"]:
        assert f"{number:,.0f}" in told.stdout


def test_a_survey_that_asks_for_nothing_gets_no_folder(desk: Path) -> None:
    plain = changed(desk, "plain.toml", SECTIONS, "")
    run(load_settings(plain), desk / "plain")
    assert not (desk / "plain" / "habitat").exists()
    assert not (desk / "plain" / "stocking").exists()


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ('[profiles]\nfile = "profile.csv"\n', "", "species need profiles"),
        ("[light]\n", '[light]\nsecchi = "2 m"\nattenuation = 0.8\n', "not both"),
        ('suitable_first = "06-01"', 'suitable_first = "June"', "suitable_first"),
        ("step_days = 7", "step_days = 0", "step_days"),
    ],
)
def test_settings_that_do_not_fit_are_refused(desk: Path, old: str, new: str, told: str) -> None:
    with pytest.raises(SettingsError, match=told):
        load_settings(changed(desk, "wrong.toml", old, new))


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        (
            '[profiles]\nfile = "profile.csv"\n',
            '[profiles]\nfile = "profile.csv"\nstations = ["deep"]\n',
            "must hold station 'deep', got 'hole'",
        ),
        ('file = "species.toml"', 'file = "stocking.toml"', "stocking.toml"),
        ('file = "stocking.toml"', 'file = "species.toml"', "species.toml"),
    ],
)
def test_a_wrong_file_is_told_before_any_bed_is_made(
    desk: Path, old: str, new: str, told: str
) -> None:
    settings = load_settings(changed(desk, "wrong.toml", old, new))
    with pytest.raises(InputFileError, match=told):
        read_living(settings, Lineage(settings))


def test_light_needs_something_to_go_by(desk: Path, bed: Tin) -> None:
    path = changed(desk, "dark.toml", SECTIONS, "\n[light]\n")
    settings = load_settings(path)
    with pytest.raises(InputFileError, match="light needs secchi or attenuation, or profiles"):
        read_living(settings, Lineage(settings))


def test_fish_by_suitable_bed_are_reckoned_on_bed_with_plants(out: Path) -> None:
    measures = pd.read_csv(out / "stocking" / "stocking_measures.csv")
    tench = measures["species"] == "tench"
    (row,) = measures[tench & (measures["measure"] == "suitable bed area")].to_dict("records")
    assert "limits on plants and slope kept" in row["note"]
    with (
        rasterio.open(out / "habitat" / "plant_cover.tif") as cover,
        rasterio.open(out / "depth.tif") as depth,
        rasterio.open(out / "slope.tif") as slope,
    ):
        # independently: cells of the season's least, 1 June, when all water above 4 m suits
        shallow = (depth.read(1) >= 0.56) & (depth.read(1) <= 4)
        held = shallow & (cover.read(1) >= 10) & (slope.read(1) <= 10)
        assert row["value"] == pytest.approx(held.sum() * depth.res[0] ** 2, rel=0.02)
    plan = pd.read_csv(out / "stocking" / "stocking_plan.csv").set_index("fish")
    assert plan.loc["tench yearlings", "number"] == round(20 * row["value"] / 1e4)
    areas = pd.read_csv(out / "habitat" / "suitable_bed_area.csv")
    season = areas["time"].str[5:10].between("06-01", "09-15")
    assert areas.loc[season, "bed_area_m2"].min() == row["value"]


def test_the_document_tells_the_season_that_the_measures_count(out: Path) -> None:
    page = (out / "stocking" / "stocking_plan.html").read_text(encoding="utf-8")
    assert re.search(r"How little the season leaves, 2026-0[67]-\d\d to 2026-09-\d\d", page)
    measures = pd.read_csv(out / "stocking" / "stocking_measures.csv")
    least = measures[(measures["measure"] == "suitable volume") & (measures["species"] == "tench")]
    assert page.count(f"{least['value'].iloc[0]:,.0f}") == 2  # measures and season say the same


def test_light_that_does_not_fall_is_refused(desk: Path, bed: Tin) -> None:
    profile = pd.read_csv(desk / "profile.csv")
    profile.assign(par=100 + profile["depth_m"]).to_csv(desk / "rising.csv", index=False)
    path = changed(desk, "rising.toml", '"profile.csv"', '"rising.csv"')
    with pytest.raises(LayerError, match="the light of no profile falls with depth as light does"):
        run(load_settings(path), desk / "rising")
    assert not (desk / "rising").exists()


def test_who_told_the_light_is_said(out: Path) -> None:
    light = pd.read_csv(out / "habitat" / "light.csv").set_index("measure")
    assert light.loc["attenuation", "source"] == "median of the profiles of light"


# ---- plants that casts met ----

CASTS = """
[water]
name = "Figment Mere (invented)"
shoreline = "shoreline.gpkg"

[datum]
elevation = "212.40 m"

[[soundings]]
file = "casts.csv"
kind = "casts"
pings = "pings.csv"
pegs = "pegs.csv"
crs = "EPSG:32625"

[bed]
method = "triangulated"

[make]
write = ["habitat"]
"""


def test_casts_from_the_bank_tell_of_no_more_plants_than_they_saw(tmp_path: Path) -> None:
    for name in ("shoreline.gpkg", "casts.csv", "pings.csv", "pegs.csv"):
        shutil.copy(SAMPLE / name, tmp_path)
    (tmp_path / "casts.toml").write_text(CASTS, encoding="utf-8")
    lineage = run(load_settings(tmp_path / "casts.toml"), tmp_path / "out")
    text = " ".join((tmp_path / "out" / "findings.txt").read_text(encoding="utf-8").split())
    # the truth of the sample: 5.8 % of the bed within 15 m of the casts, 4.6 % of the whole
    (cover,) = re.findall(r"plants cover (\d+) % of the bed near the soundings", text)
    assert 4 <= int(cover) <= 9
    (unseen,) = re.findall(r"of the other (\d+)% of the bed nobody knows", text)
    assert 80 <= int(unseen) <= 92
    assert "plants stand on" not in text
    cautions = lineage.ranked["caution"]
    assert any(note.startswith("somebody looked for plants on 1") for note in cautions)
    assert any(note.startswith("half of the water is farther than") for note in cautions)
