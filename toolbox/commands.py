"""Commands: each tool as a command, made from its declaration and never by hand."""

import re
from collections.abc import Callable
from contextlib import nullcontext
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click
import numpy as np

from toolbox.catalogue import record
from toolbox.describe import option_name, reader_params
from toolbox.errors import ParameterError, ToolboxError
from toolbox.formats.doors import READERS, SUFFIXES, check_suffix, write
from toolbox.formats.paths import new_file
from toolbox.layers import (
    Breaklines,
    CastLog,
    Centreline,
    Grid,
    Places,
    Shoreline,
    Soundings,
    Tin,
    Vectors,
)
from toolbox.report.text import one_line
from toolbox.tool import Param, Tool
from toolbox.units import parse_quantity

__all__ = ["tool_command"]

if TYPE_CHECKING:
    _Number = click.ParamType[float]
else:  # without a parameter before click 8.4
    _Number = click.ParamType

_LEADING = (Grid, Tin, Shoreline, Soundings, CastLog, Breaklines, Centreline, Places, Vectors)
"""Whose CRS the others follow."""

_ASKED = re.compile(
    r"(?<=: give one with )crs(?=, such as )|(?<=; give the right )crs$|^crs(?= is unknown: )"
)
_NO_VALUE = "note: no cell of the result has a value"
_SEVERAL = "holds several layers, name one"
"""Where messages of readers ask for their parameters ``crs`` and ``layer``."""


_MEMORY = (
    "Memory that the whole process may use, such as '2 GiB'; a raster that takes more is gone "
    "through in pieces. If left out, LEADLINE_MEMORY in the environment, else six tenths of what "
    "is free."
)


class _Quantity(_Number):
    """A number, with a unit if one likes."""

    def __init__(self, unit: str) -> None:
        self.name = f"number [{unit}]" if unit else "number"
        self._unit = unit

    def convert(self, value: Any, param: Any, ctx: Any) -> float:
        try:
            return parse_quantity(value, self._unit)
        except ParameterError as error:
            self.fail(str(error), param, ctx)


def tool_command(function: Callable[..., Any]) -> click.Command:
    """Make the command of a declared tool.

    Parameters
    ----------
    function : callable
        From the catalogue.

    Returns
    -------
    Command
        Its layers are file arguments with the options of their readers, its other parameters
        options; the result is written to ``--out``, or printed if it is a table.
    """
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
    ]
    if tool.by_blocks:
        params.append(click.Option(["--memory", "memory_"], help=_MEMORY))
    if any(hasattr(param.type, "to_crs") for param in tool.params):
        text = "Projected CRS in metres to work in."
        params.append(click.Option(["--in-crs", "in_crs_"], help=text))
    return click.Command(
        tool.name,
        params=params,
        callback=_caller(function, tool),
        help=tool.summary,
        short_help=tool.title,
    )


def _option(param: Param, flag: str, name: str) -> click.Option:
    if param.type is bool:
        return click.Option(
            [f"{flag}/--no-{flag[2:]}", name], default=param.default, help=_help(param)
        )
    return click.Option(
        [flag, name],
        type=click.Path(path_type=Path) if param.type in READERS else _click_type(param),
        **({"required": True} if param.required else {"default": param.default}),
        multiple=param.many,
        help=_help(param),
        show_default=param.default not in (None, ""),
    )


def _help(param: Param) -> str:
    return param.text.replace("``", "")


def _click_type(param: Param) -> Any:
    if param.choices:
        return click.Choice(list(param.choices))
    if param.range and param.holds is not int:
        return _Quantity(param.range.unit)
    return click.Path(path_type=Path) if param.type is Path else param.holds


def _caller(function: Callable[..., Any], tool: Tool) -> Callable[..., None]:
    def call(
        out_: Path | None,
        overwrite_: bool,
        in_crs_: str | None = None,
        memory_: str | None = None,
        **given: Any,
    ) -> None:
        _check_options(tool, given)
        allowed = _memory(tool, memory_)
        target = new_file(out_, overwrite=overwrite_) if out_ else nullcontext()
        with target as place:
            if place is not None:
                check_suffix(tool.returns, place)
            if tool.by_windows and place and _write_by_windows(tool, given, place, allowed):
                return
            arguments = _arguments(tool, given, in_crs_)
            if tool.by_blocks and place and _write_by_blocks(tool, arguments, place, allowed):
                return
            result = function(**arguments)
            _tell(*arguments.values(), result)
            _tell_empty(result)
            if place is None:
                click.echo(_printed(result.frame), nl=False)
            else:
                write(result, place)

    return call


def _memory(tool: Tool, text: str | None) -> int:
    from toolbox.blocks.memory import memory_allowed

    return memory_allowed(text) if tool.by_blocks else 0


def _write_by_windows(tool: Tool, given: dict[str, Any], place: Path, allowed: int) -> bool:
    """Write what comes of a raster that is too large to be held, and tell whether it is."""
    from toolbox.blocks.rasters import too_large, write_derived
    from toolbox.formats.raster_blocks import read_grid_windows

    layer, *others = tool.params
    reading = {o.name: given[f"{layer.name}__{o.name}"] for o in reader_params(layer)}
    depth = _read(layer, given[layer.name], reading, reader=read_grid_windows)
    options = {param.name: _value(param, given) for param in others}
    if not too_large(depth.shape, place, allowed):
        return False
    _tell_written(write_derived(tool, depth, options, place, allowed))
    return True


def _write_by_blocks(tool: Tool, arguments: dict[str, Any], place: Path, allowed: int) -> bool:
    """Write a raster that is too large to be held, and tell whether it is."""
    from toolbox.blocks.rasters import too_large, write_blocks

    if tool.by_windows or tool.blocks is None:
        return False
    name = tool.params[0].name
    options = {key: value for key, value in arguments.items() if key != name}
    if not too_large(tool.blocks(arguments[name], **options).shape, place, allowed):
        return False
    _tell_written(write_blocks(tool, arguments[name], options, place, allowed), arguments[name])
    return True


def _tell_written(written: Any, *layers: Any) -> None:
    _tell(*layers, written)
    if not written.known:
        click.echo(_NO_VALUE, err=True)


def _tell(*layers: Any) -> None:
    """Print the notes of all layers, each once."""
    for note in dict.fromkeys(note for layer in layers for note in getattr(layer, "notes", ())):
        click.echo(f"note: {one_line(note)}", err=True)


def _tell_empty(result: Any) -> None:
    """Say that nothing came out, which a file does not show."""
    if isinstance(result, Grid):
        if not np.isfinite(result.values).any():
            click.echo(_NO_VALUE, err=True)
    elif not len(getattr(result, "frame", "some")):
        click.echo("note: the result has no rows", err=True)


def _printed(frame: Any) -> str:
    """Return a table as text, without characters that steer a terminal."""
    texts = frame.select_dtypes(include=["object", "string", "category"])
    frame = frame.assign(**{name: texts[name].map(_plain) for name in texts})
    return str(frame.rename(columns=_plain).to_csv(index=False, float_format="%.10g"))


def _plain(value: Any) -> Any:
    return one_line(value) if isinstance(value, str) and not value.isprintable() else value


def _check_options(tool: Tool, given: dict[str, Any]) -> None:
    """Refuse a bad number before any file is read."""
    tool.check({p.name: _value(p, given) for p in tool.params if p.type not in READERS})


def _value(param: Param, given: dict[str, Any]) -> Any:
    value = given[param.name]
    return (tuple(value) or param.default) if param.many else value


def _read(
    param: Param,
    path: Path,
    options: dict[str, Any],
    *,
    reader: Callable[..., Any] | None = None,
) -> Any:
    """Read a layer; what is wrong with its CRS or layer names the option that tells it."""
    try:
        return (reader or READERS[param.type])(path, **options)
    except ToolboxError as error:
        text, own = str(error), f"--{param.name.replace('_', '-')}"
        into = options.get("into")
        working = into is not None and text.startswith(f"crs is unknown: {into!r};")
        text = _ASKED.sub("--in-crs" if working else f"{own}-crs", text)
        text = text.replace(_SEVERAL, f"{_SEVERAL} ({own}-layer)", 1)
        raise type(error)(text) from error


def _arguments(tool: Tool, given: dict[str, Any], in_crs: str | None) -> dict[str, Any]:
    """Read the layers and bring those that can move into one CRS.

    That is the one named, else that of a raster or bed, the shoreline's, or the first layer's.
    """
    arguments: dict[str, Any] = {}
    for param in tool.params:
        value = _value(param, given)
        if param.type in READERS and value is not None:
            options = {o.name: given[f"{param.name}__{o.name}"] for o in reader_params(param)}
            if hasattr(param.type, "to_crs"):
                options["into"] = in_crs
            value = _read(param, value, options)
        arguments[param.name] = value
    layers = {name: layer for name, layer in arguments.items() if hasattr(layer, "crs")}
    leading = sorted(layers.values(), key=lambda layer: _LEADING.index(type(layer)))
    target = leading[0].crs if leading else None
    moved = {
        name: layer.to_crs(target) for name, layer in layers.items() if hasattr(layer, "to_crs")
    }
    return arguments | moved
