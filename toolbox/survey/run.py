"""Run: the whole job, step by step, as the method section of a report would tell it."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from toolbox.bed.gridding import grid_bed
from toolbox.bed.support import distance_to_soundings
from toolbox.errors import InputFileError, OutputError
from toolbox.formats.drivers import need_driver
from toolbox.formats.geotiff import DRIVERS
from toolbox.formats.paths import new_folder
from toolbox.formats.stamps import stamped
from toolbox.layers import Soundings, Table, Tin, Vectors
from toolbox.planning.next_soundings import Ways
from toolbox.reduction.crossings import crossings_by_sides
from toolbox.reduction.quality import crossing_statistics, line_offsets, survey_orders
from toolbox.reduction.spread import estimate_spread
from toolbox.survey.bed import error_grids, make_bed
from toolbox.survey.habitat import make_habitat
from toolbox.survey.lineage import Lineage
from toolbox.survey.living import Living, read_living
from toolbox.survey.marks import Grounds, make_marks, read_grounds
from toolbox.survey.memory import Memory
from toolbox.survey.plan import find_ways, make_plan
from toolbox.survey.reading import draw, read_plants
from toolbox.survey.reduce import Inputs, read_inputs
from toolbox.survey.results import Checks, Results
from toolbox.survey.settings import Settings
from toolbox.survey.sparse import how_sparse
from toolbox.survey.stocking import make_stocking
from toolbox.survey.terrain import terrain_grids
from toolbox.survey.wanted import Make
from toolbox.survey.writing import LINEAGE, write_folder
from toolbox.volume.hypsography import hypsography
from toolbox.volume.method_comparison import compare_methods
from toolbox.volume.morphometry import morphometry
from toolbox.volume.stage import stage_table

__all__ = ["read_all", "run"]

Watch = Callable[[str], None]


@dataclass(frozen=True)
class Given:
    """All that a survey reads."""

    inputs: Inputs
    plants: Vectors | None
    grounds: Grounds | None
    ways: Ways | None
    living: Living


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
    lineage, memory = Lineage(settings), Memory(settings)

    def begin(stage: str) -> None:
        memory.check(stage)
        watch(stage)

    _check_replaceable(settings, out)
    with new_folder(out, overwrite=overwrite) as folder:
        begin("reading")
        with lineage.reading():
            given = read_all(settings, lineage)
        _check_usable(given.inputs)
        results = _compute(settings, given, lineage, memory, begin)
        begin("writing")
        with stamped(lineage.begun):
            write_folder(settings, given.living, results, lineage, folder)
    return lineage


def read_all(settings: Settings, lineage: Lineage) -> Given:
    """Read every file of a survey, and find what can be sounded next."""
    inputs = read_inputs(settings, lineage)
    return Given(
        inputs,
        read_plants(settings, inputs, lineage),
        read_grounds(settings, inputs, lineage),
        find_ways(settings, inputs, lineage),
        read_living(settings, lineage),
    )


def _check_usable(inputs: Inputs) -> None:
    """Refuse a survey of which nothing is left, and say why."""
    soundings = inputs.soundings
    if inputs.breaklines is not None or not len(soundings) or (~soundings.flag).any():
        return
    why = ", ".join(f"{count:,} {reason}" for reason, count in soundings.rejections().items())
    raise InputFileError(
        f"none of the {len(soundings):,} soundings can be used ({why}): 'leadline check' tells "
        "what may be wrong"
    )


def _check_replaceable(settings: Settings, out: Path) -> None:
    """Refuse to write over a folder that is no former result, or that holds an input."""
    if out.is_dir() and any(out.iterdir()) and not (out / LINEAGE).is_file():
        raise OutputError(f"{out} exists already and is no former result (it holds no {LINEAGE})")
    for driver in ("GPKG", "MEM", *DRIVERS):  # before the work
        need_driver(out, driver, OutputError)
    for path in settings.inputs:
        if out.resolve() in path.resolve().parents:
            raise OutputError(f"{out} holds an input of the survey, {path.name}; write elsewhere")


def _compute(
    settings: Settings, given: Given, lineage: Lineage, memory: Memory, watch: Watch
) -> Results:
    make = settings.make
    watch("checking")
    inputs = _with_spread(given.inputs, lineage)
    checks = _check_lines(inputs.soundings, lineage)
    watch("making the bed")
    made = make_bed(settings, inputs, lineage)
    watch("planning")
    plan = make_plan(given.ways, made.fit, inputs, lineage)
    made, bed = replace(made, fit=None), made.bed  # a fit is large, and the rest needs none
    watch("gridding")
    memory.check_rasters(bed, _rasters(make))
    depth = grid_bed(bed, cell=make.cell)
    lineage.step("grid", rows=depth.shape[0], cols=depth.shape[1], cell_m=depth.cell)
    watch("terrain")
    sounded = (~inputs.soundings.flag).any()
    away = [distance_to_soundings(depth, inputs.soundings)] if sounded else []
    errors = error_grids(bed, depth.cell)
    derived = terrain_grids(depth, bed, make) if make.shows("rasters", "page") else ()
    grids = (depth, *derived, *away, *errors)
    lineage.step("terrain", layers=[grid.name for grid in grids])
    lineage.step("cover of soundings", how_sparse(bed, away[0], inputs.shoreline) if away else ())
    watch("reading the bed")
    drawn = draw(bed, given.plants, settings, inputs, lineage)
    marked = make_marks(given.grounds, bed, drawn, settings, inputs, lineage)
    watch("tables")
    rows: dict[str, Any] = {"step": make.step, "levels": make.levels, "unit": settings.unit}
    table = hypsography(bed, **rows, datum=settings.datum.elevation)
    measures = morphometry(bed)
    lineage.step("hypsography", table.notes, rows=len(table.frame))
    lineage.step("morphometry", measures.notes, rows=len(measures.frame))
    methods = compare_methods(bed)
    lineage.step("methods", methods.notes, rows=len(methods.frame))
    tables = (table, measures, methods, _stage(bed, settings, lineage))
    watch("habitat")
    found = make_habitat(given.living, bed, depth, drawn, settings, inputs, lineage)
    study = make_stocking(given.living, bed, found, settings, inputs, lineage)
    closed = given.grounds.exclusions if given.grounds else None
    return Results(inputs, checks, made, plan, grids, drawn, closed, marked, *tables, found, study)


def _rasters(make: Make) -> int:
    """Return how many rasters a survey holds at once: depth, distance, errors and what derives."""
    return 5 + (len(make.terrain) if make.shows("rasters", "page") else 0)


def _stage(bed: Tin, settings: Settings, lineage: Lineage) -> Table | None:
    """Tabulate area and storage by elevation, if that is wanted."""
    wanted, datum = settings.stage, settings.datum.elevation
    if wanted is None or datum is None:
        return None
    told: dict[str, Any] = {"foot": settings.make.foot, "unit": settings.unit}
    table = stage_table(bed, datum=datum, **told, **wanted.model_dump())
    lineage.step("stage", table.notes, rows=len(table.frame))
    return table


def _with_spread(inputs: Inputs, lineage: Lineage) -> Inputs:
    """State how sure each sounding is."""
    soundings = estimate_spread(inputs.soundings)
    lineage.step("spread", soundings.notes[len(inputs.soundings.notes) :])
    return replace(inputs, soundings=soundings)


def _check_lines(soundings: Soundings, lineage: Lineage) -> Checks | None:
    """Compare depths where lines cross; None if none do."""
    # the mean of two readings on each side of a crossing tells more of a whole line
    crossings, steadier = crossings_by_sides(soundings, (1, 2))
    lineage.step("crossings", crossings.notes, crossings=len(crossings.frame))
    if not len(crossings.frame):
        return None
    return Checks(
        crossings, crossing_statistics(crossings), line_offsets(steadier), survey_orders(soundings)
    )
