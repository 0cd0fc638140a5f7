"""Quality: what the published accuracy standards ask, and what a survey gives."""

import math
from dataclasses import dataclass

import numpy as np

from toolbox.layers import Soundings, Table
from toolbox.reduction.offsets import line_offsets
from toolbox.tool import tool

__all__ = [
    "ORDERS",
    "Order",
    "crossing_statistics",
    "line_offsets",
    "nssda_vertical",
    "survey_orders",
]

NORMAL_95 = 1.96
"""Standard deviations that hold 95 % of normal errors, as NSSDA rounds it."""

CIRCULAR_95 = math.sqrt(-2 * math.log(0.05))
"""The same for a place whose errors on both axes are alike (derived)."""


@dataclass(frozen=True)
class Order:
    """What an order of IHO S-44 asks of a survey, all at 95 %.

    Parameters
    ----------
    name : str
        Of the order.
    fixed, share : float
        Part of the vertical uncertainty that does not depend on depth, m, and that which does.
    place, place_share : float
        The same of the horizontal uncertainty, m; these two add up.

    References
    ----------
    IHO 2020, Standards for Hydrographic Surveys S-44, edition 6, Table 1 and section 3.2.3.
    """

    name: str
    fixed: float
    share: float
    place: float
    place_share: float

    def vertical(self, depth: np.ndarray) -> np.ndarray:
        """Return the greatest total vertical uncertainty (TVU) allowed at depths, m.

        Parameters
        ----------
        depth : array
            Depths, m; the standard knows none above the water.

        Returns
        -------
        array
            ``sqrt(fixed^2 + (share depth)^2)``.
        """
        return np.hypot(self.fixed, self.share * np.maximum(depth, 0.0))

    def horizontal(self, depth: np.ndarray) -> np.ndarray:
        """Return the greatest total horizontal uncertainty (THU) allowed at depths, m."""
        return self.place + self.place_share * np.maximum(depth, 0.0)


ORDERS = (
    Order("Exclusive", 0.15, 0.0075, 1.0, 0.0),
    Order("Special", 0.25, 0.0075, 2.0, 0.0),
    Order("1a", 0.5, 0.013, 5.0, 0.05),
    Order("1b", 0.5, 0.013, 5.0, 0.05),
    Order("2", 1.0, 0.023, 20.0, 0.1),
)
"""The orders of edition 6, the strictest first."""


def nssda_vertical(errors: np.ndarray) -> tuple[float, float]:
    """Return the vertical accuracy of the US National Standard for Spatial Data Accuracy.

    Parameters
    ----------
    errors : (n,) array
        Depths less those of an independent source of higher accuracy, m; NaN are left out.

    Returns
    -------
    rmse, accuracy : float
        Root mean square error, and 1.96 times it: for normal errors the accuracy at 95 %, m. Both
        are NaN without errors.

    References
    ----------
    FGDC 1998, Geospatial Positioning Accuracy Standards, Part 3, FGDC-STD-007.3-1998.
    """
    known = np.asarray(errors, float)
    known = known[np.isfinite(known)]
    rmse = math.sqrt(float(np.mean(known**2))) if len(known) else math.nan
    return rmse, NORMAL_95 * rmse


@tool("How well crossing lines agree")
def crossing_statistics(crossings: Table) -> Table:
    """Sum up the differences where lines cross.

    Parameters
    ----------
    crossings : Table
        Of `find_crossings`: columns ``depth_a``, ``depth_b`` and ``difference``.

    Returns
    -------
    Table
        Columns ``figure``, ``value`` and ``unit``: count, mean, standard deviation (n - 1), root
        mean square, median, and 50th and 95th percentile of the absolute difference; NSSDA
        accuracy; and for each order of IHO S-44 the share of crossings within its limit. Figures
        without a crossing are NaN.

    Raises
    ------
    LayerError
        If a column is absent.

    Notes
    -----
    NSSDA's accuracy at 95 % is 1.96 times the root mean square, the other line taken for the
    truth. Since both lines err, that of one depth is smaller by the square root of 2; so is the
    limit of S-44 wider by it: two depths, each within the total vertical uncertainty (TVU) at
    95 %, differ by at most sqrt(2) TVU in 95 % of crossings. TVU is taken at their mean depth.

    References
    ----------
    FGDC 1998, FGDC-STD-007.3-1998. IHO 2020, S-44 edition 6, Table 1.
    """
    import pandas as pd

    difference = crossings.column("difference")
    depth = (crossings.column("depth_a") + crossings.column("depth_b")) / 2
    rmse, accuracy = nssda_vertical(difference)
    size = np.abs(difference)
    some = len(difference) > 0
    rows: list[tuple[str, float, str]] = [
        ("crossings", float(len(difference)), "1"),
        ("mean", float(difference.mean()) if some else math.nan, "m"),
        ("standard deviation", float(difference.std(ddof=1)) if len(size) > 1 else math.nan, "m"),
        ("root mean square", rmse, "m"),
        ("median", float(np.median(difference)) if some else math.nan, "m"),
        ("median of absolute", float(np.median(size)) if some else math.nan, "m"),
        ("95th percentile of absolute", float(np.percentile(size, 95)) if some else math.nan, "m"),
        ("NSSDA accuracy at 95 %", accuracy, "m"),
        ("NSSDA accuracy of one depth", accuracy / math.sqrt(2), "m"),
    ]
    for each in ORDERS:
        within = size <= math.sqrt(2) * each.vertical(depth)
        share = float(within.mean()) if some else math.nan
        rows.append((f"share within S-44 order {each.name}", share, "1"))
    notes = ("S-44: two depths may differ by sqrt(2) times the TVU allowed to one",)
    frame = pd.DataFrame(rows, columns=["figure", "value", "unit"])
    return Table(frame, "Crossings", (*notes, *crossings.notes))


@tool("IHO orders that soundings meet")
def survey_orders(soundings: Soundings) -> Table:
    """Tell what share of the soundings meets each order of IHO S-44, by their own spread.

    Parameters
    ----------
    soundings : Soundings
        With spreads ``sd`` and ``sd_xy`` (on each axis); only those kept count.

    Returns
    -------
    Table
        Columns ``order``, ``vertical_share`` and ``horizontal_share``, each of the soundings whose
        spread is known (NaN if none is), and ``known_share`` of those where both are.

    Notes
    -----
    The standard's uncertainties are at 95 %: 1.96 ``sd`` in depth, and 2.448 ``sd_xy`` in place,
    for errors that are normal and alike on both axes. It also asks for coverage and for the
    detection of features, which single lines of soundings do not give: what meets the figures
    here does not by that make a survey of the order.
    """
    import pandas as pd

    kept, frame = ~soundings.flag, soundings.frame
    depth, sd, sd_xy = (frame[name].to_numpy(float)[kept] for name in ("depth", "sd", "sd_xy"))
    rows = [
        {
            "order": each.name,
            "vertical_share": _share(NORMAL_95 * sd, each.vertical(depth)),
            "horizontal_share": _share(CIRCULAR_95 * sd_xy, each.horizontal(depth)),
            "known_share": float(np.isfinite(sd + sd_xy).mean()) if kept.any() else math.nan,
        }
        for each in ORDERS
    ]
    note = "spread of the soundings alone: coverage and features are not judged"
    return Table(pd.DataFrame(rows), "IHO S-44 edition 6", (note,))


def _share(uncertainty: np.ndarray, allowed: np.ndarray) -> float:
    """Return the share of known uncertainties within what is allowed."""
    known = np.isfinite(uncertainty)
    return float((uncertainty <= allowed)[known].mean()) if known.any() else math.nan
