"""Thinning: one sounding for each cell, with what it rests on."""

from typing import TYPE_CHECKING, Annotated, Any, Literal

import numpy as np

from toolbox.errors import ParameterError
from toolbox.layers import Soundings
from toolbox.reduction.beam import footprint
from toolbox.tool import Range, tool
from toolbox.words import counted

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["SHARED", "By", "cell_index", "counts_of", "footprint_cell", "thin"]

By = Literal["mean", "median", "shoalest", "deepest"]

SHARED = 0.5
"""Share of a variance that all soundings of a line have in common, where nothing tells it
(common practice, no source)."""

_NEVER = np.iinfo(np.int64).min  # how pandas keeps a time that is missing
_SMALLEST = 0.125  # m, a power of two: the footprint of a beam in no water is nothing


@tool("Soundings thinned by cell")
def thin(
    soundings: Soundings,
    *,
    cell: Annotated[float, Range("m", above=0)] | None = None,
    beam_angle: Annotated[float, Range("degree", above=0, max=120)] | None = None,
    by: By = "mean",
) -> Soundings:
    """Put one sounding in the place of all kept ones of a cell.

    Parameters
    ----------
    soundings : Soundings
        Reduced soundings. Rejected ones are left out, so keep the layer itself: it is whole.
    cell : float, optional
        Width of the square cells, whose edges lie on whole multiples of it; a sounding on an edge
        belongs to the cell east or north of it.
    beam_angle : float, optional
        Instead of a width: the full beam. Cells are then as wide as what the beam lights at that
        depth, rounded down to a power of two of a metre, 1/8 m or more.
    by : str
        The mean of depths and places, weighed by 1 / sd^2; or one of the soundings as it is: the
        median weighed alike (of two middle ones the shoaler), the shoalest or the deepest.

    Returns
    -------
    Soundings
        One per cell, in the order of the cells from west to east, then from south to north. Added
        columns: ``count`` (the soundings it stands for, which add up to the kept ones), ``lines``
        (how many lines they are of) and ``cell`` (m). A mean has a line, a source and a time of
        its own only where its soundings share one line or source.

    Raises
    ------
    ParameterError
        If neither cell nor beam_angle is given, or both are.

    Notes
    -----
    What has been thinned before (it has a ``count`` and a ``cell``) weighs as the soundings it
    stands for: as many of them as it counts, each with the error that makes up its own ``sd``. So
    thinning twice gives the mean of thinning once.

    Weights are the counts in a cell where one sounding has no ``sd``; a mean has no ``sd`` there.
    Elsewhere errors are taken as of two parts: ``sd_shared``, which all soundings of a line have
    in common (draft, water level, speed of sound), and the rest, which they do not. With weights
    w that add up to one,

        sd^2 = sum over soundings of w^2 (sd_i^2 - sd_shared_i^2)
               + sum over lines of (sum over the line of w sd_shared_i)^2

    so that a thousand soundings of one line are never better than what they share. Where
    ``sd_shared`` is not known it is taken as half of the variance (common practice, no source).
    The position of a line is wrong as a whole, so ``sd_xy`` follows the second sum alone. A
    median, shoalest or deepest sounding keeps its own ``sd`` and ``sd_xy``.

    The result does not depend on the order of the soundings, to the bit.

    References
    ----------
    JCGM 100:2008, Guide to the expression of uncertainty in measurement, 5.2 (correlated input
    quantities; from memory).
    """
    if (cell is None) == (beam_angle is None):
        raise ParameterError("give either the width of a cell or a beam_angle")
    kept = soundings.kept
    if beam_angle is not None:
        width, words = footprint_cell(kept.depth, beam_angle), f"a beam of {beam_angle:g} degree"
    else:
        width, words = np.full(len(kept), float(cell or 0)), f"cells of {cell:g} m"
    frame = _mean(kept, width) if by == "mean" else _chosen(kept, width, by)
    stands_for = int(frame["count"].sum())
    note = f"{counted(len(frame), 'sounding')}, by {by} over {words}, "
    note += f"{'stands' if len(frame) == 1 else 'stand'} for {stands_for}"
    return Soundings(frame, (*soundings.notes, note))


def counts_of(soundings: Soundings) -> np.ndarray:
    """Return how many soundings each stands for, shape (n,): one where it was not thinned before.

    Parameters
    ----------
    soundings : Soundings
        What was thinned has columns ``count`` and ``cell``.

    Returns
    -------
    (n,) array of int
        At least one.
    """
    frame = soundings.frame
    if not {"count", "cell"} <= set(frame):
        return np.ones(len(frame), int)
    count = np.where(np.isnan(frame["cell"].to_numpy(float)), 1.0, frame["count"].to_numpy(float))
    return np.maximum(np.nan_to_num(count, nan=1.0), 1.0).astype(int)


def cell_index(place: np.ndarray, width: float | np.ndarray) -> np.ndarray:
    """Return the numbers of the cells that places lie in, from west to east, south to north.

    Parameters
    ----------
    place : array
        Eastings or northings, m, of any shape.
    width : float or array
        Of a cell, m.

    Returns
    -------
    array of int64
        ``floor(place / width)``.

    Raises
    ------
    ParameterError
        If cells are so small that they cannot be numbered by 32 bits.
    """
    index = np.floor(place / width)
    if index.size and np.abs(index).max() >= 2**31:
        raise ParameterError(f"cell = {np.min(width):g} m is too small for such coordinates")
    return index.astype(np.int64)


def footprint_cell(depth: np.ndarray, beam_angle: float) -> np.ndarray:
    """Return the widest cell, a power of two of a metre, that fits into what a beam lights.

    Parameters
    ----------
    depth : (n,) array
        m.
    beam_angle : float
        Full width, degrees.

    Returns
    -------
    (n,) array
        m, not less than 1/8.
    """
    wide = np.maximum(footprint(np.maximum(depth, 0), beam_angle), _SMALLEST)
    return np.exp2(np.floor(np.log2(wide)))


class _Sorted:
    """Kept soundings brought into an order that does not depend on their own."""

    def __init__(self, kept: Soundings, width: np.ndarray, first: tuple[Any, ...] = ()) -> None:
        """Sort by cell, then by `first`, then by all that can tell two soundings apart."""
        import pandas as pd

        frame, place = kept.frame, kept.coordinates
        sd, sd_xy = (frame[name].to_numpy(float) for name in ("sd", "sd_xy"))
        sd = np.where((sd > 0) & np.isfinite(sd), sd, np.nan)
        shared = frame["sd_shared"].to_numpy(float) if "sd_shared" in frame else np.nan * sd
        line, names = pd.factorize(frame["line"].astype(str), sort=True)
        when = pd.to_datetime(frame["time"], utc=True).astype("int64").to_numpy()
        many = counts_of(kept)
        cells = (width, *cell_index(place, width[:, None]).T)
        rest = (line, kept.depth, *place.T, when, sd, sd_xy, shared, many)
        keys = [key for key in (*cells, *first, *rest) if (key != key[:1]).any()]
        self.order = np.lexsort(keys[::-1]) if keys else np.arange(len(place))
        self.width, *index = (key[self.order] for key in cells)
        self.origin = np.column_stack(index) * self.width[:, None]
        self.place, self.depth = place[self.order], kept.depth[self.order]
        self.sd, self.sd_xy, self.shared = sd[self.order], sd_xy[self.order], shared[self.order]
        self.line, self.line_names = line[self.order], np.asarray(names, object)
        self.start = _starts(self.width, *index)
        rows = np.diff(np.append(self.start, len(self.order)))
        self.cell = np.repeat(np.arange(len(self.start)), rows)
        self.many = many[self.order]
        self.count = self.sum(self.many)
        self.weight = self._weights()

    def common(self) -> np.ndarray:
        """Return the part of each sd that a line has in common."""
        half = np.sqrt(SHARED) * self.sd
        return np.where(np.isnan(self.shared), half, np.minimum(self.shared, self.sd))

    def _weights(self) -> np.ndarray:
        """Count / sd^2 in cells where all have one, else the count; adding up to one in each cell.

        The sd is that of one of the soundings counted, whose own errors have averaged out.
        """
        if not len(self.sd):
            return self.sd
        common = self.common()
        sd = np.where(
            self.many == 1, self.sd, np.sqrt(self.many * (self.sd**2 - common**2) + common**2)
        )
        best = np.minimum.reduceat(sd, self.start)[self.cell]  # NaN where one is missing
        weight = self.many * np.where(np.isnan(best), 1.0, (best / sd) ** 2)
        return weight / self.sum(weight)[self.cell]

    def sum(self, values: np.ndarray) -> np.ndarray:
        """Add up by cell."""
        return np.add.reduceat(values, self.start) if len(self.start) else values[:0]

    def line_sums(self, values: np.ndarray) -> np.ndarray:
        """Add up by cell the squares of the sums by line; the rows must lie line by line."""
        start = _starts(self.cell, self.line)
        if not len(start):
            return values[:0]
        squares = np.add.reduceat(values, start) ** 2
        return np.bincount(self.cell[start], squares, len(self.start))

    def lines(self) -> np.ndarray:
        """Count the lines of each cell."""
        order = np.lexsort((self.line, self.cell))
        first = _starts(self.cell[order], self.line[order])
        return np.bincount(self.cell[order][first], minlength=len(self.start))


def _starts(*keys: np.ndarray) -> np.ndarray:
    """First row of each run of equal keys."""
    new = np.ones(len(keys[0]), bool)
    new[1:] = np.logical_or.reduce([key[1:] != key[:-1] for key in keys])
    return np.flatnonzero(new)


def _mean(kept: Soundings, width: np.ndarray) -> "pd.DataFrame":
    import geopandas

    rows = _Sorted(kept, width)
    weight, start = rows.weight, rows.start
    sd, shared = _spread(rows)
    offset = (rows.place - rows.origin) * weight[:, None]
    place = rows.origin[start] + np.column_stack([rows.sum(axis) for axis in offset.T])
    lines = rows.lines()
    columns = {
        "depth": rows.sum(weight * rows.depth),
        "time": _times(kept, rows, lines == 1),
        "line": np.where(lines == 1, rows.line_names[rows.line[start]], "") if len(start) else "",
        "source": _sources(kept, rows),
        "sd": sd,
        "sd_xy": np.sqrt(rows.line_sums(weight * rows.sd_xy)),
        "sd_shared": shared,
        "count": rows.count,
        "lines": lines,
        "cell": rows.width[start],
    }
    points = geopandas.points_from_xy(*place.T, crs=kept.crs)
    return geopandas.GeoDataFrame(columns, geometry=points, crs=kept.crs)


def _spread(rows: _Sorted) -> tuple[np.ndarray, np.ndarray]:
    """Return `sd` and `sd_shared` of the means."""
    shared = rows.common()
    common = rows.line_sums(rows.weight * shared)
    own = rows.sum(rows.weight**2 * (rows.sd**2 - shared**2))
    return np.sqrt(own + common), np.sqrt(common)


def _times(kept: Soundings, rows: _Sorted, single: np.ndarray) -> Any:
    """Mean time of those cells that hold one line, missing where one of its times is."""
    import pandas as pd

    aware = pd.to_datetime(kept.frame["time"], utc=True).iloc[rows.order]
    if aware.isna().all():
        return np.datetime64("NaT", "ns")
    # from the first time of each cell, so that the time of a cell hangs on no other
    moment = aware.dt.as_unit("ns").astype("int64").to_numpy()
    first = np.minimum.reduceat(np.where(aware.isna(), np.iinfo(np.int64).max, moment), rows.start)
    since = np.where(aware.isna(), np.nan, (moment - first[rows.cell]) / 1e9)
    mean = np.where(single, rows.sum(rows.weight * since), np.nan)
    known = np.isfinite(mean)
    exact = np.where(
        known, first + np.round(np.where(known, mean, 0) * 1e9).astype(np.int64), _NEVER
    )
    times = pd.Series(pd.to_datetime(exact, utc=True)).dt.as_unit(aware.dt.unit)
    naive = kept.frame["time"].dtype.kind == "M" and kept.frame["time"].dt.tz is None
    return times.dt.tz_localize(None) if naive else times


def _sources(kept: Soundings, rows: _Sorted) -> Any:
    """Source of each cell, "point" where there are several."""
    import pandas as pd

    code, names = pd.factorize(kept.frame["source"].astype(str).iloc[rows.order], sort=True)
    if not len(rows.start):
        return ""
    low = np.minimum.reduceat(code, rows.start)
    one = low == np.maximum.reduceat(code, rows.start)
    return np.where(one, np.asarray(names, object)[low], "point")


def _chosen(kept: Soundings, width: np.ndarray, by: By) -> "pd.DataFrame":
    """Take the sounding of each cell that stands for the others."""
    rows = _Sorted(kept, width, (-kept.depth if by == "deepest" else kept.depth,))
    row = rows.start
    if by == "median" and len(row):
        from toolbox.reduction.kernels import add_up

        half = np.flatnonzero(add_up(rows.weight, row) >= 0.5 - 1e-9)  # a sum may fall short of it
        row = half[np.unique(rows.cell[half], return_index=True)[1]]
    frame = kept.frame.iloc[rows.order[row]].reset_index(drop=True)
    return frame.assign(count=rows.count, lines=rows.lines(), cell=rows.width[rows.start])
