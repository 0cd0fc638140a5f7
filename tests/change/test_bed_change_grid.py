"""Maps of change show what was planted, and agree with each other."""

import numpy as np
import pytest
from two_surveys import CELL, DEPTH, mound, surveyed

from toolbox.change.bed_change_grid import bed_change_grid


def test_maps_of_change() -> None:
    chance = np.random.default_rng(8)
    before, after = surveyed(chance, DEPTH), surveyed(chance, DEPTH - mound(5000, 20))
    maps = {
        show: bed_change_grid(before, after, show=show, cell=CELL).values  # type: ignore[arg-type]
        for show in ("change", "limit", "significance", "patches")
    }
    # Lane et al. 2003, t sqrt(s1^2 + s2^2): both beds with an sd of 0.1 m
    np.testing.assert_allclose(maps["limit"], 0.2772, atol=5e-5)
    assert maps["change"][10, 14] == pytest.approx(mound(5000, 20).max(), abs=0.5)
    assert maps["significance"][10, 14] > 0.99
    assert (np.sign(maps["significance"]) == np.sign(maps["change"])).all()
    assert set(np.unique(maps["patches"])) == {0, 1}
    assert maps["patches"][10, 14] == 1
    assert maps["patches"][0, -1] == 0
    beyond = np.abs(maps["change"]) > maps["limit"]
    np.testing.assert_array_equal(np.abs(maps["significance"]) > 0.95, beyond)
