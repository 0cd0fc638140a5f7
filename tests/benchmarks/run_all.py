"""Run all benchmarks one after another and print one Markdown table, ready for the docs.

``--goals`` prints only figures that have a goal: whether each still holds. ``--large`` adds those
that take long or much disk.
"""

import importlib
from importlib.util import find_spec

import click
from measure import Row, machine, markdown, quiet

BENCHES = (
    "bench_startup",
    "bench_run",
    "bench_reduction",
    "bench_bed",
    "bench_fitting",
    "bench_isobaths",
    "bench_hypsography",
    "bench_volume",
    "bench_terrain",
    "bench_windows",
    "bench_paper",
    "bench_requests",
)
LARGE = ("bench_batch", "bench_split", "bench_big_points")
"""Those that take long or much disk."""

PATIENCE = 600.0
"""How long each waits for other programs to finish, s."""


@click.command()
@click.option("--goals", is_flag=True, help="Print only figures that have a goal.")
@click.option("--large", is_flag=True, help="Run those too that take long or much disk.")
@click.option("--only", multiple=True, help="Names of benchmarks; if left out, all.")
def main(goals: bool, large: bool, only: tuple[str, ...]) -> None:
    """Run and print; what is going on goes to standard error."""
    found: list[Row] = []
    said: list[str] = []
    for name in only or (*BENCHES, *(LARGE if large else ())):
        click.echo(f"{name} ...", err=True)
        found += _measured(name, said)
    shown = [row for row in found if row.goal or not goals]
    click.echo(machine() + "\n")
    click.echo(markdown(shown))
    for line in said:
        click.echo(f"\n{line}")
    met = sum(row.verdict == "pass" for row in found)
    click.echo(f"\n{met} of {sum(bool(row.goal) for row in found)} goals are met")


def _measured(name: str, said: list[str]) -> list[Row]:
    """Run one benchmark; what keeps it from running is said and does not stop the others."""
    if find_spec(name) is None:
        said.append(f"{name} is not there")
        return []
    if not quiet(PATIENCE):
        said.append(f"{name} was measured while other programs ran")
    try:
        return list(importlib.import_module(name).rows())
    except Exception as error:  # the rest of the table is worth having
        said.append(f"{name} failed: {type(error).__name__}: {error}")
        return []


if __name__ == "__main__":
    main()
