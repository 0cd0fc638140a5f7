"""Bar check: a bar held at known depths tells how an echo sounder reads."""

import math
from dataclasses import dataclass, replace
from typing import Annotated

import numpy as np

from toolbox.errors import LayerError
from toolbox.layers import Soundings, Table
from toolbox.notes import Caution
from toolbox.tool import Range, tool

__all__ = ["BarCheck", "apply_bar_check", "fit_bar_check", "fit_bars"]

_ENOUGH = 3
_Z95 = 1.959964
_SPECIAL = (0.25, 0.0075)  # IHO S-44, 6th ed., special order: fixed (m) and depth-dependent part


@dataclass(frozen=True, eq=False)
class BarCheck:
    """How an instrument reads: true depth = offset + scale x reading.

    Parameters
    ----------
    offset, scale : float
        The fit; m and 1.
    offset_sd, scale_sd : float
        Standard errors; NaN where the bars do not tell.
    residual_sd : float
        Scatter of the bars about the fit, m; NaN where they leave none.
    residuals : (n,) array
        Depth of each bar less its fitted depth, m.
    notes : tuple of str
        What makes the fit doubtful.
    """

    offset: float
    scale: float
    offset_sd: float
    scale_sd: float
    residual_sd: float
    residuals: np.ndarray
    notes: tuple[str, ...] = ()


def fit_bars(bar: np.ndarray, reading: np.ndarray) -> BarCheck:
    """Fit offset and scale to bars by least squares.

    Parameters
    ----------
    bar : (n,) array
        Depth of the bar below the water surface, m.
    reading : (n,) array
        What the instrument read over it, m.

    Returns
    -------
    BarCheck
        Scale 1 and the mean difference as offset where all bars were at one depth.

    Raises
    ------
    LayerError
        If there is no bar, or a figure is missing.

    Notes
    -----
    The scatter is called large where it takes more than a third of what IHO S-44 (6th edition)
    leaves to all errors together at the deepest bar in the special order: a part smaller than
    that widens the whole by less than 6 %.
    """
    bar, reading = np.asarray(bar, float), np.asarray(reading, float)
    if not len(bar) or not np.isfinite([bar, reading]).all():
        raise LayerError("a bar check needs a bar and a reading in every row")
    apart = reading - reading.mean()
    spread = float(apart @ apart)
    level = not spread > len(bar) * 1e-12  # readings within a thousandth of a millimetre
    scale = 1.0 if level else float(apart @ bar) / spread
    offset = float(bar.mean() - scale * reading.mean())
    residuals = bar - offset - scale * reading
    freedom = len(bar) - (1 if level else 2)
    sd = math.sqrt(float(residuals @ residuals) / freedom) if freedom > 0 else math.nan
    scale_sd = math.nan if level else sd / math.sqrt(spread)
    offset_sd = sd / math.sqrt(len(bar))
    if not level:
        offset_sd = math.hypot(offset_sd, scale_sd * float(reading.mean()))
    notes = _doubts(bar, residuals, sd, level)
    return BarCheck(offset, scale, offset_sd, scale_sd, sd, residuals, notes)


def _doubts(bar: np.ndarray, residuals: np.ndarray, sd: float, level: bool) -> tuple[str, ...]:
    notes = []
    if level:
        notes.append(
            Caution("the bars were all at one depth, which tells no scale: it is taken as 1")
        )
    if len(bar) < _ENOUGH:
        bars = "1 bar shows" if len(bar) == 1 else f"{len(bar)} bars show"
        notes.append(Caution(f"{bars} no mistake; hold it at {_ENOUGH} depths or more"))
    allowed = math.hypot(_SPECIAL[0], _SPECIAL[1] * float(bar.max())) / _Z95 / 3
    if sd > allowed:
        worst = int(np.abs(residuals).argmax())
        notes.append(
            Caution(
                f"the bars scatter by {sd:.3f} m (sd) about the fit, more than {allowed:.3f} m; "
                f"the worst is the one at {bar[worst]:g} m, off by {residuals[worst]:+.3f} m"
            )
        )
    return tuple(notes)


@tool("Bar check: offset and scale of an echo sounder")
def fit_bar_check(bars: Table, *, bar: str = "bar_m", reading: str = "reading_m") -> Table:
    """Find offset and scale of an instrument from readings over a bar at known depths.

    Parameters
    ----------
    bars : Table
        One row per bar held under the transducer.
    bar : str
        Column of the bar's depths below the water surface, m.
    reading : str
        Column of what the instrument read, m.

    Returns
    -------
    Table
        Columns ``measure, value, unit, sd``: offset and scale, with standard errors, for true
        depth = offset + scale x reading; the scatter about that line; the residual of each bar.
        Notes say what makes the fit doubtful: fewer than three bars, or large scatter.

    Raises
    ------
    LayerError
        If there is no bar, or a figure is missing.

    Notes
    -----
    The offset holds draft and delay of the instrument, the scale its speed of sound: after a bar
    check neither is to be corrected again.

    References
    ----------
    US Army Corps of Engineers 2002, Hydrographic Surveying, EM 1110-2-1003, chapter 9.
    """
    import pandas as pd

    depth = bars.column(bar)
    fit = fit_bars(depth, bars.column(reading))
    rows = [
        ("offset", fit.offset, "m", fit.offset_sd),
        ("scale", fit.scale, "1", fit.scale_sd),
        ("scatter of the bars", fit.residual_sd, "m", math.nan),
        *(
            (f"residual at {at:g} m", residual, "m", math.nan)
            for at, residual in zip(depth, fit.residuals, strict=True)
        ),
    ]
    frame = pd.DataFrame(rows, columns=["measure", "value", "unit", "sd"])
    return Table(frame, "Bar check", fit.notes)


@tool("Depths corrected by a bar check")
def apply_bar_check(
    soundings: Soundings,
    *,
    offset: Annotated[float, Range("m")] = 0.0,
    scale: Annotated[float, Range("", above=0)] = 1.0,
) -> Soundings:
    """Bring depths as read to true depths by the offset and scale of a bar check.

    Parameters
    ----------
    soundings : Soundings
        Depths as the instrument read them.
    offset : float
        What is added.
    scale : float
        What depths are multiplied by before.

    Returns
    -------
    Soundings
        Depth: offset + scale x depth. The column ``bar_check_correction`` holds what was added,
        m; depths to plant tops in the column ``canopy`` are corrected alike.

    Raises
    ------
    LayerError
        If the soundings are corrected already, by a bar check or for the speed of sound.
    """
    for done in ("bar_check_correction", "sound_speed_correction"):
        if done in soundings.frame:
            raise LayerError(
                f"the soundings have a {done} already: a bar check holds both draft and speed"
            )
    depth = offset + scale * soundings.depth
    changed = {"depth": depth, "bar_check_correction": depth - soundings.depth}
    if "canopy" in soundings.frame:
        changed["canopy"] = offset + scale * soundings.frame["canopy"].to_numpy(float)
    note = f"depths corrected by a bar check: {offset:+.3f} m + {scale:.5f} x reading"
    frame = soundings.frame.assign(**changed)
    return replace(soundings, frame=frame, notes=(*soundings.notes, note))
