"""The bed of a survey is made in the way its file asks for."""

import json
from pathlib import Path
from typing import Any

import geopandas
import numpy as np
import pandas as pd
import pytest
import shapely

from toolbox.errors import LayerError, SettingsError
from toolbox.formats.bed_file import read_bed
from toolbox.formats.geotiff import read_grid
from toolbox.survey.run import run
from toolbox.survey.settings import load_settings

SIDE, DEEP = 200.0, 6.0
WEST, SOUTH = 500_000.0, 5_300_000.0
CRS = "EPSG:32633"


def bowl(east: np.ndarray, north: np.ndarray) -> np.ndarray:
    """Depth of a bowl in a square, 0 on its edge."""
    return 16 * DEEP * east * (SIDE - east) * north * (SIDE - north) / SIDE**4


@pytest.fixture(scope="module")
def pond(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Make a square pond, sounded along six lines by a boat."""
    folder = tmp_path_factory.mktemp("pond")
    water = shapely.box(WEST, SOUTH, WEST + SIDE, SOUTH + SIDE)
    geopandas.GeoDataFrame(geometry=[water], crs=CRS).to_file(folder / "shore.gpkg")
    rng = np.random.default_rng(4)
    rows = []
    for line, east in enumerate(np.linspace(20, 180, 6), start=1):
        north = np.arange(5.0, SIDE, 5)
        depth = bowl(np.full(len(north), east), north) + rng.normal(0, 0.05, len(north))
        rows += [
            (WEST + east, SOUTH + y, round(z, 3), f"line {line}")
            for y, z in zip(north, depth, strict=True)
        ]
    columns = ["easting", "northing", "depth_m", "line"]
    pd.DataFrame(rows, columns=columns).to_csv(folder / "boat.csv", index=False)
    return folder


def made(pond: Path, bed: str, out: str) -> Path:
    """Run a survey of the pond with a section [bed]."""
    survey = pond / f"{out}.toml"
    survey.write_text(
        '[water]\nname = "Pond (invented)"\nshoreline = "shore.gpkg"\n'
        f'[[soundings]]\nfile = "boat.csv"\ncrs = "{CRS}"\nsource = "track"\n'
        f'[bed]\n{bed}\n[make]\ncell = "4 m"\n',
        encoding="utf-8",
    )
    run(load_settings(survey), pond / out)
    return pond / out


@pytest.fixture(scope="module")
def fitted(pond: Path) -> Path:
    return made(pond, 'method = "fitted"\ndraws = 40', "fitted")


def test_a_fitted_run_tells_its_error_everywhere(fitted: Path) -> None:
    bed = read_bed(fitted / "lakebed.gpkg")
    assert bed.sd is not None
    assert bed.draws is not None
    assert bed.draws.shape == (len(bed.depth), 40)
    for name, least, most in (("depth_sd", 0.0, 1.5), ("support", 0.0, 1.0), ("unsurveyed", 0, 1)):
        values = np.asarray(read_grid(fitted / f"{name}.tif").values)
        assert np.nanmin(values) >= least
        assert np.nanmax(values) <= most
    tables = {path.stem for path in fitted.glob("*.csv")}
    assert {"line_errors", "bed_orders", "validation"} <= tables
    table = pd.read_csv(fitted / "hypsography.csv")
    inner = table.iloc[1:-1]
    assert (inner["area_low_m2"] <= inner["area_m2"]).all()
    assert (inner["area_m2"] <= inner["area_high_m2"]).all()


def test_its_band_holds_the_true_volume(fitted: Path) -> None:
    # derived: the mean of x (a - x) over 0..a is a^2 / 6, so the bowl's mean depth is 16 DEEP / 36
    figures = pd.read_csv(fitted / "morphometry.csv").set_index("measure")
    volume = 16 * DEEP / 36 * SIDE**2
    assert figures.loc["volume", "low"] < volume < figures.loc["volume", "high"]
    assert figures.loc["volume", "value"] == pytest.approx(volume, rel=0.03)
    assert figures.loc["volume", "high"] / figures.loc["volume", "low"] < 1.2


def test_lines_errors_and_lineage_are_told(fitted: Path) -> None:
    lines = pd.read_csv(fitted / "line_errors.csv")
    assert set(lines["line"]) == {f"line {number}" for number in range(1, 7)}
    assert lines["level_m"].abs().max() < 0.2
    assert (lines["level_sd_m"] <= lines["level_stated_sd_m"] * 1.001).all()
    steps = json.loads((fitted / "lineage.json").read_text(encoding="utf-8"))["steps"]
    told = {step["step"]: step for step in steps}
    assert told["fit"]["nodes"] > 100
    assert any("correlation range" in note for note in told["fit"]["notes"])
    assert "triangulate" not in told
    assert "good to" in (fitted / "findings.txt").read_text(encoding="utf-8")


def test_auto_takes_one_of_them_and_says_why(pond: Path) -> None:
    out = made(pond, 'method = "auto"', "auto")
    steps = json.loads((out / "lineage.json").read_text(encoding="utf-8"))["steps"]
    told = {step["step"]: step for step in steps}
    better = told["cross-validate"]["better"]
    assert {"fitted": "fit", "triangulated": "triangulate"}[better] in told
    assert "at lines left out the fitted bed was" in told["cross-validate"]["why"]


def test_a_triangulated_run_has_no_error_to_tell(pond: Path) -> None:
    out = made(pond, 'method = "triangulated"', "plain")
    assert not (out / "depth_sd.tif").exists()
    assert not (out / "line_errors.csv").exists()
    assert "does not know its own error" in " ".join((out / "findings.txt").read_text().split())


def test_the_same_seed_gives_the_same_bits(pond: Path, fitted: Path) -> None:
    again = read_bed(made(pond, 'method = "fitted"\ndraws = 40', "again") / "lakebed.gpkg")
    before = read_bed(fitted / "lakebed.gpkg")
    assert again.depth.tobytes() == before.depth.tobytes()
    assert again.draws is not None
    assert before.draws is not None
    assert again.draws.tobytes() == before.draws.tobytes()


def test_breaklines_are_for_triangulated_beds(pond: Path) -> None:
    lines = 'breaklines = { file = "isobaths.gpkg" }'
    with pytest.raises(SettingsError, match=r"breaklines are for method = 'triangulated', got"):
        made(pond, f'method = "fitted"\n{lines}', "lines")


# ---- where the survey leaves the choice ----


def plumbed(pond: Path, out: str, rows: int, more: str = "") -> tuple[Path, dict[str, Any]]:
    """Run a survey of so many plumbings of the pond that says nothing of its bed."""
    rng = np.random.default_rng(8)
    east, north = rng.uniform(20, SIDE - 20, (2, rows))
    frame = pd.DataFrame(
        {"easting": WEST + east, "northing": SOUTH + north, "depth_m": bowl(east, north)}
    )
    frame.to_csv(pond / f"{out}.csv", index=False)
    survey = pond / f"{out}.toml"
    survey.write_text(
        '[water]\nname = "Pond (invented)"\nshoreline = "shore.gpkg"\n'
        f'[[soundings]]\nfile = "{out}.csv"\ncrs = "{CRS}"\nsource = "plummet"\n{more}'
        '[make]\ncell = "4 m"\nwrite = ["layers", "tables"]\n',
        encoding="utf-8",
    )
    run(load_settings(survey), pond / out)
    steps = json.loads((pond / out / "lineage.json").read_text(encoding="utf-8"))["steps"]
    return pond / out, {step["step"]: step for step in steps}


def found_in(out: Path) -> str:
    return " ".join((out / "findings.txt").read_text(encoding="utf-8").split())


def test_few_plumbings_are_judged_before_a_bed_is_chosen(pond: Path) -> None:
    more = '[thinning]\ncell = 5\nby = "shoalest"\n'
    out, told = plumbed(pond, "thirty", 30, more)
    assert told["cross-validate"]["better"] == "fitted"
    assert "at lines left out the fitted bed was" in found_in(out)
    assert "not thinned further: a fitted bed takes means" in " ".join(told["fit"]["notes"])
    # derived: the bowl's mean depth is 16 DEEP / 36
    figures = pd.read_csv(out / "morphometry.csv").set_index("measure")
    assert figures.loc["volume", "low"] < 16 * DEEP / 36 * SIDE**2 < figures.loc["volume", "high"]


NO_FIT = "the water must hold soundings off its edge; is 9 m too wide?"


def unfit(*_: object, **__: object) -> None:
    raise LayerError(NO_FIT)


def test_what_cannot_be_fitted_is_triangulated_and_that_is_told(
    pond: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("toolbox.survey.bed.fit", unfit)
    out, told = plumbed(pond, "unfit", 12)
    assert "fit" not in told
    assert "triangulate" in told
    assert f"chosen because none could be fitted: {NO_FIT}" in found_in(out)


def test_a_fit_that_takes_long_is_not_waited_for_unless_it_is_asked_for(
    pond: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("toolbox.survey.bed._QUICK", 100)
    out, told = plumbed(pond, "large", 12)
    assert "triangulate" in told
    words = "nodes, more than 100; a fitted one takes minutes: method = 'fitted' makes it all the"
    assert words in found_in(out)
    asked, told = plumbed(pond, "asked", 12, "[bed]\nspacing = 8\n")
    assert "cross-validate" in told or "fit" in told
    assert "takes minutes" not in found_in(asked)


def test_a_bed_that_is_to_be_fitted_is_never_triangulated(
    pond: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("toolbox.survey.bed.fit", unfit)
    with pytest.raises(LayerError, match="the water must hold soundings off its edge"):
        plumbed(pond, "unfit_fitted", 12, '[bed]\nmethod = "fitted"\n')


def test_two_soundings_are_too_few_for_any_bed(pond: Path) -> None:
    with pytest.raises(LayerError, match="the water must hold 3 soundings or breakline vertices"):
        plumbed(pond, "two", 2)


def test_breaklines_make_a_triangulated_bed(pond: Path) -> None:
    line = shapely.LineString([(WEST + 60, SOUTH + 100), (WEST + 140, SOUTH + 100)])
    frame = geopandas.GeoDataFrame({"depth_m": [5.0]}, geometry=[line], crs=CRS)
    frame.to_file(pond / "line.gpkg")
    more = '[bed]\nbreaklines = { file = "line.gpkg" }\n'
    out, told = plumbed(pond, "with_lines", 12, more)
    assert "fit" not in told
    assert "chosen because it must follow breaklines, which a fitted bed cannot" in found_in(out)


def test_lines_that_cannot_be_left_out_leave_the_fitted_bed_untried(
    pond: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(*_: object, **__: object) -> None:
        raise LayerError("3 soundings must remain")

    monkeypatch.setattr("toolbox.survey.bed.choose_method", refuse)
    _, told = plumbed(pond, "untried", 12)
    assert told["cross-validate"]["notes"] == [
        "no lines could be left out: 3 soundings must remain"
    ]
    assert "fit" in told
