"""Winter: the share of a water that is deep enough for fish to live through it."""

import math
from typing import Annotated, Any, Literal

import numpy as np

from toolbox.errors import LayerError, ParameterError
from toolbox.layers import Table, Tin
from toolbox.tool import Range, tool
from toolbox.units import convert
from toolbox.water.water_layers import Figure, WaterLayers

__all__ = ["rule_rows", "share_rows", "winter_shares"]

_FOOT = 0.3048
_DEPTHS = (2 * _FOOT, 7 * _FOOT, 8 * _FOOT, 10 * _FOOT)

_HAMPSHIRE = "N.H. Code Env-Wt 519.05(d): fish ponds 8 to 10 ft deep over 25 to 50 % of their area"
_COLORADO = "SCS practice standard 378, Colorado"

_RULES: tuple[tuple[str, float, Literal["at least", "at most"], float, str], ...] = (
    ("mildest reading", 8 * _FOOT, "at least", 0.25, _HAMPSHIRE),
    ("strictest reading", 10 * _FOOT, "at least", 0.50, _HAMPSHIRE),
    ("above 6000 ft of elevation", 10 * _FOOT, "at least", 1 / 3, _COLORADO),
    ("with continuous inflow", 7 * _FOOT, "at least", 1 / 3, _COLORADO),
    ("shallow water, under 2 ft", 2 * _FOOT, "at most", 0.20, _COLORADO),
)

_NOTES = (
    "rules of two states for the design of ponds, shown as yardsticks; the rule that holds is that "
    "of the place. Depth alone does not bring fish through a winter: snow on ice, plants, mud and "
    "inflow decide on oxygen",
    "ice takes up part of the depth, and cold spells draw water down: give the level of the winter",
    "ice is never safe by the figures of a table",
)


@tool("Winter depth shares")
def winter_shares(
    bed: Tin,
    *,
    depths: Annotated[tuple[float, ...], Range("m", above=0)] = _DEPTHS,
    level: Annotated[float, Range("m")] = 0.0,
) -> Table:
    """Tell what share of a water is deeper than the depths that winter fish, and hold it to rules.

    Parameters
    ----------
    bed : Tin
        The bed of the pond or lake.
    depths : tuple of float
        Depths below the water surface.
    level : float
        Depth of the water surface in winter below the datum.

    Returns
    -------
    Table
        First one row a depth, then one a rule. Columns ``kind`` (``share`` or ``rule``), ``rule``,
        ``depth_m, depth_ft``; ``share, share_low, share_high`` of the area at the water surface
        that lies deeper (of a rule on shallow water: shallower), the ends of the 90 % band of a
        fitted bed's draws; ``area_m2`` of it; ``wanted`` (such as "at least 0.25"); ``met``:
        ``yes``, ``no``, or ``not certain`` where the band holds the limit; ``source``.

    Raises
    ------
    LayerError
        If there is no water in the bed.
    ParameterError
        If the level is above the mapped water's edge, or a depth is given twice.
    """
    import pandas as pd

    edge = -math.inf if bed.shore_depth is None else bed.shore_depth
    if level < edge:
        raise ParameterError(
            f"level must be {edge:g} m or more, where the water's edge was mapped, got {level:g}"
        )
    if len(set(depths)) < len(depths):
        raise ParameterError(f"depths must name each depth once, got {depths}")
    if float(bed.depth.max()) <= level:
        raise LayerError(f"there is no water in the bed at level {level:g} m")
    cuts = np.unique([0.0, *depths, *(rule[1] for rule in _RULES)])
    layers = WaterLayers.of_bed(bed, cuts + level)
    frame = pd.DataFrame([*share_rows(layers, level, depths), *rule_rows(layers, level)])
    return Table(frame, "Winter depth shares", _NOTES)


def share_rows(
    layers: WaterLayers, level: float, depths: tuple[float, ...]
) -> list[dict[str, Any]]:
    """Return the rows of shares deeper than depths, from the shallowest down.

    Parameters
    ----------
    layers : WaterLayers
        With an edge at the surface, which comes first, and at each depth below it.
    level : float
        Depth of the surface below the datum, m.
    depths : tuple of float
        m below the surface.
    """
    return [
        {"kind": "share", "rule": "", **_share(layers, level, depth), "wanted": "", "met": "",
         "source": "measured on the bed"}
        for depth in sorted(depths)
    ]  # fmt: skip


def rule_rows(layers: WaterLayers, level: float) -> list[dict[str, Any]]:
    """Hold the shares to the rules that are known; parameters as of :func:`share_rows`."""
    rows = []
    for rule, depth, way, limit, source in _RULES:
        told = _share(layers, level, depth, shallower=way == "at most")
        ends = [float(told[name]) for name in ("share_low", "share", "share_high")]
        met = _met([end for end in ends if not math.isnan(end)], way, limit)
        wanted = f"{way} {limit:.3g}"
        said = {"wanted": wanted, "met": met, "source": source}
        rows.append({"kind": "rule", "rule": rule, **told, **said})
    return rows


def _met(ends: list[float], way: str, limit: float) -> str:
    passes = {end >= limit if way == "at least" else end <= limit for end in ends}
    if len(passes) > 1:
        return "not certain"
    return "yes" if passes == {True} else "no"


def _share(
    layers: WaterLayers, level: float, depth: float, *, shallower: bool = False
) -> dict[str, Any]:
    at = int(np.argmin(np.abs(layers.edges - level - depth)))

    def share(area: np.ndarray, volume: np.ndarray) -> np.ndarray:
        deeper = area[..., at] / area[..., 0]
        return 1 - deeper if shallower else deeper

    found: Figure = layers.figure(share)
    return {
        "depth_m": depth,
        "depth_ft": convert(depth, "m", "ft"),
        "share": found.value,
        "share_low": found.low,
        "share_high": found.high,
        "area_m2": found.value * float(layers.area[0]),
    }
