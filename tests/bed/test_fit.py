"""A fit knows its error: draws, volume, support and notes tell the same."""

import numpy as np
import pytest
import shapely
from sounded_disc import (
    COARSE,
    FINE,
    KNOWN,
    LAKE,
    PLACES,
    TRUTH,
    asked,
    base,
    base_bed,
    base_fit,
    rms,
    surveyed,
    water,
)

from toolbox.bed.fitting import fit, fit_bed
from toolbox.layers import Soundings, VertexKind


def test_draws_agree_with_depth_and_sd() -> None:
    bed = base_bed()
    assert bed.draws is not None
    assert bed.sd is not None
    far = bed.depth > 3.5 * bed.sd  # where the water's edge clips next to nothing
    draws = bed.draws[far].astype(float)
    assert far.sum() > 50
    # over all nodes: 200 draws give an sd to 5 %, and the mean of many nodes better still
    assert np.median(draws.std(axis=1) / bed.sd[far]) == pytest.approx(1, abs=0.12)
    off = (draws.mean(axis=1) - bed.depth[far]) / bed.sd[far]
    assert np.abs(off).max() < 5 / np.sqrt(200)


def test_draws_agree_with_depth_and_sd_where_lines_share_much() -> None:
    soundings = surveyed(LAKE, TRUTH, lines=4, sd=0.3, sd_shared=0.29)
    found = fit(soundings, water(LAKE), spacing=COARSE, given=KNOWN)
    drawn = found.draws(1500, seed=1)
    mass = found.problem.net.mass
    assert (mass @ drawn).std() == pytest.approx(found.volume_sd, rel=0.08)
    inner = ~found.problem.net.on_shore
    ratio = drawn.std(axis=1)[inner] / found.sd[inner]
    np.testing.assert_allclose(ratio, 1, atol=0.1)


def test_sd_of_the_volume_is_that_of_the_draws() -> None:
    found = base_fit()
    drawn = found.draws(2000, seed=2)
    mass = found.problem.net.mass
    # 2000 draws give an sd to 1.6 %
    assert (mass @ drawn).std() == pytest.approx(found.volume_sd, rel=0.06)
    assert (mass @ drawn).mean() == pytest.approx(
        mass @ found.mean, abs=4 * found.volume_sd / np.sqrt(2000)
    )


def test_depth_is_the_mean_of_what_lies_below_the_water() -> None:
    # derived: E max(0, Z) for Z ~ N(m, s) by drawing
    found = base_fit()
    bed = base_bed()
    node = int(np.abs(found.mean - 0.5 * found.sd).argmin())
    drawn = np.random.default_rng(3).normal(found.mean[node], found.sd[node], 400_000)
    wanted = 0.0 if found.problem.net.on_shore[node] else np.maximum(drawn, 0).mean()
    assert bed.depth[node] == pytest.approx(wanted, abs=0.01 * found.sd[node])
    assert (bed.depth[~found.problem.net.on_shore] > 0).all()


def test_no_draws_no_columns() -> None:
    bed = base_fit().bed(draws=0, seed=0)
    assert bed.draws is None
    np.testing.assert_array_equal(bed.depth, base_bed().depth)


def test_the_seed_changes_the_draws_and_nothing_else() -> None:
    first, second = base_fit().bed(draws=3, seed=0), base_fit().bed(draws=3, seed=1)
    assert first.draws is not None
    assert second.draws is not None
    assert np.abs(first.draws - second.draws).max() > 0.01
    np.testing.assert_array_equal(first.depth, second.depth)
    np.testing.assert_array_equal(first.draws, base_fit().bed(draws=3, seed=0).draws)


def test_notes_tell_what_was_learnt_and_left_out() -> None:
    soundings = base().reject(np.arange(len(base())) < 7, "echo")
    bed = fit_bed(soundings, water(LAKE), spacing=3 * COARSE, draws=0)
    assert any("7 soundings flagged or outside the water" in note for note in bed.notes)
    assert any(note.startswith("learnt: correlation range ") for note in bed.notes)
    assert bed.notes[0].startswith(f"fitted on {len(bed.depth)} nodes to ")
    assert bed.notes[0].endswith(f"means of {len(base()) - 7} soundings")


# ---- support ----


def test_support_is_high_on_the_lines_and_none_far_from_them() -> None:
    east = 0.4 * 100
    half = surveyed(LAKE, TRUTH, lines=12)
    west = half.coordinates[:, 0] < -east
    bed = fit_bed(Soundings(half.frame[west]), water(LAKE), spacing=FINE, draws=0)
    assert bed.support is not None
    assert bed.sd is not None
    assert bed.support.min() >= 0
    assert bed.support.max() <= 1
    shore = bed.kind <= VertexKind.ISLAND
    near = ~shore & (bed.vertices[:, 0] < -60) & (np.hypot(*bed.vertices.T) < 85)
    far = ~shore & (bed.vertices[:, 0] > 30)
    assert np.median(bed.support[near]) > 0.4
    assert np.median(bed.support[far]) < 0.15
    assert np.median(bed.sd[far]) > 2 * np.median(bed.sd[near])


def test_bed_near_a_sounding_is_surveyed_however_little_the_shore_left_to_tell() -> None:
    """A cone of which distance from shore tells all, plumbed on a lattice of 40 m."""
    lattice = np.arange(-80, 81, 40.0)
    place = np.stack(np.meshgrid(lattice, lattice), axis=-1).reshape(-1, 2)
    shoreline = water(shapely.Point(0, 0).buffer(120, 64))
    depth = 0.05 * (120 - np.hypot(*place.T))
    plumbed = place[depth > 0.5]
    fitted = fit(Soundings.from_arrays(plumbed, depth[depth > 0.5], crs=None), shoreline)
    net, reach = fitted.problem.net, fitted.learnt.settings.range_m
    away = np.hypot(*(net.nodes[:, None] - plumbed).transpose(2, 0, 1)).min(axis=1)
    assert fitted.support[away < 0.4 * reach].min() > 0.5
    # x K1(x) with K1 by its integral (Abramowitz & Stegun 1964, 9.6.24), kappa d = sqrt(8) / 2
    x, t = np.sqrt(8) / 2, np.linspace(0, 10, 20_001)
    half = x * np.trapezoid(np.exp(-x * np.cosh(t)) * np.cosh(t), t)
    found = fitted.learnt.settings.correlation(np.array([0, reach / 2, 50 * reach]))
    np.testing.assert_allclose(found, [1, half, 0], atol=1e-6)


def test_support_is_more_than_nought_wherever_soundings_have_told_something() -> None:
    # what is left may not be more than what there was, or the two are not of the same kind
    found = base_fit()
    untold = found.posterior.sd_untold()
    inner = ~found.problem.net.on_shore
    assert (found.posterior.sd()[inner] <= 1.1 * untold[inner]).mean() > 0.95


def test_a_part_of_the_water_without_a_sounding_is_not_supported() -> None:
    other = shapely.box(130, -40, 210, 40)
    bed = fit_bed(base(), water(LAKE, other), spacing=FINE, draws=5)
    assert bed.support is not None
    assert bed.sd is not None
    there = (bed.vertices[:, 0] > 120) & (bed.kind > VertexKind.ISLAND)
    here = (bed.vertices[:, 0] < 120) & (bed.kind > VertexKind.ISLAND)
    assert bed.support[there].max() < 0.1
    assert bed.depth[there].min() > 0
    assert np.median(bed.sd[there]) > 1.8 * np.median(bed.sd[here])
    # the part that was sounded does not mind
    assert rms(asked(bed, PLACES)[0] - TRUTH(PLACES)) < 0.12
