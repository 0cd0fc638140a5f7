"""Two tables of one water side by side: where they depart, and by how much."""

from typing import TYPE_CHECKING, Annotated

import numpy as np

from toolbox.errors import LayerError
from toolbox.layers import Table
from toolbox.tool import Range, tool
from toolbox.units import convert
from toolbox.volume.area_curve import AreaCurve
from toolbox.words import counted

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["compare_tables"]

_HAIR = 1e-9
_SLACK = 0.001  # of a layer: rounding of what is printed


@tool("Comparison of two tables")
def compare_tables(
    table: Table,
    published: Table,
    *,
    level: str = "depth_m",
    area: str = "area_m2",
    volume: str = "volume_below_m3",
    published_level: str | None = None,
    published_area: str | None = None,
    published_volume: str | None = None,
    level_unit: str = "m",
    area_unit: str = "m^2",
    volume_unit: str = "m^3",
    shift: Annotated[float, Range("m")] = 0.0,
    tolerance: Annotated[float, Range("", min=0)] = 0.01,
) -> Table:
    """Compare a table of areas and volumes with a published one, row by row.

    Parameters
    ----------
    table : Table
        One row per depth or elevation, m, m2 and m3.
    published : Table
        The other table; both have depths, or both elevations.
    level : str
        Name of the column of depths, m, positive down, or of elevations.
    area : str
        Name of the column of areas, m2.
    volume : str
        Name of the column of volumes below each level, m3.
    published_level : str, optional
        Its name in the published table, if another.
    published_area : str, optional
        Its name in the published table, if another.
    published_volume : str, optional
        Its name in the published table, if another.
    level_unit : str
        Unit of the published levels, such as ``ft``.
    area_unit : str
        Unit of the published areas, such as ``acre``.
    volume_unit : str
        Unit of the published volumes, such as ``acre_foot``.
    shift : float
        Added to the published levels, m, where they count from another zero.
    tolerance : float
        Share from which a row departs; of the greatest figure where the published one is nothing.

    Returns
    -------
    Table
        One row per published level within the range of `table`, in the published order, with
        columns ``level_m, area_m2, published_area_m2, area_off_m2, area_off_share, volume_m3,
        published_volume_m3, volume_off_m3, volume_off_share`` (this less the published one, and
        over it) and ``departs``. Notes say how many rows depart, and where they begin and are
        worst.

    Raises
    ------
    LayerError
        If the tables have no level in common, or a table contradicts itself.

    Notes
    -----
    Between its rows `table` is read along a curve whose slope is its area, which meets its areas
    and volumes (``table-at``). Units of the result are m, m2 and m3.
    """
    import pandas as pd

    curve, up = _curve(table, level, area, volume)
    names = (published_level or level, published_area or area, published_volume or volume)
    units = ((level_unit, "m"), (area_unit, "m^2"), (volume_unit, "m^3"))
    levels, areas, volumes = (
        convert(published.column(name), *unit) for name, unit in zip(names, units, strict=True)
    )
    levels = levels + shift
    depth = -levels if up else levels
    within = (depth >= curve.depth[0] - _HAIR) & (depth <= curve.depth[-1] + _HAIR)
    if not within.any():
        raise LayerError(
            f"the tables must share levels, one has {_span(curve.depth, up)}, the published one "
            f"{_span(depth, up)}"
        )
    columns = {"level_m": levels[within]}
    departs = np.zeros(int(within.sum()), bool)
    base = float(table.column(volume).min())
    for name, unit, own, other in (
        ("area", "m2", curve.areas(depth[within]), areas[within]),
        ("volume", "m3", curve.volumes(depth[within]) + base, volumes[within]),
    ):
        share = np.divide(own - other, other, out=np.full(len(own), np.nan), where=other != 0)
        columns[f"{name}_{unit}"], columns[f"published_{name}_{unit}"] = own, other
        columns[f"{name}_off_{unit}"], columns[f"{name}_off_share"] = own - other, share
        # a share of nothing is none: there the whole is what the figure is held against
        size = np.where(other == 0, np.nanmax(np.abs(other), initial=0), np.abs(other))
        departs |= np.abs(own - other) > tolerance * size
    frame = pd.DataFrame(columns).assign(departs=departs)
    return Table(frame, "Comparison with a published table", _notes(frame, within, tolerance))


def _curve(table: Table, level: str, area: str, volume: str) -> tuple[AreaCurve, bool]:
    levels, areas, volumes = (table.column(name) for name in (level, area, volume))
    # volumes rise with the level where areas may stay the same
    up = bool(np.corrcoef(levels, volumes)[0, 1] > 0)
    depth = -levels if up else levels
    order = np.argsort(depth, kind="stable")
    layers = -np.diff(volumes[order])
    return AreaCurve.of_layers(depth[order], areas[order], layers, tolerance=_SLACK), up


def _span(depth: np.ndarray, up: bool) -> str:
    low, high = np.sort([-depth.min(), -depth.max()] if up else [depth.min(), depth.max()])
    return f"{low:g} to {high:g} m"


def _notes(frame: "pd.DataFrame", within: np.ndarray, tolerance: float) -> tuple[str, ...]:
    notes = []
    if not within.all():
        notes.append(f"left out: {counted(int((~within).sum()), 'level')} beyond the table")
    many, whole = int(frame["departs"].sum()), len(frame)
    notes.append(f"{many} of {counted(whole, 'row')} depart by more than {tolerance:.2%}")
    if many:
        where = frame.loc[frame["departs"], "level_m"]
        notes.append(f"between {where.min():g} and {where.max():g} m")
    for name in ("area", "volume"):
        share = frame[f"{name}_off_share"].abs().fillna(0.0).to_numpy(float)
        worst = int(share.argmax())
        level = frame["level_m"].to_numpy(float)[worst]
        notes.append(f"greatest departure of the {name}: {share[worst]:.3%} at {level:g} m")
    return tuple(notes)
