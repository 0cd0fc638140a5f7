"""First plan: how accuracy follows from the budget, and what must not change it."""

import numpy as np
import pyproj
import pytest
import shapely

from toolbox.errors import ParameterError
from toolbox.layers import Shoreline
from toolbox.planning.first_plan import plan_first_survey, survey_worth

CRS = pyproj.CRS("EPSG:32633")


def basin(scale: float = 1.0) -> Shoreline:
    """Make an oval water, 400 x 200 m."""
    oval = shapely.affinity.scale(shapely.Point(0, 0).buffer(100), 2 * scale, scale)
    at = shapely.affinity.translate(oval, 500_000, 5_300_000)
    return Shoreline(shapely.MultiPolygon([at]), CRS)


def test_more_track_tells_more() -> None:
    table = survey_worth(basin())
    track = table.column("track_m")
    np.testing.assert_allclose(track[1:] / track[0], [2, 4, 8], rtol=0.35)
    for name in ("mean_sd_m", "mean_depth_sd_m", "volume_sd_m3"):
        assert (np.diff(table.column(name)) < 0).all()
    # a share of the depth: less than its spread, more than the error of a reading
    assert 0.01 < table.column("mean_sd_m")[-1] < table.column("mean_sd_m")[0] < 0.27
    ratio = table.column("volume_sd_m3") / table.column("mean_depth_sd_m")
    np.testing.assert_allclose(ratio, basin().polygons.area, rtol=0.02)


def test_everything_follows_the_depth() -> None:
    # derived: all that is assumed is in proportion to the depth
    one, ten = (survey_worth(basin(), tracks=(1500.0,), depth_scale=d) for d in (1.0, 10.0))
    assert ten.column("mean_sd_m")[0] == pytest.approx(10 * one.column("mean_sd_m")[0], rel=1e-6)
    assert one.column("track_m")[0] == ten.column("track_m")[0] <= 1500


def test_the_plan_and_what_it_promises() -> None:
    plan = plan_first_survey(basin(), track=2000.0)
    frame = plan.frame
    assert (plan.name, plan.crs) == ("first_plan", CRS)
    assert list(frame) == [
        "line",
        "start_easting_m",
        "start_northing_m",
        "end_easting_m",
        "end_northing_m",
        "bearing_deg",
        "distance_m",
        "total_m",
        "geometry",
    ]
    total = frame["total_m"].to_numpy()
    np.testing.assert_allclose(total, np.cumsum(frame["distance_m"]))
    assert 1700 < total[-1] <= 2000
    assert frame["line"].tolist()[-1] == "tie 1"
    assert frame.covered_by(basin().polygons).all()
    assert shapely.get_num_points(frame.geometry).tolist() == [2] * len(frame)
    drawn = frame.get_coordinates().to_numpy().reshape(-1, 2, 2)
    np.testing.assert_array_equal(drawn[:, 0], frame[["start_easting_m", "start_northing_m"]])
    worth = survey_worth(basin(), tracks=(2000.0,)).column("mean_sd_m")[0]
    assert f"{total[-1]:.0f} m of track" in plan.notes[2]
    assert f"standard deviation of the depth of {worth:.3g} m" in plan.notes[2]
    assert len(plan.notes) == 4
    assert plan.notes[0].startswith("assumed: depths to 1 m, correlation range 1")


def test_the_same_bits_again() -> None:
    one, two = (plan_first_survey(basin(), track=2000.0) for _ in range(2))
    assert one.frame.equals(two.frame)
    assert one.notes == two.notes


def test_too_little_track() -> None:
    with pytest.raises(ParameterError, match="track of 300 m is too short for 1 ties"):
        plan_first_survey(basin(), track=300.0)
    with pytest.raises(ParameterError, match="track must be > 0 m, got -5"):
        plan_first_survey(basin(), track=-5.0)
