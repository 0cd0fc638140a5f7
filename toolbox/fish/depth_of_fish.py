"""Depth of fish: where in the water they stand, by day and by night."""

from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING, Annotated

import numpy as np

from toolbox.fish.beam import Beam
from toolbox.fish.estimators import variance_of
from toolbox.fish.searched import layer_edges
from toolbox.fish.sounded import Sounded, night_hours
from toolbox.layers import Table
from toolbox.tool import Range, tool

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["depth_of_fish"]

_QUARTERS = {"quarter": 0.25, "median": 0.5, "three_quarter": 0.75}


@tool("Depth of fish by day and night")
def depth_of_fish(
    echoes: Table,
    pings: Table,
    *,
    beam_angle: Annotated[float, Range("degree", above=0, max=90)],
    strata: Annotated[tuple[float, ...], Range("m", min=0)] | None = None,
    step: Annotated[float, Range("m", above=0)] | None = None,
    night_start: Annotated[float, Range("h", min=0, max=24)] | None = None,
    night_end: Annotated[float, Range("h", min=0, max=24)] | None = None,
    frequency: Annotated[float, Range("kHz", min=10, max=1000)] = 200.0,
    pulse: Annotated[float, Range("s", above=0, max=0.01)] = 0.0002,
    draft: Annotated[float, Range("m", min=0)] = 0.0,
    blind: Annotated[float, Range("m", min=0)] = 1.0,
    margin: Annotated[float, Range("m", min=0)] = 0.0,
) -> Table:
    """Tell at which depth the fish stand, of each period and each layer.

    Parameters
    ----------
    echoes : Table
        One row an echo of a single fish: ``transect, ping`` and ``range_m`` (below the transducer)
        or ``depth_m`` (below the surface).
    pings : Table
        One row for every ping: ``transect, ping``, ``bed_range_m`` (below the transducer) or
        ``bed_m`` (below the surface), and ``period`` (day, night) or ``time`` (UTC).
    beam_angle : float
        Full width of the beam.
    strata : tuple of float, optional
        Depths of the planes between layers, below the surface of the day.
    step : float, optional
        Height of the layers instead; if left out, a round one that gives up to ten layers.
    night_start : float, optional
        Hour UTC at which night begins; with `night_end` it tells the period by ``time``.
    night_end : float, optional
        Hour UTC at which it ends.
    frequency : float
        Of the sounder, for the near field.
    pulse : float
        Length of its pulse, for the dead zone near the bed.
    draft : float
        Of the transducer below the surface.
    blind : float
        Range from the transducer in which echoes are not used (common practice, no source); the
        near field where that reaches farther.
    margin : float
        Kept off the bed beyond its dead zone.

    Returns
    -------
    Table
        For each period, in their order, a row ``whole`` and one a layer from the surface down:
        ``period, layer, top_m, bottom_m, echoes, share`` (of the period's fish),
        ``mean_depth_m, mean_depth_low_m, mean_depth_high_m`` (90 % interval, of the whole only),
        ``quarter_depth_m, median_depth_m, three_quarter_depth_m`` (above which that share of
        the fish stands), ``above_bed_m`` (mean height). Depths below the surface of the day. A
        layer without echoes has a share of 0 and no depths.

    Raises
    ------
    LayerError
        If a column is missing or an echo has no ping.

    Notes
    -----
    A beam is narrow near the boat and wide far off, so that deep fish are met more often. Each echo
    counts with the inverse of the beam's section at its range, 1 / range^2: for the fish under one
    square metre of lake. Only fish where the beam can tell them count: of those close to the
    surface or on the bed it knows nothing.

    The interval of the mean depth is Student's t with the transects of the period left out one by
    one.
    """
    import pandas as pd

    beam = Beam(beam_angle, frequency, pulse, draft, blind, margin)
    sounded = Sounded.of(echoes, pings, draft=draft, night=night_hours(night_start, night_end))
    edges = layer_edges(strata, step, float(sounded.bed_range.max()) + draft, 0.0)
    parts = [_of_period(sounded.during(name), name, beam, edges) for name in sounded.periods]
    note = (
        f"fish nearer than {beam.first:g} m to the transducer or in the bed's dead zone are not"
        " seen: they are in no mean"
    )
    frame = pd.concat(parts, ignore_index=True)
    return Table(frame, "Depth of fish", (*sounded.notes, note))


@dataclass(frozen=True, eq=False)
class _Standing:
    """Fish where a beam can tell them: depth, height above the bed, transect and weight, (e,)."""

    depth: np.ndarray
    above_bed: np.ndarray
    unit: np.ndarray
    weight: np.ndarray

    @classmethod
    def of(cls, sounded: Sounded, beam: Beam) -> "_Standing":
        told = sounded.told(beam)
        reach, ping = sounded.range[told], sounded.ping[told]
        depth = np.asarray(beam.to_depth(reach))
        above = sounded.bed_range[ping] + beam.depth - depth
        return cls(depth, above, sounded.unit[ping], reach**-2.0)

    def within(self, top: float, bottom: float) -> "_Standing":
        rows = (self.depth >= top) & (self.depth < bottom)
        return _Standing(self.depth[rows], self.above_bed[rows], self.unit[rows], self.weight[rows])

    def figures(self) -> dict[str, float]:
        if not len(self.depth):
            names = ("mean_depth_m", *(f"{name}_depth_m" for name in _QUARTERS), "above_bed_m")
            return dict.fromkeys(names, np.nan)
        mean, above = (
            float(np.average(values, weights=self.weight))
            for values in (self.depth, self.above_bed)
        )
        quarters = {
            f"{name}_depth_m": _quantile(self.depth, self.weight, share)
            for name, share in _QUARTERS.items()
        }
        return {"mean_depth_m": mean, **quarters, "above_bed_m": above}


def _of_period(sounded: Sounded, period: str, beam: Beam, edges: np.ndarray) -> "pd.DataFrame":
    import pandas as pd

    fish = _Standing.of(sounded, beam)
    low, high = _mean_interval(fish)
    ends = [(float(edges[0]), float(edges[-1])), *pairwise(edges.tolist())]
    rows: list[dict[str, object]] = []
    for number, (top, bottom) in enumerate(ends):
        some = fish.within(top, bottom) if number else fish
        layer = f"{top:g} to {bottom:g} m" if number else "whole"
        share = some.weight.sum() / fish.weight.sum() if len(fish.depth) else np.nan
        row = {"period": period, "layer": layer, "top_m": top, "bottom_m": bottom}
        rows.append(row | {"echoes": len(some.depth), "share": share} | some.figures())
    frame = pd.DataFrame(rows)
    after = list(frame.columns).index("mean_depth_m") + 1
    frame.insert(after, "mean_depth_low_m", [low] + [np.nan] * (len(rows) - 1))
    frame.insert(after + 1, "mean_depth_high_m", [high] + [np.nan] * (len(rows) - 1))
    return frame


def _quantile(values: np.ndarray, weight: np.ndarray, share: float) -> float:
    """Return the least value up to which at least so much of the weight lies."""
    order = np.argsort(values, kind="stable")
    passed = np.cumsum(weight[order])
    row = min(int(np.searchsorted(passed, share * passed[-1] * (1 - 1e-12))), len(order) - 1)
    return float(values[order[row]])


def _mean_interval(fish: _Standing) -> tuple[float, float]:
    """Return the 90 % interval of the mean depth, its transects left out one by one."""
    from scipy.stats import t

    units = np.unique(fish.unit)
    if len(units) < 2:
        return np.nan, np.nan
    others = [fish.unit != unit for unit in units]
    left = np.array([np.average(fish.depth[o], weights=fish.weight[o]) for o in others])
    mean = float(np.average(fish.depth, weights=fish.weight))
    half = t.ppf(0.95, len(units) - 1) * np.sqrt(variance_of(left, mean))
    return mean - half, mean + half
