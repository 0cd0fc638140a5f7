"""Writing of layers: GeoPackage and rasters with their styles, and metadata beside them."""

import contextlib
import re
from datetime import date
from importlib.metadata import version
from pathlib import Path

import numpy as np

from toolbox.formats.bed_file import write_bed
from toolbox.formats.categories_file import write_categories
from toolbox.formats.doors import shoreline_frame
from toolbox.formats.geotiff import write_grid
from toolbox.formats.metadata_file import Metadata, Quality, write_metadata
from toolbox.formats.styles_file import write_layer_styles, write_style_beside
from toolbox.formats.vector import write_features
from toolbox.formats.vectors_file import write_vectors
from toolbox.layers import Grid, Soundings
from toolbox.report.styles import classes_of, raster_style, run_layer_styles, style_text
from toolbox.report.summary import CAUTIONS
from toolbox.survey.aside import Aside
from toolbox.survey.folder import Folder
from toolbox.survey.results import Results

__all__ = ["write_layers", "write_raster", "write_survey_metadata"]

LAYERS = "lakebed.gpkg"
"""File of all points, lines and polygons, and the bed."""

_LISTS = ("next_soundings", "marks", "boat_marks", "features")
"""Layers that are also written as text, to be read without a GIS."""

_FORMATS = ("GeoPackage 1.3", "Cloud Optimized GeoTIFF", "comma-separated text")


def write_layers(made: Folder) -> None:
    """Write all layers into one GeoPackage, and how they look."""
    results, layers = made.results, made.path / LAYERS
    write_features(shoreline_frame(results.inputs.shoreline), layers, layer="shoreline")
    write_features(results.inputs.soundings.frame, layers, layer="soundings", append=True)
    write_bed(results.made.bed, layers, append=True)
    if results.checks is not None:
        _write_crossings(results, layers)
    for vectors in results.layers:
        write_vectors(vectors, layers, append=True)
        if vectors.name in _LISTS:
            write_vectors(vectors, made.path / f"{vectors.name}.csv")
    styles = run_layer_styles(results.layers, depth=results.grids[0])
    texts = {name: style_text(style) for name, style in styles.items()}
    write_layer_styles(layers, texts, made=made.lineage.begun)


def _write_crossings(results: Results, layers: Path) -> None:
    import geopandas

    assert results.checks is not None
    frame = results.checks.crossings.frame
    places = geopandas.points_from_xy(frame["easting"], frame["northing"])
    points = geopandas.GeoDataFrame(frame, geometry=places, crs=results.inputs.shoreline.crs)
    write_features(points, layers, layer="crossings", append=True)


def write_raster(grid: Grid, folder: Path, beside: Aside) -> None:
    """Write a raster and how it looks; one of codes with their names and colours."""
    path, classes = folder / f"{grid.name}.tif", classes_of(grid.name)
    if classes is None:
        beside.do(write_grid, grid, path)
    else:
        beside.do(write_grid, grid, path, palette={one.code: one.colour for one in classes})
        write_categories({one.code: (one.name, one.colour) for one in classes}, path)
    write_style_beside(style_text(raster_style(grid)), path)


def write_survey_metadata(made: Folder) -> None:
    """Write what a catalogue asks: ISO 19115-1 as XML, and the same as plain text."""
    settings, results, lineage = made.settings, made.results, made.lineage
    crs, datum = results.inputs.shoreline.crs, settings.datum
    code = crs.to_authority() if crs is not None else None
    level = "" if datum.elevation is None else f"{datum.elevation:g} m"
    metadata = Metadata(
        f"Bed of {settings.water.name}",
        f"Depths, areas and volumes of {settings.water.name}, from "
        f"{int((~results.inputs.soundings.flag).sum()):,} soundings.",
        lineage.begun.date(),
        _bounds(results),
        "a plane in metres" if crs is None else crs.name,
        crs_code=":".join(code) if code else "",
        datum=", ".join(part for part in (level, datum.name) if part),
        surveyed=_days(settings.origin.date, results.inputs.soundings),
        contact=settings.origin.by,
        resolution=results.grids[0].cell,
        steps=tuple(
            f"{step['step']}: {_counts(step)}".removesuffix(": ") for step in lineage.steps
        ),
        sources=tuple(path.name for path in settings.inputs),
        quality=_quality(results),
        cautions=CAUTIONS,
        formats=(*_FORMATS, f"made with Leadline {version('leadline')}"),
        remarks=settings.origin.remarks,
    )
    write_metadata(metadata, made.path / "metadata.xml")


def _bounds(results: Results) -> tuple[float, float, float, float] | None:
    """Return west, south, east and north of the water, degrees; None on a plane."""
    import geopandas

    water = results.inputs.shoreline
    if water.crs is None:
        return None
    shapes = geopandas.GeoSeries(list(water.polygons.geoms), crs=water.crs).to_crs(4326)
    west, south, east, north = (float(value) for value in shapes.total_bounds)
    return west, south, east, north


def _days(told: str, soundings: Soundings) -> tuple[date, ...]:
    """Return the first and last day of the survey: as told, else of its soundings, if known."""
    days = []
    for day in re.findall(r"\b\d{4}-\d{2}-\d{2}\b", told):
        with contextlib.suppress(ValueError):  # such as 2026-02-30
            days.append(date.fromisoformat(day))
    if not days and len(times := soundings.frame["time"].dropna()):
        days = [times.min().date(), times.max().date()]
    return tuple(dict.fromkeys((min(days), max(days)))) if days else ()


def _counts(step: dict[str, object]) -> str:
    told = {name: value for name, value in step.items() if name not in ("step", "notes")}
    return ", ".join(
        f"{name.replace('_', ' ')} {value:.6g}"
        for name, value in told.items()
        if isinstance(value, int | float)
    )


def _quality(results: Results) -> tuple[Quality, ...]:
    found = []
    bed = results.made.bed
    if bed.sd is not None:
        about = "of the depth, by the fitted bed's own error: half of its nodes are better"
        found.append(Quality("standard deviation", float(np.median(bed.sd)), "m", about))
    if results.checks is not None:
        frame = results.checks.statistics.frame
        rows = frame.set_index(frame.columns[0])["value"]
        about = "of the differences of depth where lines cross"
        worst = float(rows["root mean square"])
        found.append(Quality("root mean square", worst, "m", about))
    measures = results.morphometry.frame.set_index("measure")["value"]
    if "unsupported area share" in measures:
        share = float(measures["unsupported area share"])
        about = "of the area whose depth no sounding tells"
        found.append(Quality("share unsurveyed", share, "1", about, complete=True))
    return tuple(found)
