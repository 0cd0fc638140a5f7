"""Form layers: the style of what was found on the bed, kind by kind."""

from toolbox.report.styles.colours import EDGE, FLOW, FORMS, HOLLOW, PAPER, RISE
from toolbox.report.styles.look import Look
from toolbox.report.styles.signs import Area, Equals, Line, Rule, Symbol

__all__ = ["features"]


def features(look: Look) -> list[Rule]:
    """Draw each kind of form as on the picture of marks, over a pale line that parts it."""
    del look
    return [Rule(kind, sign, Equals("kind", kind)) for kind, sign in _SIGNS.items()]


def _over(colour: str, width: float, dashes: tuple[float, ...] = ()) -> tuple[Symbol, ...]:
    return (Line(PAPER, width + 2, opacity=0.6), Line(colour, width, dashes))


def _round(colour: str, opacity: float, dashes: tuple[float, ...] = ()) -> tuple[Symbol, ...]:
    pale = Area(edge=Line(PAPER, 4.0, opacity=0.6))
    return (pale, Area(colour, opacity, Line(colour, 2.0, dashes)))


_SIGNS: dict[str, tuple[Symbol, ...]] = {
    "shelf": _round(FORMS["shelf"], 0.15, (2, 3)),
    "gully": _round(FLOW, 0.18),
    "hump": _round(RISE, 0.18, (3, 3)),
    "bar": _round(RISE, 0.18, (7, 3)),
    "plateau": _round(RISE, 0.1, (10, 3)),
    "hole": _round(HOLLOW, 0.25),
    "gully axis": _over(FLOW, 2.2, (9, 3, 2, 3)),
    "drop-off foot": _over(EDGE, 2.2, (7, 3)),
    "drop-off lip": _over(EDGE, 2.6),
}
"""Areas first, so that lines are seen over them."""
