"""Doors: which reader and which writer belongs to which noun."""

from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING, Any

from toolbox.errors import InputFileError, ParameterError
from toolbox.formats.bed_file import read_bed, write_bed
from toolbox.formats.casts_file import read_casts
from toolbox.formats.delimited import notes_of, numbers, read_delimited, write_delimited
from toolbox.formats.exchange import EXCHANGE, write_exchange
from toolbox.formats.geotiff import read_grid, read_grid_blocks, write_grid
from toolbox.formats.nmea import read_nmea
from toolbox.formats.paths import existing_file
from toolbox.formats.picture_file import PICTURE_SUFFIXES, write_picture
from toolbox.formats.places import read_places
from toolbox.formats.profiles_file import read_profiles
from toolbox.formats.shoreline_file import (
    read_breaklines,
    read_centreline,
    read_shoreline,
)
from toolbox.formats.soundings_file import read_soundings
from toolbox.formats.species_file import read_species
from toolbox.formats.stocking_file import read_stocking
from toolbox.formats.vector import VECTOR_SUFFIXES, write_features
from toolbox.formats.vectors_file import read_vectors, write_vectors
from toolbox.habitat.species import SpeciesLimits
from toolbox.layers import (
    Breaklines,
    CastLog,
    Centreline,
    Grid,
    Picture,
    Places,
    Profiles,
    Shoreline,
    Soundings,
    Table,
    Tin,
    TrackLog,
    Vectors,
)
from toolbox.layers.grid_blocks import GridBlocks
from toolbox.stocking.proposal import StockingProposal
from toolbox.tool import checked

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

__all__ = ["READERS", "SUFFIXES", "check_suffix", "read_table", "shoreline_frame", "write"]


@checked
def read_table(
    path: Path,
    *,
    delimiter: str | None = None,
    decimal: str | None = None,
    encoding: str = "utf-8-sig",
) -> Table:
    """Read a table of figures.

    Parameters
    ----------
    path : Path
        Delimited text with a header line, or a workbook (.xlsx, .xlsm).
    delimiter : str, optional
        Between columns, if it cannot be found out.
    decimal : str, optional
        Decimal mark, if it cannot be found out.
    encoding : str
        Encoding of the text.

    Returns
    -------
    Table
        Columns of numbers where every cell is one or empty.
    """
    frame = read_delimited(
        existing_file(path), delimiter=delimiter, decimal=decimal, encoding=encoding
    )
    for name in frame:
        with suppress(InputFileError):  # a column of text stays one
            frame[name] = numbers(frame, str(name), path)
    return Table(frame, path.stem, notes_of(frame))


READERS: dict[type, Callable[..., Any]] = {
    Soundings: read_soundings,
    Shoreline: read_shoreline,
    Breaklines: read_breaklines,
    Centreline: read_centreline,
    CastLog: read_casts,
    TrackLog: read_nmea,
    Places: read_places,
    Vectors: read_vectors,
    Tin: read_bed,
    Grid: read_grid,
    GridBlocks: read_grid_blocks,
    Table: read_table,
    Profiles: read_profiles,
    SpeciesLimits: read_species,
    StockingProposal: read_stocking,
}
"""How each noun is read; the keyword parameters are the options a person may give."""

SUFFIXES: dict[type, tuple[str, ...]] = {
    Soundings: (".gpkg", ".csv", *(s for s in VECTOR_SUFFIXES if s not in (".gpkg", ".json"))),
    Shoreline: tuple(s for s in VECTOR_SUFFIXES if s != ".json"),
    Tin: (".gpkg", *EXCHANGE[Tin]),
    Grid: (".tif", *EXCHANGE[Grid]),
    Table: (".csv",),
    Vectors: (
        *(".gpkg", ".csv", *(s for s in VECTOR_SUFFIXES if s not in (".gpkg", ".json"))),
        *EXCHANGE[Vectors],
    ),
    Picture: PICTURE_SUFFIXES,
}
"""File names each noun can be written to, the usual first."""


def check_suffix(kind: type, path: Path) -> None:
    """Raise ParameterError unless a noun of this kind can be written to such a file."""
    allowed = SUFFIXES[kind]
    if path.suffix.lower() not in allowed:
        name = "layer of shapes" if kind is Vectors else kind.__name__.lower()
        raise ParameterError(f"a {name} is written as {', '.join(allowed)}, got {path.name!r}")


def write(value: Any, path: Path) -> None:
    """Write a noun to a file whose suffix fits it.

    Raises
    ------
    ParameterError
        If it does not.
    """
    check_suffix(type(value), path)
    if path.suffix.lower() in EXCHANGE.get(type(value), ()):
        write_exchange(value, path)
    elif isinstance(value, Grid):
        write_grid(value, path)
    elif isinstance(value, Tin):
        write_bed(value, path)
    elif isinstance(value, Table):
        write_delimited(value.frame, path)
    elif isinstance(value, Shoreline):
        write_features(shoreline_frame(value), path, layer="shoreline")
    elif isinstance(value, Vectors):
        write_vectors(value, path)
    elif isinstance(value, Picture):
        write_picture(value, path)
    else:
        _write_soundings(value, path)


def _write_soundings(soundings: Soundings, path: Path) -> None:
    if path.suffix.lower() == ".csv":
        place = soundings.coordinates
        frame = soundings.frame.drop(columns="geometry")
        frame = frame.assign(easting=place[:, 0], northing=place[:, 1])
        write_delimited(frame[["easting", "northing", *frame.columns[:-2]]], path)
    else:
        write_features(soundings.frame, path, layer="soundings")


def shoreline_frame(shoreline: Shoreline) -> "GeoDataFrame":
    """Make a layer of the water's polygons, one feature a part."""
    import geopandas

    parts = list(shoreline.polygons.geoms)
    columns = {"depth": shoreline.depth, "islands": [len(part.interiors) for part in parts]}
    return geopandas.GeoDataFrame(columns, geometry=parts, crs=shoreline.crs)
