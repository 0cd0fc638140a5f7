"""Published waters for judging beds: real soundings, and lakes sounded anew over their isobaths.

Long Lake, Nova Scotia, has soundings of its own. Six lakes of Wisconsin have isobaths alone: the
bed triangulated from them stands for the truth, and a boat of the zoo sounds it with the zoo's
errors. Such a bed is a polyhedron with an edge at every isobath and even slopes between, so it is
rougher at its isobaths, and smoother between, than any bed is.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path
from time import perf_counter
from unittest import mock

import numpy as np
import shapely
import zoo
from pyproj import CRS
from scipy.interpolate import CloughTocher2DInterpolator

from toolbox.bed.fit import Fit
from toolbox.bed.fitting import fit, usable
from toolbox.bed.learning import Learnt
from toolbox.bed.leaving_out import Folds, leave_out
from toolbox.bed.location import interpolated, locate
from toolbox.bed.triangulation import triangulate
from toolbox.bed.uncertainty import band
from toolbox.formats.shoreline_file import read_breaklines, read_shoreline
from toolbox.formats.soundings_file import read_soundings
from toolbox.layers import Shoreline, Soundings, Tin
from toolbox.reduction.thinning import thin
from toolbox.volume.hypsography import area_and_volume, drawn_area_and_volume

__all__ = [
    "AUTHOR",
    "CONE_RULE",
    "DATA",
    "Beds",
    "LeftOut",
    "Water",
    "contoured",
    "long_lake",
    "rms",
    "sounded",
    "volume_by_distance",
]

DATA = Path(__file__).resolve().parents[1].parent / "shared" / "data"

AUTHOR = (911_488.0, 0.9387)
"""Volume (m3) and mean depth (m) of Long Lake by the author of the R package ggspatial: a linear
triangulation of his soundings with a shore of 0 m."""

CONE_RULE = {
    "ME": 489.80e6,
    "MO": 112.72e6,
    "AL": 4.646e6,
    "CR": 3.965e6,
    "SP": 6.4185e6,
    "TB": 0.0598e6,
}
"""Volumes by the cone rule on the areas of NTL-LTER data sets 153 and 288, m3."""

LINES = 12
"""Lines across the length of a lake."""

_FILES = {"ME": "mendota-contours-all.shp", "MO": "monona-contours-all.shp"}
_PINGS = 50  # from one line to the next, at most
_PROBES = 40_000
_FOLDS = 8
_Z90 = 1.6449

Surface = Callable[[np.ndarray], np.ndarray]


@dataclass(frozen=True, eq=False)
class Water:
    """A water with soundings.

    Parameters
    ----------
    name : str
        Of the lake.
    shoreline : Shoreline
        At depth 0.
    soundings : Soundings
        Real or drawn.
    cell : float
        Width of the cells in which soundings are thinned for Clough & Tocher's surface, and
        distance between the vertices of its shore, m.
    reference : Tin or None
        The bed that was sounded, where it is known.
    """

    name: str
    shoreline: Shoreline
    soundings: Soundings
    cell: float
    reference: Tin | None = None


def long_lake() -> Water:
    """Read the 64 spot soundings and the shore of Long Lake."""
    folder = DATA / "long_lake_soundings"
    shore = read_shoreline(folder / "LongLakeMarshWaterPoly.shp", where="label = 'Long Lake'")
    soundings = read_soundings(folder / "LongLakeDepthSurvey.shp", depth="DEPTH_M")
    crs = CRS(26920)
    return Water("Long Lake", shore.to_crs(crs), soundings.to_crs(crs), 25.0)


def contoured(code: str) -> tuple[Shoreline, Tin]:
    """Read one of the six lakes, and triangulate its isobaths."""
    path = DATA / "wisconsin_contours" / _FILES.get(code, "small_lakes.shp")
    # two files lack their CRS, which their documentation gives
    crs, of_lake = ("EPSG:3070", "") if code in _FILES else (None, f" AND LakeID = '{code}'")
    shore = read_shoreline(path, crs=crs, where=f"Depth_m = 0{of_lake}")
    isobaths = read_breaklines(path, crs=crs, where=f"Depth_m > 0{of_lake}", depth="Depth_m")
    nothing = Soundings.from_arrays(np.empty((0, 2)), np.empty(0), crs=shore.crs)
    return shore, triangulate(nothing, shore, isobaths)


@dataclass(frozen=True, eq=False)
class _Mapped:
    """A triangulated bed as the zoo asks for one: a depth anywhere, 0 on land."""

    bed: Tin

    def depth(self, places: np.ndarray) -> np.ndarray:
        return np.nan_to_num(_linear(self.bed, self.bed.depth)(places))


def sounded(code: str, *, seed: int) -> Water:
    """Sound one of the six lakes by lines across a twelfth of its length apart, and by ties.

    Parameters
    ----------
    code : str
        A key of `CONE_RULE`.
    seed : int
        Same seed, same bits.

    Notes
    -----
    The zoo's boat, with its wiggle, noise, offsets of lines and drifting positions. Where lines
    are more than 51 m apart, only so many of its pings are kept that 50 lie from line to line.
    """
    shore, bed = contoured(code)
    lake = _lake(code, shore, bed)
    box = shapely.get_coordinates(shapely.minimum_rotated_rectangle(shore.polygons))
    spacing = float(np.hypot(*np.diff(box[:3], axis=0).T).max()) / LINES
    ping = max(zoo.BOAT_PING, spacing / _PINGS / zoo.BOAT_SPEED)
    rng = np.random.default_rng([seed, list(CONE_RULE).index(code)])
    with mock.patch.multiple(zoo, TRACK_SPACING=(spacing, spacing), BOAT_PING=ping):
        soundings = zoo._tracks(lake, rng)
    ashore = ~shore.contains(soundings.coordinates)
    return Water(code, shore, soundings.reject(ashore, zoo.ASHORE), spacing / 4, bed)


def _lake(code: str, shore: Shoreline, bed: Tin) -> zoo.Lake:
    return zoo.Lake(
        name=code,
        kind="round",
        seed=0,
        shoreline=shore,
        features=(),
        wall=0.0,
        axis=None,
        bed=_Mapped(bed),
        origin=(0.0, 0.0),
    )


def rms(error: np.ndarray) -> float:
    """Return the root of the mean square."""
    return float(np.sqrt(np.mean(error**2)))


def _linear(bed: Tin, values: np.ndarray) -> Surface:
    return lambda places: interpolated(
        values, bed.triangles, locate(bed.vertices, bed.triangles, places)
    )


def _curved(soundings: Soundings, shoreline: Shoreline, cell: float) -> Surface:
    """Lay Clough & Tocher's surface through thinned soundings and a shore of 0 m."""
    few = thin(soundings, cell=cell)
    ring = shapely.segmentize(list(shoreline.polygons.geoms), cell)
    shore = np.unique(shapely.get_coordinates(ring), axis=0)
    middle = shore.mean(axis=0)
    places = np.vstack([few.coordinates, shore]) - middle
    depth = np.r_[few.depth, np.zeros(len(shore))]
    surface = CloughTocher2DInterpolator(places, depth)
    return lambda places: np.maximum(surface(places - middle), 0)


def volume_by_distance(water: Water, *, classes: int = 8) -> float:
    """Return the volume if depth followed from the distance to shore alone, m3.

    Notes
    -----
    Soundings are sorted into classes of equal number by distance; means of depth and of distance,
    joined by straight lines from 0 m at the shore, are summed over a lattice. Neither a net nor a
    field is in it.
    """
    edge, area = water.shoreline.polygons.boundary, water.shoreline.polygons.area
    used = usable(water.soundings, water.shoreline)
    away = shapely.distance(shapely.points(used.coordinates), edge)
    parts = np.array_split(np.argsort(away), classes)
    distance, depth = (
        np.array([each[part].mean() for part in parts]) for each in (away, used.depth)
    )
    left, bottom, right, top = water.shoreline.polygons.bounds
    step = float(np.sqrt(area / _PROBES))
    lattice = np.meshgrid(np.arange(left, right, step), np.arange(bottom, top, step))
    places = np.stack(lattice, axis=-1).reshape(-1, 2)
    places = shapely.points(places[water.shoreline.contains(places)])
    met = np.interp(shapely.distance(places, edge), np.r_[0, distance], np.r_[0, depth])
    return float(met.mean() * area)


def _volume(bed: Tin) -> float:
    """Return the volume on the map, as the published ones are, m3."""
    _, volume = area_and_volume(replace(bed, crs=None), np.zeros(1))
    return float(volume[0])


@dataclass(frozen=True, eq=False)
class LeftOut:
    """What beds made without a line, or without a block of lone soundings, say of it.

    Parameters
    ----------
    fitted, triangulated, curved : (k,) array
        Depth of the bed less the reading, m.
    held : (k,) array of bool
        Whether the 90 % interval of the fitted bed holds the reading, its own noise allowed for.
    """

    fitted: np.ndarray
    triangulated: np.ndarray
    curved: np.ndarray
    held: np.ndarray


@dataclass(frozen=True, eq=False)
class Beds:
    """Three beds of a water: fitted, triangulated, and Clough & Tocher's curved one.

    Parameters
    ----------
    water : Water
        What they are made of.
    draws : int
        Of the fitted bed.
    """

    water: Water
    draws: int = 200

    @cached_property
    def _timed(self) -> tuple[Fit, float]:
        start = perf_counter()
        fitted = fit(self.water.soundings, self.water.shoreline)
        return fitted, perf_counter() - start

    @property
    def fit(self) -> Fit:
        """The fitted field."""
        return self._timed[0]

    @property
    def seconds(self) -> float:
        """How long the fit took."""
        return self._timed[1]

    @cached_property
    def fitted(self) -> Tin:
        """The fitted bed."""
        return self.fit.bed(draws=self.draws, seed=0)

    @cached_property
    def triangulated(self) -> Tin:
        """The plain bed."""
        return triangulate(self.water.soundings, self.water.shoreline)

    @property
    def volume(self) -> float:
        """Of the fitted bed, on the map, m3."""
        return _volume(self.fitted)

    @cached_property
    def volume_band(self) -> tuple[float, float]:
        """Ends of the 90 % band of the volume, on the map, m3."""
        _, volume = drawn_area_and_volume(replace(self.fitted, crs=None), np.zeros(1))
        low, high = band(volume[:, 0])
        return float(low), float(high)

    @property
    def triangulated_volume(self) -> float:
        """Of the plain bed, on the map, m3."""
        return _volume(self.triangulated)

    @cached_property
    def truth(self) -> zoo.Truth:
        """The bed that was sounded, at some ten thousand places all over."""
        bed, shore = self.water.reference, self.water.shoreline
        assert bed is not None
        cell = float(np.sqrt(shore.polygons.area / _PROBES))
        return zoo.truth(_lake(self.water.name, shore, bed), cell)

    @property
    def reference_volume(self) -> float:
        """Of the bed that was sounded, on the map, m3."""
        assert self.water.reference is not None
        return _volume(self.water.reference)

    def _off(self, surface: Surface) -> np.ndarray:
        return surface(self.truth.places) - self.truth.depth

    @cached_property
    def errors(self) -> dict[str, np.ndarray]:
        """Depth of each bed less the truth, (n,), m."""
        fitted, plain = self.fitted, self.triangulated
        beds = {
            "fitted": _linear(fitted, fitted.depth),
            "triangulated": _linear(plain, plain.depth),
            "curved": _curved(self._used, self.water.shoreline, self.water.cell),
        }
        return {name: self._off(surface) for name, surface in beds.items()}

    @cached_property
    def near_shore(self) -> np.ndarray:
        """Which places of the truth are nearer to shore than a tenth of the farthest, (n,)."""
        edge = self.water.shoreline.polygons.boundary
        away = shapely.distance(shapely.points(self.truth.places), edge)
        return np.asarray(away < 0.1 * away.max())

    @cached_property
    def held(self) -> np.ndarray:
        """Whether the fitted bed's 90 % interval holds the truth, (n,)."""
        assert self.fitted.sd is not None
        sd = _linear(self.fitted, self.fitted.sd)(self.truth.places)
        return np.abs(self.errors["fitted"]) <= _Z90 * sd

    @cached_property
    def _used(self) -> Soundings:
        return usable(self.water.soundings, self.water.shoreline)

    @cached_property
    def left_out(self) -> LeftOut:
        """Leave lines out, or blocks of lone soundings, in eight parts.

        Notes
        -----
        As the tool for cross-validation does, but on the bed's own net whatever its size. Settings
        of the field are learnt once, from all soundings.
        """
        problem, used, parts = self.fit.problem, self._used, Folds.of(self._used, _FOLDS)
        fold = parts.fold[parts.rows(used, problem.observations)]
        columns = np.full((4, len(fold)), np.nan)
        for number in range(parts.count):
            rest = Soundings(used.frame[parts.fold != number])
            columns[:, fold == number] = self._without(rest, fold == number)
        fitted, plain, curved, held = columns[:, np.isfinite(columns).all(axis=0)]
        return LeftOut(fitted, plain, curved, held.astype(bool))

    def _without(self, rest: Soundings, held: np.ndarray) -> np.ndarray:
        fitted, problem, shore = self.fit, self.fit.problem, self.water.shoreline
        found = leave_out(problem, self._learnt, held)
        places, depth = problem.observations.place[held], problem.depth[held]
        plain = triangulate(rest, shore)
        error = np.maximum(found.depth, 0) - depth
        wide = _Z90 * np.sqrt(fitted.inflation**2 * found.variance + found.noise)
        others = _linear(plain, plain.depth), _curved(rest, shore, self.water.cell)
        off = [surface(places) - depth for surface in others]
        return np.array([error, *off, np.abs(error) <= wide])

    @cached_property
    def _learnt(self) -> Learnt:
        fitted, prior = self.fit, self.fit.posterior.prior
        steep = np.ones(len(fitted.mean)) if prior.steep is None else prior.steep
        return Learnt(prior.settings, fitted.mean, steep, prior.marginal_variance, fitted.trust)
