"""Packing: whole numbers made small enough to lie in a page as text.

Neighbours are alike, so each number is told as its difference from the one before, folded to be
positive, its bytes sorted by their weight, and the whole deflated.
"""

import base64
import zlib
from typing import Any

import numpy as np

from toolbox.errors import ParameterError

__all__ = ["deflated", "packed", "packed_bits", "whole_steps"]

_MOST = 2**31 - 1
_LEVEL = 9


def deflated(data: bytes) -> str:
    """Return bytes deflated (RFC 1950), in base64."""
    return base64.b64encode(zlib.compress(data, _LEVEL)).decode("ascii")


def whole_steps(values: np.ndarray, step: float, *, shown: int = 1) -> np.ndarray:
    """Round numbers to whole steps, so that rounding them again for display tells the same.

    Parameters
    ----------
    values : array
        Finite.
    step : float
        In the unit of `values`.
    shown : int
        Steps of what is displayed: 10 where depths are packed to a millimetre and shown to a
        centimetre.

    Returns
    -------
    array of int
        `values` over `step`, less than one step off, and never half-way between two that are
        shown.

    Examples
    --------
    >>> whole_steps(np.array([6.6849, 6.6812]), 0.001, shown=10).tolist()
    [6684, 6681]
    """
    over = np.asarray(values, float) / step
    middle, room = np.rint(over / shown) * shown, (shown - 1) // 2
    return np.clip(np.rint(over), middle - room, middle + room).astype(np.int64)


def packed(values: np.ndarray, *, along: int = 0) -> dict[str, Any]:
    """Pack whole numbers.

    Parameters
    ----------
    values : array of int
        Any shape; unpacked in its order, the last axis fastest.
    along : int
        Length of a row, where rows resemble each other too; 0 is one single row.

    Returns
    -------
    dict
        ``n``, how many; ``row``, `along`; ``z``, the text.

    Raises
    ------
    ParameterError
        If a difference does not fit into 32 bits.
    """
    flat = np.asarray(values, np.int64).ravel()
    if along:
        table = np.diff(flat.reshape(-1, along), axis=0, prepend=0)
        steps = np.diff(table, axis=1, prepend=0).ravel()
    else:
        steps = np.diff(flat, prepend=0)
    if len(steps) and int(np.abs(steps).max()) > _MOST // 2:
        raise ParameterError(f"values must lie within {_MOST // 2} of each other, got more")
    folded = ((steps << 1) ^ (steps >> 63)).astype("<u4")
    planes = folded.view(np.uint8).reshape(-1, 4).T
    return {"n": len(flat), "row": along, "z": deflated(planes.tobytes())}


def packed_bits(truth: np.ndarray) -> dict[str, Any]:
    """Pack yes and no, eight to a byte, the first of them its highest bit."""
    flat = np.asarray(truth, bool).ravel()
    return {"n": len(flat), "z": deflated(np.packbits(flat).tobytes())}
