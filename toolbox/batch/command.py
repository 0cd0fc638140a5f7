"""Command: ``leadline batch``."""

import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from toolbox.errors import ParameterError, SettingsError

if TYPE_CHECKING:
    from toolbox.batch.batch import Outcome
    from toolbox.batch.gathering import Gathered
    from toolbox.batch.waters import Record

__all__ = ["batch_command"]

SOME_FAILED, INTERRUPTED = 1, 130


@click.command("batch", short_help="Carry out many survey files.")
@click.argument("surveys", nargs=-1)
@click.option("--out", required=True, help="Folder of the batch, or its URL.")
@click.option("--waters", help="Layer of polygons, one for each water, instead of survey files.")
@click.option("--layer", help="Layer of that file, if it holds several.")
@click.option("--where", help="Condition on its features.")
@click.option("--name", help="Column of the names of waters.")
@click.option("--id", "id_", help="Column that tells all waters apart, if names do not.")
@click.option("--soundings", help="Soundings of all these waters, to be split by their polygons.")
@click.option("--template", help="Survey file whose other settings hold for each water.")
@click.option("--write", help="Parts of each folder to write, such as tables,layers.")
@click.option(
    "--workers",
    type=click.IntRange(min=1),
    help="Processes; if left out, one for each core. With 1, all is done in this one.",
)
@click.option("--scheduler", help="A dask scheduler instead, such as tcp://host:8786.")
@click.option("--quiet", is_flag=True, help="Say nothing but errors.")
def batch_command(
    surveys: tuple[str, ...],
    out: str,
    write: str | None,
    workers: int | None,
    scheduler: str | None,
    quiet: bool,
    **layers: str | None,
) -> None:
    """Carry out many surveys: files, folders that hold some, or a layer of waters.

    Waters that are done are passed over, so that a batch which was stopped goes on when it is
    started again. One that fails does not stop the others. The exit code is 0 if all are done and 1
    if some failed.

    SURVEYS are survey files, folders searched for survey.toml, or one batch file, which has
    [waters] in place of [water]; paths or URLs.
    """
    from toolbox.batch.batch import batch, make_folder
    from toolbox.batch.lock import locked

    parts = _parts(write)
    place = out if "://" in out else str(Path(out).absolute())
    make_folder(place)
    with locked(place):
        gathered = _gathered(surveys, layers, place, parts)
        _tell_split(gathered, quiet)
        with _progress(len(gathered.jobs), quiet) as watch:
            outcome = batch(
                gathered,
                place,
                workers=workers or len(_cores()),
                scheduler=scheduler,
                watch=watch,
            )
    _tell(outcome, out, quiet)
    if outcome.interrupted:
        click.get_current_context().exit(INTERRUPTED)
    if outcome.counts["failed"]:
        click.get_current_context().exit(SOME_FAILED)


def _cores() -> set[int]:
    if hasattr(os, "sched_getaffinity"):
        return os.sched_getaffinity(0)
    return set(range(os.cpu_count() or 1))


def _parts(write: str | None) -> tuple[str, ...] | None:
    from typing import get_args

    from toolbox.survey.wanted import Part

    if write is None:
        return None
    parts = tuple(part.strip() for part in write.split(","))
    allowed = get_args(Part)
    for part in parts:
        if part not in allowed:
            raise ParameterError(f"--write must name parts of {', '.join(allowed)}, got {part!r}")
    return parts


def _gathered(
    surveys: tuple[str, ...],
    layers: dict[str, str | None],
    out: str,
    parts: tuple[str, ...] | None,
) -> "Gathered":
    from toolbox.batch.gathering import batch_file_of, gather_split, gather_surveys

    given = [key for key, value in layers.items() if value is not None]
    if layers["waters"] is not None:
        if surveys:
            raise SettingsError(f"give survey files or --waters, not both: got {surveys[0]!r}")
        return _of_options(layers, out, parts)
    if given:
        raise SettingsError(f"--{given[0].strip('_')} is for --waters, which is not given")
    if not surveys:
        raise SettingsError("give survey files, folders that hold some, a batch file, or --waters")
    if len(surveys) == 1 and surveys[0].endswith(".toml"):
        with batch_file_of(surveys[0]) as found:
            if found is not None:
                return gather_split(found[0], out, parts, found[1])
    return gather_surveys(surveys, out, parts)


def _of_options(
    layers: dict[str, str | None], out: str, parts: tuple[str, ...] | None
) -> "Gathered":
    """Gather what options say, as a batch file would."""
    from toolbox.batch.batch_file import load_batch_file
    from toolbox.batch.gathering import gather_split
    from toolbox.survey.settings import read_keys

    for option in ("waters", "soundings", "template"):
        if "://" in (layers[option] or ""):
            raise SettingsError(
                f"--{option} takes a file of this machine, a batch file may name a URL: "
                f"got {layers[option]!r}"
            )
    template = Path(layers["template"]).absolute() if layers["template"] else Path.cwd() / "none"
    given = read_keys(template) if layers["template"] else {}
    given.pop("water", None)
    columns = {"layer": "layer", "where": "where", "name": "name", "id_": "id"}
    waters: dict[str, Any] = {key: layers[option] for option, key in columns.items()}
    given["waters"] = {"file": Path(str(layers["waters"])).absolute(), **waters}
    sources = given.get("soundings", [{}])
    if layers["soundings"] is not None:
        if len(sources) > 1:
            raise SettingsError(
                f"--soundings takes the place of one [[soundings]], {template} has {len(sources)}"
            )
        given["soundings"] = [{**sources[0], "file": Path(layers["soundings"]).absolute()}]
    return gather_split(load_batch_file(given, template), out, parts, Path("/nowhere"))


def _tell_split(gathered: "Gathered", quiet: bool) -> None:
    if gathered.split is None or quiet:
        return
    for why, count in gathered.split.outside.items():
        click.echo(f"{count:,} soundings {why}: inputs/outside.gpkg", err=True)


@contextmanager
def _progress(total: int, quiet: bool) -> Iterator[Callable[["Record"], None]]:
    """Show how far a batch is, and the time left, on a terminal; nothing elsewhere."""
    from rich.console import Console
    from rich.progress import (
        BarColumn,
        MofNCompleteColumn,
        Progress,
        TextColumn,
        TimeElapsedColumn,
        TimeRemainingColumn,
    )

    console = Console(stderr=True)
    if quiet or not console.is_terminal:
        yield lambda record: None
        return
    columns = (
        MofNCompleteColumn(),
        BarColumn(),
        TextColumn("{task.fields[failed]} failed"),
        TimeElapsedColumn(),
        TextColumn("left"),
        TimeRemainingColumn(),
    )
    with Progress(*columns, console=console, transient=True, speed_estimate_period=300) as bar:
        task = bar.add_task("waters", total=total, failed=0)
        left, bad = total, 0

        def watch(record: "Record") -> None:
            nonlocal left, bad
            if record.status == "done" and not record.made:
                left -= 1  # what is found done says nothing about how long the others take
                bar.update(task, total=left)
                return
            bad += record.status == "failed"
            bar.update(task, advance=1, failed=bad)

        yield watch


def _tell(outcome: "Outcome", out: str, quiet: bool) -> None:
    """Say in one line what became of all waters."""
    from toolbox.batch.summary import FAILURES, TABLE
    from toolbox.words import counted

    counts = outcome.counts
    told = [f"{counted(len(outcome.records), 'water')}: {counts['done']:,} done"]
    if kept := counts["done"] - outcome.made:
        told[0] += f" ({kept:,} of them before)"
    others = ("failed", "no soundings", "not done", "not checked")
    told += [
        f"{counts[status]:,} {'without soundings' if status == 'no soundings' else status}"
        for status in others
        if counts[status]
    ]
    text = ", ".join(told)
    if outcome.interrupted:
        click.echo(f"leadline: interrupted; {text}; start again to go on", err=True)
    elif counts["failed"]:
        click.echo(f"leadline: {text}; see {FAILURES}", err=True)
    elif not quiet:
        click.echo(text)
    if not quiet:
        click.echo(f"written: {out}/{TABLE}")
