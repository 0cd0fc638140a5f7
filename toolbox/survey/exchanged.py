"""Exchanged: rows of a table whose two coordinates stand in each other's columns."""

import numpy as np

from toolbox.formats.delimited import place_of, read_delimited
from toolbox.formats.places import coordinates_of
from toolbox.formats.point_chunks import LAS_SUFFIXES
from toolbox.formats.vector import VECTOR_SUFFIXES
from toolbox.layers import Shoreline, Soundings
from toolbox.layers.crs import project
from toolbox.notes import Caution
from toolbox.survey.settings import Source
from toolbox.words import counted

__all__ = ["Exchanged", "exchanged_rows"]

_NO_TEXT = (*VECTOR_SUFFIXES, *LAS_SUFFIXES, ".gpx", ".kml")


class Exchanged(Caution):
    """Says that coordinates were exchanged."""

    __slots__ = ()


def exchanged_rows(
    source: Source, soundings: Soundings, shoreline: Shoreline
) -> tuple[Exchanged, ...]:
    """Say how many soundings outside the water would lie in it with their coordinates exchanged.

    Parameters
    ----------
    source : Source
        What the survey file says of the file.
    soundings : Soundings
        All of it, in the CRS of the shoreline.
    shoreline : Shoreline
        The water.

    Returns
    -------
    tuple of Exchanged
        One, or nothing where no sounding would.

    Notes
    -----
    The file is read once more, but only if a sounding lies farther off than the water is wide.
    """
    by_text = source.kind == "points" and source.file.suffix.lower() not in _NO_TEXT
    if not by_text or source.pegs is not None or not _far(soundings, shoreline).any():
        return ()
    text = read_delimited(
        source.file,
        sheet=source.layer,
        **source.model_dump(include={"delimiter", "decimal", "encoding"}),
    )
    place, rest, crs, _ = coordinates_of(
        text, source.file, source.crs, source.easting, source.northing
    )
    if len(place) != len(soundings) or shoreline.crs is None:
        return ()
    outside = np.flatnonzero(~_inside(soundings.coordinates, shoreline))
    turned = place[outside, ::-1]
    if crs.is_geographic:
        turned[~(np.abs(turned) <= (180, 90)).all(axis=1)] = np.nan
    mended = outside[_inside(project(turned, crs, shoreline.crs), shoreline)]
    if not len(mended):
        return ()
    pair = [str(name) for name in text.columns if name not in rest.columns]
    first = place_of(text, int(mended[0]), source.file)
    return (
        Exchanged(
            f"{len(mended)} of {counted(len(outside), 'sounding')} outside the water would lie in "
            f"it with {' and '.join(pair)} exchanged, the first in {first}: put right what is "
            "exchanged in the file"
        ),
    )


def _far(soundings: Soundings, shoreline: Shoreline) -> np.ndarray:
    """Tell which have no place, or lie beyond the water's box made three times as wide."""
    low, high = np.reshape(shoreline.polygons.bounds, (2, 2))
    size = max(high - low)
    place = soundings.coordinates
    return np.asarray(~((place >= low - size) & (place <= high + size)).all(axis=1))


def _inside(place: np.ndarray, shoreline: Shoreline) -> np.ndarray:
    """Tell which places lie in the water; none without coordinates does."""
    inside = np.isfinite(place).all(axis=1)
    inside[inside] = shoreline.contains(place[inside])
    return inside
