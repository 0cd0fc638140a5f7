"""The sample from its raw readings: what goes in comes out, at the datum, and agrees with truth."""

from pathlib import Path
from types import ModuleType

import numpy as np
import pytest
import sample_scripts

from toolbox.errors import InputFileError, SettingsError
from toolbox.layers import Soundings
from toolbox.survey.lineage import Lineage
from toolbox.survey.reduce import read_inputs
from toolbox.survey.settings import load_settings

SAMPLE = Path(__file__).resolve().parents[2] / "sample_layers"
HEAD = '[water]\nname = "A"\nshoreline = "s.gpkg"\n[[soundings]]\nfile = "f"\n'


@pytest.fixture(scope="module")
def lake() -> ModuleType:
    """Load the analytic bed, the truth of the sample."""
    return sample_scripts.load("lake")


@pytest.fixture(scope="module")
def reduced() -> tuple[Soundings, Lineage]:
    settings = load_settings(SAMPLE / "survey.toml")
    lineage = Lineage(settings)
    return read_inputs(settings, lineage).soundings, lineage


def errors(soundings: Soundings, lake: ModuleType, source: str) -> np.ndarray:
    """Depth less the true depth at the stated place, of the kept soundings of a source, m."""
    kept = soundings.kept
    frame = kept.frame[(kept.frame["source"] == source).to_numpy()]
    return np.asarray(frame["depth"] - lake.bed_depth(frame.geometry.x, frame.geometry.y))


def test_nothing_is_lost_between_the_files_and_the_bed(reduced: tuple[Soundings, Lineage]) -> None:
    soundings, lineage = reduced
    # 4728 seconds less 3 garbled DBT, 3420 pings, 26 readings: see the README of the sample
    assert soundings.frame.groupby("file").size().to_dict() == {
        "casts.csv": 3420,
        "plummet.csv": 26,
        "track.nmea": 4725,
    }
    rejected = sum(row["soundings"] for row in lineage.rejections)
    assert rejected + len(soundings.kept) == len(soundings)
    assert rejected < 0.02 * len(soundings)
    for _, group in soundings.frame.groupby("file"):
        assert group["record"].tolist() == list(range(1, len(group) + 1))


def test_depths_are_at_the_datum(reduced: tuple[Soundings, Lineage], lake: ModuleType) -> None:
    # draft 0.30 m, levels of 212.30 to 212.32 m against a datum of 212.40 m: with any of them
    # left out, or turned about, the median error would be 0.16 m or more. Casts, whose line was
    # slack, are noted a metre too far out, where it is deeper.
    for source, limit in (("track", 0.02), ("plummet", 0.08), ("cast", 0.12)):
        assert abs(np.median(errors(reduced[0], lake, source))) < limit, source


def test_planted_faults_are_found(reduced: tuple[Soundings, Lineage], lake: ModuleType) -> None:
    counts = {
        row["reason"]: row["soundings"]
        for row in reduced[1].rejections
        if row["file"] == "track.nmea"
    }
    assert counts["no depth"] == 15
    assert counts["no bottom"] == 5
    # seven double echoes were planted; whichever way each is called, none is left
    assert np.abs(errors(reduced[0], lake, "track")).max() < 1.5


def test_what_was_assumed_is_told(reduced: tuple[Soundings, Lineage]) -> None:
    told = "\n".join(reduced[1].notes)
    for words in (
        "track.nmea: draft of 0.3 m added to 4725 depths",
        "track.nmea: depths reduced to the datum by the record: +0.082 to +0.083 m",
        "casts.csv: casts without speed or time of arrival, retrieved at an assumed 0.6 m/s: 4 of",
        "plummet.csv: depths reduced to the datum by water level 212.3 m: +0.100 m",
    ):
        assert words in told


def test_pings_that_met_no_plants_are_bare_bed_and_a_boat_that_never_looked_is_not(
    reduced: tuple[Soundings, Lineage],
) -> None:
    frame = reduced[0].frame
    casts = frame[frame["source"] == "cast"]
    assert casts["canopy"].notna().all()
    # the pings of the sample hold a canopy in 236 of 3,420 rows
    assert (casts["canopy"] != casts["depth"]).sum() == pytest.approx(236, abs=3)
    assert frame.loc[frame["source"] != "cast", "canopy"].isna().all()
    (note,) = [note for note in reduced[1].ranked["assumed"] if "count as bare" in note]
    assert note.startswith("casts.csv: notes plants and hardly ever bare bed, so that its 3184 of")


def test_an_empty_canopy_means_what_the_survey_says(tmp_path: Path) -> None:
    text = (SAMPLE / "survey.toml").read_text(encoding="utf-8")
    for path in SAMPLE.iterdir():
        (tmp_path / path.name).symlink_to(path)
    file = tmp_path / "unknown.toml"
    wanted = 'kind = "casts"\nempty_canopy = "unknown"\n'
    file.write_text(text.replace('kind = "casts"\n', wanted), encoding="utf-8")
    settings = load_settings(file)
    lineage = Lineage(settings)
    frame = read_inputs(settings, lineage).soundings.frame
    assert frame["canopy"].notna().sum() == 236
    assert not [note for note in lineage.notes if "count as bare" in note]


def test_text_larger_than_memory_is_thinned_as_it_is_read(tmp_path: Path) -> None:
    draw = np.random.default_rng(3)
    place = draw.uniform((376_400.1, 5_116_950.1), (376_499.9, 5_116_999.9), (5_000, 2))
    rows = [f"{x:.2f} {y:.2f} {z:.2f}" for (x, y), z in zip(place, place[:, 0] % 7, strict=True)]
    (tmp_path / "many.xyz").write_text("\n".join(rows))
    (tmp_path / "survey.toml").write_text(
        f'[water]\nname = "A"\nshoreline = "{SAMPLE / "shoreline.gpkg"}"\n[thinning]\ncell = 5\n'
        "[cleaning]\non = false\n"
        '[[soundings]]\nfile = "many.xyz"\nkind = "xyz"\ncrs = "EPSG:32625"\n'
    )
    settings = load_settings(tmp_path / "survey.toml")
    soundings = read_inputs(settings, Lineage(settings)).soundings
    assert len(soundings) == 20 * 10
    assert int(soundings.frame["count"].sum()) == 5_000


@pytest.mark.parametrize(
    ("keys", "message"),
    [
        ("latency = 1", "latency is for kind = 'nmea', got kind = 'points'"),
        ("pings = 'p'", "pings is for kind = 'casts', got kind = 'points'"),
        ("kind = 'casts'", "casts need pings"),
        ("kind = 'nmea'\nunit = 'ft'", "unit is for kind = 'points' or 'xyz', got kind = 'nmea'"),
        ("bar_check = 'b'\ndraft = 1", "a bar check holds draft and speed of sound"),
        ("kind = 'nmea'\nempty_canopy = 'bare'", "empty_canopy is for kind = 'points' or 'casts'"),
        ("speed_set = 1500", "speed_set needs a temperature or a profile"),
        ("speed_set = 1500\ntemperature = 9\nprofile = 'p'", "speed_set needs a temperature or"),
        ("kind = 'sonar'", "'points', 'casts', 'nmea' or 'xyz'"),
        ("kind = 'xyz'", "kind = 'xyz' needs thinning.cell"),
    ],
)
def test_keys_that_do_not_fit_are_refused(keys: str, message: str, tmp_path: Path) -> None:
    (tmp_path / "survey.toml").write_text(HEAD + keys)
    with pytest.raises(SettingsError, match=message):
        load_settings(tmp_path / "survey.toml")


BOAT = """[water]
name = "A"
shoreline = "{sample}/shoreline.gpkg"
[datum]
elevation = 212.40
record = "level.csv"
[[soundings]]
file = "points.csv"
crs = "EPSG:32625"
"""
POINTS = """easting,northing,depth,{name}
376300,5116950,2.0,2026-05-12T09:30:00Z
376320,5116950,2.0,2026-05-12T11:00:00Z
"""


def of_record(folder: Path, *, more: str = "", name: str = "time") -> tuple[Soundings, Lineage]:
    (folder / "level.csv").write_text(
        "time,level\n2026-05-12T09:00:00Z,212.30\n2026-05-12T10:00:00Z,212.20\n", encoding="utf-8"
    )
    (folder / "points.csv").write_text(POINTS.format(name=name), encoding="utf-8")
    text = BOAT.format(sample=SAMPLE.as_posix()) + more
    (folder / "survey.toml").write_text(text, encoding="utf-8")
    settings = load_settings(folder / "survey.toml")
    lineage = Lineage(settings)
    return read_inputs(settings, lineage).soundings, lineage


def test_a_record_that_points_do_not_use_is_told(tmp_path: Path) -> None:
    soundings, lineage = of_record(tmp_path)
    assert soundings.frame["depth"].tolist() == [2.0, 2.0]
    (note,) = [note for note in lineage.notes if "level.csv" in note]
    assert note.endswith("read on the water of their day, give by_record = true")


def test_points_are_reduced_by_the_record_where_asked(tmp_path: Path) -> None:
    soundings, lineage = of_record(tmp_path, more="by_record = true\n")
    # derived: half an hour after 212.30 m and half an hour before 212.20 m the water is at 212.25
    assert soundings.frame["depth"].iloc[0] == pytest.approx(2.0 + 212.40 - 212.25)
    assert soundings.frame["flag"].tolist() == [False, True]  # the record ends at ten
    assert not [note for note in lineage.notes if "give by_record" in note]
    with pytest.raises(InputFileError, match=r"points\.csv tells no times, which by_record needs$"):
        of_record(tmp_path, more="by_record = true\n", name="remark")


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (HEAD + "by_record = true\n", "by_record needs datum"),
        (
            HEAD + "by_record = true\nwater_level = 1\n[datum]\nelevation = 1\nrecord = 'f'\n",
            "give water_level or by_record, not both",
        ),
        (HEAD + "by_record = true\n[datum]\nelevation = 1\n", "by_record needs datum.record"),
    ],
)
def test_by_record_needs_a_record(text: str, words: str, tmp_path: Path) -> None:
    for name in ("s.gpkg", "f"):
        (tmp_path / name).touch()
    (tmp_path / "survey.toml").write_text(text, encoding="utf-8")
    with pytest.raises(SettingsError, match=words):
        load_settings(tmp_path / "survey.toml")


WALL = """[water]
name = "A"
shoreline = "shore.geojson"
[datum]
elevation = 212.4
record = "levels.csv"
[[soundings]]
file = "wall.csv"
crs = "EPSG:32633"
"""


def _by_the_wall(folder: Path, more: str) -> tuple[Soundings, list[str]]:
    import geopandas
    import shapely

    water = geopandas.GeoDataFrame(geometry=[shapely.box(0, 0, 90, 90)], crs=32633)
    water.geometry = water.translate(501_000, 5_201_000)
    water.to_crs(4326).to_file(folder / "shore.geojson", driver="GeoJSON")
    levels = "time,level_m\n2026-07-01T10:00Z,210.4\n2026-07-01T14:00Z,214.4\n"
    (folder / "levels.csv").write_text(levels, encoding="utf-8")
    row = "501040,5201040,2,2026-07-01 14:00\n"
    text = "easting,northing,depth,time\n" + row
    (folder / "wall.csv").write_text(text, encoding="utf-8")
    (folder / "s.toml").write_text(WALL + more, encoding="utf-8")
    settings = load_settings(folder / "s.toml")
    lineage = Lineage(settings)
    soundings = read_inputs(settings, lineage).soundings
    return soundings, [note for note in lineage.notes if "without an offset" in note]


@pytest.mark.parametrize(
    ("more", "depth", "told"),
    [
        ("", 2.0, 0),  # at the datum: the time does not matter
        ("water_level = 211.4\n", 3.0, 0),
        ("by_record = true\n", 0.0, 1),  # derived: the water of 14 h UTC, 2 m above the datum
        ('by_record = true\ntimezone = "UTC"\n', 0.0, 0),
        # derived: 14 h in Berlin is 12 h UTC, when the water stood at the datum
        ('by_record = true\ntimezone = "Europe/Berlin"\n', 2.0, 0),
    ],
)
def test_times_of_no_zone_are_told_where_a_level_is_looked_up_for_them(
    tmp_path: Path, more: str, depth: float, told: int
) -> None:
    soundings, notes = _by_the_wall(tmp_path, more)
    assert soundings.depth[0] == pytest.approx(depth, abs=1e-9)
    assert len(notes) == told
    assert all(note.startswith("wall.csv: times without an offset taken as UTC") for note in notes)
