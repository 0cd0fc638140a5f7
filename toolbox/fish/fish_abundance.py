"""Abundance: fish counted in the water searched, raised to the water of the lake."""

from dataclasses import replace
from typing import Annotated

import numpy as np

from toolbox.errors import LayerError, ParameterError
from toolbox.fish.abundance_rows import tabulated, water_notes
from toolbox.fish.beam import Beam
from toolbox.fish.searched import Counting, LayerWater, Searched, fine_edges, layer_edges
from toolbox.fish.sounded import Sounded, night_hours
from toolbox.layers import Table, Tin
from toolbox.notes import Caution
from toolbox.tool import Range, tool
from toolbox.words import counted

__all__ = ["fish_abundance"]

_MANY = 0.5  # of the echoes: no near field or dead zone takes so many (judgement)


@tool("Number of fish by echo counts")
def fish_abundance(
    bed: Tin,
    echoes: Table,
    pings: Table,
    *,
    beam_angle: Annotated[float, Range("degree", above=0, max=90)],
    strata: Annotated[tuple[float, ...], Range("m", min=0)] | None = None,
    step: Annotated[float, Range("m", above=0)] | None = None,
    counting: Counting = "pings",
    calibrated: bool = False,
    period: str = "",
    night_start: Annotated[float, Range("h", min=0, max=24)] | None = None,
    night_end: Annotated[float, Range("h", min=0, max=24)] | None = None,
    frequency: Annotated[float, Range("kHz", min=10, max=1000)] = 200.0,
    pulse: Annotated[float, Range("s", above=0, max=0.01)] = 0.0002,
    draft: Annotated[float, Range("m", min=0)] = 0.0,
    surface: Annotated[float, Range("m")] = 0.0,
    blind: Annotated[float, Range("m", min=0)] = 1.0,
    margin: Annotated[float, Range("m", min=0)] = 0.0,
    least_ts: Annotated[float, Range("dB", min=-150, max=0)] | None = None,
    least_length: Annotated[float, Range("cm", min=0)] | None = None,
    greatest_length: Annotated[float, Range("cm", above=0)] | None = None,
) -> Table:
    """Estimate how many fish there are, and their weight, by layer of depth and in all.

    Parameters
    ----------
    bed : Tin
        The lake bed, for the water of each layer.
    echoes : Table
        One row an echo of a single fish: ``transect, ping`` and ``range_m`` (below the transducer)
        or ``depth_m`` (below the surface); ``ts_db``, ``length_cm`` and ``weight_g`` where known.
    pings : Table
        One row for every ping, also those without fish: ``transect, ping`` and ``bed_range_m``
        (below the transducer) or ``bed_m`` (below the surface); ``distance_m`` along the transect
        for traces; ``period`` (day, night) or ``time`` (UTC) where both were sounded. A cast from
        the bank counts as a transect.
    beam_angle : float
        Full width of the beam.
    strata : tuple of float, optional
        Depths of the planes between layers, below the datum.
    step : float, optional
        Height of the layers instead; if left out, a round one that gives up to ten layers.
    counting : str
        pings: each echo in each ping is a row, and the water searched is summed over pings, so that
        a fish in five pings counts five times over five times the water. traces: a fish is one
        row, in the ping nearest to it, and the water is the wedge the beam swept along
        ``distance_m``, less what lies between pings too far apart to touch.
    calibrated : bool
        Whether the sounder was calibrated with a sphere of known strength. If not, the result is an
        index to compare with others of the same gear, not a census.
    period : str
        The one to count, where pings are of several.
    night_start : float, optional
        Hour UTC at which night begins; with `night_end` it tells the period by ``time``.
    night_end : float, optional
        Hour UTC at which it ends.
    frequency : float
        Of the sounder, for the near field.
    pulse : float
        Length of its pulse, for the dead zone near the bed.
    draft : float
        Of the transducer below the surface.
    surface : float
        Depth of the water surface of the day below the datum; negative above it.
    blind : float
        Range from the transducer in which echoes are not used (common practice, no source); the
        near field where that reaches farther.
    margin : float
        Kept off the bed beyond its dead zone; needed over steep or weedy beds.
    least_ts : float, optional
        Weaker echoes are not counted.
    least_length : float, optional
        Shorter fish are not counted; needs ``length_cm``.
    greatest_length : float, optional
        Longer fish are not counted; needs ``length_cm``.

    Returns
    -------
    Table
        One row a layer from the surface down, and ``whole`` last: ``layer, measure`` (index or
        number), ``top_m, bottom_m, transects`` (that searched it), ``echoes, searched_m3,
        water_m3, unsearched_share, per_1000_m3, number, number_sd, number_low, number_high,
        mean_ts_db``; with weights ``biomass_kg, biomass_low_kg, biomass_high_kg``. The last row has
        the water of the whole lake and all of its share that was not searched, and the column
        ``per_ha`` holds its number over the area of the surface (NaN in layers).

    Raises
    ------
    LayerError
        If a column is missing, an echo has no ping, or no water was searched.
    ParameterError
        If pings are of several periods and none is named, or the layers do not ascend.

    Notes
    -----
    Density, in thin layers of 0.5 m: all echoes over all water searched, the ratio estimate for
    transects of unequal length (Cochran 1977, chapter 6); a beam widens, and in high layers the
    deeper fish would count for more. Number: density times the water in which
    fish can be told, which lies below `blind` and above the dead zone of the bed (Ona & Mitson
    1996). Fish elsewhere are not counted, nor guessed: ``unsearched_share`` tells how much water
    that is. A layer no transect searched has no number.

    A sounder tells how far a fish is, not how deep: it is put at the mean depth of what lies at
    that range in the beam, (1 + cos(beam_angle / 2)) / 2 of it below the transducer.

    Variance: transects are the units, left out one by one (jackknife), all layers together, since
    layers share their transects; the variance of the water over the bed's draws is added. The 90 %
    interval is log-normal with Student's t, its degrees of freedom the effective number of
    transects (by the water each stands for) less one, joined after Satterthwaite: see
    :func:`toolbox.fish.estimators.log_interval`. Transects are taken as placed by chance; evenly
    spaced ones are at least as good, so that the interval is then rather too wide.

    References
    ----------
    Cochran 1977, Sampling Techniques, 3rd ed., chapters 5 and 6.

    Ona & Mitson 1996, ICES Journal of Marine Science 53:677, doi:10.1006/jmsc.1996.0087.
    """
    beam = Beam(beam_angle, frequency, pulse, surface + draft, blind, margin)
    sounded = Sounded.of(echoes, pings, draft=draft, night=night_hours(night_start, night_end))
    sounded = _one_period(sounded, period)
    edges = layer_edges(strata, step, float(bed.depth.max()), surface)
    chosen, notes = _chosen(sounded, beam, least_ts, least_length, greatest_length)
    thin, groups = fine_edges(edges)
    searched = Searched.of(chosen, beam, thin, counting)
    if not searched.volumes.any():
        raise LayerError("no water was searched between the blind range and the bed's dead zone")
    water = LayerWater.of(bed, beam, thin, surface)
    frame = tabulated(searched, water, edges, groups, chosen.echoes)
    frame.insert(1, "measure", "number" if calibrated else "index")
    what = "Number of fish" if calibrated else "Index of fish, not a census"
    told = (*_cautions(calibrated, counting), *water_notes(searched, water, frame), *notes)
    return Table(frame, what + (f" ({period})" if period else ""), (*chosen.notes, *told))


def _one_period(sounded: Sounded, period: str) -> Sounded:
    if period:
        return sounded.during(period)
    if len(sounded.periods) > 1:
        known = ", ".join(repr(name) for name in sounded.periods)
        raise ParameterError(f"period must be named where pings are of several: one of {known}")
    return sounded


def _chosen(
    sounded: Sounded,
    beam: Beam,
    least_ts: float | None,
    least_length: float | None,
    greatest_length: float | None,
) -> tuple[Sounded, tuple[str, ...]]:
    """Leave out echoes where the beam tells no fish, and of fish of other sizes."""
    told = sounded.told(beam)
    sized = np.ones(len(told), bool)
    echoes = Table(sounded.echoes)
    if least_ts is not None:
        sized &= echoes.column("ts_db") >= least_ts
    if least_length is not None:
        sized &= echoes.column("length_cm") >= least_length
    if greatest_length is not None:
        sized &= echoes.column("length_cm") <= greatest_length
    kept = told & sized
    notes = []
    if not told.all():
        what = counted(int((~told).sum()), "echo", "echoes")
        notes.append(f"{what} in the blind range or the dead zone not counted")
        if (~told).mean() > _MANY:
            notes.append(
                Caution("that is more than half: check the unit of ranges, the draft and the bed")
            )
    if not sized.all():
        what = counted(int((told & ~sized).sum()), "echo", "echoes")
        notes.append(f"{what} outside the limits of size, or without one, not counted")
    some = replace(
        sounded,
        ping=sounded.ping[kept],
        range=sounded.range[kept],
        echoes=sounded.echoes[kept].reset_index(drop=True),
    )
    return some, tuple(notes)


def _cautions(calibrated: bool, counting: Counting) -> tuple[str, ...]:
    how = {
        "pings": "each echo in each ping counts, over the water searched summed over pings",
        "traces": "each fish of a transect counts once, over the wedge of water the beam swept",
    }
    what = (how[counting], "the water searched goes with the square of the beam angle")
    if counting == "traces":
        what = (how[counting], "the water searched goes with the beam angle")
    if calibrated:
        return what
    index = Caution(
        "sounder not calibrated: the count of fish is an index to compare with counts of the same "
        "gear, settings and season;"
        " it is no number of fish to stock or harvest by"
    )
    return (index, *what)
