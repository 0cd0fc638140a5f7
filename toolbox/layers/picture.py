"""Picture: a figure that knows its size on paper and is drawn when it is written."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from toolbox.errors import LayerError

__all__ = ["Picture"]


@dataclass(frozen=True, eq=False)
class Picture:
    """A figure for paper or screen, not yet drawn.

    Parameters
    ----------
    draw : callable
        Given an empty matplotlib ``Figure`` of this size, it draws on it. It may be called several
        times, once a file, and draws the same each time.
    width, height : float
        On paper, mm.
    dpi : int
        Dots to an inch of what is written as dots: all of a PNG, rasters within SVG and PDF.
    title : str
        What it shows, for those who cannot see it and for lists of files.
    notes : tuple of str
        What a reader must know to use it.

    Raises
    ------
    LayerError
        If a measure is not positive.
    """

    draw: Callable[[Any], None]
    width: float
    height: float
    dpi: int = 300
    title: str = ""
    notes: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        for name in ("width", "height", "dpi"):
            if not 0 < getattr(self, name) < float("inf"):
                raise LayerError(
                    f"{name} of a picture must be positive, got {getattr(self, name)!r}"
                )
