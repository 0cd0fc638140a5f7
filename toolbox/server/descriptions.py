"""Descriptions: what the server offers, as the standard has it told."""

import functools
import threading
from importlib.metadata import version
from typing import Any

from toolbox.catalogue import find, names, record
from toolbox.describe import IN_CRS, describe, moves, option_name, reader_params
from toolbox.formats.doors import READERS
from toolbox.jobs.work import RUN
from toolbox.layers import Places, Soundings
from toolbox.tool import Param

__all__ = ["CONFORMANCE", "describe_all", "process", "process_names", "summary"]

_CLASSES = "http://www.opengis.net/spec/ogcapi-processes-1/1.0/conf/"
CONFORMANCE = [
    "http://www.opengis.net/spec/ogcapi-common-1/1.0/conf/core",
    "http://www.opengis.net/spec/ogcapi-common-1/1.0/conf/json",
    *(
        _CLASSES + name
        for name in ("core", "json", "oas30", "ogc-process-description", "job-list", "dismiss")
    ),
]
"""Classes of the standards that the server follows."""

_CSV = {"type": "string", "contentMediaType": "text/csv"}
_TOML = {"type": "string", "contentMediaType": "application/toml"}
_ZIP = {"type": "string", "contentEncoding": "binary", "contentMediaType": "application/zip"}
_ANY_FILE = {"type": "string", "contentEncoding": "binary"}


def process_names() -> tuple[str, ...]:
    """List the processes: the whole job, and every tool."""
    return RUN, *names()


@functools.cache
def process(name: str) -> dict[str, Any]:
    """Describe a process, without links.

    Parameters
    ----------
    name : str
        One of :func:`process_names`.

    Returns
    -------
    dict
        Not to be changed. Beside the inputs of the tool it has one for each option of reading its
        layers, named ``layer-option``, and ``in-crs``, as its command has.
    """
    if name == RUN:
        return _run()
    tool = record(find(name))
    told = describe(tool)
    inputs: dict[str, Any] = {}
    for param in tool.params:
        inputs[param.name] = _with_text(param, told["inputs"][param.name])
        for option in reader_params(param):
            inputs[option_name(param, option)] = _option(param, option)
    if moves(tool):
        inputs["in-crs"] = _input(IN_CRS, {"type": "string"})
    return told | {"inputs": inputs}


def describe_all(stop: threading.Event) -> None:
    """Describe all processes, so that nobody waits for it later, until told to stop."""
    for name in process_names():
        if stop.is_set():
            return
        process(name)


def summary(name: str) -> dict[str, Any]:
    """Describe a process without its inputs and outputs."""
    told = process(name)
    return {key: value for key, value in told.items() if key not in ("inputs", "outputs")}


def _with_text(param: Param, told: dict[str, Any]) -> dict[str, Any]:
    """Add delimited text to what a layer of points may be given as."""
    if param.type not in (Soundings, Places):
        return told
    options = told["schema"].get("oneOf", [told["schema"]])
    return told | {"schema": {"oneOf": [*options, _CSV]}}


def _input(text: str, schema: dict[str, Any], least: int = 0, most: int = 1) -> dict[str, Any]:
    return {
        "title": text.split(".")[0],
        "description": text,
        "schema": schema,
        "minOccurs": least,
        "maxOccurs": most,
    }


def _option(param: Param, option: Param) -> dict[str, Any]:
    told = _input(option.text, _option_schema(option), int(param.required and option.required))
    return told | {"title": f"{param.name} {option.name}".replace("_", " ")}


def _option_schema(option: Param) -> dict[str, Any]:
    if option.choices:
        schema: dict[str, Any] = {"type": "string", "enum": list(option.choices)}
    elif option.type in READERS or option.type.__name__ == "Path":
        return _ANY_FILE
    else:
        names_ = {bool: "boolean", int: "integer", float: "number"}
        schema = {"type": names_.get(option.type, "string")}
    if not option.required and option.default is not None:
        schema["default"] = option.default
    return schema


def _run() -> dict[str, Any]:
    return {
        "id": RUN,
        "title": "Carry out a survey",
        "description": "The whole job that a survey file asks for. The result is a folder, packed.",
        "version": version("leadline"),
        "jobControlOptions": ["sync-execute", "async-execute"],
        "outputTransmission": ["value", "reference"],
        "inputs": {
            "survey": _input(
                "Survey file. It may be left out if an archive holds one named survey.toml.", _TOML
            ),
            "files": _input(
                "Files that the survey names, by reference to uploads. An archive is unpacked.",
                _ANY_FILE,
                most=1000,
            ),
        },
        "outputs": {"result": {"title": "Folder of results", "schema": _ZIP}},
    }
