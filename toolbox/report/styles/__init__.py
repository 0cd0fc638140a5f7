"""Styles: how layers and rasters look in a desktop GIS.

A style is made once and written in two languages: as an OGC Styled Layer Descriptor (:func:`sld`),
for map servers and most desktop GISs, and as QML (:func:`qml`), the one QGIS opens a layer with.
Of the versions of the descriptor it is 1.0.0, which all of them read; the later one (Symbology
Encoding 1.1) is read by fewer, and differently. Colours are those of the pictures:
:mod:`toolbox.report.drawing`.
"""

from toolbox.report.styles.classes import CODED, ValueClass, classes_of
from toolbox.report.styles.layers import layer_style
from toolbox.report.styles.qml import qml
from toolbox.report.styles.rasters import raster_style
from toolbox.report.styles.run import run_layer_styles, style_text
from toolbox.report.styles.signs import Style
from toolbox.report.styles.sld import sld

__all__ = [
    "CODED",
    "Style",
    "ValueClass",
    "classes_of",
    "layer_style",
    "qml",
    "raster_style",
    "run_layer_styles",
    "sld",
    "style_text",
]
