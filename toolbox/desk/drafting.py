"""Drafting: a survey file, of the files that were given and what a person answered."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import PurePosixPath
from typing import Any

from toolbox.desk.sniffing import Sniffed
from toolbox.formats import columns as names
from toolbox.survey.keys import east_of

__all__ = ["GLOBAL", "RECORD", "Draft", "by_compass", "by_peg", "draft", "peg_files", "settled"]

GLOBAL: dict[str, tuple[str, ...]] = {
    "name": ("water", "name"),
    "crs": ("water", "crs"),
    "level": ("datum", "elevation"),
    "level_name": ("datum", "name"),
    "method": ("bed", "method"),
    "cell": ("make", "cell"),
    "interval": ("make", "isobath_interval"),
    "foot": ("make", "foot"),
    "paper": ("make", "paper"),
    "units": ("report", "units"),
    "date": ("origin", "date"),
    "by": ("origin", "by"),
}
"""Answers that concern the survey as a whole, and the key of the survey file each one sets."""

RECORD = ("timezone", "date_format", "gauge_zero")
"""Answers that concern a record of water levels: keys of ``[datum]``."""

_FILES = (
    *("file", "pings", "pegs", "profile", "bar_check", "shoreline", "open_edges", "record"),
    *("overrides", "centreline", "slip", "exclusions"),
)
_PLAIN = (
    *("crs", "easting", "northing", "unit", "water_level", "draft", "date", "layer"),
    *("declination", "wrap", "timezone"),
)


class Draft:
    """A survey file in the making.

    Parameters
    ----------
    survey : dict
        As TOML holds it.
    wanting : list of str
        What must be given before it can be read.
    """

    def __init__(self, survey: dict[str, Any]) -> None:
        self.survey = survey
        self.wanting: list[str] = []

    def source(self, name: str) -> dict[str, Any]:
        """Return the block of a file of soundings, made if there is none."""
        blocks = self.survey.setdefault("soundings", [])
        found = [block for block in blocks if block.get("file") == name]
        if not found:
            found = [{"file": name}]
            blocks += found
        block: dict[str, Any] = found[0]
        return block


def draft(files: Sequence[Sniffed], answers: Mapping[str, str]) -> Draft:
    """Write the survey file that files and answers ask for.

    Parameters
    ----------
    files : sequence of Sniffed
        Their roles as a person left or set them.
    answers : mapping
        By the keys of the fields; an empty one takes a key away.
    """
    given = next((file.given for file in files if file.given and file.role == "survey"), {})
    made = Draft(_beside(given))
    _check_named(made, files)
    _put_shoreline(made, files, answers)
    _put_sources(made, files, answers)
    for key, (section, name) in GLOBAL.items():
        if key in answers:
            _set(made.survey.setdefault(section, {}), name, answers[key])
    made.survey = {key: part for key, part in made.survey.items() if part or key in given}
    return made


def settled(files: Sequence[Sniffed], answers: Mapping[str, str]) -> list[Sniffed]:
    """Give each file the role that a person chose, else that which a survey file gives it."""
    given = next((file.given for file in files if file.given), {})
    if not given or any(answers.get(f"{file.name}/role") == "none" for file in files if file.given):
        return [replace(file, role=answers.get(f"{file.name}/role", file.role)) for file in files]
    survey = _beside(given)
    roles = dict.fromkeys(_named(survey), "named")
    roles[str(survey["water"].get("shoreline", ""))] = "shoreline"
    kinds = {"nmea": "log", "casts": "casts"}
    for source in survey["soundings"]:
        roles[source.get("file", "")] = kinds.get(source.get("kind", ""), "soundings")
    told = []
    for file in files:
        kept = file.role in ("survey", "part") or bool(file.fault)
        role = roles.get(file.name, file.role if kept else "none")
        told.append(replace(file, role=answers.get(f"{file.name}/role", role)))
    return told


def _beside(value: Any, key: str = "") -> Any:
    """Take files that a survey file names for those given, whatever folder it names."""
    if isinstance(value, dict):
        return {name: _beside(part, name) for name, part in value.items()}
    if isinstance(value, list):
        return [_beside(part, key) for part in value]
    if key in _FILES and isinstance(value, str):
        return PurePosixPath(value.replace("\\", "/")).name
    return value


def _check_named(made: Draft, files: Sequence[Sniffed]) -> None:
    known = {file.name for file in files}
    for name in dict.fromkeys(_named(made.survey)):
        if name not in known:
            made.wanting.append(f"The survey file names {name}: give that file too.")


def _named(value: Any, key: str = "") -> list[str]:
    if isinstance(value, dict):
        return [name for k, part in value.items() for name in _named(part, k)]
    if isinstance(value, list):
        return [name for part in value for name in _named(part, key)]
    return [value] if key in _FILES and isinstance(value, str) else []


def _of(files: Sequence[Sniffed], role: str) -> list[Sniffed]:
    return [file for file in files if file.role == role]


def _put_shoreline(made: Draft, files: Sequence[Sniffed], answers: Mapping[str, str]) -> None:
    water = {"name": "Unnamed water"} | made.survey.get("water", {})
    made.survey["water"] = water
    shores = _of(files, "shoreline")
    if "shoreline" not in water and shores:
        water["shoreline"] = shores[0].name
    if "shoreline" not in water:
        made.wanting.append(
            "The shoreline is missing: polygons of the water, or a line or track right round it."
        )
        return
    others = [file.name for file in shores if file.name != water["shoreline"]]
    if others:
        made.wanting.append(
            f"Two files are shorelines, {water['shoreline']} and {others[0]}: "
            "choose what the other one holds."
        )
    for key, name in (("crs", "shoreline_crs"), ("layer", "layer"), ("where", "where")):
        answer = answers.get(f"{water['shoreline']}/{key}")
        if answer is not None:
            _set(water, name, answer)


def _put_sources(made: Draft, files: Sequence[Sniffed], answers: Mapping[str, str]) -> None:
    sources = [file for file in files if file.role in ("soundings", "log", "casts")]
    aside = {file.name for file in files if file.role in ("none", "shoreline")}
    blocks = made.survey.get("soundings", [])  # what a person set aside goes out
    made.survey["soundings"] = [block for block in blocks if block.get("file") not in aside]
    for file in sources:
        source = made.source(file.name)
        if file.role == "log":
            source["kind"] = "nmea"
        _put_casts(made, source, file, files, answers)
        _put_answers(source, file, answers)
        if by_compass(file) and "declination" not in source:
            made.wanting.append(
                f"{file.name}: bearings of a compass need the magnetic declination, in part 3."
            )
    _put_record(made, files, answers)
    if not made.survey.get("soundings"):
        made.wanting.append("Soundings are missing: a file of places and depths.")


def _put_record(made: Draft, files: Sequence[Sniffed], answers: Mapping[str, str]) -> None:
    for record in _of(files, "record"):
        made.survey.setdefault("datum", {}).setdefault("record", record.name)
    datum = made.survey.get("datum", {})
    for key in RECORD:
        answer = answers.get(f"{datum.get('record')}/{key}")
        if answer is not None:
            _set(datum, key, answer)


def _put_casts(
    made: Draft,
    source: dict[str, Any],
    file: Sniffed,
    files: Sequence[Sniffed],
    answers: Mapping[str, str],
) -> None:
    if file.role == "casts":
        source["kind"] = "casts"
        pings = _of(files, "pings")
        if pings:
            source.setdefault("pings", pings[0].name)
        elif "pings" not in source:
            made.wanting.append(f"{file.name} needs the readings of its casts: a further file.")
    placed = answers.get(f"{file.name}/easting", source.get("easting"))
    if by_peg(file) and not placed:
        _put_pegs(made, source, peg_files(files), answers.get(f"{file.name}/pegs"))


def _put_pegs(
    made: Draft, source: dict[str, Any], listed: Sequence[str], answer: str | None
) -> None:
    if answer in listed:
        source["pegs"] = answer
    elif len(listed) == 1:
        source.setdefault("pegs", listed[0])
    if "pegs" in source:
        return
    name = source["file"]
    if listed:
        made.wanting.append(
            f"{name}: choose in part 3 which file tells where its pegs are, {' or '.join(listed)}."
        )
        return
    made.wanting.append(
        f"{name} tells places from pegs: give also a file of where these are, such as a table with "
        "columns name, easting and northing (or longitude and latitude), or the pins of a KML file."
    )


def peg_files(files: Sequence[Sniffed]) -> list[str]:
    """Return the files that may tell where pegs are: those that hold nothing else, if any."""
    own = [file.name for file in _of(files, "pegs")]
    return own or [file.name for file in files if file.pins and file.role in _BESIDE]


_BESIDE = ("shoreline", "named")
"""What a file may be that holds pegs besides."""


def by_peg(file: Sniffed) -> bool:
    """Tell whether a file tells its places from pegs, not by coordinates."""
    pair = [names.find(file.columns, kind) for kind in (names.EASTING, names.LONGITUDE)]
    away = (*names.DISTANCE, *names.LINE_OUT, *names.WRAPS)
    told = names.find(file.columns, names.PEG) and names.find(file.columns, away)
    return file.kind == "text" and bool(told) and not any(pair)


def by_compass(file: Sniffed) -> bool:
    """Tell whether a file places readings by magnetic bearings, and none from true north."""
    used = file.role == "casts" or (file.role == "soundings" and by_peg(file))
    magnetic = names.find(file.columns, names.MAGNETIC)
    return used and bool(magnetic) and not names.find(file.columns, names.BEARING)


def _put_answers(source: dict[str, Any], file: Sniffed, answers: Mapping[str, str]) -> None:
    for key in _PLAIN:
        answer = answers.get(f"{file.name}/{key}")
        if answer is not None:
            _set(source, key, answer)
    by_record = answers.get(f"{file.name}/by_record")
    if by_record is not None:
        source.pop("by_record", None)
        source |= {"by_record": True} if by_record else {}
    meaning = answers.get(f"{file.name}/meaning")
    if meaning is None:
        return
    column = answers.get(f"{file.name}/depth", "")
    for key in ("depth", "elevation", "positive"):
        source.pop(key, None)
    if meaning == "elevation":
        kinds = (*names.ELEVATION, *names.DEPTH)
        _set(source, "elevation", column or names.find(file.columns, kinds) or "Z")
        return
    _set(source, "depth", column)
    if meaning == "up":
        source["positive"] = "up"


def _set(section: dict[str, Any], key: str, answer: str) -> None:
    """Set a key, as a number where the answer is one; an empty answer takes it away."""
    answer = answer.strip()
    section.pop(key, None)
    if not answer:
        return
    try:
        number = float(answer) if key in _NUMBERS else None
        number = east_of(answer) if key == "declination" else number
    except ValueError:
        number = None  # such as "3 ft"
    section[key] = answer if number is None else number


_NUMBERS = (
    *("elevation", "cell", "isobath_interval", "water_level", "draft"),
    *("wrap", "gauge_zero"),
)
