"""Noise: how far off the difference of two beds may be, as equally likely fields of error."""

import math
from typing import Any

import numpy as np

from toolbox.bed.location import interpolated
from toolbox.errors import ParameterError
from toolbox.layers import Tin

__all__ = ["BedError", "spherical_fields", "spherical_sd_of_mean"]


class BedError:
    """The error of one bed at places.

    Parameters
    ----------
    bed : Tin
        The bed.
    located : tuple of arrays
        Places in it, as found by :func:`toolbox.bed.location.locate`.
    sd : float or None
        What takes the place of the bed's own sd where it has none, m.
    name : str
        What the bed is called in messages.

    Raises
    ------
    ParameterError
        If the bed knows no error and none is given, or it knows one and another is given.
    """

    def __init__(
        self, bed: Tin, located: tuple[np.ndarray, np.ndarray], sd: float | None, name: str
    ) -> None:
        self.drawn = _drawn(bed, located) if bed.draws is not None else None
        knows = bed.sd is not None or self.drawn is not None
        if knows and sd is not None:
            raise ParameterError(f"sd_{name} must be left out, the bed knows its error; got {sd:g}")
        if bed.sd is not None:
            self.sd = interpolated(bed.sd, bed.triangles, located)
        elif self.drawn is not None:
            self.sd = np.sqrt((self.drawn.astype(float) ** 2).mean(axis=0))
        elif sd is not None:
            self.sd = np.full(len(located[0]), float(sd))
        else:
            raise ParameterError(f"sd_{name} must be given: the bed does not know its error")

    def fields(self, count: int, turn: int, simulated: Any) -> np.ndarray:
        """Return fields of error (count, places): the draws in turn, or simulated ones.

        Parameters
        ----------
        count : int
            How many.
        turn : int
            By how many draws each round through them is shifted.
        simulated : callable
            Makes so many fields of sd 1 where the bed has no draws.
        """
        if self.drawn is None:
            return np.asarray(simulated(count) * self.sd.astype(np.float32))
        number = np.arange(count)
        several = len(self.drawn)
        return np.asarray(self.drawn[(number + turn * (number // several)) % several])


def _drawn(bed: Tin, located: tuple[np.ndarray, np.ndarray]) -> np.ndarray:
    """Draws at places less their mean, widened by what that takes away, (k, places)."""
    parts = [interpolated(depths.T, bed.triangles, located).T for depths in bed.drawn()]
    drawn = np.concatenate([part.astype(np.float32) for part in parts])
    if len(drawn) < 2:
        raise ParameterError("draws of a bed must be two or more to tell its error, got 1")
    drawn -= drawn.mean(axis=0)
    drawn *= np.float32(math.sqrt(len(drawn) / (len(drawn) - 1)))
    return drawn


def spherical_fields(
    shape: tuple[int, int], cell: float, reach: float, count: int, rng: np.random.Generator
) -> np.ndarray:
    """Simulate normal fields of sd 1 whose correlation is spherical.

    Parameters
    ----------
    shape : (int, int)
        Rows and columns of cells.
    cell : float
        Width of a cell, m.
    reach : float
        Distance at and beyond which nothing is correlated, m.
    count : int
        How many fields.
    rng : Generator
        Where chance comes from.

    Returns
    -------
    (count, rows, cols) array of float32
        Correlation 1 - 1.5 h + 0.5 h^3, h the distance over `reach`.

    Notes
    -----
    By circulant embedding (Dietrich & Newsam 1993) on a torus wider by `reach`; what is negative in
    its spectrum, as a hair may be, is taken as zero and the sd restored.
    """
    from scipy.fft import fft2, next_fast_len

    rows, cols = (next_fast_len(size + math.ceil(reach / cell)) for size in shape)
    down, right = (np.minimum(np.arange(n), n - np.arange(n)) * cell for n in (rows, cols))
    h = np.minimum(np.hypot(down[:, None], right) / reach, 1)
    spectrum = np.maximum(fft2(1 - 1.5 * h + 0.5 * h**3).real, 0)
    weight = np.sqrt(spectrum / spectrum.mean() / (rows * cols))
    out = np.empty((count, *shape), np.float32)
    for k in range(0, count, 2):  # real and imaginary part are two fields
        white = rng.normal(size=(2, rows, cols))
        field = fft2(weight * (white[0] + 1j * white[1]))[: shape[0], : shape[1]]
        out[k] = field.real
        if k + 1 < count:
            out[k + 1] = field.imag
    return out


def spherical_sd_of_mean(area: Any, reach: float) -> Any:
    """Return the sd of the mean of a spherical field of sd 1 over a round area.

    Parameters
    ----------
    area : float or array
        Of the ground averaged over, m2.
    reach : float
        Distance beyond which nothing is correlated, m; 0 if nothing is at any.

    Returns
    -------
    float or array
        sqrt(1 - h + h^3 / 5) with h = radius / reach while the radius is less than the reach,
        else sqrt(pi reach^2 / area / 5).

    References
    ----------
    Rolstad, Haug & Denby 2009, Journal of Glaciology 55:666: covariance with the middle of the
    area stands for that of all pairs of places.
    """
    area = np.asarray(area, float)
    if not reach > 0:
        return np.zeros_like(area)
    h = np.sqrt(area / np.pi) / reach
    near = 1 - h + h**3 / 5
    far = 0.2 / np.maximum(h, 1) ** 2
    return np.sqrt(np.where(h < 1, near, far))
