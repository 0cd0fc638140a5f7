"""Bar checks: a worked set, an independent regression, and simulated bars."""

import math

import numpy as np
import pandas as pd
import pytest
from scipy.stats import linregress

from toolbox.errors import LayerError, ParameterError
from toolbox.layers import Soundings, Table
from toolbox.reduction.bar_check import apply_bar_check, fit_bar_check, fit_bars
from toolbox.reduction.sound_speed import correct_sound_speed

BARS = np.array([2, 4, 6, 8, 10.0])
READINGS = np.array([1.762, 3.835, 5.908, 7.980, 10.053])


def soundings(depth: list[float], **columns: object) -> Soundings:
    place = np.column_stack([np.arange(len(depth), dtype=float), np.zeros(len(depth))])
    return Soundings.from_arrays(place, np.array(depth), crs=None, **columns)


def table(bar: object, reading: object) -> Table:
    return Table(pd.DataFrame({"bar_m": bar, "reading_m": reading}))


def test_worked_set() -> None:
    # derived: set 1500 m/s, water of 10 C at 1447.279 m/s, offset 0.30 m, read to the millimetre
    fit = fit_bars(BARS, READINGS)
    assert fit.scale == pytest.approx(0.96485, abs=0.001)
    assert fit.offset == pytest.approx(0.300, abs=0.001)
    assert fit.residual_sd < 0.0005  # half the step of the readings
    assert fit.notes == ()


def test_standard_errors_are_those_of_an_independent_regression() -> None:
    rng = np.random.default_rng(3)
    bar = np.repeat(BARS, 3)
    reading = (bar - 0.4) / 0.97 + rng.normal(0, 0.03, len(bar))
    fit, theirs = fit_bars(bar, reading), linregress(reading, bar)
    assert fit.scale == pytest.approx(theirs.slope, rel=1e-12)
    assert fit.offset == pytest.approx(theirs.intercept, rel=1e-10)
    assert fit.scale_sd == pytest.approx(theirs.stderr, rel=1e-10)
    assert fit.offset_sd == pytest.approx(theirs.intercept_stderr, rel=1e-10)
    np.testing.assert_allclose(fit.residuals, bar - theirs.intercept - theirs.slope * reading)


def test_standard_errors_say_how_far_fits_scatter() -> None:
    # derived: over many bar checks the fits scatter by their own standard errors
    rng = np.random.default_rng(4)
    fits = [fit_bars(BARS, (BARS - 0.3) / 0.965 + rng.normal(0, 0.02, 5)) for _ in range(2000)]
    for name in ("offset", "scale"):
        values = np.array([getattr(fit, name) for fit in fits])
        squares = np.mean([getattr(fit, f"{name}_sd") ** 2 for fit in fits])
        assert values.std() == pytest.approx(math.sqrt(squares), rel=0.05)


def test_the_table_holds_the_fit_and_every_residual() -> None:
    done = fit_bar_check(table(BARS, READINGS))
    fit = fit_bars(BARS, READINGS)
    frame = done.frame.set_index("measure")
    assert list(frame.columns) == ["value", "unit", "sd"]
    assert frame.loc["offset", "value"] == fit.offset
    assert frame.loc["scale", "sd"] == fit.scale_sd
    assert frame.loc["residual at 4 m", "value"] == fit.residuals[1]
    assert len(frame) == 3 + len(BARS)


def test_columns_of_other_names() -> None:
    other = Table(pd.DataFrame({"plate": BARS, "sounder": READINGS}))
    same = fit_bar_check(other, bar="plate", reading="sounder").frame
    pd.testing.assert_frame_equal(same, fit_bar_check(table(BARS, READINGS)).frame)
    with pytest.raises(LayerError, match=r"^the table has no column 'bar_m', only"):
        fit_bar_check(other)


def test_bars_at_one_depth_tell_an_offset_only() -> None:
    fit = fit_bars(np.array([3, 3, 3.0]), np.array([2.7, 2.7, 2.7]))
    assert (fit.scale, fit.offset) == (1, pytest.approx(0.3))
    assert math.isnan(fit.scale_sd)
    assert fit.notes == ("the bars were all at one depth, which tells no scale: it is taken as 1",)
    single = fit_bars(np.array([3.0]), np.array([2.7]))
    assert single.offset == pytest.approx(0.3)
    assert math.isnan(single.offset_sd)
    assert "1 bar shows no mistake; hold it at 3 depths or more" in single.notes


def test_two_bars_fit_whatever_they_say_and_a_note_says_so() -> None:
    fit = fit_bars(np.array([2, 8.0]), np.array([1.0, 9.0]))
    np.testing.assert_allclose(fit.residuals, 0, atol=1e-12)
    assert math.isnan(fit.residual_sd)
    assert fit.notes == ("2 bars show no mistake; hold it at 3 depths or more",)


def test_large_scatter_is_noted_with_the_worst_bar() -> None:
    # IHO S-44, 6th ed. (2020), table 1, special order at 10 m: 0.2610 m at 95 %; a third of it
    # as one standard deviation is 0.2610 / 1.96 / 3
    allowed = math.hypot(0.25, 0.075) / 1.96 / 3
    assert allowed == pytest.approx(0.2610 / 1.96 / 3, abs=1e-4)
    slip = np.array([0, 0, 0.3, 0, 0])
    note = fit_bars(BARS, READINGS + slip).notes[0]
    assert "more than 0.044 m; the worst is the one at 6 m, off by -0.23" in note
    pattern = np.array([1, -2, 2, -2, 1])
    sd = fit_bars(BARS, BARS + 1e-3 * pattern).residual_sd * 1e3
    for share, notes in ((0.97, 0), (1.03, 1)):
        reading = BARS + pattern * share * allowed / sd
        assert len(fit_bars(BARS, reading).notes) == notes


def test_applying_the_fit_returns_the_bars() -> None:
    fit = fit_bars(BARS, READINGS)
    layer = soundings(READINGS.tolist(), canopy=READINGS / 2)
    done = apply_bar_check(layer, offset=fit.offset, scale=fit.scale)
    np.testing.assert_allclose(done.depth, BARS, atol=0.0005)
    np.testing.assert_allclose(done.frame["canopy"], fit.offset + fit.scale * READINGS / 2)
    np.testing.assert_allclose(done.frame["bar_check_correction"], done.depth - READINGS)
    assert done.notes == ("depths corrected by a bar check: +0.300 m + 0.96492 x reading",)


def test_rejected_and_missing_depths_stay() -> None:
    layer = soundings([10, np.nan]).reject(np.array([True, False]), "by hand")
    done = apply_bar_check(layer, offset=0.5, scale=0.9)
    assert done.rejections() == {"by hand": 1, "no depth": 1}
    np.testing.assert_allclose(done.depth, [9.5, np.nan])


def test_refusals() -> None:
    with pytest.raises(LayerError, match=r"^a bar check needs a bar and a reading in every row$"):
        fit_bar_check(table([], []))
    with pytest.raises(LayerError, match=r"^a bar check needs a bar and a reading in every row$"):
        fit_bars(np.array([1, np.nan]), np.array([1, 2.0]))
    with pytest.raises(ParameterError, match=r"^scale must be > 0, got 0$"):
        apply_bar_check(soundings([1]), scale=0)
    once = apply_bar_check(soundings([1]), offset=0.1)
    with pytest.raises(LayerError, match=r"have a bar_check_correction already: a bar check holds"):
        apply_bar_check(once, offset=0.1)
    spoken = correct_sound_speed(soundings([1]), temperature=9)
    with pytest.raises(LayerError, match=r"have a sound_speed_correction already: a bar check"):
        apply_bar_check(spoken, offset=0.1)
