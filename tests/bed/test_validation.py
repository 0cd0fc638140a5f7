"""Validation: beds whose better method is known, closed forms of shares, and refusals."""

import math
import re
from collections.abc import Callable

import numpy as np
import pytest
import shapely
import zoo

from toolbox.bed.fit import Fit
from toolbox.bed.fitting import fit
from toolbox.bed.leaving_out import Checks, Water
from toolbox.bed.validation import Validation, choose_method, cross_validate
from toolbox.errors import LayerError, ParameterError
from toolbox.layers import Shoreline, Soundings, Table
from toolbox.layers.crs import parse_crs

Depth = Callable[[np.ndarray, np.ndarray], np.ndarray]


def reach(width: float = 30.0, length: float = 150.0) -> Shoreline:
    """Return a straight reach from west to east with open ends."""
    ends = shapely.MultiLineString([[(x, 0), (x, width)] for x in (0, length)])
    return Shoreline(shapely.MultiPolygon([shapely.box(0, 0, length, width)]), None, 0.0, ends)


def across(depth: Depth, *, gap: float = 15.0, step: float = 1.0, noise: float = 0.0) -> Soundings:
    """Sound the reach along lines from bank to bank."""
    rng = np.random.default_rng(7)
    north = np.arange(step, 30 - step / 2, step)
    east = np.arange(gap / 2, 150, gap)
    place = np.array([(e, n) for e in east for n in north])
    return Soundings.from_arrays(
        place,
        depth(*place.T) + rng.normal(0, noise, len(place)),
        crs=None,
        line=np.repeat([f"line {k}" for k in range(len(east))], len(north)).astype(object),
        source="track",
        sd=max(noise, 0.02),
        sd_shared=0.0,
        sd_xy=0.05,
    )


def fold(_: np.ndarray, north: np.ndarray) -> np.ndarray:
    """Return a bed of planes with sharp edges along the reach."""
    return np.interp(north, [0, 6, 15, 16.5, 30], [0, 5, 3, 6, 0])


def figure(table: Table, method: str, name: str, column: str) -> float:
    frame = table.frame
    rows = frame[(frame["method"] == method) & (frame["class"] == name)]
    return float(rows[column].iloc[0])


def test_a_bed_of_planes_is_triangulated() -> None:
    choice = choose_method(across(fold), reach())
    assert choice.method == "triangulated"
    assert "triangulated bed" in choice.why
    assert choice.table is not None
    assert figure(choice.table, "fitted", "as the bed lies", "rmse_ratio") > 1.2


def test_a_lake_with_noisy_soundings_is_fitted() -> None:
    lake = zoo.make_lake("dish", zoo.SEED + 5)
    soundings = zoo.survey(lake, "points", lake.seed)
    choice = choose_method(soundings, lake.shoreline)
    assert choice.method == "fitted"
    assert choice.table is not None
    assert figure(choice.table, "fitted", "as the bed lies", "rmse_ratio") < 0.8
    # and the truth says so too
    bed = zoo.truth(lake, 5.0)
    from_truth = _rmse(choice.fit, bed)
    assert from_truth < figure(choice.table, "triangulated", "all", "rmse_m")


def _rmse(fitted: Fit, bed: zoo.Truth) -> float:
    told = fitted.problem.net.weights(bed.places) @ fitted.mean
    return float(np.sqrt(np.mean((told - bed.depth) ** 2)))


def wedge() -> tuple[Soundings, Shoreline]:
    """Return a plane that deepens eastwards from the only closed shore."""
    box = shapely.box(0, 0, 120, 60)
    edge = shapely.MultiLineString([[(0, 0), (120, 0), (120, 60), (0, 60)]])
    shoreline = Shoreline(shapely.MultiPolygon([box]), None, 0.0, edge)
    east, north = np.meshgrid(np.arange(6, 120, 12.0), np.arange(4, 60, 4.0))
    place = np.column_stack([east.ravel(), north.ravel()])
    line = [f"line {e:.0f}" for e in place[:, 0]]
    sounded = Soundings.from_arrays(
        place,
        0.05 * place[:, 0],
        crs=None,
        line=np.array(line, object),
        source="track",
        sd=0.02,
        sd_shared=0.0,
        sd_xy=0.05,
    )
    return sounded, shoreline


@pytest.fixture(scope="module")
def plane() -> Table:
    return cross_validate(*wedge(), folds=4)


def test_a_plane_is_found_again_without_its_lines(plane: Table) -> None:
    # derived: linear interpolation is exact on a plane; only beyond the last line, where the plain
    # bed is carried on to the open edge, is it not
    near = plane.frame[(plane.frame["class"] == "depth") & (plane.frame["from_m"] < 3)]
    assert (near.loc[near["method"] == "triangulated", "rmse_m"] < 1e-9).all()
    assert (near.loc[near["method"] == "fitted", "rmse_m"] < 0.03).all()
    assert (near.loc[near["method"] == "fitted", "coverage_90"] > 0.9).all()


def test_classes_part_the_readings(plane: Table) -> None:
    frame = plane.frame
    for method in ("fitted", "triangulated"):
        count = frame[frame["method"] == method].set_index("class")["count"]
        assert count["depth"].sum() == count["distance"].sum() == count["all"] > 50
    depth = frame[(frame["class"] == "depth") & (frame["method"] == "fitted")]
    np.testing.assert_array_equal(depth["from_m"].iloc[1:], depth["to_m"].iloc[:-1])
    assert math.isnan(depth["to_m"].iloc[-1])
    # the square of the whole is the mean of the squares of its parts
    parts = np.average(depth["rmse_m"] ** 2, weights=depth["count"])
    assert math.sqrt(parts) == pytest.approx(figure(plane, "fitted", "all", "rmse_m"))


def test_only_the_fitted_bed_has_intervals(plane: Table) -> None:
    plain = plane.frame["method"] == "triangulated"
    assert plane.frame.loc[plain, ["coverage_90", "interval_width_m"]].isna().all(axis=None)
    assert (plane.frame.loc[~plain & (plane.frame["count"] > 0), "interval_width_m"] > 0).all()
    assert "10 lines left out in 4 parts" in plane.notes[0]


def test_order_of_soundings_does_not_matter() -> None:
    lake = zoo.make_lake("dish", zoo.SEED + 5)
    soundings = zoo.survey(lake, "points", lake.seed)
    order = np.random.default_rng(2).permutation(len(soundings))
    one = cross_validate(soundings, lake.shoreline, folds=4)
    other = cross_validate(Soundings(soundings.frame.iloc[order]), lake.shoreline, folds=4)
    plain = (one.frame["method"] == "triangulated").to_numpy()
    columns = ["count", "rmse_m", "bias_m"]
    for which, near in ((plain, 1e-9), (~plain, 0.02)):
        np.testing.assert_allclose(
            other.frame.loc[which, columns], one.frame.loc[which, columns], rtol=near, atol=near
        )
    assert other.notes == one.notes
    assert "soundings without a line are left out in blocks of neighbours" in one.notes


def test_water_beyond_all_checks_is_told() -> None:
    lake = zoo.make_lake("round", zoo.SEED)
    table = cross_validate(zoo.survey(lake, "casts", lake.seed), lake.shoreline)
    assert "of the water is farther from soundings than any reading left out" in table.notes[-1]
    empty = table.frame[table.frame["count"] == 0]
    assert len(empty) > 0
    assert empty[["rmse_m", "bias_m", "coverage_90", "rmse_ratio"]].isna().all(axis=None)


def one_line() -> Soundings:
    soundings = across(fold)
    return Soundings(soundings.frame[soundings.frame["line"] == "line 3"])


def test_a_single_line_cannot_be_left_out() -> None:
    with pytest.raises(LayerError, match=r"must be of 2 lines or blocks, got 1$"):
        cross_validate(one_line(), reach())


def test_with_too_few_lines_the_choice_says_so() -> None:
    choice = choose_method(one_line(), reach())
    assert (choice.method, choice.table) == ("fitted", None)
    assert choice.why == "untried: 1 line or block cannot be spared"


def test_an_untried_bed_that_is_far_too_deep_is_not_chosen() -> None:
    """Readings along one shore alone tell of a slope, and nothing of where it ends."""
    crs = parse_crs("EPSG:32633")
    water = Shoreline.from_shapes([shapely.box(0, 0, 300, 300)], crs)
    north = np.arange(20.0, 280, 40)
    places = np.column_stack([np.full(len(north), 5.0), north])
    shore = Soundings.from_arrays(places, np.full(len(north), 2.5), crs=crs)
    choice = choose_method(shore, water)
    assert (choice.method, choice.table) == ("triangulated", None)
    assert re.fullmatch(r"the fitted bed is 2\.\d times the deepest sounding", choice.why)


def test_something_must_remain() -> None:
    soundings = across(fold)
    most = soundings.frame[soundings.frame["line"] == "line 3"]
    few = soundings.frame[soundings.frame["line"] == "line 5"][:2]
    with pytest.raises(LayerError, match=r"3 soundings must remain where lines are left out, got"):
        cross_validate(Soundings.joined([Soundings(most), Soundings(few)]), reach())


def test_layers_must_be_in_one_crs() -> None:
    lake = zoo.make_lake("dish", zoo.SEED + 5)
    with pytest.raises(LayerError, match=r"^soundings must be in the CRS of the shoreline"):
        cross_validate(Soundings(across(fold).frame.set_crs("EPSG:32632")), lake.shoreline)


@pytest.mark.parametrize("folds", [1, 0, 2.5, True])
def test_folds_are_counted(folds: float) -> None:
    with pytest.raises(ParameterError, match=r"^folds must be"):
        cross_validate(across(fold), reach(), folds=folds)  # type: ignore[arg-type]


LINES, EACH = 20, 10


def judged(fitted: float, triangulated: float, *, half: float = 9.0, worse: int = 0) -> Validation:
    """Return lines whose readings are all so far off; `worse` of them the other way about."""
    line = np.repeat(np.arange(LINES), EACH)
    swapped = line < worse
    errors = [
        np.where(swapped, other, own)
        for own, other in ((fitted, triangulated), (triangulated, fitted))
    ]
    flat = np.ones(LINES * EACH)
    checks = Checks(line, 3 * flat, 5 * flat, *errors, half * flat, 0 * flat)
    return Validation(checks, Water(np.arange(10.0), np.ones(10)), ())


@pytest.mark.parametrize(
    ("found", "overshoot", "method", "why"),
    [
        (judged(0.2, 0.4), 1.0, "fitted", r"0\.20 m .* at 20, .* 0\.40 m and 0$"),
        (judged(0.4, 0.2), 1.0, "triangulated", r"0\.40 m .* at 0, .* 0\.20 m and 20$"),
        (judged(0.2, 0.4), 2.1, "triangulated", r"^the fitted bed is 2\.1 times the deepest"),
        # 4 % is within the margin
        (judged(0.416, 0.4), 1.0, "fitted", r"no clear difference, and only the fitted one"),
        # 12 of 20 lines may be chance, 13 may not (derived: 20 / 2 + 1.2816 sqrt(20) / 2 = 12.9)
        (judged(0.4, 0.2, worse=8), 1.0, "fitted", r"at 8, .* and 12: no clear difference"),
        (judged(0.4, 0.2, worse=7), 1.0, "triangulated", r"at 7, .* and 13$"),
        # intervals that hold nothing: worth nothing where the other bed is as near
        (judged(0.416, 0.4, half=0.1), 1.0, "triangulated", r"intervals hold but 0% of the"),
        (judged(0.2, 0.4, half=0.1), 1.0, "fitted", r", yet its 90 % intervals hold but 0%"),
    ],
)
def test_verdicts(found: Validation, overshoot: float, method: str, why: str) -> None:
    told, sentence = found.verdict(overshoot)
    assert told == method
    assert re.search(why, sentence)


def test_a_fit_at_hand_is_not_made_again(monkeypatch: pytest.MonkeyPatch) -> None:
    soundings, shoreline = one_line(), reach()
    fitted = fit(soundings, shoreline)
    monkeypatch.setattr("toolbox.bed.validation.fit", None)
    assert choose_method(soundings, shoreline, fitted=fitted).fit is fitted
