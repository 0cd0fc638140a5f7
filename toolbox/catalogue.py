"""Catalogue: every tool, in reading order; then those of other packages."""

import functools
import json
from collections.abc import Callable
from importlib import import_module
from importlib.metadata import entry_points
from importlib.resources import files
from typing import Any

from toolbox.errors import ParameterError
from toolbox.faults import said_by
from toolbox.tool import Tool

__all__ = [
    "CHAPTERS",
    "TITLES",
    "broken",
    "by_chapter",
    "find",
    "names",
    "record",
    "titles",
    "tools",
]

CHAPTERS: dict[str, tuple[str, ...]] = {
    "Reduction: placing and correcting": (
        "toolbox.reduction.casts:place_casts",
        "toolbox.reduction.tracks:place_soundings",
        "toolbox.reduction.latency:estimate_latency",
        "toolbox.reduction.bar_check:fit_bar_check",
        "toolbox.reduction.bar_check:apply_bar_check",
        "toolbox.reduction.draft:add_draft",
        "toolbox.reduction.sound_speed:correct_sound_speed",
        "toolbox.reduction.water_level:reduce_to_datum",
    ),
    "Reduction: cleaning": (
        "toolbox.reduction.cleaning:clean",
        "toolbox.reduction.readings:reject_no_bottom",
        "toolbox.reduction.readings:reject_out_of_range",
        "toolbox.reduction.standing:reject_stationary",
        "toolbox.reduction.readings:reject_duplicates",
        "toolbox.reduction.echoes:reject_spikes",
        "toolbox.reduction.echoes:reject_double_echoes",
        "toolbox.reduction.echoes:reject_plant_tops",
        "toolbox.reduction.contradictions:reject_wrong_stretches",
        "toolbox.reduction.planes:reject_lone_outliers",
        "toolbox.reduction.cleaning:reject_outside",
        "toolbox.reduction.overrides:apply_overrides",
    ),
    "Reduction: quality": (
        "toolbox.reduction.crossings:find_crossings",
        "toolbox.reduction.quality:crossing_statistics",
        "toolbox.reduction.offsets:line_offsets",
        "toolbox.reduction.quality:survey_orders",
        "toolbox.reduction.spread:estimate_spread",
        "toolbox.reduction.thinning:thin",
    ),
    "Bed": (
        "toolbox.bed.triangulation:triangulate",
        "toolbox.bed.fitting:fit_bed",
        "toolbox.bed.validation:cross_validate",
        "toolbox.bed.survey_orders:survey_order_share",
        "toolbox.bed.line_errors:line_errors",
        "toolbox.bed.line_errors:correct_lines",
        "toolbox.bed.gridding:grid_bed",
        "toolbox.bed.support:distance_to_soundings",
        "toolbox.bed.uncertainty:depth_sd_grid",
        "toolbox.bed.uncertainty:deeper_than_grid",
        "toolbox.bed.uncertainty:support_grid",
        "toolbox.bed.uncertainty:unsurveyed_grid",
        "toolbox.bed.query:query_bed",
    ),
    "Planning": (
        "toolbox.planning.next_soundings:plan_soundings",
        "toolbox.planning.first_plan:plan_first_survey",
        "toolbox.planning.first_plan:survey_worth",
    ),
    "Terrain": (
        "toolbox.terrain.slope:slope",
        "toolbox.terrain.aspect:aspect",
        "toolbox.terrain.curvature:curvature",
        "toolbox.terrain.relief:shaded_relief",
        "toolbox.terrain.ruggedness:surface_area_ratio",
        "toolbox.terrain.ruggedness:roughness",
        "toolbox.terrain.ruggedness:ruggedness_index",
        "toolbox.terrain.surface:arc_chord_ratio",
        "toolbox.terrain.surface:vector_ruggedness",
        "toolbox.terrain.position:relative_position",
        "toolbox.terrain.position:relative_position_scales",
        "toolbox.terrain.landforms:landforms",
    ),
    "Isobaths": (
        "toolbox.isobaths.isobaths:isobaths",
        "toolbox.isobaths.labels:isobath_labels",
        "toolbox.isobaths.zones:depth_zones",
        "toolbox.isobaths.zones:waters_edge",
    ),
    "Features": (
        "toolbox.features.bed_features:bed_features",
        "toolbox.features.plant_beds:plant_beds",
        "toolbox.features.sections:bed_section",
    ),
    "Marks": (
        "toolbox.marks.pegs:place_pegs",
        "toolbox.marks.marks:marks",
        "toolbox.marks.cast_profiles:cast_profile",
        "toolbox.marks.boat:boat_marks",
        "toolbox.marks.boat:boat_course",
    ),
    "Volume": (
        "toolbox.volume.hypsography:hypsography",
        "toolbox.volume.raster:hypsography_of_grid",
        "toolbox.volume.contoured:hypsography_of_isobaths",
        "toolbox.volume.contoured:hypsography_of_zones",
        "toolbox.volume.morphometry:morphometry",
        "toolbox.volume.fetch:fetch",
        "toolbox.volume.fetch:fetch_grid",
        "toolbox.volume.bottom_dynamics:bottom_dynamics",
        "toolbox.volume.bottom_dynamics:wave_base_grid",
        "toolbox.volume.stage:stage_table",
        "toolbox.volume.drawdown:drawdown",
        "toolbox.volume.drawdown:exposed_margin",
        "toolbox.volume.water_balance:storage_times",
    ),
    "Volume: tables": (
        "toolbox.volume.rules:volume_from_areas",
        "toolbox.volume.area_curve:table_at",
        "toolbox.volume.table_checks:check_table",
        "toolbox.volume.table_comparison:compare_tables",
        "toolbox.volume.method_comparison:compare_methods",
    ),
    "Change": (
        "toolbox.change.change_limits:change_limits",
        "toolbox.change.level_shift:level_shift",
        "toolbox.change.bed_change:bed_change",
        "toolbox.change.bed_change_grid:bed_change_grid",
        "toolbox.change.sedimentation:sedimentation",
    ),
    "Water": (
        "toolbox.water.oxygen:oxygen_saturation",
        "toolbox.water.interpolation:interpolated_profiles",
        "toolbox.water.stratification:stratification",
        "toolbox.water.means:profile_means",
        "toolbox.water.anoxia:anoxic_water",
        "toolbox.water.anoxic_factor:anoxic_factor",
        "toolbox.water.attenuation:attenuation",
        "toolbox.water.light:light",
        "toolbox.water.lit_bed:light_at_bed_grid",
        "toolbox.water.lit_bed:lit_bed",
    ),
    "Habitat: plants": (
        "toolbox.habitat.plant_readings:plant_readings",
        "toolbox.habitat.plant_readings:plant_points",
        "toolbox.habitat.plant_grids:plant_height_grid",
        "toolbox.habitat.plant_grids:plant_cover_grid",
        "toolbox.habitat.plant_grids:plant_volume_grid",
        "toolbox.habitat.plant_table:plant_table",
        "toolbox.habitat.plant_edges:plant_edges",
        "toolbox.habitat.plant_depths:expected_plant_depth",
    ),
    "Habitat: room of a species": (
        "toolbox.habitat.species:species_table",
        "toolbox.habitat.suitable_water:suitable_water",
        "toolbox.habitat.suitable_water:suitable_water_of_table",
        "toolbox.habitat.squeeze:habitat_squeeze",
        "toolbox.habitat.squeeze:suitable_periods",
        "toolbox.habitat.suitable_bed:suitable_bed",
        "toolbox.habitat.suitable_bed_grid:suitable_bed_grid",
        "toolbox.habitat.refuge:oxygen_refuge",
    ),
    "Fish": (
        "toolbox.fish.target_lengths:target_lengths",
        "toolbox.fish.fish_abundance:fish_abundance",
        "toolbox.fish.depth_of_fish:depth_of_fish",
        "toolbox.fish.mark_recapture:mark_recapture",
    ),
    "Stocking": (
        "toolbox.stocking.published_rates:published_rates",
        "toolbox.stocking.measures:stocking_measures",
        "toolbox.stocking.survival:survival_chain",
        "toolbox.stocking.plan:stocking_plan",
        "toolbox.stocking.comparison:compare_alternatives",
        "toolbox.stocking.sensitivity:stocking_sensitivity",
        "toolbox.stocking.assumptions:stocking_assumptions",
        "toolbox.stocking.fish_yield:fish_yield_screen",
    ),
    "Stocking: ponds": (
        "toolbox.stocking.pond_shapes:pond_by_tape",
        "toolbox.stocking.treatment:treatment_volume",
        "toolbox.stocking.treatment:dose",
        "toolbox.stocking.aeration:aeration_sizing",
        "toolbox.stocking.winter:winter_shares",
    ),
    "Report: figures": (
        "toolbox.report.map_figure:draw_map",
        "toolbox.report.coverage_figure:draw_coverage",
        "toolbox.report.crossings_figure:draw_crossings",
        "toolbox.report.section_figure:draw_section",
        "toolbox.report.hypsography_figure:draw_hypsography",
        "toolbox.report.season_figure:draw_season",
    ),
}
"""The toolbox's own tools by chapter."""

GROUP = "toolbox.tools"
"""Entry-point group in which other packages announce their tools."""


TITLES = "titles.json"
"""File of titles beside this one, written by ``python -m toolbox.describe``: to list tools by it
takes no import of their modules."""


@functools.cache
def tools() -> dict[str, Callable[..., Any]]:
    """Return all tools by name, other packages' after our own."""
    own = {name: _load(place) for name, place in _places().items()}
    return own | _foreign()[0]


def names() -> tuple[str, ...]:
    """Return the names of all tools, other packages' after our own."""
    return *_places(), *_foreign()[0]


def by_chapter() -> dict[str, list[Tool]]:
    """Return the records of the toolbox's own tools, chapter by chapter."""
    return {
        chapter: [record(_load(place)) for place in places] for chapter, places in CHAPTERS.items()
    }


def titles() -> dict[str, dict[str, str]]:
    """Return the titles of all tools by name, chapter by chapter, other packages' last."""
    written = files("toolbox").joinpath(TITLES).read_text(encoding="utf-8")
    found: dict[str, dict[str, str]] = json.loads(written)
    foreign = {name: record(function).title for name, function in _foreign()[0].items()}
    return found | ({"Other packages": foreign} if foreign else {})


def broken() -> dict[str, str]:
    """Return the tools of other packages that cannot be used, each with its error."""
    return _foreign()[1]


def record(function: Callable[..., Any]) -> Tool:
    """Return the record of a declared tool."""
    found = getattr(function, "tool", None)
    if not isinstance(found, Tool):
        raise TypeError(f"{function!r} is not declared as a tool")
    return found


def find(name: str) -> Callable[..., Any]:
    """Return the tool of a name, or raise ParameterError."""
    if name in _places():
        return _load(_places()[name])
    try:
        return _foreign()[0][name]
    except KeyError:
        raise ParameterError(f"there is no tool {name!r}; 'leadline tools' lists them") from None


def _check_doors(tool: Tool) -> None:
    """Raise TypeError if a tool takes or gives what no door can read or write."""
    from toolbox.formats.doors import READERS, SUFFIXES

    if tool.returns not in SUFFIXES:
        raise TypeError(f"its result, {tool.returns.__name__}, cannot be written")
    for param in tool.params:
        simple = param.choices or param.many or param.type in (bool, int, float, str)
        if param.type not in READERS and not simple:
            raise TypeError(f"its parameter {param.name} cannot be given")


@functools.cache
def _places() -> dict[str, str]:
    """Where each of the toolbox's own tools is, by its name: that of its function."""
    places = (place for chapter in CHAPTERS.values() for place in chapter)
    return {place.split(":")[1].replace("_", "-"): place for place in places}


def _load(place: str) -> Callable[..., Any]:
    module, name = place.split(":")
    function: Callable[..., Any] = getattr(import_module(module), name)
    return function


@functools.cache
def _foreign() -> tuple[dict[str, Callable[..., Any]], dict[str, str]]:
    found: dict[str, Callable[..., Any]] = {}
    faults = {}
    for entry in entry_points(group=GROUP):
        try:
            function = entry.load()
            name = record(function).name
            if name in found or name in _places():
                raise TypeError(f"the name {name!r} is taken")
            _check_doors(record(function))
            found[name] = function
        except (
            Exception,
            SystemExit,
        ) as error:  # whatever is wrong with it, it must not harm the others
            faults[entry.name] = f"{type(error).__name__}: {said_by(error)}"
    return found, faults
