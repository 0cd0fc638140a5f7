"""Run: the whole job, step by step, as the method section of a report would tell it."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

from toolbox.bed.gridding import grid_bed
from toolbox.bed.support import distance_to_soundings
from toolbox.errors import OutputError
from toolbox.formats.bed_file import write_bed
from toolbox.formats.delimited import write_delimited
from toolbox.formats.doors import shoreline_frame
from toolbox.formats.geotiff import write_grid
from toolbox.formats.paths import new_folder
from toolbox.formats.vector import write_features
from toolbox.formats.vectors_file import write_vectors
from toolbox.layers import Grid, Soundings, Table, Vectors
from toolbox.planning.next_soundings import Ways
from toolbox.reduction.crossings import crossings_by_sides
from toolbox.reduction.quality import crossing_statistics, line_offsets, survey_orders
from toolbox.reduction.spread import estimate_spread
from toolbox.report.figures import write_map
from toolbox.report.summary import write_summary
from toolbox.survey.bed import MadeBed, error_grids, make_bed
from toolbox.survey.lineage import Lineage
from toolbox.survey.plan import find_ways, make_plan
from toolbox.survey.reduce import Inputs, read_inputs
from toolbox.survey.settings import Settings
from toolbox.terrain.ruggedness import surface_area_ratio
from toolbox.terrain.slope import slope
from toolbox.volume.hypsography import hypsography
from toolbox.volume.morphometry import morphometry

__all__ = ["STAGES", "run"]

STAGES = (
    "reading",
    "checking",
    "making the bed",
    "planning",
    "gridding",
    "terrain",
    "tables",
    "writing",
)
"""What a run tells its watcher, in order."""

LINEAGE = "lineage.json"

Watch = Callable[[str], None]


@dataclass(frozen=True)
class _Checks:
    """What the lines of a survey say of each other."""

    crossings: Table
    statistics: Table
    offsets: Table
    orders: Table


@dataclass(frozen=True)
class _Results:
    inputs: Inputs
    checks: _Checks | None
    made: MadeBed
    plan: Vectors | None
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
        ways = find_ways(settings, inputs, lineage)
        watch("checking")
        inputs = _with_spread(inputs, lineage)
        checks = _check_lines(inputs.soundings, lineage)
        results = _compute(settings, inputs, ways, checks, lineage, watch)
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


def _with_spread(inputs: Inputs, lineage: Lineage) -> Inputs:
    """State how sure each sounding is."""
    soundings = estimate_spread(inputs.soundings)
    lineage.step("spread", soundings.notes[len(inputs.soundings.notes) :])
    return replace(inputs, soundings=soundings)


def _check_lines(soundings: Soundings, lineage: Lineage) -> _Checks | None:
    """Compare depths where lines cross; None if none do."""
    # the mean of two readings on each side of a crossing tells more of a whole line
    crossings, steadier = crossings_by_sides(soundings, (1, 2))
    lineage.step("crossings", crossings.notes, crossings=len(crossings.frame))
    if not len(crossings.frame):
        return None
    return _Checks(
        crossings, crossing_statistics(crossings), line_offsets(steadier), survey_orders(soundings)
    )


def _compute(
    settings: Settings,
    inputs: Inputs,
    ways: Ways | None,
    checks: _Checks | None,
    lineage: Lineage,
    watch: Watch,
) -> _Results:
    make = settings.make
    watch("making the bed")
    made = make_bed(settings, inputs, lineage)
    watch("planning")
    plan = make_plan(ways, made.fit, inputs, lineage)
    made, bed = replace(made, fit=None), made.bed  # a fit is large, and the rest needs none
    watch("gridding")
    depth = grid_bed(bed, cell=make.cell)
    lineage.step("grid", rows=depth.shape[0], cols=depth.shape[1], cell_m=depth.cell)
    watch("terrain")
    away = (
        [distance_to_soundings(depth, inputs.soundings)] if (~inputs.soundings.flag).any() else []
    )
    grids = (
        depth,
        slope(depth, unit=make.slope_unit),
        surface_area_ratio(depth),
        *away,
        *error_grids(bed, depth.cell),
    )
    lineage.step("terrain", layers=[grid.name for grid in grids])
    watch("tables")
    table = hypsography(bed, step=make.step, levels=make.levels, datum=settings.datum.elevation)
    measures = morphometry(bed)
    lineage.step("hypsography", table.notes, rows=len(table.frame))
    lineage.step("morphometry", measures.notes, rows=len(measures.frame))
    return _Results(inputs, checks, made, plan, grids, table, measures)


def _write(settings: Settings, results: _Results, lineage: Lineage, folder: Path) -> None:
    layers = folder / "lakebed.gpkg"
    write_features(shoreline_frame(results.inputs.shoreline), layers, layer="shoreline")
    write_features(results.inputs.soundings.frame, layers, layer="soundings", append=True)
    write_bed(results.made.bed, layers, append=True)
    if results.checks is not None:
        _write_checks(results.checks, results.inputs, layers, folder)
    if results.plan is not None:
        write_vectors(results.plan, layers, append=True)
        write_vectors(results.plan, folder / "next_soundings.csv")
    for name, table in results.made.tables.items():
        write_delimited(table.frame, folder / f"{name}.csv")
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
        unsurveyed=_named(results.grids, "unsurveyed"),
    )
    write_summary(
        folder / "findings.txt",
        title=title,
        soundings=results.inputs.soundings,
        morphometry=results.morphometry,
        checks=results.checks.statistics if results.checks else None,
        distance=_named(results.grids, "distance_to_sounding"),
        bed=results.made.bed,
        why=results.made.why,
        orders=results.made.tables.get("bed_orders"),
        plan=results.plan,
        notes=lineage.notes,
        origin=settings.origin.model_dump(),
        datum=settings.datum.model_dump(),
    )
    lineage.write(folder / LINEAGE)


def _named(grids: tuple[Grid, ...], name: str) -> Grid | None:
    return next((grid for grid in grids if grid.name == name), None)


def _write_checks(checks: _Checks, inputs: Inputs, layers: Path, folder: Path) -> None:
    import geopandas

    frame = checks.crossings.frame
    places = geopandas.points_from_xy(frame["easting"], frame["northing"])
    points = geopandas.GeoDataFrame(frame, geometry=places, crs=inputs.shoreline.crs)
    write_features(points, layers, layer="crossings", append=True)
    write_delimited(checks.statistics.frame, folder / "crossings.csv")
    write_delimited(checks.offsets.frame, folder / "line_offsets.csv")
    write_delimited(checks.orders.frame, folder / "orders.csv")
