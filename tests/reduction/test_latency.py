"""The latency of a sounder comes out of crossings, or the tool says that it cannot tell."""

from collections.abc import Callable
from pathlib import Path
from types import ModuleType

import numpy as np
import pandas as pd
import pyproj
import pytest
import sample_scripts
import shapely

from toolbox.errors import LayerError, ParameterError
from toolbox.formats.nmea import read_nmea
from toolbox.layers.track import TrackLog
from toolbox.reduction.crossings import find_crossings
from toolbox.reduction.latency import estimate_latency
from toolbox.reduction.tracks import place_soundings

SAMPLE = Path(__file__).resolve().parents[2] / "sample_layers"
CRS = "EPSG:32625"
START = pd.Timestamp("2026-06-01T08:00:00Z")

Bed = Callable[[np.ndarray, np.ndarray], np.ndarray]


@pytest.fixture(scope="module")
def lake() -> ModuleType:
    return sample_scripts.load("lake")


def survey_log(
    bed: Bed,
    water: shapely.Geometry,
    latency: float,
    *,
    seed: int,
    speed: float = 2.0,
    spacing: float = 40.0,
    noise: float = 0.08,
    fix_error: float = 0.0,
    echoes: float = 0.0,
    directions: tuple[bool, ...] = (False, True),
) -> TrackLog:
    """Return the log of a grid of lines there and back, one reading a second."""
    rng = np.random.default_rng(seed)
    west, south, east, north = water.bounds
    places, times, depths, clock = [], [], [], 0.0
    for turned in directions:
        low, high, start, end = (south, north, west, east) if turned else (west, east, south, north)
        across = np.arange(low + rng.uniform(0, spacing), high, spacing)
        for number, offset in enumerate(across):
            along = np.arange(start, end, speed)[:: -1 if number % 2 else 1]
            place = np.column_stack([np.full(len(along), offset), along])[:, :: -1 if turned else 1]
            inside = shapely.contains_xy(water, *place.T)
            seconds = np.arange(len(along), dtype=float)
            # a depth that lags is that of the place where the boat was before
            was = [np.interp(seconds - latency, seconds, part) for part in place.T]
            places.append(place[inside])
            depths.append(bed(*was)[inside])
            times.append(clock + seconds[inside])
            clock += len(along) + 60
    place, depth = np.concatenate(places), np.concatenate(depths)
    depth = depth + rng.normal(0, noise, len(depth))
    depth[rng.random(len(depth)) < echoes] *= 2
    noted = place + rng.normal(0, 1, place.shape) * fix_error
    to_degrees = pyproj.Transformer.from_crs(CRS, 4326, always_xy=True)
    longitude, latitude = to_degrees.transform(*noted.T)
    time = START + pd.to_timedelta(np.concatenate(times), unit="s")
    return TrackLog(
        pd.DataFrame({"time": time, "longitude": longitude, "latitude": latitude}),
        pd.DataFrame({"time": time, "depth": depth}),
    )


def lake_log(lake: ModuleType, latency: float, **options: float) -> TrackLog:
    water = lake.shoreline().buffer(-6)
    return survey_log(lake.bed_depth, water, latency, **options)  # type: ignore[arg-type]


BOX = shapely.box(376_000, 5_117_000, 376_400, 5_117_400)


def rolling(easting: np.ndarray, northing: np.ndarray) -> np.ndarray:
    return 6 + 2 * np.sin(easting / 20) + 1.5 * np.cos(northing / 25)


def flat(easting: np.ndarray, northing: np.ndarray) -> np.ndarray:
    return np.full(len(easting), 6.0)


@pytest.mark.parametrize("seed", range(5))
def test_latency_of_one_second_at_two_metres_a_second(seed: int, lake: ModuleType) -> None:
    row = estimate_latency(lake_log(lake, 1.0, seed=seed)).frame.iloc[0]
    assert row["latency_s"] == pytest.approx(1.0, abs=0.2)
    assert row["sd_s"] < 0.1
    assert abs(row["latency_s"] - 1.0) < 3.5 * row["sd_s"]
    assert row["difference_after_m"] < row["difference_before_m"] / 2


@pytest.mark.parametrize("latency", [-2.0, -0.4, 0.0, 0.6, 2.4])
def test_latency_of_either_sign(latency: float) -> None:
    row = estimate_latency(survey_log(rolling, BOX, latency, seed=4)).frame.iloc[0]
    assert row["latency_s"] == pytest.approx(latency, abs=0.1)


def test_latency_with_errors_of_position_and_double_echoes(lake: ModuleType) -> None:
    found = [
        estimate_latency(lake_log(lake, 1.0, seed=seed, fix_error=0.5, echoes=0.02)).frame.iloc[0]
        for seed in range(4)
    ]
    off = np.array([row["latency_s"] - 1.0 for row in found])
    sd = np.array([row["sd_s"] for row in found])
    assert np.abs(off).max() < 0.3
    assert (np.abs(off) < 3.5 * sd).all()


def test_spread_is_that_of_the_estimates() -> None:
    rows = [
        estimate_latency(survey_log(rolling, BOX, 0.7, seed=seed, noise=0.3)).frame.iloc[0]
        for seed in range(20)
    ]
    off = np.array([row["latency_s"] - 0.7 for row in rows])
    claimed = np.sqrt(np.mean([row["sd_s"] ** 2 for row in rows]))
    # a chi-square of 20 lies within these bounds 99.9 times in 100 (derived)
    assert 0.5 < np.sqrt((off**2).mean()) / claimed < 1.6


def test_crossings_agree_best_where_the_estimate_says() -> None:
    log = survey_log(rolling, BOX, 1.0, seed=6)
    latency = float(estimate_latency(log).frame["latency_s"].iloc[0])

    def disagreement(lag: float) -> float:
        placed = place_soundings(log, latency=lag)
        return float(np.median(np.abs(find_crossings(placed).frame["difference"])))

    best = disagreement(latency)
    assert best < 0.15
    assert disagreement(0.0) > 1.5 * best
    assert disagreement(2 * latency) > 1.5 * best


def test_same_log_gives_the_same_estimate() -> None:
    log = survey_log(rolling, BOX, 1.0, seed=6)
    pd.testing.assert_frame_equal(estimate_latency(log).frame, estimate_latency(log).frame)


def test_crossing_at_known_times_gives_the_closed_form() -> None:
    """Depths that lag by L are wrong by v s L on lines along an even slope s (derived)."""
    speed, slope, latency = 2.0, 0.05, 1.5
    water = shapely.box(376_000, 5_117_000, 376_200, 5_117_200)
    log = survey_log(
        lambda easting, northing: 3 + slope * (easting - 376_000), water, latency, seed=1, noise=0
    )
    row = estimate_latency(log, least_crossings=9).frame.iloc[0]
    # and by nothing on lines along the isobaths, which they cross
    assert row["difference_before_m"] == pytest.approx(speed * slope * latency, abs=1e-3)
    assert row["latency_s"] == pytest.approx(latency, abs=0.02)
    assert row["difference_after_m"] < 0.002


# ---- what cannot be told ----


@pytest.mark.parametrize("seed", range(6))
def test_flat_bed_tells_nothing(seed: int) -> None:
    with pytest.raises(LayerError, match=r"crossings cannot tell the latency: .* too flat or"):
        estimate_latency(survey_log(flat, BOX, 1.0, seed=seed))


def test_parallel_lines_tell_nothing(lake: ModuleType) -> None:
    log = lake_log(lake, 1.0, seed=1, directions=(False,))  # type: ignore[arg-type]
    with pytest.raises(
        LayerError, match=r"too few crossings .*: 20 are needed on headings 30 degrees .*, got 0"
    ):
        estimate_latency(log)


def test_few_crossings_are_refused_unless_asked_for() -> None:
    log = survey_log(rolling, BOX, 1.0, seed=2, spacing=110)
    with pytest.raises(LayerError, match=r"20 are needed .*, got (9|1\d)"):
        estimate_latency(log)
    row = estimate_latency(log, least_crossings=5).frame.iloc[0]
    assert 9 <= row["crossings"] < 20
    assert abs(row["latency_s"] - 1.0) < 3.5 * row["sd_s"]


def test_latency_beyond_the_span_is_refused() -> None:
    log = survey_log(rolling, BOX, 2.0, seed=3)
    with pytest.raises(LayerError, match=r"at the end of the span, at .* give a wider span"):
        estimate_latency(log, span=(-1.0, 1.0))


@pytest.mark.parametrize("span", [(1.0,), (1.0, -1.0), (0.0, 0.3), (0.0, 1.0, 2.0)], ids=str)
def test_span_that_is_none_is_refused(span: tuple[float, ...]) -> None:
    log = survey_log(rolling, BOX, 1.0, seed=3, spacing=200)
    with pytest.raises(ParameterError, match=r"span must be two latencies at least 0\.5 s"):
        estimate_latency(log, span=span)


def test_log_without_depths_is_refused() -> None:
    log = survey_log(rolling, BOX, 1.0, seed=3)
    empty = TrackLog(log.fixes, log.depths.assign(depth=np.nan))
    with pytest.raises(LayerError, match=r"too few crossings .*, got 0"):
        estimate_latency(empty)


def test_sample_log_has_no_latency_that_it_could_tell() -> None:
    row = estimate_latency(read_nmea(SAMPLE / "track.nmea")).frame.iloc[0]
    # its boat has none, goes at 1.25 m/s and has two tie lines: the spread must say how little
    assert abs(row["latency_s"]) < 2.5 * row["sd_s"]
    assert 0.1 < row["sd_s"] < 0.45
