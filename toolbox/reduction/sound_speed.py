"""Sound speed: what an echo sounder reads when the water is not what its setting assumes."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial
from typing import Annotated

import numpy as np

from toolbox.errors import LayerError, ParameterError
from toolbox.layers import Soundings, Table
from toolbox.notes import Caution
from toolbox.tool import Range, tool
from toolbox.words import counted

__all__ = ["WaterColumn", "correct_sound_speed", "sound_speed"]

_MARCZAK = (1402.385, 5.038813, -5.799136e-2, 3.287156e-4, -1.398845e-6, 2.787860e-9)
_COLDEST, _WARMEST = -0.5, 95.0  # the formula begins at 0; a thermometer in ice may read less
_DOUBTFUL = 40.0  # warmer water is rare, and 40 to 95 is what lakes measure in Fahrenheit
_CLOSE = 1e-9  # m


def sound_speed(temperature: float | np.ndarray) -> np.ndarray:
    """Return the speed of sound in fresh water at the pressure of the surface.

    Parameters
    ----------
    temperature : float or array
        Degrees Celsius (ITS-90), -0.5 to 95; NaN stays NaN.

    Returns
    -------
    array
        m/s, of the shape of `temperature`.

    Raises
    ------
    ParameterError
        If a temperature lies outside.

    Notes
    -----
    Modern formulas for fresh water agree within 0.04 m/s. Pressure is left out: it adds 0.16 m/s
    per 10 m of water, which makes a bed 100 m deep read 0.05 m too shallow.

    References
    ----------
    Marczak 1997, Journal of the Acoustical Society of America 102:2776, "Water as a standard in
    the measurements of speed of sound in liquids", doi:10.1121/1.420332.

    Examples
    --------
    >>> round(float(sound_speed(10.0)), 3)
    1447.289
    """
    temperature = np.asarray(temperature, float)
    wrong = (temperature < _COLDEST) | (temperature > _WARMEST)
    if wrong.any():
        raise ParameterError(
            f"temperature must be {_COLDEST:g} to {_WARMEST:g} degrees Celsius, "
            f"got {temperature[wrong].flat[0]:g}"
        )
    return np.polynomial.polynomial.polyval(temperature, _MARCZAK)


@dataclass(frozen=True, eq=False)
class WaterColumn:
    """Temperature against depth, and how long sound takes down it.

    Parameters
    ----------
    depth : (n,) array
        Depths of the readings below the surface, m, strictly increasing.
    temperature : (n,) array
        Degrees Celsius; linear between readings, constant above the first and below the last.

    Raises
    ------
    LayerError
        If the depths do not increase from the surface down, or a figure is missing.
    """

    depth: np.ndarray
    temperature: np.ndarray

    def __post_init__(self) -> None:
        if not len(self.depth) or not np.isfinite([self.depth, self.temperature]).all():
            raise LayerError("a temperature profile needs a depth and a temperature in every row")
        if self.depth[0] < 0 or (np.diff(self.depth) <= 0).any():
            raise LayerError("depths of a temperature profile must be >= 0, each of them once")
        sound_speed(self.temperature)  # refuses what no water has

    @classmethod
    def of(cls, profile: Table) -> "WaterColumn":
        """Take a table with columns ``depth_m, temperature_c``, its rows in any order."""
        depth, temperature = profile.column("depth_m"), profile.column("temperature_c")
        order = np.argsort(depth, kind="stable")
        return cls(depth[order], temperature[order])

    def speed(self, depth: np.ndarray) -> np.ndarray:
        """Return the speed of sound at depths below the surface, m/s."""
        return sound_speed(np.interp(depth, self.depth, self.temperature))

    def travel_time(self, depth: np.ndarray) -> np.ndarray:
        """Return the time of one way from the surface down to depths (m), s.

        Notes
        -----
        The integral of 1/c between readings by Gauss and Legendre's rule of eight points, whose
        error is that of rounding.
        """
        return self._time_to_reading(depth) + self._time_below_reading(depth)

    def depth_reached(self, time: np.ndarray) -> np.ndarray:
        """Return the depth (m) that sound reaches from the surface in a time of one way (s).

        The inverse of `travel_time`, by Newton's method to 1e-9 m.
        """
        time = np.asarray(time, float)
        depth = time * float(self.speed(self.depth).mean())
        for _ in range(20):  # three or four are enough: the speed hardly changes over one step
            step = (time - self.travel_time(depth)) * self.speed(depth)
            depth = depth + step
            if not (np.abs(step) > _CLOSE).any():
                break
        return depth

    def _reading_above(self, depth: np.ndarray) -> np.ndarray:
        return np.clip(np.searchsorted(self.depth, depth, side="right") - 1, 0, None)

    def _time_to_reading(self, depth: np.ndarray) -> np.ndarray:
        first = self.depth[:1] / self.speed(self.depth[:1])
        steps = _integral(self, self.depth[:-1], self.depth[1:])
        return np.cumsum(np.concatenate([first, steps]))[self._reading_above(depth)]

    def _time_below_reading(self, depth: np.ndarray) -> np.ndarray:
        return _integral(self, self.depth[self._reading_above(depth)], np.asarray(depth, float))


def _integral(column: WaterColumn, start: np.ndarray, end: np.ndarray) -> np.ndarray:
    """Time from `start` to `end`, no reading between them, s."""
    nodes, weights = np.polynomial.legendre.leggauss(8)
    half = (end - start) / 2
    times = (w / column.speed(start + half * (x + 1)) for x, w in zip(nodes, weights, strict=True))
    return half * sum(times, np.zeros_like(half))


@tool("Depths corrected for the speed of sound")
def correct_sound_speed(
    soundings: Soundings,
    profile: Table | None = None,
    *,
    speed_set: Annotated[float, Range("m/s", above=0)] = 1500.0,
    temperature: Annotated[float, Range("degC", min=_COLDEST, max=_WARMEST)] | None = None,
    draft: Annotated[float, Range("m", min=0)] = 0.0,
) -> Soundings:
    """Bring depths read with an assumed speed of sound to those in the water as it was.

    Parameters
    ----------
    soundings : Soundings
        Depths below the water surface at their time, or below the transducer.
    profile : Table, optional
        Temperatures down the water: columns ``depth_m, temperature_c``.
    speed_set : float
        Speed of sound that the instrument reckons with. The default is the setting of most echo
        sounders (common practice, no source).
    temperature : float, optional
        Degrees Celsius, one for the whole water.
    draft : float
        Depth of the transducer that the depths contain already; it is not scaled.

    Returns
    -------
    Soundings
        Depth: (depth - draft) x true speed / speed set + draft. The column
        ``sound_speed_correction`` holds what was added, m; depths to plant tops in the column
        ``canopy`` are corrected alike. Plummet readings stay: no sound measured them.

    Raises
    ------
    ParameterError
        If a temperature and a profile are both given, or neither is, and the soundings carry none
        in a column ``temperature``.
    LayerError
        If the profile is no profile, or the soundings are corrected already.

    Notes
    -----
    With a profile the true speed is the harmonic mean down to the bed: the echo's time is
    followed down the column. Where the soundings carry a temperature, it is that of the surface;
    below a thermocline the water is colder, and depths come out too great, by about 1 % for every
    4 degrees that the mean is colder. Do this before reducing depths to the datum.

    References
    ----------
    US Army Corps of Engineers 2002, Hydrographic Surveying, EM 1110-2-1003, chapter 9, figure 9-1.
    """
    if "sound_speed_correction" in soundings.frame:
        raise LayerError("the soundings are corrected for the speed of sound already")
    true, note = _true_depth(soundings, profile, temperature, speed_set, draft)
    heard = (soundings.frame["source"] != "plummet").to_numpy()
    depth = np.where(heard, true(soundings.depth), soundings.depth)
    changed = {"depth": depth, "sound_speed_correction": depth - soundings.depth}
    if "canopy" in soundings.frame:
        tops = soundings.frame["canopy"].to_numpy(float)
        changed["canopy"] = np.where(heard, true(tops), tops)
    added = changed["sound_speed_correction"][~soundings.flag & heard]
    span = f": {added.min():+.3f} to {added.max():+.3f} m" if len(added) else ""
    told = f"depths read with {speed_set:g} m/s, {note}{span}"
    notes = (*soundings.notes, Caution(told) if _DOUBT in told else told)
    return replace(soundings, frame=soundings.frame.assign(**changed), notes=notes)


def _true_depth(
    soundings: Soundings,
    profile: Table | None,
    temperature: float | None,
    speed_set: float,
    draft: float,
) -> tuple[Callable[[np.ndarray], np.ndarray], str]:
    """Return what corrects depths, and in words what it rests on."""
    if profile is not None and temperature is not None:
        raise ParameterError("give a temperature or a profile of it, not both")
    if profile is not None:
        column = WaterColumn.of(profile)
        note = f"corrected down a profile of {counted(len(column.depth), 'temperature')}"
        correct = partial(_down_column, column=column, speed_set=speed_set, draft=draft)
        return correct, note + _doubt(column.temperature)
    if temperature is not None:
        water, note = np.array(temperature), f"corrected to water of {temperature:g} C"
    else:
        water, note = _noted_temperature(soundings)
    correct = partial(_by_speed, ratio=sound_speed(water) / speed_set, draft=draft)
    return correct, note + _doubt(water)


def _noted_temperature(soundings: Soundings) -> tuple[np.ndarray, str]:
    """Temperature of each sounding as it was noted, the median where it was not."""
    found = np.full(len(soundings), np.nan)
    if "temperature" in soundings.frame:
        found = soundings.frame["temperature"].to_numpy(float)
    known = np.isfinite(found)
    if not known.any():
        raise ParameterError("give a temperature or a profile: the soundings carry none")
    usual, others = float(np.median(found[known])), int((~known).sum())
    note = "corrected to the temperature noted with each"
    note += f" ({usual:g} C for {others} without one)" if others else ""
    return np.where(known, found, usual), note


_DOUBT = "is that Fahrenheit?"


def _doubt(temperature: np.ndarray) -> str:
    high = float(temperature.max())
    return f" (up to {high:g} C: {_DOUBT})" if high > _DOUBTFUL else ""


def _by_speed(depth: np.ndarray, *, ratio: np.ndarray, draft: float) -> np.ndarray:
    return (depth - draft) * ratio + draft


def _down_column(
    depth: np.ndarray, *, column: WaterColumn, speed_set: float, draft: float
) -> np.ndarray:
    start = float(column.travel_time(np.array([draft]))[0])
    true, known = np.full_like(depth, np.nan), np.isfinite(depth)
    true[known] = column.depth_reached(start + (depth[known] - draft) / speed_set)
    return true
