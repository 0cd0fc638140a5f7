"""Writing: the folder of a survey, file by file."""

from pathlib import Path

from toolbox.formats.bed_file import write_bed
from toolbox.formats.delimited import write_delimited
from toolbox.formats.doors import shoreline_frame
from toolbox.formats.geotiff import write_grid
from toolbox.formats.vector import write_features
from toolbox.formats.vectors_file import write_vectors
from toolbox.report.customary import areas_and_volumes
from toolbox.report.figures import write_map
from toolbox.report.marks_map import write_marks_map
from toolbox.report.summary import write_summary
from toolbox.report.workbook import write_workbook
from toolbox.survey.lineage import Lineage
from toolbox.survey.results import Results
from toolbox.survey.settings import Settings

__all__ = ["LINEAGE", "write_folder"]

LINEAGE = "lineage.json"

_LISTS = ("next_soundings", "marks", "boat_marks", "features")
"""Layers that are also written as text, to be read without a GIS."""


def write_folder(settings: Settings, results: Results, lineage: Lineage, folder: Path) -> None:
    """Write everything a survey comes to into an empty folder."""
    _write_layers(results, folder)
    for grid in results.grids:
        write_grid(grid, folder / f"{grid.name}.tif")
    for name, table in results.tables.items():
        write_delimited(table.frame, folder / f"{name}.csv")
    _draw(settings, results, folder)
    _write_book(settings, results, lineage, folder)
    _write_findings(settings, results, lineage, folder)
    lineage.write(folder / LINEAGE)


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


def _write_book(settings: Settings, results: Results, lineage: Lineage, folder: Path) -> None:
    """Write areas and volumes as a surveyor hands them over."""
    foot, tables = settings.make.foot, results.tables
    sheets = {"Crossings": "crossings", "Lines left out": "validation", "Methods": "methods"}
    write_workbook(
        folder / "areas_and_volumes.xlsx",
        title=settings.water.name,
        origin=settings.origin.model_dump(),
        datum=settings.datum.model_dump(),
        made=lineage.begun.date(),
        bed=results.made.bed,
        soundings=results.inputs.soundings,
        hypsography=results.hypsography,
        morphometry=results.morphometry,
        stage=results.stage,
        checks={sheet: tables[name] for sheet, name in sheets.items() if name in tables},
        why=results.made.why,
        notes=lineage.notes,
        foot=foot,
        paper=settings.make.paper,
    )
    table = areas_and_volumes(results.hypsography, foot=foot)
    write_delimited(table.frame, folder / "areas_and_volumes.csv")


def _write_layers(results: Results, folder: Path) -> None:
    layers = folder / "lakebed.gpkg"
    write_features(shoreline_frame(results.inputs.shoreline), layers, layer="shoreline")
    write_features(results.inputs.soundings.frame, layers, layer="soundings", append=True)
    write_bed(results.made.bed, layers, append=True)
    if results.checks is not None:
        _write_crossings(results, layers)
    for vectors in results.layers:
        write_vectors(vectors, layers, append=True)
        if vectors.name in _LISTS:
            write_vectors(vectors, folder / f"{vectors.name}.csv")


def _write_crossings(results: Results, layers: Path) -> None:
    import geopandas

    assert results.checks is not None
    frame = results.checks.crossings.frame
    places = geopandas.points_from_xy(frame["easting"], frame["northing"])
    points = geopandas.GeoDataFrame(frame, geometry=places, crs=results.inputs.shoreline.crs)
    write_features(points, layers, layer="crossings", append=True)


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
        notes=lineage.notes,
        origin=settings.origin.model_dump(),
        datum=settings.datum.model_dump(),
    )
