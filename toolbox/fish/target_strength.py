"""Target strength: how loud a fish answers, and how long one that answers so is.

Target strength in dB re 1 m2, lengths in cm, frequencies in kHz. All relations are of fish seen
from above. They were measured on groups of fish; one echo of one fish lies several dB to either
side, as it tilts and as it crosses the beam.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np

from toolbox.fish.weights import Growth

__all__ = ["RELATIONS", "Relation", "RelationName", "mean_strength"]

_Numbers = float | np.ndarray
_SOUND = 1450.0

RelationName = Literal[
    "love", "foote-physoclist", "foote-clupeoid", "warner-alewife", "rudstam-smelt"
]


@dataclass(frozen=True)
class Relation:
    """A published line: strength = slope log10(length) + per_frequency log10(frequency) + level.

    Parameters
    ----------
    group : str
        The fish it was measured on.
    source : str
        Author, year, journal.
    slope, level : float
        dB per tenfold length, and dB of a fish of 1 cm (at 1 kHz).
    per_frequency : float
        dB per tenfold frequency.
    lengths : (shortest, longest) or None
        Valid lengths, cm; None where the source at hand did not tell.
    wavelengths : (least, most) or None
        Valid lengths of fish, in wavelengths of the sound, where it is stated so.
    frequency : float or None
        Of the measurements; None where the line holds for any, or the source did not tell.
    weight : (slope, level) or None
        Of the line that gives the strength by weight in g, where there is one.
    of_powers : bool
        Whether the line is of the mean power of many echoes, which lies above the middle of their
        decibels.
    """

    group: str
    source: str
    slope: float
    level: float
    per_frequency: float = 0.0
    lengths: tuple[float, float] | None = None
    wavelengths: tuple[float, float] | None = None
    frequency: float | None = None
    weight: tuple[float, float] | None = None
    of_powers: bool = False

    def strength(self, length: _Numbers, frequency: float) -> np.ndarray:
        """Return the target strength of fish of a length, dB."""
        return self.slope * np.log10(np.asarray(length, float)) + self._at(frequency)

    def length(self, strength: _Numbers, frequency: float) -> np.ndarray:
        """Return the length of fish of a target strength, cm."""
        return 10 ** ((np.asarray(strength, float) - self._at(frequency)) / self.slope)

    def weigh(self, strength: _Numbers) -> np.ndarray | None:
        """Return the weight of fish of a target strength, g; None without a line for it."""
        if self.weight is None:
            return None
        slope, level = self.weight
        return 10 ** ((np.asarray(strength, float) - level) / slope)

    def excess(self, scatter: float, growth: Growth | None) -> float:
        """Return the factor by which echoes that scatter by so many dB raise the mean weight."""
        if growth is not None:
            slope = self.slope / growth.b
        elif self.weight is not None:
            slope = self.weight[0]
        else:
            return 1.0
        raised = (np.log(10) * scatter / slope) ** 2 / 2
        below = np.log(10) * scatter**2 / 20 if self.of_powers else 0.0  # dB, of a normal scatter
        return float(np.exp(raised - np.log(10) * below / slope))

    def valid(self, frequency: float) -> tuple[float, float] | None:
        """Return the shortest and the longest fish for which it holds, cm."""
        if self.wavelengths is None:
            return self.lengths
        wavelength = 100 * _SOUND / (1000 * frequency)
        return self.wavelengths[0] * wavelength, self.wavelengths[1] * wavelength

    def _at(self, frequency: float) -> float:
        return self.per_frequency * np.log10(frequency) + self.level


RELATIONS: dict[RelationName, Relation] = {
    "love": Relation(
        "fish of many kinds",
        "Love 1977, J. Acoust. Soc. Am. 62:1397, seen from above (from memory)",
        19.1,
        -62.0,
        per_frequency=-0.9,
        wavelengths=(1.0, 100.0),
    ),
    "foote-physoclist": Relation(
        "fish with a closed swim bladder, as perch",
        "Foote 1987, J. Acoust. Soc. Am. 82:981",
        20.0,
        -67.4,
        frequency=38.0,
        of_powers=True,
    ),
    "foote-clupeoid": Relation(
        "fish of the herring kind",
        "Foote 1987, J. Acoust. Soc. Am. 82:981",
        20.0,
        -71.9,
        frequency=38.0,
        of_powers=True,
    ),
    "warner-alewife": Relation(
        "alewife in fresh water",
        "Warner et al. 2002, Trans. Am. Fish. Soc. 131:212",
        20.53,
        -64.25,
        lengths=(2.5, 15.2),
        weight=(6.98, -50.07),
    ),
    "rudstam-smelt": Relation(
        "rainbow smelt",
        "Rudstam et al. 2003, ICES J. Mar. Sci. 60 (from memory)",
        19.9,
        -67.8,
    ),
}
"""The relations one can name, each with what it holds for. Love's range in wavelengths is from
memory."""


def mean_strength(strength: np.ndarray) -> float:
    """Return the mean of target strengths, taken over the echoes' power and not over decibels.

    Parameters
    ----------
    strength : (n,) array
        dB; missing ones are left out.

    Returns
    -------
    float
        10 log10 of the mean of 10^(strength / 10), dB; NaN if all are missing.

    Examples
    --------
    >>> round(mean_strength(np.array([-40.0, -50.0])), 3)
    -42.596
    """
    known = strength[~np.isnan(strength)]
    return float(10 * np.log10((10 ** (known / 10)).mean())) if len(known) else float("nan")
