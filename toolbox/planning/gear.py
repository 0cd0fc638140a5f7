"""Gear: what casts and tracks are off by, and the readings that one of them would bring."""

from dataclasses import dataclass
from typing import Any, Literal

import numpy as np

from toolbox.bed.observations import LEG_M, LOOSE, Observations, observe
from toolbox.layers import Soundings
from toolbox.planning.candidates import Candidates

__all__ = ["Gear", "Kind"]

Kind = Literal["casts", "lines"]

_SOURCE = {"casts": "cast", "lines": "track"}
_PING = 1.0  # m between readings, where no survey tells (common practice, no source)
_APART = 1e-3  # m: cells so small that no two soundings share one
_MOST = 40  # readings of a candidate; more would tell little more of it


@dataclass(frozen=True)
class Gear:
    """What a way of sounding is off by, each one standard deviation.

    Parameters
    ----------
    own_sd, level_sd : float
        Of a reading for itself, and of all of a line together, m.
    along, across : (float, float)
        Variance of place at the start, m2, and what the square of the distance from it adds, 1;
        of boat lines these are east and north.
    loose : float
        Share of the variance of place that neighbours do not share.
    leg : float
        Length over which an error of place is one, m.
    ping : float
        Distance between readings, m.
    """

    own_sd: float
    level_sd: float
    along: tuple[float, float]
    across: tuple[float, float]
    loose: float
    leg: float
    ping: float

    @classmethod
    def of(cls, kind: Kind, soundings: Soundings, depth: float) -> "Gear":
        """Take the errors of a survey's own casts or tracks, else those usual at a depth.

        Parameters
        ----------
        kind : {"casts", "lines"}
            Which.
        soundings : Soundings
            With ``sd`` and ``sd_xy``.
        depth : float
            Of the water, m.
        """
        frame = soundings.kept.frame
        own = frame[((frame["source"] == _SOURCE[kind]) & (frame["line"] != "")).to_numpy()]
        told = Soundings(own) if len(own) else _usual(kind, depth)
        seen = observe(told, cell=_APART)
        along, across = np.hypot(seen.shifts[:, 0].T[0], seen.shifts[:, 0].T[1]), seen.shifts[:, 1]
        away = _from_start(seen) if kind == "casts" else np.zeros(len(seen))
        return cls(
            float(np.sqrt(np.median(seen.own_variance * seen.count))),
            float(np.median(seen.level_sd)),
            _growth(along, away),
            _growth(np.hypot(across[:, 0], across[:, 1]), away),
            0.0 if kind == "casts" else LOOSE,
            np.inf if kind == "casts" else LEG_M,
            _spacing(told),
        )

    def readings(self, candidates: Candidates, spacing: float) -> Observations:
        """Return what each candidate would bring, as means over stretches.

        Parameters
        ----------
        candidates : Candidates
            Casts or lines.
        spacing : float
            Length of such a stretch, m; longer where a line would have more than 40.

        Returns
        -------
        Observations
            Candidate by candidate, from its start; their depths are not known, NaN.
        """
        wet = candidates.length - candidates.ashore
        count = np.clip(np.round(wet / spacing), 1, _MOST).astype(np.int64)
        line = np.repeat(np.arange(len(candidates)), count)
        within = np.arange(len(line)) - np.repeat(np.cumsum(count) - count, count)
        stretch = (wet / count)[line]
        distance = candidates.ashore[line] + (within + 0.5) * stretch
        pings = np.maximum(stretch / self.ping, 1.0)
        ahead = candidates.end - candidates.start
        place = candidates.start[line] + (distance / candidates.length[line])[:, None] * ahead[line]
        along, across = (
            np.sqrt(fixed + growth * distance**2) for fixed, growth in (self.along, self.across)
        )
        ahead /= np.hypot(*ahead.T)[:, None]
        aside = np.column_stack([ahead[:, 1], -ahead[:, 0]])
        shifts = np.stack([ahead[line] * along[:, None], aside[line] * across[:, None]], axis=1)
        _, leg = np.unique(
            np.column_stack([line, np.floor(distance / self.leg)]), axis=0, return_inverse=True
        )
        return Observations(
            place,
            np.full(len(line), np.nan),
            self.own_sd**2 / pings,
            self.loose * (along**2 + across**2) / 2,
            line,
            tuple(str(number + 1) for number in range(len(candidates))),
            leg.ravel(),
            np.full(len(line), self.level_sd),
            shifts,
            np.round(pings).astype(np.int64),
        )


def _usual(kind: Kind, depth: float) -> Soundings:
    from toolbox.reduction.spread import estimate_spread

    place, source = np.zeros((1, 2)), _SOURCE[kind]
    one = Soundings.from_arrays(place, np.array([depth]), crs=None, source=source, line=source)
    return estimate_spread(one)


def _from_start(seen: Observations) -> np.ndarray:
    """Distance of each reading from the one of its cast that is nearest to the peg, m."""
    ahead = seen.shifts[:, 0] / np.maximum(np.hypot(*seen.shifts[:, 0].T), 1e-12)[:, None]
    at = (seen.place * ahead).sum(axis=1)
    nearest = np.full(len(seen.names), np.inf)
    np.minimum.at(nearest, seen.line, at)
    return at - nearest[seen.line]


def _growth(sd: np.ndarray, away: np.ndarray) -> tuple[float, float]:
    """Variance at the start, and what the square of the distance adds, by least squares."""
    variance, square = sd**2, away**2
    apart = square - square.mean()
    total = float((apart**2).sum())
    growth = max(float((apart * variance).sum()) / total, 0.0) if total > 0 else 0.0
    return max(float(variance.mean() - growth * square.mean()), 0.0), growth


def _spacing(soundings: Soundings) -> float:
    """Return the usual distance from one reading to the next of its line, m."""
    line: Any = soundings.frame["line"].to_numpy()
    step = np.hypot(*np.diff(soundings.coordinates, axis=0).T)[line[1:] == line[:-1]]
    step = step[step > 0]
    return float(np.median(step)) if len(step) else _PING
