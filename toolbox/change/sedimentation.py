"""Sedimentation: how fast a water fills, and how long it will last."""

import math
from datetime import date
from typing import Annotated

import numpy as np

from toolbox.bed.uncertainty import band
from toolbox.change.comparison import FIELDS, Comparison, compare
from toolbox.errors import LayerError, ParameterError
from toolbox.layers import Table, Tin
from toolbox.tool import Range, tool
from toolbox.volume.hypsography import area_and_volume

__all__ = ["sedimentation"]

_YEAR = 365.2425  # days


@tool("Sedimentation and storage left")
def sedimentation(
    before: Tin,
    after: Tin,
    *,
    date_before: str,
    date_after: str,
    shift: Annotated[float, Range("m")] = 0.0,
    datum_sd: Annotated[float, Range("m", min=0)] = 0.0,
    sd_before: Annotated[float, Range("m", min=0)] | None = None,
    sd_after: Annotated[float, Range("m", min=0)] | None = None,
    correlation_range: Annotated[float, Range("m", above=0)] | None = None,
    cell: Annotated[float, Range("m", above=0)] | None = None,
    seed: Annotated[int, Range("", min=0)] = 0,
) -> Table:
    """Tell how fast a water fills with sediment, from two surveys, and when it would be full.

    Parameters
    ----------
    before : Tin
        The earlier bed.
    after : Tin
        The later bed, in the same CRS and below the same datum.
    date_before : str
        Day of the earlier survey, such as 2009-06-30.
    date_after : str
        Day of the later survey.
    shift : float
        Rise of the bed that is none, as from another datum: it is taken off.
    datum_sd : float
        One standard deviation of the difference of the two surveys' levels, if the beds' own
        errors do not hold it.
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
        Columns ``measure, value, low, high, unit, source``, the ends those of the 90 % band:
        years between the surveys, net deposition, sedimentation rate by volume (m3/year) and by
        depth (mm/year, over the common ground), storage left below the level of the water's edge,
        storage lost per year (% of the storage at the earlier survey), and years of storage left
        at that rate (infinite where the water may not be filling at all).

    Raises
    ------
    LayerError
        If the beds lie in different CRS or have no ground in common, or the earlier one holds no
        water.
    ParameterError
        If a date is none, or the later survey is not later; if a bed's error is not known, or
        nothing tells how it is correlated.

    Notes
    -----
    A net rate: deposition less erosion over the whole common water, sediment as it lies, with the
    water in it. Years left take the rate as lasting, yet sediment settles under its own weight and
    a shallower water traps less of it. The error of the storage left is that of the later bed and
    small beside that of the rate; it is left out.
    """
    import pandas as pd

    first, last = _day("date_before", date_before), _day("date_after", date_after)
    years = (last - first).days / _YEAR
    if years <= 0:
        raise ParameterError(f"date_after must be later than {date_before}, got {date_after}")
    two = compare(
        before,
        after,
        cell=cell,
        shift=shift,
        datum_sd=datum_sd,
        sd_before=sd_before,
        sd_after=sd_after,
        correlation_range=correlation_range,
        seed=seed,
    )
    storage = _storage(before)
    if not storage > 0:
        raise LayerError("the earlier bed holds no water below its water's edge")
    rows = _rows(two, years, storage, _storage(after))
    frame = pd.DataFrame(rows, columns=["measure", "value", "low", "high", "unit", "source"])
    notes = (f"low and high: 90 % band of {FIELDS} fields of error", *two.notes)
    return Table(frame, "Sedimentation and storage left", notes)


def _day(name: str, text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError as error:
        raise ParameterError(f"{name} must be a day such as 2009-06-30, got {text!r}") from error


def _storage(bed: Tin) -> float:
    edge = 0.0 if bed.shore_depth is None else bed.shore_depth
    return float(area_and_volume(bed, np.array([edge]))[1][0])


_Row = tuple[str, float, float, float, str, str]


def _rows(two: Comparison, years: float, storage: float, left: float) -> list[_Row]:
    net, area = float(two.rise @ two.ground), float(two.ground.sum())
    errors = two.errors @ two.ground.astype(np.float32)
    low, high = (net - float(end) for end in band(errors.astype(float))[::-1])
    none = float("nan")

    def scaled(measure: str, factor: float, unit: str, source: str) -> _Row:
        return measure, net * factor, low * factor, high * factor, unit, source

    lasting = (
        _lasting(left, net / years),
        _lasting(left, high / years),
        _lasting(left, low / years),
    )
    return [
        ("years between", years, none, none, "year", f"of {_YEAR} days"),
        scaled("net deposition", 1.0, "m3", "over all common ground"),
        scaled("sedimentation rate", 1 / years, "m3/year", "net deposition / years"),
        scaled("mean rise of the bed", 1000 / area / years, "mm/year", "rate / common ground"),
        ("storage left", left, none, none, "m3", "later bed, below its water's edge"),
        scaled("storage lost", 100 / storage / years, "%/year", "of that at the earlier survey"),
        ("years of storage left", *lasting, "year", "storage left / rate"),
    ]


def _lasting(storage: float, rate: float) -> float:
    return storage / rate if rate > 0 else math.inf
