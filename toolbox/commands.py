"""Commands: each tool as a command, made from its declaration and never by hand."""

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from toolbox.calls import caller
from toolbox.catalogue import record
from toolbox.describe import IN_CRS, moves, option_name, reader_params
from toolbox.errors import ParameterError
from toolbox.formats.doors import READERS, SUFFIXES
from toolbox.tool import Param
from toolbox.units import parse_quantity

__all__ = ["tool_command"]

if TYPE_CHECKING:
    _Number = click.ParamType[float]
else:  # without a parameter before click 8.4
    _Number = click.ParamType

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
    if moves(tool):
        params.append(click.Option(["--in-crs", "in_crs_"], help=IN_CRS))
    return click.Command(
        tool.name,
        params=params,
        callback=caller(function, tool),
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
