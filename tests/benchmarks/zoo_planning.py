"""Planned casts and lines against evenly spaced and random ones, on the invented lakes.

    python tests/benchmarks/zoo_planning.py [lakes] [seed]

Each lake has been sounded from the bank, as the zoo's casts are; then it is given one budget more,
of casts or of a boat's lines, spent by the plan, evenly or at random. The new readings come from
the true bed with errors like those of the zoo, and the bed is fitted anew. Even casts start at
equal distances along the shore and go straight out; even lines lie across the long axis of the
water or across its course. The plan says by how much the mean variance of the depth will fall;
that is held against the fall of the mean square error and of the new fit's own mean variance.
"""

import sys
import time
from dataclasses import dataclass
from pathlib import Path

import click
import numpy as np
import shapely

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

import zoo

from toolbox.bed.fit import Fit
from toolbox.bed.fitting import fit
from toolbox.layers import Soundings
from toolbox.layers.geodesy import bearings, travel
from toolbox.planning.candidates import Candidates, casts_from, pegs_along
from toolbox.planning.first_plan import survey_worth
from toolbox.planning.foresight import Plan, even_net, net_spacing, plan
from toolbox.planning.gear import Gear, Kind
from toolbox.planning.next_soundings import line_candidates
from toolbox.planning.outlay import Outlay, Water

CASTS, REACH, STEP, TURN = 15, 60.0, 10.0, 20.0
TRACK = 0.008  # m of line a square metre of water
BEARING, STRETCH = 4.0, 0.03  # the zoo's casts, in the middle of their ranges
BOAT_NOISE, BOAT_OFFSET, BOAT_POSITION = 0.075, 0.04, 1.5
CELL = 4.0


@dataclass(frozen=True)
class Result:
    """One budget on one lake.

    Parameters
    ----------
    lake : str
        Its name.
    before, planned, even, random : float
        Root mean square error of the fitted bed over the whole water, m.
    near : dict of float
        The same within the reach of a cast from the shore.
    predicted, fitted, true : float
        Share by which the plan says the mean variance will fall, by which that of the new fit has
        fallen, and by which the mean square error has fallen.
    seconds : float
        For the plan, its fit not counted.
    """

    lake: str
    before: float
    planned: float
    even: float
    random: float
    near: dict[str, float]
    predicted: float
    fitted: float
    true: float
    seconds: float


def measured(lake: zoo.Lake, kind: Kind, seed: int) -> Result:
    """Spend a budget on a lake in three ways."""
    before = zoo.survey(lake, "casts", seed)
    fitted = fit(before, lake.shoreline)
    rng = np.random.default_rng([seed, lake.seed, 77])
    start = time.perf_counter()
    made = planned(lake, fitted, kind)
    seconds = time.perf_counter() - start
    ways = {
        "planned": made.candidates.select(made.chosen),
        "even": even(lake, kind),
        "random": drawn(lake, made.candidates, kind, rng),
    }
    simulate = cast_readings if kind == "casts" else boat_readings
    errors, near, later = {}, {}, {}
    for name, way in ways.items():
        new = simulate(lake, way, np.random.default_rng([seed, lake.seed, 78]))
        later[name] = fit(Soundings.joined([before, new]), lake.shoreline)
        errors[name], near[name] = error(lake, later[name])
    first, _ = error(lake, fitted)
    return Result(
        lake.name,
        first,
        errors["planned"],
        errors["even"],
        errors["random"],
        near,
        1 - float(made.mean_variance[-1] / made.mean_variance[0]),
        1 - mean_variance(later["planned"]) / mean_variance(fitted),
        1 - (errors["planned"] / first) ** 2,
        seconds,
    )


def planned(lake: zoo.Lake, fitted: Fit, kind: Kind) -> Plan:
    """Do as the tool does, with a fit that is there."""
    gear = Gear.of(kind, fitted.used, fitted.coarse.scales.deep / 2)
    if kind == "casts":
        pegs = pegs_along(lake.shoreline, REACH / 3)
        candidates = casts_from(pegs, lake.shoreline, reach=REACH, bearing_step=STEP)
        return plan(fitted, candidates, gear, np.ones(len(candidates)), CASTS)
    candidates = line_candidates(lake.shoreline)
    return plan(fitted, candidates, gear, candidates.length + TURN, budget(lake))


def budget(lake: zoo.Lake) -> float:
    """Length of track with turns, m."""
    return TRACK * lake.shoreline.polygons.area


def even(lake: zoo.Lake, kind: Kind) -> Candidates:
    """Spend the budget evenly."""
    if kind == "lines":
        return even_lines(lake)
    length = sum(part.exterior.length for part in lake.shoreline.polygons.geoms)
    if lake.shoreline.open_edges is not None:
        length -= lake.shoreline.open_edges.length
    pegs = pegs_along(lake.shoreline, length / CASTS)
    outward = straight_out(lake, pegs)
    found = casts_from(pegs, lake.shoreline, reach=REACH, bearing_step=5.0)
    aside = np.abs((found.bearing - outward[found.peg] + 180) % 360 - 180)
    nearest = [
        int(np.flatnonzero(found.peg == peg)[np.argmin(aside[found.peg == peg])])
        for peg in np.unique(found.peg)
    ]
    return found.select(np.array(nearest))


def straight_out(lake: zoo.Lake, pegs: np.ndarray) -> np.ndarray:
    """Bearings from pegs at a right angle to the shore, over water."""
    shore = shapely.boundary(lake.shoreline.polygons)
    at = shapely.line_locate_point(shapely.get_parts(shore)[:, None], shapely.points(pegs))
    away = shapely.distance(shapely.get_parts(shore)[:, None], shapely.points(pegs))
    ring = shapely.get_parts(shore)[np.argmin(away, axis=0)]
    at = at[np.argmin(away, axis=0), np.arange(len(pegs))]
    behind, ahead = (
        shapely.get_coordinates(shapely.line_interpolate_point(ring, (at + step) % ring_length))
        for ring_length in [shapely.length(ring)]
        for step in (-6.0, 6.0)
    )
    aside = np.column_stack([behind[:, 1] - ahead[:, 1], ahead[:, 0] - behind[:, 0]])
    aside /= np.hypot(*aside.T)[:, None]
    wrong = ~lake.shoreline.contains(pegs + 2 * aside)
    aside[wrong] *= -1
    return bearings(pegs, pegs + aside, lake.shoreline.crs)


def even_lines(lake: zoo.Lake) -> Candidates:
    """Lay lines across, as close as the budget allows, turns counted."""
    net = even_net(lake.shoreline, net_spacing(lake.shoreline, 0.0))
    water, track = Water.of(lake.shoreline, net), budget(lake)
    laid = water.lay(track, 0)
    while laid.track + TURN * len(laid.legs) > budget(lake):
        track *= 0.98
        laid = water.lay(track, 0)
    return laid.legs


def drawn(
    lake: zoo.Lake, candidates: Candidates, kind: Kind, rng: np.random.Generator
) -> Candidates:
    """Draw among the plan's candidates."""
    order = rng.permutation(len(candidates))
    if kind == "casts":
        return candidates.select(order[:CASTS])
    left, chosen = budget(lake), []
    for number in order:
        cost = candidates.length[number] + TURN
        if cost <= left:
            chosen.append(number)
            left -= cost
    return candidates.select(np.array(chosen))


def cast_readings(lake: zoo.Lake, way: Candidates, rng: np.random.Generator) -> Soundings:
    """Cast along ways, with the errors of the zoo's casts."""
    count, crs = len(way), lake.shoreline.crs
    stood = way.start + rng.normal(0, zoo.CAST_PEG, way.start.shape)
    flown = way.bearing + rng.normal(0, BEARING, count)
    stretch = 1 + rng.normal(0, STRETCH, count)
    distance = np.arange(1.5, way.length.max(), zoo.CAST_PING)
    cast, ping = np.nonzero(distance <= way.length[:, None])
    away = distance[ping]
    true = travel(stood[cast], flown[cast], away * stretch[cast], crs)
    believed = travel(way.start[cast], way.bearing[cast], away, crs)
    wet = np.zeros((count, len(distance)), bool)
    wet[cast, ping] = lake.shoreline.contains(true)
    begun = np.maximum.accumulate(wet, axis=1)
    first_water = wet & ~np.maximum.accumulate(begun & ~wet, axis=1)
    depth = lake.depth(true)
    keep = first_water[cast, ping] & (depth > zoo.FLOAT_WATER)
    cast, away = cast[keep], away[keep]
    depth = depth[keep] + rng.normal(0, zoo.CAST_OFFSET, count)[cast]
    along, across = (
        np.hypot(away * share, zoo.CAST_PEG) for share in (STRETCH, np.radians(BEARING))
    )
    soundings = Soundings.from_arrays(
        believed[keep],
        depth + rng.normal(0, zoo.CAST_NOISE, len(depth)),
        crs=crs,
        line=np.char.add("next ", cast.astype(str)).astype(object),
        source="cast",
        sd=float(np.hypot(zoo.CAST_NOISE, zoo.CAST_OFFSET)),
        sd_shared=zoo.CAST_OFFSET,
        sd_along=along,
        sd_across=across,
        sd_xy=np.sqrt((along**2 + across**2) / 2),
        bearing=way.bearing[cast],
    )
    return soundings.reject(~lake.shoreline.contains(soundings.coordinates), zoo.ASHORE)


def boat_readings(lake: zoo.Lake, way: Candidates, rng: np.random.Generator) -> Soundings:
    """Go along ways by boat, with the errors of the zoo's tracks."""
    from scipy.signal import lfilter

    step = zoo.BOAT_SPEED * zoo.BOAT_PING
    places, line = [], []
    for number, (start, end) in enumerate(zip(way.start, way.end, strict=True)):
        count = max(2, int(np.hypot(*(end - start)) / step))
        places.append(start + np.linspace(0, 1, count)[:, None] * (end - start))
        line.append(np.full(count, number))
    true, lines = np.vstack(places), np.concatenate(line)
    keep = float(np.exp(-zoo.BOAT_PING / zoo.TRACK_MEMORY))
    push = rng.normal(0, np.sqrt(1 - keep**2), true.shape)
    push[0] = rng.normal(size=2)
    believed = true + BOAT_POSITION * lfilter([1.0], [1.0, -keep], push, axis=0)
    depth = lake.depth(true)
    noise = rng.normal(0, BOAT_OFFSET, len(way))[lines] + rng.normal(0, BOAT_NOISE, len(true))
    afloat = lake.shoreline.contains(true) & (depth > zoo.BOAT_WATER)
    soundings = Soundings.from_arrays(
        believed[afloat],
        (depth + noise)[afloat],
        crs=lake.shoreline.crs,
        line=np.char.add("next ", lines[afloat].astype(str)).astype(object),
        source="track",
        sd=float(np.hypot(BOAT_NOISE, BOAT_OFFSET)),
        sd_shared=BOAT_OFFSET,
        sd_xy=BOAT_POSITION,
    )
    return soundings.reject(~lake.shoreline.contains(soundings.coordinates), zoo.ASHORE)


def departure(lake: zoo.Lake, fitted: Fit) -> tuple[np.ndarray, np.ndarray]:
    """Fitted bed less the true one at the cells of the water, and their places, m."""
    true = zoo.truth(lake, CELL)
    weights = fitted.problem.net.weights(true.places)
    inside = np.diff(weights.indptr) > 0
    off = weights @ fitted.bed(draws=0, seed=0).depth - true.depth
    return np.asarray(off[inside]), true.places[inside]


def error(lake: zoo.Lake, fitted: Fit) -> tuple[float, float]:
    """Root mean square error of the fitted bed, over all and within reach of the shore, m."""
    off, places = departure(lake, fitted)
    away = shapely.distance(shapely.boundary(lake.shoreline.polygons), shapely.points(places))
    near = off[away <= REACH]
    return float(np.sqrt((off**2).mean())), float(np.sqrt((near**2).mean()))


def mean_variance(fitted: Fit) -> float:
    """Of the depth, by the fit, m2."""
    mass = fitted.problem.net.mass
    return float((mass * fitted.posterior.sd() ** 2).sum() / mass.sum())


def first_survey(lake: zoo.Lake, seed: int) -> tuple[float, float]:
    """Return the mean standard deviation expected of a first survey, and what it came to, m."""
    net = even_net(lake.shoreline, net_spacing(lake.shoreline, 0.0))
    laid: Outlay = Water.of(lake.shoreline, net).lay(None, 1)
    rng = np.random.default_rng([seed, lake.seed, 79])
    found = boat_readings(lake, laid.legs, rng)
    deep = float(np.quantile(zoo.truth(lake, CELL).depth, 0.9))
    worth = survey_worth(lake.shoreline, tracks=(laid.track * 1.001,), depth_scale=deep)
    off = np.abs(departure(lake, fit(found, lake.shoreline))[0]).mean()
    # of a normal distribution the mean size is sqrt(2 / pi) standard deviations
    return float(worth.column("mean_sd_m")[0]), float(off * np.sqrt(np.pi / 2))


def table(results: list[Result]) -> None:
    """Show each lake and what they come to."""
    click.echo("| lake | before | planned | even | random | predicted | new fit | true | s |")
    click.echo("| --- " * 9 + "|")
    for one in results:
        shares = " | ".join(f"{share:.2f}" for share in (one.predicted, one.fitted, one.true))
        errors = (one.before, one.planned, one.even, one.random)
        depths = " | ".join(f"{depth:.3f}" for depth in errors)
        click.echo(f"| {one.lake} | {depths} | {shares} | {one.seconds:.1f} |")
    for other in ("even", "random"):
        means = [np.mean([getattr(one, name) for one in results]) for name in ("planned", other)]
        click.echo(f"mean error of planned over mean error of {other}: {means[0] / means[1]:.3f}")
        whole = np.array([one.planned / getattr(one, other) for one in results])
        near = np.array([one.near["planned"] / one.near[other] for one in results])
        for where, ratio in (("over the whole water", whole), ("within reach of the shore", near)):
            click.echo(
                f"error of planned over {other} {where}: mean {ratio.mean():.3f}, geometric mean "
                f"{np.exp(np.log(ratio).mean()):.3f}, median {np.median(ratio):.3f}, better in "
                f"{(ratio < 1).sum()} of {len(ratio)}"
            )
    for what, middle in (("mean", np.mean), ("median", np.median)):
        predicted, fitted, true = (
            float(middle([getattr(one, name) for one in results]))
            for name in ("predicted", "fitted", "true")
        )
        click.echo(
            f"variance falls by {predicted:.3f} as predicted, {fitted:.3f} in the new fit, the "
            f"square error by {true:.3f} ({what}); predicted over true {predicted / true:.2f}"
        )


def main(lakes: int, seed: int) -> None:
    """Measure and show."""
    made = zoo.lakes(lakes)
    for kind in ("casts", "lines"):
        click.echo(f"\n{kind}, seed {seed}\n")
        table([measured(lake, kind, seed) for lake in made])
    pairs = np.array([first_survey(lake, seed) for lake in made])
    ratio = pairs[:, 1] / pairs[:, 0]
    click.echo(
        f"\nfirst survey, sd that came over that expected: median {np.median(ratio):.2f}, middle "
        f"half {np.quantile(ratio, 0.25):.2f} to {np.quantile(ratio, 0.75):.2f}, mean sd expected "
        f"{pairs[:, 0].mean():.2f} m, came {pairs[:, 1].mean():.2f} m"
    )


if __name__ == "__main__":
    main(*(int(given) for given in (sys.argv[1:] + ["21", "1"][len(sys.argv) - 1 :])))
