"""Metadata: valid by the standard's schema, and plain words beside it."""

from collections.abc import Callable
from dataclasses import replace
from datetime import date
from pathlib import Path
from xml.etree import ElementTree

import pytest
import xmlschema

from toolbox.errors import ParameterError
from toolbox.formats.metadata_file import (
    Metadata,
    Quality,
    metadata_text,
    metadata_xml,
    write_metadata,
)

SCHEMAS = Path(__file__).resolve().parents[2].parent / "shared" / "schemas"
ISO = "http://standards.iso.org/iso/"
GCO = f"{{{ISO}19115/-3/gco/1.0}}"
MDQ = f"{{{ISO}19157/-2/mdq/1.0}}"

LEAST = Metadata("Bed of a pond", "", date(2026, 5, 20), None, "")
FULL = Metadata(
    title="Bed of Figment Mere",
    abstract="A lake bed from 8,098 soundings, with isobaths, zones and features.",
    made=date(2026, 5, 20),
    bounds=(-34.61, 46.19, -34.59, 46.2),
    crs="WGS 84 / UTM zone 25N",
    crs_code="EPSG:32625",
    datum="212.400 m, invented local height datum",
    surveyed=(date(2026, 5, 14), date(2026, 5, 12)),
    contact="nobody",
    resolution=2.0,
    steps=("read soundings: 8171 came out", "clean: 8098 kept"),
    sources=("track.nmea", "casts.csv"),
    quality=(
        Quality("root mean square of lines left out", 0.5289163, "m", "1095 soundings"),
        Quality("share of the bed not surveyed", 0.119, "%", complete=True),
        Quality("share within the 90 % band", 0.94, "1"),
    ),
    cautions=("Not for navigation.", "Mind thin ice."),
    formats=("GeoPackage 1.3", "GeoTIFF"),
    remarks="It does not exist.",
)
HOSTILE = {
    "markup": "<script>alert('x')</script>",
    "entity": "&lt; ]]> <![CDATA[",
    "newline": "two\nlines\r\n\tand a tab",
    "control": "bell\x07 null\x00 escape\x1b[31m",
    "half a pair": "\ud800 alone",
    "right to left": "\u202egnp.exe \u05d0\u05d1",
    "long": "Llyn " * 60,
    "emoji": "\U0001f41f",
}


def hostile(words: str) -> Metadata:
    return replace(
        FULL,
        title=words,
        abstract=words,
        crs=words,
        datum=words,
        contact=words,
        steps=(words,),
        sources=(words,),
        quality=(Quality(words, 1.0, "m", words),),
        cautions=(words,),
        formats=(words,),
        keywords=(words,),
        remarks=words,
    )


@pytest.fixture(scope="module")
def faults() -> Callable[[str], list[str]]:
    """Return what tells the faults of metadata by the schemas of ISO/TS 19115-3."""
    folder = SCHEMAS / "iso"
    if not folder.exists():
        pytest.skip("published schemas are not at hand: ../shared/schemas/iso")

    def local(address: str) -> str:
        if "xlink" in address:
            return (SCHEMAS / "xlink.xsd").as_uri()
        bare = address.replace("https:", "http:")
        bare = bare.replace("http://schemas.opengis.net", f"{folder.as_uri()}/schemas.opengis.net")
        return bare.replace(ISO, f"{folder.as_uri()}/")

    parts = {
        "19115/-3/mrl/2.0": "mrl",
        "19115/-3/mrs/1.0": "mrs",
        "19115/-3/mco/1.0": "mco",
        "19115/-3/mrd/1.0": "mrd",
        "19157/-2/mdq/1.0": "mdq",
    }
    schema = xmlschema.XMLSchema(
        str(folder / "19115/-3/mdb/2.0/mdb.xsd"),
        uri_mapper=local,
        allow="local",
        locations=[
            (ISO + part, str(folder / part / f"{name}.xsd")) for part, name in parts.items()
        ],
    )
    return lambda text: [f"{fault.path}: {fault.reason}" for fault in schema.iter_errors(text)]


def test_metadata_are_valid(faults: Callable[[str], list[str]]) -> None:
    # ISO/TS 19115-3, metadata base 2.0, as published at standards.iso.org
    for metadata in (FULL, LEAST, *map(hostile, HOSTILE.values())):
        assert faults(metadata_xml(metadata)) == []


def test_the_schema_finds_faults_in_every_part(faults: Callable[[str], list[str]]) -> None:
    text = metadata_xml(FULL)
    for name in (
        "mrl:statement",
        "mdq:nameOfMeasure",
        "mrs:referenceSystemIdentifier",
        "mri:abstract",
    ):
        assert f"<{name}>" in text
        assert faults(text.replace(name, name.partition(":")[0] + ":wrong")), name


def test_what_was_told_is_in_it() -> None:
    root = ElementTree.fromstring(metadata_xml(FULL))
    words = [found.text for found in root.iter(f"{GCO}CharacterString")]
    for told in (FULL.title, FULL.abstract, FULL.contact, *FULL.steps, *FULL.cautions):
        assert told in words
    assert [one.text for one in root.iter(f"{GCO}Decimal")] == [
        *("-34.6100000", "-34.5900000", "46.1900000", "46.2000000")
    ]  # west, east, south, north: the order of the standard
    assert [one.text for one in root.iter(f"{GCO}Record")] == ["0.528916", "0.119", "0.94"]
    assert len(list(root.iter(f"{MDQ}DQ_CompletenessOmission"))) == 1
    period = [one.text for one in root.iter() if one.tag.endswith("Position")]
    assert period == ["2026-05-12", "2026-05-14"]


def test_the_same_input_gives_the_same_file_and_name() -> None:
    assert metadata_xml(FULL) == metadata_xml(replace(FULL))
    assert metadata_xml(FULL) != metadata_xml(replace(FULL, made=date(2026, 5, 21)))


@pytest.mark.parametrize("words", HOSTILE.values(), ids=HOSTILE)
def test_hostile_words_stay_words(words: str) -> None:
    text = metadata_xml(hostile(words))
    root = ElementTree.fromstring(text.encode())
    told = {found.text for found in root.iter(f"{GCO}CharacterString")}
    kept = "".join(c for c in words if c not in "\x00\x07\x1b\ud800").replace("\r\n", "\n")
    assert kept in told
    assert "<script>" not in text
    plain = metadata_text(hostile(words))
    assert all(line.isprintable() for line in plain.splitlines())
    assert max(map(len, plain.splitlines())) <= 305  # one word may be long


def test_the_text_says_it_plainly(tmp_path: Path) -> None:
    files = write_metadata(FULL, tmp_path / "metadata.xml")
    assert [file.name for file in files] == ["metadata.xml", "metadata.txt"]
    plain = files[1].read_text(encoding="utf-8")
    for line in (
        "  root mean square of lines left out: 0.5289 m (1095 soundings)",
        "  share within the 90 % band: 0.94",
        "  2026-05-12 to 2026-05-14",
        "  1. read soundings: 8171 came out",
        "  WGS 84 / UTM zone 25N, EPSG:32625",
        "  Mind thin ice.",
    ):
        assert line in plain.splitlines()
    assert ElementTree.parse(files[0]).getroot().tag.endswith("MD_Metadata")


def test_what_is_not_known_has_no_heading() -> None:
    assert [line for line in metadata_text(LEAST).splitlines() if line and line[0] != " "] == [
        *("Bed of a pond", "=============", "Made", "Keywords")
    ]


def test_what_cannot_be_is_refused() -> None:
    with pytest.raises(ParameterError, match=r"title must say something, got '  '"):
        replace(FULL, title="  ")
    with pytest.raises(ParameterError, match=r"south, east, north in degrees, got 0, 91, 0, 92"):
        replace(FULL, bounds=(0, 91, 0, 92))
    with pytest.raises(ParameterError, match=r"got 376102, 5.11673e\+06, 376906, 5.11727e\+06"):
        replace(FULL, bounds=(376102, 5116730, 376906, 5117272))
    replace(FULL, bounds=(179.9, -1, -179.9, 1))  # across the date line
