"""Survey orders: how much of the bed is known as well as the standard of hydrography asks."""

import numpy as np

from toolbox.errors import LayerError
from toolbox.layers import Table, Tin
from toolbox.reduction.quality import NORMAL_95, ORDERS
from toolbox.tool import tool

__all__ = ["survey_order_share"]


@tool("IHO orders that the bed meets")
def survey_order_share(bed: Tin) -> Table:
    """Tell what share of the bed is known as well as each order of IHO S-44 asks of depths.

    Parameters
    ----------
    bed : Tin
        A fitted bed.

    Returns
    -------
    Table
        For each ``order`` the uncertainty it allows where this bed is shoalest and deepest,
        ``allowed_shoalest_m`` and ``allowed_deepest_m``, and the part of the bed within what is
        allowed at its depth: ``area_share`` and ``area_m2`` on the ground.

    Raises
    ------
    LayerError
        If the bed does not know its error.

    Notes
    -----
    The standard's uncertainty is at 95 %: 1.96 ``sd``. What is left of the allowance is taken as
    linear over each triangle, and the part of the triangle where something is left is exact.

    Orders also ask for the accuracy of positions, for coverage of the whole bed and for the
    detection of features (1a and 1b differ in the last two alone). A standard judges what was
    measured; this judges what is believed between the readings too. So a share of 100 % says that
    depths are known well enough, and not that the survey is of the order.

    References
    ----------
    IHO 2020, Standards for Hydrographic Surveys S-44, edition 6, Table 1.
    """
    import pandas as pd

    if bed.sd is None:
        raise LayerError("the bed has no sd: only a fitted bed tells its own error")
    areas, uncertainty = bed.ground_areas(), NORMAL_95 * bed.sd
    whole = float(areas.sum())
    rows = []
    for each in ORDERS:
        left = each.vertical(bed.depth) - uncertainty
        area = float(areas @ _share_above_zero(left[bed.triangles]))
        least, most = each.vertical(np.array([bed.depth.min(), bed.depth.max()]))
        rows.append((each.name, float(least), float(most), area / whole, area))
    columns = ["order", "allowed_shoalest_m", "allowed_deepest_m", "area_share", "area_m2"]
    note = (
        "95 % uncertainty of the depth alone: an order also asks for the accuracy of positions, "
        "for coverage of the whole bed and for the detection of features, which this does not show"
    )
    return Table(pd.DataFrame(rows, columns=columns), "The bed by IHO S-44 edition 6", (note,))


def _share_above_zero(corners: np.ndarray) -> np.ndarray:
    """Return the share of triangles (m,) where values linear between corners (m, 3) are >= 0."""
    low, middle, high = np.sort(corners, axis=1).T
    with np.errstate(divide="ignore", invalid="ignore"):
        below = low**2 / ((middle - low) * (high - low))
        above = high**2 / ((high - low) * (high - middle))
    mixed = np.where(middle >= 0, 1 - below, above)
    return np.where(low >= 0, 1.0, np.where(high < 0, 0.0, mixed))
