"""Metadata as XML: ISO 19115-1:2014 in the encoding of ISO/TS 19115-3."""

from typing import TYPE_CHECKING
from uuid import NAMESPACE_URL, uuid5
from xml.etree.ElementTree import Element, SubElement, register_namespace

from toolbox.formats.xml_text import xml_characters

if TYPE_CHECKING:
    from datetime import date

    from toolbox.formats.metadata_file import Metadata, Quality

__all__ = ["metadata_element"]

_ISO = "http://standards.iso.org/iso/"
_SPACES = {
    name: f"{_ISO}19115/-3/{name}/{version}"
    for name, version in {
        "cit": "2.0",
        "gco": "1.0",
        "gex": "1.0",
        "lan": "1.0",
        "mcc": "1.0",
        "mco": "1.0",
        "mdb": "2.0",
        "mrd": "1.0",
        "mri": "1.0",
        "mrl": "2.0",
        "mrs": "1.0",
    }.items()
} | {"mdq": f"{_ISO}19157/-2/mdq/1.0", "gml": "http://www.opengis.net/gml/3.2"}
_SIDES = ("westBoundLongitude", "eastBoundLongitude", "southBoundLatitude", "northBoundLatitude")
_CODES = f"{_ISO}19115/resources/Codelists/cat/codelists.xml"


def metadata_element(told: "Metadata") -> Element:
    """Return metadata as the root of an XML document."""
    for prefix, address in _SPACES.items():
        register_namespace(prefix, address)
    root = Element(_name("mdb:MD_Metadata"))
    _words(_add(root, "mdb:metadataIdentifier", "mcc:MD_Identifier"), "mcc:code", _identity(told))
    locale = _add(root, "mdb:defaultLocale", "lan:PT_Locale")
    _code(locale, "lan:language", "lan:LanguageCode", "eng")
    _code(locale, "lan:characterEncoding", "lan:MD_CharacterSetCode", "utf8")
    scope = _add(root, "mdb:metadataScope", "mdb:MD_MetadataScope")
    _code(scope, "mdb:resourceScope", "mcc:MD_ScopeCode", "dataset")
    _contact(root, "mdb:contact", told.contact)
    _date(root, "mdb:dateInfo", told.made, "creation")
    standard = _add(root, "mdb:metadataStandard", "cit:CI_Citation")
    _words(standard, "cit:title", "ISO 19115-1 Geographic information: Metadata, fundamentals")
    _words(standard, "cit:edition", "2014")
    _reference(root, told)
    _identification(_add(root, "mdb:identificationInfo", "mri:MD_DataIdentification"), told)
    if told.quality:
        _quality(_add(root, "mdb:dataQualityInfo", "mdq:DQ_DataQuality"), told)
    if told.steps or told.sources:
        _lineage(_add(root, "mdb:resourceLineage", "mrl:LI_Lineage"), told)
    return root


def _identity(told: "Metadata") -> str:
    """Return the same name for the same title and day."""
    return str(uuid5(NAMESPACE_URL, xml_characters(f"{told.title}/{told.made.isoformat()}")))


def _identification(found: Element, told: "Metadata") -> None:
    citation = _add(found, "mri:citation", "cit:CI_Citation")
    _words(citation, "cit:title", told.title)
    _date(citation, "cit:date", told.made, "creation")
    _words(found, "mri:abstract", told.abstract or told.title)
    _contact(found, "mri:pointOfContact", told.contact)
    for shape in ("grid", "vector"):
        listed = "mcc:MD_SpatialRepresentationTypeCode"
        _code(found, "mri:spatialRepresentationType", listed, shape)
    if told.resolution is not None:
        resolution = _add(found, "mri:spatialResolution", "mri:MD_Resolution", "mri:distance")
        SubElement(resolution, _name("gco:Distance"), uom="m").text = f"{told.resolution:.9g}"
    for topic in ("inlandWaters", "elevation"):
        _add(found, "mri:topicCategory", "mri:MD_TopicCategoryCode").text = topic
    _extent(_add(found, "mri:extent", "gex:EX_Extent"), told)
    for name in told.formats:
        kind = _add(found, "mri:resourceFormat", "mrd:MD_Format")
        citation = _add(kind, "mrd:formatSpecificationCitation", "cit:CI_Citation")
        _words(citation, "cit:title", name)
    if told.keywords:
        keywords = _add(found, "mri:descriptiveKeywords", "mri:MD_Keywords")
        for word in told.keywords:
            _words(keywords, "mri:keyword", word)
    if told.cautions:
        limits = _add(found, "mri:resourceConstraints", "mco:MD_Constraints")
        for caution in told.cautions:
            _words(limits, "mco:useLimitation", caution)
    more = [f"Depths are in metres, positive down, below: {told.datum}." if told.datum else ""]
    more.append(told.remarks)
    if any(more):
        _words(found, "mri:supplementalInformation", " ".join(filter(None, more)))


def _extent(found: Element, told: "Metadata") -> None:
    if told.bounds is None:
        _words(found, "gex:description", "on a plane, place on the earth not told")
    else:
        box = _add(found, "gex:geographicElement", "gex:EX_GeographicBoundingBox")
        west, south, east, north = told.bounds
        for name, degrees in zip(_SIDES, (west, east, south, north), strict=True):
            _add(box, f"gex:{name}", "gco:Decimal").text = f"{degrees:.7f}"
    if told.surveyed:
        when = _add(found, "gex:temporalElement", "gex:EX_TemporalExtent", "gex:extent")
        period = _add(when, "gml:TimePeriod")
        period.set(_name("gml:id"), "surveyed")
        ends = (min(told.surveyed), max(told.surveyed))
        for name, day in zip(("begin", "end"), ends, strict=True):
            _add(period, f"gml:{name}Position").text = day.isoformat()


def _reference(root: Element, told: "Metadata") -> None:
    system = _add(root, "mdb:referenceSystemInfo", "mrs:MD_ReferenceSystem")
    known = _add(system, "mrs:referenceSystemIdentifier", "mcc:MD_Identifier")
    space, _, code = told.crs_code.partition(":")
    _words(known, "mcc:code", code or told.crs or "a plane")
    if code:
        _words(known, "mcc:codeSpace", space)
        _words(known, "mcc:description", told.crs)


def _quality(found: Element, told: "Metadata") -> None:
    scope = _add(found, "mdq:scope", "mcc:MD_Scope")
    _code(scope, "mcc:level", "mcc:MD_ScopeCode", "dataset")
    for one in told.quality:
        _report(found, one)


def _report(found: Element, one: "Quality") -> None:
    kind = "CompletenessOmission" if one.complete else "AbsoluteExternalPositionalAccuracy"
    report = _add(found, "mdq:report", f"mdq:DQ_{kind}")
    measure = _add(report, "mdq:measure", "mdq:DQ_MeasureReference")
    _words(measure, "mdq:nameOfMeasure", one.measure)
    if one.about:
        _words(measure, "mdq:measureDescription", one.about)
    result = _add(report, "mdq:result", "mdq:DQ_QuantitativeResult")
    _add(result, "mdq:value", "gco:Record").text = f"{one.value:.6g}"
    if one.unit != "1":
        unit = _add(result, "mdq:valueUnit", "gml:BaseUnit")
        unit.set(_name("gml:id"), f"unit{len(found)}")
        _add(unit, "gml:identifier").text = one.unit
        unit[-1].set("codeSpace", "http://www.opengis.net/def/uom/UCUM/")
        _add(unit, "gml:unitsSystem").set(
            "{http://www.w3.org/1999/xlink}href", "http://unitsofmeasure.org"
        )


def _lineage(found: Element, told: "Metadata") -> None:
    _words(found, "mrl:statement", "; ".join(told.steps) or "See sources.")
    for source in told.sources:
        _words(_add(found, "mrl:source", "mrl:LI_Source"), "mrl:description", source)
    for step in told.steps:
        _words(_add(found, "mrl:processStep", "mrl:LI_ProcessStep"), "mrl:description", step)


def _contact(parent: Element, name: str, words: str) -> None:
    found = _add(parent, name, "cit:CI_Responsibility")
    _code(found, "cit:role", "cit:CI_RoleCode", "pointOfContact")
    _words(_add(found, "cit:party", "cit:CI_Individual"), "cit:name", words or "not told")


def _date(parent: Element, name: str, day: "date", kind: str) -> None:
    found = _add(parent, name, "cit:CI_Date")
    _add(found, "cit:date", "gco:Date").text = day.isoformat()
    _code(found, "cit:dateType", "cit:CI_DateTypeCode", kind)


def _code(parent: Element, name: str, kind: str, value: str) -> None:
    local = kind.partition(":")[2]
    told = {"codeList": f"{_CODES}#{local}", "codeListValue": value}
    SubElement(_add(parent, name), _name(kind), told).text = value


def _words(parent: Element, name: str, words: str) -> None:
    _add(parent, name, "gco:CharacterString").text = xml_characters(words)


def _add(parent: Element, *names: str) -> Element:
    for name in names:
        parent = SubElement(parent, _name(name))
    return parent


def _name(short: str) -> str:
    prefix, _, local = short.partition(":")
    return f"{{{_SPACES[prefix]}}}{local}"
