"""QML: a style in the own language of QGIS, which opens a layer with it.

QGIS reads Styled Layer Descriptors when asked to, but neither by itself nor for rasters; the style
it opens a layer with is this one.
"""

from collections.abc import Iterable
from functools import singledispatch
from typing import Any
from uuid import NAMESPACE_URL, uuid5
from xml.etree.ElementTree import Element, SubElement, indent, tostring

from toolbox.report.styles.qml_labels import add_labels
from toolbox.report.styles.qml_parts import MM, condition, rgba
from toolbox.report.styles.signs import Area, Line, Map, Point, Rule, Style, Symbol, Text
from toolbox.report.styles.words import allowed, title

__all__ = ["qml"]

_DOCTYPE = "<!DOCTYPE qgis PUBLIC 'http://mrcc.com/qgis.dtd' 'SYSTEM'>\n"
_VERSION = "3.22.0"
_SHAPES = {"x": "cross2"}
_KINDS = {Line: "line", Area: "fill", Point: "marker"}


def qml(style: Style) -> str:
    """Return a style as XML in the language of QGIS 3, the same for the same style."""
    root = Element("qgis", version=_VERSION)
    if isinstance(style.body, Map):
        _raster(SubElement(SubElement(root, "pipe"), "rasterrenderer"), style.body)
    else:
        root.set("styleCategories", "Symbology|Labeling")
        _vector(root, style.body, style.name)
    indent(root, " ")
    return _DOCTYPE + tostring(root, encoding="unicode") + "\n"


def _vector(root: Element, body: Iterable[Rule], name: str) -> None:
    drawn = [rule for rule in body if not isinstance(rule.symbols, Text)]
    if drawn:
        renderer = SubElement(root, "renderer-v2", type="RuleRenderer", symbollevels="0")
        rules = SubElement(renderer, "rules", key=_key(name, "rules"))
        symbols = SubElement(renderer, "symbols")
        for place, rule in enumerate(drawn):
            _rule(rules, symbols, rule, _key(name, f"rule {place}"))
    else:
        SubElement(root, "renderer-v2", type="nullSymbol")
    add_labels(root, [rule for rule in body if isinstance(rule.symbols, Text)])


def _rule(rules: Element, symbols: Element, rule: Rule, key: str) -> None:
    """Add a rule; symbols of other kinds of shapes get rules of their own."""
    assert not isinstance(rule.symbols, Text)
    for kind in dict.fromkeys(map(type, rule.symbols)):
        number = str(len(symbols))
        told = {"key": key, "label": title(rule.title), "symbol": number}
        if rule.where is not None:
            told["filter"] = condition(rule.where)
        if rule.widest is not None:
            told |= {"scalemindenom": "1", "scalemaxdenom": f"{rule.widest:.0f}"}
        SubElement(rules, "rule", told)
        symbol = SubElement(
            symbols, "symbol", name=number, type=_KINDS[kind], alpha="1", clip_to_extent="1"
        )
        for part in rule.symbols:
            if type(part) is kind:
                _add(part, symbol)


def _key(name: str, part: str) -> str:
    """Return what QGIS tells rules apart by, the same in every run."""
    return "{" + str(uuid5(NAMESPACE_URL, f"{allowed(name)}/{part}")) + "}"


def _add(part: Symbol, symbol: Element) -> None:
    kind, told = _layer(part)
    layer = SubElement(symbol, "layer", {"class": kind, "enabled": "1", "pass": "0", "locked": "0"})
    for key, value in told.items():
        SubElement(layer, "prop", k=key, v=value)


@singledispatch
def _layer(part: Any) -> tuple[str, dict[str, str]]:
    raise TypeError(f"no such symbol: {part!r}")


@_layer.register
def _line(part: Line) -> tuple[str, dict[str, str]]:
    told = {
        "line_color": rgba(part.colour, part.opacity),
        "line_width": f"{part.width * MM:.3f}",
        "line_width_unit": "MM",
        "line_style": "solid",
        "joinstyle": "round",
        "capstyle": "flat" if part.dashes else "round",
        "use_custom_dash": "1" if part.dashes else "0",
        "customdash": ";".join(f"{dash * MM:.3f}" for dash in part.dashes) or "5;2",
        "customdash_unit": "MM",
    }
    return "SimpleLine", told


@_layer.register
def _area(part: Area) -> tuple[str, dict[str, str]]:
    told = _painted(part) | {"style": "no" if part.fill is None else "solid"}
    if part.edge is not None and part.edge.dashes:
        told["outline_style"] = "dash"
    return "SimpleFill", told


@_layer.register
def _point(part: Point) -> tuple[str, dict[str, str]]:
    told = {
        "name": _SHAPES.get(part.shape, part.shape),
        "size": f"{part.size * MM:.3f}",
        "size_unit": "MM",
        "scale_method": "diameter",
    }
    return "SimpleMarker", told | _painted(part)


def _painted(part: Area | Point) -> dict[str, str]:
    told = {"color": rgba(part.fill or "#ffffff", part.opacity if part.fill else 0.0)}
    if part.edge is None:
        return told | {"outline_style": "no"}
    return told | {
        "outline_color": rgba(part.edge.colour, part.edge.opacity),
        "outline_width": f"{part.edge.width * MM:.3f}",
        "outline_width_unit": "MM",
        "outline_style": "solid",
        "joinstyle": "round",
    }


def _raster(renderer: Element, colours: Map) -> None:
    for key, value in {"band": "1", "opacity": "1", "alphaBand": "-1"}.items():
        renderer.set(key, value)
    if colours.classes:
        renderer.set("type", "paletted")
        entries, name = SubElement(renderer, "colorPalette"), "paletteEntry"
    else:
        least, most = (f"{colours.entries[place].value:.9g}" for place in (0, -1))
        renderer.set("type", "singlebandpseudocolor")
        renderer.set("classificationMin", least)
        renderer.set("classificationMax", most)
        shader = {"colorRampType": "INTERPOLATED", "classificationMode": "1", "clip": "0"}
        shader |= {"minimumValue": least, "maximumValue": most}
        entries = SubElement(SubElement(renderer, "rastershader"), "colorrampshader", shader)
        name = "item"
    for entry in colours.entries:
        told = {"value": f"{entry.value:.9g}", "color": entry.colour}
        told |= {"alpha": str(round(255 * entry.opacity)), "label": allowed(entry.label)}
        SubElement(entries, name, told)
