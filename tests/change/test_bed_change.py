"""Change between two surveys: limits, pairs that did not change, deposits and shifts planted."""

from collections.abc import Iterator
from dataclasses import replace

import geopandas
import numba
import numpy as np
import pyproj
import pytest
import shapely

from toolbox.change.bed_change import bed_change, bed_change_grid, change_limits
from toolbox.change.comparison import compare, limit_of_detection, quantile
from toolbox.change.level_shift import level_shift
from toolbox.change.patches import Patches
from toolbox.change.sedimentation import sedimentation
from toolbox.errors import LayerError, ParameterError
from toolbox.layers import Tin, Vectors, VertexKind

COLS, ROWS, STEP = 31, 21, 10.0
SD, RANGE = 0.1, 30.0
CELL = 10.0


def _net() -> tuple[np.ndarray, np.ndarray]:
    east, north = np.meshgrid(np.arange(COLS) * STEP, np.arange(ROWS) * STEP)
    number = np.arange(COLS * ROWS).reshape(ROWS, COLS)
    a, b, c, d = (
        number[rows, cols].ravel()
        for rows, cols in (
            (slice(-1), slice(-1)),
            (slice(-1), slice(1, None)),
            (slice(1, None), slice(1, None)),
            (slice(1, None), slice(-1)),
        )
    )
    triangles = np.vstack([np.column_stack([a, b, c]), np.column_stack([a, c, d])])
    return np.column_stack([east.ravel(), north.ravel()]), triangles


PLACES, TRIANGLES = _net()
DEPTH = 5 + PLACES[:, 0] / 100
APART = np.minimum(np.hypot(*(PLACES[:, None] - PLACES).transpose(2, 0, 1)) / RANGE, 1)
ROOT = SD * np.linalg.cholesky(1 - 1.5 * APART + 0.5 * APART**3 + 1e-9 * np.eye(len(PLACES)))


@pytest.fixture(autouse=True)
def _one_thread() -> Iterator[None]:
    """Work in one thread: on nets as small as these, waiting for others takes the longest."""
    threads = numba.get_num_threads()
    numba.set_num_threads(1)
    yield
    numba.set_num_threads(threads)


def surveyed(chance: np.random.Generator, depth: np.ndarray) -> Tin:
    """Survey a bed with a correlated error that its draws know."""
    found = depth + ROOT @ chance.normal(size=len(depth))
    draws = found[:, None] + ROOT @ chance.normal(size=(len(depth), 100))
    kind = np.full(len(depth), VertexKind.SOUNDING)
    return Tin(PLACES, found, TRIANGLES, kind, None, np.full(len(depth), SD), draws)


def plain(depth: np.ndarray) -> Tin:
    return Tin(PLACES, depth, TRIANGLES, np.full(len(depth), VertexKind.SOUNDING), None)


def mound(volume: float, size: float) -> np.ndarray:
    """Height of a mound of that volume over the net."""
    height = np.exp(-((PLACES - [140, 100]) ** 2).sum(axis=1) / 2 / size**2)
    mass = np.bincount(TRIANGLES.ravel(), minlength=len(PLACES)) * STEP**2 / 6
    return np.asarray(height * volume / (mass @ height))


# ---- limits ----


@pytest.mark.parametrize(
    ("before", "after", "t", "limit"),
    [(0.10, 0.10, 1.96, 0.2772), (0.15, 0.05, 1.96, 0.3099), (0.10, 0.10, 1.282, 0.1813)],
)
def test_limit_of_detection(before: float, after: float, t: float, limit: float) -> None:
    # Lane et al. 2003; Brasington et al. 2003; Wheaton et al. 2010: t sqrt(s1^2 + s2^2)
    assert limit_of_detection(before, after, t) == pytest.approx(limit, abs=5e-5)


def test_quantiles_of_the_normal_distribution() -> None:
    # any table of the normal distribution (from memory)
    assert [quantile(level) for level in (0.8, 0.9, 0.95)] == pytest.approx(
        [1.2816, 1.6449, 1.9600], abs=5e-5
    )


def test_limits_before_the_surveys_are_made() -> None:
    # Rolstad, Haug & Denby 2009 (from memory): variance of the mean 0.2 pi range^2 / area of the
    # variance at a place, then Anderson 2019 (from memory): the common error on top
    table = change_limits(
        sd_before=0.1, sd_after=0.1, area=60_000, correlation_range=30, datum_sd=0.02
    )
    found = table.frame.set_index("measure")["value"]
    mean_sd = np.sqrt(0.02 * 0.2 * np.pi * 30**2 / 60_000 + 0.02**2)
    assert found["limit at a place"] == pytest.approx(1.959964 * np.sqrt(0.02 + 0.02**2))
    assert found["sd of the mean change"] == pytest.approx(mean_sd)
    assert found["limit of the volume"] == pytest.approx(1.959964 * mean_sd * 60_000)


def test_what_all_depths_have_in_common_does_not_average_out() -> None:
    sizes = [
        change_limits(sd_before=0.1, sd_after=0, area=area, correlation_range=30, datum_sd=0.05)
        .frame.set_index("measure")
        .loc["sd of the mean change", "value"]
        for area in (1e3, 1e6, 1e10)
    ]
    assert sizes[0] > sizes[1] > sizes[2]
    assert sizes[2] == pytest.approx(0.05, rel=1e-4)


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


def test_nothing_shows_where_nothing_changed() -> None:
    # the aim: in 95 % of 200 pairs; each survey's error is its own
    chance, shown, beyond = np.random.default_rng(11), 0, []
    for _ in range(200):
        two = compare(surveyed(chance, DEPTH), surveyed(chance, DEPTH), cell=CELL)
        patches = Patches.of(two, confidence=0.95, skirt=1.0)
        shown += bool(patches.sides(two.rise).any())
        beyond.append((np.abs(two.score_of(two.rise)) > patches.limit).mean())
    assert shown <= 10
    # at a place by itself a twentieth, less what averages out between vertices
    assert 0.01 < np.mean(beyond) < 0.05


def test_a_patch_must_be_heavier_than_chance_by_the_surprise() -> None:
    two = compare(
        plain(DEPTH), plain(DEPTH), sd_before=SD, sd_after=SD, correlation_range=RANGE, cell=CELL
    )
    patches = Patches.of(two, confidence=0.95, skirt=0.0)
    # of square mounds of one height the mass goes with their area (derived)
    side = np.abs(two.places - [145, 105]).max(axis=1)
    marked = []
    for reach in np.arange(5.0, 100, CELL):
        rise = np.where(side <= reach, 3 * SD, 0.0)
        mass = (rise / two.sd) @ two.ground
        told = [patches.sides(rise, surprise=surprise).any() for surprise in (1.0, 2.0)]
        assert told == [mass > patches.least, mass > 2 * patches.least]
        marked.append(tuple(told))
    assert {(False, False), (True, True)} <= set(marked)


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


# ---- shift of level ----


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
    monkeypatch.setitem(globals(), "ROOT", root)
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


# ---- sedimentation ----


def test_rate_and_years_left() -> None:
    # derived: 0.1 m in ten years over 60,000 m2 of water 6.5 m deep on average before, 6.4 m after
    table = sedimentation(
        plain(DEPTH),
        plain(DEPTH - 0.1),
        date_before="2009-06-30",
        date_after="2019-06-30",
        sd_before=0.01,
        sd_after=0.01,
        correlation_range=20,
        cell=5,
    )
    row = table.frame.set_index("measure")
    years = 3652 / 365.2425
    assert row.loc["years between", "value"] == pytest.approx(years)
    assert row.loc["sedimentation rate", "value"] == pytest.approx(6000 / years)
    assert row.loc["mean rise of the bed", "value"] == pytest.approx(100 / years)
    assert row.loc["storage left", "value"] == pytest.approx(6.4 * 60_000)
    assert row.loc["storage lost", "value"] == pytest.approx(100 * 0.1 / 6.5 / years)
    lasting = row.loc["years of storage left"]
    assert lasting["value"] == pytest.approx(64 * years)
    assert lasting["low"] < lasting["value"] < lasting["high"]


def test_a_bed_that_held_no_water_has_no_rate() -> None:
    dry = plain(np.where(PLACES[:, 0] < 0, 1.0, 0.0))
    with pytest.raises(
        LayerError, match=r"^the earlier bed holds no water below its water's edge$"
    ):
        sedimentation(
            dry,
            plain(DEPTH),
            date_before="2009-06-30",
            date_after="2019-06-30",
            sd_before=0.01,
            sd_after=0.01,
            correlation_range=20,
        )


def test_a_water_that_may_not_be_filling_lasts_for_ever() -> None:
    chance = np.random.default_rng(5)
    rows = sedimentation(
        surveyed(chance, DEPTH),
        surveyed(chance, DEPTH),
        date_before="2009-06-30",
        date_after="2010-06-30",
    ).frame.set_index("measure")
    assert rows.loc["years of storage left", "high"] == np.inf


@pytest.mark.parametrize(
    ("before", "after", "message"),
    [
        ("2019-06-30", "2009-06-30", r"^date_after must be later than 2019-06-30, got 2009-06-30$"),
        ("30.6.2009", "2019-06-30", r"^date_before must be a day such as 2009-06-30, got '30.6.20"),
    ],
)
def test_dates_that_are_none(before: str, after: str, message: str) -> None:
    with pytest.raises(ParameterError, match=message):
        sedimentation(plain(DEPTH), plain(DEPTH), date_before=before, date_after=after)


# ---- maps ----


def test_maps_of_change() -> None:
    chance = np.random.default_rng(8)
    before, after = surveyed(chance, DEPTH), surveyed(chance, DEPTH - mound(5000, 20))
    maps = {
        show: bed_change_grid(before, after, show=show, cell=CELL).values  # type: ignore[arg-type]
        for show in ("change", "limit", "significance", "patches")
    }
    # Lane et al. 2003 as above: both beds with an sd of 0.1 m
    np.testing.assert_allclose(maps["limit"], 0.2772, atol=5e-5)
    assert maps["change"][10, 14] == pytest.approx(mound(5000, 20).max(), abs=0.5)
    assert maps["significance"][10, 14] > 0.99
    assert (np.sign(maps["significance"]) == np.sign(maps["change"])).all()
    assert set(np.unique(maps["patches"])) == {0, 1}
    assert maps["patches"][10, 14] == 1
    assert maps["patches"][0, -1] == 0
    beyond = np.abs(maps["change"]) > maps["limit"]
    np.testing.assert_array_equal(np.abs(maps["significance"]) > 0.95, beyond)


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
