"""Loops of map tiles: a grid read off at the pixels of a picture."""

import math

from toolbox.compiled import njit

__all__ = ["read_off"]


@njit(cache=True, nogil=True)
def read_off(values, rows, cols, every, out):  # type: ignore[no-untyped-def]
    """Fill `out` with the whole numbers nearest to the values between the centres of cells.

    `values` has a border of NaN. Its rows and columns are given at corners of squares of `every`
    pixels; between these they are straight. Pixels that have none, or whose cell has none, stay.
    """
    for row in range(out.shape[0]):
        above = row // every
        down = (row + 0.5) / every - above
        for square in range(cols.shape[1] - 1):
            r = rows[above, square] * (1 - down) + rows[above + 1, square] * down
            end_r = rows[above, square + 1] * (1 - down) + rows[above + 1, square + 1] * down
            c = cols[above, square] * (1 - down) + cols[above + 1, square] * down
            end_c = cols[above, square + 1] * (1 - down) + cols[above + 1, square + 1] * down
            step_r, step_c = (end_r - r) / every, (end_c - c) / every
            first = square * every
            for pixel in range(every):
                across = pixel + 0.5
                value = _between(values, r + across * step_r, c + across * step_c)
                if not math.isnan(value):
                    out[row, first + pixel] = int(value + 0.5)


@njit(inline="always")
def _between(values, r, c):  # type: ignore[no-untyped-def]
    """Value at a place: of the four cells about it, or of those of them that have one."""
    high, wide = values.shape
    if not (0 <= r < high - 1 and 0 <= c < wide - 1):
        return math.nan
    i, j = int(r), int(c)
    south, east = r - i, c - j
    upper = values[i, j] + (values[i, j + 1] - values[i, j]) * east
    lower = values[i + 1, j] + (values[i + 1, j + 1] - values[i + 1, j]) * east
    whole = upper + (lower - upper) * south
    if not math.isnan(whole) or math.isnan(values[i + (south >= 0.5), j + (east >= 0.5)]):
        return whole
    total = weight = 0.0
    for y in range(2):
        for x in range(2):
            if not math.isnan(values[i + y, j + x]):
                w = (south if y else 1 - south) * (east if x else 1 - east)
                total += w * values[i + y, j + x]
                weight += w
    return total / weight
