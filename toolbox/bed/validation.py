"""Validation: how far off a bed is where nothing was read, judged by whole lines left out."""

import math
from dataclasses import dataclass
from functools import cached_property
from typing import Annotated, Literal

import numpy as np

from toolbox.bed.fit import SYSTEMATIC, Fit
from toolbox.bed.fitting import fit, usable
from toolbox.bed.learning import Learnt
from toolbox.bed.leaving_out import Checks, Folds, Water, check
from toolbox.bed.problem import Problem
from toolbox.layers import Centreline, Shoreline, Soundings, Table
from toolbox.layers.crs import check_same_crs
from toolbox.notes import Caution
from toolbox.tool import Range, tool
from toolbox.words import counted

__all__ = [
    "Method",
    "MethodChoice",
    "Validation",
    "choose_method",
    "cross_validate",
]

Method = Literal["fitted", "triangulated"]

FOLDS = 8

OWN_NET = 12_000
"""Nodes up to which lines are left out of the bed on its own net; beyond, on the coarser one.

Where lines are close together and nets therefore large, both nets tell the same; casts alone ask
for the net of the bed."""

MARGIN = 0.05
"""Of the RMSE: less does not decide between methods."""

_LEAST_GROUPS = 4  # lines or blocks below which an RMSE says too little to choose by
_HELD_LEAST = 0.8  # of readings left out; fewer within their 90 % intervals: these are wrong
_TOO_DEEP = 2.0  # times the deepest sounding
_ONE_IN_TEN = 1.2816  # standard deviations of a normal count that it exceeds so often
_UNTRIED_LEAST = 0.005  # of the water


@dataclass(frozen=True, eq=False)
class MethodChoice:
    """A method to make the bed with.

    Parameters
    ----------
    method : str
        "fitted" or "triangulated".
    why : str
        One sentence for people.
    table : Table or None
        Of the cross-validation; None where there was too little to leave out.
    fit : Fit
        The fitted bed, so that nobody need fit it again.
    """

    method: Method
    why: str
    table: Table | None
    fit: Fit


@tool("Cross-validation by whole lines")
def cross_validate(
    soundings: Soundings,
    shoreline: Shoreline,
    centreline: Centreline | None = None,
    *,
    folds: Annotated[int, Range("", min=2, max=100)] = FOLDS,
) -> Table:
    """Leave whole lines out in turn, and compare what both beds say there with what was read.

    Parameters
    ----------
    soundings : Soundings
        Depths; flagged ones and those outside the water are not used.
    shoreline : Shoreline
        The water.
    centreline : Centreline, optional
        Lines along which a river or an arm runs, for the fitted bed.
    folds : int
        Into how many parts the lines are divided; each part is left out once.

    Returns
    -------
    Table
        For each ``method`` (fitted, triangulated) one row for each ``class``: all readings left
        out; the same weighed as the bed lies, so that each class of distances counts as much as it
        has of the water; then by depth and by distance to the nearest sounding that was not left
        out, each ``from_m`` to below ``to_m``. A fifth of the water lies in each class of
        distances. Columns ``count``; ``rmse_m``; ``bias_m`` (positive: the bed is deeper than was
        read); ``coverage_90``, the share of readings within the 90 % interval of the fitted bed;
        ``interval_width_m``, the mean width of that interval; and ``rmse_ratio`` to the
        triangulated bed. Empty where nothing was left out.

    Raises
    ------
    LayerError
        If layers lie in different CRS, fewer than 3 soundings lie in the water or remain in it, or
        there is but one line.

    Notes
    -----
    Single readings are never left out: their neighbours on the line would tell their depth.
    Soundings without a line are left out in blocks. What is compared are means, one for each line
    and cell of the fitted bed's net, so that slow boats and dense lines do not count for more.

    Settings of the fitted bed are learnt once, from all lines; the field is fitted again without
    each part, on the bed's own net or, if that is large, on the coarser one that it learns on.
    Its intervals are as wide as the bed states them; the error of the reading itself is
    allowed for when they are judged. Both beds are worse without a line than with it, the more so
    the wider lines are apart.

    References
    ----------
    Roberts et al. 2017, Ecography 40:913, doi:10.1111/ecog.02881 (why to leave out blocks).
    """
    check_same_crs(shoreline=shoreline, soundings=soundings, centreline=centreline)
    used = usable(soundings, shoreline)
    parts = Folds.of(used, folds)
    parts.check_enough()
    return Validation.of(fit(used, shoreline, centreline), used, parts).table


def choose_method(
    soundings: Soundings,
    shoreline: Shoreline,
    centreline: Centreline | None = None,
    *,
    folds: int = FOLDS,
    fitted: Fit | None = None,
) -> MethodChoice:
    """Choose between the fitted and the triangulated bed, and say why.

    Parameters
    ----------
    soundings, shoreline, centreline, folds
        As for :func:`cross_validate`.
    fitted : Fit, optional
        Of the same soundings, if it is there already.

    Notes
    -----
    By the RMSE at lines left out, weighed as the bed lies. A bed is clearly better if its RMSE is
    lower by more than 5 %, and if it is the nearer one at more lines than chance would give it
    once in ten times (the sign test). If neither is, the fitted bed is chosen, because it tells
    its own error; unless its RMSE is the higher one and its intervals hold fewer than 80 % of the
    readings left out, for then it does not. A fitted bed that is anywhere deeper than twice the
    deepest sounding is not chosen at all. With fewer than four lines or blocks the fitted bed is
    chosen untried.
    """
    fitted = fitted or fit(soundings, shoreline, centreline)
    used = fitted.used
    parts = Folds.of(used, folds)
    overshoot = _overshoot(fitted, used)
    if (groups := parts.lines + parts.blocks) < _LEAST_GROUPS:
        if overshoot > _TOO_DEEP:
            return MethodChoice("triangulated", _too_deep(overshoot), None, fitted)
        why = f"untried: {counted(groups, 'line or block', 'lines or blocks')} cannot be spared"
        return MethodChoice("fitted", why, None, fitted)
    parts.check_enough()
    found = Validation.of(fitted, used, parts)
    method, why = found.verdict(overshoot)
    return MethodChoice(method, why, found.table, fitted)


def _too_deep(overshoot: float) -> str:
    return f"the fitted bed is {overshoot:.1f} times the deepest sounding"


def _overshoot(fitted: Fit, used: Soundings) -> float:
    """Return the greatest depth of a fitted bed in that of the deepest sounding."""
    deepest = float(used.depth.max()) - fitted.problem.shore_depth
    return float(fitted.mean.max()) / max(deepest, 1e-9)


@dataclass(frozen=True, eq=False)
class Validation:
    """Readings left out, and the water they stand for."""

    checks: Checks
    water: Water
    notes: tuple[str, ...]

    @classmethod
    def of(cls, fitted: Fit, used: Soundings, parts: Folds) -> "Validation":
        """Leave each part of the soundings out, once a bed has been fitted to all."""
        problem, learnt, net = _judged(fitted)
        stated = fitted.inflation * math.hypot(1, SYSTEMATIC)
        checks = check(problem, learnt, stated, used, fitted.shoreline, parts)
        water = Water.of(problem, used)
        return cls(checks, water, _notes(checks, water, parts, net))

    @cached_property
    def _weights(self) -> np.ndarray:
        return self.water.weights(self.checks.away)

    @cached_property
    def table(self) -> Table:
        """What :func:`cross_validate` returns."""
        import pandas as pd

        depth, away = self.checks.depth, self.checks.away
        classes = [
            ("all", math.nan, math.nan, np.ones(len(depth))),
            ("as the bed lies", math.nan, math.nan, self._weights),
            *_classed("depth", depth, np.quantile(depth, (0, 1 / 3, 2 / 3))),
            *_classed("distance", away, self.water.starts),
        ]
        methods: tuple[Method, ...] = ("fitted", "triangulated")
        rows = [_row(self.checks, method, *one) for method in methods for one in classes]
        return Table(pd.DataFrame(rows), "Cross-validation by whole lines", self.notes)

    @cached_property
    def _squares(self) -> dict[Method, np.ndarray]:
        """Weighed squared errors, summed by line."""
        group, weights = self.checks.group, self._weights / self._weights.sum()
        return {
            "fitted": np.bincount(group, weights * self.checks.fitted**2),
            "triangulated": np.bincount(group, weights * self.checks.triangulated**2),
        }

    @property
    def _rmse(self) -> dict[Method, float]:
        return {method: math.sqrt(float(sums.sum())) for method, sums in self._squares.items()}

    @property
    def _nearer(self) -> dict[Method, int]:
        """At how many lines each bed has the lower RMSE."""
        fitted, other = self._squares["fitted"], self._squares["triangulated"]
        return {"fitted": int((fitted < other).sum()), "triangulated": int((other < fitted).sum())}

    def _clearly(self, better: Method, worse: Method) -> bool:
        wins, lines = self._nearer[better], sum(self._nearer.values())
        lower = self._rmse[better] * (1 + MARGIN) < self._rmse[worse]
        return lower and 2 * wins - lines > _ONE_IN_TEN * math.sqrt(lines)

    def verdict(self, overshoot: float) -> tuple[Method, str]:
        """Return the better method, and why.

        Parameters
        ----------
        overshoot : float
            Greatest depth of the fitted bed in that of the deepest sounding.
        """
        held = float(np.average(self.checks.held, weights=self._weights))
        wrong = f"its 90 % intervals hold but {held:.0%} of the readings"
        figures = self._figures
        if overshoot > _TOO_DEEP:
            return "triangulated", _too_deep(overshoot)
        if self._clearly("triangulated", "fitted"):
            return "triangulated", figures
        if self._clearly("fitted", "triangulated"):
            return "fitted", figures + (f", yet {wrong}" if held < _HELD_LEAST else "")
        if held < _HELD_LEAST and self._rmse["triangulated"] <= self._rmse["fitted"]:
            return "triangulated", f"{figures}: not clearly better, but {wrong}"
        return "fitted", f"{figures}: no clear difference, and only the fitted one tells its error"

    @property
    def _figures(self) -> str:
        return (
            f"at lines left out the fitted bed was {self._rmse['fitted']:.2f} m off (root mean "
            f"square) and the nearer one at {self._nearer['fitted']}, the triangulated bed "
            f"{self._rmse['triangulated']:.2f} m and {self._nearer['triangulated']}"
        )


def _judged(fitted: Fit) -> tuple[Problem, Learnt, str]:
    """Return the net on which lines are left out, and what the fit holds for it."""
    fine = fitted.problem
    if len(fine.net.nodes) > OWN_NET:
        return fitted.coarse, fitted.learnt, "a coarser net than the bed's"
    prior = fitted.posterior.prior
    steep = np.ones(len(fine.net.nodes)) if prior.steep is None else prior.steep
    learnt = Learnt(prior.settings, fitted.mean, steep, prior.marginal_variance, fitted.trust)
    return fine, learnt, "the bed's own net"


def _classed(
    name: str, values: np.ndarray, starts: np.ndarray
) -> list[tuple[str, float, float, np.ndarray]]:
    """Return classes of values: from each start, rounded, to below the next."""
    step = 10 ** np.floor(np.log10(max(float(np.abs(starts).max()), 1e-9)) - 1)
    starts = np.unique(np.r_[np.floor(starts[0] / step), np.round(starts[1:] / step)]) * step
    number = np.digitize(values, starts[1:])
    return [
        (name, float(start), float(end), (number == place).astype(float))
        for place, (start, end) in enumerate(zip(starts, [*starts[1:], math.nan], strict=True))
    ]


def _row(
    checks: Checks, method: Method, name: str, start: float, end: float, weights: np.ndarray
) -> dict[str, object]:
    def mean(values: np.ndarray) -> float:
        return float(np.average(values, weights=weights)) if weights.any() else math.nan

    own = method == "fitted"
    error = checks.fitted if own else checks.triangulated
    rmse, plain = (math.sqrt(mean(each**2)) for each in (error, checks.triangulated))
    return {
        "method": method,
        "class": name,
        "from_m": start,
        "to_m": end,
        "count": int(np.count_nonzero(weights)),
        "rmse_m": rmse,
        "bias_m": mean(error),
        "coverage_90": mean(checks.held) if own else math.nan,
        "interval_width_m": mean(2 * checks.half) if own else math.nan,
        "rmse_ratio": rmse / plain if plain else math.nan,
    }


def _notes(checks: Checks, water: Water, parts: Folds, net: str) -> tuple[str, ...]:
    kinds = ((parts.lines, "line"), (parts.blocks, "block"))
    what = " and ".join(counted(count, kind) for count, kind in kinds if count)
    noise = math.sqrt(float(checks.noise.mean()))
    notes = [
        f"{what} left out in {parts.count} parts and judged by {len(checks.depth)} means of "
        f"readings, on {net}",
        f"the readings themselves are {noise:.2f} m off (root mean square): no bed can do better",
    ]
    if parts.blocks:
        notes.append("soundings without a line are left out in blocks of neighbours")
    if (untried := water.beyond(float(checks.away.max()))) > _UNTRIED_LEAST:
        notes.append(
            Caution(
                f"{untried:.0%} of the water is farther from soundings than any reading left out: "
                "nothing here tells how good the bed is there"
            )
        )
    return tuple(notes)
