"""Draft: depths below a transducer become depths below the surface."""

from dataclasses import replace
from typing import Annotated

import numpy as np

from toolbox.layers import Soundings
from toolbox.tool import Range, tool
from toolbox.words import counted

__all__ = ["add_draft"]


@tool("Draft added to depths")
def add_draft(
    soundings: Soundings, *, draft: Annotated[float, Range("m", min=-5, max=50)]
) -> Soundings:
    """Add the depth of the transducer to depths that are counted from it.

    Parameters
    ----------
    soundings : Soundings
        Depths as read. Those with a column ``measured_from`` that says "surface" or "keel" stay.
    draft : float
        Depth of the transducer below the water surface; negative if depths are counted from a
        point above it.

    Returns
    -------
    Soundings
        Depths below the surface; the column ``draft_correction`` holds what was added, m. Depths
        to plant tops in the column ``canopy`` are moved alike.

    References
    ----------
    US Army Corps of Engineers 2002, Hydrographic Surveying, EM 1110-2-1003, chapter 9 (draft and
    index corrections).
    """
    frame = soundings.frame
    below = np.ones(len(soundings), bool)
    if "measured_from" in frame:
        below = (frame["measured_from"] == "transducer").to_numpy()
    added = np.where(below, draft, 0.0)
    moved = {
        name: frame[name].to_numpy(float) + added for name in ("depth", "canopy") if name in frame
    }
    note = f"draft of {draft:g} m added to {counted(int(below.sum()), 'depth')}"
    return replace(
        soundings,
        frame=frame.assign(**moved, draft_correction=added),
        notes=(*soundings.notes, note),
    )
