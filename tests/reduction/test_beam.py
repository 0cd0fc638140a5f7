"""The geometry of a beam against published examples and against a search over the bed."""

import numpy as np
import pytest

from toolbox.errors import ParameterError
from toolbox.reduction.beam import dead_zone, footprint, range_resolution


@pytest.mark.parametrize(
    ("angle", "share"), [(8, 0.13985), (10, 0.17498), (12, 0.21021), (20, 0.35265), (60, 1.15470)]
)
def test_footprint(angle: float, share: float) -> None:
    # derived: 2 tan(angle / 2)
    np.testing.assert_allclose(footprint(np.array([0, 1, 7.0]), angle), [0, share, 7 * share], 5e-5)


def test_published_coverage() -> None:
    # IHO S-44, 6th ed. (2020), section 3.5.2, footnote: beam of 8 degrees, main lines 3 depths
    # apart and crosslines ten times that cover 5.1 % of the bed
    covered = footprint(1.0, 8.0) * (1 / 3 + 1 / 30)
    assert covered == pytest.approx(0.051, abs=0.0005)


@pytest.mark.parametrize(("pulse", "metres"), [(0.0002, 0.145), (0.0004, 0.290)])
def test_range_resolution(pulse: float, metres: float) -> None:
    assert range_resolution(pulse, 1450.0) == pytest.approx(metres, abs=1e-9)  # derived
    assert range_resolution(pulse) == pytest.approx(metres, abs=1e-9)


@pytest.mark.parametrize(("angle", "metres", "tolerance"), [(7, 0.5, 0.02), (11, 0.76, 0.01)])
def test_dead_zone(angle: float, metres: float, tolerance: float) -> None:
    # acousticsunpacked.org, dead zone example, after Ona & Mitson 1996: 100 m, 0.4 ms
    assert dead_zone(100.0, angle, 0.0004, 1500.0) == pytest.approx(metres, abs=tolerance)


def test_a_pencil_on_a_level_bed_loses_nothing() -> None:
    assert dead_zone(100.0, 0.0, 0.0) == 0
    assert footprint(100.0, 0.0) == 0


@pytest.mark.parametrize("angle", [-1.0, 180.0])
def test_refusals(angle: float) -> None:
    message = rf"^beam_angle must be >= 0 and < 180 degree, got {angle:g}$"
    for function in (
        lambda: footprint(1.0, angle),
        lambda: dead_zone(1.0, angle, 0.1),
    ):
        with pytest.raises(ParameterError, match=message):
            function()
