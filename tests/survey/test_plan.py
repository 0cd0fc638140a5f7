"""A plan is a step of a run: on the fit of its bed, checked before, and never left out unsaid."""

import json
from pathlib import Path
from typing import Any

import geopandas
import numpy as np
import pandas as pd
import pytest
import shapely

from toolbox.cli import main
from toolbox.errors import InputFileError, LayerError, ParameterError
from toolbox.formats.places import read_places
from toolbox.planning.next_soundings import plan_soundings
from toolbox.reduction.spread import estimate_spread
from toolbox.survey.lineage import Lineage
from toolbox.survey.plan import find_ways, make_plan
from toolbox.survey.reduce import Inputs, read_inputs
from toolbox.survey.run import run
from toolbox.survey.settings import Settings, load_settings

WEST, SOUTH, WIDE, HIGH = 500_000.0, 5_300_000.0, 160.0, 120.0
CRS = "EPSG:32633"
PEGS = {"west": (-3.0, 60.0), "north": (80.0, 122.0), "east": (162.0, 40.0)}
PLAN = 'casts = 4\nreach = "45 m"\npegs = "pegs.csv"\ncrs = "EPSG:32633"\n'


@pytest.fixture
def pond(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Sound the eastern half of a pond along five lines, and set pegs about all of it."""
    monkeypatch.chdir(tmp_path)
    water = shapely.box(WEST, SOUTH, WEST + WIDE, SOUTH + HIGH)
    geopandas.GeoDataFrame(geometry=[water], crs=CRS).to_file("shore.gpkg")
    rng = np.random.default_rng(4)
    east = np.repeat(np.linspace(85, 150, 5), 12)
    north = np.tile(np.linspace(6, HIGH - 6, 12), 5)
    depth = 5 * np.sin(np.pi * east / WIDE) * np.sin(np.pi * north / HIGH)
    read = np.round(depth + rng.normal(0, 0.05, len(east)), 3)
    columns = {"easting": WEST + east, "northing": SOUTH + north, "depth_m": read}
    lines = np.char.add("line ", np.repeat(np.arange(5), 12).astype(str))
    pd.DataFrame(columns | {"line": lines}).to_csv("boat.csv", index=False)
    pegs = [(name, WEST + x, SOUTH + y) for name, (x, y) in PEGS.items()]
    pd.DataFrame(pegs, columns=["peg", "easting", "northing"]).to_csv("pegs.csv", index=False)
    return tmp_path


def survey(pond: Path, plan: str, *, method: str = "fitted") -> Settings:
    path = pond / "survey.toml"
    path.write_text(
        '[water]\nname = "Pond (invented)"\nshoreline = "shore.gpkg"\n'
        f'[[soundings]]\nfile = "boat.csv"\ncrs = "{CRS}"\nsource = "track"\n'
        f'[bed]\nmethod = "{method}"\ndraws = 5\n[make]\ncell = "4 m"\n[plan]\n{plan}',
        encoding="utf-8",
    )
    return load_settings(path)


def read(settings: Settings) -> tuple[Inputs, Lineage]:
    lineage = Lineage(settings)
    return read_inputs(settings, lineage), lineage


def steps(lineage: Lineage) -> dict[str, dict[str, Any]]:
    return {step["step"]: step for step in lineage.steps}


def test_a_run_plans_on_the_fit_of_its_bed(pond: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    settings = survey(pond, PLAN)
    with monkeypatch.context() as once:
        once.setattr("toolbox.planning.next_soundings.fit", lambda *_: pytest.fail("fitted twice"))
        lineage = run(settings, pond / "out")
    layer = geopandas.read_file(pond / "out" / "lakebed.gpkg", layer="next_soundings")
    table = pd.read_csv(pond / "out" / "next_soundings.csv")
    pd.testing.assert_frame_equal(
        table.drop(columns="wkt"),
        pd.DataFrame(layer.drop(columns="geometry")),
        check_dtype=False,  # whole metres are read from text as integers
        rtol=1e-9,
    )
    assert shapely.equals_exact(shapely.from_wkt(table["wkt"]), layer.geometry, 0.001).all()
    # the tool by itself, from the same layers, says the same
    inputs, _ = read(settings)
    pegs = read_places(pond / "pegs.csv", crs=CRS)
    soundings = estimate_spread(inputs.soundings)
    alone = plan_soundings(soundings, inputs.shoreline, pegs, casts=4, reach=45.0).frame
    assert table["peg"].tolist() == alone["peg"].tolist()
    numbers = table.columns.difference(["peg", "wkt"])
    np.testing.assert_allclose(table[numbers], alone[numbers].to_numpy(float), rtol=1e-8)
    assert layer.crs == inputs.shoreline.crs
    # nobody sounded the west
    assert set(table["peg"][:2]) <= {"west", "north"}
    assert layer.geometry[0].centroid.x < WEST + 80

    text = " ".join((pond / "out" / "findings.txt").read_text(encoding="utf-8").split())
    assert "Where to sound next" in text
    assert "next_soundings.csv" in text
    now = table["mean_sd_m"][0] + table["mean_sd_drop_m"][0]
    assert f"from {now:.3f} m to {table['mean_sd_m'][3]:.3f} m" in text
    told = steps(lineage)
    assert told["read pegs"]["pegs"] == 3
    assert told["plan"]["chosen"] == 4
    assert told["plan"]["mean_sd_then_m"] == pytest.approx(table["mean_sd_m"][3])
    order = [step["step"] for step in lineage.steps]
    assert order.index("find ways") < order.index("fit") < order.index("plan")
    written = json.loads((pond / "out" / "lineage.json").read_text(encoding="utf-8"))
    assert "pegs.csv" in {Path(row["file"]).name for row in written["inputs"]}


def test_a_triangulated_bed_is_said_to_give_no_plan(pond: Path) -> None:
    settings = survey(pond, PLAN, method="auto")
    inputs, lineage = read(settings)
    ways = find_ways(settings, inputs, lineage)
    assert make_plan(ways, None, inputs, lineage) is None
    told = "no plan where to sound next: the bed is triangulated"
    assert any(note.startswith(told) for note in lineage.ranked["caution"])
    assert steps(lineage)["plan"]["chosen"] == 0


def test_nothing_is_planned_or_told_unless_asked_for(pond: Path) -> None:
    settings = survey(pond, PLAN).model_copy(update={"plan": None})
    inputs, lineage = read(settings)
    before = len(lineage.steps)
    ways = find_ways(settings, inputs, lineage)
    assert ways is None
    assert make_plan(ways, None, inputs, lineage) is None
    assert len(lineage.steps) == before


def test_lines_of_a_boat_can_be_planned(pond: Path) -> None:
    settings = survey(pond, 'kind = "lines"\ntrack = "300 m"\nturn = "30 ft"\n')
    inputs, lineage = read(settings)
    ways = find_ways(settings, inputs, lineage)
    assert ways is not None
    assert (ways.kind, ways.budget, ways.pegs) == ("lines", 300.0, None)
    np.testing.assert_allclose(ways.cost - ways.candidates.length, 9.144)  # derived: 30 x 0.3048


@pytest.mark.parametrize(
    ("plan", "kind", "said"),
    [
        (PLAN.replace('"45 m"', "1"), LayerError, "peg 1 at .* within its reach of 1 m"),
        (PLAN.replace("pegs.csv", "shore.gpkg"), InputFileError, "must hold points, got Polygon"),
        (PLAN.replace('crs = "EPSG:32633"', ""), InputFileError, "pegs.csv names no CRS"),
        (PLAN.replace("pegs.csv", "none.csv"), InputFileError, "none.csv does not exist"),
        ('kind = "lines"\ntrack = 5', ParameterError, r"track must be >= \d+ m, .*, got 5"),
    ],
)
def test_what_cannot_be_planned_is_refused_before_any_fit(
    plan: str, kind: type[Exception], said: str, pond: Path
) -> None:
    settings = survey(pond, plan)
    inputs, lineage = read(settings)
    with pytest.raises(kind, match=said):
        find_ways(settings, inputs, lineage)


def test_a_bad_plan_gets_one_line(pond: Path, capfd: pytest.CaptureFixture[str]) -> None:
    survey(pond, PLAN)
    path = pond / "survey.toml"
    path.write_text(path.read_text().replace('"fitted"', '"triangulated"'))
    for command in ("check survey.toml", "run survey.toml --out out"):
        assert main(command.split()) == 2
        (line,) = capfd.readouterr().err.splitlines()
        assert "survey.toml: a plan needs bed.method = 'fitted' or 'auto'" in line
    assert not (pond / "out").exists()
