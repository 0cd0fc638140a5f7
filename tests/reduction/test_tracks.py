"""Depths are placed where the boat was, and where that is not known they say so."""

from pathlib import Path

import numpy as np
import pandas as pd
import pyproj
import pytest
import sample_scripts
from hypothesis import given, settings
from hypothesis import strategies as st

from toolbox.errors import LayerError, ParameterError
from toolbox.formats.nmea import read_nmea
from toolbox.layers import Soundings
from toolbox.layers.track import TrackLog
from toolbox.reduction.tracks import place_soundings

ROOT = Path(__file__).resolve().parents[2]
SAMPLE = ROOT / "sample_layers"
LOGS = ROOT.parent / "shared" / "data" / "depth_sentences"
needs_logs = pytest.mark.skipif(not LOGS.is_dir(), reason="../shared/data is absent")

START = pd.Timestamp("2026-05-12T11:00:00Z")
HOME = (-34.6, 46.2)
GEOD = pyproj.Geod(ellps="WGS84")


def stamps(seconds: object) -> pd.DatetimeIndex:
    return START + pd.to_timedelta(np.asarray(seconds, float), unit="s")


def sailed(
    seconds: object, metres: object, *, course: float = 0.0, **columns: object
) -> pd.DataFrame:
    """Return fixes `metres` along the geodesic from home on a true course."""
    metres = np.asarray(metres, float)
    same = np.ones(len(metres))
    longitude, latitude, _ = GEOD.fwd(HOME[0] * same, HOME[1] * same, course * same, metres)
    data = {"time": stamps(seconds), "longitude": longitude, "latitude": latitude}
    return pd.DataFrame(data | columns)


def read_at(seconds: object, **columns: object) -> pd.DataFrame:
    seconds = np.asarray(seconds, float)
    return pd.DataFrame(
        {"time": stamps(seconds), "depth": 2 + 0.01 * np.arange(len(seconds))} | columns
    )


def way(soundings: Soundings) -> np.ndarray:
    """Return how far from home each sounding lies, on the ellipsoid, m."""
    to_degrees = pyproj.Transformer.from_crs(soundings.crs, 4326, always_xy=True)
    place = soundings.coordinates
    known = np.isfinite(place).all(axis=1)
    found = np.full(len(place), np.nan)
    longitude, latitude = to_degrees.transform(*place[known].T)
    same = np.ones(len(longitude))
    found[known] = GEOD.inv(HOME[0] * same, HOME[1] * same, longitude, latitude)[2]
    return found


def reasons(soundings: Soundings) -> list[str]:
    return soundings.frame["reason"].tolist()


# ---- where ----


def test_depth_between_fixes_lies_between_them() -> None:
    log = TrackLog(sailed([0, 4, 8], [0, 8, 20], course=63), read_at([0, 1, 4, 6, 8]))
    placed = place_soundings(log)
    # on the geodesic, from outside the project (pyproj.Geod)
    assert way(placed) == pytest.approx([0, 2, 8, 14, 20], abs=1e-3)
    assert not placed.flag.any()
    assert placed.frame["source"].tolist() == ["track"] * 5


def test_positions_are_in_a_zone_in_metres() -> None:
    placed = place_soundings(TrackLog(sailed([0, 1], [0, 2]), read_at([0])))
    assert placed.crs is not None
    assert placed.crs.to_epsg() == 32625
    assert placed.coordinates[0] == pytest.approx(
        pyproj.Transformer.from_crs(4326, 32625, always_xy=True).transform(*HOME)
    )


def test_positions_are_in_the_crs_that_the_log_asks_for() -> None:
    log = TrackLog(sailed([0, 1], [0, 2]), read_at([0]), crs=pyproj.CRS("EPSG:5938"))
    placed = place_soundings(log.to_crs(pyproj.CRS("EPSG:3035")))
    assert placed.crs is not None
    assert placed.crs.to_epsg() == 3035
    # from outside the project: pyproj
    assert placed.coordinates[0] == pytest.approx(
        pyproj.Transformer.from_crs(4326, 3035, always_xy=True).transform(*HOME)
    )


@pytest.mark.parametrize(("latency", "moved"), [(1.5, -3.0), (-0.5, 1.0), (0.0, 0.0)])
def test_depth_that_lags_was_measured_earlier(latency: float, moved: float) -> None:
    seconds = np.arange(60)
    log = TrackLog(sailed(seconds, 2.0 * seconds), read_at(seconds[20:40]))
    placed = place_soundings(log, latency=latency)
    assert way(placed) == pytest.approx(2.0 * seconds[20:40] + moved, abs=1e-3)
    assert (placed.frame["time"] == stamps(seconds[20:40] - latency)).all()
    said = [note for note in placed.notes if "lag" in note]
    assert said == ([f"depths taken to lag {latency:g} s behind the positions"] if latency else [])


def test_nothing_is_placed_beyond_the_fixes() -> None:
    log = TrackLog(sailed([10, 11], [0, 2]), read_at([9.99, 10, 11, 11.01]))
    assert reasons(place_soundings(log)) == ["no position", "", "", "no position"]


def test_nothing_is_placed_within_a_long_gap() -> None:
    log = TrackLog(sailed([0, 10, 20.5], [0, 10, 20]), read_at([0, 5, 10, 15, 20.5]))
    assert reasons(place_soundings(log)) == ["", "", "", "no position", ""]
    assert reasons(place_soundings(log, max_gap=10.5)) == [""] * 5
    assert reasons(place_soundings(log, max_gap=5)) == ["", "no position", "", "no position", ""]


def test_fixes_that_the_receiver_does_not_vouch_for_are_not_used() -> None:
    fixes = sailed([0, 1, 2, 3], [0, 500, 4, 6], valid=[True, False, True, True])
    placed = place_soundings(TrackLog(fixes, read_at([0, 1, 2, 3])))
    assert way(placed) == pytest.approx([0, 2, 4, 6], abs=1e-3)


def test_log_without_a_valid_fix_has_no_place() -> None:
    fixes = sailed([0, 1], [0, 2], valid=[False, False])
    with pytest.raises(LayerError, match="the log has no valid fix, so that its depths have no"):
        place_soundings(TrackLog(fixes, read_at([0, 1])))


def test_missing_depth_keeps_its_place_and_missing_time_has_none() -> None:
    depths = read_at([0, 1, 2])
    depths.loc[1, "depth"] = np.nan
    depths.loc[2, "time"] = pd.NaT
    placed = place_soundings(TrackLog(sailed([0, 1, 2], [0, 2, 4]), depths))
    assert reasons(placed) == ["", "no depth", "no position"]
    assert way(placed)[1] == pytest.approx(2, abs=1e-3)


def test_one_fix_places_the_depth_of_its_moment() -> None:
    log = TrackLog(sailed([5], [3]), read_at([4, 5, 6]))
    assert reasons(place_soundings(log)) == ["no position", "", "no position"]


@settings(max_examples=25, deadline=None, derandomize=True)
@given(
    fixes=st.lists(
        st.tuples(st.floats(0, 60), st.floats(-500, 500), st.booleans()), min_size=1, max_size=30
    ),
    depths=st.lists(
        st.tuples(st.none() | st.floats(-20, 80), st.none() | st.floats(0, 40)), max_size=30
    ),
    latency=st.floats(-60, 60),
    max_gap=st.floats(0.1, 30),
    runs=st.integers(1, 3),
)
def test_every_reading_comes_out_kept_or_flagged(
    fixes: list[tuple[float, float, bool]],
    depths: list[tuple[float | None, float | None]],
    latency: float,
    max_gap: float,
    runs: int,
) -> None:
    seconds, metres, valid = zip(*fixes, strict=True)
    fix_runs = np.arange(len(fixes)) * runs // len(fixes)
    track = sailed(
        seconds, metres, valid=np.array(valid) | (np.arange(len(fixes)) == 0), run=fix_runs
    )
    times = [pd.NaT if second is None else stamps([second])[0] for second, _ in depths]
    read = pd.DataFrame(
        {
            "time": pd.DatetimeIndex(times, tz="UTC"),
            "depth": [np.nan if metre is None else metre for _, metre in depths],
            "run": np.arange(len(depths)) * runs // max(len(depths), 1),
        }
    )
    placed = place_soundings(TrackLog(track, read), latency=latency, max_gap=max_gap)
    assert len(placed) == len(depths)
    assert len(placed.kept) + sum(placed.rejections().values()) == len(depths)
    assert set(placed.rejections()) <= {"no position", "no depth", "position jump"}
    np.testing.assert_array_equal(placed.depth, read["depth"])
    assert np.abs(way(placed.kept)).max(initial=0) <= np.abs(metres).max() + 1e-3


# ---- jumps ----


def test_fix_that_jumps_is_not_used_and_its_depth_is_flagged() -> None:
    seconds = np.arange(40)
    metres = 2.0 * seconds
    metres[20] += 300
    placed = place_soundings(TrackLog(sailed(seconds, metres), read_at(seconds)))
    assert [n for n, reason in enumerate(reasons(placed)) if reason] == [20]
    assert reasons(placed)[20] == "position jump"
    assert way(placed)[20] == pytest.approx(40, abs=1e-3)


def test_depths_beside_a_jump_are_flagged() -> None:
    seconds = np.arange(40)
    metres = 2.0 * seconds
    metres[20] += 300
    between = np.arange(0, 39, 0.5)
    placed = place_soundings(TrackLog(sailed(seconds, metres), read_at(between)))
    flagged = between[[reason == "position jump" for reason in reasons(placed)]]
    assert flagged.tolist() == [19.5, 20, 20.5]


@pytest.mark.parametrize("bad", [[0], [39], [0, 1], [20, 21, 22], [10, 30]], ids=str)
def test_jumps_at_the_ends_and_several_in_a_row(bad: list[int]) -> None:
    seconds = np.arange(40)
    metres = 2.0 * seconds
    metres[bad] += 400
    placed = place_soundings(TrackLog(sailed(seconds, metres), read_at(seconds)))
    assert [n for n, reason in enumerate(reasons(placed)) if reason == "position jump"] == bad


def test_fixes_that_come_back_between_two_jumps_are_used() -> None:
    seconds = np.arange(60)
    metres = 2.0 * seconds
    metres[[20, 26]] += 400
    placed = place_soundings(TrackLog(sailed(seconds, metres), read_at(seconds)))
    assert [n for n, reason in enumerate(reasons(placed)) if reason] == [20, 26]


def test_track_that_moves_for_good_is_cut_and_both_parts_stay() -> None:
    seconds = np.arange(60)
    metres = 2.0 * seconds + np.where(seconds >= 30, 400, 0)
    placed = place_soundings(TrackLog(sailed(seconds, metres), read_at([*seconds, 29.5])))
    assert reasons(placed) == [""] * 60 + ["position jump"]


def test_two_receivers_that_disagree_leave_one_track() -> None:
    seconds = np.arange(60)
    metres = 2.0 * seconds + np.where(seconds % 2, 5000, 0)
    placed = place_soundings(TrackLog(sailed(seconds, metres), read_at(seconds)))
    used = way(placed.kept)
    assert 0 < len(used) <= 30
    assert np.ptp(used) < 200


def test_fast_boat_is_no_jump_unless_it_is_said_to_be_slow() -> None:
    seconds = np.arange(30)
    log = TrackLog(sailed(seconds, 15.0 * seconds), read_at(seconds))
    assert not place_soundings(log).flag.any()
    assert place_soundings(log, max_speed=5).flag.any()


def test_error_of_a_fix_at_ten_a_second_is_no_jump() -> None:
    rng = np.random.default_rng(3)
    seconds = np.arange(0, 60, 0.1)
    metres = 2 * seconds + rng.normal(0, 1, len(seconds))
    assert not place_soundings(TrackLog(sailed(seconds, metres), read_at(seconds))).flag.any()


# ---- clocks and lines ----


def test_clock_that_was_set_back_keeps_each_depth_on_its_own_run() -> None:
    seconds = np.arange(20)
    fixes = pd.concat(
        [sailed(seconds, 2.0 * seconds, run=0), sailed(seconds - 5, 300 + 2.0 * seconds, run=1)]
    )
    depths = pd.concat([read_at(seconds, run=0), read_at(seconds - 5, run=1)])
    placed = place_soundings(TrackLog(fixes, depths))
    assert not placed.flag.any()
    assert way(placed) == pytest.approx([*2.0 * seconds, *(300 + 2.0 * seconds)], abs=1e-3)
    assert placed.frame["line"].tolist() == ["1"] * 20 + ["2"] * 20


def test_fixes_that_come_late_are_put_in_order() -> None:
    late = np.array([0, 2, 1, 3, 5, 4, 6])
    log = TrackLog(sailed(late, 2.0 * late), read_at([0.5, 2.5, 4.5]))
    assert way(place_soundings(log)) == pytest.approx([1, 5, 9], abs=1e-3)


def test_line_begins_after_a_gap_and_when_asked() -> None:
    seconds = np.array([0, 1, 2, 3, 60, 61, 62, 63])
    log = TrackLog(sailed(seconds, seconds), read_at([-1, 0, 1, 2, 3, 30, 60, 61, 62, 63, 99]))
    placed = place_soundings(log)
    assert placed.frame["line"].tolist() == ["1"] * 6 + ["2"] * 5
    starts = ("2026-05-12T11:00:02", "2026-05-12T11:01:02+00:00")
    placed = place_soundings(log, line_starts=starts)
    assert "".join(placed.frame["line"]) == "111222" + "33444"


def test_start_of_a_line_that_is_no_time_is_refused() -> None:
    log = TrackLog(sailed([0, 1], [0, 2]), read_at([0]))
    with pytest.raises(ParameterError, match=r"line_starts must be times such as .*'noon'"):
        place_soundings(log, line_starts=("noon",))


# ---- what goes along ----


@pytest.mark.parametrize("course", [0.0, 37.0, 121.0, 198.5, 300.0])
def test_bearing_is_true(course: float) -> None:
    seconds = np.arange(30)
    log = TrackLog(sailed(seconds, 2.0 * seconds, course=course), read_at([0, 3.3, 15, 29]))
    found = place_soundings(log).frame["bearing"].to_numpy()
    # the course from outside the project (pyproj.Geod); map north is 1.2 degrees off here
    off = (found - course + 180) % 360 - 180
    assert np.abs(off).max() < 0.01


def test_bearing_does_not_reach_across_a_gap() -> None:
    seconds = np.arange(20)
    north, east = sailed(seconds, 2.0 * seconds), sailed(seconds + 60, 2.0 * seconds, course=90)
    log = TrackLog(pd.concat([north, east]), read_at([*seconds, *seconds + 60]))
    found = place_soundings(log).frame["bearing"].to_numpy()
    off = found - np.repeat([0, 90], 20)
    assert np.abs((off + 180) % 360 - 180).max() < 0.05


def test_boat_at_anchor_has_no_bearing() -> None:
    seconds = np.arange(40)
    log = TrackLog(sailed(seconds, 0.02 * seconds), read_at(seconds))
    assert place_soundings(log).frame["bearing"].isna().all()


def test_temperature_is_interpolated_and_runs_out() -> None:
    seconds = np.arange(0, 2000, 5)
    warm = pd.DataFrame({"time": stamps([10, 20]), "temperature": [14.0, 16.0]})
    log = TrackLog(sailed(seconds, 0.5 * seconds), read_at([10, 15, 25, 600, 700]), warm)
    found = place_soundings(log).frame["temperature"].to_numpy()
    assert found[:4] == pytest.approx([14, 15, 16, 16])
    assert np.isnan(found[4])
    one = TrackLog(log.fixes, log.depths, warm[:1])
    assert place_soundings(one).frame["temperature"].tolist()[:3] == [14, 14, 14]


def test_log_without_temperatures_gives_no_column() -> None:
    log = TrackLog(sailed([0, 1], [0, 2]), read_at([0]))
    assert "temperature" not in place_soundings(log).frame


def test_what_depths_are_measured_from_goes_along() -> None:
    depths = read_at([0, 1, 2], measured_from=["surface", "transducer", "transducer"])
    log = TrackLog(
        sailed([0, 1, 2], [0, 2, 4]),
        depths.assign(depth_read=[1.7, 2.01, 2.02]),
        notes=("dateless",),
    )
    placed = place_soundings(log)
    assert placed.frame["measured_from"].tolist() == ["surface", "transducer", "transducer"]
    assert placed.frame["depth_read"].tolist() == [1.7, 2.01, 2.02]
    assert placed.notes == (
        "dateless",
        "2 depths measured from the transducer, 1 depth measured from the surface",
    )


# ---- whole logs ----


def test_sample_log_lands_where_the_boat_was() -> None:
    placed = place_soundings(read_nmea(SAMPLE / "track.nmea"))
    boat = sample_scripts.load("survey").simulated_boat()
    assert len(placed) == 4725
    assert placed.rejections() == {"no depth": 15}
    times = pd.DatetimeIndex(boat["time"])
    rows = times.get_indexer(pd.DatetimeIndex(placed.frame["time"]).tz_convert(times.tz))
    assert (rows >= 0).all()
    noted = boat[["easting", "northing"]].to_numpy()[rows]
    # sentences carry 0.00001 minutes, 2 cm
    assert np.abs(placed.coordinates - noted).max() < 0.02
    pieces = boat["piece"].to_numpy()[rows]
    pairs = pd.DataFrame({"line": placed.frame["line"], "piece": pieces}).drop_duplicates()
    assert len(pairs) == pairs["line"].nunique() == pairs["piece"].nunique() == 26
    good = (boat["kind"].to_numpy()[rows] == "good") & ~placed.flag
    assert np.abs(placed.depth[good] - boat["reading"].to_numpy()[rows][good]).max() < 0.005


@needs_logs
def test_coastal_log_places_all_its_depths() -> None:
    placed = place_soundings(read_nmea(LOGS / "coastal_track.log"))
    assert len(placed) == len(placed.kept) == 7250
    assert placed.depth.min() == pytest.approx(1.43, abs=0.005)
    assert placed.depth.max() == pytest.approx(38.05, abs=0.005)


@needs_logs
def test_moored_log_stays_where_it_is() -> None:
    placed = place_soundings(read_nmea(LOGS / "moored.log"))
    assert (len(placed), placed.rejections()) == (122, {"no position": 1})
    assert np.ptp(placed.kept.coordinates, axis=0).max() < 10
    assert placed.frame["bearing"].isna().all()
