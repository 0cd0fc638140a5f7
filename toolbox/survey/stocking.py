"""Stocking: a proposal reckoned through on the measures of the water, as one step of a survey."""

from toolbox.habitat.squeeze import habitat_squeeze
from toolbox.layers import Table, Tin
from toolbox.report.stocking_document import StockingStudy
from toolbox.stocking.assumptions import stocking_assumptions
from toolbox.stocking.comparison import compare_alternatives
from toolbox.stocking.measures import stocking_measures
from toolbox.stocking.plan import stocking_plan
from toolbox.stocking.sensitivity import stocking_sensitivity
from toolbox.stocking.suitable import within_days
from toolbox.survey.habitat import Habitat
from toolbox.survey.lineage import Lineage
from toolbox.survey.living import Living
from toolbox.survey.reduce import Inputs
from toolbox.survey.settings import Settings

__all__ = ["make_stocking"]


def make_stocking(
    living: Living,
    bed: Tin,
    habitat: Habitat,
    settings: Settings,
    inputs: Inputs,
    lineage: Lineage,
) -> StockingStudy | None:
    """Reckon a proposal through; None if there is none."""
    wanted, proposal = settings.stocking, living.proposal
    if wanted is None or proposal is None:
        return None
    suitable = _with_bed(habitat)
    measures = stocking_measures(
        bed,
        inputs.shoreline,
        littoral_depth=wanted.littoral_depth,
        lit_depth=habitat.lit_depth,
        suitable=suitable,
        suitable_first=wanted.suitable_first,
        suitable_last=wanted.suitable_last,
    )
    season = _season(suitable, wanted.suitable_first, wanted.suitable_last)
    squeeze = None
    if season is not None and settings.species is not None:
        squeeze = habitat_squeeze(season, least_thickness=settings.species.least_thickness)
    plan = stocking_plan(measures, proposal, profiles=living.profiles, suitable=suitable)
    lineage.step("stocking", plan.notes, rows=len(plan.frame))
    return StockingStudy(
        proposal,
        measures,
        plan,
        compare_alternatives(plan),
        stocking_sensitivity(measures, proposal),
        stocking_assumptions(measures, proposal),
        squeeze,
        habitat.tables.get("fish"),
    )


def _season(suitable: Table | None, first: str | None, last: str | None) -> Table | None:
    """Keep of the suitable water the days that the measures count too."""
    if suitable is None or (first is None and last is None):
        return suitable
    return Table(within_days(suitable.frame, first, last), suitable.title, suitable.notes)


def _with_bed(habitat: Habitat) -> Table | None:
    """Put the bed by cells, with all limits, in the place of that without limits on the bed."""
    suitable, areas = (habitat.tables.get(name) for name in ("suitable_water", "suitable_bed_area"))
    if suitable is None or areas is None:
        return suitable
    key = ["species", "time"]
    better = suitable.frame[key].merge(areas.frame, how="left", on=key)
    known = better["bed_area_m2"].notna().to_numpy()
    frame = suitable.frame.copy()
    for name in ("bed_area_m2", "bed_note"):
        frame[name] = frame[name].mask(known, better[name].to_numpy())
    for name in ("bed_area_low_m2", "bed_area_high_m2"):
        frame[name] = frame[name].mask(known)
    return Table(frame, suitable.title, suitable.notes)
