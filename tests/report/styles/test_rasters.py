"""Styles of rasters: ramps over their own range, from published colours."""

import itertools
import warnings

import numpy as np
import pytest
from affine import Affine
from matplotlib.colors import to_hex

from toolbox.layers import Grid
from toolbox.report.styles import CODED, raster_style
from toolbox.report.styles.look import stepped
from toolbox.report.styles.rasters import _RAMPS
from toolbox.report.styles.signs import Entry, Map
from toolbox.terrain.landforms import FORMS


def entries(name: str, values: object, unit: str = "m") -> tuple[Entry, ...]:
    found = np.atleast_2d(np.asarray(values, float))
    body = raster_style(Grid(found, Affine(1, 0, 0, 0, -1, 0), None, name, unit)).body
    assert isinstance(body, Map)
    return body.entries


@pytest.mark.parametrize("name", [*_RAMPS, "of another kind"])
@pytest.mark.parametrize(
    "values",
    [
        np.linspace(-3, 90, 100),
        np.geomspace(1e-6, 1, 100),
        [[5.0]],
        [[0.0]],
        [[-7.0, np.nan]],
        [[np.nan]],
        [[1e-12, 1e9]],
        -np.linspace(1, 9, 30),
    ],
    ids=["wide", "tail", "level", "nothing", "above", "unknown", "extreme", "negative"],
)
def test_values_rise_and_span_the_data(name: str, values: object) -> None:
    found = entries(name, values)
    told = [entry.value for entry in found]
    assert len(told) >= 2
    assert all(low < high for low, high in itertools.pairwise(told))
    known = np.asarray(values, np.float32)  # as rasters are
    known = known[np.isfinite(known)].astype(float)
    if len(known):
        assert told[0] <= known.min() or name == "light_at_bed"
        assert told[-1] >= known.max()
    assert len(told) < 60


def test_depths_go_by_round_steps_between_the_ends() -> None:
    found = [entry.value for entry in entries("depth", [0.2, 11.67])]
    np.testing.assert_allclose(found, [*np.arange(0, 11.51, 0.5), 11.67])


def test_the_ramp_is_the_published_one() -> None:
    # cmocean, Thyng et al. 2016: its ramp "deep" as the library itself has it
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DeprecationWarning)  # of the ramps' own making
        import cmocean
    for entry in entries("depth", [0.0, 10.0]):
        assert entry.colour == to_hex(cmocean.cm.deep(np.array([entry.value / 10]))[0])


def test_curvature_is_pale_at_zero_and_even_on_both_sides() -> None:
    found = entries("profile_curvature", np.linspace(-0.02, 0.08, 500), "1/m")
    middle = min(found, key=lambda entry: abs(entry.value))
    assert middle.value == pytest.approx(0, abs=1e-12)
    assert sum(bytes.fromhex(middle.colour[1:])) > 3 * 230
    inside = [entry.value for entry in found if entry.value > -0.0799]
    assert -inside[0] == pytest.approx(found[-2].value, rel=0.15)


def test_directions_that_meet_have_one_colour() -> None:
    found = entries("aspect", np.linspace(0.1, 359.9, 400), "degree")
    assert (found[0].value, found[-1].value) == (0, 360)
    first, last = (np.array(list(bytes.fromhex(found[end].colour[1:]))) for end in (0, -1))
    assert np.abs(first - last).max() < 12


def test_light_goes_by_factors() -> None:
    told = np.array(
        [entry.value for entry in entries("light_at_bed", np.geomspace(0.1, 100, 99), "%")]
    )
    factors = told[1:] / told[:-1]
    np.testing.assert_allclose(factors, factors[0], rtol=1e-6)


def test_where_no_plants_are_nothing_is_drawn() -> None:
    found = entries("plant_cover", [0.0, 40.0, 70.0], "%")
    assert [entry.opacity for entry in found[:2]] == [0.0, 1.0]


def test_labels_name_the_unit() -> None:
    assert entries("slope", [0.0, 40.0], "degree")[1].label.endswith(" degree")
    assert entries("support", [0.0, 1.0], "1")[-1].label == "1"


def test_every_landform_has_a_name_and_a_colour_of_its_own() -> None:
    assert {one.name: one.code for one in CODED["landforms"]} == FORMS
    assert len({one.colour for one in CODED["landforms"]}) == len(FORMS)
    found = raster_style(Grid(np.ones((2, 2)), Affine(1, 0, 0, 0, -1, 0), None, "landforms", "1"))
    assert isinstance(found.body, Map)
    assert found.body.classes


def test_suitable_bed_of_any_species_is_of_classes() -> None:
    assert [entry.opacity for entry in entries("suitable_bed_tench", [0.0, 1.0], "1")] == [0, 0.75]


def test_steps_are_few_and_round() -> None:
    for least, most in ((0, 1), (0.013, 97.3), (-4, 4), (0, 1e-7), (5, 5)):
        found = stepped(least, most)
        assert found[0] == least
        assert 2 <= len(found) <= 27
        assert (np.diff(found) > 0).all()
