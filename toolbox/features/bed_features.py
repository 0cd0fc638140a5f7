"""Features of the bed: shelves, drop-offs, gullies, humps, bars, plateaus and holes."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Annotated, Any

import numpy as np

from toolbox.bed.uncertainty import LEAST_SUPPORT
from toolbox.features import closed_forms as closed
from toolbox.features import drop_offs as drops
from toolbox.features import gullies as hollows
from toolbox.features import shelves as gentle
from toolbox.features.forms import Form, confidences, least_relief_of, supports
from toolbox.features.ground import Ground
from toolbox.features.surface import Surface
from toolbox.layers import Tin, Vectors, VertexKind
from toolbox.notes import Caution
from toolbox.tool import Range, tool
from toolbox.words import counted

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

__all__ = ["Found", "bed_features", "find"]

LEAST_CONFIDENCE = 0.5
"""Share of the draws that must hold a feature for it to be told."""

_WIDE = 60.0  # m, of a hole whose sides may be drop-offs
_IN_A_ROW = 3  # hollows that make a gully
_BESIDE = 3.0  # m around a hole, where the bed still falls into it

LEAST_LENGTH = 40.0
"""Of gullies and drop-offs, m (common practice, no source)."""

_GENTLE = (
    "humps and holes gentler than 2 % (1 m on 100 m across) are not told: on a bed that does not "
    "know its error they may be waves between lines; see the isobaths"
)
_GENTLE_FITTED = (
    "humps and holes gentler than 2 % (1 m on 100 m across) are told only where they stand out "
    "three times from the error of the bed, those gentler than 0.5 % never; see the isobaths"
)

_COLUMNS = (
    "depth_least_m", "depth_greatest_m", "relief_m", "area_m2", "length_m", "width_m", "slope_deg",
    "pour_depth_m", "closing_depth_m", "seen_share",
)  # fmt: skip

_TYPES = {"kind": str, "feature": "int64"}  # the others are real numbers


@dataclass(frozen=True, eq=False)
class Found:
    """A form, the share of the draws that hold it, and how far data tell the bed there."""

    form: Form
    confidence: float
    support: float


@tool("Features of the bed")
def bed_features(
    bed: Tin,
    *,
    least_relief: Annotated[float, Range("m", above=0)] | None = None,
    least_drop: Annotated[float, Range("m", above=0)] = drops.LEAST_DROP,
    least_length: Annotated[float, Range("m", above=0)] = LEAST_LENGTH,
    steep: Annotated[float, Range("degree", above=0, max=89)] = drops.STEEP,
    gentle_slope: Annotated[float, Range("degree", above=0, max=89)] = gentle.GENTLE,
    widest_gully: Annotated[float, Range("m", above=0)] = hollows.WIDEST,
    largest_share: Annotated[float, Range("", above=0, max=1)] = closed.LARGEST_SHARE,
    least_confidence: Annotated[float, Range("", min=0, max=1)] = LEAST_CONFIDENCE,
    least_support: Annotated[float, Range("", min=0, max=1)] = LEAST_SUPPORT,
) -> Vectors:
    """Find shelves, drop-offs, gullies, humps, bars, plateaus and holes.

    Parameters
    ----------
    bed : Tin
        The lake bed; a fitted one tells how sure its features are.
    least_relief : float, optional
        Of humps, holes and gullies; if left out, 0.3 m, or the median standard deviation of a
        fitted bed where that is more: twice that for humps and holes.
    least_drop : float
        Depth from lip to foot of a drop-off.
    least_length : float
        Of gullies and drop-offs.
    steep : float
        Least slope of a drop-off.
    gentle_slope : float
        Greatest slope of a shelf.
    widest_gully : float
        From top to top of its sides.
    largest_share : float
        Of the water, that a hump or a hole may cover: what is larger is a bank or a basin.
    least_confidence : float
        Share of the draws of a fitted bed that must hold a feature.
    least_support : float
        Support by data below which a feature is left out, as on bed that counts as unsurveyed.

    Returns
    -------
    Vectors
        ``features``, one row a line or outline:

        - ``kind``: ``shelf``, ``drop-off lip``, ``drop-off foot``, ``gully``, ``gully axis``,
          ``hump``, ``bar``, ``plateau``, ``hole``;
        - ``feature``: a number shared by lip and foot, and by axis and outline;
        - ``depth_least_m, depth_greatest_m``, the shallowest and the deepest of it;
        - ``relief_m``: of humps and holes from top or bottom to the closing isobath, of gullies
          the median depth below the lower side, of drop-offs the median depth from lip to foot;
        - ``area_m2, length_m, width_m, slope_deg`` (mean) where they have a meaning;
        - ``pour_depth_m`` of holes: where they would spill, or their rim; ``closing_depth_m`` of
          humps: the depth of the deepest isobath that goes round them alone;
        - ``seen_share`` of gullies: the share of its length on which the bed shows it; between is
          where it was joined across, mostly between survey lines;
        - ``confidence``: share of the draws that hold the feature (see below), empty without draws;
        - ``support``: how far data tell the bed there, 0 to 1, empty where unknown.

    Notes
    -----
    A hole is a hollow with a closed isobath, a hump a rise with one, a bar a hump at least 2.5
    times as long as wide, a plateau a hump whose upper quarter covers two fifths of its ground. A
    gully is a hollow that shows on two and a half of its widths or more, between sides that rise
    faster than the bed beyond them; hollows in its bottom, if not half as deep again as the gully,
    are part of it. Hollows in a row with a valley between them are a gully that was seen only on
    the survey lines. The foot of a slope and the moat around a hump or an island are no gullies. A
    drop-off is bed steeper than that above and below, a shelf gentle bed above its lip. As a survey
    in lines blurs what is steep, six tenths of `steep` are enough in the mean from lip to foot, and
    four tenths between bed that is next to level. The sides of gullies, humps and small holes are
    no drop-offs; the flank of a hole wider than 60 m is one only where it is as steep as `steep`
    all the way from lip to foot.

    Each draw is asked for each feature at its place: for the top above all sides of its outline,
    the bottom of the gully below both sides, the fall between lip and foot. So the confidence says
    how often a form of that kind and size would really be there, not where exactly its edge runs.
    For holes and drop-offs, of which draws alone are too sure, a draw counts as lying half as far
    again from the bed as it does.

    A hump or hole whose relief is less than 2 % of its radius (1 m on 100 m across) is gentle. A
    fitted bed tells it if its relief is three times `least_relief` and three times the standard
    deviation of the bed on it, and 0.5 % of its radius or more; a bed without an error tells none.

    Of a water whose lines lie far apart, forms between them are not found.
    """
    kept, left = find(
        bed,
        least_relief=least_relief,
        least_drop=least_drop,
        least_length=least_length,
        steep=steep,
        gentle_slope=gentle_slope,
        widest_gully=widest_gully,
        largest_share=largest_share,
        least_confidence=least_confidence,
        least_support=least_support,
    )
    notes: list[str] = [
        "how steep, long and high a form must be is common practice, no norm",
        _GENTLE if bed.sd is None else _GENTLE_FITTED,
    ]
    if bed.draws is None:
        text = "only a fitted bed tells how sure its features are: these may be none where "
        notes.append(Caution(f"{text}soundings lie far apart"))
    if left:
        notes.append(f"{counted(len(left), 'feature')} left out: too unsure or on unsurveyed bed")
    return Vectors(_frame(bed, kept), "features", tuple(notes))


def find(
    bed: Tin,
    *,
    least_relief: float | None = None,
    least_drop: float = drops.LEAST_DROP,
    least_length: float = LEAST_LENGTH,
    steep: float = drops.STEEP,
    gentle_slope: float = gentle.GENTLE,
    widest_gully: float = hollows.WIDEST,
    largest_share: float = closed.LARGEST_SHARE,
    least_confidence: float = LEAST_CONFIDENCE,
    least_support: float = LEAST_SUPPORT,
) -> tuple[list[Found], list[Found]]:
    """Return the features that are sure enough, and those that are not."""
    relief = least_relief_of(bed) if least_relief is None else least_relief
    along = least_relief_of(bed, times=1.0) if least_relief is None else least_relief
    surface, ground = Surface.of(bed), Ground(bed)
    holes, humps = (
        closed.closed_forms(
            bed, sign, least_relief=relief, largest_share=largest_share, ground=ground
        )
        for sign in (1, -1)
    )
    # the sides of gentle forms are neither banks of gullies nor steep
    steeper = [form for form in holes if not closed.is_gentle(form)]
    rises = _rises(ground, [form for form in humps if not closed.is_gentle(form)], relief)
    lines = hollows.gullies(
        surface, least_relief=along, least_length=least_length, widest=widest_gully, rises=rises
    )
    own = [_afloat(ground, line) for line in lines if not _of_holes(line, steeper, least_length)]

    def sure(found: Found) -> bool:
        # what is unknown is not too little
        return not (found.confidence < least_confidence or found.support < least_support)

    gullies = _judged(bed, own)
    told = [found.form for found in gullies if sure(found)]
    around = _judged(bed, [hole for hole in holes if not _in_gully(hole, told)] + humps)
    beside, within = _sides(
        told, [found.form for found in around if sure(found) and not closed.is_gentle(found.form)]
    )
    edges = drops.drop_offs(
        surface, least_drop=least_drop, steep=steep, least_length=least_length,
        beside=beside, within=within,
    )  # fmt: skip
    flats = gentle.shelves(surface, edges, gentle=gentle_slope)
    found = [*_judged(bed, flats), *_judged(bed, edges), *gullies, *around]
    return [one for one in found if sure(one)], [one for one in found if not sure(one)]


def _judged(bed: Tin, forms: Sequence[Form]) -> list[Found]:
    """Return forms with the share of the draws that hold them and the support of the bed there."""
    columns = zip(forms, confidences(bed, forms), supports(bed, forms), strict=True)
    return [Found(form, float(share), float(told)) for form, share, told in columns]


def _sides(gullies: Sequence[Form], around: Sequence[Form]) -> tuple[list[Form], list[Form]]:
    """Return the forms whose sides are no drop-offs, and the holes whose sides may be."""
    wide = [form for form in around if _is_wide(form)]
    return [*gullies, *(form for form in around if form not in wide)], wide


def _rises(ground: Ground, humps: Sequence[Form], least_relief: float) -> list[Any]:
    """Return the outlines of humps, and of islands with the bed that rises to them alone."""
    import shapely

    bed, outlines = ground.bed, [next(iter(form.shapes.values())) for form in humps]
    shores = bed.vertices[bed.kind == VertexKind.ISLAND]
    if not len(shores):
        return outlines
    # an island is one, however large
    rises = closed.closed_forms(
        bed, -1, least_relief=least_relief, largest_share=1.0, islands=True, ground=ground
    )
    around = [next(iter(form.shapes.values())) for form in rises]
    return outlines + [one for one in around if shapely.contains_xy(one, *shores.T).any()]


def _afloat(ground: Ground, gully: Form) -> Form:
    """Return a gully whose outline ends at the shore."""
    import shapely

    outline = gully.shapes["gully"]
    near = ground.near(outline.bounds)
    water = shapely.coverage_union_all(shapely.polygons(ground.bed.vertices[near]))
    parts = shapely.get_parts(shapely.intersection(outline, water))
    wet = max(parts, key=lambda part: part.area, default=outline)
    if wet.geom_type != "Polygon":
        return gully
    shapes, figures = gully.shapes | {"gully": wet}, gully.figures | {"area_m2": wet.area}
    return replace(gully, shapes=shapes, figures=figures)


def _is_wide(form: Form) -> bool:
    """Tell whether a hole is so wide that its sides may be drop-offs."""
    return "hole" in form.shapes and form.figures["width_m"] > _WIDE


def _of_holes(gully: Form, holes: Sequence[Form], least_length: float) -> bool:
    """Tell whether a gully is only a hole with a tail, or two holes in a line.

    It is not where it is narrow beside the hole in whose floor it is cut, or long beside its pools.
    """
    import shapely

    axis, figures = gully.shapes["gully axis"], gully.figures
    least, most = figures["length_m"] / hollows.LONGER, figures["width_m"] * hollows.LONGER
    round_ = [hole for hole in holes if least < hole.figures["width_m"] < most]
    own = [hole for hole in round_ if axis.intersects(hole.shapes["hole"])]
    rest = axis.difference(shapely.union_all([h.shapes["hole"] for h in own]).buffer(_BESIDE))
    return 0 < len(own) < _IN_A_ROW and rest.length < least_length / 2


def _in_gully(hole: Form, gullies: Sequence[Form]) -> bool:
    """Tell whether a hole is a pool of a gully: on its bottom, and not much deeper than it."""
    import shapely

    pit = shapely.Point(hole.figures["easting_m"], hole.figures["northing_m"])
    return any(
        shapely.distance(gully.shapes["gully axis"], pit) <= gully.figures["width_m"]
        and hole.figures["relief_m"] < gully.figures["pool_relief_m"]
        for gully in gullies
    )


def _frame(bed: Tin, found: Sequence[Found]) -> "GeoDataFrame":
    import geopandas

    rows, shapes = [], []
    for number, one in enumerate(found, start=1):
        for kind, shape in one.form.shapes.items():
            own = {name: one.form.figures.get(name, np.nan) for name in _COLUMNS}
            if shape.geom_type == "LineString":
                own |= {"length_m": shape.length, "area_m2": np.nan}
            told = {"confidence": one.confidence, "support": one.support}
            rows.append({"kind": kind, "feature": number} | own | told)
            shapes.append(shape)
    columns = ["kind", "feature", *_COLUMNS, "confidence", "support"]
    data = {name: [row[name] for row in rows] for name in columns}
    frame = geopandas.GeoDataFrame(data, geometry=shapes, crs=bed.crs)
    return frame.astype(_TYPES)  # of no rows too
