"""Gather: all that the map, the section, the bed in 3D and the levels draw, as plain numbers."""

from typing import Any

import numpy as np

from toolbox.errors import LayerError
from toolbox.layers import Grid, Shoreline, Table, Tin, Vectors
from toolbox.layers.crs import is_plane, parse_crs, project
from toolbox.report.page.colours import ramps
from toolbox.report.page.layers import MapLayers, PageTables
from toolbox.report.page.rasters import packed_grid, thinned
from toolbox.report.page.shapes import packed_shapes, packed_soundings, plain
from toolbox.report.styles.colours import FORMS, PLAN
from toolbox.units import convert
from toolbox.volume.hypsography import hypsography
from toolbox.volume.stage import CUSTOMARY, Foot

__all__ = ["LEVELS", "fine_levels", "gathered"]

LEVELS = 201
"""Water levels between the mapped water's edge and the greatest depth."""

_DEGREES = 17  # places along each side at which longitude and latitude are told
_STEPS = {"depth": (0.001, 10), "sd": (0.001, 10), "slope": (0.01, 10), "unsurveyed": (1.0, 1)}
_COLUMNS: dict[str, tuple[str, ...]] = {
    "isobaths": ("depth_m", "index_line"),
    "zones": ("from_m", "to_m", "area_m2"),
    "features": (
        "kind",
        "feature",
        "depth_least_m",
        "depth_greatest_m",
        "relief_m",
        "area_m2",
        "length_m",
        "confidence",
    ),
    "plants": ("species_group", "cover_percent", "height_m"),
    "exclusions": ("name", "kind"),
    "marks": ("mark", "peg", "kind", "depth_m", "peg_easting_m", "peg_northing_m"),
    "pegs": ("peg", "marks"),
    "course": ("leg",),
    "plan": ("order", "peg", "line"),
}


def gathered(layers: MapLayers, tables: PageTables, *, datum: Any, foot: Foot) -> dict[str, Any]:
    """Gather what the page draws.

    Parameters
    ----------
    layers : MapLayers
        Of one CRS.
    tables : PageTables
        Of these the hypsography, whose levels are among those of the movable water.
    datum : float or None
        Elevation of the datum water level, m.
    foot : str
        Of which feet, acres and acre-feet are made.

    Returns
    -------
    dict
        As JSON holds it. Places count in m east and south of ``west`` and ``north``.
    """
    west, _, _, north = layers.depth.bounds
    corner = {"west": west, "north": north}
    shapes = {
        name: packed_shapes(getattr(layers, name), names, **corner)
        for name, names in _COLUMNS.items()
    }
    return {
        **corner,
        "water": _water(layers.shoreline, **corner),
        "crs": "a plane" if layers.depth.crs is None else plain(layers.depth.crs.name),
        "datum": datum,
        "cell": layers.depth.cell,
        "grids": _grids(layers, **corner),
        "shapes": {name: shape for name, shape in shapes.items() if shape is not None},
        "soundings": packed_soundings(layers.soundings, west=west, north=north),
        "degrees": _degrees(layers.depth),
        "curve": _curve(layers.bed, tables.hypsography, datum),
        "units": _factors(foot),
        "ramps": ramps(),
        "forms": FORMS,
        "planned": PLAN,
    }


def _water(shoreline: Shoreline, *, west: float, north: float) -> dict[str, Any]:
    import geopandas

    frame = geopandas.GeoDataFrame(geometry=[shoreline.polygons], crs=shoreline.crs)
    shapes = packed_shapes(Vectors(frame, "shoreline"), (), west=west, north=north)
    if shapes is None:
        raise LayerError("the shoreline has no polygon")
    return shapes


def _grids(layers: MapLayers, *, west: float, north: float) -> dict[str, Any]:
    made = {}
    for name, (step, shown) in _STEPS.items():
        grid: Grid | None = getattr(layers, name)
        if grid is not None and (name == "depth" or np.isfinite(grid.values).any()):
            few = thinned(grid, greatest=name == "unsurveyed")
            made[name] = packed_grid(few, step=step, shown=shown, west=west, north=north)
    return made


def _degrees(grid: Grid) -> dict[str, Any] | None:
    """Tell longitude and latitude at places of a net over the map, rows from the north."""
    if is_plane(grid.crs):
        return None
    assert grid.crs is not None
    left, bottom, right, top = grid.bounds
    east, north = np.meshgrid(
        np.linspace(left, right, _DEGREES), np.linspace(top, bottom, _DEGREES)
    )
    places = np.column_stack([east.ravel(), north.ravel()])
    told = project(places, grid.crs, parse_crs("EPSG:4326"))
    if not np.isfinite(told).all():
        return None
    return {
        "n": _DEGREES,
        "wide": right - left,
        "high": top - bottom,
        "longitude": np.round(told[:, 0], 8).tolist(),
        "latitude": np.round(told[:, 1], 8).tolist(),
    }


def fine_levels(table: Table) -> np.ndarray:
    """Return 201 even levels over a hypsographic table, and the rows of the table themselves."""
    rows = table.column("depth_m")
    return np.union1d(np.linspace(rows[0], rows[-1], LEVELS), rows)


def _curve(bed: Tin, table: Table, datum: float | None) -> dict[str, list[Any]]:
    """Tabulate the bed at fine levels; rows of the table keep the table's figures."""
    fine = hypsography(bed, levels=tuple(fine_levels(table)), datum=datum).frame
    fine = fine.set_index("depth_m", drop=False)
    rows = table.frame.set_index("depth_m", drop=False)
    shared = [name for name in fine if name in rows]
    fine.loc[rows.index, shared] = rows[shared]
    return {str(name): [plain(value) for value in fine[name].tolist()] for name in fine}


def _factors(foot: Foot) -> dict[str, float]:
    """Return how many feet, acres and acre-feet go into a metre, square and cubic metre."""
    names = CUSTOMARY[foot]
    return {
        unit: float(convert(1.0, metric, names[unit]))
        for unit, metric in (("m", "m"), ("m2", "m^2"), ("m3", "m^3"))
    }
