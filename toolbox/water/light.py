"""Light: how deep it reaches, and how much bed and water it lights."""

from typing import Annotated

import numpy as np

from toolbox.errors import LayerError, ParameterError
from toolbox.layers import Table, Tin
from toolbox.tool import Range, tool
from toolbox.water.attenuation import SECCHI_FACTOR, chosen_attenuation, depth_of_light
from toolbox.water.water_layers import Figure, WaterLayers

__all__ = ["FIXED_LITTORAL", "light", "water_surface"]

FIXED_LITTORAL = 4.572
"""15 ft, down to which fisheries agencies count the littoral, m (common practice, no source)."""


@tool("Light and littoral")
def light(
    bed: Tin,
    *,
    secchi: Annotated[float, Range("m", above=0)] | None = None,
    attenuation: Annotated[float, Range("1/m", above=0)] | None = None,
    share: Annotated[float, Range("", above=0, max=1)] = 0.01,
    factor: Annotated[float, Range("", above=0)] = SECCHI_FACTOR,
    fixed_depth: Annotated[float, Range("m", above=0)] = FIXED_LITTORAL,
    surface: Annotated[float, Range("m")] | None = None,
) -> Table:
    """Measure how deep light reaches and how much bed and water it lights.

    Parameters
    ----------
    bed : Tin
        The lake bed.
    secchi : float, optional
        Depth at which a Secchi disc vanishes.
    attenuation : float, optional
        Attenuation of light instead, as a light profile tells it.
    share : float
        Of the light just below the surface down to which bed and water count as lit.
    factor : float
        Attenuation times Secchi depth, where the Secchi depth is given: about 1.7 in clear water,
        less in turbid and coloured water (1.4 is common; from memory).
    fixed_depth : float
        Depth of the littoral by agreement. 4.572 m are 15 ft (common practice, no source).
    surface : float, optional
        Depth of that day's water surface below the datum; if left out, the datum, or the mapped
        water's edge where that lies deeper.

    Returns
    -------
    Table
        Columns ``measure, value, low, high, unit, source``, rows in this order: ``secchi depth``
        (where given), ``attenuation``, ``light depth``, ``water area``, ``water volume``, ``lit bed
        area``, ``lit bed share``, ``lit volume``, ``lit volume share``, ``fixed depth``, ``littoral
        area by fixed depth``, ``littoral share by fixed depth``. The littoral by light is the lit
        bed. Low and high are the ends of the 90 % band of the bed's draws: empty without draws, and
        where the bed has no part.

    Raises
    ------
    ParameterError
        If not exactly one of `secchi` and `attenuation` is given, or `surface` lies above the
        mapped water's edge.
    LayerError
        If there is no water below the surface.

    Notes
    -----
    Light falls as exp(-k z): the depth of a share is ln(1 / share) / k. Bed counts as lit where it
    is shallower than that; water is lit above that depth. Bands tell the error of the bed alone:
    the factor of Secchi depths differs between waters by a fifth or more, and Secchi depth through
    the season by far more.

    References
    ----------
    Poole and Atkins 1929, Journal of the Marine Biological Association 16:297 (k = 1.7 / Secchi;
    from memory).
    """
    import pandas as pd

    loss = chosen_attenuation(secchi, attenuation, factor)
    top, reach = water_surface(bed, surface), depth_of_light(loss, share)
    told = "given" if secchi is None else f"{factor:g} / Secchi depth, Poole & Atkins 1929"
    rows = [] if secchi is None else [("secchi depth", Figure(secchi), "m", "given")]
    rows += [("attenuation", Figure(loss), "1/m", told)]
    rows += [("light depth", Figure(reach), "m", f"ln(1 / {share:g}) / attenuation")]
    rows += _extent_rows(bed, top, reach) + _fixed_rows(bed, top, fixed_depth)
    notes: tuple[str, ...] = (f"depths count from the water surface, {top:g} m below the datum",)
    if bed.draws is not None:
        notes += (f"low and high: 90 % band of {bed.draws.shape[1]} beds drawn",)
    frame = pd.DataFrame([_row(*row) for row in rows])
    return Table(frame, "Light", notes)


_Row = tuple[str, Figure, str, str]


def _row(measure: str, figure: Figure, unit: str, source: str) -> dict[str, float | str]:
    value = {"value": figure.value, "low": figure.low, "high": figure.high}
    return {"measure": measure} | value | {"unit": unit, "source": source}


def water_surface(bed: Tin, surface: float | None) -> float:
    """Return the depth of a day's water surface below the datum, m.

    Parameters
    ----------
    bed : Tin
        The lake bed.
    surface : float or None
        As given; None for the datum, or the mapped water's edge where that lies deeper.

    Raises
    ------
    ParameterError
        If it lies above the mapped water's edge, where nobody knows how far the water would spread.
    LayerError
        If there is no water below it.
    """
    edge = bed.shore_depth
    if surface is None:
        surface = max(0.0, edge or 0.0)
    elif edge is not None and surface < edge:
        raise ParameterError(
            f"surface must be at or below the mapped water's edge (depth {edge:g} m), "
            f"got {surface:g}"
        )
    if surface >= bed.depth.max():
        deepest = float(bed.depth.max())
        raise LayerError(
            f"there is no water below the surface: it lies at {surface:g} m, "
            f"the greatest depth is {deepest:g} m"
        )
    return float(surface)


def _layers(bed: Tin, top: float, depth: float) -> WaterLayers:
    """Cut the water at the surface, at a depth below it and below all bed and all draws."""
    deepest = float(bed.depth.max() if bed.draws is None else max(bed.depth.max(), bed.draws.max()))
    return WaterLayers.of_bed(bed, np.array([top, top + depth, max(deepest, top + depth) + 1.0]))


def _extent_rows(bed: Tin, top: float, reach: float) -> list[_Row]:
    cut = _layers(bed, top, reach)
    lit = "bed shallower than the light depth: the littoral by light"
    return [
        ("water area", cut.figure(lambda a, v: a[..., 0]), "m2", "at the water surface"),
        ("water volume", cut.figure(lambda a, v: v.sum(axis=-1)), "m3", "below the water surface"),
        ("lit bed area", cut.figure(lambda a, v: a[..., 0] - a[..., 1]), "m2", lit),
        ("lit bed share", cut.figure(_shallow_share), "1", "of the water area"),
        ("lit volume", cut.figure(lambda a, v: v[..., 0]), "m3", "water above the light depth"),
        (
            "lit volume share",
            cut.figure(lambda a, v: v[..., 0] / v.sum(axis=-1)),
            "1",
            "of the water volume",
        ),
    ]


def _shallow_share(areas: np.ndarray, volumes: np.ndarray) -> np.ndarray:
    return np.asarray(1 - areas[..., 1] / areas[..., 0])


def _fixed_rows(bed: Tin, top: float, depth: float) -> list[_Row]:
    cut, by = _layers(bed, top, depth), "common practice, no source"
    area = cut.figure(lambda a, v: a[..., 0] - a[..., 1])
    return [
        ("fixed depth", Figure(depth), "m", by),
        ("littoral area by fixed depth", area, "m2", f"bed shallower than {depth:g} m; {by}"),
        ("littoral share by fixed depth", cut.figure(_shallow_share), "1", "of the water area"),
    ]
