"""Layers: the styles of points, lines and areas that a survey writes."""

from collections.abc import Callable
from typing import TYPE_CHECKING, Literal

from toolbox.errors import ParameterError
from toolbox.report.styles.bed_layers import (
    bed_triangles,
    bed_vertices,
    crossings,
    depth_zones,
    isobath_labels,
    isobaths,
    shoreline,
    soundings,
)
from toolbox.report.styles.colours import EDGE, FAULT, GREEN, INK, LIGHT, PAPER, PLAN, SERIES
from toolbox.report.styles.form_layers import features
from toolbox.report.styles.look import Look
from toolbox.report.styles.signs import Area, Equals, Line, Point, Rule, Style, Symbol, Text

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

__all__ = ["layer_style"]

_MOST_KINDS = 24  # told apart; the rest is drawn like one


def layer_style(
    name: str,
    *,
    depths: tuple[float, float],
    across: float,
    frame: "GeoDataFrame | None" = None,
) -> Style:
    """Return how a layer looks.

    Parameters
    ----------
    name : str
        Of the layer; one that is not known gets a plain style for its shapes.
    depths : tuple of float
        Least and greatest depth of the water, m: ends of the ramp.
    across : float
        Longer side of the water, m: what is small is shown from near only.
    frame : GeoDataFrame, optional
        The features, for layers with a class for each of them.

    Returns
    -------
    Style
        To be written by :func:`sld` or :func:`qml`.

    Raises
    ------
    ParameterError
        If depths do not rise, or the water has no extent.
    """
    if not depths[0] <= depths[1]:
        raise ParameterError(f"depths must rise, got {depths[0]:g} to {depths[1]:g} m")
    if not across > 0:
        raise ParameterError(f"across must be above 0 m, got {across:g}")
    title, rules = _STYLES.get(name, (name.replace("_", " "), _plain))
    return Style(name, title, rules(Look(depths, across, frame)))


def _plants(look: Look) -> list[Rule]:
    words = Text("species_group", GREEN, PAPER, size=10, centred=True, shape="area")
    named = look.frame is not None and "species_group" in look.frame
    told = [Rule("kinds of plants", words, widest=look.near)] if named else []
    return [Rule("plants", (Area(GREEN, 0.3, Line(GREEN, 1.2)),)), *told]


def _plant_edges(look: Look) -> list[Rule]:
    del look
    return [
        Rule("edge towards the shore", (Line(GREEN, 1.4, (4, 3)),), Equals("edge", "inner")),
        Rule("edge towards deep water", (Line(GREEN, 2.2),), Equals("edge", "outer")),
    ]


def _suitable_bed(look: Look) -> list[Rule]:
    """Give each species its colour; where they overlap, both are seen."""
    names = [] if look.frame is None else list(dict.fromkeys(look.frame["species"].astype(str)))
    if not names:
        return [Rule("suitable bed", (Area(SERIES[2], 0.35, Line(SERIES[2], 0.8)),))]
    return [
        Rule(f"suits {name}", (Area(colour, 0.18, Line(colour, 2.4)),), where)
        for place, name in enumerate(names[:_MOST_KINDS])
        for colour, where in [(SERIES[place % len(SERIES)], Equals("species", name))]
    ]


def _lit_bed(look: Look) -> list[Rule]:
    del look
    return [Rule("lit bed", (Area(LIGHT, 0.3, Line("#8a7f00", 0.8, (5, 3))),))]


def _marks(look: Look) -> list[Rule]:
    sign = Point("circle", 10, FAULT, Line(PAPER, 1.2))
    words = Text("mark", INK, PAPER, size=12, bold=True)
    return [Rule("mark", (sign,)), Rule("number of the mark", words, widest=look.whole)]


def _pegs(look: Look) -> list[Rule]:
    sign = Point("triangle", 13, INK, Line(PAPER, 1.2))
    words = Text("peg", INK, PAPER, size=12, bold=True, away=(8, 5))
    return [Rule("peg", (sign,)), Rule("name of the peg", words, widest=look.whole)]


def _course(look: Look) -> list[Rule]:
    words = Text("leg", INK, PAPER, size=10, centred=True, shape="line")
    return [
        Rule("course of the boat", (Line(PAPER, 4.0, opacity=0.7), Line(INK, 1.6))),
        Rule("number of the leg", words, widest=look.whole),
    ]


def _next_soundings(look: Look) -> list[Rule]:
    shape: Literal["point", "line"] = "point" if "Point" in look.kinds else "line"
    words = Text("order", EDGE, PAPER, size=12, bold=True, centred=shape == "line", shape=shape)
    sign: tuple[Symbol, ...] = (Line(INK, 4.2), Line(PLAN, 2.6))
    if shape == "point":
        sign = (Point("cross", 10, PLAN, Line(INK, 1.0)),)
    return [
        Rule("sound here next", sign),
        Rule("order in which to sound", words, widest=look.whole),
    ]


def _plain(look: Look) -> list[Rule]:
    """Draw shapes of any kind, each in its way."""
    ways: dict[str, Symbol] = {
        "Point": Point("circle", 6, SERIES[0], Line(PAPER, 1.0)),
        "LineString": Line(SERIES[0], 1.6),
        "Polygon": Area(SERIES[0], 0.25, Line(SERIES[0], 0.8)),
    }
    found = [kind for kind in ways if kind in look.kinds] or ["LineString"]
    return [Rule("feature", tuple(ways[kind] for kind in found))]


_Maker = Callable[[Look], list[Rule]]

_STYLES: dict[str, tuple[str, _Maker]] = {
    "shoreline": ("Shoreline", shoreline),
    "soundings": ("Soundings", soundings),
    "bed_vertices": ("Vertices of the bed", bed_vertices),
    "bed_triangles": ("Triangles of the bed", bed_triangles),
    "crossings": ("Crossings of lines", crossings),
    "depth_zones": ("Depth zones", depth_zones),
    "isobaths": ("Isobaths", isobaths),
    "isobath_labels": ("Depths of isobaths", isobath_labels),
    "features": ("Features of the bed", features),
    "plants": ("Plants", _plants),
    "plant_beds": ("Plants met by soundings", _plants),
    "plant_edges": ("Edges of plants", _plant_edges),
    "suitable_bed": ("Bed that suits each species", _suitable_bed),
    "lit_bed": ("Bed that light reaches", _lit_bed),
    "marks": ("Marks", _marks),
    "boat_marks": ("Marks for a boat", _marks),
    "pegs": ("Pegs", _pegs),
    "boat_course": ("Course of the boat", _course),
    "next_soundings": ("Where to sound next", _next_soundings),
}
