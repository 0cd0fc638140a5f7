"""Reading: the files as the draft says, and of what cannot be read as much as there is."""

from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
from pydantic import ValidationError

from toolbox.desk.drafting import GLOBAL, RECORD, Draft
from toolbox.errors import ToolboxError
from toolbox.faults import every_fault, said_by
from toolbox.formats.nmea import read_nmea
from toolbox.formats.places import read_places
from toolbox.formats.shoreline_file import read_shoreline
from toolbox.formats.soundings_file import read_soundings
from toolbox.layers import Shoreline, Soundings
from toolbox.reduction.tracks import place_soundings
from toolbox.survey.lineage import Lineage
from toolbox.survey.run import read_all
from toolbox.survey.settings import Settings

__all__ = ["Read", "read"]

_POINTS = ("crs", "layer", "where", "easting", "northing", "pegs", "declination")
_DEPTHS = ("depth", "elevation", "unit", "positive")
_TEXT = ("delimiter", "decimal", "encoding")


@dataclass
class Read:
    """What could be read.

    Parameters
    ----------
    shoreline : Shoreline or None
        Of the water.
    soundings : Soundings or None
        All, reduced and cleaned; None unless the survey as a whole could be read.
    loose : dict
        Places of each file, shape (n, 2), and depths or None, where it could not.
    lineage : Lineage or None
        Of the whole.
    faults : dict
        By the key of the field that each concerns; a file's name alone is the file as a whole,
        and an empty key the survey.
    """

    shoreline: Shoreline | None = None
    soundings: Soundings | None = None
    loose: dict[str, tuple[np.ndarray, np.ndarray | None]] = field(default_factory=dict)
    lineage: Lineage | None = None
    faults: dict[str, str] = field(default_factory=dict)


def read(made: Draft, folder: Path) -> Read:
    """Read what a draft names, in its folder."""
    found = Read()
    if not made.wanting:
        try:
            settings = Settings.model_validate(made.survey, context={"folder": folder})
            found.lineage = Lineage(settings)
            inputs = read_all(settings, found.lineage).inputs
            found.shoreline, found.soundings = inputs.shoreline, inputs.soundings
            return found
        except ValidationError as error:
            _note_keys(found, error, made)
        except ToolboxError as error:
            _note_all(found, error, made, folder)
    _read_apart(found, made, folder)
    return found


def _note_keys(found: Read, error: ValidationError, made: Draft) -> None:
    """Note every key that is wrong beside its field, and those that no field sets together."""
    by_field: dict[str, list[str]] = {}
    for place, fault in every_fault(error, Settings):
        key = _key_of(place, made.survey, fault)
        by_field.setdefault(key, []).append(said_by(ValueError(fault)))
    found.faults |= {key: "; ".join(told) for key, told in by_field.items()}


def _read_apart(found: Read, made: Draft, folder: Path) -> None:
    water = made.survey["water"]
    if "shoreline" in water:
        options = {"crs": water.get("shoreline_crs"), "layer": water.get("layer")}
        path = folder / water["shoreline"]
        with _Noted(found, made, folder):
            found.shoreline = read_shoreline(
                path, where=water.get("where"), into=water.get("crs"), **options
            )
    into = found.shoreline.crs if found.shoreline else None
    for source in made.survey.get("soundings", ()):
        name = source["file"]
        if source.get("kind") == "casts" or not (folder / name).is_file():
            continue
        with _Noted(found, made, folder):
            soundings = _alone(source, made, folder, into.to_wkt() if into else None)
            into = into or soundings.crs
            found.loose[name] = soundings.coordinates, soundings.depth
        if name not in found.loose and source.get("kind") != "nmea":
            with _Noted(found, made, folder):
                options = {k: source[k] for k in (*_POINTS, *_TEXT) if k in source}
                wkt = into.to_wkt() if into else None
                places = read_places(folder / name, **_paths(options, folder), into=wkt)
                into = into or places.crs
                found.loose[name] = places.coordinates, None


def _alone(source: dict[str, Any], made: Draft, folder: Path, into: str | None) -> Soundings:
    path = folder / source["file"]
    if source.get("kind") == "nmea":
        log = read_nmea(
            path,
            date=source.get("date"),
            lenient_checksum=source.get("lenient_checksum", False),
        )
        soundings = place_soundings(log)
        return soundings if into is None else soundings.to_crs(_crs(into))
    options = {k: source[k] for k in (*_POINTS, *_DEPTHS, *_TEXT) if k in source}
    level = made.survey.get("datum", {}).get("elevation")
    datum = level if isinstance(level, float | int) else None
    return read_soundings(path, **_paths(options, folder), into=into, datum=datum)


def _paths(options: dict[str, Any], folder: Path) -> dict[str, Any]:
    if isinstance(options.get("declination"), str):
        del options["declination"]  # it is no angle, which is told
    return options | ({"pegs": folder / options["pegs"]} if "pegs" in options else {})


def _crs(text: str) -> Any:
    from toolbox.layers.crs import parse_crs

    return parse_crs(text)


class _Noted:
    """Note an error of the block beside the field it concerns, and go on."""

    def __init__(self, found: Read, made: Draft, folder: Path) -> None:
        self.note: Callable[[ToolboxError], None] = lambda error: _note_all(
            found, error, made, folder
        )

    def __enter__(self) -> None:
        return

    def __exit__(self, kind: object, error: BaseException | None, trace: object) -> bool:
        if isinstance(error, ToolboxError):
            self.note(error)
            return True
        return False


def _note_all(found: Read, error: ToolboxError, made: Draft, folder: Path) -> None:
    for fault in error.faults:
        _note(found, fault, made, folder)


def _note(found: Read, fault: str, made: Draft, folder: Path) -> None:
    text = " ".join(fault.split()).replace(f"{folder}/", "").replace(f"{folder}\\", "")
    if "give pegs" in text and any("pegs" in told for told in made.wanting):
        return  # that is told already
    owner = _owners(made.survey)
    file = next((name for name in sorted(owner, key=len, reverse=True) if name in text), "")
    if not file:
        found.faults.setdefault("level" if "datum" in text else "", text)
    else:
        found.faults.setdefault(_field_of(file, text, owner[file]), text)


def _owners(survey: dict[str, Any]) -> dict[str, str]:
    """Return the file beside whose fields a fault of each file is told."""
    owner = {str(survey.get("datum", {}).get("record", "")): ""}
    for source in survey.get("soundings", ()):
        owner |= {source[key]: source["file"] for key in ("pings", "pegs") if key in source}
    own = [source["file"] for source in survey.get("soundings", ())]
    owner |= dict.fromkeys((*own, survey["water"].get("shoreline", "")), "")
    return {name: of or name for name, of in owner.items() if name}


_SIGNS = (
    ("need declination", "declination"),
    ("such peg", "pegs"),
    ("give pegs", "pegs"),
    ("in wraps needs", "wrap"),
    ("name date_format", "date_format"),
    ("comes once in", "timezone"),
    ("names no CRS", "crs"),
    ("no degrees", "crs"),
    ("crs", "crs"),
    ("are negative", "meaning"),
    ("give datum", "level"),
    ("several layers", "layer"),
    ("no layer", "layer"),
    ("plainly the depth", "depth"),
    ("may be the depth", "depth"),
    ("easting or longitude", "easting"),
    ("northing or latitude", "northing"),
    ("date", "date"),
    ("column", "depth"),
)
"""Words of messages, and the fields they are about."""


def _field_of(file: str, text: str, owner: str) -> str:
    about = text.replace(file, "")
    key = next((key for sign, key in _SIGNS if sign in about), "")
    if file != owner and key not in ("crs", "pegs"):
        return file
    return key if key == "level" else f"{owner}/{key}" if key else file


def _key_of(place: tuple[int | str, ...], survey: dict[str, Any], text: str) -> str:
    """Return the field that sets the key of the survey file a fault is about; empty if none does.

    Faults of two keys together have no key as their place: their text names them.
    """
    for key, path in GLOBAL.items():
        if place[:2] == path:
            return key
    if len(place) > 1 and place[0] == "soundings" and isinstance(place[1], int):
        key = str(place[2]) if len(place) > 2 else "by_record" if "by_record" in text else ""
        file = survey["soundings"][place[1]].get("file", "")
        return f"{file}/{'depth' if key == 'elevation' else key}" if key else ""
    if len(place) > 1 and place[0] == "datum" and place[1] in RECORD:
        return f"{survey['datum'].get('record', '')}/{place[1]}"
    if place[:2] == ("water", "shoreline_crs"):
        return f"{survey['water'].get('shoreline', '')}/crs"
    return ""
