"""Maps of change: where the bed rose or sank between two surveys, and how sure that is."""

from typing import Annotated, Literal

import numpy as np

from toolbox.change.comparison import compare, quantile
from toolbox.change.patches import SKIRT, SURPRISE, Patches
from toolbox.layers import Grid, Tin
from toolbox.tool import Range, tool

__all__ = ["bed_change_grid"]


@tool("Map of change between two surveys")
def bed_change_grid(
    before: Tin,
    after: Tin,
    *,
    show: Literal["change", "limit", "significance", "patches"] = "change",
    confidence: Annotated[float, Range("", min=0.5, max=0.99)] = 0.95,
    skirt: Annotated[float, Range("", min=0, max=3)] = SKIRT,
    surprise: Annotated[float, Range("", min=1)] = SURPRISE,
    shift: Annotated[float, Range("m")] = 0.0,
    datum_sd: Annotated[float, Range("m", min=0)] = 0.0,
    sd_before: Annotated[float, Range("m", min=0)] | None = None,
    sd_after: Annotated[float, Range("m", min=0)] | None = None,
    correlation_range: Annotated[float, Range("m", above=0)] | None = None,
    cell: Annotated[float, Range("m", above=0)] | None = None,
    seed: Annotated[int, Range("", min=0)] = 0,
) -> Grid:
    """Map the change of the bed between two surveys, or how far to believe it.

    Parameters
    ----------
    before : Tin
        The earlier bed.
    after : Tin
        The later bed, in the same CRS and below the same datum.
    show : str
        ``"change"``: m, positive where the bed rose. ``"limit"``: the limit of detection at each
        place, m. ``"significance"``: how sure it is that the bed changed there, 0 to 1, with the
        sign of the change. ``"patches"``: 1 where something was laid down, -1 where something was
        carried off, 0 where chance may do as much.
    confidence : float
        Of the limit and of the patches.
    skirt : float
        By how much of its own radius a patch of change is widened, for its thin edge.
    surprise : float
        How many times as heavy as the patches that errors make one must be: for forms that one
        survey met and the other missed, which no error holds. 1 takes the errors at their word.
    shift : float
        Rise of the bed that is none, as from another datum: it is taken off.
    datum_sd : float
        One standard deviation of the difference of the two surveys' levels, if the beds' own
        errors do not hold it.
    sd_before : float, optional
        One standard deviation of the depth of an earlier bed that knows no error of its own.
    sd_after : float, optional
        The same of the later bed.
    correlation_range : float, optional
        Distance beyond which the errors of a bed without draws have nothing to do with each other.
    cell : float, optional
        Width of a cell; if left out, as for the table of change.
    seed : int
        Of the simulated errors.

    Returns
    -------
    Grid
        On the cells whose centre lies in both waters.

    Raises
    ------
    LayerError
        If the beds lie in different CRS or have no ground in common.
    ParameterError
        If a bed's error is not known, or nothing tells how it is correlated.

    Notes
    -----
    The significance is that of one place looked at by itself: of a water where nothing changed, a
    twentieth is beyond 0.95. The patches are judged against chance anywhere in the water.
    """
    from scipy.special import erf

    two = compare(
        before,
        after,
        cell=cell,
        shift=shift,
        datum_sd=datum_sd,
        sd_before=sd_before,
        sd_after=sd_after,
        correlation_range=correlation_range,
        seed=seed,
    )
    if show == "change":
        return two.grid(two.rise, "bed_change", "m")
    if show == "limit":
        return two.grid(quantile(confidence) * two.sd, "change_limit", "m")
    if show == "significance":
        return two.grid(erf(two.score_of(two.rise) / np.sqrt(2)), "change_significance", "1")
    patches = Patches.of(two, confidence=confidence, skirt=skirt)
    return two.grid(patches.sides(two.rise, surprise=surprise), "change_patches", "1")
