"""A wrong draft or level on one line shows where other lines cross it."""

from pathlib import Path

import numpy as np
import pandas as pd
import pyproj
import pytest
from numpy.typing import NDArray

from toolbox.errors import LayerError
from toolbox.layers import Soundings, Table
from toolbox.reduction.crossings import find_crossings
from toolbox.reduction.offsets import line_offsets

Floats = NDArray[np.float64]


def net(
    offset: dict[str, float], *, noise: float = 0.0, seed: int = 1, steep: Floats | None = None
) -> Table:
    """Crossings of every line ``n*`` with every line ``e*``."""
    random = np.random.default_rng(seed)
    pairs = [(a, b) for a in offset if a[0] == "n" for b in offset if b[0] == "e"]
    frame = pd.DataFrame(pairs, columns=["line_a", "line_b"])
    frame["difference"] = [offset[a] - offset[b] for a, b in pairs]
    frame["difference"] += random.normal(0, noise, len(pairs)) if noise else 0.0
    return Table(frame)


def lines(north: int, east: int) -> dict[str, float]:
    return {f"n{k}": 0.0 for k in range(north)} | {f"e{k}": 0.0 for k in range(east)}


def by_line(table: Table) -> pd.DataFrame:
    return line_offsets(table).frame.set_index("line")


def test_one_wrong_line_is_exposed_and_the_others_are_not() -> None:
    found = by_line(net(lines(6, 5) | {"n2": 0.4}, noise=0.05))
    assert found.offset_m["n2"] == pytest.approx(0.4, abs=0.05)
    assert found.index[found.exposed].tolist() == ["n2"]
    assert found.offset_m.drop("n2").mean() == pytest.approx(0, abs=1e-12)
    assert found.crossings["n2"] == 5
    assert found.crossings["e0"] == 6


def test_offsets_without_noise_are_exact() -> None:
    truth = lines(5, 4) | {"n0": 0.3, "e3": -0.2}
    found = by_line(net(truth))
    np.testing.assert_allclose(found.offset_m, [truth[name] for name in found.index], atol=1e-4)


def test_the_mean_is_zero_where_no_line_is_exposed() -> None:
    found = by_line(net(lines(6, 6), noise=0.1, seed=3))
    assert not found.exposed.any()
    assert found.offset_m.mean() == pytest.approx(0, abs=1e-12)


def test_small_errors_give_plain_least_squares() -> None:
    # independent: numpy's minimum-norm solution; with errors of one size no weight departs from 1
    table = net(lines(4, 5))
    size = 0.1 * np.where(np.random.default_rng(5).random(20) < 0.5, -1, 1)
    frame = table.frame.assign(difference=size)
    names = list(dict.fromkeys([*frame.line_a, *frame.line_b]))
    design = np.zeros((20, 9))
    for row, (a, b) in enumerate(zip(frame.line_a, frame.line_b, strict=True)):
        design[row, names.index(a)], design[row, names.index(b)] = 1, -1
    expected = np.linalg.lstsq(design, size, rcond=None)[0]
    found = by_line(Table(frame))
    assert not found.exposed.any()
    np.testing.assert_allclose(found.offset_m.loc[names], expected, atol=0.02)


def test_blunders_do_no_harm() -> None:
    table = net(lines(8, 8) | {"e1": 0.4}, noise=0.05)
    spoiled = table.frame.copy()
    spoiled.loc[[3, 20, 41], "difference"] += [14.0, -9.0, 30.0]
    found = by_line(Table(spoiled))
    assert found.offset_m["e1"] == pytest.approx(0.4, abs=0.06)
    assert found.offset_m.drop("e1").abs().max() < 0.12


def test_standard_errors_are_those_of_repeated_surveys() -> None:
    surveys = [by_line(net(lines(6, 6), noise=0.1, seed=seed)) for seed in range(150)]
    offset = np.array([found.offset_m for found in surveys])
    claimed = np.mean([found.sd_m for found in surveys])
    assert claimed == pytest.approx(offset.std(), rel=0.1)


def test_crossings_on_steep_ground_count_less() -> None:
    random = np.random.default_rng(9)
    table = net(lines(12, 12), seed=9).frame
    steep = random.uniform(0, 1, len(table)) < 0.4
    spread = np.where(steep, 0.5, 0.03)
    table = table.assign(
        difference=random.normal(0, spread),
        heading_a=0.0,
        heading_b=90.0,
        fall_a=np.where(steep, 0.4, 0.0),
        fall_b=np.where(steep, -0.3, 0.0),
    )
    weighed = by_line(Table(table)).offset_m
    flat = by_line(Table(table.drop(columns=["fall_a", "fall_b"]))).offset_m
    assert weighed.std() < 0.75 * flat.std()
    assert weighed.std() < 0.03


def test_lines_that_no_crossing_joins_are_of_different_groups() -> None:
    frame = pd.DataFrame(
        {
            "line_a": ["a", "b", "x"],
            "line_b": ["b", "c", "y"],
            "difference": [0.2, 0.0, 1.0],
        }
    )
    found = by_line(Table(frame))
    assert found.group.tolist() == [1, 1, 2, 1, 2]
    assert found.offset_m["x"] - found.offset_m["y"] == pytest.approx(1.0)
    assert found.offset_m["a"] - found.offset_m["c"] == pytest.approx(0.2)
    # as many crossings as can be met exactly: nothing tells the error
    assert found.sd_m.isna().all()
    assert not found.exposed.any()


def test_a_line_that_crosses_only_itself_tells_nothing() -> None:
    frame = pd.DataFrame({"line_a": ["a"], "line_b": ["a"], "difference": [0.5]})
    assert line_offsets(Table(frame)).frame.empty


def test_no_crossings_no_lines() -> None:
    frame = pd.DataFrame({"line_a": [], "line_b": [], "difference": []})
    assert line_offsets(Table(frame)).frame.empty


def test_a_table_of_something_else_is_refused() -> None:
    with pytest.raises(LayerError, match=r"^the table has no column 'difference', only \['x'\]$"):
        line_offsets(Table(pd.DataFrame({"x": [1.0]})))


def stated(
    seed: int, *, north: int = 8, east: int = 3, casts: int = 10, wrong: float = 0.4
) -> tuple[Table, dict[str, float]]:
    """Cross lines and casts over flat and steep ground; the soundings state their spreads.

    Casts meet one or two lines, and are placed three times as badly.
    """
    random = np.random.default_rng(seed)
    pairs = [(f"n{i}", f"e{j}") for i in range(north) for j in range(east)]
    for k in range(casts):
        met = random.choice(north, random.integers(1, 3), replace=False)
        pairs += [(f"n{i}", f"c{k}") for i in met]
    frame = pd.DataFrame(pairs, columns=["line_a", "line_b"])
    truth = dict.fromkeys([*frame.line_a, *frame.line_b], 0.0) | {"n3": wrong}
    cast = frame.line_b.str.startswith("c").to_numpy()
    steep = random.choice([0.0, 0.05, 0.3], len(frame))
    own, place = np.where(cast, 0.10, 0.06), np.where(cast, 4.0, 1.4)
    frame = frame.assign(
        difference=frame.line_a.map(truth)
        - frame.line_b.map(truth)
        + random.normal(0, np.hypot(own, place * steep)),
        heading_a=0.0,
        heading_b=90.0,
        fall_a=steep,
        fall_b=0.0,
        own_sd=own,
        place_sd=place,
    )
    return Table(frame), truth


@pytest.mark.parametrize(
    ("times", "least", "most"),
    [
        (1.0, (0.62, 0.92), (0.76, 0.99)),
        (2.0, (0.58, 0.88), (0.80, 1.0)),
        (0.5, (0.62, 0.92), (1, 1)),
    ],
    ids=["honest", "half", "twice"],
)
def test_the_spread_covers_the_error(
    times: float, least: tuple[float, float], most: tuple[float, float]
) -> None:
    # nominal for normal errors: 68.3 % within one standard deviation, 95.4 % within two; nearly so
    # even where the soundings state half, and no less where they state twice, of what they are off
    parts = []
    for seed in range(120):
        table, truth = stated(seed)
        frame = table.frame.assign(own_sd=table.frame.own_sd / times)
        found = by_line(Table(frame.assign(place_sd=frame.place_sd / times)))
        parts.append(found.assign(error=found.offset_m - pd.Series(truth)))
    every = pd.concat(parts)
    within = every.error.abs() / every.sd_m
    for few, more in ((1, 1), (2, 2), (3, 99)):
        some = within[every.crossings.between(few, more)]
        assert len(some) > 300
        shares = (some < 1).mean(), (some < 2).mean()
        assert (np.array(least) <= shares).all(), (few, shares)
        assert (np.array(most) >= shares).all(), (few, shares)
    assert every.exposed[every.index != "n3"].mean() < 0.03  # nominal: 0.3 %


def test_without_a_crossing_to_spare_the_soundings_tell_the_spread() -> None:
    frame = pd.DataFrame(
        {
            "line_a": ["a", "b"], "line_b": ["b", "c"], "difference": [0.05, 0.0],
            "heading_a": 0.0, "heading_b": 90.0, "fall_a": 0.0, "fall_b": 0.0,
            "own_sd": 0.03, "place_sd": 2.0,
        }
    )  # fmt: skip
    found = by_line(Table(frame))
    # derived: against the mean of three lines its error is that of
    # two thirds of one difference and one third of the other
    assert found.sd_m["a"] == pytest.approx(0.03 * np.sqrt(4 + 1) / 3)
    assert found.exposed.tolist() == [False, False, False]


def test_lines_that_are_not_sure_do_not_move_the_others() -> None:
    table, _ = stated(4, casts=0, wrong=0.0)
    crooked = table.frame.iloc[:6].assign(
        line_b=[f"x{k}" for k in range(6)], difference=-5.0, fall_a=2.0, place_sd=4.0
    )
    before, after = by_line(table), by_line(Table(pd.concat([table.frame, crooked])))
    np.testing.assert_allclose(after.offset_m[before.index], before.offset_m, atol=0.02)


# ---- the sample survey ---------------------------------------------------------------------------

SAMPLE = Path(__file__).resolve().parents[2] / "sample_layers"


@pytest.fixture(scope="module")
def boat() -> tuple[Floats, pd.DataFrame]:
    points = pd.read_csv(SAMPLE / "boat_points.csv")
    move = pyproj.Transformer.from_crs(4326, 32625, always_xy=True)
    return np.column_stack(move.transform(points.longitude, points.latitude)), points


def shifted(boat: tuple[Floats, pd.DataFrame], line: int, by: float) -> Soundings:
    place, points = boat
    depth = points.depth.to_numpy() + by * (points.line == line).to_numpy()
    names = points.line.astype(str).to_numpy(object)
    return Soundings.from_arrays(place, depth, crs="EPSG:32625", line=names, source="track")


@pytest.mark.parametrize("line", [21, 22])
def test_a_wrong_draft_on_a_tie_line_is_found_to_5_cm(
    boat: tuple[Floats, pd.DataFrame], line: int
) -> None:
    found = by_line(find_crossings(shifted(boat, line, 0.4), each_side=2))
    assert found.offset_m[str(line)] == pytest.approx(0.4, abs=0.05)
    assert found.exposed[str(line)]


@pytest.mark.parametrize("each_side", [1, 2])
@pytest.mark.parametrize("line", [5, 8, 11, 15])
def test_a_wrong_draft_moves_its_line_by_as_much(
    boat: tuple[Floats, pd.DataFrame], line: int, each_side: int
) -> None:
    before, after = (
        by_line(find_crossings(shifted(boat, line, by), each_side=each_side)) for by in (0, 0.4)
    )
    # one or two crossings tell no more than the two readings do, but the step of 0.4 m is found
    step = after.offset_m - before.offset_m
    others = step.drop(str(line))
    assert step[str(line)] - others.median() == pytest.approx(0.4, abs=0.05)


def test_any_line_with_two_crossings_or_more_is_exposed(
    boat: tuple[Floats, pd.DataFrame],
) -> None:
    errors = []
    for line in range(5, 16):
        found = by_line(find_crossings(shifted(boat, line, 0.4), each_side=2))
        assert found.exposed[str(line)] or found.offset_m[str(line)] > 2 * found.sd_m[str(line)]
        errors.append(found.offset_m[str(line)] - 0.4)
    assert np.median(np.abs(errors)) < 0.05
    assert abs(np.mean(errors)) < 0.05


def test_lines_met_once_do_not_make_the_others_look_sure() -> None:
    # a crossing that alone joins a line is always met exactly: thirty of them, beside the sixteen
    # of a lattice, say nothing of the error of 0.05 m that all of them have
    draw = np.random.default_rng(5)
    pairs = [(f"east {i}", f"north {j}") for i in range(4) for j in range(4)]
    pairs += [("east 0", f"cast {k}") for k in range(30)]
    difference = draw.normal(0, 0.05, len(pairs))
    one, other = zip(*pairs, strict=True)
    frame = pd.DataFrame({"line_a": one, "line_b": other, "difference": difference})
    found = line_offsets(Table(frame)).frame.set_index("line")
    lattice = found[found["crossings"] > 1]
    assert lattice["sd_m"].between(0.005, 0.1).all()
    assert not lattice["exposed"].any()
