"""Change between two surveys: exact, by chance, and of a deposit planted."""

from dataclasses import replace

import geopandas
import numpy as np
import pyproj
import pytest
import shapely
from two_surveys import CELL, DEPTH, PLACES, TRIANGLES, mound, plain, surveyed

from toolbox.change.bed_change import bed_change
from toolbox.errors import LayerError, ParameterError
from toolbox.layers import Vectors

# ---- change known exactly (derived) ----


def test_exact_change_of_beds_that_hardly_err() -> None:
    # the western half rises by 0.5 m, a strip of the eastern sinks by 0.2 m
    east = PLACES[:, 0]
    rise = np.where(east <= 100, 0.5, 0) - np.where((east >= 220) & (east <= 260), 0.2, 0)
    table = bed_change(
        plain(DEPTH),
        plain(DEPTH - rise),
        sd_before=1e-3,
        sd_after=1e-3,
        correlation_range=20,
        cell=2.5,
    )
    row = table.frame.iloc[0]
    # between vertices the change runs out over 10 m
    assert row["deposition_m3"] == pytest.approx((100 + 5) * 200 * 0.5, rel=1e-3)
    assert row["erosion_m3"] == pytest.approx((40 + 10) * 200 * 0.2, rel=1e-3)
    assert row["net_change_m3"] == pytest.approx(row["deposition_m3"] - row["erosion_m3"], rel=1e-3)
    assert row["area_m2"] == pytest.approx(300 * 200)
    assert row["mean_change_m"] == pytest.approx(row["net_change_m3"] / 60_000)
    assert "errors simulated, correlated over 20 m (both beds without draws)" in table.notes


def test_zones_of_depth_and_polygons_add_up() -> None:
    before = plain(DEPTH)
    after = plain(DEPTH - mound(5000, 20))
    shapes = [shapely.box(0, 0, 150, 200), shapely.box(150, 0, 300, 200)]
    frame = geopandas.GeoDataFrame({"name": ["west", "east"]}, geometry=shapes)
    table = bed_change(
        before,
        after,
        Vectors(frame, "parts"),
        depths=(4.0, 6.5, 9.0),
        sd_before=0.01,
        sd_after=0.01,
        correlation_range=20,
        cell=5,
    )
    rows = table.frame.set_index("zone")
    assert list(rows.index) == ["whole water", "4 to 6.5 m", "6.5 to 9 m", "west", "east"]
    summed = ["area_m2", "net_change_m3", "deposition_m3", "erosion_m3", "deposition_area_m2"]
    for pair in (["4 to 6.5 m", "6.5 to 9 m"], ["west", "east"]):
        np.testing.assert_allclose(rows.loc[pair, summed].sum(), rows.loc["whole water", summed])
    assert rows.loc["whole water", "net_change_m3"] == pytest.approx(5000, rel=0.01)


def test_a_shift_is_taken_off() -> None:
    table = bed_change(
        plain(DEPTH),
        plain(DEPTH - 0.1),
        shift=0.1,
        sd_before=0.01,
        sd_after=0.01,
        correlation_range=20,
    )
    assert table.frame.loc[0, "net_change_m3"] == pytest.approx(0, abs=1e-6)
    assert "a shift of 0.1 m is taken off the change" in table.notes


def test_the_error_of_the_datum_widens_the_net_band() -> None:
    # derived: of nothing but a common error of 0.05 m, 1.645 sd of it over 60,000 m2
    row = bed_change(
        plain(DEPTH), plain(DEPTH), datum_sd=0.05, sd_before=0, sd_after=0, correlation_range=20
    ).frame.iloc[0]
    half = (row["net_high_m3"] - row["net_low_m3"]) / 2
    assert half == pytest.approx(1.645 * 0.05 * 60_000, rel=0.12)
    assert row["net_limit_m3"] == pytest.approx(1.96 * 0.05 * 60_000, rel=0.12)


def test_only_common_ground_counts() -> None:
    half = plain(DEPTH)
    half = replace(half, triangles=TRIANGLES[PLACES[TRIANGLES, 0].max(axis=1) <= 150])
    table = bed_change(
        plain(DEPTH), half, sd_before=0.1, sd_after=0.1, correlation_range=20, cell=5
    )
    assert table.frame.loc[0, "area_m2"] == pytest.approx(150 * 200)
    assert "50.0% of the larger water is not common to both and left out" in table.notes


# ---- chance ----


def test_what_is_too_light_to_be_told_is_in_the_band() -> None:
    chance = np.random.default_rng(12)
    pair = surveyed(chance, DEPTH), surveyed(chance, DEPTH - mound(5000, 25))
    told, withheld = (
        bed_change(*pair, depths=(0, 20), cell=CELL, surprise=surprise).frame.iloc[0]
        for surprise in (1.0, 50.0)
    )
    assert told["deposition_m3"] > 2000
    assert withheld["deposition_m3"] == withheld["deposition_area_m2"] == 0
    assert withheld["deposition_low_m3"] == 0
    assert withheld["deposition_high_m3"] == told["deposition_high_m3"] > 5000
    assert withheld["net_change_m3"] == told["net_change_m3"]


def test_a_planted_deposit_is_recovered_within_its_band() -> None:
    # the aim: 5,000 m3 in 90 % of runs, each with surveys of its own
    chance, laid, held, net = np.random.default_rng(12), mound(5000, 25), [], []
    for _ in range(30):
        row = bed_change(
            surveyed(chance, DEPTH), surveyed(chance, DEPTH - laid), depths=(0, 20), cell=CELL
        ).frame.iloc[0]
        held.append(row["deposition_low_m3"] <= 5000 <= row["deposition_high_m3"])
        net.append(row["net_low_m3"] <= 5000 <= row["net_high_m3"])
        assert row["deposition_m3"] > 2000
    assert np.mean(held) >= 0.9
    assert np.mean(net) >= 0.8


def test_the_same_seed_gives_the_same_bits() -> None:
    chance = np.random.default_rng(3)
    before, after = surveyed(chance, DEPTH), surveyed(chance, DEPTH)
    assert bed_change(before, after).frame.equals(bed_change(before, after).frame)


# ---- refusals ----


def test_refusals() -> None:
    bed = plain(DEPTH)
    with pytest.raises(ParameterError, match=r"^sd_before must be given: the bed does not know"):
        bed_change(bed, bed)
    with pytest.raises(
        ParameterError, match=r"^correlation_range must be given: a bed without dra"
    ):
        bed_change(bed, bed, sd_before=0.1, sd_after=0.1)
    far = replace(bed, vertices=PLACES + 1000)
    with pytest.raises(LayerError, match=r"^the two beds must lie over each other, they have no"):
        bed_change(bed, far, sd_before=0.1, sd_after=0.1, correlation_range=20)
    with pytest.raises(LayerError, match=r"^after must be in the CRS of the before"):
        bed_change(bed, replace(bed, crs=pyproj.CRS(32633)), sd_before=0.1, sd_after=0.1)
    known = {"sd_before": 0.1, "sd_after": 0.1, "correlation_range": 20.0}
    with pytest.raises(ParameterError, match=r"^depths must name two to 1000 different ends of"):
        bed_change(bed, bed, depths=(3.0,), **known)  # type: ignore[arg-type]
    points = Vectors(geopandas.GeoDataFrame(geometry=[shapely.Point(5, 5)]), "marks")
    with pytest.raises(LayerError, match=r"^marks must be polygons, got \{'Point'\}$"):
        bed_change(bed, bed, points, **known)  # type: ignore[arg-type]
    away = Vectors(geopandas.GeoDataFrame(geometry=[shapely.box(900, 900, 950, 950)]), "bays")
    with pytest.raises(LayerError, match=r"^bays must lie over ground common to both beds, none"):
        bed_change(bed, bed, away, **known)  # type: ignore[arg-type]
