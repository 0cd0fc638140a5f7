"""How often the 90 % intervals of fish counts hold the true number, over invented populations.

Run it with `python fish_populations.py [populations]`. Lines placed by chance and evenly, 4 to 12;
fish counted in every ping, or once each in the wedge swept; a bed that is known, and one that is
off by 3 % and says so.
"""

import sys
import time
from dataclasses import dataclass
from pathlib import Path

import click
import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

import invented_fish
from invented_fish import Design

from toolbox.fish.fish_abundance import fish_abundance
from toolbox.fish.searched import Counting
from toolbox.layers import Table, Tin

POPULATIONS, SEED = 200, 20_260_801
CASES: tuple[tuple[Design, int, Counting, float], ...] = (
    *(("random", lines, "pings", 0.0) for lines in (4, 6, 8, 12)),
    *(("even", lines, "pings", 0.0) for lines in (4, 6, 8, 12)),
    ("random", 8, "traces", 0.0),
    ("random", 8, "pings", 0.03),
)


@dataclass(frozen=True)
class Result:
    """One population: its true number and shoals, and what was found."""

    true: int
    shoal: float
    value: float
    low: float
    high: float

    @property
    def held(self) -> bool:
        """Whether the interval holds the true number."""
        return self.low <= self.true <= self.high


def measure(
    design: Design, lines: int, counting: Counting, bed_sd: float, count: int
) -> list[Result]:
    """Count so many populations."""
    results = []
    for number in range(count):
        rng = np.random.default_rng([SEED, number])
        population = invented_fish.make_population(rng)
        echoes, pings = invented_fish.sound(population, rng, lines=lines, design=design)
        bed = invented_fish.drawn_bed(bed_sd, rng) if bed_sd else invented_fish.bed()
        row = counted(bed, echoes, pings, counting).frame.iloc[-1]
        results.append(
            Result(
                population.told,
                population.shoal,
                row["number"],
                row["number_low"],
                row["number_high"],
            )
        )
    return results


def counted(bed: Tin, echoes: Table, pings: Table, counting: Counting) -> Table:
    """Estimate the number of fish; as traces, each fish once a transect."""
    if counting == "traces":
        nearest = echoes.frame.sort_values("range_m", kind="stable")
        echoes = Table(nearest.drop_duplicates(["transect", "fish"]))
    return fish_abundance(
        bed,
        echoes,
        pings,
        beam_angle=invented_fish.ANGLE,
        draft=invented_fish.DRAFT,
        blind=invented_fish.BLIND,
        counting=counting,
    )


def line(case: tuple[Design, int, Counting, float], results: list[Result]) -> str:
    """Return a row of the printed table."""
    held = np.array([result.held for result in results])
    ratio = np.array([result.value / result.true for result in results])
    width = np.array([result.high / result.low for result in results])
    loose = np.array([result.shoal < 6 for result in results])
    below = np.mean([result.true < result.low for result in results])
    above = np.mean([result.true > result.high for result in results])
    design, lines, counting, bed_sd = case
    return (
        f"| {design} | {lines} | {counting} | {bed_sd:.0%} | {held.mean():.1%} | {below:.1%} |"
        f" {above:.1%} | {held[loose].mean():.0%} | {held[~loose].mean():.0%} |"
        f" {ratio.mean():.3f} | {np.nanmedian(width):.2f} |"
    )


def main() -> None:
    """Print one row a case."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else POPULATIONS
    click.echo(
        "| lines placed | lines | counting | bed sd | held | true below | true above |"
        " held, shoals < 6 | held, larger shoals | found / true | high / low |"
    )
    click.echo("| --- " * 11 + "|")
    start = time.perf_counter()
    for case in CASES:
        click.echo(line(case, measure(*case, count)))
    click.echo(f"\n{count} populations a row, {time.perf_counter() - start:.0f} s")


if __name__ == "__main__":
    main()
