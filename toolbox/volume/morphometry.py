"""Morphometry: the figures by which lakes are compared."""

import math
from typing import TYPE_CHECKING, Annotated, Any

import numpy as np

from toolbox.bed.uncertainty import LEAST_SUPPORT
from toolbox.errors import LayerError, ParameterError
from toolbox.layers import Table, Tin
from toolbox.tool import Range, tool
from toolbox.volume.bands import (
    Steepness,
    band_of_known,
    depth_figures,
    drawn_measures,
    standard_deviation,
    unsupported_shares,
)
from toolbox.volume.formulas import hypsographic_form, wave_base
from toolbox.volume.hypsography import area_and_volume
from toolbox.volume.open_water import lake_lines
from toolbox.volume.rim import Rim

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["morphometry"]

_SHELVES = (1.0, 2.0, 4.572)
"""Depths of shallow water, m: the last is 15 ft, which fisheries agencies take for the littoral."""

_STIRRED = "share above the wave base"


@tool("Morphometry")
def morphometry(
    bed: Tin,
    *,
    littoral: Annotated[tuple[float, ...], Range("m", above=0)] = _SHELVES,
    least_support: Annotated[float, Range("", min=0, max=1)] = LEAST_SUPPORT,
) -> Table:
    """Measure the water as a whole, at the level at which its edge was mapped.

    Parameters
    ----------
    bed : Tin
        The lake bed.
    littoral : tuple of float
        Depths below that level; for each the share of the water that is shallower is told. 4.572 m
        are the 15 ft down to which many agencies count the littoral (common practice, no source).
    least_support : float
        Support below which a part of a fitted bed counts as unsupported. At 0.5 data have halved
        the sd that the depth would have without them.

    Returns
    -------
    Table
        Columns ``measure, value, unit, source``. With A the area of the water, L the length of
        its outer shoreline, V its volume, z_max its greatest and z_mean its mean depth:

        - water area A, islands left out, and the islands' number and area, on the ground;
          insulosity, the islands' share of both areas, per cent;
        - shoreline length L without islands, islands' shoreline, open edge, on the ground;
        - shoreline development D_L = L / (2 sqrt(pi A)), 1 for a circle, and shoreline crenulation,
          L over the length of a taut string around the water; both left out where part of the
          edge is open;
        - maximum length, the shortest way over the water between the two places of the shore
          that lie farthest apart by water, around land and islands; maximum effective length, the
          longest straight line over the water, and its true bearing; maximum breadth, the longest
          straight line over the water at right angles to it; mean breadth, A / maximum length;
        - centroid of the water, which may lie on land;
        - volume V, greatest depth z_max and its place, mean depth z_mean = V / A;
        - volume development V_d = 3 z_mean / z_max, 1 for a cone, and the exponent q of the curve
          A (1 - z / z_max)^q of that mean depth, with the name of the form: 2 for a cone, 1 for a
          paraboloid, near 0 for a box;
        - relative depth Z_r = 50 z_max sqrt(pi) / sqrt(A), per cent;
        - mean and median slope of the bed, weighed by plan area: half of the bed is no steeper
          than the median;
        - shares of the water shallower than some depths;
        - dynamic ratio sqrt(A [km2]) / z_mean, and its inverse, the Osgood index;
        - basin permanence V [1e6 m3] / L [km];
        - wave base 45.7 F / (21.4 + F) with F = sqrt(A) in km, down to which waves move fine
          sediment, and the share of the water that is shallower.

        A fitted bed adds columns ``low, high``, the ends of the 90 % band of its draws (empty
        where the bed's depth has no part in a figure), and rows for the standard deviation of V
        and for the shares of A and V that rest on bed no data support.

    Raises
    ------
    LayerError
        If there is no water in the bed.
    ParameterError
        If a depth of the littoral is given twice.

    Notes
    -----
    A fitted bed is the mean of its draws and smoother than each: their greatest depths and slopes
    tend to be larger, so a value may lie below its own band. Where several vertices are deepest,
    the place is that of the first. A triangle is unsupported where the mean support of its corners
    is too little.

    Shoreline length, and with it D_L, crenulation and permanence, grow with the detail of the map:
    compare lakes mapped at one scale only. At one scale D_L still rises by about 14 % where the
    area doubles (Seekell et al. 2022). Greatest lines are sought on the shoreline simplified to
    300 corners at most; how far it was simplified stands beside them. Where the edge was not
    mapped at the datum, a note says at which depth. The wave base was found on lakes from 1 km2
    up; of small ponds it is an extrapolation.

    References
    ----------
    Hutchinson 1957, A Treatise on Limnology I, chapter 2; Wetzel & Likens 2000, Limnological
    Analyses, 3rd ed., chapter 1; Hakanson 1981, A Manual of Lake Morphometry; Osgood 1988, Lake and
    Reservoir Management 4:209; Kerekes 1977; Hakanson & Jansson 1983, Principles of Lake
    Sedimentology (all from memory); Seekell et al. 2022, Geophysical Research Letters 49.
    """
    import pandas as pd

    if len(set(littoral)) < len(littoral):
        raise ParameterError(f"littoral must name each depth once, got {littoral}")
    edge = 0.0 if bed.shore_depth is None else bed.shore_depth
    rim = Rim.of(bed)
    shelves = {f"share shallower than {depth:g} m": depth for depth in sorted(littoral)}
    shelves[_STIRRED] = wave_base(math.sqrt(float(area_and_volume(bed, np.array([edge]))[0][0])))
    rows = _rows(bed, edge, rim, shelves)
    notes: tuple[str, ...] = ()
    if edge:
        notes += (f"measured at the mapped water's edge, depth {edge:g} m",)
    has_draws = bed.draws is not None
    drawn = drawn_measures(bed, edge, _closed(rim), shelves) if has_draws else {}
    if drawn:
        count = len(drawn["volume"])
        notes += (f"low and high: 90 % band of {count} beds drawn",)
        source = f"standard deviation of {count} beds drawn"
        rows.append(("volume sd", standard_deviation(drawn["volume"]), "m3", source))
    if bed.support is not None:
        source = f"bed with support below {least_support:g}"
        shares = unsupported_shares(bed, edge, least_support)
        rows += [
            (f"unsupported {name} share", share, "1", source)
            for name, share in zip(("area", "volume"), shares, strict=True)
        ]
    frame = pd.DataFrame(rows, columns=["measure", "value", "unit", "source"])
    return Table(_with_bands(frame, drawn) if drawn else frame, "Morphometry", notes)


def _with_bands(frame: "pd.DataFrame", drawn: dict[str, np.ndarray]) -> "pd.DataFrame":
    ends = {name: band_of_known(values) for name, values in drawn.items()}
    for slope in ("mean slope", "median slope"):
        row = frame["measure"] == slope
        frame.loc[row, "value"] = float(np.median(drawn[slope]))
        frame.loc[row, "source"] = "area-weighted, median of the beds drawn: their mean is smoother"
    for place, end in enumerate(("low", "high")):
        values = {name: float(both[place]) for name, both in ends.items()}
        frame.insert(2 + place, end, frame["measure"].map(values))
    return frame


_Row = tuple[str, float, str, str]


def _rows(bed: Tin, edge: float, rim: Rim, shelves: dict[str, float]) -> list[_Row]:
    deepest = float(bed.depth.max()) - edge
    if deepest <= 0:
        raise LayerError("the bed is nowhere deeper than the water's edge, there is no water in it")
    levels, place = np.unique(np.r_[0.0, list(shelves.values())], return_inverse=True)
    areas, volumes = (values[place] for values in area_and_volume(bed, levels + edge))
    figures = depth_figures(areas, volumes[0], deepest, _closed(rim), tuple(shelves))
    return [
        *_extent_rows(float(areas[0]), rim),
        *_line_rows(bed, float(areas[0]), rim),
        *_depth_rows(bed, float(volumes[0]), deepest),
        *_form_rows(bed, figures, shelves),
    ]


def _closed(rim: Rim) -> float:
    """Length of the shore; NaN where part of the edge is open and its length means nothing."""
    return math.nan if rim.open_edge else rim.shoreline


def _extent_rows(area: float, rim: Rim) -> list[_Row]:
    insulosity = 100 * rim.island_area / (rim.island_area + area)
    rows = [
        ("water area", area, "m2", "plan area of the bed on the ground"),
        ("islands", rim.islands, "1", "inner rings of the shoreline"),
        ("island area", rim.island_area, "m2", "land inside the inner rings, on the ground"),
        ("insulosity", insulosity, "%", "islands' share of water and islands"),
        ("shoreline length", rim.shoreline, "m", "outer shoreline L, islands left out"),
        ("island shoreline length", rim.island_shoreline, "m", "inner rings"),
        ("open edge length", rim.open_edge, "m", "edge with water on both sides"),
    ]
    if rim.open_edge:
        return rows
    development = rim.shoreline / (2 * math.sqrt(math.pi * area))
    crenulation = rim.shoreline / rim.hull
    return [
        *rows,
        ("shoreline development", development, "1", "L / (2 sqrt(pi A))"),
        ("shoreline crenulation", crenulation, "1", "L / taut string, grows with the map's detail"),
    ]


def _line_rows(bed: Tin, area: float, rim: Rim) -> list[_Row]:
    lines = lake_lines(rim.water, bed.crs)
    centre = rim.water.centroid
    simple = f"; shore simplified by {lines.simplified:.2g} m" if lines.simplified else ""
    across = "longest straight line over water at right angles to the effective length"
    return [
        ("maximum length", lines.length, "m", f"shortest way between farthest shores{simple}"),
        (
            "maximum effective length",
            lines.effective_length,
            "m",
            f"longest straight line over water{simple}",
        ),
        ("effective length bearing", lines.bearing, "degree", "clockwise from true north"),
        ("maximum breadth", lines.breadth, "m", f"{across}{simple}"),
        ("mean breadth", area / lines.length, "m", "A / maximum length"),
        ("centroid easting", centre.x, "m", "of the water"),
        ("centroid northing", centre.y, "m", "of the water"),
    ]


def _depth_rows(bed: Tin, volume: float, deepest: float) -> list[_Row]:
    east, north = bed.vertices[bed.depth.argmax()]
    return [
        ("volume", volume, "m3", "exact for the triangulated bed"),
        ("greatest depth", deepest, "m", "deepest vertex of the bed"),
        ("deepest place easting", float(east), "m", "deepest vertex of the bed"),
        ("deepest place northing", float(north), "m", "deepest vertex of the bed"),
    ]


def _form_rows(bed: Tin, figures: dict[str, Any], shelves: dict[str, float]) -> list[_Row]:
    tangent = float(np.average(bed.gradients(), weights=bed.areas()))
    median = Steepness.of(bed).median(bed.depth)
    form = hypsographic_form(float(figures["volume development"]))
    slopes = {"mean slope": tangent, "median slope": median}
    figures = figures | {name: math.degrees(math.atan(slopes[name])) for name in slopes}
    figures["wave base"] = shelves[_STIRRED]
    shares = [(name, "1", "of the water area") for name in shelves]
    told = [
        ("mean depth", "m", "V / A"),
        ("volume development", "1", "3 z_mean / z_max"),
        ("hypsographic exponent", "1", f"z_max / z_mean - 1; {form}"),
        ("relative depth", "%", "50 z_max sqrt(pi) / sqrt(A)"),
        ("mean slope", "degree", "area-weighted over the bed"),
        ("median slope", "degree", "area-weighted over the bed"),
        *shares[:-1],
        ("dynamic ratio", "1", "sqrt(A [km2]) / z_mean"),
        ("Osgood index", "1", "z_mean / sqrt(A [km2])"),
        ("basin permanence", "1", "V [1e6 m3] / L [km]"),
        ("wave base", "m", "45.7 F / (21.4 + F), F = sqrt(A) in km"),
        shares[-1],
    ]
    return [
        (name, float(figures[name]), unit, source) for name, unit, source in told if name in figures
    ]
