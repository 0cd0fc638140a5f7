"""Writing: the folder of a survey, file by file."""

from pathlib import Path
from typing import Any

from toolbox.formats.delimited import write_delimited
from toolbox.formats.picture_file import write_picture
from toolbox.report.about import about_lines
from toolbox.report.coverage_figure import draw_coverage
from toolbox.report.crossings_figure import draw_crossings
from toolbox.report.customary import areas_and_volumes
from toolbox.report.figures import write_map
from toolbox.report.hypsography_figure import draw_hypsography
from toolbox.report.living import living_told
from toolbox.report.marks_map import write_marks_map
from toolbox.report.sheet import write_sheet
from toolbox.report.summary import write_summary
from toolbox.report.workbook import write_workbook
from toolbox.survey.lineage import Lineage
from toolbox.survey.living import Living
from toolbox.survey.results import Results
from toolbox.survey.settings import Settings
from toolbox.survey.writing_exports import write_exports
from toolbox.survey.writing_habitat import write_habitat
from toolbox.survey.writing_layers import write_layers, write_raster, write_survey_metadata
from toolbox.survey.writing_page import write_report_page

__all__ = ["LINEAGE", "write_folder"]

LINEAGE = "lineage.json"


def write_folder(
    settings: Settings, living: Living, results: Results, lineage: Lineage, folder: Path
) -> None:
    """Write everything a survey comes to into an empty folder."""
    write_layers(results, lineage, folder)
    for grid in results.grids:
        write_raster(grid, folder)
    for name, table in results.tables.items():
        write_delimited(table.frame, folder / f"{name}.csv")
    _draw(settings, results, folder)
    _write_sheet(settings, results, lineage, folder)
    _write_figures(results, folder)
    _write_book(settings, results, lineage, folder)
    write_habitat(settings, living, results, lineage, folder)
    write_exports(settings, results, lineage, folder)
    write_survey_metadata(settings, results, lineage, folder)
    lineage.write(folder / LINEAGE)
    write_report_page(settings, results, lineage, folder / LINEAGE, folder / "report.html")
    _write_findings(settings, results, lineage, folder)


def _draw(settings: Settings, results: Results, folder: Path) -> None:
    depth, shoreline, title = results.grids[0], results.inputs.shoreline, settings.water.name
    drawn, marked, unsurveyed = results.drawn, results.marked, results.grid("unsurveyed")
    write_map(
        depth,
        shoreline,
        results.inputs.soundings,
        title,
        folder / "map.png",
        isobaths=drawn.isobaths,
        unsurveyed=unsurveyed,
    )
    if marked is not None and len(marked.marks):
        write_marks_map(
            depth,
            shoreline,
            title,
            folder / "marks.png",
            marks=marked.marks,
            pegs=marked.pegs,
            course=marked.course,
            isobaths=drawn.isobaths,
            features=drawn.features,
            plants=drawn.plants,
            exclusions=results.exclusions,
            unsurveyed=unsurveyed,
        )


def _write_sheet(settings: Settings, results: Results, lineage: Lineage, folder: Path) -> None:
    """Write a map on paper, and cards of the marks for the pocket."""
    wanted, marked, drawn = settings.sheet, results.marked, results.drawn
    lies = {"auto": None, "portrait": False, "landscape": True}[wanted.orientation]
    about = _about(settings, results, lineage)
    scale = write_sheet(
        folder / "sheet.pdf",
        title=settings.water.name,
        depth=results.grids[0],
        shoreline=results.inputs.shoreline,
        isobaths=drawn.isobaths,
        hypsography=results.hypsography,
        unsurveyed=results.grid("unsurveyed"),
        features=drawn.features,
        plants=drawn.plants,
        marks=marked.marks if marked else None,
        pegs=marked.pegs if marked else None,
        course=marked.course if marked else None,
        cast_profiles=marked.profiles if marked else None,
        exclusions=results.exclusions,
        declination=settings.marks.declination if settings.marks else None,
        paper=wanted.paper,
        landscape=lies,
        scale=wanted.scale,
        **about,
    )
    lineage.step("sheet", paper=wanted.paper, scale=scale)


def _write_figures(results: Results, folder: Path) -> None:
    """Write what a report shows beside its tables."""
    figures = folder / "figures"
    figures.mkdir()
    write_picture(draw_hypsography(results.hypsography), figures / "hypsography.png")
    soundings, unsurveyed = results.inputs.soundings, results.grid("unsurveyed")
    if not soundings.flag.all():
        coverage = draw_coverage(results.grids[0], soundings, results.inputs.shoreline, unsurveyed)
        write_picture(coverage, figures / "coverage.png")
    if results.checks is not None:
        write_picture(draw_crossings(results.checks.crossings), figures / "crossings.png")


def _write_book(settings: Settings, results: Results, lineage: Lineage, folder: Path) -> None:
    """Write areas and volumes as a surveyor hands them over."""
    foot, tables = settings.make.foot, results.tables
    sheets = {"Crossings": "crossings", "Lines left out": "validation", "Methods": "methods"}
    title, about = settings.water.name, _about(settings, results, lineage)
    write_workbook(
        folder / "areas_and_volumes.xlsx",
        title=title,
        **about,
        hypsography=results.hypsography,
        stage=results.stage,
        checks={sheet: tables[name] for sheet, name in sheets.items() if name in tables},
        notes=lineage.notes,
        paper=settings.make.paper,
    )
    lines = [
        f"{line.label}: {line.text}".removesuffix(": ") for line in about_lines(title, **about)
    ]
    table = areas_and_volumes(results.hypsography, foot=foot)
    write_delimited(table.frame, folder / "areas_and_volumes.csv", remarks=lines)


def _about(settings: Settings, results: Results, lineage: Lineage) -> dict[str, Any]:
    """Gather what the title block of a report tells."""
    return {
        "origin": settings.origin.model_dump(),
        "datum": settings.datum.model_dump(),
        "made": lineage.begun.date(),
        "bed": results.made.bed,
        "soundings": results.inputs.soundings,
        "morphometry": results.morphometry,
        "why": results.made.why,
        "foot": settings.make.foot,
    }


def _write_findings(settings: Settings, results: Results, lineage: Lineage, folder: Path) -> None:
    write_summary(
        folder / "findings.txt",
        title=settings.water.name,
        soundings=results.inputs.soundings,
        morphometry=results.morphometry,
        checks=results.checks.statistics if results.checks else None,
        distance=results.grid("distance_to_sounding"),
        bed=results.made.bed,
        why=results.made.why,
        orders=results.made.tables.get("bed_orders"),
        features=results.drawn.features,
        marks=results.marked.marks if results.marked else None,
        plan=results.plan,
        living=living_told(
            results.habitat.tables, results.stocking.plan if results.stocking else None
        ),
        notes=lineage.notes,
        origin=settings.origin.model_dump(),
        datum=settings.datum.model_dump(),
    )
