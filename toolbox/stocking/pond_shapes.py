"""Pond shapes: area and volume of a pond from a tape, where nobody has sounded it."""

import math
from typing import TYPE_CHECKING, Annotated, Literal

from toolbox.errors import ParameterError
from toolbox.layers import Table
from toolbox.tool import Range, tool
from toolbox.units import convert

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["pond_by_tape"]

Shape = Literal["round", "rectangle", "triangle"]

_NEEDS: dict[Shape, tuple[str, ...]] = {
    "round": ("circumference",),
    "rectangle": ("length", "width"),
    "triangle": ("length", "width"),
}


@tool("Pond by tape")
def pond_by_tape(
    *,
    shape: Shape,
    circumference: Annotated[float, Range("m", above=0)] | None = None,
    length: Annotated[float, Range("m", above=0)] | None = None,
    width: Annotated[float, Range("m", above=0)] | None = None,
    depths: Annotated[tuple[float, ...], Range("m", min=0)] = (),
) -> Table:
    """Estimate area and volume of a pond of simple shape.

    Parameters
    ----------
    shape : str
        The shape it comes nearest to.
    circumference : float, optional
        Around a round pond, along the water's edge.
    length : float, optional
        Of a rectangle, or the base of a triangle.
    width : float, optional
        Of a rectangle, or the height of a triangle over that base.
    depths : tuple of float
        Soundings along one straight row from shore to shore, evenly spaced; a zero for each shore
        is added. If left out, no volume.

    Returns
    -------
    Table
        Columns ``measure, value, unit, us_value, us_unit, note``: ``surface area`` (m2, acre) and,
        with depths, ``mean depth`` (m, ft) and ``volume`` (m3, acre_foot).

    Raises
    ------
    ParameterError
        If a length that the shape needs is missing, or one is given that it does not need.

    Notes
    -----
    Round: circumference squared over 4 pi, in feet and acres over 547,391 (the form of the Texas
    Parks and Wildlife Department's page on pond size). The mean with a zero for each shore is that
    page's too; it is less than the mean depth of the section, the sum over one more than their
    count. One row of soundings stands for the whole pond: sound several, 30 to 50 ft apart, or
    make a bed.
    """
    import pandas as pd

    given = {"circumference": circumference, "length": length, "width": width}
    sizes = _sizes(shape, given)
    area = sizes[0] ** 2 / (4 * math.pi) if shape == "round" else sizes[0] * sizes[1]
    area *= 0.5 if shape == "triangle" else 1.0
    rows = [("surface area", area, "m2", f"{shape}, by tape")]
    if depths:
        mean = sum(depths) / (len(depths) + 2)
        rows.append(("mean depth", mean, "m", f"{len(depths)} soundings and a zero at both shores"))
        rows.append(("volume", area * mean, "m3", "surface area by mean depth"))
    frame = pd.DataFrame(rows, columns=["measure", "value", "unit", "note"])
    note = "a first estimate: stocking and doses by it may be far off; sound the pond for a bed"
    return Table(_with_customary(frame), "Pond by tape", (note,))


def _sizes(shape: Shape, given: dict[str, float | None]) -> list[float]:
    needed = _NEEDS[shape]
    found = {name: size for name, size in given.items() if size is not None}
    if found.keys() != set(needed):
        raise ParameterError(
            f"a {shape} pond needs {' and '.join(needed)}, got {', '.join(found) or 'neither'}"
        )
    return [found[name] for name in needed]


def _with_customary(frame: "pd.DataFrame") -> "pd.DataFrame":
    units = {"m2": ("m**2", "acre"), "m": ("m", "ft"), "m3": ("m**3", "acre_foot")}
    values = [
        convert(value, *units[unit])
        for value, unit in zip(frame["value"], frame["unit"], strict=True)
    ]
    frame.insert(3, "us_value", values)
    frame.insert(4, "us_unit", [units[unit][1] for unit in frame["unit"]])
    return frame
