"""A shift of level that was planted is found, and none where none was."""

import geopandas
import numpy as np
import pytest
import shapely
import two_surveys
from two_surveys import CELL, DEPTH, PLACES, SD, mound, plain, surveyed

from toolbox.change.comparison import quantile
from toolbox.change.level_shift import level_shift
from toolbox.layers import Vectors


def test_a_systematic_error_of_the_datum_shows_as_such() -> None:
    # the aim: 0.05 m shows; without it nothing does but in one of twenty
    chance, found, without = np.random.default_rng(13), [], []
    for _ in range(25):
        before = surveyed(chance, DEPTH)
        for shift, told in ((0.05, found), (0.0, without)):
            rows = level_shift(before, surveyed(chance, DEPTH - shift), cell=CELL).frame
            told.append(rows.set_index("measure")["value"])
    shifts = [row["level shift"] for row in found]
    assert np.mean(shifts) == pytest.approx(0.05, abs=0.008)  # sd of the mean 0.0027
    assert np.mean([row["shift found"] for row in found]) >= 0.9
    assert np.mean([row["shift found"] for row in without]) <= 0.15


def test_what_long_ranged_errors_hide_is_not_told(monkeypatch: pytest.MonkeyPatch) -> None:
    """Errors that reach over half the water look like a shift: the limit must say so."""
    apart = np.hypot(*(PLACES[:, None] - PLACES).transpose(2, 0, 1)) / 150
    near = np.minimum(apart, 1)
    root = SD * np.linalg.cholesky(1 - 1.5 * near + 0.5 * near**3 + 1e-9 * np.eye(len(PLACES)))
    monkeypatch.setattr(two_surveys, "ROOT", root)
    chance, off, within, found = np.random.default_rng(7), [], [], []
    for _ in range(40):
        pair = surveyed(chance, DEPTH), surveyed(chance, DEPTH - 0.05)
        row = level_shift(*pair, cell=CELL).frame.set_index("measure")
        shift, limit = row.loc["level shift"], row.loc["limit of the shift", "value"]
        off.append((shift["value"] - 0.05) / (limit / quantile(0.95)))
        within.append(shift["low"] <= 0.05 <= shift["high"])
        found.append(row.loc["shift found", "value"])
        assert 0.07 < limit < 0.17  # derived: 0.14 m of difference, whose median averages little
    # of 40: an sd within 0.78 to 1.22 of one, and 90 % at 0.8 or more, in 95 cases of 100
    assert 0.75 < np.std(off) < 1.25
    assert np.mean(within) >= 0.8
    assert np.mean(found) <= 0.3  # 0.05 m is less than half the limit


def test_a_shift_alone_explains_all_of_the_change() -> None:
    table = level_shift(
        plain(DEPTH), plain(DEPTH - 0.05), sd_before=0.01, sd_after=0.01, correlation_range=20
    )
    row = table.frame.set_index("measure")
    assert row.loc["level shift", "value"] == pytest.approx(0.05)
    assert row.loc["share of the change explained", "value"] == pytest.approx(1)
    assert row.loc["net change", "value"] == pytest.approx(3000)
    assert row.loc["net change without the shift", "value"] == pytest.approx(0, abs=1e-6)
    assert table.notes[0].startswith("the later bed lies 0.050 m higher as a whole, 100% of the")


def test_a_deposit_is_no_shift_and_stable_ground_is_believed() -> None:
    later = DEPTH - np.where(PLACES[:, 0] < 170, 0.4, 0.0) - 0.05
    frame = geopandas.GeoDataFrame(geometry=[shapely.box(200, 0, 300, 200)])
    options = {"sd_before": 0.01, "sd_after": 0.01, "correlation_range": 20.0}
    rock = level_shift(plain(DEPTH), plain(later), Vectors(frame, "rock"), **options)  # type: ignore[arg-type]
    row = rock.frame.set_index("measure")
    assert row.loc["level shift", "value"] == pytest.approx(0.05)
    assert row.loc["level shift", "source"] == "mean of the stable ground"
    assert row.loc["share of the change explained", "value"] < 0.5
    mounded = level_shift(plain(DEPTH), plain(DEPTH - mound(5000, 20)), **options)  # type: ignore[arg-type]
    assert mounded.frame.loc[0, "value"] == pytest.approx(0, abs=0.002)
    assert mounded.notes[0].startswith("no shift of level beyond its limit of 0.0")
    assert mounded.notes[0].endswith("these surveys cannot tell a smaller one")
