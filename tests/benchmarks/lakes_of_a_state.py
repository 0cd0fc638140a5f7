"""The lakes of a state: how many there are of each size, and how they are sounded.

Lakes are ever more, the smaller they are, after a Pareto law (Downing and others, 2006, The global
abundance and size distribution of lakes, ponds, and impoundments, Limnology and Oceanography
51:2388-2397; its power, 0.925, from memory).
"""

from dataclasses import dataclass

import numpy as np

__all__ = ["Lakes"]

M2_IN_KM2 = 1e6


@dataclass(frozen=True)
class Lakes:
    """The lakes of a state, and how they are sounded; all assumed.

    Parameters
    ----------
    count : int
        Lakes.
    least, greatest : float
        Their areas, km2.
    power : float
        Of the share of lakes that are larger than an area: (area / least)^-power.
    share : float
        Distance of survey lines in the side of a square as large as the lake,
    closest, widest : float
        within these, m.
    along : float
        Distance of soundings on a line, m.
    ties : float
        Length of tie lines, of that of survey lines.
    text : float
        Bytes that a sounding takes in its file.
    outline : float
        MB that a shoreline takes.
    unlike : float
        Standard deviation of the logarithm of the cost of lakes of one size.
    """

    count: int = 10_000
    least: float = 0.04
    greatest: float = 1_000.0
    power: float = 0.925
    share: float = 0.05
    closest: float = 20.0
    widest: float = 200.0
    along: float = 1.5
    ties: float = 0.125
    text: float = 30.0
    outline: float = 0.2
    unlike: float = 0.3

    def areas(self) -> np.ndarray:
        """Return the areas in km2, one at the middle of each equal share, in a random order."""
        share = (np.arange(self.count) + 0.5) / self.count
        beyond = (self.greatest / self.least) ** -self.power
        areas = self.least * (1 - share * (1 - beyond)) ** (-1 / self.power)
        return np.random.default_rng(1).permutation(areas)

    def soundings(self) -> np.ndarray:
        """Return how many soundings each has."""
        square = self.areas() * M2_IN_KM2
        spacing = np.clip(self.share * np.sqrt(square), self.closest, self.widest)
        return square / (spacing * self.along) * (1 + self.ties)

    def unlikeness(self) -> np.ndarray:
        """Return by what lakes differ from others of their size; 1 on average."""
        rng = np.random.default_rng(2)
        return np.exp(rng.normal(-(self.unlike**2) / 2, self.unlike, self.count))
