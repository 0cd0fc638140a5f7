"""Change: what was laid down and what was carried off between two surveys of one water."""

from itertools import pairwise
from typing import Annotated

import numpy as np

from toolbox.bed.uncertainty import band
from toolbox.change.comparison import FIELDS, Comparison, compare, quantile
from toolbox.change.patches import SKIRT, SURPRISE, Patches
from toolbox.errors import LayerError, ParameterError
from toolbox.layers import Table, Tin, Vectors
from toolbox.layers.crs import check_same_crs
from toolbox.tool import Range, tool
from toolbox.units import round_number

__all__ = ["bed_change", "inside"]

_MOST_ZONES = 1000


@tool("Change of the bed between two surveys")
def bed_change(
    before: Tin,
    after: Tin,
    zones: Vectors | None = None,
    *,
    depths: Annotated[tuple[float, ...], Range("m")] | None = None,
    zone_name: str = "name",
    confidence: Annotated[float, Range("", min=0.5, max=0.99)] = 0.95,
    skirt: Annotated[float, Range("", min=0, max=3)] = SKIRT,
    surprise: Annotated[float, Range("", min=1)] = SURPRISE,
    shift: Annotated[float, Range("m")] = 0.0,
    datum_sd: Annotated[float, Range("m", min=0)] = 0.0,
    sd_before: Annotated[float, Range("m", min=0)] | None = None,
    sd_after: Annotated[float, Range("m", min=0)] | None = None,
    correlation_range: Annotated[float, Range("m", above=0)] | None = None,
    cell: Annotated[float, Range("m", above=0)] | None = None,
    seed: Annotated[int, Range("", min=0)] = 0,
) -> Table:
    """Tabulate deposition and erosion between two surveys, in all, by depth and by zone.

    Parameters
    ----------
    before : Tin
        The earlier bed.
    after : Tin
        The later bed, in the same CRS and below the same datum.
    zones : Vectors, optional
        Polygons to tell the change of, one row each.
    depths : tuple of float, optional
        Depths between which to tell the change, by the mean of both beds, each weighed by how sure
        it is; if left out, about five zones.
    zone_name : str
        Column of the zones that names them; without it they are numbered.
    confidence : float
        With which change that is told is no chance.
    skirt : float
        By how much of its own radius a patch of change is widened, for its thin edge.
    surprise : float
        How many times as heavy as the patches that errors make one must be: for forms that one
        survey met and the other missed, which no error holds. 1 takes the errors at their word.
    shift : float
        Rise of the bed that is none, as from another datum: it is taken off.
    datum_sd : float
        One standard deviation of the difference of the two surveys' levels, if the beds' own
        errors do not hold it.
    sd_before : float, optional
        One standard deviation of the depth of an earlier bed that knows no error of its own.
    sd_after : float, optional
        The same of the later bed.
    correlation_range : float, optional
        Distance beyond which the errors of a bed without draws have nothing to do with each other.
    cell : float, optional
        Width of the cells compared; if left out, about half the spacing of the beds' vertices, and
        not so fine that there were more than 50,000.
    seed : int
        Of the simulated errors.

    Returns
    -------
    Table
        A row for the whole common water, for each zone of depth and for each polygon:

        - ``zone, area_m2``, common ground;
        - ``mean_change_m, net_change_m3, net_low_m3, net_high_m3``: positive where the bed rose,
          over all cells; the 90 % band; ``net_limit_m3``, what the net change must exceed to be
          no chance;
        - ``deposition_m3, deposition_low_m3, deposition_high_m3, deposition_area_m2`` and the same
          of ``erosion`` (positive): in the patches of change;
        - ``beyond_limit_share``: of the area, where the change at a place is beyond its limit of
          detection, t sqrt(s1^2 + s2^2); about 1 - confidence of it where nothing changed.

    Raises
    ------
    LayerError
        If the beds or zones lie in different CRS, or the beds have no ground in common.
    ParameterError
        If a bed's error is not known, or nothing tells how it is correlated.

    Notes
    -----
    Of two fitted beds the bands and limits come from pairs of their draws, which carry how errors
    are correlated; of others from simulated errors of spherical correlation. Net change is added up
    without a threshold, which would bias it (Anderson 2019). Deposition and erosion are those of
    patches so heavy that the errors would show one anywhere in the water in `1 - confidence` of
    cases at most, and `surprise` times that: where nothing changed, both are mostly zero. A patch
    is widened by its skirt, so that its own thin edge counts. Their bands are 1.645 times the root
    mean square by which the volumes differ that are found again after each field of error is added
    once more: they hold what the finding itself errs by. Change spread thinly over the whole bed
    shows in the net change alone; before believing it, test for a shift of level. A hump or a hole
    between the lines of one survey that the other one met, or a string of readings that err
    together, looks like change too: `surprise` keeps most of these out, and deposits no heavier
    with them; the bands still hold those. Look where the lines ran before believing a small patch.
    Zones by the depth of one bed alone would show change where there is none: what erred to the
    shallow side before seems to have sunk since.

    References
    ----------
    Lane, Westaway & Hicks 2003, Earth Surface Processes and Landforms 28:249; Wheaton et al. 2010,
    ibid. 35:136; Anderson 2019, ibid. 44:1015; Rolstad, Haug & Denby 2009, Journal of Glaciology
    55:666 (all from memory).
    """
    import pandas as pd

    check_same_crs(before=before, after=after, zones=zones)
    two = compare(
        before,
        after,
        cell=cell,
        shift=shift,
        datum_sd=datum_sd,
        sd_before=sd_before,
        sd_after=sd_after,
        correlation_range=correlation_range,
        seed=seed,
    )
    patches = Patches.of(two, confidence=confidence, skirt=skirt)
    parts = {"whole water": np.ones(len(two.rise), bool), **_by_depth(two, depths)}
    parts |= {} if zones is None else inside(two, zones, zone_name)
    columns = {
        "zone": list(parts),
        **_tabulated(two, patches, np.stack([*parts.values()]), surprise),
    }
    notes = (f"low and high: 90 % band of {FIELDS} fields of error", *two.notes)
    return Table(pd.DataFrame(columns), "Change between two surveys", notes)


def inside(two: Comparison, zones: Vectors, name: str = "name") -> dict[str, np.ndarray]:
    """Return which cells lie in each polygon, by its name.

    Raises
    ------
    LayerError
        If a feature is no polygon, or no common ground lies in any.
    """
    import shapely

    shapes = zones.frame.geometry.to_numpy()
    if not np.isin(shapely.get_type_id(shapes), (3, 6)).all():
        raise LayerError(f"{zones.name} must be polygons, got {set(zones.frame.geom_type)}")
    shapely.prepare(shapes)
    if name in zones.frame:
        names = [str(one) for one in zones.frame[name]]
    else:
        names = [f"zone {number}" for number in range(1, len(shapes) + 1)]
    found: dict[str, np.ndarray] = {}
    for one, shape in zip(names, shapes, strict=True):
        held = shapely.contains_xy(shape, *two.places.T)
        found[one] = found.get(one, False) | held
    if not any(held.any() for held in found.values()):
        raise LayerError(f"{zones.name} must lie over ground common to both beds, none does")
    return {one: held for one, held in found.items() if held.any()}


def _by_depth(two: Comparison, depths: tuple[float, ...] | None) -> dict[str, np.ndarray]:
    """Return which cells lie in each zone of depth."""
    low, high = float(two.depth.min()), float(two.depth.max())
    if depths is None:
        step = round_number((high - low) / 5, up=True) if high > low else 1.0
        ends = np.arange(np.floor(low / step), np.ceil(high / step) + 1) * step
    else:
        ends = np.unique(np.asarray(depths, float))
        if len(ends) < 2 or len(ends) > _MOST_ZONES:
            raise ParameterError(
                f"depths must name two to {_MOST_ZONES} different ends of zones, got {len(ends)}"
            )
    zones = {
        f"{upper:g} to {lower:g} m": (two.depth >= upper) & (two.depth < lower)
        for upper, lower in pairwise(ends)
    }
    return {name: held for name, held in zones.items() if held.any()}


def _tabulated(
    two: Comparison, patches: Patches, held: np.ndarray, surprise: float
) -> dict[str, np.ndarray]:
    """Columns of the table for zones, given as the cells that each holds (z, c)."""
    weight = np.where(held, two.ground, 0.0).T
    area, t = weight.sum(axis=0), patches.limit
    net, errors = two.rise @ weight, two.errors @ weight.astype(np.float32)
    low, high = band(errors.astype(float))
    beyond = np.abs(two.score_of(two.rise)) > t
    columns = {
        "area_m2": area,
        "mean_change_m": net / area,
        "net_change_m3": net,
        # what an error added may as well have been taken away
        "net_low_m3": net - high,
        "net_high_m3": net - low,
        "net_limit_m3": t * errors.std(axis=0, dtype=float),
    }
    told = _moved(patches, two.rise, weight, surprise)
    # the bands hold what is too light to be told, too
    found = _moved(patches, two.rise, weight)[:2]
    again = np.stack([_moved(patches, two.rise + error, weight)[:2] for error in two.errors])
    half = quantile(0.9) * np.sqrt(np.square(again - found).mean(axis=0))
    for which, what in enumerate(("deposition", "erosion")):
        columns |= {
            f"{what}_m3": told[which],
            f"{what}_low_m3": np.minimum(told[:2], np.maximum(found - half, 0))[which],
            f"{what}_high_m3": (found + half)[which],
            f"{what}_area_m2": told[2 + which],
        }
    return columns | {"beyond_limit_share": beyond @ weight / area}


def _moved(
    patches: Patches, rise: np.ndarray, weight: np.ndarray, surprise: float = 1.0
) -> np.ndarray:
    """Volumes laid down and carried off in patches, and their areas, by zone: (4, z)."""
    side = patches.sides(rise, surprise=surprise)
    if not side.any():
        return np.zeros((4, weight.shape[1]))
    up, down = side > 0, side < 0
    return np.stack([np.where(up, rise, 0), np.where(down, -rise, 0), up, down]) @ weight
