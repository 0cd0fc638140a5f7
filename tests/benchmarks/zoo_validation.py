"""What leaving lines out tells of a bed, against the truth, over the zoo and over cliffs and docks.

For each survey: the RMSE of the fitted bed over that of the triangulated one, at lines left out and
in truth; which bed was chosen and which one is nearer; what the 90 % intervals hold at lines left
out and over the bed; and what it costs. Run it with `python zoo_validation.py [lakes]`.
"""

import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from types import SimpleNamespace

import click
import numpy as np
import shapely

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

import zoo

from toolbox.bed import validation
from toolbox.bed.fitting import fit
from toolbox.bed.location import interpolated, locate
from toolbox.bed.triangulation import triangulate
from toolbox.bed.validation import MethodChoice, choose_method
from toolbox.layers import Shoreline, Soundings, Tin

LAKES, CELL, Z90 = 35, 3.0, 1.6449
STEPS = 12
"""Invented quarries and docks, of each of the four kinds."""

NEAR = 0.02
"""Ratios this close to 1 are a draw: neither bed is the wrong one."""


@dataclass(frozen=True)
class Case:
    """A survey and the truth it is judged by."""

    name: str
    kind: str
    style: str
    shoreline: Shoreline
    soundings: Soundings
    places: np.ndarray
    depth: np.ndarray


@dataclass(frozen=True)
class Result:
    """What one survey gave; ratios are of the fitted to the triangulated bed."""

    kind: str
    style: str
    truth: float
    left_out: float
    coarse: float
    chosen: str
    held: float
    held_truth: float
    held_supported: float
    fit_s: float
    validation_s: float

    @property
    def right(self) -> bool:
        """Whether the choice is the nearer bed, or there is no nearer one."""
        better = "fitted" if self.truth < 1 else "triangulated"
        return abs(self.truth - 1) < NEAR or self.chosen == better


def zoo_cases(count: int) -> Iterator[Case]:
    """Survey the zoo in all three styles."""
    for lake in zoo.lakes(count):
        bed = zoo.truth(lake, CELL)
        for style in zoo.STYLES:
            soundings = zoo.survey(lake, style, lake.seed + 7)
            where = (lake.shoreline, soundings, bed.places, bed.depth)
            yield Case(lake.name, lake.kind, style, *where)


def step_cases(count: int) -> Iterator[Case]:
    """Sound boxes with a vertical step in the bed, vertical sides or a folded bottom.

    No reading is nearer to a bank than 1.5 m: what lies there, leaving lines out cannot tell.
    """
    for name, shape in SHAPES.items():
        for seed in range(count):
            yield _box(name, shape, seed)


Box = SimpleNamespace  # length, width, cut, tilt, shoal, deep


def _banks(box: Box, places: np.ndarray) -> np.ndarray:
    return np.minimum(places[:, 1], box.width - places[:, 1])


def _cliff(box: Box, places: np.ndarray) -> np.ndarray:
    """Drop from a shoal to deep water along a line across; sides of 1 in 2."""
    beyond = places[:, 0] + box.tilt * (places[:, 1] - box.width / 2) > box.cut
    return np.minimum(np.where(beyond, box.deep, box.shoal), _banks(box, places) / 2)


def _quarry(box: Box, places: np.ndarray) -> np.ndarray:
    """Drop likewise, between vertical sides."""
    beyond = places[:, 0] + box.tilt * (places[:, 1] - box.width / 2) > box.cut
    return np.where(beyond, box.deep, box.shoal) * (_banks(box, places) > 0)


def _dock(box: Box, places: np.ndarray) -> np.ndarray:
    """Make a level bottom between vertical sides."""
    return box.deep * (_banks(box, places) > 0)


def _canal(box: Box, places: np.ndarray) -> np.ndarray:
    """Make a level bottom between sides of 1 in 2."""
    return np.minimum(box.shoal, _banks(box, places) / 2)


SHAPES: dict[str, Callable[[Box, np.ndarray], np.ndarray]] = {
    "cliff": _cliff,
    "quarry": _quarry,
    "dock": _dock,
    "canal": _canal,
}


def _box(name: str, shape: Callable[[Box, np.ndarray], np.ndarray], seed: int) -> Case:
    """Sound a box with open ends along lines across it, and along two ties if the seed is odd."""
    rng = np.random.default_rng([seed, len(name)])
    length, width = rng.uniform(200, 400), rng.uniform(40, 120)
    cut, tilt = rng.uniform(0.35, 0.65) * length, rng.uniform(-0.5, 0.5)
    box = Box(length=length, width=width, cut=cut, tilt=tilt)
    box.shoal, box.deep = rng.uniform(2, 4), rng.uniform(9, 15)
    ends = shapely.MultiLineString([[(x, 0), (x, width)] for x in (0, length)])
    water = shapely.MultiPolygon([shapely.box(0, 0, length, width)])
    lines = [
        np.column_stack([np.full(int(width) - 2, at), np.arange(int(width) - 2) + 1.5])
        for at in np.arange(10, length, rng.uniform(15, 30))
    ]
    if seed % 2:
        along = np.arange(1.5, length - 1)
        lines += [np.column_stack([along, np.full(len(along), y * width)]) for y in (0.3, 0.7)]
    places, noise = np.vstack(lines), (0.01, 0.05, 0.1)[seed % 3]
    soundings = Soundings.from_arrays(
        places,
        shape(box, places) + rng.normal(0, noise, len(places)),
        crs=None,
        line=np.repeat([f"line {k}" for k in range(len(lines))], list(map(len, lines))),
        source="track",
        sd=noise,
        sd_shared=0.0,
        sd_xy=0.1,
    )
    axes = np.arange(0.5, length), np.arange(0.5, width)
    probes = np.stack(np.meshgrid(*axes), axis=-1).reshape(-1, 2)
    shoreline = Shoreline(water, None, open_edges=ends)
    style = "lines and ties" if seed % 2 else "lines"
    return Case(f"{name} {seed}", name, style, shoreline, soundings, probes, shape(box, probes))


def measured(case: Case) -> Result:
    """Fit, choose, and compare with the truth."""
    start = time.perf_counter()
    fitted = fit(case.soundings, case.shoreline)
    between = time.perf_counter()
    choice = choose_method(case.soundings, case.shoreline, fitted=fitted)
    end = time.perf_counter()
    coarse = _on_coarser_net(case, choice)
    bed = fitted.bed(draws=0, seed=0)
    assert bed.sd is not None
    assert bed.support is not None
    error, sd, support = (_at(bed, each, case.places) for each in (bed.depth, bed.sd, bed.support))
    error = error - case.depth
    tin = triangulate(case.soundings, case.shoreline)
    other = _at(tin, tin.depth, case.places) - case.depth
    inside = np.abs(error) <= Z90 * sd
    return Result(
        case.kind,
        case.style,
        _rms(error) / _rms(other),
        _told(choice, "rmse_ratio"),
        _told(coarse, "rmse_ratio"),
        choice.method,
        _told(choice, "coverage_90"),
        float(inside.mean()),
        float(inside[support > 0.5].mean()) if (support > 0.5).any() else float("nan"),
        between - start,
        end - between,
    )


def _on_coarser_net(case: Case, choice: MethodChoice) -> MethodChoice:
    usual = validation.OWN_NET
    validation.OWN_NET = 0
    try:
        return choose_method(case.soundings, case.shoreline, fitted=choice.fit)
    finally:
        validation.OWN_NET = usual


def _told(choice: MethodChoice, column: str) -> float:
    """Return a figure of the fitted bed, weighed as the bed lies."""
    if choice.table is None:
        return float("nan")
    frame = choice.table.frame
    row = (frame["method"] == "fitted") & (frame["class"] == "as the bed lies")
    return float(frame.loc[row, column].iloc[0])


def _at(bed: Tin, values: np.ndarray, places: np.ndarray) -> np.ndarray:
    return interpolated(values, bed.triangles, locate(bed.vertices, bed.triangles, places))


def _rms(error: np.ndarray) -> float:
    return float(np.sqrt(np.nanmean(error**2)))


def summary(results: list[Result], by: str) -> Iterator[str]:
    """Sum up by kind or style, a line each."""
    for name in dict.fromkeys(getattr(one, by) for one in results):
        some = [one for one in results if getattr(one, by) == name]

        def mean(what: str, some: list[Result] = some) -> float:
            return float(np.nanmean([getattr(one, what) for one in some]))

        yield (
            f"{name:18s} {len(some):3d} surveys, right {sum(one.right for one in some):3d}  "
            f"fitted chosen {sum(one.chosen == 'fitted' for one in some):3d}, nearer "
            f"{sum(one.truth < 1 for one in some):3d}  ratio: truth {mean('truth'):.2f}, left out "
            f"{mean('left_out'):.2f}, on coarser net {mean('coarse'):.2f}  90 % hold: left out "
            f"{mean('held'):.2f}, bed {mean('held_truth'):.2f}, supported bed "
            f"{mean('held_supported'):.2f}  s: fit {mean('fit_s'):.1f}, validation "
            f"{mean('validation_s'):.1f}"
        )


def main(count: int) -> None:
    """Measure all and print as it goes."""
    results = []
    for cases in (zoo_cases(count), step_cases(STEPS)):
        for case in cases:
            one = measured(case)
            results.append(one)
            click.echo(
                f"{case.name:18s} {case.style:16s} truth {one.truth:.2f} left out "
                f"{one.left_out:.2f} coarser {one.coarse:.2f} {one.chosen:12s} "
                f"{'right' if one.right else 'WRONG'} held {one.held:.2f} truth "
                f"{one.held_truth:.2f} supported {one.held_supported:.2f} s {one.fit_s:.1f} + "
                f"{one.validation_s:.1f}"
            )
    for by in ("style", "kind"):
        click.echo(f"\nby {by}\n" + "\n".join(summary(results, by)))


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else LAKES)
