"""Signs: what is drawn for a feature, said once and written in each language of styles."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

__all__ = [
    "Area",
    "Between",
    "Condition",
    "Entry",
    "Equals",
    "Is",
    "Line",
    "Map",
    "Point",
    "Rule",
    "Shape",
    "Style",
    "Symbol",
    "Text",
]

Shape = Literal["square", "circle", "triangle", "star", "cross", "x"]
"""Names of signs that the Styled Layer Descriptor 1.0.0 defines, 11.3.2."""


@dataclass(frozen=True)
class Line:
    """A line; width and dashes in pixels of 0.28 mm."""

    colour: str
    width: float
    dashes: tuple[float, ...] = ()
    opacity: float = 1.0


@dataclass(frozen=True)
class Area:
    """A fill, an edge, or both."""

    fill: str | None = None
    opacity: float = 1.0
    edge: Line | None = None


@dataclass(frozen=True)
class Point:
    """A sign of a size in pixels."""

    shape: Shape
    size: float
    fill: str | None = None
    edge: Line | None = None
    opacity: float = 1.0


@dataclass(frozen=True)
class Text:
    """Words beside features.

    Parameters
    ----------
    column : str
        Holds the words.
    colour, halo : str
        Of letters and of what surrounds them.
    size : float
        Pixels.
    bold : bool
        Whether heavy.
    away : tuple of float
        Pixels to the right and up from the feature to the left lower corner of the words.
    centred : bool
        Whether the words stand on the feature instead.
    turned : str, optional
        Column of the angle, degrees clockwise.
    shape : str
        Of the features.
    """

    column: str
    colour: str
    halo: str
    size: float = 11.0
    bold: bool = False
    away: tuple[float, float] = (6.0, 4.0)
    centred: bool = False
    turned: str | None = None
    shape: Literal["point", "line", "area"] = "point"


@dataclass(frozen=True)
class Equals:
    """The condition that a column holds a word."""

    column: str
    value: str


@dataclass(frozen=True)
class Is:
    """The condition that a column of yes and no says this."""

    column: str
    value: bool


@dataclass(frozen=True)
class Between:
    """The condition that a column lies from the least up to, not including, the most."""

    column: str
    least: float
    most: float


Symbol = Line | Area | Point
Condition = Equals | Is | Between


@dataclass(frozen=True)
class Rule:
    """What is drawn, of which features, at which scales.

    Parameters
    ----------
    title : str
        As the legend calls it.
    symbols : tuple
        Drawn one over the other; words go by themselves.
    where : Condition, optional
        Which features.
    widest : float, optional
        Scale denominator below which it is drawn.
    """

    title: str
    symbols: tuple[Symbol, ...] | Text
    where: Condition | None = None
    widest: float | None = None


@dataclass(frozen=True)
class Entry:
    """A value of a raster and its colour."""

    value: float
    colour: str
    label: str
    opacity: float = 1.0


@dataclass(frozen=True)
class Map:
    """Values to colours, by rising value; unless they are classes, colours between interpolate."""

    entries: tuple[Entry, ...]
    classes: bool = False


@dataclass(frozen=True)
class Style:
    """How one layer looks.

    Parameters
    ----------
    name : str
        Of the layer.
    title : str
        For people.
    body : sequence of Rule, or Map
        Rules in the order of drawing, or the colours of a raster.
    """

    name: str
    title: str
    body: Sequence[Rule] | Map
