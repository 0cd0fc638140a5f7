"""Season: temperature and oxygen over depth and time, and how much water suits each species."""

from typing import Any

from toolbox.errors import LayerError
from toolbox.formats.picture_file import picture_bytes
from toolbox.layers import Picture, Profiles, Table
from toolbox.report.figure_style import (
    FULL_WIDTH,
    Dots,
    Height,
    Look,
    Unit,
    Width,
    head,
    legend_below,
    picture,
    points_across,
    settle,
)
from toolbox.report.season_species import draw_suitable, species_of
from toolbox.report.season_water import Readings, draw_water, number_oxygen
from toolbox.tool import tool
from toolbox.water.series import ProfileSeries

__all__ = ["draw_season", "season_png"]

_PANEL, _AROUND = 76.0, 10.0  # height of a panel and of what surrounds them, mm
_REPORT_WIDTH, _REPORT_PANEL, _REPORT_DOTS = 218.4, 86.4, 160  # of the picture in reports


@tool("Figure of the season")
def draw_season(
    profiles: Profiles,
    suitable: Table | None = None,
    *,
    stations: tuple[str, ...] | None = None,
    title: str = "",
    unit: Unit = "m",
    width: Width = FULL_WIDTH,
    height: Height | None = None,
    dpi: Dots = 300,
    grey: bool = False,
) -> Picture:
    """Draw temperature and oxygen over depth and time, and the water that suits each species.

    Parameters
    ----------
    profiles : Profiles
        With temperatures on two days at least.
    suitable : Table, optional
        Of `suitable_water`; the first four species are drawn.
    stations : tuple of str, optional
        Stations to average; all if left out.
    title : str
        Above the figure, taken literally.
    unit : str
        Of depths: m, or ft of 0.3048 m with acre-feet.
    width : float
        Of the figure on paper.
    height : float, optional
        Of the figure on paper; if left out, as the number of panels asks for.
    dpi : int
        Dots to an inch of a PNG, and of the shading in SVG and PDF.
    grey : bool
        Greys instead of colours.

    Returns
    -------
    Picture
        Temperature as colour, oxygen as lines and readings as dots, depth downward; below it, if
        given, the volume of suitable water of each species with its band, over the same time.

    Raises
    ------
    LayerError
        If there are fewer than two days with temperatures, or a column of `suitable` is missing.
    ParameterError
        If there is no such station.

    Notes
    -----
    Between visits values are linear in time, between readings linear in depth; nothing is drawn
    where nothing was read around.
    """
    if not _has_season(profiles, stations):
        raise LayerError("profiles must have temperatures on two days at least to draw a season")
    panels = 1 if suitable is None or not len(suitable.frame) else 2
    tall = height or _AROUND + _PANEL * panels
    return _season(profiles, suitable, stations, title, Look(unit, grey), (width, tall, dpi))


def season_png(profiles: Profiles, suitable: Table | None = None) -> bytes | None:
    """Draw the season for a report.

    Parameters
    ----------
    profiles, suitable
        As of :func:`draw_season`.

    Returns
    -------
    bytes or None
        PNG. None where there is no season: fewer than two days with temperatures.
    """
    if not _has_season(profiles, None):
        return None
    panels = 1 if suitable is None or not len(suitable.frame) else 2
    size = _REPORT_WIDTH, panels * _REPORT_PANEL, _REPORT_DOTS
    return picture_bytes(_season(profiles, suitable, None, "", Look(), size))


def _has_season(profiles: Profiles, stations: tuple[str, ...] | None) -> bool:
    if profiles.frame["temperature_c"].notna().sum() == 0:
        return False
    return len(ProfileSeries.of(profiles, "temperature_c", stations=stations).times) > 1


def _season(
    profiles: Profiles,
    suitable: Table | None,
    stations: tuple[str, ...] | None,
    title: str,
    look: Look,
    size: tuple[float, float, int],
) -> Picture:
    some = suitable is not None and len(suitable.frame) > 0
    species = species_of(suitable, look) if suitable is not None and some else []
    read = Readings(profiles, stations)

    def draw(figure: Any) -> None:
        upper, *lower = figure.subplots(1 + bool(species), 1, sharex=True, squeeze=False)[:, 0]
        lines = draw_water(figure, upper, read, look)
        if lower:
            draw_suitable(lower[0], species, look, 0.85 * points_across(figure))
            legend_below(figure, lower[0].get_lines())
        head(figure, title)
        settle(figure)
        if lines is not None:
            number_oxygen(upper, lines, look)

    width, height, dpi = size
    return picture(draw, what="Season", title=title, width=width, height=height, dpi=dpi)
