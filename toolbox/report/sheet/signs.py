"""Signs: what stands for what on a sheet."""

from collections.abc import Sequence
from dataclasses import dataclass

from toolbox.report.drawing import INK

__all__ = [
    "FLOW",
    "GREEN",
    "GUESS",
    "SIGNS",
    "WATER_EDGE",
    "LineSign",
    "sign_of",
]

GREEN, FLOW, WATER_EDGE, GUESS = "#1b7837", "#08519c", "#16303f", "#5b6770"


@dataclass(frozen=True)
class LineSign:
    """How one kind of line is drawn, and what the legend calls it."""

    name: str
    colour: str
    width: float
    dashes: Sequence[float] = ()


_HUMP = LineSign("hump, bar, plateau", "#762a83", 1.1, (1.2, 1.2))
SIGNS: dict[str, LineSign] = {
    "drop-off lip": LineSign("lip of a drop-off", "#8c2d04", 1.4),
    "drop-off foot": LineSign("foot of a drop-off", "#8c2d04", 1.2, (4, 1.5)),
    "gully axis": LineSign("bottom of a gully", FLOW, 1.2, (7, 1.5, 1, 1.5)),
    "hump": _HUMP,
    "bar": _HUMP,
    "plateau": _HUMP,
    "hole": LineSign("hole", "#08306b", 1.8, (5, 1)),
}
"""Features that are drawn, by their kind."""


def sign_of(kind: str) -> LineSign:
    """Return how a kind of feature is drawn; an unknown one as a thin line."""
    return SIGNS.get(kind, LineSign(kind, INK, 0.6))
