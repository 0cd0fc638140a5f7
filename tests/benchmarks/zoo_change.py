"""Judge the tools of change on lakes of the zoo that are surveyed twice, with fitted beds.

For each lake: the same bed surveyed and fitted twice (nothing changed), once with 5,000 m3 laid
down between (a mound no higher than half the water), and once with every depth of the second
survey 0.05 m too small (another datum). Prints what the tools say of each.

    python tests/benchmarks/zoo_change.py [lakes] [first lake]
"""

import os
import sys
import time
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import click
import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

import zoo

DEPOSIT, SHIFT = 5000.0, 0.05


@dataclass(frozen=True)
class Raised:
    """A bed with a mound laid upon it: of a height, cos^2 from its middle to its radius."""

    bed: Any
    middle: np.ndarray
    radius: float
    height: float
    wall: float

    def depth(self, places: np.ndarray) -> np.ndarray:
        """Return the depth at places from the origin, (n, 2)."""
        away = np.hypot(*(places - self.middle).T) / self.radius
        mound = self.height * np.cos(np.pi / 2 * np.minimum(away, 1)) ** 2
        return np.asarray(self.bed.depth(places) - mound)


def raised(lake: Any) -> tuple[Any, float]:
    """Lay a mound on the bed where it fits best, and return the volume laid down."""
    truth = zoo.truth(lake, 3.0)
    share = np.pi * (1 / 2 - 2 / np.pi**2)  # of height times radius squared
    best = (np.inf, None, 0.0)
    for radius in (10.0, 15, 20, 25, 30, 40, 50, 70):
        height = DEPOSIT / share / radius**2
        for k in np.random.default_rng(1).choice(len(truth.depth), 150):
            near = np.hypot(*(truth.places - truth.places[k]).T) < radius
            if near.sum() * 9 > 0.9 * np.pi * radius**2:
                lack = height / truth.depth[k]
                best = min(best, (lack, truth.places[k], radius), key=lambda one: one[0])
    _, middle, radius = best
    if middle is None:
        raise click.ClickException(f"no mound fits into the {lake.name}")
    bed = Raised(lake.bed, middle - lake.origin, radius, DEPOSIT / share / radius**2, lake.wall)
    changed = replace(lake, bed=bed)
    laid = truth.depth - np.maximum(changed.depth(truth.places), 0)  # what stays below water
    return changed, float(laid.sum()) * 9


def fitted(lake: Any, seed: int, shift: float = 0.0) -> Any:
    """Survey a lake, fit its bed, and draw from it."""
    from toolbox.bed.fitting import fit
    from toolbox.layers import Soundings

    soundings = zoo.survey(lake, "tracks and casts", seed=seed)
    if shift:
        soundings = Soundings(soundings.frame.assign(depth=soundings.frame["depth"] - shift))
    return fit(soundings, lake.shoreline).bed(draws=100, seed=seed)


def judge(number: int) -> None:
    """Print what the tools say of one lake."""
    from toolbox.change.bed_change import bed_change
    from toolbox.change.level_shift import level_shift

    lake = zoo.lakes(number + 1)[number]
    changed, volume = raised(lake)
    begun = time.perf_counter()
    before, same = fitted(lake, lake.seed + 7), fitted(lake, lake.seed + 8)
    later, moved = fitted(changed, lake.seed + 9), fitted(lake, lake.seed + 8, SHIFT)
    fits = time.perf_counter() - begun
    begun = time.perf_counter()
    one = bed_change(before, same).frame.iloc[0]
    spent = time.perf_counter() - begun
    two = bed_change(before, later).frame.iloc[0]
    shifts = [level_shift(before, bed).frame.set_index("measure") for bed in (same, moved)]
    patches = (one["deposition_area_m2"] + one["erosion_area_m2"]) / one["area_m2"]
    click.echo(
        f"{number:3d} {lake.kind:15s}{one['area_m2'] / 1e4:6.1f} ha"
        f"  same: beyond {one['beyond_limit_share']:.3f} patches {patches:.3f}"
        f" net {one['net_change_m3']:+7.0f} ({one['net_low_m3']:+.0f} to {one['net_high_m3']:+.0f})"
        f"  laid {volume:5.0f}: {two['deposition_m3']:6.0f}"
        f" ({two['deposition_low_m3']:.0f} to {two['deposition_high_m3']:.0f})"
        f" net {two['net_change_m3']:+.0f} ({two['net_low_m3']:+.0f} to {two['net_high_m3']:+.0f})"
        "  shift "
        + " / ".join(
            f"{table.loc['level shift', 'value']:+.3f} (limit"
            f" {table.loc['limit of the shift', 'value']:.3f})"
            for table in shifts
        )
        + f"  {fits:.0f} s fits, {spent:.1f} s change"
    )


def main() -> None:
    """Judge several lakes."""
    for library in ("OPENBLAS", "NUMBA", "OMP"):
        os.environ.setdefault(f"{library}_NUM_THREADS", "1")
    count, first = (int(word) for word in (sys.argv[1:] + ["10", "0"][len(sys.argv) - 1 :])[:2])
    for number in range(first, first + count):
        judge(number)


if __name__ == "__main__":
    main()
