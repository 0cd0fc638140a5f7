"""Target strength: published lines, there and back, and means over powers."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from toolbox.fish.target_strength import RELATIONS, RelationName, mean_strength

NAMES: list[RelationName] = list(RELATIONS)


@pytest.mark.parametrize(
    ("name", "length", "frequency", "strength", "tolerance"),
    [
        # Foote 1987, J. Acoust. Soc. Am. 82:981, abstract: 20 log L - 67.4 and - 71.9, 38 kHz
        ("foote-physoclist", 10, 38, -47.4, 0.005),
        ("foote-physoclist", 20, 38, -41.38, 0.005),
        ("foote-physoclist", 30, 38, -37.86, 0.005),
        ("foote-physoclist", 50, 38, -33.42, 0.005),
        ("foote-clupeoid", 10, 38, -51.9, 0.005),
        ("foote-clupeoid", 20, 38, -45.88, 0.005),
        ("foote-clupeoid", 30, 38, -42.36, 0.005),
        ("foote-clupeoid", 50, 38, -37.92, 0.005),
        # Love 1977, from memory; the metre form of it differs by 0.06 dB
        ("love", 10, 120, -44.77, 0.1),
        ("love", 20, 120, -39.02, 0.1),
        ("love", 30, 200, -35.86, 0.1),
        ("love", 50, 200, -31.62, 0.1),
        ("love", 10, 38, -44.32, 0.1),
        # Warner et al. 2002, Trans. Am. Fish. Soc. 131:212, abstract
        ("warner-alewife", 5, 70, -49.90, 0.005),
        ("warner-alewife", 10, 70, -43.72, 0.005),
        ("warner-alewife", 15, 70, -40.10, 0.005),
        # Rudstam et al. 2003, ICES J. Mar. Sci. 60, from memory: 19.9 log L - 67.8
        ("rudstam-smelt", 10, 120, -47.9, 0.005),
    ],
)
def test_published_strengths(
    name: RelationName, length: float, frequency: float, strength: float, tolerance: float
) -> None:
    assert RELATIONS[name].strength(length, frequency) == pytest.approx(strength, abs=tolerance)


def test_love_in_metres_and_wavelengths() -> None:
    # from memory: 19.1 log L + 0.9 log wavelength - 23.9, in metres; c = 1500 m/s
    frequency = 120.0
    metres = 19.1 * np.log10(0.2) + 0.9 * np.log10(1500 / (1000 * frequency)) - 23.9
    assert RELATIONS["love"].strength(20.0, frequency) == pytest.approx(metres, abs=0.1)


@given(
    st.sampled_from(NAMES),
    st.floats(1, 200),
    st.floats(20, 800),
)
def test_there_and_back(name: RelationName, length: float, frequency: float) -> None:
    line = RELATIONS[name]
    back = line.length(line.strength(length, frequency), frequency)
    assert float(back) == pytest.approx(length, rel=1e-9)


def test_mean_of_powers() -> None:
    # derived: 10 log10((1e-4 + 1e-5) / 2)
    assert mean_strength(np.array([-40.0, -50.0])) == pytest.approx(-42.596, abs=0.0005)
    assert mean_strength(np.array([-40.0, np.nan])) == pytest.approx(-40)
    assert np.isnan(mean_strength(np.array([np.nan])))


@given(st.lists(st.floats(-90, -20), min_size=1, max_size=30))
def test_mean_lies_between_the_plain_mean_and_the_loudest(strengths: list[float]) -> None:
    mean = mean_strength(np.array(strengths))
    assert np.mean(strengths) - 1e-9 <= mean <= max(strengths) + 1e-9
