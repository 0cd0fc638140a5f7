"""Sound Figment Mere: what a boat, an angler on the bank and a dinghy would bring home.

Every reading is the analytic bed of `lake.py` at the true place and on the water level of the
moment, plus the errors of the method. The frames keep the true places beside the noted ones. All
chance has a fixed seed, so a survey comes out the same every time.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pandas as pd
import pyproj
import shapely
from numpy.typing import NDArray
from scipy.signal import lfilter

from sample_layers import lake

Floats = NDArray[np.float64]

ORIGIN = np.array(lake.ORIGIN)

# ---- the water level ----------------------------------------------------------------------------

WATER_LEVEL = pd.Series(
    [212.38, 212.38, 212.37, 212.37, 212.36, 212.35, 212.35, 212.34, 212.33, 212.33, 212.32,
     212.31, 212.30, 212.29, 212.29, 212.28, 212.29, 212.31, 212.30, 212.29, 212.28],
    index=pd.date_range("2026-05-02T07:00", periods=21, freq="D", tz="UTC"),
)  # fmt: skip


def water_level(times: pd.DatetimeIndex) -> Floats:
    """Return the elevation of the water surface, interpolated between the daily readings."""
    start = WATER_LEVEL.index[0]
    seconds = (times - start).total_seconds(), (WATER_LEVEL.index - start).total_seconds()
    return np.asarray(np.interp(*seconds, WATER_LEVEL.to_numpy()))


def depth_that_day(easting: Floats, northing: Floats, times: pd.DatetimeIndex) -> Floats:
    """Return the true depth below the water surface of the moment."""
    return np.asarray(lake.bed_depth(easting, northing) - (lake.DATUM - water_level(times)))


# ---- the boat -----------------------------------------------------------------------------------

DRAFT = 0.30
DEPTH_NOISE = 0.08
BOAT_SPEED = 1.25
BOAT_START = pd.Timestamp("2026-05-12T11:00:00", tz="UTC")
LINE_SPACING = 40.0
LINE_BEARING = 12.0
TIE_LINES = [((-420, 34), (320, -24)), ((-240, 133), (260, 112))]
LEAST_WATER = 0.8
LOST_EXPORTED, LOST_OTHER, DOUBLED, ZERO, GARBLED, ASHORE = 9, 6, 7, 5, 6, 3


def simulated_boat() -> pd.DataFrame:
    """Return the boat survey, one row a second: where it was, where it thought, what it read.

    Columns: line, piece (an unbroken run of a line), true_easting, true_northing, easting,
    northing, time, course, reading (m below the transducer), exported, and kind: good, lost,
    double, zero or ashore.
    """
    rng = np.random.default_rng(2026)
    boat = _boat_course(rng)
    truth = boat.true_easting.to_numpy(), boat.true_northing.to_numpy()
    times = pd.DatetimeIndex(boat.time)
    noise = rng.normal(0, DEPTH_NOISE, len(boat))
    boat["reading"] = np.round(depth_that_day(*truth, times) - DRAFT + noise, 2)
    boat["easting"] = truth[0] + _position_error(rng, len(boat))
    boat["northing"] = truth[1] + _position_error(rng, len(boat))
    boat["kind"] = "good"
    _throw_ashore(boat, rng)
    _spoil_readings(boat, rng)
    return boat


def _boat_course(rng: np.random.Generator) -> pd.DataFrame:
    """Return the true places of the boat second by second, along all lines in turn."""
    pieces: list[pd.DataFrame] = []
    clock = BOAT_START
    for number, (start, end) in enumerate(_survey_lines(), start=1):
        for run in _sailable_runs(start, end):
            piece = _steered(run, rng).assign(line=number, piece=len(pieces))
            clock += _way_to(pieces, piece)
            piece["time"] = pd.date_range(clock, periods=len(piece), freq="s")
            clock = piece.time.iloc[-1]
            pieces.append(piece)
    boat = pd.concat(pieces, ignore_index=True)
    boat["exported"] = boat.groupby("piece").cumcount() % 2 == 0
    return boat


def _survey_lines() -> Iterator[tuple[Floats, Floats]]:
    """Yield start and end of the parallel lines, there and back, then of the two tie lines."""
    turn = np.radians(LINE_BEARING)
    along = np.array([np.sin(turn), np.cos(turn)])
    across = np.array([np.cos(turn), -np.sin(turn)])
    for number, offset in enumerate(np.arange(-388, 400, LINE_SPACING)):
        half = 450 * along * (-1) ** number
        yield ORIGIN + offset * across - half, ORIGIN + offset * across + half
    for start, end in TIE_LINES:
        yield ORIGIN + start, ORIGIN + end


def _sailable_runs(start: Floats, end: Floats) -> Iterator[Floats]:
    """Yield the runs of a line, in boat places a second apart, with water enough for the boat."""
    count = int(np.hypot(*(end - start)) / BOAT_SPEED)
    places = start + np.linspace(0, 1, count)[:, None] * (end - start)
    afloat = lake.bed_depth(*places.T) > LEAST_WATER
    edges = np.flatnonzero(np.diff(np.concatenate([[0], afloat, [0]])))
    for first, last in edges.reshape(-1, 2):
        if last - first > 12:
            yield places[first:last]


def _steered(run: Floats, rng: np.random.Generator) -> pd.DataFrame:
    """Return a run as a helmsman holds it: a metre or so to either side of the line."""
    ahead = (run[-1] - run[0]) / np.hypot(*(run[-1] - run[0]))
    seconds = np.arange(len(run))
    phase, period = rng.uniform(0, 2 * np.pi), rng.uniform(40, 90)
    aside = 1.2 * (np.sin(2 * np.pi * seconds / period + phase) - np.sin(phase))
    easting, northing = (run + aside[:, None] * (ahead[1], -ahead[0])).T
    course = np.degrees(np.arctan2(np.gradient(easting), np.gradient(northing))) % 360
    return pd.DataFrame({"true_easting": easting, "true_northing": northing, "course": course})


def _way_to(pieces: list[pd.DataFrame], piece: pd.DataFrame) -> pd.Timedelta:
    """Return how long the boat takes to the next run; the log is paused on the way."""
    if not pieces:
        return pd.Timedelta(0)
    last, first = pieces[-1].iloc[-1], piece.iloc[0]
    leg = last.true_easting - first.true_easting, last.true_northing - first.true_northing
    return pd.Timedelta(seconds=round(30 + float(np.hypot(*leg)) / BOAT_SPEED))


def _position_error(rng: np.random.Generator, count: int) -> Floats:
    """Return a receiver's error of about 1 m, which drifts over a minute and does not jump."""
    drift = 0.97
    wander = lfilter([0.95 * np.sqrt(1 - drift**2)], [1, -drift], rng.normal(0, 1, count))
    return np.asarray(wander + rng.normal(0, 0.3, count))


def _throw_ashore(boat: pd.DataFrame, rng: np.random.Generator) -> None:
    """Move a few last fixes of a run on past the shoreline, as a reflected signal does."""
    last = boat[boat.exported].groupby("piece").tail(1)
    course = np.radians(last.course.to_numpy())
    easting = last.easting.to_numpy() + 11 * np.sin(course)
    northing = last.northing.to_numpy() + 11 * np.cos(course)
    landed = np.flatnonzero(~shapely.contains_xy(lake.shoreline(), easting, northing))
    chosen = np.sort(rng.choice(landed, ASHORE, replace=False))
    rows = last.index[chosen]
    boat.loc[rows, "easting"], boat.loc[rows, "northing"] = easting[chosen], northing[chosen]
    boat.loc[rows, "kind"] = "ashore"


def _spoil_readings(boat: pd.DataFrame, rng: np.random.Generator) -> None:
    """Lose some bottoms, double some echoes and read some zeros.

    The last two fall on readings that are not exported: the points file has been cleaned.
    """
    clean = boat.kind == "good"
    exported, others = boat.index[clean & boat.exported], boat.index[clean & ~boat.exported]
    lost = [*rng.choice(exported, LOST_EXPORTED, replace=False)]
    doubled = rng.choice(others[boat.reading[others].between(1.5, 5)], DOUBLED, replace=False)
    rest = others[~others.isin(doubled)]
    lost_other, zero = np.split(rng.choice(rest, LOST_OTHER + ZERO, replace=False), [LOST_OTHER])
    # the second echo has been to the bed twice and once more through the draft
    second_echo = 2 * boat.reading + DRAFT
    for rows, kind, reading in (
        ([*lost, *lost_other], "lost", second_echo * np.nan),
        (doubled, "double", second_echo),
        (zero, "zero", second_echo * 0),
    ):
        boat.loc[rows, "kind"], boat.loc[rows, "reading"] = kind, reading[rows]


# ---- the bank -----------------------------------------------------------------------------------

BEARING_ERROR = 3.0
SPEED_ERROR = 0.08
SLACK_LINE = 1.0
CAST_NOISE = 0.07
LEAST_PLANTS = 0.10
CAST_START = pd.Timestamp("2026-05-13T09:30:00", tz="UTC")
# peg: place on the drawing, note, height of the rod tip, true bearings of its casts
PEGS = {
    "P1": ((84, 214), "north shore, over the shelf", 2.0, (150, 172, 194, 214)),
    "P2": ((-30, 158), "north headland, towards the large island", 1.8, (122, 158, 194, 232)),
    "P3": ((300, -25), "east point, over the side of the hole", 2.4, (238, 262, 284, 306)),
    "P4": ((158, -166), "south headland, towards the hole", 2.2, (312, 338, 2, 28)),
    "P5": ((14, -190), "mouth of the south bay, across the gully", 1.6, (262, 286, 312, 340)),
    "P6": ((-250, -46), "point of the weedy bay", 1.8, (292, 314, 338, 12)),
}


def pegs() -> pd.DataFrame:
    """Return the six pegs, a metre from the water's edge: peg, easting, northing, note."""
    bank = lake.shoreline().exterior
    rows = []
    for peg, (place, note, _, _) in PEGS.items():
        edge = bank.interpolate(bank.project(shapely.Point(ORIGIN + place)))
        land = shapely.Polygon(bank).buffer(1.0).exterior
        stand = land.interpolate(land.project(edge))
        rows.append((peg, round(stand.x, 1), round(stand.y, 1), note))
    return pd.DataFrame(rows, columns=["peg", "easting", "northing", "note"])


def simulated_casts() -> tuple[pd.DataFrame, pd.DataFrame]:
    """Return the casts as noted, and the pings of their retrieves with the true places."""
    rng = np.random.default_rng(513)
    casts = _noted_casts(rng)
    places = pegs().set_index("peg")
    retrieves = [
        _retrieve(cast, places.loc[cast["peg"], ["easting", "northing"]].to_numpy(float), rng)
        for _, cast in casts.iterrows()
    ]
    unknown = rng.choice(casts.index, 4, replace=False)
    casts.loc[unknown, "retrieve_speed_m_s"] = np.nan
    return casts, pd.concat(retrieves, ignore_index=True)


def _noted_casts(rng: np.random.Generator) -> pd.DataFrame:
    """Return the log of the casts, one every nine minutes and a walk between the pegs."""
    casts = pd.DataFrame(
        [
            (peg, tip, bearing + int(rng.integers(-4, 5)), CAST_START + _since(turn, number))
            for turn, (peg, (_, _, tip, bearings)) in enumerate(PEGS.items())
            for number, bearing in enumerate(bearings)
        ],
        columns=["peg", "rod_tip_height_m", "bearing_deg_true", "start_time"],
    )
    casts.insert(0, "cast", np.arange(1, len(casts) + 1))
    casts["bearing_deg_true"] %= 360
    casts["line_out_m"] = np.round(rng.uniform(36, 64, len(casts)) * 2) / 2
    casts["retrieve_speed_m_s"] = np.round(rng.uniform(0.45, 0.75, len(casts)) * 20) / 20
    casts["water_level_m"] = np.round(water_level(pd.DatetimeIndex(casts.start_time)), 2)
    return casts


def _since(turn: int, number: int) -> pd.Timedelta:
    return pd.Timedelta(minutes=60 * turn + 9 * number)


def _retrieve(cast: pd.Series, peg: Floats, rng: np.random.Generator) -> pd.DataFrame:
    """Return the pings of one retrieve, two a second, until the float is near the bank."""
    straight = cast["line_out_m"] - SLACK_LINE * rng.uniform(0.5, 1.5)
    speed = cast["retrieve_speed_m_s"] * (1 + rng.normal(0, SPEED_ERROR))
    seconds = np.arange(0, straight / speed, 0.5)
    line = straight - speed * seconds
    away = np.sqrt(np.maximum(line**2 - cast["rod_tip_height_m"] ** 2, 0))
    heading = cast["bearing_deg_true"] + rng.normal(0, BEARING_ERROR)
    pings = _bank_pings(cast, seconds, peg + away[:, None] * _towards(heading), rng)
    ended = (away < 2) | (pings["depth_m"].to_numpy() < 0.15)
    return pings[: np.argmax(ended)]


def _bank_pings(
    cast: pd.Series, seconds: Floats, places: Floats, rng: np.random.Generator
) -> pd.DataFrame:
    """Return depth and top of the plants at each place of the float, as read on the day."""
    easting, northing = places.T
    times = cast["start_time"] + pd.to_timedelta(seconds, unit="s")
    depth = depth_that_day(easting, northing, times)
    plants = lake.plant_height(easting, northing)
    top = np.maximum(depth - plants + rng.normal(0, CAST_NOISE, len(depth)), 0.02)
    return pd.DataFrame(
        {
            "cast": cast["cast"],
            "seconds": seconds,
            "depth_m": np.round(depth + rng.normal(0, CAST_NOISE, len(depth)), 2),
            "canopy_m": np.where(plants > LEAST_PLANTS, np.round(top, 2), np.nan),
            "true_easting": easting,
            "true_northing": northing,
        }
    )


def _towards(bearing: float) -> Floats:
    """Return the step of one metre in the projected CRS along a bearing from true north.

    True north is not up on the map: here it leans about a degree to the right of grid north.
    """
    to_grid = pyproj.Transformer.from_crs("EPSG:4326", lake.CRS, always_xy=True)
    longitude, latitude = to_grid.transform(ORIGIN[0], ORIGIN[1], direction="INVERSE")
    north = np.subtract(to_grid.transform(longitude, latitude + 1e-4), ORIGIN)
    turn = np.arctan2(north[0], north[1]) + np.radians(bearing)
    return np.array([np.sin(turn), np.cos(turn)])


# ---- the dinghy ---------------------------------------------------------------------------------

PLUMMET_TIME = pd.Timestamp("2026-05-14T07:00:00", tz="UTC")
PLUMMET_NOISE = 0.05
HANDHELD_ERROR = 1.0
PLUMMET_PLACES = [
    (22, 62, "large island, west end"), (14, 58, "large island, west end"),
    (48, 48, "large island, south side"), (76, 52, "large island, south side"),
    (102, 68, "large island, east end"), (112, 78, "large island, east end"),
    (86, 100, "large island, north side"), (52, 96, "large island, north side"),
    (30, 88, "large island, north side"),
    (-192, -66, "small island"), (-186, -92, "small island, on the bar"),
    (-200, -92, "the bar, towards the shore"), (-154, -90, "small island"),
    (-148, -66, "small island"), (-170, -50, "small island"),
    (228, 138, "neck, on the sill"), (238, 150, "neck"), (256, 168, "arm"), (282, 186, "arm"),
    (308, 205, "arm"), (338, 222, "arm, silt"), (366, 240, "arm, soft silt"),
    (-30, -244, "south bay"), (-24, -218, "south bay"), (-310, -36, "weedy bay, south shore"),
    (-362, 92, "weedy bay, north shore"),
]  # fmt: skip


def simulated_plummet() -> pd.DataFrame:
    """Return the lead-line readings of one morning, on the water level of `PLUMMET_TIME`.

    Columns: easting, northing, depth (to 5 cm, as the line is marked), note, true_easting and
    true_northing.
    """
    rng = np.random.default_rng(514)
    truth = ORIGIN + np.array([place[:2] for place in PLUMMET_PLACES], float)
    noted = np.round(truth + rng.normal(0, HANDHELD_ERROR, truth.shape), 1)
    times = pd.DatetimeIndex([PLUMMET_TIME] * len(truth))
    depth = depth_that_day(truth[:, 0], truth[:, 1], times)
    depth += rng.normal(0, PLUMMET_NOISE, len(truth))
    readings = pd.DataFrame(noted, columns=["easting", "northing"])
    readings["depth"] = np.round(depth * 20) / 20
    readings["note"] = [place[2] for place in PLUMMET_PLACES]
    readings[["true_easting", "true_northing"]] = truth
    return readings


# ---- temperature and oxygen ---------------------------------------------------------------------

# temperature, then oxygen: value at the top, at the bottom, depth and thickness of the step between
# them. The lake mixes in spring and autumn, and in between its depths lose their oxygen.
STRATIFICATION = {
    "2026-04-09": ((6.2, 5.4, 4.0, 2.0), (11.9, 11.5, 5.0, 2.0)),
    "2026-05-14": ((13.4, 6.6, 4.0, 1.1), (10.4, 7.6, 5.0, 1.4)),
    "2026-06-16": ((18.9, 7.1, 4.2, 0.8), (9.3, 4.1, 5.2, 1.0)),
    "2026-07-15": ((22.4, 7.5, 4.6, 0.7), (8.6, 0.9, 5.2, 0.8)),
    "2026-08-12": ((21.7, 7.8, 5.1, 0.7), (8.5, 0.3, 5.6, 0.7)),
    "2026-09-16": ((17.1, 8.1, 5.9, 0.6), (8.9, 0.2, 6.2, 0.6)),
    "2026-10-14": ((11.4, 9.2, 8.8, 0.6), (9.4, 1.1, 9.0, 0.5)),
    "2026-11-05": ((7.3, 7.2, 6.0, 2.0), (10.8, 10.5, 6.0, 2.0)),
}
SECCHI = {
    "2026-04-09": 3.1,
    "2026-05-14": 2.7,
    "2026-06-16": 3.4,
    "2026-07-15": 2.2,
    "2026-08-12": 1.9,
    "2026-09-16": 2.3,
    "2026-10-14": 2.8,
    "2026-11-05": 3.2,
}
"""Depth at which the disc went out of sight, m."""

SURFACE_LIGHT = 1400.0  # micromoles of photons on a square metre in a second


def profile() -> pd.DataFrame:
    """Return temperature, oxygen and light at the hole, metre by metre, from April to November."""
    depth = np.arange(0.0, 12.0)
    rng = np.random.default_rng(515)
    days = []
    for date, (temperature, oxygen) in STRATIFICATION.items():
        day = {"date": date, "station": "hole", "depth_m": depth}
        day["temperature_c"] = _layered(depth, *temperature).round(1)
        day["oxygen_mg_l"] = _layered(depth, *oxygen).round(1)
        # 1.7 over the depth of the disc is a rule of thumb for how light dies away
        light = SURFACE_LIGHT * np.exp(-1.7 / SECCHI[date] * depth)
        day["par"] = (light * np.exp(0.05 * rng.standard_normal(len(depth)))).round(1)
        days.append(pd.DataFrame(day))
    return pd.concat(days, ignore_index=True)


def secchi() -> pd.DataFrame:
    """Return the depths at which the disc went out of sight."""
    return pd.DataFrame({"date": SECCHI.keys(), "station": "hole", "secchi_m": SECCHI.values()})


def _layered(depth: Floats, top: float, bottom: float, middle: float, thickness: float) -> Floats:
    """Return a profile with one smooth step between an upper and a lower layer."""
    return bottom + (top - bottom) / (1 + np.exp((depth - middle) / thickness))
