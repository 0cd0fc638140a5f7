"""Fields: what a person may correct, each with what it is now."""

from collections.abc import Iterator
from typing import Any

from toolbox.desk.drafting import GLOBAL
from toolbox.desk.seen import Field
from toolbox.desk.sniffing import ROLES, Sniffed
from toolbox.formats import columns as names

__all__ = ["file_fields", "global_fields", "role_field"]

_UNITS = (
    ("", "as the column's name says, else metres"),
    ("m", "metres"),
    ("cm", "centimetres"),
    ("ft", "feet (international)"),
    ("survey_foot", "feet (US survey)"),
    ("fathom", "fathoms"),
)
_MEANINGS = (
    ("down", "Depths, positive numbers"),
    ("up", "Depths, written as negative numbers"),
    ("elevation", "Elevations of the bed"),
)
_METHODS = (
    ("auto", "The one nearer to lines left out"),
    ("fitted", "Fitted: knows how far to trust it"),
    ("triangulated", "Triangulated: straight between soundings, quick"),
)
_LEVELS = (
    ("", "One level: that given, else the datum"),
    ("true", "The water of their day, as the record tells it"),
)
_CRS_HINT = "Such as EPSG:4326 (longitude, latitude) or EPSG:32633 (a UTM zone)."
_LEVEL_HINT = "Elevation, m; leave empty if all depths count from one level."


def global_fields(survey: dict[str, Any]) -> Iterator[Field]:
    """Ask what concerns the survey as a whole."""

    def now(key: str) -> str:
        section, name = GLOBAL[key]
        return _text(survey.get(section, {}).get(name, ""))

    yield Field("name", "Name of the water", now("name"))
    yield Field("method", "How the bed is made", now("method") or "auto", _METHODS)
    yield Field(
        "level",
        "Water level that depths count from",
        now("level"),
        hint="Elevation, m; may be left empty, but is needed where files hold elevations.",
    )
    yield Field("level_name", "What elevations refer to", now("level_name"))
    yield Field("crs", "CRS to work in", now("crs"), hint="Leave empty for a suitable one.")
    yield Field(
        "cell", "Width of the cells, m", now("cell"), hint="Leave empty for a suitable one."
    )
    yield Field(
        "interval", "Depth between contours", now("interval"), hint="Such as 1 m or 5 ft, or empty."
    )
    units = (("metric", "metres"), ("us", "feet and acres, beside metres"))
    yield Field("units", "Units of the report", now("units") or "metric", units)
    feet = (("international", "international"), ("survey", "US survey"))
    yield Field("foot", "Feet and acres in tables", now("foot") or "international", feet)
    paper = (("A4", "A4"), ("Letter", "Letter"))
    yield Field("paper", "Paper of tables", now("paper") or "A4", paper)
    yield Field("date", "When it was sounded", now("date"))
    yield Field("by", "Who sounded it", now("by"))


def role_field(file: Sniffed) -> Field:
    """Ask what a file holds."""
    fixed = {"part": ("part",), "survey": ("survey", "none")}
    roles = fixed.get(file.role, tuple(role for role in ROLES if role not in fixed))
    options = tuple((role, ROLES[role]) for role in roles)
    return Field(f"{file.name}/role", "What it holds", file.role, options)


def file_fields(file: Sniffed, survey: dict[str, Any]) -> Iterator[Field]:
    """Ask what concerns one file."""
    if file.role == "shoreline":
        yield from _shoreline(file, survey.get("water", {}))
    blocks = survey.get("soundings", [])
    source = next((block for block in blocks if block.get("file") == file.name), None)
    if source is None:
        return
    now = {key: _text(value) for key, value in source.items()}
    if file.kind == "text" and file.role == "soundings":
        yield from _columns(file, now)
    if file.role == "soundings":
        yield from _depths(file, now)
    if file.kind == "text" and file.role == "soundings" and len(file.layers) > 1:
        first = "the first that holds a table"
        yield _choice(file, "layer", "Sheet", now.get("layer", ""), file.layers, first)
    if file.kind != "text" and len(file.layers) > 1:
        yield _choice(file, "layer", "Layer", now.get("layer", ""), file.layers, "choose")
    if file.role != "log" and not file.crs and not file.name.endswith(".gpx"):
        yield Field(f"{file.name}/crs", "CRS of its places", now.get("crs", ""), hint=_CRS_HINT)
    if file.role == "log":
        yield Field(f"{file.name}/draft", "Transducer below the surface, m", now.get("draft", ""))
        hint = "Only for a log that tells none, such as 2026-05-12."
        yield Field(f"{file.name}/date", "Date of the log", now.get("date", ""), hint=hint)
    level = now.get("water_level", "")
    yield Field(f"{file.name}/water_level", "Water level when read", level, hint=_LEVEL_HINT)
    if file.role == "soundings" and (_may_go_by_record(file, survey) or source.get("by_record")):
        by_record = "true" if source.get("by_record") else ""
        yield Field(f"{file.name}/by_record", "Depths count from", by_record, _LEVELS)


def _may_go_by_record(file: Sniffed, survey: dict[str, Any]) -> bool:
    """Tell whether there is a record of water levels, and times to look them up for."""
    timed = file.name.endswith(".gpx") or names.find(file.columns, names.TIME) is not None
    return timed and bool(survey.get("datum", {}).get("record"))


def _shoreline(file: Sniffed, water: dict[str, Any]) -> Iterator[Field]:
    if len(file.layers) > 1:
        yield _choice(file, "layer", "Layer", water.get("layer", ""), file.layers, "choose")
    if not file.crs:
        now = water.get("shoreline_crs", "")
        yield Field(f"{file.name}/crs", "CRS of the shoreline", now, hint=_CRS_HINT)


def _columns(file: Sniffed, now: dict[str, str]) -> Iterator[Field]:
    kinds = (
        ("easting", "Easting or longitude", (*names.EASTING, *names.LONGITUDE)),
        ("northing", "Northing or latitude", (*names.NORTHING, *names.LATITUDE)),
    )
    for key, label, known in kinds:
        first = _found(file, known)
        yield _choice(file, key, label, now.get(key, ""), file.columns, first)


def _depths(file: Sniffed, now: dict[str, str]) -> Iterator[Field]:
    kind = "elevation" if "elevation" in now else "up" if now.get("positive") == "up" else "down"
    if "depth" not in now and not names.find(file.columns, names.DEPTH):
        kind = "elevation" if names.find(file.columns, names.ELEVATION) else kind
    columns = file.columns if file.kind == "text" else (*file.columns, "Z")
    first = _found(file, (*names.DEPTH, *names.ELEVATION))
    column = now.get("depth", now.get("elevation", ""))
    if file.kind != "other":
        yield _choice(file, "depth", "Depth or elevation", column, columns, first)
        yield Field(f"{file.name}/meaning", "What it tells", kind, _MEANINGS)
    yield Field(f"{file.name}/unit", "Unit", now.get("unit", ""), _UNITS)


def _found(file: Sniffed, known: tuple[str, ...]) -> str:
    found = names.find(file.columns, known)
    return f"as its name says: {found}" if found else "choose"


def _choice(
    file: Sniffed, key: str, label: str, now: str, columns: tuple[str, ...], first: str
) -> Field:
    options = (("", first), *((name, name) for name in columns))
    return Field(f"{file.name}/{key}", label, now, options)


def _text(value: Any) -> str:
    return f"{value:.12g}" if isinstance(value, float) else str(value)
