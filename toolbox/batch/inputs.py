"""Inputs: a survey of its own for each water of a layer, made once."""

import hashlib
import json
import tempfile
from dataclasses import dataclass
from importlib.metadata import version
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from toolbox.batch.batch_file import BatchFile, Waters
from toolbox.batch.content import content_digest
from toolbox.batch.splitting import NOWHERE, owners_among, sound_waters
from toolbox.batch.spool import Outside, Spool
from toolbox.batch.storage import original
from toolbox.batch.waters import check_folders, folder_name
from toolbox.errors import InputFileError, SettingsError
from toolbox.formats.paths import existing_file
from toolbox.formats.sounding_portions import ROWS, sounding_portions
from toolbox.formats.toml_text import toml_text
from toolbox.formats.vector import read_features, write_features
from toolbox.layers.crs import project
from toolbox.survey.settings import Source

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

__all__ = ["OUTLINES", "SPLIT", "Split", "read_split", "split_digest", "split_inputs"]

SPLIT = "split.json"
OUTLINES, SHORELINE, _OUTSIDE = "waters.parquet", "shoreline.fgb", "outside.gpkg"
_READ_AT_THE_SPLIT = (
    "crs",
    "layer",
    "where",
    "depth",
    "elevation",
    "unit",
    "positive",
    "easting",
    "northing",
    "delimiter",
    "decimal",
    "encoding",
    "timezone",
    "pegs",
    "declination",
)
"""Keys that tell how the large file is read; what was split is in metres below the datum."""


@dataclass(frozen=True)
class Split:
    """What a large layer was split into.

    Parameters
    ----------
    digest : str
        Of all that it was made from.
    folders, names : tuple of str
        Of the waters, in the order of their layer.
    soundings : tuple of int
        In each of them.
    outside : dict of int
        Soundings in no water, by the reason.
    """

    digest: str
    folders: tuple[str, ...]
    names: tuple[str, ...]
    soundings: tuple[int, ...]
    outside: dict[str, int]


def split_digest(wanted: BatchFile) -> str:
    """Digest what a split is made from: files, settings and version."""
    told = {
        "common": content_digest(wanted.common),
        "waters": wanted.waters.model_dump(mode="json", exclude={"file"}),
        "version": version("leadline"),
    }
    return hashlib.sha256(json.dumps(told, sort_keys=True).encode()).hexdigest()


def read_split(text: bytes | None) -> Split | None:
    """Read the record of a split; None if it is none."""
    try:
        told: dict[str, Any] = json.loads(text or b"")
        for key in ("folders", "names", "soundings"):
            told[key] = tuple(told[key])
        return Split(**told)
    except (ValueError, TypeError, KeyError):
        return None


def split_inputs(wanted: BatchFile, folder: Path, scratch: Path, *, rows: int = ROWS) -> Split:
    """Write the survey of each water: its polygon, its soundings, its survey file.

    Parameters
    ----------
    wanted : BatchFile
        Layers, and what holds for all waters.
    folder : Path
        An empty folder; each water that has soundings gets one in it. Soundings in no water go
        into ``outside.gpkg``, each with the reason.
    scratch : Path
        Where copies stand of files behind URLs.
    rows : int
        Soundings held at a time; more only of a water that has more, and of files that cannot be
        read in portions.

    Returns
    -------
    Split
        Also written, as ``split.json``.

    Raises
    ------
    InputFileError, SettingsError
        If a layer cannot be read, or waters cannot be told apart.
    """
    waters, names, folders = _read_waters(wanted.waters)
    outside = Outside(folder / _OUTSIDE)
    with tempfile.TemporaryDirectory(prefix=".spool-", dir=folder) as spool:
        layers = [
            _read_layer(source, waters, wanted, Path(spool) / str(number), outside, rows)
            for number, source in enumerate(wanted.common.soundings)
        ]
        counts = np.sum([spooled.counts for _, spooled in layers], axis=0)
        for number in np.flatnonzero(counts).tolist():
            place = folder / folders[number]
            place.mkdir()
            # read faster than Parquet, whose CRS is a long text
            write_features(waters.iloc[[number]], place / SHORELINE, layer="shoreline")
            files = _write_soundings(layers, number, place)
            text = _survey(wanted, names[number], files, scratch)
            (place / "survey.toml").write_text(text, encoding="utf-8")
    waters.assign(folder=folders, soundings=counts).to_parquet(folder / OUTLINES)
    told = split_digest(wanted), tuple(folders), tuple(names), tuple(counts.tolist())
    split = Split(*told, outside.counts)
    text = json.dumps(vars(split), indent=1, ensure_ascii=False)
    (folder / SPLIT).write_text(text + "\n", encoding="utf-8")
    return split


def _read_waters(given: Waters) -> tuple["GeoDataFrame", list[str], list[str]]:
    """Read the polygons, what they are called, and what their folders are called."""
    frame = read_features(
        existing_file(given.file), layer=given.layer, where=given.where, crs=given.shoreline_crs
    )
    kinds = set(frame.geom_type.dropna()) - {"Polygon", "MultiPolygon"}
    if kinds:
        raise InputFileError(f"{given.file} must hold polygons, got {', '.join(sorted(kinds))}")
    names = frame[_name_column(frame, given)].map(_text)
    ids = names if given.id is None else frame[_column(frame, given.id, given)].map(_text)
    folders = [folder_name(text) for text in ids]
    rows = [f"{given.file.name}, row {row} ({told!r})" for row, told in enumerate(ids, start=1)]
    check_folders(folders, rows, "name a column that tells all waters apart with id")
    return frame[["geometry"]].assign(name=list(names)), list(names), folders


def _name_column(frame: "GeoDataFrame", given: Waters) -> str:
    if given.name is not None:
        return _column(frame, given.name, given)
    usual = [str(name) for name in frame.columns if str(name).lower() == "name"]
    if usual:
        return usual[0]
    if given.id is not None:
        return _column(frame, given.id, given)
    told = ", ".join(str(name) for name in frame.columns if name != "geometry")
    raise SettingsError(f"{given.file.name} has no column 'name'; give name or id, of {told}")


def _column(frame: "GeoDataFrame", name: str, given: Waters) -> str:
    if name not in frame.columns:
        told = ", ".join(str(name) for name in frame.columns if name != "geometry")
        raise SettingsError(f"{given.file.name} has no column {name!r}, only {told}")
    return name


def _text(value: Any) -> str:
    """Write a name or a number; a whole number that a table holds as a fraction stays whole."""
    if value is None or value != value:
        return ""
    return str(int(value)) if isinstance(value, float) and value.is_integer() else str(value)


def _read_layer(
    source: Source,
    waters: "GeoDataFrame",
    wanted: BatchFile,
    spool: Path,
    outside: Outside,
    rows: int,
) -> tuple[Source, Spool]:
    """Read a large layer some rows at a time, and put its soundings down by water."""
    options = source.model_dump(include=set(_READ_AT_THE_SPLIT))
    sound = sound_waters(waters.geometry.to_numpy())
    spooled, row = Spool(spool, len(waters), together=rows), 0
    options |= {"datum": wanted.common.datum.elevation}
    for soundings in sounding_portions(source.file, rows=rows, **options):
        points = soundings.coordinates
        if soundings.crs is not None and soundings.crs != waters.crs:
            points = project(points, soundings.crs, waters.crs)
        owner = owners_among(points, sound)
        spooled.add(soundings, owner)
        outside.add(soundings, np.flatnonzero(owner == NOWHERE), row, source.file.name)
        row += len(soundings)
    return source, spooled


def _write_soundings(
    layers: list[tuple[Source, Spool]], number: int, place: Path
) -> list[tuple[Source, str]]:
    """Write the soundings of a water, and return what its survey file names."""
    files = []
    for count, (source, spooled) in enumerate(layers, start=1):
        if spooled.counts[number]:
            files.append((source, f"soundings_{count}.parquet"))
            spooled.of_water(number).to_parquet(place / files[-1][1], index=False)
    return files


def _survey(wanted: BatchFile, name: str, files: list[tuple[Source, str]], scratch: Path) -> str:
    """Write the survey file of a water."""
    common = wanted.common.model_dump(exclude_unset=True, exclude={"water", "soundings"})
    told = wanted.waters.model_dump(exclude_none=True, include={"shoreline_level", "crs"})
    water = {"name": name or "unnamed", "shoreline": SHORELINE, **told}
    read = {"file", *_READ_AT_THE_SPLIT}
    soundings = [
        {"file": file, **source.model_dump(exclude_unset=True, exclude=read)}
        for source, file in files
    ]
    return toml_text(_told({"water": water, **common, "soundings": soundings}, scratch))


def _told(value: Any, scratch: Path) -> Any:
    """Write paths as any folder and any machine can use them."""
    if isinstance(value, dict):
        return {key: _told(part, scratch) for key, part in value.items()}
    if isinstance(value, list | tuple):
        return [_told(part, scratch) for part in value]
    if isinstance(value, Path):
        return original(value, scratch) or str(value.absolute())
    return value
