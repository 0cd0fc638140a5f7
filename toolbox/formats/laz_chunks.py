"""Chunks of a LAZ file: whether they have room for what they say they hold.

The decompressor makes room for whatever size a chunk names before it reads it, and ends the process
where there is not as much. So the sizes are followed through the file first.
"""

import struct
from collections.abc import Iterator
from pathlib import Path
from typing import BinaryIO

__all__ = ["chunks_fit"]

_RECORD, _OWNER, _KIND = 54, b"laszip encoded", 22204  # bytes of a record's head; whose; which
_LEAST_CHUNK = 20  # bytes of its first point, which is kept plain
_LAYERED = 3  # way of packing: a layer for each part of a point, one after another
_COUNT = 4  # bytes of a chunk's count of points, and of the size of each of its layers
_LAYERS = {10: 9, 11: 1, 12: 2, 13: 1}  # of points, RGB, RGB and infrared, wave packets
_EXTRA = 14  # further bytes: a layer each


def chunks_fit(path: Path, head: int, records: int, points: int) -> bool:
    """Tell whether a file of packed points has room for its chunks and their layers.

    Parameters
    ----------
    path : Path
        The file.
    head : int
        Length of its header, bytes.
    records : int
        Records between header and points.
    points : int
        Where the points begin, bytes from the start.

    Notes
    -----
    A file without a record of how it is packed, or packed in an older way without layers, is only
    asked for the number of its chunks. Format: ASPRS (2019), LAS specification 1.4 R15, variable
    length records; Isenburg (2013), LASzip: lossless compression of LiDAR data, Photogrammetric
    Engineering & Remote Sensing 79 (2), for chunks and their table; item kinds and the order of a
    layered chunk (first point, count, sizes, layers) from memory, held against files as laspy
    writes them.
    """
    size = path.stat().st_size
    with path.open("rb") as file:
        count = _chunks(file, points, size)
        if count * _LEAST_CHUNK > size:
            return False
        items = _layered_items(file, head, records)
        return not items or _follow(file, points + 8, count, size, items)


def _chunks(file: BinaryIO, points: int, size: int) -> int:
    """Return how many chunks a file says it has: room is made for each."""
    for told in (points, size - 8):  # at its end if it was written without going back
        file.seek(told)
        (place,) = struct.unpack("<q", file.read(8).ljust(8, b"\0"))
        if 0 <= place <= size:
            file.seek(place)
            return int.from_bytes(file.read(8)[4:], "little")
    return size  # more than there can be


def _layered_items(file: BinaryIO, head: int, records: int) -> list[tuple[int, int]]:
    """Kinds and bytes of the parts of a point, if each part is packed in layers of its own."""
    for content in _packings(file, head, records):
        if len(content) >= 34 and struct.unpack_from("<H", content)[0] == _LAYERED:
            body = content[34:]
            return [(kind, size) for kind, size, _ in struct.iter_unpack("<3H", _whole(body, 6))]
    return []


def _packings(file: BinaryIO, head: int, records: int) -> Iterator[bytes]:
    """Give what each record of how points are packed holds."""
    place = head
    for _ in range(records):
        file.seek(place)
        record = file.read(_RECORD)
        if len(record) < _RECORD:
            return
        owner, kind, length = struct.unpack_from("<2x16sHH", record)
        if owner.rstrip(b"\0") == _OWNER and kind == _KIND:
            yield file.read(length)
        place += _RECORD + length


def _whole(content: bytes, size: int) -> bytes:
    return content[: len(content) // size * size]


def _follow(
    file: BinaryIO, place: int, count: int, size: int, items: list[tuple[int, int]]
) -> bool:
    """Go from chunk to chunk by the sizes they name; tell whether all lie within the file."""
    point = sum(size_of for _, size_of in items)
    layers = sum(size_of if kind == _EXTRA else _LAYERS.get(kind, 0) for kind, size_of in items)
    for _ in range(count):
        file.seek(place + point + _COUNT)
        told = file.read(_COUNT * layers)
        if len(told) < _COUNT * layers:
            return False
        place += point + _COUNT + len(told) + sum(struct.unpack(f"<{layers}I", told))
        if place > size:
            return False
    return True
