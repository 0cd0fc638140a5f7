"""Writing: the sheet of a water as PDF, page by page."""

from datetime import date
from pathlib import Path
from typing import Any, Literal

from toolbox.errors import ParameterError
from toolbox.layers import Grid, Shoreline, Soundings, Table, Tin, Vectors
from toolbox.report.pdf_tables import register_fonts, whole_bytes
from toolbox.report.sheet.blocks import Block, draw_columns, even_columns
from toolbox.report.sheet.cards import draw_cards
from toolbox.report.sheet.hypsography_block import curve_block, table_block
from toolbox.report.sheet.key import legend_block
from toolbox.report.sheet.layout import column_width, lay_out
from toolbox.report.sheet.lines_inset import inset_block
from toolbox.report.sheet.marks_page import draw_marks_page
from toolbox.report.sheet.measures import north_block, scale_block
from toolbox.report.sheet.paper import Box, Paper
from toolbox.report.sheet.pen import Pen
from toolbox.report.sheet.subject import Subject
from toolbox.report.sheet.told import caution_block, facts_block, title_block, trust_block
from toolbox.report.sheet.view import View, ground_factor, scale_text
from toolbox.report.sheet.water_map import draw_map
from toolbox.volume.stage import Foot

__all__ = ["write_sheet"]


def write_sheet(
    path: Path,
    *,
    title: str,
    depth: Grid,
    shoreline: Shoreline,
    isobaths: Vectors,
    soundings: Soundings,
    hypsography: Table,
    morphometry: Table,
    bed: Tin,
    origin: dict[str, Any],
    datum: dict[str, Any],
    made: date,
    why: str = "",
    foot: Foot = "international",
    unsurveyed: Grid | None = None,
    features: Vectors | None = None,
    plants: Vectors | None = None,
    marks: Vectors | None = None,
    pegs: Vectors | None = None,
    course: Vectors | None = None,
    exclusions: Vectors | None = None,
    cast_profiles: Table | None = None,
    declination: float | None = None,
    paper: Paper = "A4",
    landscape: bool | None = None,
    scale: float | None = None,
    unit: Literal["m", "ft"] = "m",
) -> float:
    """Write a map sheet true to scale, and where there are marks a map and cards of these.

    Parameters
    ----------
    path : Path
        File to write, a PDF.
    title : str
        Name of the water, taken literally.
    depth : Grid
        Depth below the datum water level, m, positive down.
    shoreline : Shoreline
        The water.
    isobaths : Vectors
        Lines of equal depth with ``depth_m`` and ``index_line``; they are numbered for the scale.
    soundings : Soundings
        Of which the bed was made.
    hypsography, morphometry : Table
        As the tools of those names make them.
    bed : Tin
        The lake bed, for what is told of method and uncertainty.
    origin : dict
        ``by``, ``date`` and ``remarks`` of the survey, each perhaps empty.
    datum : dict
        ``elevation`` of the datum water level, m, or None, and ``name``, what it refers to.
    made : date
        Day of making: the same input gives the same bytes.
    why : str
        Why the bed was made as it was.
    foot : str
        Of which feet, acres and acre-feet are made.
    unsurveyed : Grid, optional
        1 where the bed is a guess.
    features, plants : Vectors, optional
        What lies on the bed, and beds of plants.
    marks : Vectors, optional
        Marks to cast at, or marks of a boat; further pages are made of them.
    pegs, course, exclusions : Vectors, optional
        Points to cast from; the way of the boat; what to keep clear of.
    cast_profiles : Table, optional
        The bed along each cast.
    declination : float, optional
        Of the magnetic needle, degrees east of true north.
    paper : str
        Size of the first page; the pages of marks are A4, or Letter for papers in inches.
    landscape : bool, optional
        How it is held; if left out, whichever shows the water larger.
    scale : float, optional
        1 m on paper stands for so many metres; if left out, the largest round scale that fits.
    unit : str
        ``"m"`` or ``"ft"``: of the numbers on isobaths and at soundings.

    Returns
    -------
    float
        Scale of the first page: it holds on the ground in the middle of the water.

    Raises
    ------
    ParameterError
        If the water does not fit on the paper at that scale.
    """
    subject = Subject(
        title=title,
        depth=depth,
        shoreline=shoreline,
        soundings=soundings,
        isobaths=isobaths,
        hypsography=hypsography,
        morphometry=morphometry,
        bed=bed,
        unsurveyed=unsurveyed,
        features=features,
        plants=plants,
        marks=marks,
        pegs=pegs,
        course=course,
        exclusions=exclusions,
        cast_profiles=cast_profiles,
        origin=origin,
        datum=datum,
        declination=declination,
        made=made,
        why=why,
        foot=foot,
        unit=unit,
    )
    with whole_bytes():
        pen = Pen(path, title=title, author=str(origin["by"]), made=made)
        told = draw_sheet(pen, subject, paper=paper, landscape=landscape, scale=scale)
        if subject.has_marks:
            near = draw_marks_page(pen, subject, paper)
            draw_cards(pen, subject, paper, near)
        pen.save()
    return told


def draw_sheet(
    pen: Pen, subject: Subject, *, paper: Paper, landscape: bool | None, scale: float | None
) -> float:
    """Draw the first page; return its scale."""
    if scale is not None and not 1 <= scale < 1e9:
        raise ParameterError(f"scale must be 1 or more, such as 2500 for 1:2500, got {scale:g}")
    register_fonts()
    bounds = subject.bounds
    factor = ground_factor(subject.shoreline.crs, bounds)
    middle = ((bounds[0] + bounds[2]) / 2, (bounds[1] + bounds[3]) / 2)
    rough = View(Box(0, 0, 400, 400), middle, 10_000.0, factor)
    layout, view = lay_out(
        bounds,
        factor,
        lambda width, size: _blocks(subject, rough, paper, width, size),
        paper=paper,
        landscape=landscape,
        scale=scale,
    )
    pen.page(layout.size)
    pen.block("map", view.box)
    draw_map(pen, view, subject, layout.letter)
    blocks = _blocks(subject, view, paper, column_width(layout), layout.letter)
    draw_columns(pen, layout.panel, even_columns(blocks, layout.columns))
    pen.turn_over()
    return view.scale


def _blocks(subject: Subject, view: View, paper: Paper, width: float, size: float) -> list[Block]:
    """Make what stands beside the map, in reading order."""
    crs = subject.shoreline.crs
    subtitle = f"Depth map, {scale_text(view.scale)} on {paper}"
    return [
        title_block(subject, subtitle, width, size),
        scale_block(view, width, size),
        north_block(view, crs, subject.declination, width, size),
        legend_block(subject, view, width, size),
        facts_block(subject, width, size),
        curve_block(subject.hypsography, width, size),
        table_block(subject.hypsography, size, subject.foot),
        inset_block(subject, width, size),
        trust_block(subject, width, size),
        caution_block(width, size),
    ]
