"""Run all benchmarks one after another and print one Markdown table, ready for the docs."""

import bench_bed
import bench_hypsography
import bench_isobaths
import bench_run
import bench_startup
import bench_terrain
import bench_windows
import click
from measure import machine, markdown, quiet

BENCHES = (
    bench_startup,
    bench_run,
    bench_bed,
    bench_isobaths,
    bench_hypsography,
    bench_terrain,
    bench_windows,
)
"""Those that start processes first, while this one is still small."""

PATIENCE = 600.0
"""How long each waits for other programs to finish, s."""


def main() -> None:
    """Run and print; what is going on goes to standard error."""
    found, busy = [], []
    for bench in BENCHES:
        click.echo(f"{bench.__name__} ...", err=True)
        if not quiet(PATIENCE):
            busy.append(bench.__name__)
        found += bench.rows()
    click.echo(machine() + "\n")
    click.echo(markdown(found))
    if busy:
        click.echo(f"\nMeasured while other programs ran: {', '.join(busy)}")
    if failed := sum(row.verdict == "FAIL" for row in found):
        click.echo(f"{failed} goals missed", err=True)


if __name__ == "__main__":
    main()
