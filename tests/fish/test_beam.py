"""The water a beam searches: exact geometry, and a trial with thrown fish."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from toolbox.errors import ParameterError
from toolbox.fish.beam import Beam, near_field, shell_volume, swept_section
from toolbox.layers import Tin
from toolbox.reduction.beam import dead_zone, range_resolution


def cone_volume(top: float, bottom: float, angle: float) -> float:
    """Volume of the beam between two level planes (derived)."""
    return float(np.pi / 3 * np.tan(np.radians(angle / 2)) ** 2 * (bottom**3 - top**3))


def test_shell_and_cone() -> None:
    # derived: a half sphere; and the two ends differ by 2 (1 - cos a) / tan^2 a
    assert shell_volume(0.0, 1.0, 179.999999) == pytest.approx(2 * np.pi / 3, rel=1e-7)
    ratio = shell_volume(2.0, 9.0, 20.0) / cone_volume(2.0, 9.0, 20.0)
    assert ratio == pytest.approx(2 * (1 - np.cos(np.pi / 18)) / np.tan(np.pi / 18) ** 2)
    assert 0.977 < ratio < 0.978


@given(st.floats(0.5, 80), st.floats(0, 30), st.floats(0, 30), st.floats(0, 30))
def test_volumes_add_up(angle: float, first: float, second: float, third: float) -> None:
    a, b, c = sorted((first, second, third))
    parts = shell_volume(a, b, angle) + shell_volume(b, c, angle)
    assert float(parts) == pytest.approx(float(shell_volume(a, c, angle)), rel=1e-9, abs=1e-12)


def test_near_field() -> None:
    # acousticsunpacked.org, near-field distance: 120 kHz, 7 degrees, 1450 m/s, "1.7 m"
    assert near_field(7.0, 120.0, 1450.0) == pytest.approx(1.7, abs=0.05)
    assert near_field(7.0, 240.0) == pytest.approx(near_field(7.0, 120.0) / 2)


def test_resolution_and_dead_zone() -> None:
    # derived: c tau / 2. Dead zone: acousticsunpacked.org after Ona & Mitson 1996, c = 1500 m/s
    assert range_resolution(2e-4) == pytest.approx(0.145)
    assert range_resolution(4e-4) == pytest.approx(0.290)
    assert dead_zone(100.0, 7.0, 4e-4, 1500.0) == pytest.approx(0.5, abs=0.02)
    assert dead_zone(100.0, 11.0, 4e-4, 1500.0) == pytest.approx(0.76, abs=0.01)
    beam = Beam(11.0, pulse=4e-4, speed=1500.0)
    assert beam.last(np.array([100.0]))[0] == pytest.approx(99.24, abs=0.01)
    assert replace(beam, margin=0.5).last(np.array([100.0]))[0] == pytest.approx(98.74, abs=0.01)


def test_first_range() -> None:
    assert Beam(7.0, frequency=120.0).first == pytest.approx(1.68, abs=0.005)
    assert Beam(20.0, frequency=200.0, blind=1.0, depth=0.3).first == 1.0
    # derived: half a sphere's cap lies at (1 + cos a) / 2 of its radius on average
    assert Beam(60.0, blind=1.0, depth=0.3).top == pytest.approx(0.3 + 0.9330, abs=5e-5)
    assert Beam(20.0).to_range(Beam(20.0).to_depth(7.0)) == pytest.approx(7.0)


@pytest.mark.parametrize("angle", [20.0, 60.0, 90.0])
def test_swept_section_of_close_pings(angle: float) -> None:
    # derived: fish nearer than 10 m to the boat's way fill a sector of the upright section
    sector = 100 * np.radians(angle / 2)
    assert swept_section(0.0, 10.0, angle) == pytest.approx(sector, rel=1e-5)


@pytest.mark.parametrize("angle", [20.0, 60.0, 90.0])
def test_swept_section_of_pings_apart(angle: float) -> None:
    # derived: pings that never touch search each a cone whose ends are parts of spheres
    section = swept_section(1.0, 3.0, angle, spacing=5.0)
    assert section * 5.0 == pytest.approx(shell_volume(1.0, 3.0, angle), rel=1e-9)
    # and by trial: points thrown into 4 m of water, pings 1 m apart; the nearest ping meets them
    rng = np.random.default_rng(11)
    along, across = rng.uniform(0, 1, 400_000), rng.uniform(-3, 3, 400_000)
    depth = rng.uniform(0, 4, 400_000)
    nearest = np.minimum(along, 1 - along)
    met = np.hypot(nearest, across) < depth * np.tan(np.radians(angle / 2))
    met &= np.hypot(np.hypot(nearest, across), depth) < 4
    assert swept_section(0.0, 4.0, angle, spacing=1.0) == pytest.approx(24 * met.mean(), rel=0.015)


@given(st.floats(0, 5), st.floats(0.1, 10), st.floats(1, 60), st.floats(0.01, 20))
def test_swept_section_is_at_most_the_whole(
    near: float, band: float, angle: float, spacing: float
) -> None:
    whole = swept_section(near, near + band, angle)
    found = swept_section(near, near + band, angle, spacing)
    assert 0 < found <= whole * (1 + 1e-6)
    assert found * spacing <= shell_volume(near, near + band, angle) * (1 + 1e-3)


def test_reach_raises_bed_and_draws() -> None:
    vertices = np.array([[0, 0], [100, 0], [0, 100]], float)
    depth = np.array([0.0, 8, 10])
    draws = np.column_stack([depth, depth + 1]).astype(np.float32)
    bed = Tin(vertices, depth, np.array([[0, 1, 2]]), np.array([0, 2, 2]), None, draws=draws)
    beam = Beam(20.0, pulse=2e-4, depth=0.5)
    reach = beam.reach(bed)
    lost = (np.maximum(depth - 0.5, 0)) * (1 / np.cos(np.radians(10)) - 1) + 0.145
    np.testing.assert_allclose(reach.depth, depth - lost)
    assert reach.draws is not None
    np.testing.assert_allclose(reach.draws[:, 0], reach.depth, atol=1e-6)
    assert (reach.draws[1:, 1] < bed.depth[1:] + 1).all()


def test_bad_angle() -> None:
    with pytest.raises(ParameterError, match="beam_angle must be > 0 and < 180 degree, got 0"):
        Beam(0.0)
