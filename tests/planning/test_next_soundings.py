"""Planning: the tool's table, what is held against the fit, and what it refuses."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pyproj
import pytest
import shapely
import zoo

from toolbox.bed.fitting import fit
from toolbox.errors import LayerError, ParameterError
from toolbox.layers import Centreline, Places, Shoreline, Soundings, Vectors
from toolbox.planning.candidates import casts_from, pegs_along
from toolbox.planning.foresight import plan
from toolbox.planning.gear import Gear
from toolbox.planning.next_soundings import Ways, next_soundings, plan_soundings

SHARED = [
    "start_easting_m",
    "start_northing_m",
    "end_easting_m",
    "end_northing_m",
    "bearing_deg",
    "distance_m",
]
GAINS = ["mean_sd_m", "mean_sd_drop_m", "volume_sd_m3", "volume_sd_drop_m3", "geometry"]


OPTIONS = ("kind", "casts", "reach", "bearing_step", "peg_spacing", "track", "turn")


@pytest.fixture(scope="module")
def lake() -> zoo.Lake:
    return zoo.make_lake("dish", zoo.SEED + 5)


@pytest.fixture(scope="module")
def sounded(lake: zoo.Lake) -> Soundings:
    """Sound a dish from the bank, but not its western half."""
    told = zoo.survey(lake, "casts", seed=1)
    west = told.coordinates[:, 0] < np.median(lake.shoreline.polygons.centroid.x)
    return Soundings(told.frame[~west])


@pytest.fixture(scope="module")
def casts(lake: zoo.Lake, sounded: Soundings) -> Vectors:
    return plan_soundings(sounded, lake.shoreline, casts=5, reach=50.0)


def check_drops(plan: Vectors) -> None:
    for name in ("mean_sd", "volume_sd"):
        unit = "m3" if name == "volume_sd" else "m"
        left, drop = plan.frame[f"{name}_{unit}"], plan.frame[f"{name}_drop_{unit}"]
        np.testing.assert_allclose(left + drop, (left + drop)[0], rtol=1e-12)
        assert (np.diff(drop) > 0).all()
        assert drop[0] > 0


def test_casts_go_where_nothing_is_known(
    casts: Vectors, lake: zoo.Lake, sounded: Soundings
) -> None:
    assert list(casts.frame) == ["order", "peg", *SHARED, *GAINS]
    assert casts.frame["order"].tolist() == [1, 2, 3, 4, 5]
    check_drops(casts)
    east, north = casts.frame[["end_easting_m", "end_northing_m"]].to_numpy().T
    away = shapely.distance(shapely.points(east, north), shapely.MultiPoint(sounded.coordinates))
    assert away.min() > 20
    assert away.max() > 80
    lines = casts.frame.geometry
    assert (casts.name, casts.crs) == ("next_soundings", lake.shoreline.crs)
    inside = shapely.length(shapely.intersection(lines, lake.shoreline.polygons))
    np.testing.assert_allclose(inside, shapely.length(lines), atol=0.1)
    np.testing.assert_allclose(casts.frame["distance_m"], 50, atol=1e-6)
    assert casts.notes[0].startswith("5 of ")
    now = casts.frame["mean_sd_m"][0] + casts.frame["mean_sd_drop_m"][0]
    assert f"is {now:.2f} m now, {casts.frame['mean_sd_m'][4]:.2f} m after all" in casts.notes[1]


def test_the_same_bits_again(casts: Vectors, lake: zoo.Lake, sounded: Soundings) -> None:
    again = plan_soundings(sounded, lake.shoreline, casts=5, reach=50.0)
    assert casts.frame.equals(again.frame)


def test_given_pegs_are_named(lake: zoo.Lake, sounded: Soundings) -> None:
    at = pegs_along(lake.shoreline, 150.0)
    names = [f"peg {letter}" for letter in "abcdefghijklmnop"[: len(at)]]
    pegs = Places(at, pd.DataFrame({"peg": names}), lake.shoreline.crs)
    plan = plan_soundings(sounded, lake.shoreline, pegs, casts=2)
    row = [names.index(name) for name in plan.frame["peg"]]
    np.testing.assert_allclose(plan.frame[SHARED[:2]].to_numpy(), at[row], atol=1e-9)


def test_lines_keep_their_budget(lake: zoo.Lake, sounded: Soundings) -> None:
    plan = plan_soundings(sounded, lake.shoreline, kind="lines", track=700.0, turn=25.0)
    assert list(plan.frame) == ["order", *SHARED, "total_m", *GAINS]
    check_drops(plan)
    total = plan.frame["total_m"].to_numpy()
    np.testing.assert_allclose(total, np.cumsum(plan.frame["distance_m"] + 25))
    assert 500 < total[-1] <= 700
    assert plan.frame.covered_by(lake.shoreline.polygons).all()


def test_what_is_known_now_is_what_the_fit_says(lake: zoo.Lake, sounded: Soundings) -> None:
    # the plan's net is even and coarser, its prior the same
    fitted = fit(sounded, lake.shoreline)
    pegs = pegs_along(lake.shoreline, 60.0)
    ways = casts_from(pegs, lake.shoreline, reach=50.0, bearing_step=30.0)
    gear = Gear.of("casts", fitted.used, 2.0)
    made = plan(fitted, ways, gear, np.ones(len(ways)), 2)
    mass = fitted.problem.net.mass
    assert made.mean_sd[0] == pytest.approx(mass @ fitted.sd / mass.sum(), rel=0.06)
    assert made.volume_sd[0] == pytest.approx(fitted.volume_sd, rel=0.1)
    lost = made.mean_variance[:-1] - made.mean_variance[1:]
    gains = [choice.gain * fitted.inflation**2 for choice in made.choices]
    np.testing.assert_allclose(lost, gains, rtol=1e-6)


def box() -> Shoreline:
    return Shoreline(shapely.MultiPolygon([shapely.box(0, 0, 200, 100)]), None)


def few(crs: pyproj.CRS | None = None) -> Soundings:
    rng = np.random.default_rng(4)
    places = rng.uniform([20, 20], [180, 80], (30, 2))
    depth = 3 + 0.1 * rng.standard_normal(30)
    return Soundings.from_arrays(places, depth, crs=crs, sd=0.1, sd_xy=1.0, source="plummet")


def test_a_survey_without_lines_can_be_planned_on() -> None:
    check_drops(plan_soundings(few(), box(), casts=2, reach=40.0))


def test_a_fit_that_is_there_is_planned_on(monkeypatch: pytest.MonkeyPatch) -> None:
    wanted = plan_soundings(few(), box(), casts=2, reach=40.0)
    fitted = fit(few(), box())
    monkeypatch.setattr(
        "toolbox.planning.next_soundings.fit", lambda *_: pytest.fail("there is a fit already")
    )
    options = {"casts": 2, "reach": 40.0}
    given = {p.name: p.default for p in plan_soundings.tool.params if p.name in OPTIONS}  # type: ignore[attr-defined]
    found = next_soundings(fitted, Ways.of(box(), None, **(given | options)))
    assert found.frame.equals(wanted.frame)


def test_the_plan_follows_the_centreline_of_the_fit() -> None:
    # ridges across the box, where its shore would have them run along it
    rng = np.random.default_rng(4)
    places = rng.uniform([20, 20], [180, 80], (60, 2))
    depth = 3 + 2 * np.sin(places[:, 0] / 15)
    told = Soundings.from_arrays(places, depth, crs=None, sd=0.02, sd_xy=0.1, source="plummet")
    across = Centreline((np.array([(100.0, 0.0), (100.0, 100.0)]),), None)
    fitted = fit(told, box(), across)
    assert fitted.learnt.settings.elongation > 1.5
    mass = fitted.problem.net.mass
    wanted = mass @ fitted.sd / mass.sum()
    options = dict.fromkeys(OPTIONS) | {"kind": "casts", "casts": 1, "reach": 40.0}
    ways = Ways.of(box(), None, **(options | {"bearing_step": 30.0}))
    with_line, without = (
        float((plan.frame["mean_sd_m"] + plan.frame["mean_sd_drop_m"])[0]) / wanted
        for plan in (next_soundings(fitted, ways, line) for line in (across, None))
    )
    assert with_line == pytest.approx(1, abs=0.1)
    assert without > 1.25


@pytest.mark.parametrize("reach", [0.0, -3.0, np.nan])
def test_reach_must_be_positive(reach: float) -> None:
    with pytest.raises(ParameterError, match="reach must be > 0 m, got"):
        plan_soundings(few(), box(), reach=reach)


def test_pegs_must_have_water_and_a_place() -> None:
    far = Places(np.array([[-40.0, 50.0]]), pd.DataFrame(index=range(1)), None)
    with pytest.raises(LayerError, match=r"peg 1 at -40.0, 50.0 must have water within 10 m"):
        plan_soundings(few(), box(), far)
    lost = replace(far, coordinates=np.array([[np.nan, 50.0]]))
    with pytest.raises(LayerError, match="peg 1 has no position"):
        plan_soundings(few(), box(), lost)


def test_layers_must_lie_in_one_crs() -> None:
    with pytest.raises(LayerError, match="soundings must be in the CRS of the shoreline"):
        plan_soundings(few(pyproj.CRS("EPSG:32633")), box())


def test_track_must_hold_a_line() -> None:
    with pytest.raises(ParameterError, match=r"track must be >= \d+ m, the shortest line"):
        plan_soundings(few(), box(), kind="lines", track=10.0)
