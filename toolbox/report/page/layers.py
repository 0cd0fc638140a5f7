"""What a page is made of: the layers of its map and its tables."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from toolbox.layers import Grid, Shoreline, Soundings, Table, Tin, Vectors

__all__ = ["MapLayers", "PageTables"]


@dataclass(frozen=True, eq=False)
class MapLayers:
    """The layers that a page draws, all in one CRS.

    Parameters
    ----------
    bed : Tin
        The lake bed; its area and volume are tabulated finely for the movable water level.
    shoreline : Shoreline
        The water.
    depth : Grid
        Depth below the datum, m, positive down.
    soundings : Soundings, optional
        All of them, rejected ones too.
    sd : Grid, optional
        One standard deviation of the depth, m.
    slope : Grid, optional
        Slope of the bed, degrees or percent as its unit says.
    unsurveyed : Grid, optional
        1 where the bed is a guess, else 0.
    isobaths : Vectors, optional
        Lines with ``depth_m`` and ``index_line``.
    zones : Vectors, optional
        Polygons with ``from_m`` and ``to_m``, m.
    features : Vectors, optional
        Of the bed, with ``kind`` and ``feature``.
    plants : Vectors, optional
        Beds of plants.
    exclusions : Vectors, optional
        Closed areas, and lines and points to keep clear of.
    marks : Vectors, optional
        Points with ``mark``, their number; those to cast at also with ``peg`` and its place.
    pegs : Vectors, optional
        Points to cast from, with ``peg``.
    course : Vectors, optional
        The way of a boat, one line a leg.
    plan : Vectors, optional
        Lines or points to sound next, with ``order``.
    """

    bed: Tin
    shoreline: Shoreline
    depth: Grid
    soundings: Soundings | None = None
    sd: Grid | None = None
    slope: Grid | None = None
    unsurveyed: Grid | None = None
    isobaths: Vectors | None = None
    zones: Vectors | None = None
    features: Vectors | None = None
    plants: Vectors | None = None
    exclusions: Vectors | None = None
    marks: Vectors | None = None
    pegs: Vectors | None = None
    course: Vectors | None = None
    plan: Vectors | None = None


@dataclass(frozen=True, eq=False)
class PageTables:
    """The tables that a page prints.

    Parameters
    ----------
    hypsography : Table
        Area and volume by depth.
    morphometry : Table
        A name, ``value``, perhaps ``low`` and ``high``, and ``unit`` in each row.
    stage : Table, optional
        Area and storage by elevation.
    profiles : Table, optional
        Depth along each cast: ``mark``, ``distance_m``, ``depth_m``, perhaps the band.
    stocking : Table, optional
        Alternatives of a stocking proposal, one a row.
    quality : mapping of str to Table
        How far to trust the bed, by what each table is called on the page.
    """

    hypsography: Table
    morphometry: Table
    stage: Table | None = None
    profiles: Table | None = None
    stocking: Table | None = None
    quality: Mapping[str, Table] = field(default_factory=dict)
