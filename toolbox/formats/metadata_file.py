"""Metadata: what a survey's results are, as XML for catalogues and as plain text for people.

The XML is ISO 19115-1:2014 in the encoding of ISO/TS 19115-3 (metadata base 2.0).
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from textwrap import wrap

from toolbox.errors import ParameterError
from toolbox.formats.metadata_xml import metadata_element
from toolbox.formats.xml_text import xml_characters

__all__ = ["Metadata", "Quality", "metadata_text", "metadata_xml", "write_metadata"]

_WIDTH = 92


@dataclass(frozen=True)
class Quality:
    """One measure of how good the results are.

    Parameters
    ----------
    measure : str
        What was measured.
    value : float
        What came out.
    unit : str
        ``"m"``, ``"%"``, or ``"1"`` for a share.
    about : str
        How it was measured.
    complete : bool
        Whether it says how much of the water is known, rather than how well.
    """

    measure: str
    value: float
    unit: str
    about: str = ""
    complete: bool = False


@dataclass(frozen=True)
class Metadata:
    """What a catalogue is told.

    Parameters
    ----------
    title, abstract : str
        Of the results.
    made : date
        When they were made.
    bounds : tuple of float, or None
        West, south, east and north, degrees on WGS 84; the west may lie east of the east where the
        water lies on both sides of the date line; None on a plane.
    crs : str
        Its name, such as ``"WGS 84 / UTM zone 25N"``.
    crs_code : str
        Its code, such as ``"EPSG:32625"``; empty if it has none.
    datum : str
        What depths refer to.
    surveyed : tuple of date
        First and last day of the soundings; empty if nobody knows.
    contact : str
        Who to ask, as given.
    resolution : float or None
        Width of a cell of the rasters, m.
    steps : tuple of str
        What was done, in order: the lineage.
    sources : tuple of str
        Files that went in.
    quality : tuple of Quality
        How good it is.
    cautions : tuple of str
        What it must not be used for.
    formats : tuple of str
        Of the files.
    keywords : tuple of str
        For a search.
    remarks : str
        Of the surveyor.

    Raises
    ------
    ParameterError
        If there is no title, or the bounds are none of the earth.
    """

    title: str
    abstract: str
    made: date
    bounds: tuple[float, float, float, float] | None
    crs: str
    crs_code: str = ""
    datum: str = ""
    surveyed: tuple[date, ...] = ()
    contact: str = ""
    resolution: float | None = None
    steps: tuple[str, ...] = ()
    sources: tuple[str, ...] = ()
    quality: tuple[Quality, ...] = ()
    cautions: tuple[str, ...] = ()
    formats: tuple[str, ...] = ()
    keywords: tuple[str, ...] = ("bathymetry", "lake bed", "depth")
    remarks: str = ""

    def __post_init__(self) -> None:
        if not self.title.strip():
            raise ParameterError(f"title must say something, got {self.title!r}")
        if self.bounds is None:
            return
        west, south, east, north = self.bounds
        if not (-90 <= south <= north <= 90 and max(abs(west), abs(east)) <= 180):
            told = ", ".join(f"{value:g}" for value in self.bounds)
            raise ParameterError(f"bounds must be west, south, east, north in degrees, got {told}")


def write_metadata(metadata: Metadata, path: Path) -> tuple[Path, Path]:
    """Write metadata as XML, and beside it as plain text.

    Parameters
    ----------
    metadata : Metadata
        What to tell.
    path : Path
        Of the XML, such as ``metadata.xml``; the text gets the suffix ``.txt``.

    Returns
    -------
    tuple of Path
        The two files.
    """
    beside = path.with_suffix(".txt")
    path.write_text(metadata_xml(metadata), encoding="utf-8")
    beside.write_text(metadata_text(metadata), encoding="utf-8")
    return path, beside


def metadata_xml(metadata: Metadata) -> str:
    """Return metadata as XML of ISO/TS 19115-3, the same for the same input."""
    from xml.etree.ElementTree import indent, tostring

    root = metadata_element(metadata)
    indent(root, " ")
    return '<?xml version="1.0" encoding="UTF-8"?>\n' + tostring(root, encoding="unicode") + "\n"


def metadata_text(metadata: Metadata) -> str:
    """Return metadata as plain text, one heading after the other."""
    told = metadata
    quality = (
        f"{one.measure}: {one.value:.4g} {_unit(one.unit)}{_about(one)}" for one in told.quality
    )
    parts: list[tuple[str, Iterable[str]]] = [
        ("Abstract", [told.abstract]),
        ("Surveyed", [" to ".join(sorted({day.isoformat() for day in told.surveyed}))]),
        ("Made", [told.made.isoformat()]),
        ("Contact", [told.contact]),
        ("Extent, degrees on WGS 84", [_extent(told)]),
        ("Coordinates", [", ".join(word for word in (told.crs, told.crs_code) if word)]),
        ("Depths refer to", [told.datum]),
        ("Cell of the rasters", [] if told.resolution is None else [f"{told.resolution:g} m"]),
        ("Quality", quality),
        ("Not for", told.cautions),
        ("Made from", told.sources),
        ("Steps", (f"{number}. {step}" for number, step in enumerate(told.steps, start=1))),
        ("Formats", told.formats),
        ("Keywords", [", ".join(told.keywords)]),
        ("Remarks", [told.remarks]),
    ]
    lines = [_clean(told.title), "=" * min(len(_clean(told.title)), _WIDTH)]
    for heading, words in parts:
        lines += _part(heading, [_clean(word) for word in words])
    return "\n".join(lines) + "\n"


def _part(heading: str, words: list[str]) -> list[str]:
    told = [
        line for word in words if word for line in wrap(word, _WIDTH - 2, subsequent_indent="  ")
    ]
    return ["", heading, *(f"  {line}" for line in told)] if told else []


def _extent(told: Metadata) -> str:
    if told.bounds is None:
        return ""
    sides = zip(("west", "south", "east", "north"), told.bounds, strict=True)
    return ", ".join(f"{side} {degrees:.6f}" for side, degrees in sides)


def _unit(unit: str) -> str:
    return "" if unit == "1" else unit


def _about(one: Quality) -> str:
    return f" ({one.about})" if one.about else ""


def _clean(words: str) -> str:
    """Return words on one line that a terminal prints as they are."""
    return " ".join("".join(c if c.isprintable() else " " for c in xml_characters(words)).split())
