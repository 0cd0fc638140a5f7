"""Command line: ``leadline``, the whole job and, by name, every tool."""

import errno
import logging
import os
import signal
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import click

from toolbox.batch.command import batch_command
from toolbox.blocks.command import thin_file_command
from toolbox.catalogue import broken, find, names, record, titles, tools
from toolbox.desk.command import desk_command
from toolbox.errors import ToolboxError
from toolbox.report.notes import foremost, rejected, told
from toolbox.report.text import one_line
from toolbox.server.command import serve_command
from toolbox.surroundings import drop_foreign_proj, open_streams, plain_letters

__all__ = ["console", "main"]

BAD_INPUT, INTERRUPTED = 2, 130
FINDINGS = "findings.txt"

FULL = (errno.ENOSPC, errno.EFBIG, errno.EIO)

STARTERS = {
    "survey": ("toolbox.survey", "starter.toml"),
    "species": ("toolbox.habitat", "species.toml"),
    "stocking": ("toolbox.stocking", "starter.toml"),
}
"""Files to start from, and where they are."""


def main(arguments: list[str] | None = None, program: str = "leadline") -> int:
    """Run a command; bad input gets one line for each fault and exit code 2."""
    try:
        code = commands.main(arguments, prog_name=program, standalone_mode=False)
    except click.exceptions.NoArgsIsHelpError as error:
        click.echo(error.format_message())
    except click.ClickException as error:
        return _refuse(error.format_message())
    except ToolboxError as error:
        return _refuse(*str(error).split("\n"))
    except MemoryError:
        return _refuse("there is not enough memory for this; use larger cells or fewer soundings")
    except OSError as error:  # of the terminal or what stands for it; files have their own
        if error.errno not in FULL:
            raise
        return _refuse(f"output cannot be written: {error.strerror}")
    except (KeyboardInterrupt, click.Abort):
        click.echo("leadline: interrupted, nothing was written", err=True)
        return INTERRUPTED
    else:
        return code if isinstance(code, int) else 0  # a command may leave with a code of its own
    return 0


def _refuse(*messages: str) -> int:
    for message in messages:
        click.echo(f"leadline: {one_line(message)}", err=True)
    return BAD_INPUT


class Stop:
    """A wish to stop, remembered in case a library swallows the exception that tells it."""

    def __init__(self) -> None:
        self.asked = False

    def ask(self, *_: Any) -> None:
        """Take a signal."""
        self.asked = True
        raise KeyboardInterrupt

    def check(self) -> None:
        """Raise KeyboardInterrupt if somebody asked."""
        if self.asked:
            raise KeyboardInterrupt


STOP = Stop()


class Commands(click.Group):
    """Fixed commands first, then the tools by chapter."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return [*self.commands, *names()]

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        known = super().get_command(ctx, cmd_name)
        if known is None and cmd_name in names():
            from toolbox.commands import tool_command  # reading and writing, which help needs not

            return tool_command(find(cmd_name))
        return known

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        with formatter.section("The whole job"):
            rows = [
                (name, command.get_short_help_str(60)) for name, command in self.commands.items()
            ]
            formatter.write_dl(rows)
        for chapter, own in titles().items():
            with formatter.section(f"Tools: {chapter.lower()}"):
                formatter.write_dl(list(own.items()))


@click.group(cls=Commands, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(package_name="leadline", prog_name="leadline")
def commands() -> None:
    """Turn depth soundings and a shoreline into a lake bed, its layers, tables and volume.

    Not for navigation.
    """


@commands.command("run", short_help="Carry out a survey file.")
@click.argument("survey", type=click.Path(path_type=Path))
@click.option("--out", type=click.Path(path_type=Path), required=True, help="Folder to make.")
@click.option("--overwrite", is_flag=True, help="Replace the folder if it is there.")
@click.option("--quiet", is_flag=True, help="Say nothing but errors.")
def run_command(survey: Path, out: Path, overwrite: bool, quiet: bool) -> None:
    """Carry out a survey file and write all its results into one folder."""
    from toolbox.survey.files import load_survey
    from toolbox.survey.run import run

    settings = load_survey(survey)
    with _progress(quiet) as tell:

        def watch(stage: str) -> None:
            STOP.check()
            tell(stage)

        lineage = run(settings, out, overwrite=overwrite, watch=watch)
    if not quiet:
        for line in [*foremost(lineage.ranked, out / FINDINGS), *rejected(lineage.rejections)]:
            click.echo(line, err=True)
        click.echo(f"written: {out}")


commands.add_command(desk_command)
commands.add_command(batch_command)


@commands.command("new", short_help="Write a survey file to start from.")
@click.argument("file", type=click.Path(path_type=Path), required=False)
@click.option(
    "--kind",
    type=click.Choice(list(STARTERS)),
    default="survey",
    help="What to write: a survey file, limits of species, or a stocking proposal.",
)
@click.option("--overwrite", is_flag=True, help="Replace the file if it is there.")
def new_command(file: Path | None, kind: str, overwrite: bool) -> None:
    """Write a commented file to start from."""
    from importlib.resources import files

    from toolbox.formats.paths import new_file

    out = file or Path(f"{kind}.toml")
    package, name = STARTERS[kind]
    starter = files(package).joinpath(name).read_text(encoding="utf-8")
    with new_file(out, overwrite=overwrite) as place:
        place.write_text(starter, encoding="utf-8")
    click.echo(f"written: {out}")


@commands.command("check", short_help="Check a survey file and its inputs.")
@click.argument("survey", type=click.Path(path_type=Path))
def check_command(survey: Path) -> None:
    """Check a survey file and read its inputs, without computing anything."""
    from toolbox.desk.advice import place_advice
    from toolbox.survey.files import load_survey
    from toolbox.survey.lineage import Lineage
    from toolbox.survey.run import read_all

    lineage = Lineage(load_survey(survey))
    inputs = read_all(lineage.settings, lineage).inputs
    for line in [*told(lineage.ranked), *rejected(lineage.rejections)]:
        click.echo(line)
    for line in place_advice(lineage.settings, inputs):
        click.echo(f"doubt: {one_line(line)}")
    usable = f"{len(inputs.soundings.kept):,} of {len(inputs.soundings):,} soundings usable"
    name = one_line(lineage.settings.water.name)
    click.echo(f"{name}: {inputs.shoreline.ground_area():,.0f} m2, {usable}")


commands.add_command(thin_file_command)


commands.add_command(serve_command)


@commands.command("tools")
def tools_command() -> None:
    """List all tools with what they do."""
    for name, function in tools().items():
        click.echo(f"{name:26}{record(function).summary}")
    for name, error in broken().items():
        click.echo(f"{name:26}cannot be used: {error}")


@commands.command("describe")
@click.argument("tool")
@click.option("--json", "as_json", is_flag=True, help="As an OGC API - Processes description.")
def describe_command(tool: str, as_json: bool) -> None:
    """Describe one tool."""
    import json

    from toolbox.describe import describe, page

    found = record(find(tool))
    click.echo(json.dumps(describe(found), indent=1) if as_json else page(found))


@contextmanager
def _progress(quiet: bool) -> Iterator[Callable[[str], None]]:
    """Show the stages of a run as a bar on a terminal, and nothing elsewhere."""
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn

    from toolbox.survey.stages import STAGES

    console = Console(stderr=True)
    if quiet or not console.is_terminal:
        yield lambda stage: None
        return
    columns = (TextColumn("{task.description:14}"), BarColumn(), TimeElapsedColumn())
    with Progress(*columns, console=console, transient=True) as bar:
        task = bar.add_task(STAGES[0], total=len(STAGES))
        yield lambda stage: bar.update(task, description=stage, completed=STAGES.index(stage))


def console() -> None:
    """Leave with the exit code of :func:`main`."""
    open_streams()
    plain_letters()
    # it tells at length that it may not write into a home folder, which does no harm
    logging.getLogger("matplotlib").setLevel(logging.ERROR)
    for number in (signal.SIGINT, signal.SIGTERM):  # clean up when told to stop, too
        signal.signal(number, STOP.ask)
    for dropped in drop_foreign_proj(os.environ):  # before a library is loaded that heeds it
        if "--quiet" not in sys.argv:
            click.echo(f"note: {one_line(dropped)}", err=True)
    code = main()
    try:
        sys.stdout.flush()
    except BrokenPipeError:  # whoever read our output has gone
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    except OSError as error:  # a full disk
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        code = _refuse(f"output cannot be written: {error.strerror}")
    sys.exit(code)
