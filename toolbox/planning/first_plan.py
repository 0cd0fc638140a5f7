"""First plan: how to sound a water of which nothing is known but its shore."""

from contextlib import suppress
from typing import Annotated

import numpy as np

from toolbox.bed.field import FieldSettings, shore_share
from toolbox.bed.flow import Directions
from toolbox.bed.graded import Net
from toolbox.bed.observations import LEG_M, LOOSE
from toolbox.bed.problem import Problem, Scales
from toolbox.errors import ParameterError
from toolbox.layers import Shoreline, Table, Vectors
from toolbox.planning.foresight import even_net, net_spacing
from toolbox.planning.gear import Gear
from toolbox.planning.outlay import Outlay, Water
from toolbox.tool import Range, tool

__all__ = ["plan_first_survey", "survey_worth"]

RANGE, REACH, SPREAD, NUGGET, ELONGATION = 1.1, 0.18, 0.2, 0.01, 2.0
"""What is assumed of a blank water: range and reach in its greatest distance from shore, spread
and nugget in its depth. About what fits to invented lakes of seven kinds learn in the median; the
spread such that a first survey comes out as expected in the median (tests/benchmarks)."""

NOISE = 0.01
"""Assumed error of a reading for itself, and of a whole line, in the depth of the water."""

_SLOPE_REACH = 0.5  # of the greatest distance from shore, over which an assumed bed deepens
_PING = 1.0  # m between readings

_Track = Annotated[float, Range("m", above=0)]
_Ties = Annotated[int, Range("", min=0, max=5)]
_Depth = Annotated[float, Range("m", above=0)]


@tool("First survey of a blank water")
def plan_first_survey(
    shoreline: Shoreline,
    *,
    track: _Track | None = None,
    ties: _Ties = 1,
    depth_scale: _Depth = 1.0,
) -> Vectors:
    """Lay lines over a water of which only the shore is known.

    Parameters
    ----------
    shoreline : Shoreline
        The water.
    track : float, optional
        Length that all lines may have together; if left out, lines across lie a quarter of the
        greatest width apart, and across a winding water a whole one.
    ties : int
        Lines along the water, which tie those across together.
    depth_scale : float
        Depth that nine tenths of the water do not reach, if it is known roughly; if left out,
        what is expected in metres is to be read as shares of that depth.

    Returns
    -------
    Vectors
        Lines: the straight legs in the order to run them, each drawn from its start. ``line`` (a
        number across the water, ``tie`` and a number along it, whose legs follow each other),
        ``start_easting_m, start_northing_m, end_easting_m, end_northing_m``, ``bearing_deg``
        (true, from the start), ``distance_m``, and ``total_m`` so far without the ways between
        lines. The notes tell what is assumed, and the accuracy to expect from this length of
        track, from half and from twice as much.

    Raises
    ------
    ParameterError
        If `track` is too short for the ties and one line.

    Notes
    -----
    Lines go across the long side of the narrowest rectangle about the water. A water more than
    eight times as long as it is wide, bends and arms followed, is sounded across its course
    instead, and tied along it: the ways between its far ends that keep to the middle. Every other
    line is run backwards. Lines keep 1 m clear of land, and pieces shorter than a fifth of the
    greatest width are left out.

    The accuracy is that of a fitted bed, whose range, spread and so on are assumed in proportion
    to the width and depth of the water, after invented lakes of seven kinds; half of those came out
    at 0.6 to 1.3 times the standard deviation expected. True waters differ; once there are
    soundings, plan on with the tool that says where to sound next.
    """
    net = even_net(shoreline, net_spacing(shoreline, 0.0))
    water = Water.of(shoreline, net)
    outlay = water.lay(track, ties)
    frame = outlay.legs.features(shoreline.crs)
    frame.insert(0, "line", np.array(outlay.names, object))
    frame.insert(len(frame.columns) - 1, "total_m", np.cumsum(outlay.legs.length))
    others = [*_laid(water, outlay.track, ties, (0.5,)), outlay]
    others += _laid(water, outlay.track, ties, (2.0,))
    told = (_told(other, *_accuracy(water, net, other, depth_scale)) for other in others)
    notes = (_assumed(water, depth_scale), *told)
    return Vectors(frame, "first_plan", notes)


@tool("Worth of a first survey")
def survey_worth(
    shoreline: Shoreline,
    *,
    tracks: Annotated[tuple[float, ...], Range("m", above=0)] = (),
    ties: _Ties = 1,
    depth_scale: _Depth = 1.0,
) -> Table:
    """Tell how the accuracy of a first survey grows with the length of its lines.

    Parameters
    ----------
    shoreline : Shoreline
        The water.
    tracks : tuple of float
        Lengths of all lines together; if left out, a half, one, two and four times what the first
        survey takes by itself, as far as the ties leave room.
    ties : int
        Lines along the water.
    depth_scale : float
        Depth that nine tenths of the water do not reach; if left out, metres of depth are to be
        read as shares of it.

    Returns
    -------
    Table
        One row a length: ``track_m`` of the lines that were laid, ``lines``, their ``spacing_m``,
        and what to expect: ``mean_sd_m``, the mean standard deviation of the depth;
        ``mean_depth_sd_m``, that of the mean depth; ``volume_sd_m3``, that of the volume.

    Raises
    ------
    ParameterError
        If a length is too short for the ties and one line.

    Notes
    -----
    See the first survey of a blank water for what is laid and what is assumed.
    """
    import pandas as pd

    net = even_net(shoreline, net_spacing(shoreline, 0.0))
    water = Water.of(shoreline, net)
    if tracks:
        laid = [water.lay(track, ties) for track in tracks]
    else:
        laid = _laid(water, water.lay(None, ties).track, ties, (0.5, 1.0, 2.0, 4.0))
    found = np.array([_accuracy(water, net, outlay, depth_scale) for outlay in laid])
    columns = {
        "track_m": [outlay.track for outlay in laid],
        "lines": [len(set(outlay.names)) for outlay in laid],
        "spacing_m": [outlay.spacing for outlay in laid],
        "mean_sd_m": found[:, 0],
        "mean_depth_sd_m": found[:, 1],
        "volume_sd_m3": found[:, 1] * net.mass.sum(),
    }
    notes = (_assumed(water, depth_scale),)
    return Table(pd.DataFrame(columns), "Worth of a first survey", notes)


def _laid(water: Water, track: float, ties: int, factors: tuple[float, ...]) -> list[Outlay]:
    """Lay lines of several lengths, those too short for the ties left out."""
    laid = []
    for factor in factors:
        with suppress(ParameterError):
            laid.append(water.lay(factor * track, ties))
    return laid


def _accuracy(water: Water, net: Net, outlay: Outlay, deep: float) -> tuple[float, float]:
    """Mean standard deviation of the depth, and that of the mean depth, m."""
    wide = water.width
    step = max(net_spacing(water.shoreline, 0.0), outlay.spacing / 4)
    seen = _gear(deep).readings(outlay.legs, step)
    weights = net.weights(seen.place)
    inside = np.diff(weights.indptr) > 0
    directions = Directions.of_shore(net, wide)
    scales = Scales(wide, deep, outlay.spacing / 4)
    problem = Problem(
        net, seen.select(inside), weights[inside], scales, 0.0, NOISE * deep, directions
    )
    settings = FieldSettings(RANGE * wide, SPREAD * deep, REACH * wide, NUGGET * deep, ELONGATION)
    bed = deep * shore_share(net, _SLOPE_REACH * wide)
    posterior = problem.posterior(problem.prior(settings), problem.gradient(bed))
    share = net.mass / net.mass.sum()
    mean = float((share * posterior.covariance_with(share)).sum())
    return float((share * posterior.sd()).sum()), float(np.sqrt(mean))


def _gear(deep: float) -> Gear:
    from toolbox.reduction.spread import DEFAULTS

    place = (DEFAULTS["track"].position_sd ** 2, 0.0)
    return Gear(NOISE * deep, NOISE * deep, place, place, LOOSE, LEG_M, _PING)


def _assumed(water: Water, deep: float) -> str:
    return (
        f"assumed: depths to {deep:g} m, correlation range {RANGE * water.width:.0f} m, spread "
        f"{SPREAD:.0%} of the depth growing over {REACH * water.width:.0f} m from shore, errors of "
        f"a reading and of a line {NOISE:.0%} of the depth each"
    )


def _told(outlay: Outlay, mean_sd: float, mean_depth_sd: float) -> str:
    return (
        f"{outlay.track:.0f} m of track, lines {outlay.spacing:.0f} m apart: expect a mean "
        f"standard deviation of the depth of {mean_sd:.3g} m, and {mean_depth_sd:.2g} m of the "
        "mean depth"
    )
