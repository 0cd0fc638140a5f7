"""Water level: readings made on one day's water, brought to the datum."""

from dataclasses import replace
from typing import Annotated

from toolbox.layers import Soundings
from toolbox.tool import Range, tool

__all__ = ["reduce_to_datum"]


@tool("Depths reduced to the datum")
def reduce_to_datum(
    soundings: Soundings,
    *,
    water_level: Annotated[float, Range("m")],
    datum: Annotated[float, Range("m")],
) -> Soundings:
    """Bring depths below the water of the day to depths below the datum water level.

    Parameters
    ----------
    soundings : Soundings
        Depths below the water surface at the time.
    water_level : float
        Elevation of that surface.
    datum : float
        Elevation of the datum water level.

    Returns
    -------
    Soundings
        Depth at the datum: depth + datum - water level.

    References
    ----------
    IHO 2005, Manual on Hydrography C-13, chapter 5 (reduction of soundings; from memory).
    """
    shift = datum - water_level
    note = f"depths read on water level {water_level:g} m: {shift:+.3f} m to the datum"
    frame = soundings.frame.assign(depth=soundings.depth + shift)
    return replace(soundings, frame=frame, notes=(*soundings.notes, note))
