"""Run: the whole job, step by step, as the method section of a report would tell it."""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from toolbox.bed.gridding import grid_bed
from toolbox.bed.support import distance_to_soundings
from toolbox.bed.triangulation import triangulate
from toolbox.errors import OutputError
from toolbox.formats.bed_file import write_bed
from toolbox.formats.delimited import write_delimited
from toolbox.formats.doors import shoreline_frame
from toolbox.formats.geotiff import write_grid
from toolbox.formats.paths import new_folder
from toolbox.formats.shoreline_file import read_breaklines, read_shoreline
from toolbox.formats.soundings_file import read_soundings
from toolbox.formats.vector import write_features
from toolbox.layers import Breaklines, Grid, Shoreline, Soundings, Table, Tin
from toolbox.layers.crs import areal_scale
from toolbox.reduction.cleaning import reject_outside
from toolbox.reduction.water_level import reduce_to_datum
from toolbox.report.figures import write_map
from toolbox.report.summary import write_summary
from toolbox.survey.lineage import Lineage
from toolbox.survey.settings import Settings, Source
from toolbox.terrain.ruggedness import surface_area_ratio
from toolbox.terrain.slope import slope
from toolbox.volume.hypsography import hypsography
from toolbox.volume.morphometry import morphometry

__all__ = ["STAGES", "Inputs", "read_inputs", "run"]

STAGES = ("reading", "triangulating", "gridding", "terrain", "tables", "writing")
"""What a run tells its watcher, in order."""

LINEAGE = "lineage.json"

_SCALE_TOLERANCE = 0.01  # a local CRS keeps within a fraction of this

Watch = Callable[[str], None]


@dataclass(frozen=True)
class Inputs:
    """What a survey starts from, in one CRS and at one water level."""

    shoreline: Shoreline
    soundings: Soundings
    breaklines: Breaklines | None


@dataclass(frozen=True)
class _Results:
    inputs: Inputs
    bed: Tin
    grids: tuple[Grid, ...]
    hypsography: Table
    morphometry: Table


def run(
    settings: Settings, out: Path, *, overwrite: bool = False, watch: Watch = lambda stage: None
) -> Lineage:
    """Carry out a survey and write its folder.

    Parameters
    ----------
    settings : Settings
        From a survey file.
    out : Path
        Folder to make; it appears whole or not at all.
    overwrite : bool
        Whether to replace a folder that is there.
    watch : callable
        Told the name of each stage as it begins.

    Returns
    -------
    Lineage
        What was read, done and assumed.
    """
    lineage = Lineage(settings)
    _check_replaceable(settings, out)
    with new_folder(out, overwrite=overwrite) as folder:
        watch("reading")
        inputs = read_inputs(settings, lineage)
        results = _compute(settings, inputs, lineage, watch)
        watch("writing")
        _write(settings, results, lineage, folder)
    return lineage


def _check_replaceable(settings: Settings, out: Path) -> None:
    """Refuse to write over a folder that is no former result, or that holds an input."""
    if out.is_dir() and any(out.iterdir()) and not (out / LINEAGE).is_file():
        raise OutputError(f"{out} exists already and is no former result (it holds no {LINEAGE})")
    for path in settings.inputs:
        if out.resolve() in path.resolve().parents:
            raise OutputError(f"{out} holds an input of the survey, {path.name}; write elsewhere")


def read_inputs(settings: Settings, lineage: Lineage) -> Inputs:
    """Read all layers of a survey, project them to its CRS and reduce depths to its datum."""
    water = settings.water
    shoreline = read_shoreline(
        water.shoreline,
        crs=water.shoreline_crs,
        layer=water.layer,
        where=water.where,
        depth=settings.shore_depth,
        open_edges=water.open_edges,
        open_within=water.open_within,
        into=water.crs,
    )
    notes = shoreline.notes + _scale_note(shoreline)
    lineage.step("read shoreline", notes, file=str(water.shoreline))
    parts = [_read_source(source, settings, shoreline, lineage) for source in settings.soundings]
    soundings = reject_outside(Soundings.joined(parts), shoreline)
    lineage.rejected(soundings)
    lineage.step(
        "reject outside", soundings_in=len(soundings), soundings_kept=int((~soundings.flag).sum())
    )
    return Inputs(shoreline, soundings, _read_breaklines(settings, shoreline, lineage))


def _scale_note(shoreline: Shoreline) -> tuple[str, ...]:
    """Warn where a metre on the map is not a metre on the ground."""
    middle = np.array(shoreline.polygons.centroid.coords)
    scale = float(np.sqrt(areal_scale(shoreline.crs, middle)[0]))
    if abs(scale - 1) < _SCALE_TOLERANCE:
        return ()
    name = shoreline.crs.name if shoreline.crs else "a plane"
    return (
        f"in {name} a metre on the ground is {scale:.3f} m on the map: areas and volumes are "
        f"corrected, but slopes and distances are off by that much; set water.crs to a local CRS",
    )


def _read_source(
    source: Source, settings: Settings, shoreline: Shoreline, lineage: Lineage
) -> Soundings:
    options = source.model_dump(exclude={"file", "kind", "source", "water_level"})
    assert shoreline.crs is not None  # every reader makes sure of it
    options |= {"datum": settings.datum.elevation, "into": shoreline.crs.to_wkt()}
    soundings = read_soundings(source.file, **options)
    if source.water_level is not None and settings.datum.elevation is not None:
        soundings = reduce_to_datum(
            soundings, water_level=source.water_level, datum=settings.datum.elevation
        )
    record = np.arange(1, len(soundings) + 1)
    numbered = soundings.frame.assign(source=source.source, file=source.file.name, record=record)
    lineage.step(
        "read soundings", soundings.notes, file=str(source.file), soundings_out=len(soundings)
    )
    return Soundings(numbered, soundings.notes)


def _read_breaklines(
    settings: Settings, shoreline: Shoreline, lineage: Lineage
) -> Breaklines | None:
    source = settings.bed.breaklines
    if source is None:
        return None
    options = source.model_dump(exclude={"file"})
    assert shoreline.crs is not None
    options |= {"datum": settings.datum.elevation, "into": shoreline.crs.to_wkt()}
    lines = read_breaklines(source.file, **options)
    lineage.step("read breaklines", lines.notes, file=str(source.file), lines=len(lines.lines))
    return lines


def _compute(settings: Settings, inputs: Inputs, lineage: Lineage, watch: Watch) -> _Results:
    make = settings.make
    watch("triangulating")
    bed = triangulate(
        inputs.soundings,
        inputs.shoreline,
        inputs.breaklines,
        duplicates=settings.bed.duplicates,
        cure_flats=settings.bed.cure_flats,
    )
    lineage.step("triangulate", bed.notes, vertices=len(bed.depth), triangles=len(bed.triangles))
    watch("gridding")
    depth = grid_bed(bed, cell=make.cell)
    lineage.step("grid", rows=depth.shape[0], cols=depth.shape[1], cell_m=depth.cell)
    watch("terrain")
    away = (
        [distance_to_soundings(depth, inputs.soundings)] if (~inputs.soundings.flag).any() else []
    )
    grids = (depth, slope(depth, unit=make.slope_unit), surface_area_ratio(depth), *away)
    lineage.step("terrain", layers=[grid.name for grid in grids])
    watch("tables")
    table = hypsography(bed, step=make.step, levels=make.levels, datum=settings.datum.elevation)
    measures = morphometry(bed)
    lineage.step("hypsography", table.notes, rows=len(table.frame))
    lineage.step("morphometry", measures.notes, rows=len(measures.frame))
    return _Results(inputs, bed, grids, table, measures)


def _write(settings: Settings, results: _Results, lineage: Lineage, folder: Path) -> None:
    layers = folder / "lakebed.gpkg"
    write_features(shoreline_frame(results.inputs.shoreline), layers, layer="shoreline")
    write_features(results.inputs.soundings.frame, layers, layer="soundings", append=True)
    write_bed(results.bed, layers, append=True)
    for grid in results.grids:
        write_grid(grid, folder / f"{grid.name}.tif")
    write_delimited(results.hypsography.frame, folder / "hypsography.csv")
    write_delimited(results.morphometry.frame, folder / "morphometry.csv")
    title = settings.water.name
    write_map(
        results.grids[0],
        results.inputs.shoreline,
        results.inputs.soundings,
        title,
        folder / "map.png",
    )
    write_summary(
        folder / "findings.txt",
        title=title,
        soundings=results.inputs.soundings,
        morphometry=results.morphometry,
        distance=results.grids[-1] if len(results.grids) > 3 else None,
        notes=lineage.notes,
        origin=settings.origin.model_dump(),
        datum=settings.datum.model_dump(),
    )
    lineage.write(folder / LINEAGE)
