"""Bed: the lake bed of a survey, made in the way its file asks for, and what it says of itself."""

from dataclasses import dataclass, field

from toolbox.bed.fit import Fit
from toolbox.bed.fitting import LargeNetError, fit
from toolbox.bed.line_errors import errors_told
from toolbox.bed.survey_orders import survey_order_share
from toolbox.bed.triangulation import triangulate
from toolbox.bed.uncertainty import depth_sd_grid, support_grid, unsurveyed_grid
from toolbox.bed.validation import choose_method
from toolbox.errors import LayerError
from toolbox.layers import Grid, Soundings, Table, Tin
from toolbox.reduction.thinning import thin
from toolbox.survey.lineage import Lineage
from toolbox.survey.reduce import Inputs
from toolbox.survey.settings import Settings

__all__ = ["MadeBed", "error_grids", "make_bed"]

_LINES = "it must follow breaklines, which a fitted bed cannot"
_QUICK = 40_000
"""Nodes of a net beyond which a survey that leaves the choice does not wait for a fitted bed: its
fit and the check by soundings left out take about a minute there."""

_NOT_THINNED = "not thinned further: a fitted bed takes means along the lines by itself"


@dataclass(frozen=True)
class MadeBed:
    """A lake bed, and tables on how far to trust it.

    Parameters
    ----------
    bed : Tin
        The lake bed.
    why : str
        Why it was made in this way, where the survey left the choice.
    tables : dict
        By the names of their files.
    fit : Fit or None
        What it was made with, if it is the fitted one.
    """

    bed: Tin
    why: str = ""
    tables: dict[str, Table] = field(default_factory=dict)
    fit: Fit | None = None


def make_bed(settings: Settings, inputs: Inputs, lineage: Lineage) -> MadeBed:
    """Triangulate or fit the bed, or leave lines out and take the better one.

    Raises
    ------
    LayerError
        If a bed cannot be made in the way that the survey names, or no sounding tells of water.
        Where the survey leaves the choice, soundings too few to fit a bed to are triangulated.
    """
    method = settings.bed.method
    if method == "triangulated":
        return MadeBed(_triangulated(settings, inputs, lineage))
    if inputs.breaklines is not None:
        return MadeBed(_triangulated(settings, inputs, lineage), _LINES)
    if not (inputs.soundings.kept.depth > inputs.shoreline.depth).any():
        raise LayerError("no sounding is deeper than the water's edge, there is no water in it")
    try:
        fitted = _fit(settings, inputs)
    except LayerError as error:
        if method == "fitted":
            raise
        why = f"none could be fitted: {error}"
        if isinstance(error, LargeNetError):
            why = f"{error}; a fitted one takes minutes: method = 'fitted' makes it all the same"
        return MadeBed(_triangulated(settings, inputs, lineage), why)
    return _chosen(settings, inputs, fitted, lineage)


def _fit(settings: Settings, inputs: Inputs) -> Fit:
    layers = (inputs.soundings, inputs.shoreline, inputs.centreline)
    spacing = settings.bed.spacing
    waits = settings.bed.method == "fitted" or spacing is not None
    return fit(*layers, spacing=spacing, most_nodes=None if waits else _QUICK)


def error_grids(bed: Tin, cell: float) -> tuple[Grid, ...]:
    """Return what a fitted bed says of its error as rasters; nothing for another bed."""
    if bed.sd is None or bed.support is None:
        return ()
    makers = (depth_sd_grid, support_grid, unsurveyed_grid)
    return tuple(make(bed, cell=cell) for make in makers)


def _chosen(settings: Settings, inputs: Inputs, fitted: Fit, lineage: Lineage) -> MadeBed:
    """Check the fitted bed against lines left out, and take it unless another is better."""
    try:
        choice = choose_method(inputs.soundings, inputs.shoreline, inputs.centreline, fitted=fitted)
    except LayerError as error:
        lineage.step("cross-validate", (f"no lines could be left out: {error}",))
        return _fitted(settings, fitted, None, lineage)
    tables = {} if choice.table is None else {"validation": choice.table}
    notes = choice.table.notes if choice.table else ()
    lineage.step("cross-validate", notes, better=choice.method, why=choice.why)
    if settings.bed.method == "auto" and choice.method == "triangulated":
        return MadeBed(_triangulated(settings, inputs, lineage), choice.why, tables)
    return _fitted(settings, fitted, choice.table, lineage, choice.why)


def _fitted(
    settings: Settings, fitted: Fit, validation: Table | None, lineage: Lineage, why: str = ""
) -> MadeBed:
    bed = fitted.bed(draws=settings.bed.draws, seed=settings.bed.seed)
    notes = bed.notes if settings.thinning.cell is None else (*bed.notes, _NOT_THINNED)
    lineage.step("fit", notes, nodes=len(bed.depth), triangles=len(bed.triangles))
    tables = {"line_errors": errors_told(fitted), "bed_orders": survey_order_share(bed)}
    if validation is not None:
        tables["validation"] = validation
    return MadeBed(bed, why, tables, fitted)


def _triangulated(settings: Settings, inputs: Inputs, lineage: Lineage) -> Tin:
    bed = triangulate(
        _thinned(settings, inputs.soundings, lineage),
        inputs.shoreline,
        inputs.breaklines,
        duplicates=settings.bed.duplicates,
        cure_flats=settings.bed.cure_flats,
    )
    lineage.step("triangulate", bed.notes, vertices=len(bed.depth), triangles=len(bed.triangles))
    return bed


def _thinned(settings: Settings, soundings: Soundings, lineage: Lineage) -> Soundings:
    if settings.thinning.cell is None:
        return soundings
    thinned = thin(soundings, cell=settings.thinning.cell, by=settings.thinning.by)
    kept = int((~soundings.flag).sum())
    lineage.step(
        "thin", thinned.notes[len(soundings.notes) :], soundings_in=kept, cells=len(thinned)
    )
    return thinned
