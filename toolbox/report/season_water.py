"""Water of a season: temperature as colour, oxygen as lines, over depth and time."""

import warnings
from typing import Any

import numpy as np

from toolbox.layers import Profiles
from toolbox.report.drawing import INK, PAPER
from toolbox.report.figure_style import Look, date_axis, fitted, points_across
from toolbox.water.series import ProfileSeries

__all__ = ["Readings", "draw_water", "number_oxygen"]

_OXYGEN = (1.0, 2.0, 4.0, 6.0, 8.0)
_COLUMNS, _ROWS = 240, 120


class Readings:
    """What was read at the stations, and temperature and oxygen between the readings."""

    def __init__(self, profiles: Profiles, stations: tuple[str, ...] | None) -> None:
        frame = profiles.frame
        at = frame if stations is None else frame[frame["station"].isin(stations)]
        self.days, self.depths = at["time"].dt.tz_localize(None), at["depth_m"].to_numpy(float)
        self.warmth = ProfileSeries.of(profiles, "temperature_c", stations=stations)
        self.oxygen = None
        if at["oxygen_mg_l"].notna().any():
            self.oxygen = ProfileSeries.of(profiles, "oxygen_mg_l", stations=stations)

    def field(self, series: ProfileSeries) -> tuple[Any, np.ndarray, np.ndarray]:
        """Return times (t,), depths (d,) in m, and values (d, t) of a series."""
        import pandas as pd

        depths = np.linspace(0.0, max(float(self.depths.max()), 1.0), _ROWS)
        times = pd.date_range(series.first, series.last, periods=_COLUMNS)
        return times.tz_localize(None), depths, series.at(times, depths).T


def draw_water(figure: Any, axes: Any, read: Readings, look: Look) -> Any:
    """Draw temperature, oxygen and readings; return the lines of oxygen, None if there are none."""
    times, depths, values = read.field(read.warmth)
    shading = axes.pcolormesh(
        *(times, look.length(depths), values),
        cmap=look.ramp(_thermal),
        shading="nearest",
        rasterized=True,
        gid="temperature",
    )
    bar = figure.colorbar(shading, ax=axes, pad=0.01, aspect=18)
    bar.set_label("temperature, \u00b0C", fontsize=7, color=INK)
    bar.ax.tick_params(labelsize=6, colors=INK)
    lines = None
    told = "Temperature (colour)" if not look.grey else "Temperature (grey)"
    if read.oxygen is not None and len(read.oxygen.times) > 1:
        lines = _draw_oxygen(axes, *read.field(read.oxygen), look)
    if lines is not None:
        told += ", oxygen (lines, mg/L)"
    dots = look.length(read.depths)
    axes.plot(
        read.days, dots, ".", color=PAPER, mec=INK, mew=0.25, ms=3.0, clip_on=False, gid="readings"
    )
    axes.set_ylim(look.length(depths[-1]), 0)
    axes.set_ylabel(f"depth below the surface, {look.unit}")
    room = 0.85 * points_across(figure)
    axes.set_title(fitted(f"{told} and readings (dots)", room, 8), loc="left", fontsize=8)
    date_axis(axes)
    return lines


def _thermal() -> Any:
    from matplotlib.colors import ListedColormap

    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DeprecationWarning)  # of the ramps' own making
        import cmocean
    return ListedColormap(cmocean.cm.thermal(np.linspace(0, 1, 256)), name="temperature")


def _draw_oxygen(axes: Any, times: Any, depths: np.ndarray, values: np.ndarray, look: Look) -> Any:
    known = values[np.isfinite(values)]
    inside = [v for v in _OXYGEN if len(known) and known.min() < v < known.max()]
    if not inside:
        return None
    colour, _ = _pen(look)
    lines = axes.contour(times, look.length(depths), values, inside, colors=colour, linewidths=0.9)
    lines.set_path_effects(_rim(look))
    return lines


def number_oxygen(axes: Any, lines: Any, look: Look) -> None:
    """Write its number on each line of oxygen, where it is farthest from the edges.

    Once the layout is settled: the numbers part their lines.
    """
    places = [_inmost(axes, path.vertices) for path in lines.get_paths() if len(path.vertices)]
    for number in axes.clabel(lines, fontsize=6.5, fmt="%g", manual=places):
        number.set_path_effects(_rim(look))


def _inmost(axes: Any, places: np.ndarray) -> np.ndarray:
    """Return the place, of those given, that is farthest from the edges of the axes."""
    share = axes.transAxes.inverted().transform(axes.transData.transform(places))
    return np.asarray(places[np.minimum(share, 1 - share).min(axis=1).argmax()])


def _pen(look: Look) -> tuple[str, str]:
    """Colours of lines over the temperatures, and of what parts them from these."""
    return (INK, PAPER) if look.grey else (PAPER, INK)


def _rim(look: Look) -> list[Any]:
    from matplotlib.patheffects import withStroke

    return [withStroke(linewidth=1.9, foreground=_pen(look)[1], alpha=0.55)]
