"""Inputs: what a request gives, checked and put into the job's folder."""

import base64
import functools
import io
import json
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any, BinaryIO

from toolbox.catalogue import find, record
from toolbox.describe import option_name, reader_params
from toolbox.errors import ParameterError
from toolbox.faults import said_by
from toolbox.formats.doors import READERS
from toolbox.jobs.work import INPUTS, RUN, SURVEY, Order
from toolbox.server.apart import GEOJSON_TYPES
from toolbox.server.descriptions import process
from toolbox.server.media import (
    check_content,
    is_binary,
    media_of_schema,
    result_suffix,
    suffix_of,
)
from toolbox.server.parts import Part
from toolbox.server.problems import ProblemError
from toolbox.server.references import hand_in
from toolbox.tool import Param

__all__ = ["fill_job", "result_name"]

Find = Callable[[str], Path]
"""Finds the file that a reference names."""

_PIECE = 2**18
_FILE_OPTION = frozenset({".csv", ".txt", ".xlsx", ".geojson", ".gpkg", ".fgb", ".parquet", ".gpx"})
_POINT_FILES = frozenset({".gpx", ".json", ".geoparquet"})


@dataclass(frozen=True)
class _Slot:
    key: str
    param: Param | None
    suffixes: frozenset[str] = frozenset()
    """Of files; empty for a plain value."""


@functools.cache
def _slots(name: str) -> dict[str, _Slot]:
    """Tell what each input of a tool becomes."""
    inputs, slots = process(name)["inputs"], {}
    for param in record(find(name)).params:
        suffixes = frozenset[str]()
        if param.type in READERS:
            media = media_of_schema(inputs[param.name]["schema"])
            suffixes = frozenset(filter(None, map(suffix_of, media)))
            if ".geojson" in suffixes or ".csv" in suffixes:
                suffixes |= _FILE_OPTION | _POINT_FILES
        slots[param.name] = _Slot(param.name, param, suffixes)
        for option in reader_params(param):
            files = _FILE_OPTION if option.type is Path else frozenset[str]()
            key = f"{param.name}__{option.name}"
            slots[option_name(param, option)] = _Slot(key, option, files)
    if "in-crs" in inputs:
        slots["in-crs"] = _Slot("in_crs_", None)
    return slots


def result_name(name: str, media: str | None) -> str:
    """Name the file of a result.

    Raises
    ------
    ParameterError
        If the process gives no such media type.
    """
    schema = process(name)["outputs"]["result"]["schema"]
    if name == RUN:
        if media is not None and suffix_of(media) != ".zip":
            raise ParameterError(f"mediaType must be application/zip, got {media!r}")
        return "result.zip"
    return f"result{result_suffix(schema, record(find(name)).returns, media)}"


def fill_job(
    name: str, given: dict[str, Any], folder: Path, result: str, find_file: Find, most: int
) -> Order:
    """Check what is given to a process and put its files into the job's folder.

    Parameters
    ----------
    name : str
        Of the process.
    given : dict
        Inputs by name, as JSON has them.
    folder : Path
        Of the job.
    result : str
        Name of the file to make.
    find_file : callable
        Finds the file that a reference names.
    most : int
        Bytes that archives may hold.

    Returns
    -------
    Order
        What is to be done.

    Raises
    ------
    ProblemError
        If an input is unknown, missing or wrong.
    """
    _check_names(name, given)
    try:
        if name == RUN:
            return _fill_run(given, folder, result, find_file, most)
        return _fill_tool(name, given, folder, result, find_file)
    except (ValueError, OverflowError) as error:
        raise ProblemError(400, said_by(error)) from error


def _check_names(name: str, given: dict[str, Any]) -> None:
    inputs = process(name)["inputs"]
    for key in given:
        if key not in inputs:
            allowed = ", ".join(inputs)
            raise ProblemError(400, f"input {key[:100]!r} is unknown; allowed here: {allowed}")
    for key, told in inputs.items():
        if told["minOccurs"] and given.get(key) is None:
            raise ProblemError(400, f"input {key!r} is missing")


def _fill_tool(
    name: str, given: dict[str, Any], folder: Path, result: str, find_file: Find
) -> Order:
    values: dict[str, Any] = {}
    files: dict[str, str] = {}
    for key, value in given.items():
        slot = _slots(name)[key]
        if value is None:
            continue
        if slot.suffixes:
            place = folder / INPUTS / slot.key
            path = _put(key, value, slot, place, find_file)
            check_content(path, f"input {key!r}")
            files[slot.key] = path.relative_to(folder / INPUTS).as_posix()
        else:
            values[slot.key] = _plain(key, value, slot.param)
    return Order(name, folder, result, values, files)


def _plain(key: str, value: Any, param: Param | None) -> Any:
    """Check a plain value; qualified ones hold it as their member value."""
    if isinstance(value, dict):
        value = value.get("value")
    if isinstance(value, Part):
        raise ParameterError(f"{key} is a plain value, got {value}")
    if param is None:
        if not isinstance(value, str):
            raise ParameterError(f"{key} must be a text, got {value!r}")
    else:
        if param.many and not isinstance(value, list):
            raise ParameterError(f"{key} must be a list, got {str(value)[:100]!r}")
        value = tuple(value) if param.many else value
        if param.type is float and isinstance(value, int) and not isinstance(value, bool):
            value = float(value)
        param.check(value)
    if key.endswith("crs"):
        _check_crs(key, value)
    return value


def _check_crs(key: str, text: Any) -> None:
    """Refuse a CRS that has other files read, such as tables of a datum shift."""
    if isinstance(text, str) and (len(text) > 10_000 or "init=" in text or "grids=" in text):
        raise ParameterError(f"{key} must be a code or a definition without files, got a file")


def _put(key: str, value: Any, slot: _Slot, place: Path, find_file: Find) -> Path:
    """Write a file that is given, by reference or by value."""
    if isinstance(value, dict) and isinstance(value.get("href"), str):
        source = find_file(value["href"])
        _check_suffix(key, source.suffix.lower(), slot)
        hand_in(source, place / source.name)
        return place / source.name
    suffix, content = _content(key, value, slot)
    _check_suffix(key, suffix, slot)
    place.mkdir(parents=True, exist_ok=True)
    path = place / f"{slot.key}{suffix}"
    _write(key, content, path)
    return path


def _check_suffix(key: str, suffix: str, slot: _Slot) -> None:
    if suffix not in slot.suffixes:
        allowed = ", ".join(sorted(slot.suffixes))
        raise ParameterError(f"input {key!r} must be a file of type {allowed}, got {suffix!r}")


def _content(key: str, value: Any, slot: _Slot) -> tuple[str, Any]:
    """Return the suffix and what is to be in a file that is given by value."""
    if _is_geojson(value):
        return ".geojson", value
    media = None
    if isinstance(value, dict):
        form = value.get("format")
        media = value.get("mediaType") or (
            form.get("mediaType") if isinstance(form, dict) else None
        )
        value = value.get("value")
    suffix = suffix_of(media) if isinstance(media, str) else _usual(value, slot)
    if suffix is None or suffix not in slot.suffixes:
        raise ParameterError(f"input {key!r} cannot be given as mediaType {media!r}")
    if isinstance(value, dict) or _is_geojson(value):
        if suffix != ".geojson" or not _is_geojson(value):
            raise ParameterError(f"input {key!r} must be a GeoJSON Feature or FeatureCollection")
    elif not isinstance(value, str | Part):
        raise ParameterError(
            f"input {key!r} must be a text, a GeoJSON object or a reference (href)"
        )
    return suffix, value


def _is_geojson(value: Any) -> bool:
    if isinstance(value, Part):
        return value.geojson
    return isinstance(value, dict) and value.get("type") in GEOJSON_TYPES


def _usual(value: Any, slot: _Slot) -> str | None:
    """Return what a value without a media type is taken for."""
    if isinstance(value, dict) or _is_geojson(value):
        return ".geojson"
    order = (".tif", ".toml", ".csv", ".txt", ".gpkg")
    return next((suffix for suffix in order if suffix in slot.suffixes), None)


def _write(key: str, content: Any, path: Path) -> None:
    """Write what is given, a text or GeoJSON, to a file."""
    binary = is_binary(path.suffix)
    if isinstance(content, dict):
        path.write_bytes(json.dumps(content, allow_nan=False).encode())
    elif isinstance(content, str) and not binary:
        path.write_bytes(content.encode())
    elif isinstance(content, str):
        with path.open("xb") as file:
            _decode(key, io.BytesIO(content.encode("utf-8", "replace")), file)
    elif not binary:
        content.path.replace(path)
    else:
        with content.path.open("rb") as text, path.open("xb") as file:
            _decode(key, text, file)


def _decode(key: str, text: BinaryIO, file: BinaryIO) -> None:
    """Decode base64 piece by piece, so that others get their turn."""
    left, ended = b"", False
    try:
        while piece := text.read(_PIECE):
            left += b"".join(piece.split())
            if ended and left:
                raise ValueError("something follows its end")
            whole = len(left) // 4 * 4
            file.write(base64.b64decode(left[:whole], validate=True))
            left, ended = left[whole:], b"=" in left[:whole]
        base64.b64decode(left, validate=True)
    except ValueError as error:
        raise ParameterError(f"input {key!r} is not in base64: {said_by(error)}") from error


def _fill_run(
    given: dict[str, Any], folder: Path, result: str, find_file: Find, most: int
) -> Order:
    inputs = folder / INPUTS
    files = given.get("files") or []
    for one in files if isinstance(files, list) else [files]:
        if not isinstance(one, dict) or not isinstance(one.get("href"), str):
            raise ParameterError("files are given by reference: {'href': ...}")
        source = find_file(one["href"])
        hand_in(source, inputs / source.name)
    survey = given.get("survey")
    if isinstance(survey, dict) and isinstance(survey.get("href"), str):
        hand_in(find_file(survey["href"]), inputs / SURVEY)
    elif survey is not None:
        text = survey.get("value") if isinstance(survey, dict) else survey
        if not isinstance(text, str | Part) or _is_geojson(text):
            raise ParameterError("survey must be the text of a survey file or a reference (href)")
        if (inputs / SURVEY).exists():
            raise ParameterError(f"{SURVEY!r} is given twice")
        _write("survey", text, inputs / SURVEY)
    if not any(inputs.iterdir()):
        raise ParameterError("a survey file is needed: give survey, or an archive that holds it")
    return Order(RUN, folder, result, most=most)
