"""Plan: where to sound next, as one step of a survey, on the fit that its bed was made with."""

from toolbox.bed.fit import Fit
from toolbox.formats.places import read_places
from toolbox.layers import Places, Vectors
from toolbox.notes import Caution
from toolbox.planning.next_soundings import Ways, next_soundings
from toolbox.survey.lineage import Lineage
from toolbox.survey.reduce import Inputs
from toolbox.survey.settings import Settings

__all__ = ["find_ways", "make_plan"]

_NO_ERROR = Caution(
    "no plan where to sound next: the bed is triangulated and does not know its own error; "
    "bed.method = 'fitted' gives one that does"
)


def find_ways(settings: Settings, inputs: Inputs, lineage: Lineage) -> Ways | None:
    """Find what can be sounded next, before any bed is made; None if nothing is to be planned."""
    wanted = settings.plan
    if wanted is None:
        return None
    pegs = _read_pegs(settings, inputs, lineage)
    ways = Ways.of(inputs.shoreline, pegs, **wanted.model_dump(exclude={"pegs", "crs"}))
    lineage.step("find ways", kind=ways.kind, candidates=len(ways.candidates))
    return ways


def make_plan(
    ways: Ways | None, fitted: Fit | None, inputs: Inputs, lineage: Lineage
) -> Vectors | None:
    """Choose among ways with the fit of the bed; None without either, and then it says so."""
    if ways is None:
        return None
    if fitted is None:
        lineage.step("plan", (_NO_ERROR,), chosen=0)
        return None
    found = next_soundings(fitted, ways, inputs.centreline)
    last = found.frame.iloc[-1]
    now, then = last["mean_sd_m"] + last["mean_sd_drop_m"], last["mean_sd_m"]
    lineage.step("plan", chosen=len(found), mean_sd_now_m=now, mean_sd_then_m=then)
    return found


def _read_pegs(settings: Settings, inputs: Inputs, lineage: Lineage) -> Places | None:
    wanted = settings.plan
    if wanted is None or wanted.pegs is None:
        return None
    pegs = read_places(wanted.pegs, crs=wanted.crs, into=inputs.crs)
    lineage.step("read pegs", pegs.notes, file=str(wanted.pegs), pegs=len(pegs))
    return pegs
