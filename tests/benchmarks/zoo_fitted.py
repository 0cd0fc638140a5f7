"""Judge the fitted bed on the zoo of invented lakes, beside two that know no error.

For each lake and style of survey: root mean square errors of the fitted bed, of the plain
triangulation and of a Clough-Tocher surface on thinned soundings (scipy), on cells of 3 m; the
error of the volume; and how much of the bed, and whether the volume, lies within the 90 % bands.
For reaches of rivers also the fit that does not stretch along the channel, once with the survey as
it is and once with every fourth of its lines and no casts, as cross-sections are surveyed.

    python tests/benchmarks/zoo_fitted.py [every Nth lake] [processes]
"""

import os
import sys
import time
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from pathlib import Path
from typing import Any

import click
import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

import zoo

CELL = 3.0
Z90 = 1.6449
STYLES = ("tracks and casts", "casts", "points")


def judge(kind_number: int, style: Any) -> dict[str, Any]:
    """Survey one lake, make its beds, and compare them with the truth."""
    from toolbox.bed.fitting import fit
    from toolbox.bed.location import interpolated, locate
    from toolbox.bed.triangulation import triangulate
    from toolbox.bed.uncertainty import LEAST_SUPPORT

    lake = zoo.lakes(kind_number + 1)[kind_number]
    soundings = zoo.survey(lake, style, seed=lake.seed + 7)
    truth = zoo.truth(lake, CELL)
    begun = time.process_time()
    fitted = fit(soundings, lake.shoreline)
    bed = fitted.bed(draws=100, seed=0)
    spent = time.process_time() - begun
    at = locate(bed.vertices, bed.triangles, truth.places)
    inside = at[0] >= 0
    assert bed.sd is not None
    assert bed.support is not None
    assert bed.draws is not None
    depth, sd, support = (
        interpolated(values, bed.triangles, at) for values in (bed.depth, bed.sd, bed.support)
    )
    tin = triangulate(soundings, lake.shoreline)
    plain = interpolated(
        tin.depth, tin.triangles, locate(tin.vertices, tin.triangles, truth.places)
    )
    smooth = clough_tocher(soundings.kept, lake.shoreline, fitted.problem.scales.gap, truth.places)
    inside &= np.isfinite(plain)
    smooth = np.where(np.isfinite(smooth), smooth, plain)

    def rmse(values: np.ndarray) -> float:
        return float(np.sqrt(np.mean((values - truth.depth)[inside] ** 2)))

    mass = np.bincount(bed.triangles.ravel(), np.repeat(bed.areas() / 3, 3))
    volume = float(truth.depth.mean()) * lake.shoreline.polygons.area
    low, high = np.quantile(mass @ bed.draws, (0.05, 0.95))
    held = np.abs(depth - truth.depth) < Z90 * sd
    known = inside & (support >= LEAST_SUPPORT)
    row = {
        "number": kind_number,
        "kind": lake.kind,
        "style": style,
        "nodes": len(bed.depth),
        "seconds": spent,
        "rmse": rmse(depth),
        "tin": rmse(plain),
        "clough_tocher": rmse(smooth),
        "volume_error": float(mass @ bed.depth) / volume - 1,
        "tin_volume_error": float(np.mean((plain - truth.depth)[inside])) / truth.depth.mean(),
        "held": float(held[inside].mean()),
        "held_known": float(held[known].mean()) if known.any() else np.nan,
        "known": float(known.mean()),
        "volume_held": bool(low <= volume <= high),
        "deepest": float(depth.max() / soundings.kept.depth.max()),
    }
    if lake.kind == "river reach" and style == STYLES[0]:
        row |= stretched("survey", lake, soundings, truth)
        row |= stretched("sections", lake, sections(soundings), truth)
    return row


def stretched(name: str, lake: Any, soundings: Any, truth: Any) -> dict[str, Any]:
    """Return the error of a fit, and of one whose correlation is the same in all directions."""
    from toolbox.bed.fitting import fit
    from toolbox.bed.location import interpolated, locate

    errors = []
    for given in ({}, {"elongation": 1.0}):
        bed = fit(soundings, lake.shoreline, given=given).bed(draws=0, seed=0)
        depth = interpolated(
            bed.depth, bed.triangles, locate(bed.vertices, bed.triangles, truth.places)
        )
        errors.append(float(np.sqrt(np.nanmean((depth - truth.depth) ** 2))))
    return {name: errors[0], f"{name} isotropic": errors[1]}


def sections(soundings: Any) -> Any:
    """Return every fourth line of the boat."""
    frame = soundings.kept.frame
    tracks = frame[frame["source"] == "track"]
    lines = sorted(
        tracks["line"].unique(), key=lambda name: int("".join(filter(str.isdigit, name)))
    )
    return type(soundings)(tracks[tracks["line"].isin(lines[::4])])


def clough_tocher(soundings: Any, shoreline: Any, gap: float, places: np.ndarray) -> np.ndarray:
    """Return a smooth surface through means over cells, and the shore, at places (k, 2)."""
    import shapely
    from scipy.interpolate import CloughTocher2DInterpolator

    cell = max(gap, 2.0)  # a quarter of the spacing of lines: thinner or denser is worse
    square = np.floor(soundings.coordinates / cell)
    _, group, count = np.unique(square, axis=0, return_inverse=True, return_counts=True)
    columns = (*soundings.coordinates.T, soundings.depth)
    east, north, depth = (np.bincount(group.ravel(), column) / count for column in columns)
    shore = shapely.get_coordinates(shapely.segmentize(list(shoreline.polygons.geoms), cell))
    if shoreline.open_edges is not None:
        shore = shore[shapely.distance(shapely.points(shore), shoreline.open_edges) > cell]
    shore = np.unique(shore, axis=0)
    points = np.vstack([np.column_stack([east, north]), shore])
    values = np.r_[depth, np.full(len(shore), shoreline.depth)]
    return np.asarray(CloughTocher2DInterpolator(points, values)(places))


def told(rows: list[dict[str, Any]]) -> str:
    """Return one line of the table."""

    def mean(name: str) -> float:
        return float(np.nanmean([row[name] for row in rows]))

    errors = np.array([row["volume_error"] for row in rows])
    return (
        f"{len(rows):4d}  {mean('rmse') / mean('tin'):.2f}"
        f" {mean('rmse') / mean('clough_tocher'):.2f}"
        f"  {100 * errors.mean():+6.2f} {100 * np.abs(errors).mean():5.2f}"
        f" {100 * mean('tin_volume_error'):+7.2f}"
        f"  {mean('held'):.3f} {mean('held_known'):.3f} {mean('known'):.2f}"
        f"  {mean('volume_held'):.3f}  {max(row['deepest'] for row in rows):.2f}"
        f"  {mean('seconds'):5.1f}"
    )


def main() -> None:
    """Judge them all and print a table."""
    for library in ("OPENBLAS", "NUMBA", "OMP"):
        os.environ.setdefault(f"{library}_NUM_THREADS", "1")  # for the processes started here
    every, processes = (int(word) for word in (sys.argv[1:] + ["1", "2"][len(sys.argv) - 1 :])[:2])
    click.echo(
        "rmse as a share of the triangulated bed's and of Clough-Tocher's; volume errors in %:"
    )
    click.echo(
        "mean, mean size, triangulated; share of the bed within its 90 % interval: all, known,"
    )
    click.echo(
        "share known; share of volumes within their band; greatest depth over deepest sounding;"
    )
    click.echo("processor seconds a lake")
    with ProcessPoolExecutor(processes, mp_context=get_context("spawn")) as pool:
        for style in STYLES:
            numbers = range(0, 105, every)
            rows = list(pool.map(judge, numbers, [style] * len(numbers)))
            click.echo(f"\n{style}\n  {'all':16s}{told(rows)}")
            for kind in zoo.KINDS:
                of_kind = [row for row in rows if row["kind"] == kind]
                if of_kind:
                    click.echo(f"  {kind:16s}{told(of_kind)}")
            reaches = [row for row in rows if "survey isotropic" in row]
            for name in ("survey", "sections") if reaches else ():
                own, even = (
                    np.mean([r[f"{name}{of}"] for r in reaches]) for of in ("", " isotropic")
                )
                click.echo(f"  reaches, {name}: rmse {own / even:.2f} of the isotropic fit's")


if __name__ == "__main__":
    main()
