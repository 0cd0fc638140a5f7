"""Pen: text, lines and areas on a page of PDF."""

import io
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np

from toolbox.report.drawing import INK
from toolbox.report.pdf_tables import BOLD, FONT, register_fonts
from toolbox.report.sheet.lettering import LEADING, width_of
from toolbox.report.sheet.paper import Box
from toolbox.report.text import short

__all__ = ["Pen"]

_QUALITY = 92  # at which no eye tells even colours from those given
_CAP = 0.73  # height of a capital or a digit, in sizes of the type


class Pen:
    """Draws on the pages of one file; points from the lower left corner.

    Parameters
    ----------
    path : Path
        File to write.
    title, author : str
        What the file says it is, taken literally.
    made : date
        Day of its making: the same drawing gives the same bytes.
    """

    def __init__(self, path: Path, *, title: str, author: str, made: date) -> None:
        from reportlab.pdfgen.canvas import Canvas

        register_fonts()
        first: Any = FONT  # else one that is not in the file
        self.canvas: Any = Canvas(
            str(path), pageCompression=1, invariant=1, initialFontName=first, lang="en"
        )
        self.canvas.setTitle(short(title, 200))
        self.canvas.setAuthor(short(author, 200))
        self.canvas.setCreator("Leadline")
        self.canvas.setDateFormatter(lambda *_: f"D:{made:%Y%m%d}000000Z")
        self.blocks: list[tuple[int, str, Box]] = []

    def page(self, size: tuple[float, float]) -> Box:
        """Begin a page; return all of it."""
        self.canvas.setPageSize(size)
        return Box(0, 0, *size)

    def turn_over(self) -> None:
        """End a page."""
        self.canvas.showPage()

    def save(self) -> None:
        """Write the file."""
        self.canvas.save()

    def block(self, name: str, box: Box) -> None:
        """Note that a part of the page is taken."""
        self.blocks.append((self.canvas.getPageNumber(), name, box))

    def text(
        self,
        place: tuple[float, float],
        words: str,
        size: float,
        *,
        bold: bool = False,
        colour: str = INK,
        align: str = "left",
        angle: float = 0.0,
    ) -> None:
        """Write one line, its base at a place; ``"middle"`` centres it both ways.

        `angle` turns it counter-clockwise, degrees.
        """
        canvas = self.canvas
        canvas.saveState()
        canvas.translate(*place)
        canvas.rotate(angle)
        canvas.setFont(BOLD if bold else FONT, size)
        canvas.setFillColor(colour)
        wide = width_of(words, size, bold=bold)
        start = {"left": 0.0, "right": -wide}.get(align, -wide / 2)
        canvas.drawString(start, -_CAP * size / 2 if align == "middle" else 0.0, words)
        canvas.restoreState()

    def lines(
        self, place: tuple[float, float], lines: Sequence[str], size: float, **how: Any
    ) -> float:
        """Write lines below a place; return where the last one ends."""
        left, top = place
        for number, words in enumerate(lines):
            self.text((left, top - (number * LEADING + 1) * size), words, size, **how)
        return top - len(lines) * LEADING * size

    def line(
        self, places: Any, *, colour: str = INK, width: float = 0.5, dashes: Sequence[float] = ()
    ) -> None:
        """Draw a line through places, (n, 2)."""
        self.shapes([places], stroke=colour, width=width, dashes=dashes)

    def rectangle(self, box: Box, **how: Any) -> None:
        """Draw a box."""
        self.shapes([box.corners], close=True, **how)

    def shapes(
        self,
        parts: Sequence[Any],
        *,
        close: bool = False,
        stroke: str | None = None,
        fill: str | None = None,
        width: float = 0.5,
        dashes: Sequence[float] = (),
        opacity: float = 1.0,
    ) -> None:
        """Draw lines or rings at once; rings within rings are holes."""
        canvas = self.canvas
        canvas.saveState()
        canvas.setLineJoin(1)
        canvas.setLineWidth(width)
        canvas.setDash(list(dashes))
        if stroke is not None:
            canvas.setStrokeColor(stroke)
        if fill is not None:
            canvas.setFillColor(fill)
            canvas.setFillAlpha(opacity)
        canvas.drawPath(
            self._path(parts, close),
            stroke=int(stroke is not None),
            fill=int(fill is not None),
            fillMode=0,
        )
        canvas.restoreState()

    def dots(self, places: np.ndarray, radius: float, colour: str) -> None:
        """Draw small squares."""
        canvas = self.canvas
        path = canvas.beginPath()
        for across, up in places:
            path.rect(across - radius, up - radius, 2 * radius, 2 * radius)
        canvas.saveState()
        canvas.setFillColor(colour)
        canvas.drawPath(path, stroke=0, fill=1, fillMode=1)
        canvas.restoreState()

    def circle(self, place: tuple[float, float], radius: float, **how: Any) -> None:
        """Draw a circle."""
        around = np.linspace(0, 2 * np.pi, 48, endpoint=False)
        ring = np.column_stack([np.cos(around), np.sin(around)]) * radius + place
        self.shapes([ring], close=True, **how)

    def picture(self, box: Box, colours: np.ndarray) -> None:
        """Fill a box with colours, (rows, cols, 3) of 0 to 255."""
        from PIL import Image
        from reportlab.lib.utils import ImageReader

        file = io.BytesIO()
        Image.fromarray(colours).save(file, "JPEG", quality=_QUALITY, subsampling=0)
        file.seek(0)
        self.canvas.drawImage(ImageReader(file), box.left, box.bottom, box.width, box.height)

    @contextmanager
    def clipped(self, parts: Sequence[Any]) -> Iterator[None]:
        """Draw only within rings; rings within rings are holes."""
        self.canvas.saveState()
        self.canvas.clipPath(self._path(parts, True), stroke=0, fill=0, fillMode=0)
        yield
        self.canvas.restoreState()

    def _path(self, parts: Sequence[Any], close: bool) -> Any:
        path = self.canvas.beginPath()
        for part in parts:
            places = np.asarray(part, float)
            path.moveTo(*places[0])
            for place in places[1:]:
                path.lineTo(*place)
            if close:
                path.close()
        return path
