"""The command ``leadline thin-file``."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import click

__all__ = ["thin_file_command"]

_BY = ("mean", "median", "shoalest", "deepest")
_UNITS = ("m", "cm", "ft", "survey_foot", "fathom")
_PATH = click.Path(path_type=Path)


def _metres(name: str, text: str | None) -> float | None:
    """Read a length with or without a unit."""
    from toolbox.errors import ParameterError
    from toolbox.units import parse_quantity

    if text is None:
        return None
    try:
        return parse_quantity(text, "m")
    except ParameterError as error:
        raise ParameterError(f"{name} {error}") from error


@click.command("thin-file", short_help="Thin point files larger than memory.")
@click.argument("files", type=_PATH, nargs=-1, required=True, metavar="FILE... OUT")
@click.option("--cell", required=True, help="Width of the cells, m, or with its unit: '3 ft'.")
@click.option("--by", type=click.Choice(_BY), default="mean", show_default=True)
@click.option(
    "--z",
    type=click.Choice(["depth", "elevation"]),
    help="What the third coordinate is: depths are positive down, elevations up.",
)
@click.option("--datum", help="Elevation of the datum water level, m, for elevations.")
@click.option("--unit", type=click.Choice(_UNITS), help="Of the third coordinate.")
@click.option("--crs", help="CRS of files that name none.")
@click.option("--into", help="Projected CRS in metres of the result.")
@click.option("--easting", help="Column of eastings or longitudes.")
@click.option("--northing", help="Column of northings or latitudes.")
@click.option("--height", help="Column of depths or elevations.")
@click.option("--decimal", type=click.Choice([".", ","]), default=".", help="Mark of text.")
@click.option(
    "--class",
    "classes",
    type=click.IntRange(0, 255),
    multiple=True,
    help="Class of LAS points to take, such as 40 for the bed; may be given several times. "
    "If left out, all but noise, water surface and no bottom found.",
)
@click.option(
    "--returns",
    type=click.Choice(["last", "all"]),
    default="last",
    show_default=True,
    help="Echoes of a LAS pulse to take.",
)
@click.option("--shoreline", type=_PATH, help="Polygons of the water; others are left out.")
@click.option("--memory", help="For the whole process, such as '2 GiB'.")
@click.option("--temporary", type=_PATH, help="Folder for the temporary file; else that of OUT.")
@click.option("--overwrite", is_flag=True, help="Replace OUT if it is there.")
@click.option("--quiet", is_flag=True, help="Say nothing but errors.")
def thin_file_command(files: tuple[Path, ...], quiet: bool, **options: Any) -> None:
    """Put one sounding in the place of all of a cell, for point files larger than memory.

    FILE is LAS, LAZ, Parquet, GeoParquet or text of easting, northing and depth; OUT is GeoParquet
    (.parquet) or GeoPackage (.gpkg), which a survey file takes as soundings.
    """
    from toolbox.errors import ParameterError

    if len(files) < 2:
        raise ParameterError(f"give one or more files to thin and then OUT, got {files[0]} alone")
    *paths, out = files
    say: Callable[[str], None] = (lambda _: None) if quiet else _say
    with _progress(quiet) as watch:
        account = _thin(paths, out, options, say, watch)
    for note in account.notes:
        say(note)
    if not quiet:
        click.echo(f"written: {out}")


def _say(text: str) -> None:
    click.echo(f"note: {' '.join(text.split())}", err=True)


def _thin(
    paths: list[Path],
    out: Path,
    options: dict[str, Any],
    say: Callable[[str], None],
    watch: Callable[[str, int, int], None],
) -> Any:
    from toolbox.blocks.reduced import Heights
    from toolbox.blocks.thin_file import thin_files
    from toolbox.formats.point_chunks import Choices

    def take(*names: str) -> dict[str, Any]:
        return {name: options.pop(name) for name in names}

    cell, datum = (_metres(name, options.pop(name)) for name in ("cell", "datum"))
    heights = Heights(datum=datum, **take("z", "unit"))
    columns = take("crs", "easting", "northing", "height", "decimal", "classes", "returns")
    assert cell is not None
    return thin_files(
        paths,
        out,
        cell=cell,
        heights=heights,
        choices=Choices(**columns),
        tell=say,
        watch=watch,
        **options,
    )


@contextmanager
def _progress(quiet: bool) -> Iterator[Callable[[str, int, int], None]]:
    """Show on a terminal how much is done and how long the rest takes, and nothing elsewhere."""
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TaskProgressColumn, TextColumn
    from rich.progress import TimeRemainingColumn as TimeLeft

    console = Console(stderr=True)
    if quiet or not console.is_terminal:
        yield lambda stage, done, total: None
        return
    columns = (TextColumn("{task.description:10}"), BarColumn(), TaskProgressColumn(), TimeLeft())
    with Progress(*columns, console=console, transient=True) as bar:
        tasks: dict[str, Any] = {}

        def watch(stage: str, done: int, total: int) -> None:
            if stage not in tasks:
                tasks[stage] = bar.add_task(stage)
            bar.update(tasks[stage], completed=done, total=max(total, done))

        yield watch
