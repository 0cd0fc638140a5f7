"""Command line: ``leadline``. The tools' commands are made from their declarations."""

import os
import signal
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import click

from toolbox.catalogue import CHAPTERS, broken, find, record, tools
from toolbox.errors import ParameterError, ToolboxError
from toolbox.layers import Breaklines, Grid, Shoreline, Soundings, Tin
from toolbox.tool import Param, Tool
from toolbox.units import parse_quantity

__all__ = ["console", "main"]

BAD_INPUT, INTERRUPTED = 2, 130

_LEADING = (Grid, Tin, Shoreline, Soundings, Breaklines)
"""Whose CRS the others follow."""


def main(arguments: list[str] | None = None) -> int:
    """Run a command; bad input gets one line and exit code 2."""
    try:
        # click returns what a command returns, and the exit code of --help and --version
        commands.main(arguments, prog_name="leadline", standalone_mode=False)
    except click.exceptions.NoArgsIsHelpError as error:
        click.echo(error.format_message())
    except click.ClickException as error:
        return _refuse(error.format_message())
    except ToolboxError as error:
        return _refuse(str(error))
    except MemoryError:
        return _refuse("there is not enough memory for this; use larger cells or fewer soundings")
    except (KeyboardInterrupt, click.Abort):
        click.echo("leadline: interrupted, nothing was written", err=True)
        return INTERRUPTED
    return 0


def _refuse(message: str) -> int:
    click.echo(f"leadline: {' '.join(message.split())}", err=True)
    return BAD_INPUT


class Commands(click.Group):
    """Fixed commands first, then the tools by chapter."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return [*self.commands, *tools()]

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        known = super().get_command(ctx, cmd_name)
        if known is None and cmd_name in tools():
            return _tool_command(tools()[cmd_name])
        return known

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        with formatter.section("The whole job"):
            rows = [
                (name, command.get_short_help_str(60)) for name, command in self.commands.items()
            ]
            formatter.write_dl(rows)
        names = {
            record(function).function.__name__: record(function) for function in tools().values()
        }
        for chapter, places in CHAPTERS.items():
            with formatter.section(f"Tools: {chapter.lower()}"):
                own = [names.pop(place.split(":")[1]) for place in places]
                formatter.write_dl([(tool.name, tool.title) for tool in own])
        if names:
            with formatter.section("Tools of other packages"):
                formatter.write_dl([(tool.name, tool.title) for tool in names.values()])


@click.group(cls=Commands, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(package_name="leadline", prog_name="leadline")
def commands() -> None:
    """Turn depth soundings and a shoreline into a lake bed, its layers, tables and volume.

    Not for navigation.
    """


@commands.command("run")
@click.argument("survey", type=click.Path(path_type=Path))
@click.option("--out", type=click.Path(path_type=Path), required=True, help="Folder to make.")
@click.option("--overwrite", is_flag=True, help="Replace the folder if it is there.")
@click.option("--quiet", is_flag=True, help="Say nothing but errors.")
def run_command(survey: Path, out: Path, overwrite: bool, quiet: bool) -> None:
    """Carry out a survey file and write all its results into one folder."""
    from toolbox.survey.run import run
    from toolbox.survey.settings import load_settings

    settings = load_settings(survey)
    with _progress(quiet) as watch:
        lineage = run(settings, out, overwrite=overwrite, watch=watch)
    if not quiet:
        for note in lineage.notes:
            click.echo(f"note: {note}", err=True)
        for row in lineage.rejections:
            click.echo(f"rejected: {row['soundings']} of {row['file']}: {row['reason']}", err=True)
        click.echo(f"written: {out}")


@commands.command("new")
@click.argument("survey", type=click.Path(path_type=Path), default=Path("survey.toml"))
def new_command(survey: Path) -> None:
    """Write a commented survey file to start from."""
    from importlib.resources import files

    from toolbox.formats.paths import new_file

    starter = files("toolbox.survey").joinpath("starter.toml").read_text(encoding="utf-8")
    with new_file(survey) as place:
        place.write_text(starter, encoding="utf-8")
    click.echo(f"written: {survey}")


@commands.command("check")
@click.argument("survey", type=click.Path(path_type=Path))
def check_command(survey: Path) -> None:
    """Check a survey file and read its inputs, without computing anything."""
    from toolbox.survey.lineage import Lineage
    from toolbox.survey.run import read_inputs
    from toolbox.survey.settings import load_settings

    lineage = Lineage(load_settings(survey))
    inputs = read_inputs(lineage.settings, lineage)
    for note in lineage.notes:
        click.echo(f"note: {note}")
    for row in lineage.rejections:
        click.echo(f"rejected: {row['soundings']} of {row['file']}: {row['reason']}")
    usable = f"{len(inputs.soundings.kept):,} of {len(inputs.soundings):,} soundings usable"
    name = " ".join(lineage.settings.water.name.split())
    click.echo(f"{name}: {inputs.shoreline.ground_area():,.0f} m2, {usable}")


@commands.command("tools")
def tools_command() -> None:
    """List all tools with what they do."""
    for name, function in tools().items():
        click.echo(f"{name:24}{record(function).summary}")
    for name, error in broken().items():
        click.echo(f"{name:24}cannot be used: {error}")


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

    from toolbox.survey.run import STAGES

    console = Console(stderr=True)
    columns = (TextColumn("{task.description:14}"), BarColumn(), TimeElapsedColumn())
    with Progress(
        *columns, console=console, transient=True, disable=quiet or not console.is_terminal
    ) as bar:
        task = bar.add_task(STAGES[0], total=len(STAGES))
        yield lambda stage: bar.update(task, description=stage, completed=STAGES.index(stage))


class _Quantity(click.ParamType[float]):
    """A number, with a unit if one likes."""

    def __init__(self, unit: str) -> None:
        self.name = f"number [{unit}]" if unit else "number"
        self._unit = unit

    def convert(self, value: Any, param: Any, ctx: Any) -> float:
        try:
            return parse_quantity(value, self._unit)
        except ParameterError as error:
            self.fail(str(error), param, ctx)


def _tool_command(function: Callable[..., Any]) -> click.Command:
    from toolbox.describe import option_name, reader_params
    from toolbox.formats.doors import READERS, SUFFIXES

    tool = record(function)
    params: list[click.Parameter] = []
    for param in tool.params:
        if param.type in READERS and param.required:
            params.append(click.Argument([param.name], type=click.Path(path_type=Path)))
        else:
            params.append(_option(param, f"--{param.name.replace('_', '-')}", param.name))
        params += [
            _option(option, f"--{option_name(param, option)}", f"{param.name}__{option.name}")
            for option in reader_params(param)
        ]
    suffixes = SUFFIXES[tool.returns]
    params += [
        click.Option(
            ["--out", "out_"],
            type=click.Path(path_type=Path),
            required=suffixes[0] != ".csv",
            help=f"File to write ({', '.join(suffixes)})"
            + ("; a table is printed if left out." if suffixes[0] == ".csv" else "."),
        ),
        click.Option(["--overwrite", "overwrite_"], is_flag=True, help="Replace the file."),
        click.Option(["--in-crs", "in_crs_"], help="Projected CRS in metres to work in."),
    ]
    return click.Command(
        tool.name,
        params=params,
        callback=_caller(function, tool),
        help=tool.summary,
        short_help=tool.title,
    )


def _option(param: Param, flag: str, name: str) -> click.Option:
    from toolbox.formats.doors import READERS

    if param.type is bool:
        return click.Option(
            [f"{flag}/--no-{flag[2:]}", name], default=param.default, help=param.text
        )
    return click.Option(
        [flag, name],
        type=click.Path(path_type=Path) if param.type in READERS else _click_type(param),
        default=None if param.required else param.default,
        required=param.required,
        multiple=param.many,
        help=param.text,
        show_default=param.default not in (None, ""),
    )


def _click_type(param: Param) -> Any:
    if param.choices:
        return click.Choice(list(param.choices))
    if param.range:
        return _Quantity(param.range.unit)
    return click.Path(path_type=Path) if param.type is Path else param.type


def _caller(function: Callable[..., Any], tool: Tool) -> Callable[..., None]:
    def call(out_: Path | None, overwrite_: bool, in_crs_: str | None, **given: Any) -> None:
        from toolbox.formats.doors import write
        from toolbox.formats.paths import new_file

        _check_options(tool, given)
        result = function(**_arguments(tool, given, in_crs_))
        for note in result.notes:
            click.echo(f"note: {note}", err=True)
        if out_ is None:
            click.echo(result.frame.to_csv(index=False, float_format="%.10g"), nl=False)
            return
        with new_file(out_, overwrite=overwrite_) as place:
            write(result, place)

    return call


def _check_options(tool: Tool, given: dict[str, Any]) -> None:
    """Refuse a bad number before any file is read."""
    from toolbox.formats.doors import READERS

    tool.check({p.name: _value(p, given) for p in tool.params if p.type not in READERS})


def _value(param: Param, given: dict[str, Any]) -> Any:
    value = given[param.name]
    return (tuple(value) or None) if param.many else value


def _arguments(tool: Tool, given: dict[str, Any], in_crs: str | None) -> dict[str, Any]:
    """Read the layers and bring those that can move into one CRS.

    That is the one named, else that of a raster or bed, the shoreline's, or the first layer's.
    """
    from toolbox.describe import reader_params
    from toolbox.formats.doors import READERS
    from toolbox.layers.crs import parse_crs

    arguments: dict[str, Any] = {}
    for param in tool.params:
        value = _value(param, given)
        if param.type in READERS and value is not None:
            options = {o.name: given[f"{param.name}__{o.name}"] for o in reader_params(param)}
            value = READERS[param.type](value, **options)
        arguments[param.name] = value
    layers = {name: layer for name, layer in arguments.items() if hasattr(layer, "crs")}
    leading = sorted(layers.values(), key=lambda layer: _LEADING.index(type(layer)))
    target = parse_crs(in_crs) if in_crs else next((layer.crs for layer in leading), None)
    moved = {
        name: layer.to_crs(target) for name, layer in layers.items() if hasattr(layer, "to_crs")
    }
    return arguments | moved


def console() -> None:
    """Leave with the exit code of :func:`main`."""
    signal.signal(signal.SIGTERM, signal.default_int_handler)  # clean up when told to stop, too
    code = main()
    try:
        sys.stdout.flush()
    except BrokenPipeError:  # whoever read our output has gone
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    sys.exit(code)
