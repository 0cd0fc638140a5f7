"""Classes: what the codes of a raster of kinds mean, and their colours."""

from dataclasses import dataclass

from toolbox.report.styles.colours import PAPER

__all__ = ["CODED", "ValueClass", "classes_of"]


@dataclass(frozen=True)
class ValueClass:
    """One code of a raster.

    Parameters
    ----------
    code : int
        The value.
    name : str
        What it means.
    colour : str
        As ``#rrggbb``.
    opacity : float
        0 is not seen, 1 hides what is beneath.
    """

    code: int
    name: str
    colour: str
    opacity: float = 1.0


_FORMS = (
    ("flat", "#ece7dc"),
    ("peak", "#7f1d0e"),
    ("ridge", "#c4502a"),
    ("shoulder", "#f0b37e"),
    ("spur", "#e8905a"),
    ("slope", "#cfd3c2"),
    ("hollow", "#8fb8cf"),
    ("footslope", "#bcd9e2"),
    ("valley", "#3f7fae"),
    ("pit", "#0b2f66"),
)

CODED = {
    "landforms": tuple(
        ValueClass(code, name, colour) for code, (name, colour) in enumerate(_FORMS, start=1)
    ),
    "unsurveyed": (
        ValueClass(0, "surveyed", PAPER, 0.0),
        ValueClass(1, "not surveyed: depth is a guess", PAPER, 0.6),
    ),
    "suitable_bed": (
        ValueClass(0, "not suitable", PAPER, 0.0),
        ValueClass(1, "suitable", "#009e73", 0.75),
    ),
}
"""By name of the raster: high forms warm, low ones cold, and the farther the darker."""


def classes_of(name: str) -> tuple[ValueClass, ...] | None:
    """Return the classes of a raster by its name; None if its values are no codes.

    Examples
    --------
    >>> [one.name for one in classes_of("suitable_bed_tench") or ()]
    ['not suitable', 'suitable']
    """
    return next((CODED[kind] for kind in CODED if name.startswith(kind)), None)
