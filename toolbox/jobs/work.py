"""Work: what a job does in its folder."""

import io
import shutil
from collections.abc import Callable, Iterator
from contextlib import chdir, redirect_stderr
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from toolbox.errors import InputFileError, SettingsError, ToolboxError

__all__ = ["INPUTS", "RUN", "SURVEY", "Order", "carry_out", "check_inside"]

RUN = "run"
"""Name of the process that carries out a survey file; others are tools of the catalogue."""

INPUTS = "inputs"
SURVEY = "survey.toml"

Tell = Callable[[int, str], None]


@dataclass(frozen=True)
class Order:
    """What a job is asked to do.

    Parameters
    ----------
    process : str
        Name of a tool, or ``RUN``.
    folder : Path
        Of the job.
    result : str
        Name of the file to make in it.
    values : dict
        Parameters by their names, and by ``layer__option`` how layers are read.
    files : dict
        The same for files: names within the folder of inputs.
    most : int
        Bytes that archives may hold.
    """

    process: str
    folder: Path
    result: str
    values: dict[str, Any] = field(default_factory=dict)
    files: dict[str, str] = field(default_factory=dict)
    most: int = 2 * 1024**3


def carry_out(order: Order, tell: Tell) -> list[str]:
    """Do what is asked, and return notes; paths in errors and notes start at the inputs.

    Raises
    ------
    ToolboxError
        If what is given is wrong.
    """
    try:
        with chdir(order.folder / INPUTS):  # so that results tell no path of the machine
            notes = _survey(order, tell) if order.process == RUN else _tool(order)
    except ToolboxError as error:
        raise type(error)(*(_local(fault, order) for fault in error.faults)) from None
    return [_local(note, order) for note in notes]


def _local(text: str, order: Order) -> str:
    """Leave out where the work folder is."""
    for folder in (order.folder / INPUTS, order.folder, order.folder.parent):
        text = text.replace(f"{folder}/", "").replace(f"{folder}\\", "").replace(str(folder), ".")
    return text


def _tool(order: Order) -> list[str]:
    from toolbox.calls import NOTE, caller
    from toolbox.catalogue import find, record
    from toolbox.describe import reader_params

    function = find(order.process)
    tool = record(function)
    given: dict[str, Any] = {}
    for param in tool.params:
        given[param.name] = None if param.required else param.default
        for option in reader_params(param):
            given[f"{param.name}__{option.name}"] = None if option.required else option.default
    given |= order.values
    given |= {key: Path(name) for key, name in order.files.items()}
    call, told = caller(function, tool), io.StringIO()
    with redirect_stderr(told):
        call(out_=order.folder / order.result, overwrite_=False, **given)
    lines = told.getvalue().splitlines()  # a library may have written there too
    return [line.removeprefix(NOTE) for line in lines if line.startswith(NOTE)]


def _survey(order: Order, tell: Tell) -> list[str]:
    from toolbox.jobs.archives import pack, unpack
    from toolbox.survey.files import check_files
    from toolbox.survey.run import run
    from toolbox.survey.settings import load_settings
    from toolbox.survey.stages import STAGES

    inputs = order.folder / INPUTS
    for archive in sorted(inputs.glob("*.zip")):
        unpack(archive, inputs, order.most)
        archive.unlink()
    survey = _survey_file(inputs).relative_to(inputs)
    settings = load_settings(survey)
    check_inside(settings, inputs)
    check_files(settings, survey)
    results = order.folder / "results"
    lineage = run(
        settings,
        results,
        watch=lambda stage: tell(100 * STAGES.index(stage) // len(STAGES), stage),
    )
    pack(results, order.folder / order.result)
    shutil.rmtree(results)
    return list(lineage.notes)


def _survey_file(inputs: Path) -> Path:
    """Find the survey file: at the top, or in the one folder of an archive."""
    found = [inputs / SURVEY, *sorted(inputs.glob(f"*/{SURVEY}"))]
    found = [path for path in found if path.is_file()]
    if len(found) != 1:
        raise InputFileError(f"one {SURVEY} is needed, got {len(found)}")
    return found[0]


def check_inside(settings: Any, folder: Path) -> None:
    """Raise SettingsError if a survey names a file outside a folder."""
    for path in _paths(settings):
        if not path.resolve().is_relative_to(folder.resolve()):
            raise SettingsError(
                f"a survey file names files beside it or in folders below it, got {path.name!r} "
                "elsewhere"
            )


def _paths(value: Any) -> Iterator[Path]:
    """Find all paths in a survey's settings, whatever section they stand in."""
    if isinstance(value, Path):
        yield value
    elif hasattr(value, "model_fields_set"):
        for _, part in value:
            yield from _paths(part)
    elif isinstance(value, dict):
        for part in value.values():
            yield from _paths(part)
    elif isinstance(value, (list, tuple, set, frozenset)):
        for part in value:
            yield from _paths(part)
