"""Lit bed: how much light reaches the bed, and where."""

from typing import Annotated

import numpy as np

from toolbox.isobaths.bands import banded
from toolbox.layers import Grid, Tin, Vectors
from toolbox.tool import Range, tool
from toolbox.water.attenuation import SECCHI_FACTOR, chosen_attenuation, depth_of_light
from toolbox.water.light import water_surface

__all__ = ["light_at_bed_grid", "lit_bed"]


@tool("Light at the bed")
def light_at_bed_grid(
    depth: Grid,
    *,
    secchi: Annotated[float, Range("m", above=0)] | None = None,
    attenuation: Annotated[float, Range("1/m", above=0)] | None = None,
    factor: Annotated[float, Range("", above=0)] = SECCHI_FACTOR,
    surface: Annotated[float, Range("m")] = 0.0,
) -> Grid:
    """Grid how much of the surface light reaches the bed.

    Parameters
    ----------
    depth : Grid
        Depth of the bed below the datum, m, positive down.
    secchi : float, optional
        Depth at which a Secchi disc vanishes.
    attenuation : float, optional
        Attenuation of light instead.
    factor : float
        Attenuation times Secchi depth, where the Secchi depth is given.
    surface : float
        Depth of that day's water surface below the datum.

    Returns
    -------
    Grid
        100 exp(-k z), per cent of the light just below the surface; empty where the depth is
        empty and where the bed lies dry.

    Raises
    ------
    ParameterError
        If not exactly one of `secchi` and `attenuation` is given.
    """
    loss = chosen_attenuation(secchi, attenuation, factor)
    water = depth.values.astype(float) - surface
    lit = np.where(water >= 0, 100 * np.exp(-loss * np.maximum(water, 0)), np.nan)
    return depth.of(lit, "light_at_bed", "%")


@tool("Lit bed")
def lit_bed(
    bed: Tin,
    *,
    secchi: Annotated[float, Range("m", above=0)] | None = None,
    attenuation: Annotated[float, Range("1/m", above=0)] | None = None,
    share: Annotated[float, Range("", above=0, max=1)] = 0.01,
    factor: Annotated[float, Range("", above=0)] = SECCHI_FACTOR,
    surface: Annotated[float, Range("m")] | None = None,
) -> Vectors:
    """Outline the bed that light reaches.

    Parameters
    ----------
    bed : Tin
        The lake bed.
    secchi : float, optional
        Depth at which a Secchi disc vanishes.
    attenuation : float, optional
        Attenuation of light instead.
    share : float
        Of the light just below the surface down to which the bed counts as lit.
    factor : float
        Attenuation times Secchi depth, where the Secchi depth is given.
    surface : float, optional
        Depth of that day's water surface below the datum; if left out, the datum, or the mapped
        water's edge where that lies deeper.

    Returns
    -------
    Vectors
        ``lit_bed``: one polygon with as many parts as there are, with columns ``from_m, to_m``
        (depths below the datum), ``area_m2`` (on the ground) and ``share`` (of the water).

    Raises
    ------
    ParameterError
        If not exactly one of `secchi` and `attenuation` is given, or `surface` lies above the
        mapped water's edge.
    LayerError
        If there is no water below the surface.
    """
    import geopandas

    loss = chosen_attenuation(secchi, attenuation, factor)
    top = water_surface(bed, surface)
    least, most = float(bed.depth.min()), float(bed.depth.max())
    end = min(top + depth_of_light(loss, share), most)
    wanted = np.array([top, end])
    bands = banded(bed, np.unique(wanted[(wanted > least) & (wanted < most)]))
    number = int(top > least)  # what lies above the surface is the first band
    lit = (bands.number == number) & (end > least)  # bed may begin below all light
    wet = bands.area[bands.number >= number].sum()
    columns = {"from_m": top, "to_m": end, "area_m2": bands.area[lit]}
    columns["share"] = columns["area_m2"] / wet
    frame = geopandas.GeoDataFrame(columns, geometry=bands.shapes[lit], crs=bed.crs)
    return Vectors(frame, "lit_bed", bands.notes)
