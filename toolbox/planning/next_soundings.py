"""Planning: where to sound next, so that the bed becomes known where it is not."""

from dataclasses import dataclass
from typing import Annotated

import numpy as np

from toolbox.bed.fit import Fit
from toolbox.bed.fitting import fit
from toolbox.errors import LayerError, ParameterError
from toolbox.layers import Centreline, Places, Shoreline, Soundings, Vectors
from toolbox.layers.crs import check_same_crs
from toolbox.planning.candidates import Candidates, casts_from, lines_over, pegs_along
from toolbox.planning.foresight import Plan, net_spacing, plan
from toolbox.planning.gear import Gear, Kind
from toolbox.tool import Range, tool

__all__ = ["Ways", "line_candidates", "next_soundings", "plan_soundings"]

_HEADINGS = 12
_PARALLELS = 2.0  # between candidate lines, in spacings of the net
_SHORTEST = 4.0  # length of a candidate line, in spacings of the net


@dataclass(frozen=True, eq=False)
class Ways:
    """Ways to sound on: all that could be done, and how much of it.

    Parameters
    ----------
    kind : {"casts", "lines"}
        Casts from the bank, or straight lines of a boat.
    candidates : Candidates
        All that are tried.
    pegs : (n,) array or None
        Name of each one's peg; None of lines.
    cost : (n,) array
        Of each: 1 for a cast, the length with its turn for a line, m.
    budget : float
        Total cost not exceeded.
    """

    kind: Kind
    candidates: Candidates
    pegs: np.ndarray | None
    cost: np.ndarray
    budget: float

    @classmethod
    def of(
        cls,
        shoreline: Shoreline,
        pegs: Places | None,
        *,
        kind: Kind,
        casts: int,
        reach: float,
        bearing_step: float,
        peg_spacing: float | None,
        track: float,
        turn: float,
    ) -> "Ways":
        """Find them over a water, none of which need be known; see :func:`plan_soundings`."""
        if kind == "casts":
            places = _places(pegs, shoreline, peg_spacing or reach / 3)
            found = casts_from(places, shoreline, reach=reach, bearing_step=bearing_step)
            return cls(kind, found, _names(pegs, found.peg), np.ones(len(found)), float(casts))
        found = line_candidates(shoreline)
        cost = found.length + turn
        if cost.min() > track:
            raise ParameterError(
                f"track must be >= {cost.min():.0f} m, the shortest line, got {track:g}"
            )
        return cls(kind, found, None, cost, track)


@tool("Where to sound next")
def plan_soundings(
    soundings: Soundings,
    shoreline: Shoreline,
    pegs: Places | None = None,
    centreline: Centreline | None = None,
    *,
    kind: Kind = "casts",
    casts: Annotated[int, Range("", min=1, max=1000)] = 10,
    reach: Annotated[float, Range("m", above=0)] = 60.0,
    bearing_step: Annotated[float, Range("degree", min=1, max=90)] = 10.0,
    peg_spacing: Annotated[float, Range("m", above=0)] | None = None,
    track: Annotated[float, Range("m", above=0)] = 2000.0,
    turn: Annotated[float, Range("m", min=0)] = 20.0,
) -> Vectors:
    """Choose the casts or the boat lines that would tell most of what is not known of the bed.

    Parameters
    ----------
    soundings : Soundings
        What was sounded so far; as for the fitted lake bed.
    shoreline : Shoreline
        The water.
    pegs : Places, optional
        Where casts can be made from; if left out, places along the outer shores.
    centreline : Centreline, optional
        Lines along which a river or an arm runs; as for the fitted lake bed.
    kind : {"casts", "lines"}
        Casts from the bank, or straight lines of a boat.
    casts : int
        Number of casts to choose.
    reach : float
        How far a cast flies (60 m: common practice, no source).
    bearing_step : float
        Between the bearings that are tried from a peg.
    peg_spacing : float, optional
        Between the places along the shores; if left out, a third of the reach.
    track : float
        Total length of the lines to choose, turns included.
    turn : float
        What a line costs beside its length (20 m: common practice, no source).

    Returns
    -------
    Vectors
        Lines: the casts or boat lines in the order of what they gain, each drawn from its start.
        ``order``; of casts ``peg``; ``start_easting_m, start_northing_m, end_easting_m,
        end_northing_m``; ``bearing_deg`` (true, from the start) and ``distance_m``; of lines
        ``total_m``, the track so far, turns included; what is expected once it and all before it
        are sounded: ``mean_sd_m``, ``volume_sd_m3``, and by how much they have fallen from what
        they are now, ``mean_sd_drop_m``, ``volume_sd_drop_m3``.

    Raises
    ------
    LayerError
        If layers lie in different CRS, a peg has no water within its reach, or too little was
        sounded for a fit.
    ParameterError
        If `track` is too short for any line.

    Notes
    -----
    The bed is fitted as by the fitted lake bed. Candidates are casts from every peg in all
    directions, as far as the first land, or lines at 12 headings, which land divides. Each would
    bring readings with the errors of the survey's own casts or tracks, or those usual where it
    has none, those that a whole line shares included. The candidate that lowers the variance of
    the depth most, as a mean over the water (for lines: most for its cost), is chosen, then the
    one that does so after it, and so on. Depths are not needed for that: what a reading takes
    away from the variance does not depend on what it will be.

    Casts and lines keep 1 m clear of land. Ways between lines count as one turn each. What is
    expected rests on what was learnt from the soundings so far; new ones may teach otherwise.

    References
    ----------
    Krause, Singh & Guestrin 2008, J. Mach. Learn. Res. 9:235, "Near-optimal sensor placements in
    Gaussian processes" (from memory): greedy choice of places to measure a field.
    """
    check_same_crs(shoreline=shoreline, soundings=soundings, pegs=pegs, centreline=centreline)
    ways = Ways.of(
        shoreline,
        pegs,
        kind=kind,
        casts=casts,
        reach=reach,
        bearing_step=bearing_step,
        peg_spacing=peg_spacing,
        track=track,
        turn=turn,
    )
    return next_soundings(fit(soundings, shoreline, centreline), ways, centreline)


def next_soundings(fitted: Fit, ways: Ways, centreline: Centreline | None = None) -> Vectors:
    """Choose among ways to sound on, after a fit that is there; see :func:`plan_soundings`.

    Parameters
    ----------
    fitted : Fit
        Of what was sounded so far.
    ways : Ways
        Over the same water.
    centreline : Centreline, optional
        The one of the fit, if it had one.
    """
    gear = Gear.of(ways.kind, fitted.used, fitted.coarse.scales.deep / 2)
    made = plan(fitted, ways.candidates, gear, ways.cost, ways.budget, centreline)
    which = made.chosen
    frame = ways.candidates.select(which).features(fitted.shoreline.crs)
    for name, column in _gains(made, ways).items():
        frame.insert(len(frame.columns) - 1, name, column)
    if ways.pegs is not None:
        frame.insert(0, "peg", ways.pegs[which])
    frame.insert(0, "order", np.arange(len(which)) + 1)
    return Vectors(frame, "next_soundings", made.notes)


def _gains(made: Plan, ways: Ways) -> dict[str, np.ndarray]:
    """Return what each choice takes and brings, with those before it, by column."""
    total = {} if ways.kind == "casts" else {"total_m": np.cumsum(ways.cost[made.chosen])}
    return total | {
        "mean_sd_m": made.mean_sd[1:],
        "mean_sd_drop_m": made.mean_sd[0] - made.mean_sd[1:],
        "volume_sd_m3": made.volume_sd[1:],
        "volume_sd_drop_m3": made.volume_sd[0] - made.volume_sd[1:],
    }


def _places(pegs: Places | None, shoreline: Shoreline, spacing: float) -> np.ndarray:
    if pegs is None:
        return pegs_along(shoreline, spacing)
    missing = np.isnan(pegs.coordinates).any(axis=1)
    if missing.any():
        raise LayerError(f"peg {int(missing.argmax()) + 1} has no position")
    return pegs.coordinates


def line_candidates(shoreline: Shoreline) -> Candidates:
    """Return straight lines over a water at 12 headings, close together."""
    spacing = net_spacing(shoreline, 0.0)
    return lines_over(
        shoreline,
        spacing=_PARALLELS * spacing,
        headings=np.arange(_HEADINGS) * 180.0 / _HEADINGS,
        shortest=_SHORTEST * spacing,
    )


def _names(pegs: Places | None, which: np.ndarray) -> np.ndarray:
    for column in ("peg", "name"):
        if pegs is not None and column in pegs.frame:
            return pegs.frame[column].to_numpy()[which]
    return which + 1
