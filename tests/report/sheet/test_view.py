"""Places come onto paper at the scale that is told."""

import numpy as np
import pyproj
import pytest

from toolbox.errors import ParameterError
from toolbox.layers.crs import parse_crs
from toolbox.report.sheet.paper import MM, Box
from toolbox.report.sheet.view import (
    View,
    fitting_scale,
    ground_factor,
    needed_scale,
    round_scale,
    scale_text,
)

FRAME = Box(10, 20, 10 + 200 * MM, 20 + 100 * MM)


def test_a_kilometre_at_1_to_5000_is_200_mm() -> None:
    view = View(FRAME, (500_000.0, 5_000_000.0), 5000)
    ends = view(np.array([(499_500.0, 5_000_000.0), (500_500.0, 5_000_000.0)]))
    assert ends[:, 0] == pytest.approx([10, 10 + 200 * MM])
    assert ends[:, 1] == pytest.approx([20 + 50 * MM] * 2)
    assert view.bounds == pytest.approx((499_500, 4_999_750, 500_500, 5_000_250))
    assert view.on_ground(MM) == pytest.approx(5)


def test_north_is_up() -> None:
    view = View(FRAME, (0.0, 0.0), 1000)
    south, north = view(np.array([(0.0, -1.0), (0.0, 1.0)]))
    assert north[1] > south[1]


def test_a_grid_larger_than_the_ground_is_drawn_smaller() -> None:
    assert View(FRAME, (0, 0), 1000, 2.0).points_to_metre == pytest.approx(MM / 2)


def test_needed_scale_leaves_a_margin_of_4_mm() -> None:
    # 192 mm by 92 mm are left
    assert needed_scale((0, 0, 192, 10), FRAME, 1.0) == pytest.approx(1000)
    assert needed_scale((0, 0, 10, 92), FRAME, 1.0) == pytest.approx(1000)
    assert needed_scale((0, 0, 192, 92), FRAME, 2.0) == pytest.approx(500)


@pytest.mark.parametrize(
    ("needed", "scale"),
    [(3, 100), (101, 125), (501, 600), (1001, 1250), (2000, 2000), (7501, 10_000), (99_999, 1e5)],
)
def test_round_scales(needed: float, scale: float) -> None:
    assert round_scale(needed) == scale


def test_every_scale_is_round_and_close() -> None:
    needs = np.geomspace(100, 1e6, 400)
    scales = np.array([round_scale(need) for need in needs])
    assert (scales >= needs * (1 - 1e-9)).all()
    assert (scales / needs).max() < 1.35
    assert (np.diff(scales) >= 0).all()


def test_a_scale_too_large_is_refused() -> None:
    with pytest.raises(
        ParameterError, match=r"scale must be 2500 or more .* on A4 portrait, got nan$"
    ):
        fitting_scale(float("nan"), 2400.0, "A4 portrait")
    assert fitting_scale(2400.0, 2400.0, "A4 portrait") == 2400


@pytest.mark.parametrize("code", ["EPSG:32632", "EPSG:2154", "EPSG:3035"])
def test_ground_factor_agrees_with_the_projection_library(code: str) -> None:
    crs = parse_crs(code)
    to = pyproj.Transformer.from_crs(4326, crs, always_xy=True)
    easting, northing = to.transform(7.3, 46.8)
    known = pyproj.Proj(crs).get_factors(7.3, 46.8).areal_scale ** 0.5
    bounds = (easting - 100, northing - 100, easting + 100, northing + 100)
    assert ground_factor(crs, bounds) == pytest.approx(known, rel=1e-6)


def test_scale_text_groups_only_long_numbers() -> None:
    assert [scale_text(s) for s in (500.0, 7500.0, 12_500.0, 1_250_000.0)] == [
        "1:500", "1:7500", "1:12 500", "1:1 250 000",
    ]  # fmt: skip
