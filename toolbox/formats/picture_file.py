"""Pictures as PNG, SVG or PDF: the same bytes for the same picture, whatever the machine is set to.

The letters of an SVG stay text, those of a PDF are embedded as TrueType; no file holds a date.
"""

import io
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Literal

from toolbox.errors import ParameterError
from toolbox.layers.picture import Picture

__all__ = ["PICTURE_SUFFIXES", "figure_of", "picture_bytes", "write_picture"]

PICTURE_SUFFIXES = (".png", ".svg", ".pdf")
"""Of the files a picture can be written to, the usual first."""

Kind = Literal["png", "svg", "pdf"]

_MM_PER_INCH = 25.4
_POINTS = 72  # to an inch: what SVG and PDF are laid out in
_MOST_PIXELS = 150_000_000
_RULES: Any = {
    "svg.fonttype": "none",
    "svg.hashsalt": "picture",
    "pdf.fonttype": 42,
    "path.simplify": False,
    "savefig.bbox": None,
}


def write_picture(picture: Picture, path: Path) -> None:
    """Draw a picture and write it as what the suffix of `path` says.

    Raises
    ------
    ParameterError
        If a PNG would hold too many dots.
    """
    kind: Any = path.suffix.lower().removeprefix(".")
    path.write_bytes(picture_bytes(picture, kind))


def picture_bytes(picture: Picture, kind: Kind = "png") -> bytes:
    """Draw a picture and return the file.

    Parameters
    ----------
    picture : Picture
        To draw.
    kind : str
        ``"png"``, ``"svg"`` or ``"pdf"``.

    Returns
    -------
    bytes
        The same for the same picture.

    Raises
    ------
    ParameterError
        If a PNG would hold too many dots.
    """
    file = io.BytesIO()
    with _settled():
        figure = figure_of(picture, kind)
        figure.savefig(
            file,
            format=kind,
            dpi=picture.dpi,
            facecolor=figure.get_facecolor(),
            metadata=_about(picture, kind),
        )
    return file.getvalue()


def figure_of(picture: Picture, kind: Kind = "png") -> Any:
    """Return the matplotlib figure on which a picture is drawn, of its size."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    with _settled():
        dots = picture.dpi if kind == "png" else _POINTS
        figure = Figure(figsize=_inches(picture, kind), dpi=dots, layout="constrained")
        FigureCanvasAgg(figure)
        picture.draw(figure)
    return figure


def _inches(picture: Picture, kind: Kind) -> tuple[float, float]:
    """Width and height; for dots, those of a whole number of them."""
    sides = [side / _MM_PER_INCH for side in (picture.width, picture.height)]
    if kind == "png":
        dots = [max(1, round(side * picture.dpi)) for side in sides]
        if dots[0] * dots[1] > _MOST_PIXELS:
            fits = int((_MOST_PIXELS / (sides[0] * sides[1])) ** 0.5)
            raise ParameterError(
                f"dpi must be at most {fits} for a PNG of {picture.width:g} by "
                f"{picture.height:g} mm, got {picture.dpi}"
            )
        sides = [(count + 1e-6) / picture.dpi for count in dots]  # counts are cut, not rounded
    return sides[0], sides[1]


def _about(picture: Picture, kind: Kind) -> dict[str, Any]:
    """Return title and no date nor program, in the words of each format."""
    absent = {"png": "Software", "svg": "Date", "pdf": "CreationDate"}
    title = "".join(c if c.isprintable() else " " for c in picture.title)  # XML takes no others
    told = {"Title": title} if title else {}
    return {absent[kind]: None, **told} | ({"Creator": None} if kind == "svg" else {})


@contextmanager
def _settled() -> Iterator[None]:
    """Draw by these rules, not by those of the machine; letters no font has become boxes."""
    import matplotlib

    with warnings.catch_warnings(), matplotlib.rc_context():
        warnings.filterwarnings("ignore", "Glyph .* missing from font")
        warnings.filterwarnings("ignore", "Matplotlib currently does not support .* natively")
        matplotlib.rcdefaults()
        matplotlib.rcParams.update(_RULES)
        yield
