"""Thinning: nothing lost, no order, cells where they should be, and spread that holds."""

import math

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from toolbox.errors import ParameterError
from toolbox.layers import Soundings
from toolbox.layers.crs import parse_crs
from toolbox.reduction.cell_table import CellTable
from toolbox.reduction.spread import estimate_spread
from toolbox.reduction.thinning import By, footprint_cell, thin

NEVER = np.datetime64("NaT", "ns")

WAYS: list[By] = ["mean", "median", "shoalest", "deepest"]


def layer(place: object, depth: object, **columns: object) -> Soundings:
    place, depth = np.asarray(place, float).reshape(-1, 2), np.asarray(depth, float)
    return Soundings.from_arrays(place, depth, crs=None, **columns)


def invented(seed: int, count: int = 200) -> Soundings:
    """Soundings of three lines on a coarse lattice, so that many agree in much."""
    rng = np.random.default_rng(seed)
    made = layer(
        rng.integers(-40, 40, (count, 2)) / 4,
        rng.integers(0, 20, count) / 2,
        line=rng.choice(["a", "b", ""], count),
        sd=rng.choice([0.1, 0.2, 0.5], count),
        sd_xy=rng.choice([1.0, 2.0], count),
        sd_shared=rng.choice([0.05, 0.1, np.nan], count),
        time=np.datetime64("2024-05-01T06:00", "ns") + rng.integers(0, 9, count).astype("m8[s]"),
        source=rng.choice(["track", "cast"], count),
        name=np.arange(count),
    )
    return made.reject(rng.random(count) < 0.1, "spike")


def rows_of(soundings: Soundings, rows: np.ndarray) -> Soundings:
    return Soundings(soundings.frame.iloc[rows].reset_index(drop=True), soundings.notes)


# ---- nothing lost, no order ----


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 2**32 - 1), st.sampled_from(WAYS), st.sampled_from([0.25, 1.0, 3.0, 100.0]))
def test_counts_add_up_and_order_does_not_matter(seed: int, by: By, cell: float) -> None:
    whole = invented(seed)
    shuffled = rows_of(whole, np.random.default_rng(seed + 1).permutation(len(whole)))
    one, other = thin(whole, cell=cell, by=by), thin(shuffled, cell=cell, by=by)
    assert one.frame["count"].sum() == len(whole.kept) == len(whole) - whole.flag.sum()
    drop = ["name"] if by != "mean" else []
    pd.testing.assert_frame_equal(  # to the bit
        pd.DataFrame(one.frame.drop(columns=drop)), pd.DataFrame(other.frame.drop(columns=drop))
    )
    index = np.floor(one.coordinates / cell)
    assert len(np.unique(index, axis=0)) == len(one)  # one for each cell
    kept = np.floor(whole.kept.coordinates / cell)
    assert {tuple(c) for c in index} == {tuple(c) for c in kept}  # and none of them empty
    assert (np.lexsort(index.T[::-1]) == np.arange(len(one))).all()


@settings(max_examples=40, deadline=None)
@given(
    st.integers(0, 2**32 - 1),
    st.sampled_from(WAYS),
    st.integers(-10_000, 10_000),
    st.integers(-10_000, 10_000),
)
def test_a_shift_by_whole_cells_shifts_the_result(seed: int, by: By, east: int, north: int) -> None:
    whole, shift = invented(seed), np.array([east, north]) * 2.0
    moved = Soundings(whole.frame.assign(geometry=whole.frame.translate(*shift)))
    one, other = thin(whole, cell=2.0, by=by), thin(moved, cell=2.0, by=by)
    np.testing.assert_allclose(other.coordinates, one.coordinates + shift, rtol=0, atol=1e-11)
    for name in ("depth", "sd", "sd_xy", "count", "lines"):
        np.testing.assert_array_equal(other.frame[name], one.frame[name])


def test_the_layer_itself_stays_whole() -> None:
    whole = invented(1)
    before = whole.frame.copy()
    thin(whole, cell=5.0)
    pd.testing.assert_frame_equal(pd.DataFrame(whole.frame), pd.DataFrame(before))


def test_one_sounding_a_cell_is_that_sounding() -> None:
    made = layer(
        [[0.3, 0.7], [1.3, 5.1]],
        [3.3, 4.4],
        line=["a", "b"],
        sd=[0.3, np.nan],
        sd_xy=[2, np.nan],
        source="cast",
    )
    for by in WAYS:
        done = thin(made, cell=0.1, by=by)
        np.testing.assert_array_equal(done.depth, made.depth)
        np.testing.assert_allclose(done.coordinates, made.coordinates, rtol=1e-15)
        for name in ("line", "source", "sd", "sd_xy"):
            pd.testing.assert_series_equal(done.frame[name], made.frame[name], check_dtype=False)


def test_an_edge_belongs_to_the_cell_east_or_north_of_it() -> None:
    place = [[0, 0], [1.99, 1.99], [2, 0], [0, 2], [-0.01, 0], [-2, -2]]
    done = thin(layer(place, np.arange(6)), cell=2.0, by="deepest")
    np.testing.assert_array_equal(
        done.coordinates, [[-2, -2], [-0.01, 0], [1.99, 1.99], [0, 2], [2, 0]]
    )
    np.testing.assert_array_equal(done.frame["count"], [1, 1, 2, 1, 1])


# ---- what a cell comes to ----


def test_a_mean_is_weighed_by_the_inverse_variance() -> None:
    made = layer(
        [[0, 0], [4, 2]], [10, 13], sd=[0.1, 0.2], sd_xy=[1, 2], sd_shared=[0.0, 0.0], line="a"
    )
    row = thin(made, cell=10).frame.iloc[0]
    # derived: weights 0.8 and 0.2
    assert row["depth"] == pytest.approx(10.6)
    assert (row.geometry.x, row.geometry.y) == (pytest.approx(0.8), pytest.approx(0.4))
    assert row["sd"] == pytest.approx(1 / math.sqrt(1 / 0.01 + 1 / 0.04))
    assert row["sd_xy"] == pytest.approx(0.8 * 1 + 0.2 * 2)


def test_weights_are_equal_where_one_has_no_spread() -> None:
    made = layer([[0, 0], [4, 2]], [10, 13], sd=[0.1, np.nan], sd_xy=[1, 1])
    row = thin(made, cell=10).frame.iloc[0]
    assert row["depth"] == pytest.approx(11.5)
    assert math.isnan(row["sd"])
    assert row["sd_xy"] == pytest.approx(1)
    zero = thin(layer([[0, 0], [4, 2]], [10, 13], sd=[0.1, 0.0]), cell=10).frame.iloc[0]
    assert zero["depth"] == pytest.approx(11.5)
    assert math.isnan(zero["sd"])


@pytest.mark.parametrize("count", [1, 4, 10_000])
def test_a_line_is_never_better_than_what_its_soundings_share(count: int) -> None:
    place = np.zeros((count, 2))
    row = thin(layer(place, place[:, 0], sd=0.5, sd_xy=2.0, sd_shared=0.3), cell=1).frame.iloc[0]
    assert row["sd"] == pytest.approx(math.sqrt(0.4**2 / count + 0.3**2))  # derived
    assert row["sd_shared"] == pytest.approx(0.3)
    assert row["sd_xy"] == pytest.approx(2)
    unknown = thin(layer(place, place[:, 0], sd=0.5), cell=1).frame["sd"].iloc[0]
    assert unknown == pytest.approx(0.5 * math.sqrt(0.5 / count + 0.5))


def test_lines_make_each_other_better() -> None:
    made = layer(
        np.zeros((6, 2)), np.zeros(6), sd=0.5, sd_xy=2.0, sd_shared=0.5, line=list("aabbcc")
    )
    row = thin(made, cell=1).frame.iloc[0]
    assert row["sd"] == pytest.approx(0.5 / math.sqrt(3))
    assert row["sd_xy"] == pytest.approx(2 / math.sqrt(3))
    assert (row["lines"], row["line"]) == (3, "")


def test_the_spread_of_simulated_lines_is_the_spread_stated() -> None:
    # three lines of unequal length and quality in one cell, drawn 40,000 times
    rng = np.random.default_rng(9)
    line = np.repeat([0, 1, 2], [12, 5, 1])
    sd, shared = np.array([0.3, 0.2, 0.25])[line], np.array([0.2, 0.05, 0.1])[line]
    made = layer(
        np.zeros((18, 2)), np.zeros(18), sd=sd, sd_shared=shared, sd_xy=3.0, line=line.astype(str)
    )
    stated = thin(made, cell=1).frame.iloc[0]
    weight = sd**-2 / (sd**-2).sum()
    draws = 40_000
    common = rng.normal(0, 1, (draws, 3))[:, line] * shared
    own = rng.normal(0, 1, (draws, 18)) * np.sqrt(sd**2 - shared**2)
    assert ((common + own) @ weight).std() == pytest.approx(stated["sd"], rel=0.015)
    assert (common @ weight).std() == pytest.approx(stated["sd_shared"], rel=0.015)
    place = rng.normal(0, 3, (draws, 3))[:, line] @ weight
    assert place.std() == pytest.approx(stated["sd_xy"], rel=0.015)


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 2**32 - 1))
def test_a_mean_lies_within_its_soundings(seed: int) -> None:
    whole = invented(seed)
    done, kept = thin(whole, cell=3.0), whole.kept
    group = pd.Series(map(tuple, np.floor(kept.coordinates / 3).astype(int)))
    order = pd.Series(map(tuple, np.floor(done.coordinates / 3).astype(int)))
    for name in ("depth", "sd_xy"):
        values = kept.frame[name].reset_index(drop=True).groupby(group)
        low, high = values.min()[order].to_numpy(), values.max()[order].to_numpy()
        assert (done.frame[name] <= high + 1e-12).all()
        assert name == "sd_xy" or (done.frame[name] >= low - 1e-12).all()
    worst = kept.frame["sd"].reset_index(drop=True).groupby(group).max()[order].to_numpy()
    assert (done.frame["sd"] <= worst + 1e-12).all()
    assert (done.frame["sd_shared"] <= done.frame["sd"] + 1e-12).all()


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 2**32 - 1), st.sampled_from(WAYS[1:]))
def test_a_chosen_sounding_is_one_of_them(seed: int, by: By) -> None:
    whole = invented(seed)
    frame = whole.frame.set_index("name", drop=False)
    done = thin(whole, cell=3.0, by=by).frame
    mine = frame.loc[done["name"]]
    assert not mine["flag"].any()
    for name in ("depth", "sd", "sd_xy", "line", "time", "source"):
        assert done[name].tolist() == mine[name].tolist()
    assert (done.geometry.to_numpy() == mine.geometry.to_numpy()).all()


@settings(max_examples=20, deadline=None)
@given(st.integers(0, 2**32 - 1))
def test_median_shoalest_and_deepest_by_pandas(seed: int) -> None:
    whole = invented(seed)
    kept = whole.kept
    group = pd.Series(map(tuple, np.floor(kept.coordinates / 3).astype(int)))
    depth, weight = kept.frame[["depth", "sd"]].reset_index(drop=True).to_numpy().T
    for by, function in (("shoalest", np.min), ("deepest", np.max), ("median", None)):
        done = thin(whole, cell=3.0, by=by)  # type: ignore[arg-type]
        for number, key in enumerate(map(tuple, np.floor(done.coordinates / 3).astype(int))):
            mine = (group == key).to_numpy()
            values, weights = depth[mine], np.round(100 * (0.5 / weight[mine]) ** 2).astype(int)
            # derived: a median weighed by whole numbers is that of each repeated so many times
            middle = np.sort(np.repeat(values, weights))
            wanted = function(values) if function else middle[(len(middle) - 1) // 2]
            assert done.depth[number] == wanted


# ---- thinned before ----


def alike(seed: int, **columns: object) -> Soundings:
    """Soundings of one line; 1 m cells hold from one to many of them."""
    rng = np.random.default_rng(seed)
    place = rng.normal(0, 4, (300, 2))
    return layer(place, 5 + place[:, 0] / 3 + rng.normal(0, 0.1, 300), line="a", **columns)


@pytest.mark.parametrize("by", ["mean", "shoalest", "deepest"])
@pytest.mark.parametrize("columns", [{}, {"sd": 0.2, "sd_shared": 0.05}], ids=["no sd", "sd"])
def test_thinning_twice_is_thinning_once(by: By, columns: dict[str, float]) -> None:
    whole = alike(11, **columns)
    once, twice = thin(whole, cell=4.0, by=by), thin(thin(whole, cell=1.0, by=by), cell=4.0, by=by)
    assert twice.frame["count"].tolist() == once.frame["count"].tolist()
    assert twice.frame["count"].sum() == 300
    np.testing.assert_allclose(twice.depth, once.depth, rtol=0, atol=1e-12)
    np.testing.assert_allclose(twice.coordinates, once.coordinates, rtol=0, atol=1e-12)
    if by == "mean":
        np.testing.assert_allclose(twice.frame["sd"], once.frame["sd"], rtol=1e-12)
    assert twice.notes[-1].endswith("stand for 300")


def test_what_was_thinned_while_it_was_read_counts_for_its_rows() -> None:
    # as a survey does: thinned while read, its spread estimated, joined with others, thinned
    whole = alike(12)
    cells = CellTable(1.0)
    cells.add(*whole.coordinates.T, whole.depth)
    streamed = estimate_spread(cells.soundings(None))
    plummet = layer([[60.0, 60.0]], [9.0], source="plummet", sd=0.05)
    done = thin(Soundings.joined([streamed, plummet]), cell=4.0)
    once = thin(whole, cell=4.0)
    assert done.frame["count"].tolist() == [*once.frame["count"], 1]
    np.testing.assert_allclose(done.depth[:-1], once.depth, rtol=0, atol=0.02)
    # a plain mean of the cells, however many soundings each holds, is farther off
    plain = thin(Soundings(streamed.frame.drop(columns=["count", "sd"])), cell=4.0)
    assert np.abs(plain.depth - once.depth).max() > 0.1


def test_a_count_of_something_else_is_no_weight() -> None:
    fish = layer(np.zeros((2, 2)), [4.0, 6.0], count=np.array([9, 1]))
    done = thin(fish, cell=1)
    assert done.depth.tolist() == [5.0]
    assert done.frame["count"].tolist() == [2]


def test_a_median_is_not_moved_by_a_wild_sounding() -> None:
    done = thin(layer(np.zeros((5, 2)), [4, 4.1, 4.2, 4.3, 70]), cell=1, by="median")
    assert done.depth.tolist() == [4.2]
    even = thin(layer(np.zeros((4, 2)), [4, 4.1, 4.3, 9]), cell=1, by="median")
    assert even.depth.tolist() == [4.1]  # of two middle ones the shoaler


def test_line_source_and_time_only_where_they_are_one() -> None:
    start = np.datetime64("2024-05-01T06:00:00", "ns")
    made = layer(
        [[0, 0], [0, 0], [5, 0], [5, 0], [9, 0], [9, 0]],
        np.ones(6),
        line=["a", "a", "a", "b", "c", "c"],
        source=["track", "track", "track", "cast", "cast", "cast"],
        time=[start, start + np.timedelta64(3, "s"), start, start, start, NEVER],
    )
    frame = thin(made, cell=1).frame
    assert frame["line"].tolist() == ["a", "", "c"]
    assert frame["lines"].tolist() == [1, 2, 1]
    assert frame["source"].tolist() == ["track", "point", "cast"]
    assert frame["time"].iloc[0] == pd.Timestamp("2024-05-01T06:00:01.5")
    assert frame["time"].iloc[1:].isna().all()


@pytest.mark.parametrize("text", [True, False], ids=["objects", "dtype"])
def test_times_with_a_zone_keep_it(text: bool) -> None:
    times = pd.Series(pd.to_datetime(["2024-05-01T06:00:00Z", "2024-05-01T06:00:01Z"]))
    made = layer(np.zeros((2, 2)), np.ones(2), time=times.astype(object) if text else times)
    assert thin(made, cell=1).frame["time"].iloc[0] == pd.Timestamp("2024-05-01T06:00:00.5Z")


# ---- cells as wide as the beam ----


@given(st.floats(0, 300), st.floats(1, 120))
def test_footprint_cells_are_the_widest_that_fit(depth: float, angle: float) -> None:
    (width,) = footprint_cell(np.array([depth]), angle)
    lit = 2 * depth * math.tan(math.radians(angle / 2))  # derived
    assert math.log2(width) == int(math.log2(width)) >= -3
    assert width <= max(lit, 0.125) * (1 + 1e-12)
    assert 2 * width > lit * (1 - 1e-12)


def test_by_footprint_deep_water_is_thinned_more() -> None:
    rng = np.random.default_rng(10)
    place = rng.uniform(0, 64, (4000, 2))
    whole = layer(place, 1 + place[:, 0] / 2)
    done = thin(whole, beam_angle=20)
    assert done.frame["count"].sum() == 4000
    np.testing.assert_array_equal(np.unique(done.frame["cell"]), [0.25, 0.5, 1, 2, 4, 8])
    np.testing.assert_array_equal(done.frame["cell"], np.sort(done.frame["cell"]))
    assert (done.frame["cell"] == footprint_cell(done.depth, 20)).all()
    corner = np.floor(done.coordinates / done.frame["cell"].to_numpy()[:, None])
    keys = np.column_stack([done.frame["cell"], corner])
    assert len(np.unique(keys, axis=0)) == len(done)


# ---- the ends ----


def test_the_note_and_the_crs() -> None:
    whole = invented(2)
    frame = whole.frame.set_crs("EPSG:32633")
    done = thin(Soundings(frame, ("read from a file",)), cell=50, by="median")
    assert done.crs == parse_crs("EPSG:32633")
    kept = len(whole.kept)
    assert done.notes == (
        "read from a file",
        f"4 soundings, by median over cells of 50 m, stand for {kept}",
    )
    assert thin(whole, beam_angle=7).notes[0].endswith(f"over a beam of 7 degree, stand for {kept}")


@pytest.mark.parametrize("by", WAYS)
def test_nothing_kept_leaves_nothing(by: By) -> None:
    whole = invented(3)
    done = thin(whole.reject(np.ones(len(whole), bool), "all"), cell=1, by=by)
    assert len(done) == 0
    assert {"depth", "sd", "count", "lines", "cell"} <= set(done.frame)


def test_refusals() -> None:
    whole = invented(4)
    both = r"^give either the width of a cell or a beam_angle$"
    with pytest.raises(ParameterError, match=both):
        thin(whole)
    with pytest.raises(ParameterError, match=both):
        thin(whole, cell=1, beam_angle=20)
    with pytest.raises(ParameterError, match=r"^cell must be > 0 m, got 0$"):
        thin(whole, cell=0)
    with pytest.raises(ParameterError, match=r"^by must be one of 'mean', .*, got 'mode'$"):
        thin(whole, cell=1, by="mode")  # type: ignore[arg-type]
    with pytest.raises(ParameterError, match=r"^cell = 1e-09 m is too small for such coordinates$"):
        thin(whole, cell=1e-9)


def test_the_time_of_a_cell_hangs_on_no_other_cell() -> None:
    """Derived: what is thinned with much else, or alone, is the same to the bit."""
    rng = np.random.default_rng(3)
    times = pd.Timestamp("2026-05-12T08:00Z") + pd.to_timedelta(rng.uniform(0, 9e4, 300), unit="s")
    place, depth = rng.uniform(0, 50, (300, 2)), rng.uniform(1, 9, 300)
    crs, far = parse_crs("EPSG:32633"), place[:, 0] >= 20
    whole, east = (
        thin(
            Soundings.from_arrays(place[some], depth[some], crs=crs, time=times[some], line="1"),
            cell=10.0,
        ).frame
        for some in (np.ones(300, bool), far)
    )
    both = whole[whole.geometry.x >= 20]
    assert both["time"].notna().all()
    assert both["time"].tolist() == east["time"].tolist()
