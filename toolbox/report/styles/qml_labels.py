"""QML labels: words beside features, as QGIS writes them."""

from collections.abc import Sequence
from xml.etree.ElementTree import Element, SubElement

from toolbox.report.styles.qml_parts import MM, condition, rgba
from toolbox.report.styles.signs import Rule, Text
from toolbox.report.styles.words import title

__all__ = ["add_labels"]

_POINTS = 72 / 25.4  # to a millimetre
_UP_AND_RIGHT, _OVER = "2", "4"  # where words stand around a place
_AROUND, _ON = "6", {"point": "1", "area": "1", "line": "4"}  # wherever free, or on the shape


def add_labels(root: Element, rules: Sequence[Rule]) -> None:
    """Add rules for labels to a style, if there are any."""
    if not rules:
        return
    parent = SubElement(SubElement(root, "labeling", type="rule-based"), "rules", key="labels")
    for number, rule in enumerate(rules):
        told = {"key": f"label {number}", "description": title(rule.title)}
        if rule.where is not None:
            told["filter"] = condition(rule.where)
        if rule.widest is not None:
            told |= {"scalemindenom": "1", "scalemaxdenom": f"{rule.widest:.0f}"}
        assert isinstance(rule.symbols, Text)
        _settings(SubElement(parent, "rule", told), rule.symbols)


def _settings(rule: Element, words: Text) -> None:
    settings = SubElement(rule, "settings", calloutType="simple")
    style = {
        "fieldName": words.column,
        "isExpression": "0",
        "fontFamily": "DejaVu Sans",
        "fontSize": f"{words.size * MM * _POINTS:.2f}",
        "fontSizeUnit": "Point",
        "fontWeight": "75" if words.bold else "50",
        "namedStyle": "Bold" if words.bold else "Book",
        "textColor": rgba(words.colour),
        "textOpacity": "1",
    }
    buffer = {
        "bufferDraw": "1",
        "bufferSize": f"{1.5 * MM:.3f}",
        "bufferSizeUnits": "MM",
        "bufferColor": rgba(words.halo),
        "bufferOpacity": "1",
    }
    SubElement(SubElement(settings, "text-style", style), "text-buffer", buffer)
    SubElement(settings, "placement", _placement(words))
    # the places of depths on isobaths are chosen: all are shown
    shown = {"displayAll": "1" if words.turned else "0", "obstacle": "0", "drawLabels": "1"}
    SubElement(settings, "rendering", shown)
    if words.turned is not None:
        _turned(SubElement(settings, "dd_properties"), words.turned)


def _placement(words: Text) -> dict[str, str]:
    if words.centred:
        return {"placement": _ON[words.shape], "quadOffset": _OVER, "priority": "8"}
    away = max(words.away) * MM
    return {
        "placement": _AROUND,
        "quadOffset": _UP_AND_RIGHT,
        "dist": f"{away:.3f}",
        "distUnits": "MM",
        "offsetType": "1",
        "predefinedPositionOrder": "TR,R,BR,TL,L,BL,TSR,BSR",
        "priority": "8",
    }


def _turned(parent: Element, column: str) -> None:
    """Let each label have the angle that its row tells."""
    top = SubElement(parent, "Option", type="Map")
    SubElement(top, "Option", name="name", type="QString", value="")
    known = SubElement(top, "Option", name="properties", type="Map")
    told = SubElement(known, "Option", name="LabelRotation", type="Map")
    SubElement(told, "Option", name="active", type="bool", value="true")
    SubElement(told, "Option", name="field", type="QString", value=column)
    SubElement(told, "Option", name="type", type="int", value="2")
    SubElement(top, "Option", name="type", type="QString", value="collection")
