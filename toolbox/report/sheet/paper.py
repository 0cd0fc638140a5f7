"""Paper: what a sheet is printed on, and boxes upon it."""

from dataclasses import dataclass
from typing import Literal

__all__ = ["EDGE", "MM", "Box", "Paper", "page_size", "pocket_paper", "type_size"]

Paper = Literal["A4", "A3", "A2", "Letter", "Tabloid"]
"""Papers a sheet is made for."""

MM = 72 / 25.4
"""Points to a millimetre."""

EDGE = 8 * MM
"""What is left free along the edges, because printers at home do not reach further."""

_SIZES_MM: dict[Paper, tuple[float, float]] = {
    "A4": (210.0, 297.0),
    "A3": (297.0, 420.0),
    "A2": (420.0, 594.0),
    "Letter": (215.9, 279.4),
    "Tabloid": (279.4, 431.8),
}
_TYPE: dict[Paper, float] = {"A4": 6.0, "Letter": 6.0, "A3": 7.0, "Tabloid": 7.0, "A2": 8.5}


@dataclass(frozen=True)
class Box:
    """A rectangle on paper, points from its lower left corner."""

    left: float
    bottom: float
    right: float
    top: float

    @property
    def width(self) -> float:
        """From left to right."""
        return self.right - self.left

    @property
    def height(self) -> float:
        """From bottom to top."""
        return self.top - self.bottom

    @property
    def centre(self) -> tuple[float, float]:
        """Its middle."""
        return (self.left + self.right) / 2, (self.bottom + self.top) / 2

    @property
    def corners(self) -> list[tuple[float, float]]:
        """Its corners, counter-clockwise."""
        left, bottom, right, top = self.left, self.bottom, self.right, self.top
        return [(left, bottom), (right, bottom), (right, top), (left, top)]

    def inside(
        self, left: float = 0.0, bottom: float = 0.0, right: float = 0.0, top: float = 0.0
    ) -> "Box":
        """Return what is left of it when that much is taken off each side."""
        return Box(self.left + left, self.bottom + bottom, self.right - right, self.top - top)


def page_size(paper: Paper, *, landscape: bool) -> tuple[float, float]:
    """Return width and height of a sheet, points."""
    narrow, long = (side * MM for side in _SIZES_MM[paper])
    return (long, narrow) if landscape else (narrow, long)


def type_size(paper: Paper) -> float:
    """Return the size of plain type, points: a larger sheet is read from further off."""
    return _TYPE[paper]


def pocket_paper(paper: Paper) -> Paper:
    """Return the paper of cards for the pocket, which everybody can print."""
    return "Letter" if paper in ("Letter", "Tabloid") else "A4"
