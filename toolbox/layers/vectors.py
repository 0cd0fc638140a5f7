"""Vectors: points, lines or polygons, and what is said of each."""

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from toolbox.errors import LayerError
from toolbox.layers.crs import check_projected

if TYPE_CHECKING:
    from geopandas import GeoDataFrame
    from pyproj import CRS

__all__ = ["Vectors"]


@dataclass(frozen=True, eq=False)
class Vectors:
    """Geometries and named columns beside them.

    Parameters
    ----------
    frame : GeoDataFrame
        One row a feature, in a projected CRS in metres (none is a plane). Column names end in
        their unit where they have one (``area_m2``).
    name : str
        What the features are, as their layer is called (``"isobaths"``).
    notes : tuple of str
        What a reader must know to use them.

    Raises
    ------
    LayerError
        If the frame has no geometry, or its CRS is not projected in metres.
    """

    frame: "GeoDataFrame"
    name: str
    notes: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        if getattr(self.frame, "_geometry_column_name", None) not in self.frame.columns:
            raise LayerError(f"{self.name} must have geometries, got {list(self.frame.columns)}")
        check_projected(self.crs, self.name)

    def __len__(self) -> int:
        """Count the features."""
        return len(self.frame)

    @property
    def crs(self) -> "CRS | None":
        """Projected, in metres; None is a plane."""
        return self.frame.crs

    def to_crs(self, crs: "CRS") -> "Vectors":
        """Project to another CRS in metres."""
        if self.crs is None or self.crs == crs:
            return self
        return replace(self, frame=self.frame.to_crs(crs))
