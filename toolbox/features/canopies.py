"""Canopies: what soundings say of plants above the bed, and what an empty entry means."""

from typing import Literal

import numpy as np

from toolbox.errors import LayerError
from toolbox.layers import Soundings
from toolbox.notes import Caution

__all__ = [
    "LEAST_HEIGHT",
    "EmptyCanopy",
    "canopy_tops",
    "one_sided",
    "says_plants_alone",
    "with_bare_bed",
]

LEAST_HEIGHT = 0.1
"""Height from which a sounding counts as grown over, m (common practice, no source)."""

_LOW = 0.1  # share of canopies at the bed up to which a log notes plants alone (common practice)

EmptyCanopy = Literal["unknown", "bare"]
"""What an empty canopy means: nobody looked, or there were no plants."""


def canopy_tops(soundings: Soundings, empty: EmptyCanopy = "unknown") -> np.ndarray:
    """Return the depth to the top of plants at each sounding that was kept.

    Parameters
    ----------
    soundings : Soundings
        With a column ``canopy``, m below the datum water level.
    empty : str
        What an empty canopy means. Bare is taken for those sources alone (casts, track, plummet,
        point) of which some sounding has a canopy.

    Returns
    -------
    (n,) array
        m, positive down; the depth itself where the bed is bare, NaN where nobody looked.

    Raises
    ------
    LayerError
        If no sounding that was kept carries a canopy.
    """
    kept = soundings.kept
    if "canopy" not in kept.frame:
        raise LayerError(
            f"soundings need a column 'canopy' to tell plants, got {list(kept.frame.columns)}"
        )
    top = kept.frame["canopy"].to_numpy(float)
    if not np.isfinite(top).any():
        raise LayerError("no sounding that was kept has a canopy: nobody looked for plants")
    if empty == "unknown":
        return top
    source = kept.frame["source"].to_numpy(object)
    looked = np.isin(source, np.unique(source[np.isfinite(top)].astype(str)))
    return np.where(looked & np.isnan(top), kept.depth, top)


def with_bare_bed(soundings: Soundings, bare: np.ndarray) -> Soundings:
    """Write bare bed, a canopy at the depth itself, where an empty canopy means it.

    Parameters
    ----------
    soundings : Soundings
        With a column ``canopy``.
    bare : (n,) array of bool
        Whether an empty canopy means bare bed at each.
    """
    canopy, depth = (soundings.frame[name].to_numpy(float) for name in ("canopy", "depth"))
    filled = np.where(bare & np.isnan(canopy), depth, canopy)
    return Soundings(soundings.frame.assign(canopy=filled), soundings.notes)


def says_plants_alone(soundings: Soundings) -> bool:
    """Tell whether soundings note plants at some places and bare bed hardly anywhere."""
    if "canopy" not in soundings.frame:
        return False
    canopy = soundings.frame["canopy"].to_numpy(float)
    told = np.isfinite(canopy)
    height = soundings.frame["depth"].to_numpy(float)[told] - canopy[told]
    return bool(told.any() and not told.all()) and _plants_alone(height)


def _plants_alone(height: np.ndarray) -> bool:
    """Tell whether hardly any of the heights is that of bare bed: low plants may pass for it."""
    return bool((height < LEAST_HEIGHT).mean() <= _LOW)


def one_sided(height: np.ndarray, every: int) -> tuple[str, ...]:
    """Warn where readings tell plants and hardly ever bare bed, so that cover cannot be known.

    Parameters
    ----------
    height : (n,) array
        Of plants at the soundings that tell of them, m; 0 where bare.
    every : int
        How many soundings there are, with those that tell nothing of plants.
    """
    if len(height) == every or not len(height) or not _plants_alone(height):
        return ()
    text = (
        f"{len(height)} of {every} soundings have a canopy, and nearly all of them met plants: "
        "cover is that of places with plants, unless an empty canopy means bare bed (empty: bare)"
    )
    return (Caution(text),)
