"""Change limits: what two surveys can show, before they are made."""

from typing import Annotated

from toolbox.change.comparison import limit_of_detection, quantile
from toolbox.change.noise import spherical_sd_of_mean
from toolbox.layers import Table
from toolbox.tool import Range, tool

__all__ = ["change_limits"]


@tool("Smallest change two surveys can show")
def change_limits(
    *,
    sd_before: Annotated[float, Range("m", min=0)],
    sd_after: Annotated[float, Range("m", min=0)],
    area: Annotated[float, Range("m^2", above=0)],
    correlation_range: Annotated[float, Range("m", min=0)],
    datum_sd: Annotated[float, Range("m", min=0)] = 0.0,
    confidence: Annotated[float, Range("", above=0, max=0.9999)] = 0.95,
) -> Table:
    """Tell what change of the bed two surveys can show, before they are made.

    Parameters
    ----------
    sd_before : float
        One standard deviation of a depth of the earlier survey.
    sd_after : float
        One standard deviation of a depth of the later survey.
    area : float
        Of the ground over which change is added up.
    correlation_range : float
        Distance beyond which the errors of two depths have nothing to do with each other (the
        range of a spherical variogram), such as the spacing of the lines.
    datum_sd : float
        One standard deviation of the difference of the two surveys' levels.
    confidence : float
        With which what is beyond a limit is no chance.

    Returns
    -------
    Table
        Columns ``measure, value, unit, source``: the limit of detection at one place
        t sqrt(s1^2 + s2^2 + s_datum^2), t the normal quantile (1.96 of 95 %); the sd of the mean
        change over the area, sqrt((s1^2 + s2^2) f^2 + s_datum^2), where f^2 is
        1 - h + h^3 / 5 with h = radius / range of a round area smaller than the range, and
        0.2 pi range^2 / area of a larger one; and the limits of the mean and of the volume.

    Notes
    -----
    What all depths of a survey have in common does not average out: over a large area it is all
    that is left.

    References
    ----------
    Lane, Westaway & Hicks 2003, Earth Surface Processes and Landforms 28:249; Wheaton et al. 2010,
    ibid. 35:136 (limit at a place); Rolstad, Haug & Denby 2009, Journal of Glaciology 55:666
    (correlated error); Anderson 2019, Earth Surface Processes and Landforms 44:1015 (systematic
    error; all from memory).
    """
    import pandas as pd

    t = quantile(confidence)
    place = limit_of_detection(sd_before, sd_after, t, datum_sd)
    share = spherical_sd_of_mean(area, correlation_range)
    mean_sd = float(limit_of_detection(sd_before * share, sd_after * share, 1.0, datum_sd))
    beyond = f"{confidence:.4g} confidence"
    rows = [
        ("limit at a place", float(place), "m", f"t sqrt(s1^2 + s2^2 + s_datum^2), {beyond}"),
        ("sd of the mean change", mean_sd, "m", "correlated and common errors"),
        ("limit of the mean change", t * mean_sd, "m", beyond),
        ("sd of the volume", mean_sd * area, "m3", "sd of the mean change times area"),
        ("limit of the volume", t * mean_sd * area, "m3", beyond),
    ]
    return Table(
        pd.DataFrame(rows, columns=["measure", "value", "unit", "source"]),
        "Smallest change two surveys can show",
    )
