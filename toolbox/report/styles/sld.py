"""SLD: a style as an OGC Styled Layer Descriptor 1.0.0."""

from functools import singledispatch
from typing import Any
from xml.etree.ElementTree import Element, SubElement, indent, register_namespace, tostring

from toolbox.report.styles.signs import (
    Area,
    Between,
    Condition,
    Entry,
    Equals,
    Is,
    Line,
    Map,
    Point,
    Rule,
    Style,
    Text,
)
from toolbox.report.styles.words import allowed, title

__all__ = ["sld"]

_APART = 0.4  # of codes, from that of a class to its ends
_SLD, _OGC = "{http://www.opengis.net/sld}", "{http://www.opengis.net/ogc}"


def sld(style: Style) -> str:
    """Return a style as XML of a Styled Layer Descriptor, the same for the same style."""
    register_namespace("sld", _SLD.strip("{}"))
    register_namespace("ogc", _OGC.strip("{}"))
    root = Element(f"{_SLD}StyledLayerDescriptor", version="1.0.0")
    layer = _sub(root, "NamedLayer")
    _sub(layer, "Name", style.name)
    user = _sub(layer, "UserStyle")
    _sub(user, "Name", style.name)
    _sub(user, "Title", style.title)
    _sub(user, "IsDefault", "1")
    kind = _sub(user, "FeatureTypeStyle")
    if isinstance(style.body, Map):
        _raster(_sub(kind, "Rule"), style.body)
    else:
        # words first: a reader that draws the last rule that fits would lose the lines beneath
        for rule in sorted(style.body, key=lambda rule: not isinstance(rule.symbols, Text)):
            _rule(_sub(kind, "Rule"), rule)
    indent(root, " ")
    return '<?xml version="1.0" encoding="UTF-8"?>\n' + tostring(root, encoding="unicode") + "\n"


def _rule(found: Element, rule: Rule) -> None:
    _sub(found, "Name", rule.title)
    _sub(found, "Title", rule.title)
    if rule.where is not None:
        _condition(SubElement(found, f"{_OGC}Filter"), rule.where)
    if rule.widest is not None:
        _sub(found, "MaxScaleDenominator", f"{rule.widest:.9g}")
    for symbol in (rule.symbols,) if isinstance(rule.symbols, Text) else rule.symbols:
        _symbol(symbol, found)


def _condition(parent: Element, where: Condition) -> None:
    if isinstance(where, Equals):
        _compare(parent, "EqualTo", where.column, where.value)
    elif isinstance(where, Is):  # some readers take yes for a number, some for a word
        either = SubElement(parent, f"{_OGC}Or")
        _compare(either, "EqualTo", where.column, str(int(where.value)))
        _compare(either, "EqualTo", where.column, str(where.value).lower())
    else:
        assert isinstance(where, Between)
        both = SubElement(parent, f"{_OGC}And")
        _compare(both, "GreaterThanOrEqualTo", where.column, f"{where.least:.12g}")
        _compare(both, "LessThan", where.column, f"{where.most:.12g}")


def _compare(parent: Element, how: str, column: str, value: str) -> None:
    found = SubElement(parent, f"{_OGC}PropertyIs{how}")
    SubElement(found, f"{_OGC}PropertyName").text = column
    SubElement(found, f"{_OGC}Literal").text = allowed(value)


@singledispatch
def _symbol(symbol: Any, rule: Element) -> None:
    raise TypeError(f"no such symbol: {symbol!r}")


@_symbol.register
def _line(symbol: Line, rule: Element) -> None:
    _stroke(_sub(rule, "LineSymbolizer"), symbol)


@_symbol.register
def _area(symbol: Area, rule: Element) -> None:
    _painted(_sub(rule, "PolygonSymbolizer"), symbol)


@_symbol.register
def _point(symbol: Point, rule: Element) -> None:
    graphic = _sub(_sub(rule, "PointSymbolizer"), "Graphic")
    mark = _sub(graphic, "Mark")
    _sub(mark, "WellKnownName", symbol.shape)
    _painted(mark, symbol)
    _sub(graphic, "Size", f"{symbol.size:g}")


@_symbol.register
def _text(symbol: Text, rule: Element) -> None:
    found = _sub(rule, "TextSymbolizer")
    SubElement(_sub(found, "Label"), f"{_OGC}PropertyName").text = symbol.column
    font = _sub(found, "Font")
    _css(font, "font-family", "DejaVu Sans")
    _css(font, "font-size", f"{symbol.size:g}")
    _css(font, "font-weight", "bold" if symbol.bold else "normal")
    _placed(_sub(_sub(found, "LabelPlacement"), "PointPlacement"), symbol)
    halo = _sub(found, "Halo")
    _sub(halo, "Radius", "1.5")
    _fill(halo, symbol.halo)
    _fill(found, symbol.colour)


def _placed(place: Element, words: Text) -> None:
    share, (right, up) = ("0.5", (0.0, 0.0)) if words.centred else ("0", words.away)
    anchor = _sub(place, "AnchorPoint")
    _sub(anchor, "AnchorPointX", share)
    _sub(anchor, "AnchorPointY", share)
    moved = _sub(place, "Displacement")
    _sub(moved, "DisplacementX", f"{right:g}")
    _sub(moved, "DisplacementY", f"{up:g}")
    if words.turned is not None:
        SubElement(_sub(place, "Rotation"), f"{_OGC}PropertyName").text = words.turned


def _raster(rule: Element, colours: Map) -> None:
    found = _sub(_sub(rule, "RasterSymbolizer"), "ColorMap")
    for entry in colours.entries:
        for value, label in _steps(entry, colours):
            told = {"color": entry.colour, "quantity": f"{value:.9g}"}
            told |= {"opacity": f"{entry.opacity:g}", "label": allowed(label)}
            SubElement(found, f"{_SLD}ColorMapEntry", told)


def _steps(entry: Entry, colours: Map) -> list[tuple[float, str]]:
    """Return the values at which a colour stands: around a class on both sides.

    The standard does not say whether colours between entries step or interpolate: so both do.
    """
    if colours.classes:
        return [(entry.value - _APART, entry.label), (entry.value + _APART, "")]
    return [(entry.value, entry.label)]


def _painted(parent: Element, symbol: Area | Point) -> None:
    if symbol.fill is not None:
        _fill(parent, symbol.fill, symbol.opacity)
    if symbol.edge is not None:
        _stroke(parent, symbol.edge)


def _fill(parent: Element, colour: str, opacity: float = 1.0) -> None:
    found = _sub(parent, "Fill")
    _css(found, "fill", colour)
    if opacity < 1:
        _css(found, "fill-opacity", f"{opacity:g}")


def _stroke(parent: Element, line: Line) -> None:
    found = _sub(parent, "Stroke")
    _css(found, "stroke", line.colour)
    _css(found, "stroke-width", f"{line.width:g}")
    if line.opacity < 1:
        _css(found, "stroke-opacity", f"{line.opacity:g}")
    if line.dashes:
        _css(found, "stroke-dasharray", " ".join(f"{dash:g}" for dash in line.dashes))


def _css(parent: Element, name: str, value: str) -> None:
    SubElement(parent, f"{_SLD}CssParameter", name=name).text = value


def _sub(parent: Element, name: str, words: str | None = None) -> Element:
    found = SubElement(parent, f"{_SLD}{name}")
    if words is not None:
        found.text = title(words)
    return found
