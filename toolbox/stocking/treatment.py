"""Treatment: the volume of water of a layer, and what a dose of it weighs."""

from typing import TYPE_CHECKING, Annotated

import numpy as np

from toolbox.bed.uncertainty import band
from toolbox.errors import LayerError, ParameterError
from toolbox.layers import Table, Tin
from toolbox.stocking.rates import Rate
from toolbox.tool import Range, tool
from toolbox.units import convert
from toolbox.water.water_layers import WaterLayers

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["CAUTION", "dose", "layer_volumes", "treatment_volume"]

CAUTION = (
    "arithmetic only: the product's label and the permit govern what, how much and whether, and a "
    "licensed applicator applies it; try it on a jar of this water first; a fall of pH or oxygen "
    "kills fish"
)

_UNITS = {"m3": "m**3", "acre_ft": "acre_foot", "gal": "gallon", "megalitres": "megaliter"}
"""Suffix of a column, and its unit: gallons of the US."""

_PPM = 1e-3
"""kg in a m3 of 1 mg/L, which is 1 ppm of water."""


@tool("Volume of water to treat")
def treatment_volume(
    bed: Tin,
    *,
    edges: Annotated[tuple[float, ...], Range("m", min=0)] = (),
    level: Annotated[float, Range("m")] = 0.0,
) -> Table:
    """Measure the water between depths, in the units that labels use.

    Parameters
    ----------
    bed : Tin
        The bed of the pond or lake.
    edges : tuple of float
        Depths below the day's water surface that part the layers; the surface and the bed are
        added. If left out, all water is one layer.
    level : float
        Depth of the day's water surface below the datum, negative above it: volumes follow the
        water of the day.

    Returns
    -------
    Table
        One row a layer, from the surface down, then one of all: ``layer, upper_m, lower_m,
        area_m2`` (at its top), ``volume_m3, volume_low_m3, volume_high_m3`` (the 90 % band of a
        fitted bed's draws), and ``volume_acre_ft, volume_gal, volume_megalitres`` (of the
        international foot; US gallons), each with ``_low`` and ``_high`` before the unit.

    Raises
    ------
    LayerError
        If there is no water in the bed.
    ParameterError
        If a depth is given twice or lies at or below the bed, or the level is above the mapped
        water's edge.
    """
    edge = -np.inf if bed.shore_depth is None else bed.shore_depth
    if level < edge:
        raise ParameterError(
            f"level must be {edge:g} m or more, where the water's edge was mapped, got {level:g}"
        )
    deepest = float(bed.depth.max()) - level
    if deepest <= 0:
        raise LayerError(f"there is no water in the bed at level {level:g} m")
    wrong = [depth for depth in edges if not 0 < depth < deepest]
    if wrong or len(set(edges)) < len(edges):
        raise ParameterError(
            f"edges must each be given once and lie between 0 and {deepest:g} m, got {edges}"
        )
    cuts = np.r_[0.0, sorted(edges), deepest]
    bottom = deepest if bed.draws is None else max(deepest, float(bed.draws.max()) - level)
    layers = WaterLayers.of_bed(bed, np.r_[cuts[:-1], bottom] + level)
    frame = layer_volumes(layers, cuts)
    notes: tuple[str, ...] = (
        CAUTION,
        "volumes of the water's level given: read the gauge on the day",
    )
    if bed.draws is not None:
        notes += (f"low and high: 90 % band of {bed.draws.shape[1]} beds drawn",)
    return Table(frame, "Volume of water to treat", notes)


def layer_volumes(layers: WaterLayers, cuts: np.ndarray) -> "pd.DataFrame":
    """Lay out the volumes of layers and of all of them.

    Parameters
    ----------
    layers : WaterLayers
        As they are cut.
    cuts : (k + 1,) array
        Depths below the surface to show, m.

    Returns
    -------
    DataFrame
        Columns of :func:`treatment_volume`.
    """
    import pandas as pd

    volume = np.r_[layers.volume, layers.volume.sum()]
    ends = [np.full(len(volume), np.nan)] * 2
    if layers.drawn_volume is not None:
        drawn = layers.drawn_volume
        ends = list(band(np.column_stack([drawn, drawn.sum(axis=1)])))
    columns = {
        "layer": [*map(str, range(1, len(cuts))), "all"],
        "upper_m": np.r_[cuts[:-1], cuts[0]],
        "lower_m": np.r_[cuts[1:], cuts[-1]],
        "area_m2": np.r_[layers.area[:-1], layers.area[0]],
    }
    for suffix, unit in _UNITS.items():
        for name, values in (("", volume), ("_low", ends[0]), ("_high", ends[1])):
            columns[f"volume{name}_{suffix}"] = convert(values, "m**3", unit)
    return pd.DataFrame(columns)


@tool("Weight of a dose")
def dose(
    volumes: Table,
    *,
    ppm: Annotated[float, Range("mg/L", above=0)] | None = None,
    rate: str | None = None,
    active_percent: Annotated[float, Range("%", above=0, max=100)] = 100.0,
    source: str,
) -> Table:
    """Weigh what brings water to a concentration, by volume.

    Parameters
    ----------
    volumes : Table
        Column ``volume_m3``, and ``layer``, ``volume_low_m3`` and ``volume_high_m3`` where known,
        as the tool of the volume to treat makes it.
    ppm : float, optional
        Concentration wanted of the active part.
    rate : str, optional
        Instead, weight of the product per volume, as on a label: ``"25 lb/acre_foot"`` or
        ``"10 g/m3"``. A gallon is that of the US; the British one, a fifth larger, is written
        ``imperial_gallon``.
    active_percent : float
        Share of the product that is active, of a concentration.
    source : str
        The label, and who prescribes the dose.

    Returns
    -------
    Table
        One row a row of `volumes`: ``layer, volume_m3, product_kg, product_lb``, with
        ``product_low_kg, product_high_kg, product_low_lb, product_high_lb`` where volumes have
        ends, and ``ppm``, of the active part.

    Raises
    ------
    LayerError
        If a volume is missing or negative.
    ParameterError
        If ppm and rate are both given or neither, a rate is no weight per volume, or the source is
        empty.

    Notes
    -----
    1 ppm is 1 mg/L, 1 g in a m3: 2.719 lb in an acre-foot, 8.345 lb in a million US gallons of
    water at 1000 kg/m3. Product is volume times ppm over the active share.
    """
    import pandas as pd

    if not source.strip():
        raise ParameterError("source must name the label or who prescribes the dose, got nothing")
    product = _concentration(ppm, rate, active_percent, source)
    frame = volumes.frame
    layer = frame["layer"] if "layer" in frame else np.arange(1, len(frame) + 1).astype(str)
    columns = {"layer": layer, "volume_m3": _volume(volumes, "volume_m3")}
    for end in ("", "_low", "_high"):
        if f"volume{end}_m3" in frame:
            kg = _volume(volumes, f"volume{end}_m3", empty=bool(end)) * product
            columns[f"product{end}_kg"] = kg
            columns[f"product{end}_lb"] = convert(kg, "kg", "lb")
    told = pd.DataFrame(columns).assign(ppm=product / _PPM * active_percent / 100)
    return Table(told, "Weight of a dose", (CAUTION, f"dose: {source}"))


def _concentration(
    ppm: float | None, rate: str | None, active_percent: float, source: str
) -> float:
    """Return the product wanted, kg/m3."""
    if (ppm is None) == (rate is None):
        raise ParameterError("give ppm or rate, one of them")
    if ppm is not None:
        return ppm * _PPM * 100 / active_percent
    assert rate is not None
    given = Rate.parse(rate, source=source)
    if given.of != "weight" or given.per != "volume" or not given.amount > 0:
        raise ParameterError(
            f"rate must be a weight per volume, such as '25 lb/acre_foot', got {rate!r}"
        )
    return given.amount


def _volume(volumes: Table, name: str, *, empty: bool = False) -> np.ndarray:
    values = volumes.column(name)
    if not ((values >= 0) | (empty & np.isnan(values))).all():
        raise LayerError(f"column {name!r} must be >= 0 everywhere, got {values.min()}")
    return values
