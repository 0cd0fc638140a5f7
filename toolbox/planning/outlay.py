"""Outlay: lines over a water of which nothing is known but its shore."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

from toolbox.bed.graded import Net
from toolbox.errors import ParameterError
from toolbox.layers import Shoreline
from toolbox.planning.candidates import Candidates, between, clear_water
from toolbox.planning.course import Branch, course

__all__ = ["SLENDER", "Outlay", "Water"]

SLENDER = 8.0
"""Times as long as wide, from which on a water is sounded across its course."""

_QUARTER = 0.5  # usual spacing, in greatest distances from shore: a quarter of the width
_WIDTH = 2.0  # the same across a course
_SHORTEST = 0.4  # length of a line, in greatest distances from shore; less is not worth its turns
_ASIDE = 4.0  # distances from shore that a line across a course goes to either side
_BENT = 0.25  # of the distance from shore, by which the legs of a tie cut corners
_LEAST_STEP = 1.01  # between the spacings that are tried


@dataclass(frozen=True, eq=False)
class Outlay:
    """Lines in the order in which a boat runs them.

    Parameters
    ----------
    names : tuple of str
        Of each leg's line; a bent line has several legs.
    legs : Candidates
        The straight ways.
    spacing : float
        Between the lines across, m.
    """

    names: tuple[str, ...]
    legs: Candidates
    spacing: float

    @property
    def track(self) -> float:
        """Length of all, m."""
        return float(self.legs.length.sum())


@dataclass(frozen=True, eq=False)
class Water:
    """What lines are laid over.

    Parameters
    ----------
    shoreline : Shoreline
        Of the water.
    inner : Polygon or MultiPolygon
        What keeps clear of land.
    branches : tuple of Branch
        Its course.
    width : float
        Greatest distance from shore, m.
    """

    shoreline: Shoreline
    inner: Any
    branches: tuple[Branch, ...]
    width: float

    @classmethod
    def of(cls, shoreline: Shoreline, net: Net) -> "Water":
        """Find the course of a water on a net."""
        branches = tuple(course(net, shoreline))
        width = max(float(branch.away.max()) for branch in branches)
        return cls(shoreline, clear_water(shoreline), branches, width)

    @property
    def winding(self) -> bool:
        """Whether it is so slender that lines go across its course, not its long axis."""
        length = sum(branch.length for branch in self.branches)
        return bool(length**2 > SLENDER * self.shoreline.polygons.area)

    def lay(self, track: float | None, ties: int) -> Outlay:
        """Lay lines as close as a length of track allows.

        Parameters
        ----------
        track : float or None
            Greatest length of all lines, m; None for a spacing of a quarter of the width, or,
            across a course, of the width.
        ties : int
            Number of lines along.

        Raises
        ------
        ParameterError
            If `track` is too short for the ties and one line.
        """
        along = self._ties(ties)
        across = self._across_course if self.winding else self._across_axis
        if track is None:
            spacing = self.width * (_WIDTH if self.winding else _QUARTER)
            return self._outlay(across(spacing), along, spacing)
        left = track - sum(line.length for line in along)
        spacing, lines = _closest(across, left, self.shoreline.polygons.area)
        if not lines:
            raise ParameterError(
                f"track of {track:g} m is too short for {ties} ties and a line across, give more "
                "or ask for fewer ties"
            )
        return self._outlay(lines, along, spacing)

    def _axis(self) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Middle of the narrowest rectangle, and its sides as vectors, the long one first."""
        import shapely

        box = shapely.minimum_rotated_rectangle(self.shoreline.polygons)
        corners = shapely.get_coordinates(box)[:4]
        sides = corners[1] - corners[0], corners[2] - corners[1]
        long, short = sorted(sides, key=lambda side: -float(np.hypot(*side)))
        return corners.mean(axis=0), long, short

    def _across_axis(self, spacing: float) -> list[Any]:
        middle, long, short = self._axis()
        count = max(1, round(float(np.hypot(*long)) / spacing))
        through = middle + ((np.arange(count) + 0.5) / count - 0.5)[:, None] * long
        return self._pieces(np.stack([through - short, through + short], axis=1))

    def _ties(self, count: int) -> list[Any]:
        import shapely

        at = (np.arange(count) + 1) / (count + 1) - 0.5
        if not self.winding:
            middle, long, short = self._axis()
            through = middle + at[:, None] * short
            return self._pieces(np.stack([through - long, through + long], axis=1))
        ties = []
        for branch in self.branches:
            line = shapely.LineString(branch.places)
            usual = float(np.median(branch.away))
            curves = [shapely.offset_curve(line, 2 * share * usual) for share in at]
            inside = shapely.get_parts(shapely.intersection(curves, self.inner))
            bent = shapely.simplify(inside[shapely.length(inside) >= self._least], _BENT * usual)
            ties.extend(bent)
        return ties

    def _across_course(self, spacing: float) -> list[Any]:
        import shapely

        lines: list[Any] = []
        for branch in self.branches:
            middles, rays = _across(branch, spacing)
            pieces, ray = shapely.get_parts(
                shapely.intersection(rays, self.inner), return_index=True
            )
            through = shapely.distance(pieces, middles[ray]) < 1e-6
            pieces = pieces[through & (shapely.length(pieces) >= self._least)]
            earlier = shapely.union_all(lines)
            lines.extend(pieces[~shapely.intersects(pieces, earlier)])
        return lines

    @property
    def _least(self) -> float:
        return _SHORTEST * self.width

    def _pieces(self, lines: np.ndarray) -> list[Any]:
        """Parts of lines (n, 2, 2) over water, line by line."""
        import shapely

        inside = shapely.intersection(shapely.linestrings(lines), self.inner)
        pieces = shapely.get_parts(inside)
        return list(pieces[shapely.length(pieces) >= self._least])

    def _outlay(self, across: list[Any], along: list[Any], spacing: float) -> Outlay:
        """Name the lines, turn every other one round, and divide them into legs."""
        import shapely

        turned = [line.reverse() if number % 2 else line for number, line in enumerate(across)]
        names, legs = [], []
        told = [str(number + 1) for number in range(len(across))]
        told += [f"tie {number + 1}" for number in range(len(along))]
        for name, line in zip(told, [*turned, *along], strict=True):
            places = shapely.get_coordinates(line)
            legs.append(np.stack([places[:-1], places[1:]], axis=1))
            names += [name] * (len(places) - 1)
        ends = np.concatenate(legs)
        return Outlay(tuple(names), between(ends[:, 0], ends[:, 1], self.shoreline), spacing)


def _closest(
    across: Callable[[float], list[Any]], left: float, area: float
) -> tuple[float, list[Any]]:
    """Widen the spacing until the lines take no more than is left."""
    if left <= 0:
        return 0.0, []
    spacing = 0.9 * area / left
    while lines := across(spacing):
        length = sum(line.length for line in lines)
        if length <= left:
            break
        if len(lines) == 1:
            return spacing, []
        spacing *= max(length / left, _LEAST_STEP)
    return spacing, lines


def _across(branch: Branch, spacing: float) -> tuple[Any, Any]:
    """Points along a branch, so far apart, and lines across it through them."""
    import shapely

    count = max(1, round(branch.length / spacing))
    at = np.linspace(0, len(branch.places) - 1, 2 * count + 1)[1::2]
    row = np.arange(len(branch.places))
    ahead = np.gradient(branch.places, axis=0)
    east, north, east_ahead, north_ahead, away = (
        np.interp(at, row, column) for column in (*branch.places.T, *ahead.T, branch.away)
    )
    middle, aside = np.column_stack([east, north]), np.column_stack([north_ahead, -east_ahead])
    aside *= (_ASIDE * away / np.hypot(*aside.T))[:, None]
    lines = np.stack([middle - aside, middle + aside], axis=1)
    return shapely.points(middle), shapely.linestrings(lines)
