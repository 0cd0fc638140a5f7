"""Plant depths: how deep plants are to be expected, from the Secchi depth."""

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Annotated, Any

import numpy as np

from toolbox.layers import Table, Tin
from toolbox.tool import Range, tool
from toolbox.water.light import water_surface
from toolbox.water.water_layers import WaterLayers

__all__ = ["RELATIONS", "Relation", "expected_plant_depth"]


@dataclass(frozen=True)
class Relation:
    """A published relation between Secchi depth and the greatest depth of plants.

    Parameters
    ----------
    name : str
        Whose it is, and which of theirs.
    plants, waters : str
        What it was found on.
    formula : str
        As it is written, depths in m, logarithms to the base of 10.
    depth : callable
        The formula: m from m.
    source : str
        Where it stands, and how it is known here.
    """

    name: str
    plants: str
    waters: str
    formula: str
    depth: Callable[[float], float]
    source: str


_FLORIDA = "187 lakes of Florida, R2 0.68"
_CAFFREY = "Caffrey et al. 2007, abstract"

RELATIONS = (
    Relation(
        "Caffrey et al. 2007, mean",
        "submersed plants",
        _FLORIDA,
        "log z = 0.66 log S + 0.31",
        lambda secchi: 10 ** (0.66 * math.log10(secchi) + 0.31),
        _CAFFREY,
    ),
    Relation(
        "Caffrey et al. 2007, upper limit",
        "submersed plants where light alone sets the limit",
        "187 lakes of Florida, line above the data",
        "log z = 0.53 log S + 0.59",
        lambda secchi: 10 ** (0.53 * math.log10(secchi) + 0.59),
        _CAFFREY,
    ),
    Relation(
        "Chambers & Kalff 1985",
        "angiosperms, no mosses nor stoneworts",
        "lakes of Quebec and of the literature (from memory)",
        "sqrt(z) = 1.33 log S + 1.40",
        lambda secchi: max(0.0, 1.33 * math.log10(secchi) + 1.40) ** 2,
        "Chambers & Kalff 1985, from memory",
    ),
    Relation(
        "Canfield et al. 1985",
        "submersed plants",
        "lakes of Finland, Florida and Wisconsin (from memory)",
        "log z = 0.61 log S + 0.26",
        lambda secchi: 10 ** (0.61 * math.log10(secchi) + 0.26),
        "Canfield et al. 1985, from memory",
    ),
)
"""In the order of the table."""

_USUAL = (0.5, 6.0)  # m of Secchi depth
_PRESSURE = 10.0  # m


@tool("Expected depth of plants")
def expected_plant_depth(
    bed: Tin | None = None,
    *,
    secchi: Annotated[float, Range("m", above=0)],
) -> Table:
    """Tell down to which depth plants are to be expected, by published relations side by side.

    Parameters
    ----------
    bed : Tin, optional
        The lake bed, for the bed area that is shallower.
    secchi : float
        Depth at which a Secchi disc vanishes in the growing season.

    Returns
    -------
    Table
        Columns ``relation, plants, waters, expected_depth_m`` (below the water surface), with a
        bed ``bed_area_m2`` (shallower than that, on the ground; the surface lies at the datum, or
        at the mapped water's edge where that is deeper) and its share of the water ``bed_share``,
        of a fitted bed each with the ends of its 90 % band (``bed_area_low_m2, bed_area_high_m2,
        bed_share_low, bed_share_high``), then ``formula,
        source``. Rows: Caffrey et al. mean and upper limit, Chambers & Kalff, Canfield et al.

    Notes
    -----
    Each is a mean over many lakes but for the upper limit: single lakes lie a factor of two off.
    Sediment, slope, waves, fish and herbicides keep plants shallower. Bed shallower than the depth
    is where light allows plants, and not where they are. With S below 0.5 or above 6 m a note says
    that the relations are stretched (judgement: the ranges of their data are not at hand).

    References
    ----------
    Caffrey, Hoyer and Canfield 2007, Lake and Reservoir Management 23:287 (coefficients from the
    abstract). Chambers and Kalff 1985, Canadian Journal of Fisheries and Aquatic Sciences 42:701;
    Canfield, Langeland, Linda and Haller 1985, Journal of Aquatic Plant Management 23:25 (from
    memory).
    """
    import pandas as pd

    depth = [relation.depth(secchi) for relation in RELATIONS]
    told = {
        "relation": [relation.name for relation in RELATIONS],
        "plants": [relation.plants for relation in RELATIONS],
        "waters": [relation.waters for relation in RELATIONS],
        "expected_depth_m": depth,
    }
    told |= {} if bed is None else _shallower(bed, depth)
    told |= {
        "formula": [relation.formula for relation in RELATIONS],
        "source": [relation.source for relation in RELATIONS],
    }
    return Table(pd.DataFrame(told), "Expected depth of plants", _notes(secchi, max(depth)))


def _shallower(bed: Tin, depth: list[float]) -> dict[str, Any]:
    """Columns of bed area and share above each depth, with bands where the bed has draws."""
    top = water_surface(bed, None)
    deepest = float(bed.depth.max())
    levels = top + np.asarray(depth)
    edges = np.unique(np.r_[top, levels, max(deepest, levels.max()) + 1.0])
    cut = WaterLayers.of_bed(bed, edges)
    place = np.searchsorted(edges, levels)

    found = {
        name: [cut.figure(_shallow(level, share)) for level in place]
        for name, share in (("bed_area{}_m2", False), ("bed_share{}", True))
    }
    columns: dict[str, Any] = {}
    for name, figures in found.items():
        columns[name.format("")] = [figure.value for figure in figures]
        if bed.draws is not None:
            columns[name.format("_low")] = [figure.low for figure in figures]
            columns[name.format("_high")] = [figure.high for figure in figures]
    return columns


def _shallow(level: int, share: bool) -> Callable[[np.ndarray, np.ndarray], np.ndarray]:
    """Measure the bed above one of the planes, or its share of the water."""

    def measure(areas: np.ndarray, volumes: np.ndarray) -> np.ndarray:
        area = areas[..., 0] - areas[..., level]
        return np.asarray(area / areas[..., 0] if share else area)

    return measure


def _notes(secchi: float, deepest: float) -> tuple[str, ...]:
    notes = ["means over many lakes: sediment, slope, waves and fish keep plants shallower"]
    if not _USUAL[0] <= secchi <= _USUAL[1]:
        notes.append(
            f"a Secchi depth of {secchi:g} m lies outside {_USUAL[0]:g} to {_USUAL[1]:g} m, where "
            "the relations are stretched (judgement)"
        )
    if deepest > _PRESSURE:
        notes.append(
            f"angiosperms are seldom found below about {_PRESSURE:g} m, whatever the light: the "
            "pressure is too great (Hutchinson 1975, from memory)"
        )
    return tuple(notes)
