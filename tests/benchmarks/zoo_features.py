"""Judge the features found on fitted beds, on the zoo of invented lakes and on the sample lake.

Each lake with planted features is surveyed with tracks and casts and fitted with 100 draws. Told by
kind:

- recall: the share of planted features that were found, of all, of those that the survey crossed,
  and of all where the bed itself is known everywhere (what the definitions miss);
- false: the share of features told that are not there: the true bed, asked at the places of the
  feature as a draw is, does not hold it, nor does the search on the true bed find one of its kind
  there;
- unplanted: how many are told a lake that are nothing planted, whether there or not: these beds
  have valleys, basins and rough ground of their own, but many of them nobody would point at;
- calibration: of the features that a given share of the draws hold, also those too unsure to be
  told, the share that is there in the same sense.

A hump, bar or hole is found if its top or bottom lies within half the planted length and 2 m of
position, or its outline holds the planted place and is not eight times as large; a gully if found
axes run along half of the planted one, a drop-off if lip, foot or the bed between them run along
half of the planted lip, within half the planted width and 4 m.

A hump or hole is crossed if a sounding lies where it has four fifths of its relief or more, a
gully if three lines have soundings on it (one alone shows a hollow, two may be two), a drop-off if
two do. Two lines may cross one end of a long lip only, so the recall of drop-offs is also told by
the share of the lip that has a sounding on it within 15 m along it.

    python tests/benchmarks/zoo_features.py [lakes] [processes] [folder of kept beds]

Lakes is how many with features, beside the sample lake, or the numbers of the first and the last:
the limits of the search were chosen on the first 50 (0-55), so 56-104 tells how it does elsewhere.
"""

import itertools
import os
import pickle
import sys
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from multiprocessing import get_context
from pathlib import Path
from typing import Any

import click
import numpy as np
import shapely

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

import sample_scripts
import zoo

POSITION = 2.0  # m
TRUTH_CELL = 3.0  # m, of the bed known everywhere
FAMILIES = {
    "drop-off lip": "drop-off",
    "gully": "gully",
    "hump": "hump",
    "bar": "hump",
    "plateau": "hump",
    "hole": "hole",
    "shelf": "shelf",
}
KINDS = ("drop-off", "gully", "hump", "hole", "shelf")
BINS = ((0, 0.3), (0.3, 0.5), (0.5, 0.7), (0.7, 0.9), (0.9, 0.99), (0.99, 1.01))


@dataclass(frozen=True)
class Water:
    """A water with planted features: where its bed and its shore are known."""

    name: str
    shoreline: Any
    features: Sequence[Any]
    depth: Any
    soundings: Any


def waters(number: int) -> Water:
    """Return a lake of the zoo, or the sample for -1."""
    if number < 0:
        return sample()
    lake = zoo.make_lake(zoo.KINDS[number % len(zoo.KINDS)], zoo.SEED + number)
    soundings = zoo.survey(lake, "tracks and casts", seed=lake.seed + 7)
    return Water(f"{lake.name}", lake.shoreline, lake.features, lake.depth, soundings)


def sample() -> Water:
    """Return the sample lake: its boat's tracks, and its casts with a shift of their own each."""
    from pyproj import CRS

    from toolbox.layers import Shoreline, Soundings

    survey = sample_scripts.load("survey")
    lake = survey.lake
    crs = CRS.from_user_input(lake.CRS)
    shoreline = Shoreline(shapely.MultiPolygon([lake.shoreline()]), crs)
    boat = survey.simulated_boat()
    boat = boat[boat["kind"] == "good"]
    level = lake.DATUM - survey.water_level(boat["time"].dt.tz_convert("UTC").array)
    depth = boat["reading"].to_numpy() + survey.DRAFT + level
    soundings = Soundings.from_arrays(
        boat[["easting", "northing"]].to_numpy(),
        depth,
        crs=crs,
        line=("track " + boat["piece"].astype(str)).to_numpy(object),
        source="track",
        sd=0.09,
        sd_shared=0.03,
        sd_xy=1.5,
        time=boat["time"].array,
    )
    soundings = Soundings.joined([soundings, _sample_casts(survey, crs)])
    soundings = soundings.reject(~shoreline.contains(soundings.coordinates), "ashore")
    planted = []
    for one in lake.features():
        if one.kind not in ("hole", "hump", "gully", "drop-off"):
            continue
        line = {"gully": lake.gully_line(), "drop-off": _sample_lip(lake)}.get(one.kind)
        place = (one.easting, one.northing)
        bearing = {"hole": 70.0, "hump": 55.0}.get(one.kind, np.nan)
        planted.append(
            zoo.Feature(one.kind, place, one.depth, np.nan, one.length, one.width, bearing, line)
        )

    def depths(places: np.ndarray) -> np.ndarray:
        return np.asarray(lake.bed_depth(*np.asarray(places, float).T))

    return Water("Figment Mere", shoreline, planted, depths, soundings)


def _sample_casts(survey: Any, crs: Any) -> Any:
    """Return the pings of the sample's casts, a metre or so aside, below the datum."""
    import pandas as pd

    from toolbox.layers import Soundings

    casts, pings = survey.simulated_casts()
    start = pings["cast"].map(casts.set_index("cast")["start_time"])
    times = pd.DatetimeIndex(start + pd.to_timedelta(pings["seconds"], unit="s"))
    shift = np.random.default_rng(7).normal(0, 1.2, (int(pings["cast"].max()) + 1, 2))
    places = pings[["true_easting", "true_northing"]].to_numpy() + shift[pings["cast"]]
    depth = pings["depth_m"].to_numpy() + survey.lake.DATUM - survey.water_level(times)
    return Soundings.from_arrays(
        places,
        depth,
        crs=crs,
        line=("cast " + pings["cast"].astype(str)).to_numpy(object),
        source="cast",
        sd=0.1,
        sd_shared=0.03,
        sd_xy=1.2,
        time=times,
    )


def _sample_lip(lake: Any) -> shapely.LineString:
    """Return the lip of the sample's shelf: where its bed starts to fall, from the west."""
    origin = np.array(lake.ORIGIN)
    lines = []
    for east in np.arange(-20, 145, 4.0):
        north = np.arange(130, 215, 0.5)
        places = np.column_stack([np.full(len(north), east), north]) + origin
        depth = lake.bed_depth(*places.T)
        wet = depth > 0.9
        deep = np.flatnonzero(wet & (depth > 1.75))
        if len(deep):
            lines.append(places[deep.max()])
    return shapely.LineString(lines)


def fitted(water: Water, number: int, folder: Path | None) -> Any:
    """Return the fitted bed, from the folder if it is there."""
    from toolbox.bed.fitting import fit_bed

    path = None if folder is None else folder / f"{water.name} {number}.pkl"
    if path is not None and path.exists():
        return pickle.loads(path.read_bytes())
    bed = fit_bed(water.soundings, water.shoreline, draws=100)
    if path is not None:
        path.write_bytes(pickle.dumps(bed))
    return bed


def known_everywhere(water: Water) -> Any:
    """Return the bed as a net through its true depths."""
    from toolbox.bed.triangulation import triangulate
    from toolbox.layers import Soundings

    west, south, east, north = water.shoreline.polygons.bounds
    grid = np.meshgrid(np.arange(west, east, TRUTH_CELL), np.arange(south, north, TRUTH_CELL))
    places = np.stack(grid, axis=-1).reshape(-1, 2)
    places = places[water.shoreline.contains(places)]
    # off the lattice, whose diagonals would show
    places = places + np.random.default_rng(1).uniform(-0.3, 0.3, places.shape) * TRUTH_CELL
    places = places[water.shoreline.contains(places)]
    soundings = Soundings.from_arrays(places, water.depth(places), crs=water.shoreline.crs)
    return triangulate(soundings, water.shoreline)


def family(form: Any) -> str:
    """Return the kind that a found form counts as."""
    return FAMILIES[next(iter(form.shapes))]


def ground(form: Any) -> Any:
    """Return the area of a form."""
    shapes = list(form.shapes.values())
    if family(form) == "drop-off":
        ring = np.vstack(
            [shapely.get_coordinates(shapes[0]), shapely.get_coordinates(shapes[1])[::-1]]
        )
        return shapely.make_valid(shapely.Polygon(ring)).union(shapely.union_all(shapes))
    return shapes[0]


def hit(planted: Any, forms: Sequence[Any]) -> bool:
    """Tell whether a planted feature was found."""
    forms = [form for form in forms if family(form) == planted.kind]
    if planted.kind in ("gully", "drop-off"):
        lines = [f.shapes["gully axis"] if planted.kind == "gully" else ground(f) for f in forms]
        near = shapely.union_all(lines).buffer(planted.width / 2 + 2 * POSITION)
        return bool(planted.line.intersection(near).length >= 0.5 * planted.line.length)
    place = np.array(planted.place)
    size = 8 * np.pi / 4 * planted.length * planted.width
    for form in forms:
        top = np.array([form.figures["easting_m"], form.figures["northing_m"]])
        if np.hypot(*(top - place)) <= planted.length / 2 + POSITION:
            return True
        outline = form.shapes[next(iter(form.shapes))]
        if form.figures["area_m2"] <= size and outline.contains(shapely.Point(place)):
            return True
    return False


def planted_there(form: Any, planted: Sequence[Any]) -> bool:
    """Tell whether a found form lies on a planted one of its kind, by half of its length."""
    own = [one for one in planted if one.kind == family(form)]
    if family(form) in ("gully", "drop-off"):
        ways = [one.line for one in own] + [one.foot for one in own if one.foot is not None]
        line = form.shapes["gully axis" if family(form) == "gully" else "drop-off lip"]
        near = shapely.union_all([one.buffer(10.0) for one in ways])
        return bool(line.intersection(near).length >= 0.5 * line.length)
    area = ground(form).buffer(POSITION)
    return any(area.contains(shapely.Point(one.place)) for one in own)


def crossed(planted: Any, soundings: Any) -> bool:
    """Tell whether the survey could have seen a planted feature."""
    frame, places = soundings.kept.frame, soundings.kept.coordinates
    if planted.kind in ("gully", "drop-off"):
        line = planted.line if planted.foot is None else shapely.union(planted.line, planted.foot)
        near = shapely.distance(line, shapely.points(places)) <= max(planted.width / 2, 2.0)
        lines = len(set(frame["line"].to_numpy()[near]))
        return lines >= (3 if planted.kind == "gully" else 2)
    away = places - planted.place
    turn = np.radians(0.0 if np.isnan(planted.bearing) else planted.bearing)
    along = away @ (np.sin(turn), np.cos(turn))
    across = away @ (np.cos(turn), -np.sin(turn))
    squared = (along / planted.length * 2) ** 2 + (across / planted.width * 2) ** 2
    return bool((squared <= np.log(1 / 0.8) / np.log(2)).any())


def sounded(planted: Any, soundings: Any) -> float:
    """Return the share of a drop-off's lip within 15 m along it of a sounding on it; else NaN."""
    if planted.kind != "drop-off":
        return np.nan
    band = planted.line if planted.foot is None else shapely.union(planted.line, planted.foot)
    places = shapely.points(soundings.kept.coordinates)
    on = places[shapely.distance(band, places) <= max(planted.width / 2, 2.0)]
    along = np.arange(0.0, planted.line.length, 2.0)[:, None]
    at = shapely.line_locate_point(planted.line, on)
    return float((np.abs(along - at) <= 15.0).any(axis=1).mean())


def there(form: Any, truth: Any, real: Sequence[Any]) -> bool:
    """Tell whether the true bed holds a found form, or one of its kind was found there on it."""
    if bool(form.held(truth(form.places)[None])[0]):
        return True
    area = ground(form).buffer(POSITION)
    for other in real:
        if family(other) == family(form):
            shared = ground(other).buffer(POSITION).intersection(area).area
            if shared >= 0.5 * area.area or shared >= 0.5 * ground(other).area > 0.1 * area.area:
                return True
    return False


def judge(number: int, folder: Path | None = None) -> dict[str, Any]:
    """Survey one lake, find its features, and compare them with what is there."""
    from toolbox.features.bed_features import find

    water = waters(number)
    bed = fitted(water, number, folder)
    kept, left = find(bed)
    real = [found.form for found in find(known_everywhere(water))[0]]
    forms = [found.form for found in kept]
    planted = [
        (
            one.kind,
            crossed(one, water.soundings),
            hit(one, forms),
            hit(one, real),
            sounded(one, water.soundings),
        )
        for one in water.features
    ]
    told = [
        (
            family(form),
            there(form, water.depth, real),
            planted_there(form, water.features),
        )
        for form in forms
    ]
    asked = [
        (family(f.form), there(f.form, water.depth, real), f.confidence)
        for f in [*kept, *left]
        if not f.support < 0.5
    ]
    return {"name": water.name, "number": number, "planted": planted, "told": told, "asked": asked}


def share(values: Sequence[Any]) -> str:
    """Return a share in per cent, and of how many."""
    return f"{100 * np.mean(values):4.0f} % of {len(values):3d}" if values else "   - % of   0"


def tell(rows: Sequence[dict[str, Any]]) -> None:
    """Print the tables."""
    planted = [one for row in rows for one in row["planted"]]
    told = [one for row in rows for one in row["told"]]
    asked = [one for row in rows for one in row["asked"]]
    head = "recall: all    crossed         true bed        false           unplanted a lake"
    click.echo(f"{len(rows)} waters\n{'':10s}  {head}")
    for kind in (*KINDS, "all"):
        of = [p for p in planted if kind in (p[0], "all")]
        cells = [
            share([p[2] for p in of]),
            share([p[2] for p in of if p[1]]),
            share([p[3] for p in of]),
            share([not t[1] for t in told if kind in (t[0], "all")]),
            f"{sum(not t[2] for t in told if kind in (t[0], 'all')) / len(rows):4.2f}",
        ]
        click.echo(f"{kind:10s}  " + "  ".join(cells))
    lips = [p for p in planted if p[0] == "drop-off"]
    click.echo("\ndrop-offs by the share of the lip that was sounded: recall")
    for low, high in ((0, 0.5), (0.5, 0.8), (0.8, 1.01)):
        of = [p[2] for p in lips if low <= p[4] < high]
        click.echo(f"{low:.1f} to {min(high, 1):.1f}  {share(of)}")
    click.echo("\ncalibration: stated, there (count)")
    for kind in (*KINDS, "all"):
        cells = []
        for low, high in BINS:
            of = [a for a in asked if kind in (a[0], "all") and low <= a[2] < high]
            stated, real = (np.mean([a[k] for a in of]) if of else np.nan for k in (2, 1))
            cells.append(f"{stated:.2f} {real:.2f} ({len(of):3d})")
        click.echo(f"{kind:10s}  " + "  ".join(cells))


def chosen(words: str) -> list[int]:
    """Return the numbers of the lakes with features, of so many or from the first to the last."""
    first, dash, last = words.partition("-")
    numbers = range(int(first), int(last) + 1) if dash else itertools.count()
    planted = (n for n in numbers if zoo.make_lake(zoo.KINDS[n % 7], zoo.SEED + n).features)
    return list(planted) if dash else [-1, *itertools.islice(planted, int(first))]


def main() -> None:
    """Judge them all and print the tables."""
    for library in ("OPENBLAS", "NUMBA", "OMP"):
        os.environ.setdefault(f"{library}_NUM_THREADS", "1")  # for the processes started here
    words = [*sys.argv[1:], *("50", "2", "")[len(sys.argv) - 1 :]]
    processes = int(words[1])
    folder = Path(words[2]) if words[2] else None
    numbers = chosen(words[0])
    with ProcessPoolExecutor(processes, mp_context=get_context("spawn")) as pool:
        rows = list(pool.map(judge, numbers, [folder] * len(numbers)))
    tell(rows)


if __name__ == "__main__":
    main()
