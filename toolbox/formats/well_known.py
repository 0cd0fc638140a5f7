"""Well-known binary of many shapes at once, as tables of Arrow hold it (OGC 06-103r4, 8.2)."""

import struct
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from pyarrow import Array

__all__ = ["nested_deep", "points_as_binary", "triangles_as_binary"]

_POINT = np.dtype([("order", "u1"), ("type", "<u4"), ("place", "<f8", 2)])
_TRIANGLE = np.dtype(
    [("order", "u1"), ("type", "<u4"), ("rings", "<u4"), ("size", "<u4"), ("ring", "<f8", (4, 2))]
)

_DEEPEST = 1000
_SHORTEST = 9 * _DEEPEST  # bytes that so many collections take at least
_WITH_Z, _WITH_M, _WITH_CRS = 0x80000000, 0x40000000, 0x20000000  # marks of the older writing
_POINTS, _LINES, _AREAS = (1,), (2, 8), (3, 17)  # codes of what is no collection


def points_as_binary(places: np.ndarray, known: np.ndarray | None = None) -> "Array":
    """Return points without an object for each.

    Parameters
    ----------
    places : (n, 2) array
        Coordinates.
    known : (n,) array of bool, optional
        Where not, there is no point.

    Returns
    -------
    Array
        Of n binary values.
    """
    shapes = np.empty(len(places), _POINT)
    shapes["order"], shapes["type"], shapes["place"] = 1, 1, places
    return _binary(shapes, known)


def triangles_as_binary(corners: np.ndarray) -> "Array":
    """Return triangles, shape (n, 3, 2), as polygons without an object for each."""
    shapes = np.empty(len(corners), _TRIANGLE)
    shapes["order"], shapes["type"], shapes["rings"], shapes["size"] = 1, 3, 1, 4
    shapes["ring"][:, :3], shapes["ring"][:, 3] = corners, corners[:, 0]
    return _binary(shapes)


def _binary(shapes: np.ndarray, known: np.ndarray | None = None) -> "Array":
    import pyarrow

    ends = np.arange(len(shapes) + 1, dtype=np.int64) * shapes.dtype.itemsize
    there = None if known is None else np.packbits(known, bitorder="little")
    buffers = [part if part is None else pyarrow.py_buffer(part) for part in (there, ends, shapes)]
    return pyarrow.Array.from_buffers(pyarrow.large_binary(), len(shapes), buffers)


def nested_deep(shape: str | bytes | None) -> bool:
    """Tell whether well-known text or binary has collections in collections beyond all reason.

    Parameters
    ----------
    shape : str or bytes or None
        Not yet read.

    Returns
    -------
    bool
        The library that reads it goes down by calling itself: some ten thousand levels end the
        process without a word.
    """
    if shape is None or len(shape) < _SHORTEST:
        return False
    if isinstance(shape, str):
        letters = np.frombuffer(shape.encode(), np.uint8)
        level = (letters == ord("(")).astype(np.int8) - (letters == ord(")")).astype(np.int8)
        return bool(np.cumsum(level, dtype=np.int64).max() > _DEEPEST)
    try:
        return _levels(shape) > _DEEPEST
    except struct.error:  # it is cut off: nobody gets further than here
        return False


def _levels(shape: bytes) -> int:
    """Count how deep collections lie in collections, down to one level too many."""
    place, open_ = 0, [1]  # how many more shapes each of the open collections has
    while open_ and len(open_) <= _DEEPEST:
        if not open_[-1]:
            open_.pop()
            continue
        open_[-1] -= 1
        order = "<I" if shape[place : place + 1] == b"\1" else ">I"
        (code,) = struct.unpack_from(order, shape, place + 1)
        place += 9 if code & _WITH_CRS else 5
        size = 16 + 8 * (bool(code & _WITH_Z) + bool(code & _WITH_M))
        form, kind = divmod(code & ~(_WITH_Z | _WITH_M | _WITH_CRS), 1000)
        size += 8 * (0, 1, 1, 2)[min(form, 3)]
        if kind in _POINTS:
            place += size
            continue
        (count,) = struct.unpack_from(order, shape, place)
        place += 4
        if kind in _LINES:
            place += count * size
        elif kind in _AREAS:
            for _ in range(count):
                (corners,) = struct.unpack_from(order, shape, place)
                place += 4 + corners * size
        else:
            open_.append(count)
    return len(open_)
