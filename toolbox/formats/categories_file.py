"""Categories on disk: what the codes of a raster mean, in the file beside it that GDAL reads."""

from collections.abc import Mapping, Sequence
from pathlib import Path
from xml.etree.ElementTree import Element, SubElement, indent, tostring

__all__ = ["write_categories"]

_WHOLE, _TEXT = "0", "2"  # kinds of columns
_VALUE, _NAME, _RED, _GREEN, _BLUE = "5", "2", "6", "7", "8"  # and what they are used for
_COLUMNS = (
    ("Value", _WHOLE, _VALUE),
    ("Name", _TEXT, _NAME),
    ("Red", _WHOLE, _RED),
    ("Green", _WHOLE, _GREEN),
    ("Blue", _WHOLE, _BLUE),
)


def write_categories(classes: Mapping[int, tuple[str, str]], raster: Path) -> Path:
    """Write names and colours of codes beside a raster, as ``landforms.tif.aux.xml``.

    Parameters
    ----------
    classes : mapping of tuple
        Name and colour, as ``#rrggbb``, by code from 0.
    raster : Path
        The raster.

    Returns
    -------
    Path
        The file written: a raster attribute table, and the list of names by code.
    """
    root = Element("PAMDataset")
    band = SubElement(root, "PAMRasterBand", band="1")
    names = SubElement(band, "CategoryNames")
    for code in range(max(classes) + 1):
        SubElement(names, "Category").text = classes.get(code, ("", ""))[0]
    table = SubElement(band, "GDALRasterAttributeTable", tableType="thematic")
    for number, column in enumerate(_COLUMNS):
        field = SubElement(table, "FieldDefn", index=str(number))
        for key, value in zip(("Name", "Type", "Usage"), column, strict=True):
            SubElement(field, key).text = value
    for number, (code, (name, colour)) in enumerate(sorted(classes.items())):
        _row(SubElement(table, "Row", index=str(number)), code, name, colour)
    indent(root, " ")
    beside = raster.with_name(raster.name + ".aux.xml")
    beside.write_text(tostring(root, encoding="unicode") + "\n", encoding="utf-8")
    return beside


def _row(row: Element, code: int, name: str, colour: str) -> None:
    parts: Sequence[int] = bytes.fromhex(colour.lstrip("#"))
    for value in (code, name, *parts):
        SubElement(row, "F").text = str(value)
