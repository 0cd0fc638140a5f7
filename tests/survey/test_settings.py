"""The survey file is checked key by key, and a refusal says what to change."""

import re
from collections.abc import Iterator
from importlib.resources import files
from pathlib import Path
from typing import get_args

import pytest

from toolbox.catalogue import record, tools
from toolbox.errors import SettingsError
from toolbox.planning.next_soundings import plan_soundings
from toolbox.survey.settings import Settings, load_settings
from toolbox.survey.wanted import MarkKind, Marks, Plan, Terrain

GOOD = """
[water]
name = "Pond"
shoreline = "shoreline.gpkg"
[datum]
elevation = 100
[[soundings]]
file = "soundings.csv"
"""


def load(folder: Path, text: str) -> Settings:
    path = folder / "survey.toml"
    path.write_text(text, encoding="utf-8")
    return load_settings(path)


def refusal(folder: Path, text: str) -> str:
    """Return what is said against a survey file, without the file's folder."""
    with pytest.raises(SettingsError, match=r"^.*survey\.toml") as caught:
        load(folder, text)
    return str(caught.value).removeprefix(f"{folder}/")


# ---- what is allowed ----


def test_the_least_that_a_survey_file_says(tmp_path: Path) -> None:
    settings = load(tmp_path, GOOD.replace("[datum]\nelevation = 100\n", ""))
    assert settings.water.name == "Pond"
    assert settings.datum.elevation is None
    assert settings.shore_depth == 0
    assert settings.bed.method == "auto"
    assert settings.bed.cure_flats is True
    assert settings.make.cell is None
    assert settings.inputs == (tmp_path / "shoreline.gpkg", tmp_path / "soundings.csv")


@pytest.mark.parametrize(
    ("given", "metres"),
    [
        ("2", 2.0),
        ("2.5", 2.5),
        ('"2"', 2.0),
        ('"2 m"', 2.0),
        ('"10 ft"', 3.048),  # the foot is 0.3048 m exactly (NIST Handbook 44, from memory)
        ('"3937 survey_foot"', 1200.0),  # 1200/3937 m exactly (Federal Register 2020-21902)
        ('"2 fathom"', 3.6576),
        ('"150 cm"', 1.5),
        ('"0.1 km"', 100.0),
    ],
)
def test_a_length_is_a_number_in_metres_or_has_a_unit(
    given: str, metres: float, tmp_path: Path
) -> None:
    settings = load(tmp_path, f"{GOOD}\n[make]\ncell = {given}\nlevels = [0, {given}]\n")
    assert settings.make.cell == pytest.approx(metres, rel=1e-15)
    assert settings.make.levels == pytest.approx((0, metres), rel=1e-15)


@pytest.mark.parametrize(
    ("given", "east"),
    [("3.5", 3.5), ('"3.5 E"', 3.5), ('"2 W"', -2.0), ("-2", -2.0), ('"2.5\u00b0w"', -2.5)],
)
def test_declination_is_east_or_says_west(given: str, east: float, tmp_path: Path) -> None:
    settings = load(tmp_path, f"{GOOD}declination = {given}\n")
    assert settings.soundings[-1].declination == east


@pytest.mark.parametrize(
    ("given", "told"), [('"north"', "2 W"), ('"200 E"', "180"), ("181", "180")]
)
def test_a_declination_that_is_no_angle_is_refused(given: str, told: str, tmp_path: Path) -> None:
    with pytest.raises(SettingsError, match=rf"key 'soundings.1.declination': .*{told}"):
        load(tmp_path, f"{GOOD}declination = {given}\n")


def test_zones_must_exist_and_fit(tmp_path: Path) -> None:
    assert load(tmp_path, f'{GOOD}timezone = "America/Chicago"\n').soundings[0].timezone
    with pytest.raises(SettingsError, match=r"key 'soundings.1.timezone': .* name of a zone"):
        load(tmp_path, f'{GOOD}timezone = "Chicago"\n')
    with pytest.raises(SettingsError, match=r"key 'datum.timezone': .* name of a zone"):
        load(tmp_path, GOOD.replace("[datum]", '[datum]\ntimezone = "Moon"'))
    with pytest.raises(SettingsError, match=r"timezone .*(points|casts)"):
        load(tmp_path, f'{GOOD}kind = "nmea"\ntimezone = "America/Chicago"\n')


def test_elevations_may_be_negative(tmp_path: Path) -> None:
    """The surface of some lakes lies below the sea."""
    settings = load(tmp_path, GOOD.replace("= 100", '= "-430.5 m"'))
    assert settings.datum.elevation == -430.5


@pytest.mark.parametrize(("level", "depth"), [("100", 0.0), ("100.35", -0.35), ('"99.5 m"', 0.5)])
def test_the_level_of_the_shoreline_gives_its_depth(
    level: str, depth: float, tmp_path: Path
) -> None:
    text = GOOD.replace("[datum]", f"shoreline_level = {level}\n[datum]")
    assert load(tmp_path, text).shore_depth == pytest.approx(depth, abs=1e-12)


def test_paths_are_as_seen_from_the_survey_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "deep").mkdir()
    (tmp_path / "elsewhere").mkdir()
    monkeypatch.chdir(tmp_path / "elsewhere")
    text = GOOD.replace('"soundings.csv"', '"../soundings.csv"').replace(
        "[datum]", 'open_edges = "/far/ends.gpkg"\n[datum]'
    )
    text += '[bed]\nbreaklines = { file = "isobaths.gpkg" }\n'
    deep = tmp_path / "deep"
    assert load(deep, text).inputs == (
        deep / "shoreline.gpkg",
        Path("/far/ends.gpkg"),
        deep / "../soundings.csv",
        deep / "isobaths.gpkg",
    )


def test_a_byte_order_mark_does_no_harm(tmp_path: Path) -> None:
    """Some editors put one before every text; TOML 1.1 lets readers pass over it (from memory)."""
    assert load(tmp_path, "\ufeff" + GOOD).water.name == "Pond"


def test_a_date_may_be_written_as_toml_writes_dates(tmp_path: Path) -> None:
    assert load(tmp_path, GOOD + "[origin]\ndate = 2026-05-12\n").origin.date == "2026-05-12"


FITTED = GOOD + "[bed]\nmethod = 'fitted'\n"


def test_a_plan_takes_lengths_with_units_and_its_pegs_are_an_input(tmp_path: Path) -> None:
    text = FITTED + "[plan]\nreach = '200 ft'\npegs = 'pegs.csv'\ncrs = 'EPSG:32633'\n"
    settings = load(tmp_path, text)
    assert settings.plan is not None
    assert settings.plan.reach == pytest.approx(60.96, rel=1e-15)  # derived: 200 x 0.3048
    assert settings.inputs[-1] == tmp_path / "pegs.csv"
    lines = load(tmp_path, FITTED + "[plan]\nkind = 'lines'\ntrack = '1.5 km'\nturn = 0\n").plan
    assert lines is not None
    assert (lines.track, lines.turn) == (1500.0, 0.0)
    assert load(tmp_path, GOOD).plan is None


def test_a_plan_left_open_is_that_of_the_tool(tmp_path: Path) -> None:
    plan = load(tmp_path, FITTED.replace("fitted", "auto") + "[plan]\n").plan
    assert plan is not None
    declared = plan_soundings.tool.params  # type: ignore[attr-defined]
    own = {param.name: param.default for param in declared if param.name in Plan.model_fields}
    assert plan.model_dump(exclude={"crs"}) == own


def test_marks_take_every_key_and_their_files_are_inputs(tmp_path: Path) -> None:
    text = GOOD + (
        "[plants]\nfile = 'weed.gpkg'\ncrs = 'EPSG:32633'\nlayer = 'a'\nwhere = 'b > 1'\n"
        "[marks]\npegs = 'pegs.csv'\nexclusions = 'closed.gpkg'\ncrs = 'EPSG:32633'\ncount = 5\n"
        "per_peg = 2\nreach = '200 ft'\nsector = 120\nclearance = 0\napart = '1 fathom'\n"
        "shallowest = '1 ft'\ndeepest = 6\noff_plants = 0\ndeclination = -12.5\n"
        "wrap_length = '12 ft'\n[marks.weights]\ngully = 0\nplant_edge = 2.5\n"
    )
    settings = load(tmp_path, text)
    marks = settings.marks
    assert marks is not None
    # derived: the foot is 0.3048 m, the fathom six of it
    assert (marks.reach, marks.apart, marks.shallowest, marks.wrap_length) == pytest.approx(
        (60.96, 1.8288, 0.3048, 3.6576), rel=1e-15
    )
    assert (marks.sector, marks.declination, marks.clearance) == (120.0, -12.5, 0.0)
    assert marks.weights == {"gully": 0.0, "plant_edge": 2.5}
    assert [path.name for path in settings.inputs[-3:]] == ["weed.gpkg", "pegs.csv", "closed.gpkg"]
    boat = load(tmp_path, GOOD + "[marks]\nkind = 'boat'\nslip = 'slip.csv'\n")
    assert boat.inputs[-1] == tmp_path / "slip.csv"
    assert load(tmp_path, GOOD).marks is None
    assert load(tmp_path, GOOD).plants is None


def test_what_marks_leave_open_is_that_of_the_tools(tmp_path: Path) -> None:
    marks = load(tmp_path, GOOD + "[marks]\n").marks
    assert marks is not None
    assert marks.model_dump(exclude={"kind", "weights"}) == dict.fromkeys(
        set(Marks.model_fields) - {"kind", "weights"}
    )


def test_every_key_and_weight_of_marks_is_one_of_the_tools() -> None:
    """Keys go to the tools by their names; a weight that no tool knows would never be used."""
    declared = {
        name: {param.name for param in record(tools()[name]).params}
        for name in ("marks", "boat-marks")
    }
    weights = {f"weight_{kind}" for kind in get_args(MarkKind)}
    for names in declared.values():
        assert {name for name in names if name.startswith("weight_")} == weights
    keys = set(Marks.model_fields) - {"kind", "crs", "weights", "slip"}
    assert keys <= declared["marks"]
    assert declared["boat-marks"] - weights - {"bed", "shoreline", "features", "plants"} <= {
        *Marks.model_fields
    }


def test_isobaths_and_rasters_are_chosen(tmp_path: Path) -> None:
    make = load(tmp_path, GOOD + "[make]\nisobath_interval = '1 ft'\nterrain = []\n").make
    assert make.isobath_interval == pytest.approx(0.3048, rel=1e-15)
    assert make.terrain == ()
    make = load(tmp_path, GOOD + "[make]\nisobath_levels = [0, '10 ft', -1]\n").make
    assert make.isobath_levels == pytest.approx((0, 3.048, -1), rel=1e-15)
    every = list(get_args(Terrain))
    assert load(tmp_path, GOOD + f"[make]\nterrain = {every}\n").make.terrain == tuple(every)


def test_settings_cannot_be_changed_afterwards(tmp_path: Path) -> None:
    settings = load(tmp_path, GOOD)
    with pytest.raises(ValueError, match="frozen"):
        settings.water.name = "Lake"  # type: ignore[misc]


# ---- what is refused, word by word ----


@pytest.mark.parametrize(
    ("text", "key", "beside"),
    [
        ("colour = 'red'\n" + GOOD, "colour", {"water", "datum", "soundings", "make"}),
        (GOOD + "[make]\ncel = 2", "make.cel", {"cell", "step", "levels", "slope_unit"}),
        (GOOD + "dept = 'z'", "soundings.1.dept", {"file", "depth", "unit", "positive", "crs"}),
        (
            GOOD + "[[soundings]]\nfile = 'b.csv'\nkolour = 1",
            "soundings.2.kolour",
            {"file", "depth", "unit", "positive", "crs"},
        ),
        (
            GOOD + "[bed]\nbreaklines = { file = 'a.gpkg', easting = 'x' }",
            "bed.breaklines.easting",
            {"file", "depth", "elevation", "layer", "where", "unit", "positive", "crs"},
        ),
    ],
)
def test_an_unknown_key_is_told_with_those_allowed_beside_it(
    text: str, key: str, beside: set[str], tmp_path: Path
) -> None:
    said = refusal(tmp_path, text)
    found = re.fullmatch(rf"survey\.toml: key '{key}' is unknown; allowed here: ([\w, ]+)", said)
    assert found is not None, said
    listed = found[1].split(", ")
    assert listed == sorted(set(listed))
    assert beside <= set(listed)
    assert key.rpartition(".")[2] not in listed


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (GOOD.replace('name = "Pond"\n', ""), "key 'water.name' is missing"),
        (GOOD.replace('file = "soundings.csv"\n', ""), "key 'soundings.1.file' is missing"),
        ("[water]\nname = 'A'\nshoreline = 'b.gpkg'", "key 'soundings' is missing"),
        ("[[soundings]]\nfile = 'a.csv'", "key 'water' is missing"),
        (GOOD.replace('"Pond"', "7"), "key 'water.name': Input should be a valid string, got 7"),
        (
            GOOD.replace('"Pond"', '""'),
            "key 'water.name': String should have at least 1 character, got ''",
        ),
        (
            GOOD + "[bed]\ncure_flats = 'perhaps'",
            "key 'bed.cure_flats': Input should be a valid boolean, unable to interpret input, "
            "got 'perhaps'",
        ),
        (
            GOOD + "[bed]\nduplicates = 'median'",
            "key 'bed.duplicates': Input should be 'mean', 'shoalest' or 'deepest', got 'median'",
        ),
        (
            GOOD + "unit = 'parsec'",
            "key 'soundings.1.unit': Input should be 'm', 'cm', 'ft', 'survey_foot' or 'fathom', "
            "got 'parsec'",
        ),
        (
            GOOD + "[make]\ncell = '2 kg'",
            "key 'make.cell': must be a number in m, or a number and a unit such as '2 m', "
            "got '2 kg'",
        ),
        (
            GOOD + "[make]\nlevels = [1, 'deep']",
            "key 'make.levels.2': must be a number in m, or a number and a unit such as '2 m', "
            "got 'deep'",
        ),
        (GOOD + "[make]\ncell = 0", "key 'make.cell': Input should be greater than 0, got 0"),
        (
            GOOD + "[make]\nstep = '-1 ft'",
            "key 'make.step': Input should be greater than 0, got '-1 ft'",
        ),
        (
            GOOD + "[bed]\nmethod = 'triangulated'\n[plan]\ncasts = 3",
            "a plan needs bed.method = 'fitted' or 'auto', got bed.method = 'triangulated', "
            "which does not know its own error",
        ),
        (
            FITTED + "[plan]\nkind = 'swim'",
            "key 'plan.kind': Input should be 'casts' or 'lines', got 'swim'",
        ),
        (
            FITTED + "[plan]\ncasts = 0",
            "key 'plan.casts': Input should be greater than or equal to 1, got 0",
        ),
        (FITTED + "[plan]\nreach = 0", "key 'plan.reach': Input should be greater than 0, got 0"),
        (
            FITTED + "[plan]\nreach = 'far'",
            "key 'plan.reach': must be a number in m, or a number and a unit such as '2 m', "
            "got 'far'",
        ),
        (
            FITTED + "[plan]\nkind = 'lines'\nturn = -1",
            "key 'plan.turn': Input should be greater than or equal to 0, got -1",
        ),
        (
            FITTED + "[plan]\nkind = 'lines'\nreach = 40",
            "key 'plan': reach is for kind = 'casts', got kind = 'lines'",
        ),
        (
            FITTED + "[plan]\ntrack = 900",
            "key 'plan': track is for kind = 'lines', got kind = 'casts'",
        ),
        (
            FITTED + "[plan]\npegs = 'a.csv'\npeg_spacing = 5",
            "key 'plan': give pegs or peg_spacing, not both",
        ),
        (
            GOOD + "[marks]\nkind = 'swim'",
            "key 'marks.kind': Input should be 'casts' or 'boat', got 'swim'",
        ),
        (
            GOOD + "[marks]\nkind = 'boat'\npegs = 'a.csv'",
            "key 'marks': pegs is for kind = 'casts', got kind = 'boat'",
        ),
        (
            GOOD + "[marks]\nkind = 'boat'\nper_peg = 2",
            "key 'marks': per_peg is for kind = 'casts', got kind = 'boat'",
        ),
        (
            GOOD + "[marks]\nslip = 'a.csv'",
            "key 'marks': slip is for kind = 'boat', got kind = 'casts'",
        ),
        (
            GOOD + "[marks]\npegs = 'a.csv'\npeg_spacing = 5",
            "key 'marks': give pegs or peg_spacing, not both",
        ),
        (
            GOOD + "[marks]\ncount = 0",
            "key 'marks.count': Input should be greater than or equal to 1, got 0",
        ),
        (
            GOOD + "[marks]\nper_peg = 201",
            "key 'marks.per_peg': Input should be less than or equal to 200, got 201",
        ),
        (GOOD + "[marks]\nreach = 0", "key 'marks.reach': Input should be greater than 0, got 0"),
        (
            GOOD + "[marks]\nsector = 361",
            "key 'marks.sector': Input should be less than or equal to 360, got 361",
        ),
        (
            GOOD + "[marks]\nclearance = '-1 ft'",
            "key 'marks.clearance': Input should be greater than or equal to 0, got '-1 ft'",
        ),
        (
            GOOD + "[marks]\napart = 'far'",
            "key 'marks.apart': must be a number in m, or a number and a unit such as '2 m', "
            "got 'far'",
        ),
        (
            GOOD + "[marks]\nshallowest = nan",
            "key 'marks.shallowest': Input should be a finite number, got nan",
        ),
        (
            GOOD + "[marks]\ndeepest = inf",
            "key 'marks.deepest': Input should be a finite number, got inf",
        ),
        (
            GOOD + "[marks]\noff_plants = -1",
            "key 'marks.off_plants': Input should be greater than or equal to 0, got -1",
        ),
        (
            GOOD + "[marks]\ndeclination = 181",
            "key 'marks.declination': Input should be less than or equal to 180, got 181",
        ),
        (
            GOOD + "[marks]\nwrap_length = 0",
            "key 'marks.wrap_length': Input should be greater than 0, got 0",
        ),
        (
            GOOD + "[marks]\npeg_spacing = 0",
            "key 'marks.peg_spacing': Input should be greater than 0, got 0",
        ),
        (
            GOOD + "[marks.weights]\ngully = -1",
            "key 'marks.weights.gully': Input should be greater than or equal to 0, got -1",
        ),
        (
            GOOD + "[marks.weights]\ngully = nan",
            "key 'marks.weights.gully': Input should be a finite number, got nan",
        ),
        (
            GOOD + "[marks.weights]\ngully = inf",
            "key 'marks.weights.gully': Input should be a finite number, got inf",
        ),
        (
            GOOD + "[marks.weights]\nwreck = 1",
            "key 'marks.weights.wreck' is unknown; allowed here: 'drop_off_foot', "
            "'drop_off_lip', 'gully', 'hump_top', 'hump_side', 'hole', 'plateau_edge', "
            "'plant_edge' or 'bottom_change'",
        ),
        (GOOD + "[plants]\nlayer = 'a'", "key 'plants.file' is missing"),
        (
            GOOD + "[make]\nterrain = ['slope', 'hillside']",
            "key 'make.terrain.2': Input should be 'slope', 'aspect', 'shaded_relief', "
            "'profile_curvature', 'plan_curvature', 'relative_position', 'roughness', "
            "'ruggedness_index', 'surface_area_ratio', 'arc_chord_ratio', 'vector_ruggedness' or "
            "'landforms', got 'hillside'",
        ),
        (
            GOOD + "[make]\nisobath_interval = 0",
            "key 'make.isobath_interval': Input should be greater than 0, got 0",
        ),
        (
            GOOD + "[make]\nisobath_levels = [1, 'deep']",
            "key 'make.isobath_levels.2': must be a number in m, or a number and a unit such as "
            "'2 m', got 'deep'",
        ),
        (
            GOOD + "[make]\nisobath_interval = 1\nisobath_levels = [1]",
            "give make.isobath_interval or make.isobath_levels, not both",
        ),
        (
            GOOD + "[make]\ncell = nan",
            "key 'make.cell': Input should be a finite number, got nan",
        ),
        (
            GOOD.replace("= 100", "= inf"),
            "key 'datum.elevation': Input should be a finite number, got inf",
        ),
        (
            GOOD + "crs = 'EPSG:99999'",
            "key 'soundings.1.crs': crs is unknown: 'EPSG:99999'; give an authority code such as "
            "'EPSG:32633', a PROJ string or WKT, got 'EPSG:99999'",
        ),
        (GOOD + "[make]\nstep = 1\nlevels = [1]", "give make.step or make.levels, not both"),
        (
            GOOD.replace("elevation = 100", "").replace("[datum]", "shoreline_level = 99\n[datum]"),
            "water.shoreline_level needs datum.elevation",
        ),
        (
            GOOD.replace("elevation = 100", "") + "water_level = 99",
            "soundings 1: an elevation needs datum.elevation",
        ),
        (
            GOOD.replace("elevation = 100", "") + "[[soundings]]\nfile='b'\nelevation = 'bed'",
            "soundings 2: an elevation needs datum.elevation",
        ),
    ],
)
def test_a_refusal_names_the_key_the_value_and_what_is_allowed(
    text: str, said: str, tmp_path: Path
) -> None:
    assert refusal(tmp_path, text) == f"survey.toml: {said}"


MANY = """
colour = "red"
[[soundings]]
file = "a.csv"
unit = "parsec"
water_level = 99
[[soundings]]
fil = "b.csv"
kind = "casts"
latency = 3
[water]
name = "Pond"
shoreline = "shoreline.gpkg"
[make]
cell = 0
step = 1
levels = [1]
[bed]
method = "triangulated"
draws = 1
[plan]
kind = "lines"
reach = 40
[marks]
count = 0
[marks.weights]
wreck = 1
gully = -1
[species]
names = []
"""


def test_every_fault_is_told_once_in_the_order_of_the_file(tmp_path: Path) -> None:
    lines = [line.removeprefix(f"{tmp_path}/") for line in refusal(tmp_path, MANY).split("\n")]
    assert [line.partition(";")[0].removeprefix("survey.toml: ") for line in lines] == [
        "key 'colour' is unknown",
        "key 'soundings.1.unit': Input should be 'm', 'cm', 'ft', 'survey_foot' or 'fathom', "
        "got 'parsec'",
        "key 'soundings.2.fil' is unknown",
        "key 'soundings.2': latency is for kind = 'nmea', got kind = 'casts'",
        "key 'soundings.2': casts need pings, the file of their readings",
        "key 'make.cell': Input should be greater than 0, got 0",
        "key 'bed.draws': Input should be greater than or equal to 2, got 1",
        "key 'plan': reach is for kind = 'casts', got kind = 'lines'",
        "key 'marks.count': Input should be greater than or equal to 1, got 0",
        "key 'marks.weights.wreck' is unknown",
        "key 'marks.weights.gully': Input should be greater than or equal to 0, got -1",
        "key 'species.names': Tuple should have at least 1 item after validation, not 0, got []",
        "soundings 1: an elevation needs datum.elevation",
        "give make.step or make.levels, not both",
        "a plan needs bed.method = 'fitted' or 'auto', got bed.method = 'triangulated', which "
        "does not know its own error",
        "species need profiles of temperature and oxygen: give [profiles]",
    ]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (GOOD.replace("elevation = 100", "elevation = 'high'") + "water_level = 3", "elevation"),
        (GOOD.replace("[datum]\nelevation = 100", "").replace("\n[water]", "\ndatum = 3\n[water]")
         + "water_level = 3", "datum"),
        (GOOD + "kind = 'sonar'\npings = 'p'\nlatency = 3", "kind"),
        (GOOD + "by_record = 'perhaps'", "by_record"),
        ("soundings = 3\n" + GOOD.partition("[[")[0] + "[stage]", "soundings"),
        (GOOD + "[make]\nstep = 1\nlevels = ['deep']", "levels"),
        (GOOD + "[bed]\nmethod = 'best'\n[plan]", "method"),
        (GOOD + "[profiles]\n[species]", "profiles"),
    ],
)  # fmt: skip
def test_what_only_follows_is_not_told(text: str, said: str, tmp_path: Path) -> None:
    (line,) = refusal(tmp_path, text).split("\n")
    assert re.search(rf"key '[\w.]*{said}", line)


@pytest.mark.parametrize("rule", ["water_level = 3\n", "by_record = true\n"])
def test_a_wrong_source_hides_none_of_another(rule: str, tmp_path: Path) -> None:
    bare = GOOD.replace("[datum]\nelevation = 100\n", "")
    text = f"{bare}by_record = 'perhaps'\n[[soundings]]\nfile = 'b'\n{rule}"
    said = refusal(tmp_path, text).split("\n")
    assert len(said) == 2 + ("record" in rule)
    assert "survey.toml: soundings 2: " in said[1]


def test_a_caller_gets_one_error_with_every_fault(tmp_path: Path) -> None:
    (tmp_path / "survey.toml").write_text(MANY, encoding="utf-8")
    with pytest.raises(SettingsError, match="'colour' is unknown") as caught:
        load_settings(tmp_path / "survey.toml")
    assert len(caught.value.faults) == 16
    assert str(caught.value) == "\n".join(caught.value.faults)
    assert {fault.partition(": ")[0] for fault in caught.value.faults} == {
        str(tmp_path / "survey.toml")
    }


@pytest.mark.parametrize("key", ["[make]\ncell", "[make]\nstep", "water_level"])
def test_yes_is_no_length(key: str, tmp_path: Path) -> None:
    said = refusal(tmp_path, f"{GOOD}{key} = true\n")
    assert re.search(r"key '[\w.]+': .*number.*, got True$", said)


def test_levels_must_name_a_depth(tmp_path: Path) -> None:
    assert "key 'make.levels'" in refusal(tmp_path, f"{GOOD}[make]\nlevels = []\n")


@pytest.mark.parametrize("crs", ["EPSG:4326", "EPSG:2264"], ids=["degrees", "feet"])
def test_the_crs_to_work_in_must_be_in_metres(crs: str, tmp_path: Path) -> None:
    said = refusal(tmp_path, GOOD.replace("[datum]", f"crs = '{crs}'\n[datum]"))
    assert re.fullmatch(r"survey\.toml: key 'water\.crs': .*projected CRS in metres.*", said)


@pytest.mark.parametrize(
    "text",
    [
        "[make\n",
        "[water]\n[water]\n",
        "= 3\n",
        "a = 1 b = 2\n",
        f"a = {'9' * 5_000}\n",
        f"a = {'[' * 2_000}\n",
    ],
    ids=["open bracket", "twice", "no key", "two in a line", "too many digits", "too deep"],
)
def test_what_is_no_toml_is_refused(text: str, tmp_path: Path) -> None:
    assert refusal(tmp_path, text).startswith("survey.toml is not a TOML file: ")


def test_text_of_another_encoding_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "survey.toml"
    path.write_bytes(GOOD.replace("Pond", "M\u00fchlweiher").encode("cp1252"))
    with pytest.raises(SettingsError, match=r"survey\.toml is not a TOML file: .*0xfc"):
        load_settings(path)


@pytest.mark.parametrize(("name", "words"), [("nothing.toml", "does not exist"), (".", "a folder")])
def test_a_survey_file_that_is_missing_is_told(name: str, words: str, tmp_path: Path) -> None:
    with pytest.raises(SettingsError, match=words):
        load_settings(tmp_path / name)


# ---- the starter ----

STARTER = files("toolbox.survey").joinpath("starter.toml").read_text(encoding="utf-8")
ALTERNATIVES = [
    ("depth", "step", "isobath_interval", "secchi"),
    ("elevation", "levels", "isobath_levels", "attenuation"),
]
"""Keys that exclude each other, one of each pair at a time."""


def uncommented(text: str, but: tuple[str, ...]) -> Iterator[str]:
    """Take the sign away from every line that is a key, as the starter's head says one may."""
    section = ""
    for line in text.splitlines():
        line = line.removeprefix("# ") if line.startswith("# [") else line
        section = line if line.startswith("[") else section
        key = re.match(r"# (\w+) +=|# (\w+) =", line)
        name = key and (key[1] or key[2])
        left_out = name in but and section.startswith(("[[soundings", "[make", "[light"))
        yield line.removeprefix("# ") if key and not left_out else line


def test_the_starter_is_good_as_it_is(tmp_path: Path) -> None:
    settings = load(tmp_path, STARTER)
    assert settings.inputs == (tmp_path / "shoreline.gpkg", tmp_path / "soundings.csv")


@pytest.mark.parametrize("but", ALTERNATIVES, ids=["elevation and levels", "depth and steps"])
def test_every_key_of_the_starter_is_good_without_its_sign(
    but: tuple[str, ...], tmp_path: Path
) -> None:
    lines = list(uncommented(STARTER, but))
    settings = load(tmp_path, "\n".join(lines))
    signs = [line for line in lines if re.match(r"# \w+ +?= ", line)]
    assert len(signs) == len(but)  # those left out
    given = settings.model_dump(exclude_unset=True)
    assert set(given) == set(Settings.model_fields) - {"cleaning", "thinning"}
    assert set(given["marks"]) == set(Marks.model_fields) - {"slip", "peg_spacing"}
    assert given["bed"]["breaklines"]["file"] == tmp_path / "isobaths.gpkg"
    assert given["datum"]["elevation"] == 101.30
    if "levels" in given["make"]:
        assert given["make"]["levels"] == pytest.approx((0, 1.5, 3.048))


def test_a_stage_table_needs_a_datum(tmp_path: Path) -> None:
    bare = GOOD.replace("[datum]\nelevation = 100\n", "")
    assert "a stage table needs datum.elevation" in refusal(tmp_path, bare + "[stage]\n")


def test_the_starter_excludes_what_excludes_each_other(tmp_path: Path) -> None:
    said = refusal(tmp_path, "\n".join(uncommented(STARTER, ())))
    assert "not both" in said
