"""Spread: how far each reduced sounding may be off, from its source and what was done to it."""

import math
from dataclasses import dataclass, fields, replace
from typing import Annotated

import numpy as np

from toolbox.layers import Grid, Soundings
from toolbox.notes import Assumption
from toolbox.reduction.beam import footprint
from toolbox.reduction.local_slope import slope_at
from toolbox.reduction.thinning import SHARED, counts_of
from toolbox.tool import Range, tool
from toolbox.words import counted

__all__ = ["DEFAULTS", "Errors", "estimate_spread"]

_Z95 = 1.959964  # half-width of a normal distribution's 95 %
_R95 = math.sqrt(-2 * math.log(0.05))  # radius that holds 95 % of a normal distribution in a plane
_SPEED = 1450.0  # m/s, of sound in water of 11 C; 3 % either way in any lake
_NARROWEST = 0.1  # m, of the cells for local slope where nothing asks for wider ones

_Metres = Annotated[float, Range("m", min=0)]


@dataclass(frozen=True)
class Errors:
    """What a kind of source is usually off by, each one standard deviation.

    Parameters
    ----------
    instrument_sd, relative_sd : float
        Of a reading: a fixed part, m, and a part that grows with depth, 1.
    resolution : float
        Step in which it is given, m.
    beam_angle : float
        Full width, degrees; 0 for what touches the bed.
    position_sd, position_relative_sd : float
        Of easting, and of northing: a fixed part, m, and one that grows with depth, 1.
    draft_sd, level_sd : float
        Of the transducer's depth and of the water level, m.
    sound_speed_sd, corrected_sound_speed_sd : float
        Of the speed of sound, m/s, as the instrument came and where depths were corrected.
    """

    instrument_sd: float = 0.0
    relative_sd: float = 0.0
    resolution: float = 0.0
    beam_angle: float = 0.0
    position_sd: float = 0.0
    position_relative_sd: float = 0.0
    draft_sd: float = 0.0
    level_sd: float = 0.0
    sound_speed_sd: float = 0.0
    corrected_sound_speed_sd: float = 0.0


DEFAULTS = {
    "cast": Errors(0.05, 0.01, 0.1, 30.0, 3.0, 0.0, 0.01, 0.02, 43.0, 4.0),
    "track": Errors(0.03, 0.005, 0.1, 20.0, 2.0, 0.0, 0.02, 0.02, 43.0, 4.0),
    "plummet": Errors(0.03, 0.005, 0.1, 0.0, 2.0, 0.0, 0.0, 0.02),
    "point": Errors(
        instrument_sd=0.5 / _Z95,
        relative_sd=0.013 / _Z95,
        position_sd=5.0 / _R95,
        position_relative_sd=0.05 / _R95,
    ),
}
"""By source. Where each figure comes from stands in docs/spread.md."""


@tool("Spread of soundings")
def estimate_spread(
    soundings: Soundings,
    slope: Grid | None = None,
    *,
    instrument_sd: _Metres | None = None,
    relative_sd: Annotated[float, Range("", min=0)] | None = None,
    resolution: _Metres | None = None,
    beam_angle: Annotated[float, Range("degree", min=0, max=120)] | None = None,
    position_sd: _Metres | None = None,
    draft_sd: _Metres | None = None,
    level_sd: _Metres | None = None,
    sound_speed_sd: Annotated[float, Range("m/s", min=0)] | None = None,
) -> Soundings:
    """Give each sounding the standard deviation of its depth and of its place.

    Parameters
    ----------
    soundings : Soundings
        Reduced soundings. What they have in ``sd`` and ``sd_xy`` already is kept.
    slope : Grid, optional
        Slope of the bed. Where it is left out or empty, the slope is that of a plane through the
        sounding and its neighbours.
    instrument_sd : float, optional
        Error of a reading at any depth.
    relative_sd : float, optional
        Error of a reading as a share of depth.
    resolution : float, optional
        Step in which depths are given.
    beam_angle : float, optional
        Full width of the beam; 0 for what touches the bed.
    position_sd : float, optional
        Error of easting, and of northing.
    draft_sd : float, optional
        Error of the transducer's depth.
    level_sd : float, optional
        Error of the water level.
    sound_speed_sd : float, optional
        Error of the speed of sound.

    Returns
    -------
    Soundings
        ``sd``: of the depth right below the recorded place if that place is right; ``sd_xy``: of
        easting, and of northing alike; ``sd_shared``: the part of ``sd`` that all soundings of a
        line have in common, where ``sd`` is new. What was thinned before stands for as many
        soundings as it counts, whose own errors average out.

    Raises
    ------
    LayerError
        If the grid of slope lies in another CRS, or its unit is none of a slope.

    Notes
    -----
    All errors are one standard deviation. Those left out take what is usual for the source of
    each sounding (cast, track, plummet, point); the documentation on spread lists them with
    their sources. With r the distance to the bed and D = 2 r tan(beam_angle / 2),

        sd^2 = instrument_sd^2 + (relative_sd r)^2 + resolution^2 / 12
               + (D tan(slope))^2 / 12 + sd_shared^2
        sd_shared^2 = draft_sd^2 + level_sd^2 + (r sound_speed_sd / 1450)^2

    What an error of place does to depth on a slope is not in ``sd``, or it would count twice
    where places are known to be uncertain; with it, the whole is sqrt(sd^2 + (sd_xy tan(slope))^2).

    References
    ----------
    IHO 2020, Standards for Hydrographic Surveys S-44, 6th ed., chapter 3 and table 1; IHO 2005,
    Manual on Hydrography C-13, chapter 3.7 (from memory).
    """
    given = {
        "instrument_sd": instrument_sd,
        "relative_sd": relative_sd,
        "resolution": resolution,
        "beam_angle": beam_angle,
        "position_sd": position_sd,
        "draft_sd": draft_sd,
        "level_sd": level_sd,
        "sound_speed_sd": sound_speed_sd,
    }
    errors = _errors(soundings, {name: value for name, value in given.items() if value is not None})
    distance = _distance(soundings)
    sd_xy = _filled(soundings, "sd_xy", _position(soundings, errors, distance))
    rise = _rise(soundings, slope, footprint(distance, errors["beam_angle"]), sd_xy)
    own, shared = _own(errors, distance, rise), _shared(errors, distance)
    unknown = (soundings.frame["source"] == "point").to_numpy() & (shared == 0)
    shared = np.where(unknown, math.sqrt(SHARED) * own, shared)
    own = np.where(unknown, math.sqrt(1 - SHARED) * own, own) / np.sqrt(counts_of(soundings))
    new = np.isnan(_column(soundings, "sd"))
    frame = soundings.frame.assign(
        sd=_filled(soundings, "sd", np.hypot(own, shared)),
        sd_xy=sd_xy,
        sd_shared=np.where(new, shared, _column(soundings, "sd_shared")),
    )
    notes = (*soundings.notes, _note(soundings, new))
    if sound_speed_sd is None:
        notes += _uncorrected(soundings, new, errors["sound_speed_sd"])
    return replace(soundings, frame=frame, notes=notes)


def _errors(soundings: Soundings, given: dict[str, float]) -> dict[str, np.ndarray]:
    """Errors of each sounding: as given, else what is usual for its source."""
    import pandas as pd

    code, sources = pd.factorize(soundings.frame["source"].astype(str))
    usual = [DEFAULTS.get(source, DEFAULTS["point"]) for source in sources]
    errors = {
        field.name: np.array([getattr(one, field.name) for one in usual], float)[code]
        for field in fields(Errors)
    }
    corrected = errors["corrected_sound_speed_sd"]
    errors["sound_speed_sd"] = np.where(_corrected(soundings), corrected, errors["sound_speed_sd"])
    if "position_sd" in given:
        errors["position_relative_sd"] = np.zeros(len(code))
    return errors | {name: np.full(len(code), value) for name, value in given.items()}


def _corrected(soundings: Soundings) -> np.ndarray:
    """Whether each depth was corrected for the speed of sound: of joined sources not all may be."""
    done = ("sound_speed_correction", "bar_check_correction")
    known = np.isfinite(np.stack([_column(soundings, name) for name in done]))
    return np.asarray(known.any(axis=0))


def _column(soundings: Soundings, name: str) -> np.ndarray:
    """Return a column, missing throughout where there is none."""
    if name not in soundings.frame:
        return np.full(len(soundings), np.nan)
    return soundings.frame[name].to_numpy(float)


def _filled(soundings: Soundings, name: str, values: np.ndarray) -> np.ndarray:
    """Return what a column has already, `values` where it is empty."""
    there = _column(soundings, name)
    return np.where(np.isnan(there), values, there)


def _distance(soundings: Soundings) -> np.ndarray:
    """Distance to the bed, m: the depth as it was read where that is known."""
    read = _column(soundings, "depth_read")
    return np.maximum(np.where(np.isnan(read), soundings.depth, read), 0)


def _position(
    soundings: Soundings, errors: dict[str, np.ndarray], distance: np.ndarray
) -> np.ndarray:
    """Spread of easting and of northing: of one that differs along and across, the mean."""
    along, across = _column(soundings, "sd_along"), _column(soundings, "sd_across")
    placed = np.sqrt((along**2 + across**2) / 2)
    usual = errors["position_sd"] + errors["position_relative_sd"] * distance
    return np.where(np.isnan(placed), usual, placed)


def _shared(errors: dict[str, np.ndarray], distance: np.ndarray) -> np.ndarray:
    speed = errors["sound_speed_sd"] / _SPEED * distance
    return np.sqrt(errors["draft_sd"] ** 2 + errors["level_sd"] ** 2 + speed**2)


def _own(errors: dict[str, np.ndarray], distance: np.ndarray, rise: np.ndarray) -> np.ndarray:
    """Spread that each sounding has for itself."""
    even = (errors["resolution"] ** 2 + rise**2) / 12  # anything between two ends
    relative = errors["relative_sd"] * distance
    return np.sqrt(errors["instrument_sd"] ** 2 + relative**2 + even)


def _rise(
    soundings: Soundings, slope: Grid | None, wide: np.ndarray, sd_xy: np.ndarray
) -> np.ndarray:
    """How much the bed rises across what the beam lights, m."""
    if not (wide > 0).any():
        return wide
    coarse = np.fmax(wide, 2 * sd_xy)[~soundings.flag]
    width = float(np.nanmedian(coarse)) if np.isfinite(coarse).any() else 0.0
    steep = slope_at(soundings, slope, width=max(width, _NARROWEST))
    return wide * np.tan(np.radians(steep))


def _note(soundings: Soundings, new: np.ndarray) -> str:
    if not new.any():
        return "spread: all soundings have an sd already, which is kept"
    counts = soundings.frame["source"][new].value_counts()
    words = ", ".join(f"{count} of source {source}" for source, count in sorted(counts.items()))
    kept = int((~new).sum())
    return f"spread estimated for {words}" + (f"; {kept} kept what they had" if kept else "")


def _uncorrected(soundings: Soundings, new: np.ndarray, speed_sd: np.ndarray) -> tuple[str, ...]:
    """Tell of depths that were read with whatever speed of sound the instrument had."""
    raw = new & ~soundings.flag & ~_corrected(soundings) & (speed_sd > 0)
    if not raw.any():
        return ()
    share = float(speed_sd[raw].max()) / _SPEED
    return (
        Assumption(
            f"{counted(int(raw.sum()), 'depth')} not corrected for the speed of sound: taken to be "
            f"off by {share:.0%} (one standard deviation), all in one sense; an instrument set to "
            "1500 m/s reads fresh water too deep"
        ),
    )
