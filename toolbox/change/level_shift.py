"""Level shift: whether two surveys were reduced to the same water level."""

from typing import Annotated

import numpy as np

from toolbox.bed.uncertainty import band
from toolbox.change.bed_change import inside
from toolbox.change.comparison import Comparison, compare, quantile
from toolbox.layers import Table, Tin, Vectors
from toolbox.layers.crs import check_same_crs
from toolbox.tool import Range, tool
from toolbox.volume.bands import weighted_median

__all__ = ["level_shift"]


@tool("Shift of level between two surveys")
def level_shift(
    before: Tin,
    after: Tin,
    stable: Vectors | None = None,
    *,
    confidence: Annotated[float, Range("", min=0.5, max=0.99)] = 0.95,
    sd_before: Annotated[float, Range("m", min=0)] | None = None,
    sd_after: Annotated[float, Range("m", min=0)] | None = None,
    correlation_range: Annotated[float, Range("m", above=0)] | None = None,
    cell: Annotated[float, Range("m", above=0)] | None = None,
    seed: Annotated[int, Range("", min=0)] = 0,
) -> Table:
    """Test whether one survey lies higher than another as a whole, as a wrong datum would have it.

    Parameters
    ----------
    before : Tin
        The earlier bed.
    after : Tin
        The later bed, in the same CRS and below the same datum.
    stable : Vectors, optional
        Polygons of ground that did not change, such as bare rock and old piers; if left out, the
        whole common water.
    confidence : float
        With which a shift that is told is no chance.
    sd_before : float, optional
        One standard deviation of the depth of an earlier bed that knows no error of its own.
    sd_after : float, optional
        The same of the later bed.
    correlation_range : float, optional
        Distance beyond which the errors of a bed without draws have nothing to do with each other.
    cell : float, optional
        Width of the cells compared; if left out, as for the table of change.
    seed : int
        Of the simulated errors.

    Returns
    -------
    Table
        Columns ``measure, value, low, high, unit, source``:

        - level shift, m, positive where the later bed lies higher, with its 90 % band: the mean
          change of the stable ground, or else the median change of all, on which a deposit here
          and there tells little;
        - limit of the shift, m, what it must exceed to be no chance; shift found, 1 or 0;
        - share of the change explained: how much of the mean square change the shift takes away;
        - net change, and net change without the shift, m3.

    Raises
    ------
    LayerError
        If the layers lie in different CRS or have no ground in common.
    ParameterError
        If a bed's error is not known, or nothing tells how it is correlated.

    Notes
    -----
    Without stable ground nobody can tell a shift of the datum from sediment laid down evenly, or
    from a bed that settled. A shoreline that both beds are tied to does not move with the datum:
    of two fitted beds the median is that of the open water. To take the shift off, give it as
    `shift` to the tools of change, and its sd as `datum_sd`.
    """
    import pandas as pd

    check_same_crs(before=before, after=after, stable=stable)
    two = compare(
        before,
        after,
        cell=cell,
        sd_before=sd_before,
        sd_after=sd_after,
        correlation_range=correlation_range,
        seed=seed,
    )
    held = np.ones(len(two.rise), bool)
    if stable is not None:
        held = np.any([*inside(two, stable).values()], axis=0)
    rows = _rows(two, held, stable is not None, confidence)
    frame = pd.DataFrame(rows, columns=["measure", "value", "low", "high", "unit", "source"])
    return Table(
        frame, "Shift of level between two surveys", (_verdict(rows, confidence), *two.notes)
    )


_Row = tuple[str, float, float, float, str, str]


def _rows(two: Comparison, held: np.ndarray, stable: bool, confidence: float) -> list[_Row]:
    weight = two.ground[held]

    def middle(change: np.ndarray) -> float:
        if stable:
            return float(np.average(change[held], weights=weight))
        return weighted_median(np.asarray(change[held], float), weight)

    shift = middle(two.rise)
    errors = np.array([middle(error) for error in two.errors])
    low, high = (shift - float(end) for end in band(errors)[::-1])
    limit = quantile(confidence) * float(errors.std())
    before = float(two.rise**2 @ two.ground)
    left = float((two.rise - shift) ** 2 @ two.ground)
    net, area = float(two.rise @ two.ground), float(two.ground.sum())
    ground = "mean of the stable ground" if stable else "median of all common ground"
    none = float("nan")
    return [
        ("level shift", shift, low, high, "m", ground),
        ("limit of the shift", limit, none, none, "m", f"{confidence:.4g} confidence"),
        ("shift found", float(abs(shift) > limit), none, none, "1", "1 if beyond the limit"),
        (
            "share of the change explained",
            1 - left / before if before else 0.0,
            none,
            none,
            "1",
            "of the mean square",
        ),
        ("net change", net, none, none, "m3", "positive where the bed rose"),
        ("net change without the shift", net - shift * area, none, none, "m3", "less shift x area"),
    ]


def _verdict(rows: list[_Row], confidence: float) -> str:
    shift, limit, found, explained = (row[1] for row in rows[:4])
    if not found:
        return (
            f"no shift of level beyond its limit of {limit:.3f} m ({confidence:.4g} confidence): "
            "these surveys cannot tell a smaller one"
        )
    way = "higher" if shift > 0 else "lower"
    return (
        f"the later bed lies {abs(shift):.3f} m {way} as a whole, {explained:.0%} of the mean "
        "square change: another datum, or change laid evenly over the bed"
    )
