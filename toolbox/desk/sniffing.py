"""Sniffing: what a file seems to hold, from its first lines or its layers."""

import itertools
import json
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from toolbox.errors import InputFileError, ToolboxError
from toolbox.faults import said_by
from toolbox.formats import columns as names
from toolbox.formats.containers import is_read_workbook
from toolbox.formats.delimited import read_delimited
from toolbox.formats.gpx_paths import depths_in_gpx
from toolbox.formats.layout import find_layout, text_encoding
from toolbox.formats.paths import existing_file
from toolbox.formats.sheet_table import sheet_names
from toolbox.formats.sources import vector_source
from toolbox.formats.toml_text import read_toml
from toolbox.formats.vector import VECTOR_SUFFIXES, count_features, layer_names, read_features
from toolbox.words import counted

__all__ = ["ROLES", "Sniffed", "sniff"]

ROLES = {
    "soundings": "Soundings",
    "log": "Log of a sounder (NMEA 0183)",
    "shoreline": "Shoreline of the water",
    "casts": "Casts: how each was made",
    "pings": "Readings of the casts",
    "pegs": "Pegs, points to cast from",
    "record": "Water levels over time",
    "survey": "Survey file",
    "named": "Only what the survey file says",
    "part": "Part of a Shapefile",
    "none": "Not used",
}
_PARTS = (".shx", ".dbf", ".prj", ".cpg")
_LOOK, _SHOWN, _WIDE = 20, 3, 24
_NO_HEADER = "no header line: columns go by their number"
_DEGREES = "EPSG:4326"  # of every KML file


@dataclass(frozen=True)
class Sniffed:
    """What a file seems to hold.

    Parameters
    ----------
    name, role : str
        Of the file.
    kind : str
        ``text``, ``layer`` or ``other``.
    facts : tuple of str
        What there is to say of it.
    columns : tuple of str
        Of its table.
    rows : tuple of tuple of str
        The first ones.
    layers : tuple of str
        Where it holds several.
    crs : str
        What the file itself says; empty if nothing.
    pins : bool
        Whether it holds points beside other shapes, which may be pegs.
    given : dict
        Of a survey file.
    fault : str
        Why it cannot be read.
    """

    name: str
    role: str
    kind: str = "other"
    facts: tuple[str, ...] = ()
    columns: tuple[str, ...] = ()
    rows: tuple[tuple[str, ...], ...] = ()
    layers: tuple[str, ...] = ()
    crs: str = ""
    pins: bool = False
    given: dict[str, Any] = field(default_factory=dict)
    fault: str = ""


def sniff(path: Path, *, layer: str | None = None) -> Sniffed:
    """Find out what a file holds; what is wrong with it is told, not raised."""
    suffix = path.suffix.lower()
    if suffix in _PARTS:
        return Sniffed(path.name, "part")
    try:
        existing_file(path)
        if suffix == ".toml":
            return _settings(path)
        if suffix == ".kml":
            return _kml(path, layer)
        if suffix in VECTOR_SUFFIXES:
            return _layer(path, layer)
        if suffix == ".gpx":
            return _gpx(path)
        if is_read_workbook(path):
            return _workbook(path, layer)
        return _log(path) or _table(path)
    except ToolboxError as error:
        return Sniffed(path.name, "none", fault=said_by(error).replace(str(path), path.name))


def _settings(path: Path) -> Sniffed:
    given = read_toml(path)
    if "water" in given and "soundings" in given:
        return Sniffed(path.name, "survey", given=given)
    return Sniffed(path.name, "named")


def _gpx(path: Path) -> Sniffed:
    deep, places = depths_in_gpx(path)
    if deep or not places:
        return Sniffed(path.name, "soundings", facts=("points with depths",))
    fact = f"a path of {counted(places, 'place')} without depths: the way round the water?"
    return Sniffed(path.name, "shoreline", facts=(fact,))


def _log(path: Path) -> Sniffed | None:
    with path.open("rb") as file:
        lines = list(itertools.islice(file, _LOOK))
    sentences = [line for line in lines if b"$" in line[:40] and line.count(b",") > 2]
    if len(sentences) * 2 < len(lines):
        return None
    return Sniffed(path.name, "log", facts=("sentences of a receiver and a sounder",))


def _table(path: Path) -> Sniffed:
    layout = find_layout(path, encoding=text_encoding(path))
    with path.open(encoding=layout.encoding, errors="replace") as file:
        lines = [line for line in itertools.islice(file, layout.remarks + _LOOK) if line.strip()]
    body = lines[layout.remarks + layout.header :][:_SHOWN]
    split = [line.split(None if len(layout.mark) > 1 else layout.mark) for line in body]
    rows = tuple(tuple(cell.strip().strip('"')[:_WIDE] for cell in row) for row in split)
    role = _role(layout.names) if layout.header else "soundings"
    facts = (_NO_HEADER,) if not layout.header else ()
    return Sniffed(path.name, role, "text", facts, layout.names, rows)


def _workbook(path: Path, sheet: str | None) -> Sniffed:
    frame, several = read_delimited(path, sheet=sheet), sheet_names(path)
    columns = tuple(map(str, frame.columns))
    first = frame.iloc[:_SHOWN].astype(str).to_numpy().tolist()
    rows = tuple(tuple(cell[:_WIDE] for cell in row) for row in first)
    role = _role(columns) if frame.attrs["header"] else "soundings"
    bare = () if frame.attrs["header"] else (_NO_HEADER,)
    facts = (f"sheet {frame.attrs['sheet'].name!r}", *bare)
    return Sniffed(path.name, role, "text", facts, columns, rows, several)


def _role(columns: tuple[str, ...]) -> str:
    def has(*wanted: tuple[str, ...]) -> bool:
        return all(names.find(columns, want) is not None for want in wanted)

    placed = has(names.EASTING, names.NORTHING) or has(names.LONGITUDE, names.LATITUDE)
    deep = has(names.DEPTH) or has(names.ELEVATION)
    by_peg = has(names.PEG, names.DISTANCE)
    if has(names.CAST, names.SECONDS) and deep:
        return "pings"
    if has(names.CAST, names.PEG) and (has(names.LINE_OUT) or has(names.WRAPS)):
        return "casts"
    if (placed or by_peg) and deep:
        return "soundings"
    if placed:
        return "pegs" if has(names.PEG) else "soundings"
    if has(names.GAUGE) and (has(names.TIME) or has(names.DATE)):
        return "record"
    return "named" if deep else "none"


def _kml(path: Path, layer: str | None) -> Sniffed:
    """Tell pins, which may be pegs, from what may be the way round the water."""
    several = [name for name in layer_names(path) if count_features(path, name)]
    if layer is not None and layer not in several:
        raise InputFileError(f"{path} has no layer {layer!r}, only {', '.join(several)}")
    kinds = [
        kind
        for name in several
        for kind in read_features(path, layer=name).geometry.dropna().geom_type
    ]
    if not kinds:
        raise InputFileError(f"{path} holds no shapes")
    words = {"pin": "Point", "line": "LineString", "polygon": "Polygon"}
    counts = {
        word: sum(kind.removeprefix("Multi") == own for kind in kinds)
        for word, own in words.items()
    }
    counts["other shape"] = len(kinds) - sum(counts.values())
    told = " and ".join(counted(count, word) for word, count in counts.items() if count)
    pins = counts["pin"] > 0
    if pins and counts["pin"] == len(kinds):
        return Sniffed(path.name, "pegs", "layer", (f"{told}: pegs?",), crs=_DEGREES, pins=True)
    layers = tuple(several) if len(several) > 1 else ()
    return Sniffed(path.name, "shoreline", "layer", (told,), (), (), layers, _DEGREES, pins)


def _layer(path: Path, layer: str | None) -> Sniffed:
    if path.suffix.lower() in (".parquet", ".geoparquet"):
        return _parquet(path)
    import pyogrio

    several = tuple(layer_names(path))
    if layer is None and len(several) > 1:
        facts = (f"layers: {', '.join(several)}",)
        return Sniffed(path.name, "shoreline", "layer", facts, layers=several)
    if layer is not None and layer not in several:
        raise InputFileError(f"{path} has no layer {layer!r}, only {', '.join(several)}")
    try:
        told = pyogrio.read_info(vector_source(path), layer=layer)
    except (pyogrio.errors.DataSourceError, pyogrio.errors.DataLayerError) as error:
        raise InputFileError(f"{path} cannot be read: {said_by(error)}") from error
    kind, crs = str(told["geometry_type"] or ""), str(told["crs"] or "")
    return _shaped(path, kind, crs, tuple(told["fields"]), int(told["features"]), several)


def _parquet(path: Path) -> Sniffed:
    from pyarrow import parquet
    from pyproj import CRS

    try:
        told = parquet.read_metadata(path)
        names_ = told.schema.to_arrow_schema().names
        place = json.loads((told.metadata or {}).get(b"geo", b"{}"))
        column = place.get("primary_column", "")
        shape = place.get("columns", {}).get(column, {"crs": None})
        # a missing key means longitude and latitude, a null that nobody knows
        found = shape.get("crs", "OGC:CRS84")
        crs = CRS.from_user_input(found).to_string() if found else ""
        kind = ", ".join(map(str, shape.get("geometry_types", ())))
    except Exception as error:  # whatever is made of a broken description
        raise InputFileError(f"{path} cannot be read as GeoParquet: {said_by(error)}") from error
    fields = tuple(name for name in names_ if name != column)
    return _shaped(path, kind, crs, fields, told.num_rows, ())


def _shaped(
    path: Path, kind: str, crs: str, fields: tuple[str, ...], count: int, layers: tuple[str, ...]
) -> Sniffed:
    role = "none" if "Line" in kind else "shoreline"
    if "Point" in kind:
        deep = "Z" in kind or names.find(fields, (*names.DEPTH, *names.ELEVATION))
        role = "pegs" if names.find(fields, names.PEG[:-1]) and not deep else "soundings"
    word = "shape" if kind in ("", "Unknown") else kind.lower()
    facts = (counted(max(count, 0), word), f"CRS: {_called(crs)}")
    return Sniffed(path.name, role, "layer", facts, fields, (), layers, crs)


def _called(crs: str) -> str:
    from toolbox.layers.crs import parse_crs

    return f"{crs[:40]}, {parse_crs(crs).name}" if crs else "the file names none"
