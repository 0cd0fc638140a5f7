"""Spots: places at features of the bed where a bait may lie."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, fields
from typing import Any

import numpy as np

from toolbox.errors import LayerError
from toolbox.features.reading import depth_at
from toolbox.layers import Tin, Vectors

__all__ = ["NAMES", "Spots", "plant_shapes", "spots_at"]

NEEDED = ("kind", "feature", "relief_m", "confidence")

NAMES = {
    "drop-off foot": "foot of the drop-off",
    "drop-off lip": "lip of the drop-off, the edge of the shelf",
    "gully": "bottom of the gully",
    "hump top": "top of the hump",
    "hump side": "side of the hump",
    "bar top": "top of the bar",
    "bar side": "side of the bar",
    "hole": "bottom of the hole",
    "plateau edge": "edge of the plateau",
    "plant edge": "edge of the plants",
    "bottom change": "change of bottom",
}
"""Kinds of marks, in words."""

_LINES = {"drop-off lip": "drop-off lip", "drop-off foot": "drop-off foot", "gully axis": "gully"}
_INSIDE = {  # kind of mark, and the share of the relief above the lowest where it lies
    "hump": (("hump top", 0.8, 1.0), ("hump side", 0.3, 0.7)),
    "bar": (("bar top", 0.8, 1.0), ("bar side", 0.3, 0.7)),
    "hole": (("hole", 0.0, 0.2),),
}
_RIMS = {"plateau": "plateau edge", "change of bottom": "bottom change"}
_SILENT = ("shelf", "gully", "plants")  # told by their lips, axes and edges
_ACROSS = 40  # most places across a feature
_LEAST_OFF = 0.1  # m from plants to the spots beside them
_FALL = 3.0  # m to either side of the edge of plants, between which the bed falls away from them


@dataclass(frozen=True, eq=False)
class Spots:
    """Places to put a bait.

    Parameters
    ----------
    places : (n, 2) array
        Easting and northing, m.
    kind : (n,) array of str
        A key of :data:`NAMES`.
    feature : (n,) array
        Number of the feature, NaN where it has none.
    relief : (n,) array
        Of the feature, m; NaN where it has none.
    confidence : (n,) array
        Probability that the feature is there; NaN where nobody told.
    depth : (n,) array
        Of the bed, m.
    """

    places: np.ndarray
    kind: np.ndarray
    feature: np.ndarray
    relief: np.ndarray
    confidence: np.ndarray
    depth: np.ndarray

    def __len__(self) -> int:
        """Count them."""
        return len(self.kind)

    def select(self, which: np.ndarray) -> "Spots":
        """Return some of them."""
        return Spots(*(getattr(self, field.name)[which] for field in fields(self)))


def spots_at(
    bed: Tin,
    features: Vectors,
    plants: Vectors | None,
    weights: Mapping[str, float],
    *,
    step: float,
    off: float,
) -> Spots:
    """Gather the spots of features that have a weight.

    Parameters
    ----------
    bed : Tin
        The lake bed.
    features : Vectors
        Lines and polygons with columns ``kind``, ``feature``, ``relief_m`` and ``confidence``.
    plants : Vectors or None
        Further beds of plants, polygons.
    weights : mapping
        Weight of each kind of mark; those of none or zero are left out.
    step : float
        Between spots of a feature, on the map, m.
    off : float
        Between the edge of plants and a spot, on the map, m.

    Returns
    -------
    Spots
        In the water, feature by feature.

    Raises
    ------
    LayerError
        If a column is missing, a kind is unknown, or a shape does not fit its kind.
    """
    parts: list[Any] = []
    for row, shape in _rows(features):
        told = row["feature"], row["relief_m"], row["confidence"]
        for mark, places in _of(bed, row["kind"], shape, step):
            parts.append((places, mark, *told))
    for shape, told in _stands(features, plants):
        parts.append((_open_side(bed, shape, step, max(off, _LEAST_OFF)), "plant edge", *told))
    parts = [part for part in parts if weights.get(part[1], 0) > 0 and len(part[0])]
    if not parts:
        none = np.empty(0)
        return Spots(np.empty((0, 2)), none.astype(str), none, none, none, none)
    places = np.concatenate([part[0] for part in parts])
    count = [len(part[0]) for part in parts]
    kind, feature, relief, confidence = (
        np.repeat([part[k] for part in parts], count) for k in range(1, 5)
    )
    spots = Spots(places, kind, feature, relief, confidence, depth_at(bed, places))
    return spots.select(np.isfinite(spots.depth))


def plant_shapes(features: Vectors, plants: Vectors | None) -> Any:
    """Return all beds of plants as one shape, empty where there are none."""
    import shapely

    return shapely.union_all([shape for shape, _ in _stands(features, plants)])


def _rows(features: Vectors) -> Iterator[tuple[Any, Any]]:
    """Give each feature and its shape, checked."""
    frame = features.frame
    if missing := [name for name in NEEDED if name not in frame]:
        raise LayerError(f"features need columns {missing}, got {list(frame.columns)}")
    known = {*_LINES, *_INSIDE, *_RIMS, *_SILENT}
    for number, (row, shape) in enumerate(
        zip(frame.to_dict("records"), frame.geometry, strict=True), 1
    ):
        if row["kind"] not in known:
            allowed = ", ".join(sorted(known))
            raise LayerError(
                f"feature {number}: kind must be one of {allowed}, got {row['kind']!r}"
            )
        if shape is None or shape.is_empty:
            continue
        flat = shape.geom_type in ("Polygon", "MultiPolygon")
        lines = shape.geom_type in ("LineString", "MultiLineString")
        wanted = "lines" if row["kind"] in _LINES else "polygons"
        if not (lines if wanted == "lines" else flat or (lines and row["kind"] in _RIMS)):
            raise LayerError(
                f"feature {number}: a {row['kind']} must be {wanted}, got {shape.geom_type}"
            )
        yield row | {name: _number(row, name, number) for name in NEEDED[1:]}, shape


def _number(row: Any, name: str, number: int) -> float:
    """Return a number beside a feature, NaN where it is empty."""
    import pandas as pd

    if pd.isna(row[name]):
        return np.nan
    try:
        value = float(row[name])
    except (TypeError, ValueError):
        value = np.inf
    if not np.isfinite(value) or (name == "confidence" and not 0 <= value <= 1):
        allowed = "0 to 1" if name == "confidence" else "a number"
        raise LayerError(f"feature {number}: {name} must be {allowed}, got {row[name]!r}")
    return value


def _of(bed: Tin, kind: str, shape: Any, step: float) -> Iterator[tuple[str, np.ndarray]]:
    """Give the kinds of marks of a feature and their places."""
    if kind in _LINES:
        yield _LINES[kind], _along(shape, step)
    elif kind in _RIMS:
        flat = shape.geom_type.endswith("Polygon")
        yield _RIMS[kind], _along(shape.boundary if flat else shape, step)
    elif kind in _INSIDE:
        places = _net(shape, step)
        depth = depth_at(bed, places)
        if not np.isfinite(depth).any():
            return
        low, high = np.nanmax(depth), np.nanmin(depth)
        height = (low - depth) / max(low - high, 1e-9)
        for mark, least, most in _INSIDE[kind]:
            yield mark, places[(height >= least) & (height <= most)]


def _stands(
    features: Vectors, plants: Vectors | None
) -> Iterator[tuple[Any, tuple[float, float, float]]]:
    """Give the shape of each bed of plants, and its number, relief (none) and confidence."""
    for row, shape in _rows(features):
        if row["kind"] == "plants":
            yield shape, (row["feature"], np.nan, row["confidence"])
    if plants is not None:
        frame = plants.frame[~(plants.frame.geometry.isna() | plants.frame.geometry.is_empty)]
        if wrong := sorted(set(frame.geometry.geom_type) - {"Polygon", "MultiPolygon"}):
            raise LayerError(f"plants must be polygons, got {', '.join(wrong)}")
        told = frame.reindex(columns=["feature", "confidence"]).to_dict("records")
        for number, (shape, row) in enumerate(zip(frame.geometry, told, strict=True), 1):
            feature, sure = (_number(row, name, number) for name in ("feature", "confidence"))
            yield shape, (feature, np.nan, sure)


def _open_side(bed: Tin, shape: Any, step: float, off: float) -> np.ndarray:
    """Return places beside a polygon where the bed falls away from it; all if it nowhere does."""
    import shapely

    places = _along(shape.buffer(off).boundary, step)
    nearest = shapely.shortest_line(shape.boundary, shapely.points(places))
    edge = shapely.get_coordinates(shapely.get_point(nearest, 0))
    outward = (places - edge) / np.hypot(*(places - edge).T)[:, None]
    within, beyond = (depth_at(bed, edge + side * _FALL * outward) for side in (-1, 1))
    falls = beyond > within
    return places[falls] if falls.any() else places


def _along(shape: Any, step: float) -> np.ndarray:
    """Return places along lines, evenly, at most a step apart."""
    import shapely

    lines = shapely.get_parts(shape)
    count = np.maximum(1, np.ceil(shapely.length(lines) / step)).astype(int)
    within = np.arange(count.sum()) - np.repeat(np.cumsum(count) - count, count)
    share = (within + 0.5) / np.repeat(count, count)
    return shapely.get_coordinates(
        shapely.line_interpolate_point(np.repeat(lines, count), share, normalized=True)
    )


def _net(shape: Any, step: float) -> np.ndarray:
    """Return places in a polygon on a square net, finer in a small one."""
    import shapely

    left, bottom, right, top = shape.bounds
    wide, size = max(right - left, top - bottom), np.sqrt(shape.area)
    step = max(min(step, size / 6), wide / _ACROSS)
    easting = np.arange(left + step / 2, right, step)
    northing = np.arange(bottom + step / 2, top, step)
    net = np.stack(np.meshgrid(easting, northing), axis=-1).reshape(-1, 2)
    inside = net[shapely.contains_xy(shape, *net.T)]
    return inside if len(inside) else shapely.get_coordinates(shape.representative_point())
