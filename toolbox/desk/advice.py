"""Advice: what to change in a survey file whose soundings lie outside the water."""

from typing import Any

from toolbox.desk.doubts import mostly_inside, place_doubts, raw_of
from toolbox.desk.seen import Doubt
from toolbox.formats.vector import VECTOR_SUFFIXES
from toolbox.survey.reduce import Inputs
from toolbox.survey.settings import Settings, Source

__all__ = ["place_advice"]


def place_advice(settings: Settings, inputs: Inputs) -> list[str]:
    """Say of each file of points whether most of it lies outside the water, and what would help.

    Parameters
    ----------
    settings : Settings
        The survey.
    inputs : Inputs
        As read by it.

    Returns
    -------
    list of str
        One line for each file in doubt.
    """
    files = inputs.soundings.frame["file"].to_numpy(str)
    lines = []
    for source in settings.soundings:
        if source.kind != "points":
            continue
        name, given = source.file.name, _given(source)
        places = inputs.soundings.coordinates[files == name]
        if mostly_inside(places, inputs.shoreline):
            continue  # without reading the file again
        text = source.file.suffix.lower() not in (*VECTOR_SUFFIXES, ".gpx")
        raw = raw_of(source.file, given) if text else None
        doubts = place_doubts(name, given, raw, inputs.shoreline, places)
        lines += [_line(doubt) for doubt in doubts]
    return lines


def _given(source: Source) -> dict[str, Any]:
    keys = {"easting", "northing", "depth", "elevation", "layer"}
    keys |= {"delimiter", "decimal", "encoding"}
    return source.model_dump(include=keys, exclude_none=True)


def _line(doubt: Doubt) -> str:
    """Write a doubt with the keys of the survey file that would mend it."""
    keys = [
        f'{place.rpartition("/")[2]} = "{value}"'
        for _, answers in doubt.ways
        for place, value in answers.items()
    ]
    return doubt.text + (f" Put under [[soundings]]: {', '.join(keys)}" if keys else "")
