"""Depth colours: a grid as a picture in another projection, for a globe or a phone."""

import textwrap
import warnings
from dataclasses import dataclass
from functools import cached_property
from io import BytesIO
from typing import TYPE_CHECKING, Any

import numpy as np

from toolbox.errors import LayerError
from toolbox.formats.captions import CAUTION, check_on_earth, plain
from toolbox.layers import Grid

if TYPE_CHECKING:
    from affine import Affine

__all__ = [
    "INK",
    "PAPER",
    "DepthColours",
    "depth_ramp",
    "extent",
    "png",
    "readable",
    "shares",
    "trimmed",
]

INK, PAPER = "#22303a", "#ffffff"
_PALE = 0.45  # luminance above which ink is read better than paper
_RAMP = 256


@dataclass(frozen=True, eq=False)
class DepthColours:
    """A grid and the colours of its values.

    Parameters
    ----------
    grid : Grid
        Tied to the earth.
    ramp : (n, 3) array of uint8, optional
        Colours from the least value to the greatest; if left out, a ramp for depths that is even
        to the eye, also in grey and to the colour-blind.

    Raises
    ------
    LayerError
        If the grid lies on a plane or is empty.
    """

    grid: Grid
    ramp: np.ndarray | None = None

    def __post_init__(self) -> None:
        check_on_earth(self.grid.crs, self.grid.name)
        if not np.isfinite(self.grid.values).any():
            raise LayerError(f"{self.grid.name} must have a value somewhere, got none")

    @cached_property
    def limits(self) -> tuple[float, float]:
        """Values of the first and the last colour."""
        low, high = float(np.nanmin(self.grid.values)), float(np.nanmax(self.grid.values))
        if self.grid.name == "depth":
            low = min(low, 0.0)
        return low, max(high, low + 0.01)  # a level bed has a colour too

    @cached_property
    def colours(self) -> np.ndarray:
        """The ramp, shape (n, 3), uint8."""
        return depth_ramp() if self.ramp is None else self.ramp

    @cached_property
    def table(self) -> np.ndarray:
        """The colours, and below them nothing."""
        opaque = np.column_stack([self.colours, np.full(len(self.colours), 255, np.uint8)])
        return np.vstack([opaque, np.zeros((1, 4), np.uint8)])

    def rgba(self, values: np.ndarray) -> np.ndarray:
        """Return the colours of `values`, uint8 with a last axis of 4; NaN is transparent."""
        low, high = self.limits
        most = len(self.table) - 2
        known = np.isfinite(values)
        step = np.round(shares(np.where(known, values, low), low, high) * most).astype(np.intp)
        return np.asarray(self.table[np.where(known, step, most + 1)])

    def picture(self, crs: str, transform: "Affine", shape: tuple[int, int]) -> np.ndarray:
        """Return a picture in another CRS, shape (rows, cols, 4), transparent where is no value.

        Parameters
        ----------
        crs : str
            Of the picture.
        transform : Affine
            From its column, row to coordinates in `crs`.
        shape : (int, int)
            Its rows and columns.
        """
        from rasterio.warp import Resampling, reproject

        values = np.full(shape, np.nan, np.float32)
        west, north = transform.c, transform.f
        east, south = transform @ (shape[1], shape[0])
        part = _below(self.grid, crs, (west, south, east, north), transform.a)
        if part is None:
            return self.rgba(values)
        reproject(
            part.values,
            values,
            src_transform=part.transform,
            src_crs=check_on_earth(part.crs, part.name).to_wkt(),
            src_nodata=np.nan,
            dst_transform=transform,
            dst_crs=crs,
            dst_nodata=np.nan,
            resampling=Resampling.bilinear,
            tolerance=0.05,
        )
        return self.rgba(values)

    def legend(self, title: str) -> bytes:
        """Return a PNG that tells which colour is which value."""
        from matplotlib.backends.backend_agg import FigureCanvasAgg
        from matplotlib.cm import ScalarMappable
        from matplotlib.colors import ListedColormap, Normalize
        from matplotlib.figure import Figure

        figure = Figure(figsize=(1.9, 3.1), dpi=110, facecolor=PAPER)
        canvas: Any = FigureCanvasAgg(figure)
        axes = figure.add_axes((0.12, 0.16, 0.16, 0.66))
        shading = ScalarMappable(Normalize(*self.limits), ListedColormap(self.colours / 255.0))
        bar = figure.colorbar(shading, cax=axes)
        if self.grid.name == "depth":
            axes.invert_yaxis()
        bar.ax.tick_params(labelsize=8, colors=INK)
        what = f"{self.grid.name.replace('_', ' ')}, {self.grid.unit}"
        below = textwrap.fill(CAUTION, 44)
        for height, text, size in (
            (0.94, plain(title, most=26), 8),
            (0.86, what, 8),
            (0.02, below, 5),
        ):
            figure.text(0.06, height, text, fontsize=size, color=INK, parse_math=False)
        with warnings.catch_warnings():
            warnings.filterwarnings("ignore", "Glyph .* missing from font")  # drawn as empty boxes
            canvas.draw()
        return png(np.asarray(canvas.buffer_rgba()))


def depth_ramp(deepest: float = 1.0) -> np.ndarray:
    """Return colours from shallow to deep, shape (256, 3) of uint8, even to the eye.

    Parameters
    ----------
    deepest : float
        Share of the whole ramp at which it ends; less than 1 leaves out what is nearly black.
    """
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DeprecationWarning)  # of the ramps' own making
        import cmocean
    ramp = cmocean.cm.deep(np.linspace(0, deepest, _RAMP))[:, :3]
    return np.asarray(np.round(255 * ramp), np.uint8)


def shares(values: np.ndarray, low: float, high: float) -> np.ndarray:
    """Return where values lie between `low` and `high`, 0 to 1."""
    return np.asarray(np.clip((values - low) / max(high - low, 1e-9), 0, 1))


def trimmed(grid: Grid) -> Grid:
    """Return the part of a grid that holds all its values."""
    known = np.isfinite(grid.values)
    if not known.any():
        return grid
    rows, cols = (np.flatnonzero(known.any(axis=axis))[[0, -1]] for axis in (1, 0))
    return _part(grid, slice(rows[0], rows[1] + 1), slice(cols[0], cols[1] + 1))


def _part(grid: Grid, rows: slice, cols: slice) -> Grid:
    from affine import Affine

    moved = grid.transform @ Affine.translation(cols.start, rows.start)
    return Grid(grid.values[rows, cols], moved, grid.crs, grid.name, grid.unit, grid.notes)


def _below(
    grid: Grid, crs: str, bounds: tuple[float, float, float, float], pixel: float
) -> Grid | None:
    """Return the part of a grid that a picture is made of: warping is as slow as its source."""
    import pyproj

    move = pyproj.Transformer.from_crs(crs, check_on_earth(grid.crs, grid.name), always_xy=True)
    west, south, east, north = move.transform_bounds(*bounds, densify_pts=21)
    if not np.isfinite([west, south, east, north]).all():
        return grid  # reaches beyond what its CRS maps
    left, _, _, top = grid.bounds
    across = (east - west) / max((bounds[2] - bounds[0]) / pixel, 1)
    around = 4 * max(grid.cell, across)  # metres that a pixel on the rim may take from
    rows = np.array([top - north - around, top - south + around]) // grid.cell
    cols = np.array([west - around - left, east + around - left]) // grid.cell
    spans = [
        np.clip(span.astype(int) + np.array([0, 1]), 0, count)
        for span, count in zip((rows, cols), grid.shape, strict=True)
    ]
    if any(first == last for first, last in spans):
        return None
    return _part(grid, *(slice(int(first), int(last)) for first, last in spans))


def extent(grid: Grid, crs: str) -> tuple[float, float, float, float]:
    """Return west, south, east and north of a grid in another CRS.

    Raises
    ------
    LayerError
        If it crosses the antimeridian or lies outside what `crs` can map.
    """
    import pyproj

    move = pyproj.Transformer.from_crs(check_on_earth(grid.crs, grid.name), crs, always_xy=True)
    west, south, east, north = move.transform_bounds(*grid.bounds, densify_pts=51)
    if not np.isfinite([west, south, east, north]).all() or not (west < east and south < north):
        raise LayerError(
            f"{grid.name} cannot be mapped in {crs}: it crosses the antimeridian or a pole"
        )
    return west, south, east, north


def png(picture: np.ndarray) -> bytes:
    """Return a picture, shape (rows, cols, 4) of uint8, as PNG."""
    from matplotlib.image import imsave

    file, unsigned = BytesIO(), {"Software": None}  # no version in the bytes
    imsave(file, picture, format="png", metadata=unsigned)  # type: ignore[arg-type]
    return file.getvalue()


def readable(colour: np.ndarray) -> str:
    """Return ink on a colour that is pale, and paper on one that is dark."""
    linear = (np.asarray(colour[:3], float) / 255) ** 2.2
    return INK if float(linear @ (0.2126, 0.7152, 0.0722)) > _PALE**2.2 else PAPER
