"""Bed layers: styles of the water's edge, soundings, bed, isobaths and zones."""

import math

import numpy as np

from toolbox.report.styles.colours import EDGE, FAULT, INK, PAPER, SERIES, at_depth, sampled
from toolbox.report.styles.look import Look, stepped
from toolbox.report.styles.signs import Area, Between, Equals, Is, Line, Point, Rule, Text

__all__ = [
    "bed_triangles",
    "bed_vertices",
    "crossings",
    "depth_zones",
    "isobath_labels",
    "isobaths",
    "shoreline",
    "soundings",
]

_FAR = 1e6  # beyond any depth, m
_DIFFERENCES = (-_FAR, -0.25, -0.1, 0.1, 0.25, _FAR)  # m, between lines at their crossings


def shoreline(look: Look) -> list[Rule]:
    """Draw the edge of the water alone, so that what lies beneath is seen."""
    del look
    return [Rule("water's edge", (Area(edge=Line(INK, 1.6)),))]


def soundings(look: Look) -> list[Rule]:
    """Draw kept ones as dots in the colour of their depth, rejected ones as crosses."""
    dots = [
        Rule("sounding", (Point("circle", 2.4, INK, opacity=0.65),), Is("flag", False)),
        Rule("rejected", (Point("x", 9, FAULT, Line(FAULT, 1.6)),), Is("flag", True)),
    ]
    reasons = Text("reason", FAULT, PAPER, size=9)
    return [*dots, Rule("why rejected", reasons, Is("flag", True), widest=look.near)]


def bed_vertices(look: Look) -> list[Rule]:
    """Draw vertices by what they stand for, from near only."""
    kinds = {
        "shoreline": INK,
        "island": EDGE,
        "sounding": FAULT,
        "breakline": SERIES[0],
        "inferred": "#8a949b",
        "open_edge": SERIES[3],
    }
    return [
        Rule(
            kind.replace("_", " "),
            (Point("circle", 3 if kind == "inferred" else 4.5, colour),),
            Equals("kind", kind),
            widest=look.near,
        )
        for kind, colour in kinds.items()
    ]


def bed_triangles(look: Look) -> list[Rule]:
    """Fill triangles by their mean depth; draw their sides from near."""
    least, most = min(look.depths[0], 0.0), look.depths[1]
    ends = stepped(least, most)
    rules = _classes(
        "mean_depth", ends, [at_depth(sum(pair) / 2, look.depths) for pair in _pairs(ends)]
    )
    sides = Area(edge=Line("#5b6a73", 0.3))
    return [*rules, Rule("sides", (sides,), widest=look.near)]


def crossings(look: Look) -> list[Rule]:
    """Draw by how far the two lines disagree, and which reads deeper."""
    del look
    colours = sampled("balance", np.array([0.15, 0.35, 0.5, 0.65, 0.85]))
    sizes = (11.0, 8.0, 6.0, 8.0, 11.0)
    titles = (
        "first line shallower by 0.25 m or more",
        "first line shallower by 0.1 to 0.25 m",
        "they agree to 0.1 m",
        "first line deeper by 0.1 to 0.25 m",
        "first line deeper by 0.25 m or more",
    )
    return [
        Rule(title, (Point("square", size, colour, Line(INK, 1.0)),), Between("difference", *pair))
        for title, size, colour, pair in zip(
            titles, sizes, colours, _pairs(np.array(_DIFFERENCES)), strict=True
        )
    ]


def depth_zones(look: Look) -> list[Rule]:
    """Fill each zone with the colour that the map has at its middle."""
    if look.frame is None or not len(look.frame):
        return [Rule("depth zone", (Area(at_depth(0.0, look.depths), edge=Line(INK, 0.3)),))]
    zones = look.frame.drop_duplicates("from_m").sort_values("from_m")
    ends = zones[["from_m", "to_m"]].to_numpy(float)
    unit = "ft" if "from_ft" in zones else "m"
    told = zones[[f"from_{unit}", f"to_{unit}"]].to_numpy(float)
    begins = ends[:, 0]
    parted = np.r_[-_FAR, (begins[1:] + begins[:-1]) / 2, _FAR]  # clear of rounding
    return [
        Rule(
            f"{low:.3g} to {high:.3g} {unit}",
            (Area(colour, edge=Line(colour, 0.4)),),  # an edge of its own closes hairlines
            Between("from_m", *pair),
        )
        for (begin, end), (low, high), pair in zip(ends, told, _pairs(parted), strict=True)
        for colour in [at_depth((begin + end) / 2, look.depths)]
    ]


def isobaths(look: Look) -> list[Rule]:
    """Draw lines that are read on pale and on dark water; those between others from near only."""
    heavy = (Line(PAPER, 3.6, opacity=0.55), Line(INK, 1.7))
    light = (Line(PAPER, 2.4, opacity=0.45), Line(INK, 0.8))
    return [
        Rule("isobath", light, Is("index_line", False), widest=4 * look.whole),
        Rule("index isobath", heavy, Is("index_line", True)),
    ]


def isobath_labels(look: Look) -> list[Rule]:
    """Write the numbers where they were placed, along their lines."""
    words = Text("label", INK, PAPER, size=11, centred=True, turned="upright_deg")
    unit = "ft" if look.frame is not None and "depth_ft" in look.frame else "m"
    place = Point("circle", 1.0, INK, opacity=0.0)  # some readers take no style of words alone
    return [
        Rule("place of a number", (place,)),
        Rule(f"depth of the isobath, {unit}", words, widest=2 * look.whole),
    ]


def _classes(column: str, ends: np.ndarray, colours: list[str]) -> list[Rule]:
    """Fill by classes; what lies beyond the ends falls into the outermost."""
    pairs = _pairs(ends)
    wide = [list(pair) for pair in pairs]
    wide[0][0], wide[-1][1] = -_FAR, _FAR
    return [
        Rule(f"{low:g} to {_told(high)} m", (Area(colour, edge=Line(colour, 0.4)),), where)
        for (low, high), colour, where in zip(
            pairs, colours, [Between(column, *limits) for limits in wide], strict=True
        )
    ]


def _told(value: float) -> str:
    return f"{value:.4g}" if math.isfinite(value) else "more"


def _pairs(ends: np.ndarray) -> list[tuple[float, float]]:
    return list(zip(ends[:-1].tolist(), ends[1:].tolist(), strict=True))
