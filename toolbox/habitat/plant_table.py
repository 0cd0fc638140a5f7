"""Plant table: area, cover, height and volume of plants by depth zone and of the whole water."""

import math
import warnings
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import TYPE_CHECKING, Annotated, Any

import numpy as np

from toolbox.bed.gridding import grid_bed
from toolbox.bed.location import interpolated, locate
from toolbox.errors import LayerError
from toolbox.habitat.plant_grids import REACH, cell_centres
from toolbox.habitat.plant_looked import Looked, looked_at
from toolbox.habitat.plant_measures import UNITS, ZoneWater, measures, with_whole
from toolbox.habitat.plant_sums import resampled, sums_of_beds, sums_of_readings
from toolbox.habitat.plants import PlantBeds, PlantReadings, plants_of
from toolbox.isobaths.levels import chosen_levels
from toolbox.layers import Table, Tin, Vectors
from toolbox.layers.crs import check_same_crs
from toolbox.notes import Assumption, Caution
from toolbox.tool import Range, tool
from toolbox.units import MetreOrFoot, round_number
from toolbox.words import counted

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["CLUSTER", "plant_table"]

CLUSTER = 50.0
"""Width of the squares in which single points count as one, m (common practice, no source)."""

_CELLS = 50_000
_MUCH = 0.5  # of the bed: with less looked at, what is told of the whole is mostly a guess
_ALL = 0.995
_FEW = 8  # lines: fewer tell too little of how much they differ


@tool("Plants by depth")
def plant_table(
    bed: Tin,
    plants: Vectors,
    *,
    interval: Annotated[float, Range("m", above=0)] | None = None,
    cell: Annotated[float, Range("m", above=0)] | None = None,
    reach: Annotated[float, Range("m", above=0)] = REACH,
    cluster: Annotated[float, Range("m", above=0)] = CLUSTER,
    resamples: Annotated[int, Range("", min=20, max=100_000)] = 500,
    seed: Annotated[int, Range("", min=0)] = 0,
    unit: MetreOrFoot = "m",
) -> Table:
    """Tabulate how much of the bed and of the water plants take up, by depth.

    Parameters
    ----------
    bed : Tin
        The lake bed.
    plants : Vectors
        Points (such as plant readings; bare ones too, they count as zeros) or polygons (such as
        plant beds; outside of them the bed is bare), with ``cover_percent`` and ``height_m``.
    interval : float, optional
        Depth from one zone to the next; if left out, a round one that gives 8 to 16 zones.
    cell : float, optional
        Width of the cells at which polygons, and what lies near points, are looked up; if left
        out, one that gives some 50,000.
    reach : float
        Distance up to which a point speaks for the bed.
    cluster : float
        Points that name no line count as read in one go within squares of this width.
    resamples : int
        How often lines of readings are drawn again for the band.
    seed : int
        Of these draws.
    unit : str
        In which an interval that is left out is round.

    Returns
    -------
    Table
        One row a depth zone, from shallow to deep, then ``whole water``. Columns ``zone, from_m,
        to_m, readings, bed_area_m2``, then

        - ``plant_area_m2``: bed with plants;
        - ``cover_percent, height_m, biovolume_percent``: means over all bed, bare bed as zeros
          (biovolume: cover times height over depth, at each place);
        - ``plants_cover_percent, plants_height_m, plants_biovolume_percent``: means where plants
          stand (height weighed by cover);
        - ``plant_volume_m3``: cover times height, over the bed;
        - ``pvi_percent``: that volume over the water above the bed of the zone, which is mean cover
          times mean height of plants over mean depth.

        Of points there follow first ``looked_area_m2``, the bed within `reach` of one, and
        ``looked_cover_percent``, the mean cover of that bed alone, by area and not by the count of
        points. All else of a zone is taken to be as its points are: where somebody looked at a
        small part only, that is a guess, and a note says so.

        With bands each of the other figures is followed by its ends, such as ``cover_low_percent,
        cover_high_percent``. A zone in which nobody looked is empty but for its bed area, and
        has no part in the whole: a note tells its area.

    Raises
    ------
    LayerError
        If the layers lie in different CRS, plants are neither points nor polygons, or no reading
        lies on the bed.

    Notes
    -----
    Depths and areas are those at the datum. Readings stand for the zone they lie in, each as much
    as another, and zones count by their bed area: lines should cross the depths, and a boat should
    not stay where plants are. Points have their own depth, or else that of the bed. A point with
    plants of unknown height has that of the nearest known one. Plants taller than the water count
    up to its surface.

    The band holds 90 % (5 % and 95 % quantiles). Of readings it is that of lines drawn again with
    replacement, each time with another draw of a fitted bed; fewer than eight lines make it too
    narrow, and evenly spaced ones are better than it says. Of polygons it is that of the bed's
    draws alone: how well they were mapped nobody knows.

    References
    ----------
    Canfield et al. 1984, Canadian Journal of Fisheries and Aquatic Sciences 41:497 (PVI; from
    memory). Efron and Tibshirani 1993, An Introduction to the Bootstrap (from memory).
    """
    check_same_crs(bed=bed, plants=plants)
    told, (edges, notes) = plants_of(plants), _zones(bed, interval, unit)
    if isinstance(told, PlantReadings):
        found = _of_readings(told, bed, edges, cluster, resamples, seed)
        looked = looked_at(told, bed, edges, found.area, cell=_width(bed, cell), reach=reach)
        found = replace(found, looked=looked, notes=found.notes + _looked_notes(looked, found.area))
    else:
        found = _of_beds(told, bed, edges, cell)
    shown = np.r_[edges[:-1], bed.depth.max()]
    return Table(_frame(shown, found), "Plants by depth", notes + found.notes)


@dataclass(frozen=True, eq=False)
class _Found:
    """Readings (z,), bed area (z,), figures (z + 1,) and those of draws (draws, z + 1)."""

    count: np.ndarray
    area: np.ndarray
    figures: dict[str, np.ndarray]
    drawn: dict[str, np.ndarray]
    notes: tuple[str, ...]
    looked: Looked | None = None


def _zones(
    bed: Tin, interval: float | None, unit: MetreOrFoot
) -> tuple[np.ndarray, tuple[str, ...]]:
    """Edges of the zones, the last below all bed and all draws, m, and what was chosen."""
    levels, _, notes = chosen_levels(bed, interval, None, unit=unit)
    top, deepest = max(0.0, float(bed.depth.min())), float(bed.depth.max())
    if deepest <= top:
        raise LayerError("the bed is nowhere deeper than the datum, there is no water in it")
    floor = deepest if bed.draws is None else max(deepest, float(bed.draws.max()))
    inner = levels[(levels > top) & (levels < deepest)]
    return np.r_[top, inner, floor + 1.0], notes


def _of_readings(
    told: PlantReadings, bed: Tin, edges: np.ndarray, cluster: float, resamples: int, seed: int
) -> _Found:
    located = locate(bed.vertices, bed.triangles, told.places)
    own = np.isfinite(told.depth)
    depth = np.where(own, told.depth, interpolated(bed.depth, bed.triangles, located))
    sums = sums_of_readings(told.with_heights(), depth, edges, _units(told, cluster))
    count = sums[..., 0].sum(axis=0)
    if not count.any():
        raise LayerError("no reading of plants lies on the bed")
    sums = sums[sums[..., 0].any(axis=1)]
    zones, drawn_zones = ZoneWater.of_bed(bed, edges)
    means, drawn = resampled(sums, resamples, seed)
    bands = measures(drawn, drawn_zones.turned(resamples) if drawn_zones else zones)
    lost = len(depth) - int(count.sum())
    notes = _reading_notes(len(sums), lost, zones.area[count == 0].sum(), zones.area.sum())
    notes += _deepest(depth[(told.cover > 0) & (depth >= edges[0])])
    return _Found(count, zones.area, measures(means, zones), bands, notes)


def _reading_notes(units: int, lost: int, unread: float, whole: float) -> tuple[str, ...]:
    notes: list[str] = [
        f"band: {counted(units, 'line or cluster', 'lines or clusters')} drawn again"
    ]
    if units < _FEW:
        notes.append(
            Caution(
                f"plants: fewer than {_FEW} lines or clusters were read, the band is too narrow"
            )
        )
    if lost:
        notes.append(
            f"{counted(lost, 'reading')} of plants off the bed or above the datum left out"
        )
    if unread:
        share = unread / whole
        notes.append(
            Caution(
                f"nobody looked for plants in zones of {unread:.0f} m2 ({share:.1%} of the bed)"
            )
        )
    return tuple(notes)


def _deepest(depth: np.ndarray) -> tuple[str, ...]:
    """Tell down to which depth plants were met."""
    if not len(depth):
        return ("no plants were met",)
    most, nearly = float(depth.max()), float(np.quantile(depth, 0.95))
    return (f"plants were met down to {most:.2f} m, 95 % of them down to {nearly:.2f} m",)


def _units(told: PlantReadings, cluster: float) -> np.ndarray:
    """Give a number to what was read in one go: to lines, and to squares of single points."""
    square = np.floor(told.places / cluster).astype(np.int64)
    names = [
        line or f"{east} {north} alone"
        for line, (east, north) in zip(told.line, square, strict=True)
    ]
    return np.asarray(np.unique(names, return_inverse=True)[1])


def _of_beds(told: PlantBeds, bed: Tin, edges: np.ndarray, cell: float | None) -> _Found:
    places = cell_centres(grid_bed(bed, cell=_width(bed, cell)))
    means, drawn = sums_of_beds(told, bed, places, edges)
    zones, drawn_zones = ZoneWater.of_bed(bed, edges)
    bands = measures(drawn, drawn_zones) if drawn and drawn_zones else {}
    count = np.full(len(zones.area), np.nan)
    figures = measures(means, zones)
    return _Found(count, zones.area, figures, bands, _beds_notes(told, figures["plant_area"][-1]))


def _width(bed: Tin, cell: float | None) -> float:
    return round_number(math.sqrt(float(bed.areas().sum()) / _CELLS)) if cell is None else cell


def _looked_notes(looked: Looked, area: np.ndarray) -> tuple[str, ...]:
    """Say how far the figures reach beyond the bed that was looked at."""
    seen = looked.area[-1] / area.sum()
    if seen > _ALL:
        return ()
    text = (
        f"somebody looked for plants on {seen:.1%} of the bed; figures of a zone, and so of the "
        "whole, take the rest of it to be like that part"
    )
    return (Caution(text) if seen < _MUCH else text,)


def _frame(edges: np.ndarray, found: _Found) -> "pd.DataFrame":
    import pandas as pd

    names = [f"{low:g} to {high:.3g} m" for low, high in pairwise(edges)]
    columns: dict[str, Any] = {"zone": [*names, "whole water"]}
    columns |= {"from_m": np.r_[edges[:-1], edges[0]], "to_m": np.r_[edges[1:], edges[-1]]}
    columns |= {"readings": with_whole(found.count), "bed_area_m2": with_whole(found.area)}
    if found.looked is not None:
        columns |= {"looked_area_m2": found.looked.area, "looked_cover_percent": found.looked.cover}
    for name, unit in UNITS.items():
        columns[f"{name}_{unit}"] = found.figures[name]
        if found.drawn:
            ends = dict(zip(("low", "high"), _band(found.drawn[name]), strict=True))
            columns |= {f"{name}_{end}_{unit}": values for end, values in ends.items()}
    return pd.DataFrame(columns)


def _band(values: np.ndarray) -> np.ndarray:
    """Return the ends of the 90 % band over the draws that tell a figure, (2, z + 1)."""
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", "All-NaN slice", RuntimeWarning)
        return np.asarray(np.nanquantile(values, (0.05, 0.95), axis=0))


def _beds_notes(told: PlantBeds, area: float) -> tuple[str, ...]:
    notes: list[str] = [Assumption("outside the beds of plants mapped the bed counts as bare")]
    if not area > 0:
        text = "no plants mapped lie in this water: see whether they and their CRS are right"
        notes.append(Caution(text))
    most = float(np.nanmax(told.cover, initial=0.0))
    if 0 < most <= 1:
        text = f"the densest plants cover {most:g} %: cover must be per cent, not a share"
        notes.append(Caution(text))
    for name in ("cover", "height"):
        if missing := int(np.isnan(getattr(told, name)).sum()):
            notes.append(f"{counted(missing, 'bed')} of plants of unknown {name}")
    return tuple(notes)
