"""Tile pictures: colours of the bed and the ink on them, as PNG files of few bytes."""

import struct
import zlib

import numpy as np

from toolbox.formats.depth_colours import INK, PAPER

__all__ = ["tile_png"]

_LEVELS = 15  # of ink between none and full
_CODES = (_LEVELS + 1) ** 2  # dark and light
_GROUP = 8  # colours of the bed that are one below ink
_COARSER = 3  # times, where there are too many colours
_MOST = 256  # colours of a palette
_PRESS = 6  # of deflate


def tile_png(steps: np.ndarray, ink: np.ndarray, table: np.ndarray) -> bytes:
    """Return a picture of the bed with ink on it as PNG.

    Parameters
    ----------
    steps : (rows, cols) array of int
        Rows of `table`, the last of which is transparent.
    ink : (rows, cols, 3) array of uint8
        On each pixel, by :func:`toolbox.formats.map_drawing.draw_ink`.
    table : (n, 4) array of uint8
        Colours of the bed.

    Notes
    -----
    With a palette, which is less than half as long and looks the same: ink has 15 levels, or 5,
    and where it lies the colour of the bed is the middle one of 8, or of 24. Only where there are
    more than 256 colours even so is it in full colour.

    References
    ----------
    ISO/IEC 15948:2004, Portable Network Graphics (from memory).
    """
    codes = _coded(steps, ink, len(table))
    used = _used(codes, len(table))
    if len(used) > _MOST:
        codes = _coded(steps, ink, len(table), coarser=_COARSER)
        used = _used(codes, len(table))
    colours = _blended(used, table)
    order = np.argsort(colours[:, 3], kind="stable")  # those that let through come first
    place = np.empty(len(table) * _CODES, np.uint16)
    place[used[order]] = np.arange(len(used))
    picture, colours = place[codes], colours[order]
    if len(colours) > _MOST:
        return _png(colours[picture], 6, filtered=True)
    clear = colours[colours[:, 3] < 255, 3]
    palette = _chunk(b"PLTE", colours[:, :3].tobytes())
    if len(clear):
        palette += _chunk(b"tRNS", clear.tobytes())
    return _png(picture[..., None].astype(np.uint8), 3, palette)


def _used(codes: np.ndarray, count: int) -> np.ndarray:
    return np.flatnonzero(np.bincount(codes.ravel(), minlength=count * _CODES))


def _coded(steps: np.ndarray, ink: np.ndarray, count: int, *, coarser: int = 1) -> np.ndarray:
    """Return one number for the colour of the bed and the ink on it."""
    codes = steps.astype(np.int32) * _CODES
    rows, cols = np.nonzero(ink[..., 0] | ink[..., 1] | ink[..., 2])
    *inks, rim = ink[rows, cols].astype(np.int32).T
    levels, group, last = _LEVELS // coarser, _GROUP * coarser, count - 2
    dark, light = (coarser * ((levels * share + 127) // 255) for share in inks)
    level = dark * (_LEVELS + 1) + light
    below = np.where(rim > 0, (last * rim + 127) // 255, steps[rows, cols])
    middle = np.minimum(below // group * group + group // 2, last)
    below = np.where((level > 0) & (below <= last), middle, below)
    codes[rows, cols] = below * _CODES + level
    return codes


def _blended(codes: np.ndarray, table: np.ndarray) -> np.ndarray:
    """Return the colours of codes, shape (n, 4) of uint8 with straight alpha."""
    step, level = np.divmod(codes, _CODES)
    inks = np.array([[int(ink[k : k + 2], 16) for k in (1, 3, 5)] for ink in (INK, PAPER)], float)
    share = np.column_stack(np.divmod(level, _LEVELS + 1)) / _LEVELS
    bed = table[step].astype(float)
    through = bed[:, 3] / 255 * np.maximum(1 - share.sum(axis=1), 0)
    parts = np.column_stack([share, through])
    opacity = parts.sum(axis=1)
    mixed = parts[:, :2] @ inks + through[:, None] * bed[:, :3]
    colour = mixed / np.where(opacity > 0, opacity, 1)[:, None]
    return np.asarray(np.round(np.column_stack([colour, 255 * np.minimum(opacity, 1)])), np.uint8)


def _png(picture: np.ndarray, kind: int, palette: bytes = b"", *, filtered: bool = False) -> bytes:
    """Return a picture, shape (rows, cols, bands), of a kind that PNG numbers."""
    rows, cols, _ = picture.shape
    lines = picture.reshape(rows, -1)
    if filtered:  # each row told by what changes from the one above it
        lines = np.vstack([lines[:1], np.diff(lines, axis=0)])
    marked = np.column_stack([np.full(rows, 2 * filtered, np.uint8), lines])
    head = _chunk(b"IHDR", struct.pack(">2I5B", cols, rows, 8, kind, 0, 0, 0))
    content = _chunk(b"IDAT", zlib.compress(marked.tobytes(), _PRESS))
    return b"\x89PNG\r\n\x1a\n" + head + palette + content + _chunk(b"IEND", b"")


def _chunk(kind: bytes, content: bytes) -> bytes:
    check = zlib.crc32(kind + content)
    return struct.pack(">I", len(content)) + kind + content + struct.pack(">I", check)
