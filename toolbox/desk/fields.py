"""Fields: what a person may correct, each with what it is now."""

from collections.abc import Iterator, Sequence
from typing import Any

from toolbox.desk.drafting import GLOBAL, by_compass, by_peg, peg_files
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
_DECLINATION_HINT = (
    "Degrees east of true north, such as 3.5; west negative, or such as 2 W: what a compass was "
    "off by, there and then."
)
_ZONE_HINT = (
    "Such as Europe/Berlin or America/Chicago, where they are of the clock on the wall; else UTC."
)
_ZERO_HINT = "Elevation, m, where the record is read from there; empty if it holds elevations."
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


def file_fields(file: Sniffed, survey: dict[str, Any], files: Sequence[Sniffed]) -> Iterator[Field]:
    """Ask what concerns one file of several."""
    if file.role == "shoreline":
        yield from _shoreline(file, survey.get("water", {}))
    if file.name == survey.get("datum", {}).get("record"):
        yield from _record(file, survey["datum"])
    blocks = survey.get("soundings", [])
    source = next((block for block in blocks if block.get("file") == file.name), None)
    if source is None:
        return
    now = {key: _text(value) for key, value in source.items()}
    if file.role in ("soundings", "casts"):
        yield from _from_pegs(file, now, files)
    if file.kind == "text" and file.role == "soundings":
        yield from _columns(file, now)
    if file.role == "soundings":
        yield from _depths(file, now)
    if file.kind == "text" and file.role == "soundings" and len(file.layers) > 1:
        first = "the first that holds a table"
        yield _choice(file, "layer", "Sheet", now.get("layer", ""), file.layers, first)
    if file.kind != "text" and len(file.layers) > 1:
        yield _choice(file, "layer", "Layer", now.get("layer", ""), file.layers, "choose")
    if file.role != "log" and not _crs_is_told(file, now, files):
        label = "CRS of the pegs" if "pegs" in now else "CRS of its places"
        yield Field(f"{file.name}/crs", label, now.get("crs", ""), hint=_CRS_HINT)
    if file.role == "log":
        yield Field(f"{file.name}/draft", "Transducer below the surface, m", now.get("draft", ""))
        hint = "Only for a log that tells none, such as 2026-05-12."
        yield Field(f"{file.name}/date", "Date of the log", now.get("date", ""), hint=hint)
    level = now.get("water_level", "")
    yield Field(f"{file.name}/water_level", "Water level when read", level, hint=_LEVEL_HINT)
    if file.role == "soundings" and (_may_go_by_record(file, survey) or source.get("by_record")):
        by_record = "true" if source.get("by_record") else ""
        yield Field(f"{file.name}/by_record", "Depths count from", by_record, _LEVELS)
    if _times_are_local(file, source, survey):
        zone = now.get("timezone", "")
        yield Field(f"{file.name}/timezone", "Zone of its times", zone, hint=_ZONE_HINT)


def _crs_is_told(file: Sniffed, now: dict[str, str], files: Sequence[Sniffed]) -> bool:
    """Tell whether a file says its CRS itself, or the file of its pegs does."""
    if by_peg(file) and not (now.get("pegs") or now.get("easting")):
        return True  # until there are pegs nothing is asked
    where = now.get("pegs", file.name)
    return any(other.name == where and bool(other.crs) for other in files) or where.endswith(".gpx")


def _times_are_local(file: Sniffed, source: dict[str, Any], survey: dict[str, Any]) -> bool:
    """Tell whether times that may be of any zone are looked up in a record."""
    if "timezone" in source:
        return True
    text = file.kind == "text" and names.find(file.columns, names.START) is not None
    used = source.get("by_record") or file.role == "casts"
    return text and bool(used) and bool(survey.get("datum", {}).get("record"))


def _record(file: Sniffed, datum: dict[str, Any]) -> Iterator[Field]:
    now = {key: _text(value) for key, value in datum.items()}
    yield Field(
        f"{file.name}/timezone", "Zone of its times", now.get("timezone", ""), hint=_ZONE_HINT
    )
    yield Field(
        f"{file.name}/date_format",
        "How its dates are written",
        now.get("date_format", ""),
        hint="Such as %d.%m.%Y or %m/%d/%Y; empty for 2026-05-12.",
    )
    zero = now.get("gauge_zero", "")
    yield Field(f"{file.name}/gauge_zero", "Zero of the gauge", zero, hint=_ZERO_HINT)


def _from_pegs(file: Sniffed, now: dict[str, str], files: Sequence[Sniffed]) -> Iterator[Field]:
    if by_peg(file):
        listed = peg_files(files)
        if listed and not now.get("easting"):
            named = now.get("pegs", "")
            if named and named not in listed:
                listed = [*listed, named]
            options = (*((("", "choose"),) if not named else ()), *((n, n) for n in listed))
            yield Field(f"{file.name}/pegs", "Where its pegs are", named, tuple(options))
        if names.find(file.columns, names.WRAPS) and not names.find(file.columns, names.LINE_OUT):
            hint = "Once round the two sticks, in m, or such as 12 ft."
            yield Field(f"{file.name}/wrap", "Line on one wrap", now.get("wrap", ""), hint=hint)
    if by_compass(file):
        yield Field(
            f"{file.name}/declination",
            "Magnetic declination",
            now.get("declination", ""),
            hint=_DECLINATION_HINT,
        )


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
        first = "none: from pegs" if by_peg(file) else _found(file, known)
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
