"""Area curve: areas and volumes between the rows of a table, each the slope of the other."""

from dataclasses import dataclass
from functools import cached_property
from typing import Annotated, Literal

import numpy as np

from toolbox.errors import LayerError, ParameterError
from toolbox.layers import Table
from toolbox.tool import Range, tool
from toolbox.volume.rules import check_areas, layer_volumes

__all__ = ["AreaCurve", "table_at"]

_HALVINGS = 60
_HAIR = 1e-9

Rule = Literal["trapezoid", "frustum"]


@dataclass(frozen=True, eq=False)
class AreaCurve:
    """Area and volume as functions of depth, through the rows of a table.

    Parameters
    ----------
    depth : (n,) array
        Strictly ascending, m.
    area : (n,) array
        Area at each depth, m2, nowhere growing with depth.
    share : (n - 1,) array
        Mean area of each layer, as the share of the way from its lower area up to its upper.

    Raises
    ------
    LayerError
        If depths do not ascend, an area grows with depth, or a share lies outside 0 to 1.

    Notes
    -----
    Within a layer of areas A above and B below the area at the share t of its height is
    B + (A - B) (1 - t)^p with p = 1 / m - 1 where the mean share m is at most a half, and
    B + (A - B) (1 - t^q) with q = m / (1 - m) where it is more. So area and layer volume are met
    at every row, the area never grows with depth, and the volume is the integral of the area to
    the bit of a formula. With m a half the area is linear, with a third above a point a cone.
    """

    depth: np.ndarray
    area: np.ndarray
    share: np.ndarray

    def __post_init__(self) -> None:
        _check_falling(self.depth, self.area)
        good = (self.share >= 0) & (self.share <= 1)
        if self.share.shape != (len(self.depth) - 1,) or not good.all():
            raise LayerError("shares must lie in 0 to 1, one for each layer")

    @classmethod
    def of_areas(cls, depth: np.ndarray, area: np.ndarray, *, rule: Rule) -> "AreaCurve":
        """Make the curve whose layers have the volumes of a rule."""
        depth, area = np.asarray(depth, float), np.asarray(area, float)
        return cls.of_layers(depth, area, layer_volumes(depth, area, rule=rule))

    @classmethod
    def of_layers(
        cls, depth: np.ndarray, area: np.ndarray, layers: np.ndarray, *, tolerance: float = 0.0
    ) -> "AreaCurve":
        """Make the curve whose layers have given volumes (n - 1,).

        A volume beyond what the areas allow is taken at the nearest end of what they do, where it
        lies within the share `tolerance` of the layer from it.

        Raises
        ------
        LayerError
            If a layer holds more than its height times the upper area, or less than its height
            times the lower one.
        """
        _check_falling(depth, area)
        height = np.diff(depth)
        most, least = height * area[:-1], height * area[1:]
        slack = (tolerance + _HAIR) * most
        good = (layers >= least - slack) & (layers <= most + slack)
        if not good.all():
            row = int(np.argmin(good))
            raise LayerError(
                f"the layer from depth {depth[row]:g} to {depth[row + 1]:g} must hold "
                f"{least[row]:g} to {most[row]:g} by its areas, got {layers[row]:g}; "
                "check the table first"
            )
        span = most - least
        share = np.divide(layers - least, span, out=np.full(len(span), 0.5), where=span > 0)
        return cls(depth, area, np.clip(share, 0, 1))

    @cached_property
    def _below(self) -> np.ndarray:
        """Volume below each row down to the last, (n,)."""
        lower = self.area[1:]
        layers = np.diff(self.depth) * (lower + (self.area[:-1] - lower) * self.share)
        return np.r_[layers[::-1].cumsum()[::-1], 0.0]

    def _layer(self, depth: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Layer of each depth, and the share of its height that lies above."""
        good = (depth >= self.depth[0] - _HAIR) & (depth <= self.depth[-1] + _HAIR)
        if not good.all():
            raise ParameterError(
                f"depths must lie within the table, {self.depth[0]:g} to {self.depth[-1]:g} m, "
                f"got {depth[~good][0]:g}"
            )
        layer = np.searchsorted(self.depth, depth, "right") - 1
        layer = np.clip(layer, 0, len(self.depth) - 2)
        height = np.diff(self.depth)[layer]
        return layer, np.clip((depth - self.depth[layer]) / height, 0, 1)

    def areas(self, depth: np.ndarray) -> np.ndarray:
        """Return the area at depths (k,), m2; exact at the rows."""
        layer, t = self._layer(np.asarray(depth, float))
        upper, lower = self.area[layer], self.area[layer + 1]
        return np.asarray(lower + (upper - lower) * _wet(self.share[layer], t))

    def volumes(self, depth: np.ndarray) -> np.ndarray:
        """Return the volume between depths (k,) and the last row, m3; exact at the rows."""
        layer, t = self._layer(np.asarray(depth, float))
        upper, lower = self.area[layer], self.area[layer + 1]
        part = lower * (1 - t) + (upper - lower) * _wet_below(self.share[layer], t)
        return np.asarray(self._below[layer + 1] + np.diff(self.depth)[layer] * part)

    def depths(self, volume: np.ndarray) -> np.ndarray:
        """Return the depths below which given volumes (k,) lie, m.

        Raises
        ------
        ParameterError
            If a volume is negative or more than the table's whole.
        """
        volume = np.asarray(volume, float)
        whole = self._below[0]
        if not ((volume >= 0) & (volume <= whole * (1 + _HAIR))).all():
            raise ParameterError(f"volumes must lie in 0 to {whole:g}, the table's whole")
        low = np.full(volume.shape, self.depth[0])
        high = np.full(volume.shape, self.depth[-1])
        for _ in range(_HALVINGS):
            middle = (low + high) / 2
            more = self.volumes(middle) > volume
            low, high = np.where(more, middle, low), np.where(more, high, middle)
        return np.asarray((low + high) / 2)


def _check_falling(depth: np.ndarray, area: np.ndarray) -> None:
    check_areas(depth, area)
    if (grown := np.diff(area) > 0).any():
        row = int(grown.argmax())
        raise LayerError(
            f"areas must not grow with depth, got {area[row + 1]:g} at depth "
            f"{depth[row + 1]:g} below {area[row]:g} at {depth[row]:g}"
        )


def _powers(share: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Whether a layer's mean share is at most a half, and the powers p and q of the curve."""
    with np.errstate(divide="ignore"):
        return share <= 0.5, 1 / share - 1, share / (1 - share)


def _wet(share: np.ndarray, t: np.ndarray) -> np.ndarray:
    hollow, p, q = _powers(share)
    return np.where(hollow, (1 - t) ** p, 1 - t**q)


def _wet_below(share: np.ndarray, t: np.ndarray) -> np.ndarray:
    """Integral of the share of area from t to 1."""
    hollow, p, q = _powers(share)
    with np.errstate(invalid="ignore"):
        bulged = (1 - t) - (1 - t ** (q + 1)) / (q + 1)
    return np.where(hollow, (1 - t) ** (p + 1) / (p + 1), bulged)


@tool("Table at other levels")
def table_at(
    table: Table,
    *,
    levels: Annotated[tuple[float, ...], Range("m")],
    depth: str = "depth_m",
    area: str = "area_m2",
    volume: str | None = None,
    rule: Rule = "trapezoid",
) -> Table:
    """Read a table of areas and volumes between its rows.

    Parameters
    ----------
    table : Table
        One row per depth, in any order.
    levels : tuple of float
        The depths wanted, within those of the table.
    depth : str
        Name of the column of depths, m, positive down.
    area : str
        Name of the column of areas, m2.
    volume : str, optional
        Name of the column of volumes below each depth, m3, to be met at every row; if left out,
        layers have the volumes of `rule`.
    rule : str
        ``"trapezoid"``: the area is linear between rows. ``"frustum"``: layers hold what cones do.

    Returns
    -------
    Table
        Columns ``depth_m, area_m2, volume_below_m3``, rows in the order of `levels`. The slope of
        the volume is the area at every depth. Volumes count from the table's last row, or as the
        column of volumes does.

    Raises
    ------
    LayerError
        If an area grows with depth, or a volume is not possible with its areas.
    ParameterError
        If a level lies outside the table.

    Notes
    -----
    See :class:`AreaCurve` for the curve between two rows. With volumes given, one that rounding
    put up to 0.1 % beyond what the areas allow is taken at what they do.
    """
    import pandas as pd

    order = np.argsort(table.column(depth), kind="stable")
    depths, areas = table.column(depth)[order], table.column(area)[order]
    last, notes = 0.0, table.notes
    if volume is None:
        notes += (f"volumes from the areas by the {rule} rule: volume names a column to meet",)
        curve = AreaCurve.of_areas(depths, areas, rule=rule)
    else:
        below = table.column(volume)[order]
        curve = AreaCurve.of_layers(depths, areas, -np.diff(below), tolerance=0.001)
        last = float(below[-1])
    wanted = np.asarray(levels, float)
    columns = {
        "depth_m": wanted,
        "area_m2": curve.areas(wanted),
        "volume_below_m3": curve.volumes(wanted) + last,
    }
    return Table(pd.DataFrame(columns), "Area and volume at other levels", notes)
