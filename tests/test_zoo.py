"""The zoo is what it says: same bits for a seed, real waters, features in place, honest spreads."""

import functools
import time

import numpy as np
import pyproj
import pytest
import shapely
import zoo
from scipy import stats
from zoo import KINDS, STYLES, Feature, Floats, Kind, Lake, Style

from toolbox.layers import Soundings

EACH = 4
NUMBERS = range(EACH * len(KINDS))
every_lake = pytest.mark.parametrize(
    "number", NUMBERS, ids=[f"{KINDS[k % len(KINDS)]} {k // len(KINDS) + 1}" for k in NUMBERS]
)


@functools.cache
def all_lakes() -> list[Lake]:
    """Return the lakes, not made before a test runs."""
    return zoo.lakes(len(NUMBERS))


def of_kind(kind: Kind) -> list[Lake]:
    return [lake for lake in all_lakes() if lake.kind == kind]


def planted(*kinds: str) -> list[tuple[Lake, Feature]]:
    return [(lake, one) for lake in all_lakes() for one in lake.features if one.kind in kinds]


def to_the_left(line: Floats) -> Floats:
    ahead = np.gradient(line, axis=0)
    return np.column_stack([-ahead[:, 1], ahead[:, 0]]) / np.hypot(*ahead.T)[:, None]


# ---- same seed, same bits ----


@pytest.mark.parametrize("kind", KINDS)
def test_same_seed_same_lake_and_another_seed_another(kind: Kind) -> None:
    first, again, other = (zoo.make_lake(kind, seed) for seed in (5, 5, 6))
    places = zoo.truth(first, 8).places
    assert first.shoreline.polygons.wkb == again.shoreline.polygons.wkb
    assert repr(first.features) == repr(again.features)  # a form without a bearing has NaN
    assert first.depth(places).tobytes() == again.depth(places).tobytes()
    assert first.shoreline.polygons.wkb != other.shoreline.polygons.wkb


@pytest.mark.parametrize("style", STYLES)
def test_same_seed_same_survey_and_another_seed_another(style: Style) -> None:
    lake = all_lakes()[0]
    first, again, other = (zoo.survey(lake, style, seed) for seed in (1, 1, 2))
    assert first.frame.equals(again.frame)
    assert not np.array_equal(first.depth[:40], other.depth[:40])


def test_shorter_zoo_is_the_beginning_of_a_longer_one() -> None:
    short = zoo.lakes(2)
    assert [lake.name for lake in short] == ["round 1", "dendritic 1"]
    assert [lake.shoreline.polygons.wkb for lake in short] == [
        lake.shoreline.polygons.wkb for lake in all_lakes()[:2]
    ]


def test_kinds_are_equally_many_and_names_differ() -> None:
    assert {kind: len(of_kind(kind)) for kind in KINDS} == dict.fromkeys(KINDS, EACH)
    assert len({lake.name for lake in all_lakes()}) == len(all_lakes())


# ---- shores ----


@every_lake
def test_shoreline_is_one_valid_water_of_2_to_40_ha(number: int) -> None:
    lake = all_lakes()[number]
    water = lake.shoreline.polygons
    assert water.is_valid
    assert len(water.geoms) == 1
    assert 1.8e4 < water.area < 41e4
    assert shapely.minimum_rotated_rectangle(water).area > water.area
    assert bool(lake.shoreline.islands) == (lake.kind == "islands")


def test_rivers_alone_are_open_and_flow_on_at_both_ends() -> None:
    assert [lake.kind for lake in all_lakes() if lake.shoreline.open_edges] == (
        ["river reach"] * EACH
    )
    for lake in of_kind("river reach"):
        ends = lake.shoreline.open_edges
        assert ends is not None
        assert len(ends.geoms) == 2
        edge = lake.shoreline.polygons.boundary
        for end in ends.geoms:
            assert end.difference(edge.buffer(1e-6)).is_empty
            middle = shapely.get_coordinates(end.interpolate(0.5, normalized=True))
            assert lake.depth(middle)[0] > 0.4


# ---- beds ----


@every_lake
def test_depth_is_0_on_the_shore_and_on_land_and_above_0_in_the_water(number: int) -> None:
    lake = all_lakes()[number]
    water = lake.shoreline.polygons
    bed = zoo.truth(lake, 6)
    assert (bed.depth > 0).all()
    assert 2 < bed.depth.max() < 25
    shore = shapely.get_coordinates(shapely.segmentize(water.boundary, 2.0))
    if lake.shoreline.open_edges is not None:
        open_end = shapely.distance(lake.shoreline.open_edges, shapely.points(shore)) < 0.1
        shore = shore[~open_end]
    # on the shore to the rounding of the coordinates: a wall of 10 m in 0.5 m makes 2e-8 of 1e-9
    assert np.abs(lake.depth(shore)).max() < 1e-6
    west, south, east, north = water.bounds
    around = np.random.default_rng(1).uniform((west, south), (east, north), (500, 2))
    away = shapely.distance(water, shapely.points(around))
    assert (lake.depth(around[away > 40]) == 0).all()


def test_pits_drop_vertically_by_metres_at_their_edge() -> None:
    for lake in of_kind("gravel pit"):
        assert 0.5 <= lake.wall <= 1
        ring = shapely.orient_polygons(lake.shoreline.polygons).geoms[0].exterior
        line = shapely.get_coordinates(ring)
        middle, ahead = (line[1:] + line[:-1]) / 2, np.diff(line, axis=0)
        inward = np.column_stack([-ahead[:, 1], ahead[:, 0]]) / np.hypot(*ahead.T)[:, None]
        below = lake.depth(middle + lake.wall * inward)
        assert 4 <= np.median(below) <= 10.2
        assert below.min() > 3


@pytest.mark.parametrize("kind", KINDS)
def test_bed_has_no_cracks(kind: Kind) -> None:
    """A jump of the bed would be a slope of 1,000 to 1 over a millimetre."""
    rng = np.random.default_rng(2)
    for lake in of_kind(kind):
        places = zoo.truth(lake, 5).places
        places = places + rng.uniform(-2.5, 2.5, places.shape)
        beside = places + 0.001 * stats.uniform_direction(2, seed=rng).rvs(len(places))
        wet = lake.shoreline.contains(places) & lake.shoreline.contains(beside)
        slope = np.abs(lake.depth(beside[wet]) - lake.depth(places[wet])) / 0.001
        assert slope.max() < (21 if lake.wall else 3)


def test_dish_is_flat_and_pits_are_not_bowls() -> None:
    for lake in of_kind("dish"):
        bed = zoo.truth(lake, 5)
        floor = bed.depth[bed.depth > 0.8 * np.median(bed.depth)]
        assert len(floor) > 0.55 * len(bed.depth)
        assert floor.std() < 0.2 * floor.mean()
    for lake in of_kind("gravel pit"):
        bed = zoo.truth(lake, 5)
        assert bed.depth.mean() > 0.5 * bed.depth.max()


def test_river_is_deepest_near_the_outer_bank() -> None:
    for lake in of_kind("river reach"):
        assert lake.axis is not None
        line = shapely.get_coordinates(lake.axis)[30:-30]
        width = lake.shoreline.polygons.area / lake.axis.length
        heading = np.unwrap(np.arctan2(*np.gradient(line, axis=0).T[::-1]))
        bend = np.gradient(heading) * width
        aside = 0.3 * width * to_the_left(line)
        # in a bend to the left the outer bank is the right one
        outer = np.sign(bend) * (lake.depth(line - aside) - lake.depth(line + aside))
        sharp = np.abs(bend) > 0.5 * np.abs(bend).max()
        assert np.mean(outer[sharp] > 0) > 0.85


def test_truth_is_of_cells_in_the_water() -> None:
    for lake in all_lakes()[:7]:
        bed = zoo.truth(lake, 3)
        assert np.allclose(bed.places / 3 % 1, 0.5)
        assert bed.area == pytest.approx(lake.shoreline.polygons.area, rel=1e-12)
        assert len(bed.depth) * 9 == pytest.approx(bed.area, rel=0.01)
        assert bed.volume == pytest.approx(bed.depth.mean() * bed.area, rel=0.01)


@pytest.mark.parametrize(("kind", "rel"), [("dish", 5e-4), ("round", 5e-4), ("gravel pit", 2e-3)])
def test_volume_of_2_m_cells_is_as_near_as_it_says(kind: Kind, rel: float) -> None:
    lake = min(of_kind(kind), key=lambda lake: float(lake.shoreline.polygons.area))
    assert zoo.truth(lake, 2).volume == pytest.approx(zoo.truth(lake, 0.5).volume, rel=rel)


# ---- features ----


def test_features_lie_in_the_water_and_tell_the_true_depth() -> None:
    for lake, one in planted("hump", "hole", "gully", "drop-off"):
        place = np.array([one.place])
        assert lake.shoreline.contains(place)[0]
        assert lake.depth(place)[0] == pytest.approx(one.depth, abs=1e-6)
    assert {kind: len(planted(kind)) > 4 for kind in ("hump", "hole", "gully", "drop-off")} == {
        "hump": True, "hole": True, "gully": True, "drop-off": True,
    }  # fmt: skip


@pytest.mark.parametrize(("kind", "sign"), [("hump", 1), ("hole", -1)])
def test_humps_and_holes_stand_out_by_their_relief_at_their_size(kind: str, sign: int) -> None:
    angle = np.linspace(0, 2 * np.pi, 24, endpoint=False)
    share: list[float] = []
    for lake, one in planted(kind):
        turn = np.radians(90 - one.bearing)
        along, across = one.length / 2 * np.cos(angle), one.width / 2 * np.sin(angle)
        ring = np.column_stack(
            [
                along * np.cos(turn) - across * np.sin(turn),
                along * np.sin(turn) + across * np.cos(turn),
            ]
        )
        foot, half = (lake.depth(np.add(one.place, size * ring)) for size in (1.9, 1.0))
        assert sign * (foot - one.depth).mean() > 0.6 * one.relief
        assert (sign * (foot - one.depth)).min() > 0.2 * one.relief
        share.append(sign * (half.mean() - one.depth) / one.relief)
    # half of the relief is left at the stated size
    assert np.median(share) == pytest.approx(0.5, abs=0.07)


def test_gullies_are_deeper_than_the_ground_on_both_sides() -> None:
    for lake, one in planted("gully"):
        assert one.line is not None
        line = shapely.get_coordinates(one.line)
        inner = slice(len(line) // 4, -len(line) // 4)
        aside = 1.3 * one.width * to_the_left(line)
        sides = (lake.depth(line + aside) + lake.depth(line - aside)) / 2
        assert np.median((lake.depth(line) - sides)[inner]) > 0.6 * one.relief


def test_drop_offs_fall_from_lip_to_foot_and_the_lip_is_a_break() -> None:
    for lake, one in planted("drop-off"):
        assert one.line is not None
        assert one.foot is not None
        lip, foot = shapely.get_coordinates(one.line), shapely.get_coordinates(one.foot)
        fall = lake.depth(foot) - lake.depth(lip)
        assert np.median(fall) == pytest.approx(one.relief, abs=1e-6)
        assert one.relief >= zoo.LEAST_DROP
        assert np.mean(fall > 0.5) > 0.9
        before = lake.depth(2 * lip - foot)  # as far behind the lip as the foot lies before it
        rise = np.median(lake.depth(lip) - before)
        assert np.median(fall) > 2 * rise
        assert one.length == pytest.approx(one.line.length, rel=1e-6)


# ---- surveys ----


@pytest.fixture(scope="module")
def surveys() -> dict[tuple[str, Style], Soundings]:
    return {
        (lake.name, style): zoo.survey(lake, style, 11) for lake in all_lakes() for style in STYLES
    }


Surveys = dict[tuple[str, Style], Soundings]


def test_surveys_have_the_sources_and_counts_of_their_style(surveys: Surveys) -> None:
    for (_, style), soundings in surveys.items():
        lines = soundings.frame.groupby("source")["line"].nunique()
        if style == "points":
            assert list(lines.index) == ["plummet"]
            assert 40 <= len(soundings) <= 120
            assert (soundings.frame["line"] == "").all()
            continue
        assert list(lines.index) == ["cast", "track"][: 1 + (style == "tracks and casts")]
        assert 15 <= lines["cast"] <= 64
        assert (soundings.frame["line"] != "").all()


def test_every_kept_sounding_is_in_the_water_and_the_rest_are_flagged_ashore(
    surveys: Surveys,
) -> None:
    flagged = 0
    for lake in all_lakes():
        for style in STYLES:
            soundings = surveys[lake.name, style]
            assert lake.shoreline.contains(soundings.kept.coordinates).all()
            assert soundings.kept.depth.min() > 0
            assert set(soundings.rejections()) <= {zoo.ASHORE}
            assert soundings.flag.mean() < 0.05
            flagged += int(soundings.flag.sum())
    assert flagged > 0


def test_boat_pings_every_metre_on_lines_25_to_60_m_apart(surveys: Surveys) -> None:
    for lake in all_lakes():
        frame = surveys[lake.name, "tracks and casts"].frame
        frame = frame[frame["source"] == "track"]
        true = frame[["true_easting", "true_northing"]].to_numpy()
        same = (frame["line"].to_numpy()[1:] == frame["line"].to_numpy()[:-1]).nonzero()[0]
        step = np.hypot(*np.diff(true, axis=0)[same].T)
        assert np.median(step) == pytest.approx(1.02, abs=0.05)
        assert frame["time"].is_monotonic_increasing
        # water over length of track: between the spacing of lines and, with ties, half of it
        spacing = lake.shoreline.polygons.area / step.sum()
        assert 10 < spacing < 65


def test_casts_lie_on_their_noted_bearing(surveys: Surveys) -> None:
    """Against PROJ's geodesics; away from the rod, so from the last ping to the first."""
    geod = pyproj.Geod(ellps="WGS84")
    to_degrees = pyproj.Transformer.from_crs(32633, 4326, always_xy=True)
    for lake in all_lakes()[:7]:
        frame = surveys[lake.name, "casts"].frame
        casts = frame.groupby("line", sort=False)
        far, near = casts.head(1), casts.tail(1)
        long = (casts.size() > 15).to_numpy()
        ends = [
            to_degrees.transform(end.geometry.x.to_numpy()[long], end.geometry.y.to_numpy()[long])
            for end in (near, far)
        ]
        azimuth, _, length = geod.inv(*ends[0], *ends[1])
        turn = (azimuth - far["bearing"].to_numpy()[long] + 180) % 360 - 180
        assert np.abs(turn).max() < 0.01
        assert length.max() < 80


# ---- spreads: standardised errors are normal with spread 1 ----


def honest(errors: Floats) -> None:
    """Hold standardised, independent errors to a spread of 1, a mean of 0 and a normal shape."""
    assert len(errors) > 150
    chance = stats.chi2.cdf((errors**2).sum(), len(errors))
    assert 1e-3 < chance < 1 - 1e-3, f"spread {errors.std():.3f} of {len(errors)}"
    assert stats.kstest(errors, "norm").pvalue > 1e-3


def by_line(surveys: Surveys, source: str) -> tuple[Floats, Floats]:
    """Return the standardised means of lines, and what pings deviate from them."""
    means, rests = [], []
    for lake in all_lakes():
        frame = surveys[lake.name, "tracks and casts"].frame
        frame = frame[frame["source"] == source]
        true = lake.depth(frame[["true_easting", "true_northing"]].to_numpy())
        own = np.sqrt(frame["sd"] ** 2 - frame["sd_shared"] ** 2)
        table = frame.assign(error=frame["depth"] - true, own=own).groupby("line", sort=False)
        count, mean = table.size().to_numpy(), table["error"].mean().to_numpy()
        own_sd, shared = table["own"].first().to_numpy(), table["sd_shared"].first().to_numpy()
        means.append(mean / np.sqrt(shared**2 + own_sd**2 / count))
        # the difference of neighbours knows nothing of the line
        error = (frame["depth"] - true).to_numpy() / own.to_numpy()
        line = frame["line"].to_numpy()
        pairs = np.arange(0, len(line) - 1, 2)
        pairs = pairs[line[pairs] == line[pairs + 1]]
        rests.append((error[pairs] - error[pairs + 1]) / np.sqrt(2))
    return np.concatenate(means), np.concatenate(rests)


@pytest.mark.parametrize("source", ["track", "cast"])
def test_depth_errs_by_its_sd_and_lines_share_what_they_say(surveys: Surveys, source: str) -> None:
    means, rests = by_line(surveys, source)
    honest(means)
    honest(rests)


def test_points_err_by_their_spreads(surveys: Surveys) -> None:
    for lake in all_lakes()[::7]:
        assert (surveys[lake.name, "points"].frame["sd_shared"] == 0).all()
    depth, place = [], []
    for lake in all_lakes():
        frame = surveys[lake.name, "points"].frame
        true = frame[["true_easting", "true_northing"]].to_numpy()
        depth.append((frame["depth"] - lake.depth(true)) / frame["sd"])
        believed = shapely.get_coordinates(frame.geometry.to_numpy())
        place.append(((believed - true) / frame["sd_xy"].to_numpy()[:, None]).ravel())
    honest(np.concatenate(depth))
    honest(np.concatenate(place))


def test_boat_position_errs_by_its_spread_and_forgets_in_100_s(surveys: Surveys) -> None:
    far_apart, products, squares = [], [], []
    for lake in all_lakes():
        frame = surveys[lake.name, "tracks and casts"].frame
        frame = frame[frame["source"] == "track"]
        true = frame[["true_easting", "true_northing"]].to_numpy()
        believed = shapely.get_coordinates(frame.geometry.to_numpy())
        error = (believed - true) / frame["sd_xy"].to_numpy()[:, None]
        seconds = (frame["time"] - frame["time"].iloc[0]).dt.total_seconds().to_numpy()
        # 500 s apart the correlation is 0.7 %
        _, rows = np.unique(seconds // 500, return_index=True)
        far_apart.append(error[rows[::2]].ravel())
        later = np.searchsorted(seconds, seconds + zoo.TRACK_MEMORY)
        met = later < len(seconds)
        met[met] &= np.abs(seconds[later[met]] - seconds[met] - zoo.TRACK_MEMORY) < 1
        products.append((error[met] * error[later[met]]).ravel())
        squares.append((error[met] ** 2).ravel())
    honest(np.concatenate(far_apart))
    # derived: exp(-1) after the time of memory
    correlation = np.concatenate(products).mean() / np.concatenate(squares).mean()
    assert correlation == pytest.approx(np.exp(-1), abs=0.06)


def test_casts_err_along_and_across_by_their_spreads(surveys: Surveys) -> None:
    """One ping of each cast, its farthest; casts of a peg share half a metre, which is little."""
    along, across = [], []
    for lake in all_lakes():
        frame = surveys[lake.name, "casts"].frame.groupby("line", sort=False).head(1)
        true = frame[["true_easting", "true_northing"]].to_numpy()
        east, north = (shapely.get_coordinates(frame.geometry.to_numpy()) - true).T
        turn = np.radians(frame["bearing"].to_numpy())
        ahead = (east * np.sin(turn) + north * np.cos(turn)) / frame["sd_along"]
        aside = (east * np.cos(turn) - north * np.sin(turn)) / frame["sd_across"]
        along.append(ahead)
        across.append(aside)
        root = np.sqrt((frame["sd_along"] ** 2 + frame["sd_across"] ** 2) / 2)
        assert np.allclose(root, frame["sd_xy"])
    spread = [np.concatenate(part).std() for part in (along, across)]
    assert spread == pytest.approx([1, 1], abs=0.06)


# ---- cost ----


def test_a_lake_and_its_survey_cost_a_fraction_of_a_second() -> None:
    """Processor time, with a wide margin for a busy machine: goals are 0.1 s and 0.1 s."""
    begin = time.process_time()
    for number, kind in enumerate(KINDS):
        zoo.survey(zoo.make_lake(kind, 900 + number), "tracks and casts", 1)
    assert (time.process_time() - begin) / len(KINDS) < 0.9
