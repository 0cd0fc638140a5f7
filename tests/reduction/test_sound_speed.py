"""Speed of sound against published formulas, an independent library and quadrature."""

import gsw
import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad

from toolbox.errors import LayerError, ParameterError
from toolbox.layers import Soundings, Table
from toolbox.reduction.sound_speed import WaterColumn, correct_sound_speed, sound_speed
from toolbox.units import convert

TEMPERATURE = np.arange(0, 31, 5.0)

# Coefficients as their authors give them; values at 0, 5 to 30 C worked out from those.
PUBLISHED = {
    # Marczak 1997, J. Acoust. Soc. Am. 102:2776 (ITS-90): the set itself
    "Marczak": ([1402.385, 1426.170, 1447.289, 1465.960, 1482.380, 1496.728, 1509.167], 0.001),
    # Bilaniuk & Wong 1993, J. Acoust. Soc. Am. 93:1609, and erratum 1996, 99:3257 (148 points)
    "Bilaniuk": ([1402.387, 1426.167, 1447.279, 1465.943, 1482.358, 1496.704, 1509.144], 0.05),
    # Chen & Millero 1977 in UNESCO Technical Papers in Marine Science 44, 1983, no salt (IPTS-68)
    "UNESCO": ([1402.388, 1426.162, 1447.270, 1465.931, 1482.343, 1496.688, 1509.127], 0.05),
    # Wong & Zhu 1995, J. Acoust. Soc. Am. 97:1732, no salt (ITS-90)
    "Wong": ([1402.388, 1426.168, 1447.280, 1465.944, 1482.359, 1496.704, 1509.145], 0.05),
}


def soundings(depth: list[float], **columns: object) -> Soundings:
    place = np.column_stack([np.arange(len(depth), dtype=float), np.zeros(len(depth))])
    return Soundings.from_arrays(place, np.array(depth), crs=None, **columns)


def profile(depth: list[float], temperature: list[float]) -> Table:
    return Table(pd.DataFrame({"depth_m": depth, "temperature_c": temperature}))


@pytest.mark.parametrize("name", PUBLISHED)
def test_published_speeds(name: str) -> None:
    values, tolerance = PUBLISHED[name]
    np.testing.assert_allclose(sound_speed(TEMPERATURE), values, rtol=0, atol=tolerance)


def test_teos_10_as_an_independent_library() -> None:
    # IOC, SCOR & IAPSO 2010, TEOS-10, as its own library computes it from temperature in place;
    # gsw.sound_speed wants Conservative Temperature and would be 3.3 m/s low at 30 C
    theirs = gsw.sound_speed_t_exact(0, TEMPERATURE, 0)
    np.testing.assert_allclose(sound_speed(TEMPERATURE), theirs, rtol=0, atol=0.05)
    assert theirs[-1] - gsw.sound_speed(0, 30, 0) == pytest.approx(3.3, abs=0.1)


def test_pressure_that_is_left_out_adds_what_the_docstring_says() -> None:
    # TEOS-10: 10 m of water are 9.8 dbar
    speed = gsw.sound_speed_t_exact(0, 10, np.array([0, 9.8, 98.0]))
    assert speed[1] - speed[0] == pytest.approx(0.16, abs=0.005)
    mean = (speed[2] + speed[0]) / 2  # linear in depth
    assert 100 * (mean / speed[0] - 1) == pytest.approx(0.05, abs=0.01)


@pytest.mark.parametrize(
    ("temperature", "at_1500", "at_4800_feet"),
    [(4, 9.4775, 9.7170), (10, 9.6485, 9.8923), (20, 9.8824, 10.1320)],
)
def test_a_reading_of_ten_metres(temperature: float, at_1500: float, at_4800_feet: float) -> None:
    # derived with Wong & Zhu 1995; USACE EM 1110-2-1003 (2002), figure 9-1, has the formula
    feet = convert(4800, "ft/s", "m/s")
    assert feet == pytest.approx(1463.04, abs=1e-9)  # the international foot
    for speed_set, depth in ((1500.0, at_1500), (feet, at_4800_feet)):
        done = correct_sound_speed(soundings([10]), speed_set=speed_set, temperature=temperature)
        assert done.depth[0] == pytest.approx(depth, abs=0.0005)
        added = done.frame["sound_speed_correction"].iloc[0]
        assert added == pytest.approx(depth - 10, abs=0.0005)


def test_ten_degrees_wrong_change_depth_by_two_and_a_half_per_cent() -> None:
    # derived: c(20) / c(10)
    cold, warm = (correct_sound_speed(soundings([10]), temperature=t).depth[0] for t in (10, 20))
    assert 100 * (warm / cold - 1) == pytest.approx(2.42, abs=0.01)


def test_draft_is_not_scaled() -> None:
    # derived: (10.5 - 0.5) c(10) / 1500 + 0.5, c(10) of Marczak
    done = correct_sound_speed(soundings([10.5, 0.5]), temperature=10, draft=0.5)
    np.testing.assert_allclose(done.depth, [9.64859 + 0.5, 0.5], atol=1e-5)


def test_nothing_changes_where_the_setting_is_right() -> None:
    right = float(sound_speed(12.0))
    done = correct_sound_speed(soundings([3, 7]), speed_set=right, temperature=12, draft=0.4)
    np.testing.assert_allclose(done.depth, [3, 7], rtol=1e-15)


COLUMN = WaterColumn(np.array([1.0, 5.0, 7.0, 20.0]), np.array([22.0, 21.0, 9.0, 6.0]))
"""A stratified lake in summer."""


def slowness(depth: float) -> float:
    return float(1 / sound_speed(np.interp(depth, COLUMN.depth, COLUMN.temperature)))


@pytest.mark.parametrize("depth", [0.0, 0.5, 1.0, 3.0, 5.0, 6.3, 7.0, 19.0, 20.0, 45.0])
def test_travel_time_is_the_integral_of_slowness(depth: float) -> None:
    # adaptive quadrature of scipy, with a break at each reading
    breaks = [at for at in COLUMN.depth if at < depth]
    exact = quad(slowness, 0, depth, points=breaks or None, epsabs=1e-15, limit=200)[0]
    assert COLUMN.travel_time(np.array([depth]))[0] == pytest.approx(exact, rel=1e-12, abs=1e-15)


def test_a_profile_is_the_harmonic_mean_down_to_the_bed() -> None:
    # derived: true = draft + (read - draft) c_h / c_set, with c_h = way / time of way
    draft, read = 0.6, np.array([0.6, 2.0, 6.0, 12.0, 40.0])
    done = correct_sound_speed(
        soundings(read.tolist()),
        profile(COLUMN.depth.tolist(), COLUMN.temperature.tolist()),
        draft=draft,
    )
    assert done.depth[0] == pytest.approx(draft, abs=1e-9)
    for before, after in zip(read[1:], done.depth[1:], strict=True):
        breaks = [at for at in COLUMN.depth if draft < at < after]
        time = quad(slowness, draft, after, points=breaks or None, epsabs=1e-15, limit=200)[0]
        harmonic = (after - draft) / time
        assert after == pytest.approx(draft + (before - draft) * harmonic / 1500, abs=1e-8)


def test_a_profile_of_one_temperature_is_that_temperature() -> None:
    depths = [-0.2, 0.0, 0.3, 4.0, 80.0]
    by_profile = correct_sound_speed(soundings(depths), profile([2, 9], [14, 14]), draft=0.3)
    by_number = correct_sound_speed(soundings(depths), temperature=14, draft=0.3)
    np.testing.assert_allclose(by_profile.depth, by_number.depth, atol=1e-9)


def test_rows_of_a_profile_come_in_any_order() -> None:
    upside_down = profile([20, 7, 1, 5], [6, 9, 22, 21])
    np.testing.assert_array_equal(WaterColumn.of(upside_down).temperature, COLUMN.temperature)


@settings(max_examples=100, deadline=None)
@given(
    st.lists(st.floats(0, 35), min_size=1, max_size=8),
    st.lists(st.floats(-1, 150), min_size=1, max_size=20),
    st.integers(0, 2**32 - 1),
)
def test_depth_reached_undoes_travel_time(
    temperatures: list[float], depths: list[float], seed: int
) -> None:
    rows = np.cumsum(np.random.default_rng(seed).uniform(0.05, 8, len(temperatures)))
    column = WaterColumn(rows, np.array(temperatures))
    depth = np.array(depths)
    np.testing.assert_allclose(column.depth_reached(column.travel_time(depth)), depth, atol=1e-8)


@settings(max_examples=50, deadline=None)
@given(st.floats(0, 35), st.floats(0, 35), st.floats(0, 60))
def test_a_profile_lies_between_its_coldest_and_its_warmest(a: float, b: float, at: float) -> None:
    mixed = correct_sound_speed(soundings([at]), profile([0, 10], [a, b])).depth[0]
    ends = [correct_sound_speed(soundings([at]), temperature=t).depth[0] for t in (a, b)]
    assert min(ends) - 1e-8 <= mixed <= max(ends) + 1e-8


def test_temperature_noted_with_each_sounding() -> None:
    done = correct_sound_speed(soundings([10, 10, 10], temperature=[4.0, np.nan, 20.0]))
    np.testing.assert_allclose(done.depth[[0, 2]], [9.4775, 9.8824], atol=0.0005)
    assert done.depth[1] == pytest.approx(10 * float(sound_speed(12.0)) / 1500)
    assert "the temperature noted with each (12 C for 1 without one)" in done.notes[-1]


def test_plant_tops_are_corrected_and_plummets_are_not() -> None:
    layer = soundings([10, 10, 10], canopy=[4.0, np.nan, 4.0], source=["track", "cast", "plummet"])
    done = correct_sound_speed(layer, temperature=10)
    ratio = float(sound_speed(10.0)) / 1500
    np.testing.assert_allclose(done.depth, [10 * ratio, 10 * ratio, 10])
    np.testing.assert_allclose(done.frame["canopy"], [4 * ratio, np.nan, 4])
    assert done.frame["sound_speed_correction"].iloc[2] == 0


def test_rejected_and_missing_depths_stay() -> None:
    layer = soundings([10, np.nan, 5]).reject(np.array([True, False, False]), "by hand")
    for options in ({"temperature": 10.0}, {"profile": profile([0], [10])}):
        done = correct_sound_speed(layer, **options)
        assert done.rejections() == {"by hand": 1, "no depth": 1}
        ratio = float(sound_speed(10.0)) / 1500
        np.testing.assert_allclose(done.depth, [10 * ratio, np.nan, 5 * ratio])


def test_the_note_says_what_was_done() -> None:
    done = correct_sound_speed(soundings([10, 20]), temperature=10)
    assert done.notes == (
        "depths read with 1500 m/s, corrected to water of 10 C: -0.703 to -0.351 m",
    )
    hot = correct_sound_speed(soundings([10]), temperature=68)
    assert "(up to 68 C: is that Fahrenheit?)" in hot.notes[0]


def test_no_soundings_are_no_trouble() -> None:
    for options in ({"temperature": 10.0}, {"profile": profile([0], [10])}):
        assert len(correct_sound_speed(soundings([]), **options)) == 0


def test_refusals() -> None:
    layer = soundings([10])
    with pytest.raises(ParameterError, match=r"^give a temperature or a profile of it, not both$"):
        correct_sound_speed(layer, profile([0], [10]), temperature=10)
    with pytest.raises(ParameterError, match=r"^give a temperature or a profile: .* carry none$"):
        correct_sound_speed(layer)
    with pytest.raises(ParameterError, match=r"^give a temperature or a profile: .* carry none$"):
        correct_sound_speed(soundings([10], temperature=[np.nan]))
    with pytest.raises(LayerError, match=r"^the soundings are corrected for the speed of sound al"):
        correct_sound_speed(correct_sound_speed(layer, temperature=10), temperature=10)
    with pytest.raises(ParameterError, match=r"^temperature must be .*<= 95 degC, got 96$"):
        correct_sound_speed(layer, temperature=96)
    with pytest.raises(ParameterError, match=r"^speed_set must be > 0 m/s, got 0$"):
        correct_sound_speed(layer, temperature=9, speed_set=0)
    with pytest.raises(ParameterError, match=r"^temperature must be -0\.5 to 95 .*, got -3$"):
        sound_speed(np.array([4, -3]))


@pytest.mark.parametrize(
    ("depth", "temperature", "message"),
    [
        ([0, 0], [9, 9], r"^depths of a temperature profile must be >= 0, each of them once$"),
        ([-1, 0], [9, 9], r"^depths of a temperature profile must be >= 0, each of them once$"),
        ([0, np.nan], [9, 9], r"^a temperature profile needs a depth and a temperature in every"),
        ([0, 1], [9, np.nan], r"^a temperature profile needs a depth and a temperature in every"),
        ([], [], r"^a temperature profile needs a depth and a temperature in every row$"),
    ],
)
def test_refusals_of_profiles(depth: list[float], temperature: list[float], message: str) -> None:
    with pytest.raises(LayerError, match=message):
        correct_sound_speed(soundings([10]), profile(depth, temperature))
