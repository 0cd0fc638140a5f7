"""Writing: the folder of a survey, file by file."""

from collections.abc import Callable
from pathlib import Path
from typing import Any, Literal

from toolbox.formats.delimited import write_delimited
from toolbox.formats.picture_file import write_picture
from toolbox.report.about import about_lines
from toolbox.report.coverage_figure import coverage_picture
from toolbox.report.crossings_figure import draw_crossings
from toolbox.report.customary import areas_and_volumes
from toolbox.report.figure_style import Look
from toolbox.report.figures import write_map
from toolbox.report.hypsography_figure import draw_hypsography
from toolbox.report.living import living_told
from toolbox.report.marks_map import write_marks_map
from toolbox.report.sheet import write_sheet
from toolbox.report.summary import write_summary
from toolbox.report.workbook import write_workbook
from toolbox.survey.aside import aside
from toolbox.survey.folder import Folder
from toolbox.survey.lineage import Lineage
from toolbox.survey.living import Living
from toolbox.survey.results import Results
from toolbox.survey.settings import Settings
from toolbox.survey.wanted import Part
from toolbox.survey.writing_exports import write_exports
from toolbox.survey.writing_habitat import write_habitat, write_stocking
from toolbox.survey.writing_layers import write_layers, write_raster, write_survey_metadata
from toolbox.survey.writing_page import write_report_page

__all__ = ["LINEAGE", "write_folder"]

LINEAGE = "lineage.json"


def write_folder(
    settings: Settings, living: Living, results: Results, lineage: Lineage, folder: Path
) -> None:
    """Write what a survey comes to, in the parts that it asks for, into an empty folder."""
    with aside() as beside:
        made = Folder(folder, settings, living, results, lineage, beside)
        for part, write in _PARTS.items():
            if settings.make.shows(part):
                write(made)
        lineage.write(folder / LINEAGE)
        if settings.make.shows("page"):
            write_report_page(made, folder / LINEAGE)
        _write_findings(made)


def _write_rasters(made: Folder) -> None:
    for grid in made.results.grids:
        write_raster(grid, made.path, made.beside)


def _write_tables(made: Folder) -> None:
    for name, table in made.results.tables.items():
        write_delimited(table.frame, made.path / f"{name}.csv")


def _write_pictures(made: Folder) -> None:
    """Draw the map, the marks, and what a report shows beside its tables."""
    _draw_map(made)
    _draw_marks(made)
    _draw_figures(made)


def _unit(made: Folder) -> Literal["m", "ft"]:
    """Return the unit of maps and figures, where the two feet are one."""
    return "m" if made.settings.unit == "m" else "ft"


def _draw_map(made: Folder) -> None:
    results = made.results
    write_map(
        results.grids[0],
        results.inputs.shoreline,
        results.inputs.soundings,
        made.settings.water.name,
        made.path / "map.png",
        isobaths=results.drawn.isobaths,
        unsurveyed=results.grid("unsurveyed"),
        unit=_unit(made),
    )


def _draw_marks(made: Folder) -> None:
    results, marked, drawn = made.results, made.results.marked, made.results.drawn
    if marked is not None and len(marked.marks):
        write_marks_map(
            results.grids[0],
            results.inputs.shoreline,
            made.settings.water.name,
            made.path / "marks.png",
            marks=marked.marks,
            pegs=marked.pegs,
            course=marked.course,
            isobaths=drawn.isobaths,
            features=drawn.features,
            plants=drawn.plants,
            exclusions=results.exclusions,
            unsurveyed=results.grid("unsurveyed"),
            unit=_unit(made),
        )


def _write_sheet(made: Folder) -> None:
    """Write a map on paper, and cards of the marks for the pocket."""
    settings, results = made.settings, made.results
    wanted, marked, drawn = settings.sheet, results.marked, results.drawn
    lies = {"auto": None, "portrait": False, "landscape": True}[wanted.orientation]
    scale = write_sheet(
        made.path / "sheet.pdf",
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
        unit=_unit(made),
        **_about(made),
    )
    made.lineage.step("sheet", paper=wanted.paper, scale=scale)


def _draw_figures(made: Folder) -> None:
    results, figures = made.results, made.path / "figures"
    figures.mkdir()
    curves = draw_hypsography(results.hypsography, unit=_unit(made))
    write_picture(curves, figures / "hypsography.png")
    away = results.grid("distance_to_sounding")
    if away is not None:
        given = (results.inputs.soundings, results.inputs.shoreline, results.grid("unsurveyed"))
        write_picture(
            coverage_picture(away, *given, look=Look(_unit(made))), figures / "coverage.png"
        )
    if results.checks is not None:
        write_picture(draw_crossings(results.checks.crossings), figures / "crossings.png")


def _write_book(made: Folder) -> None:
    """Write areas and volumes as a surveyor hands them over."""
    settings, results, tables = made.settings, made.results, made.results.tables
    sheets = {"Crossings": "crossings", "Lines left out": "validation", "Methods": "methods"}
    title, about = settings.water.name, _about(made)
    write_workbook(
        made.path / "areas_and_volumes.xlsx",
        title=title,
        **about,
        hypsography=results.hypsography,
        stage=results.stage,
        checks={sheet: tables[name] for sheet, name in sheets.items() if name in tables},
        notes=made.lineage.notes,
        paper=settings.make.paper,
    )
    lines = [
        f"{line.label}: {line.text}".removesuffix(": ") for line in about_lines(title, **about)
    ]
    table = areas_and_volumes(results.hypsography, foot=settings.make.foot)
    write_delimited(table.frame, made.path / "areas_and_volumes.csv", remarks=lines)


def _write_exports(made: Folder) -> None:
    write_exports(made.settings, made.results, made.lineage, made.path)


def _about(made: Folder) -> dict[str, Any]:
    """Gather what the title block of a report tells."""
    settings, results = made.settings, made.results
    return {
        "origin": settings.origin.model_dump(),
        "datum": settings.datum.model_dump(),
        "made": made.lineage.begun.date(),
        "bed": results.made.bed,
        "soundings": results.inputs.soundings,
        "morphometry": results.morphometry,
        "why": results.made.why,
        "foot": settings.make.foot,
    }


def _write_findings(made: Folder) -> None:
    settings, results = made.settings, made.results
    write_summary(
        made.path / "findings.txt",
        title=settings.water.name,
        soundings=results.inputs.soundings,
        morphometry=results.morphometry,
        checks=results.checks.statistics if results.checks else None,
        distance=results.grid("distance_to_sounding"),
        bed=results.made.bed,
        why=results.made.why,
        orders=results.made.tables.get("bed_orders"),
        features=results.drawn.features if results.drawn.read else None,
        marks=results.marked.marks if results.marked else None,
        plan=results.plan,
        living=living_told(
            results.habitat.tables, results.stocking.plan if results.stocking else None
        ),
        notes=made.lineage.ranked,
        origin=settings.origin.model_dump(),
        datum=settings.datum.model_dump(),
        foot=settings.make.foot if settings.report.units == "us" else None,
    )


_PARTS: dict[Part, Callable[[Folder], None]] = {
    "rasters": _write_rasters,  # first, as they are compressed while the others are made
    "layers": write_layers,
    "tables": _write_tables,
    "pictures": _write_pictures,
    "sheet": _write_sheet,
    "workbook": _write_book,
    "habitat": write_habitat,
    "stocking": write_stocking,
    "exports": _write_exports,
    "metadata": write_survey_metadata,
}
"""What writes each part, in the order of making."""
