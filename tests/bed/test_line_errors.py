"""Lines that read too deep, or lie aside, are found by the fitted bed."""

import numpy as np
import pytest
import shapely

from toolbox.bed.line_errors import correct_lines, line_errors
from toolbox.errors import LayerError
from toolbox.layers import Shoreline, Soundings

SIDE = 300.0
STEP, SHIFT = 0.25, 4.0


def shore() -> Shoreline:
    return Shoreline.from_shapes([shapely.box(0, 0, SIDE, SIDE)], None)


def bowl(place: np.ndarray) -> np.ndarray:
    east, north = place.T
    return np.asarray(96 * east * (SIDE - east) * north * (SIDE - north) / SIDE**4)


def survey(*, level: float = 0.0, shift: float = 0.0) -> Soundings:
    """Lines both ways across a bowl; line 3 reads too deep, line 5 is believed too far east."""
    rng = np.random.default_rng(1)
    along = np.arange(10.0, SIDE - 9, 4)
    places, lines = [], []
    for number, at in enumerate(np.linspace(30, 270, 7)):
        places += [np.column_stack([np.full(len(along), at), along])]
        places += [np.column_stack([along, np.full(len(along), at)])]
        lines += [np.full(len(along), f"{2 * number}"), np.full(len(along), f"{2 * number + 1}")]
    place, line = np.vstack(places), np.concatenate(lines)
    depth = bowl(place) + rng.normal(0, 0.03, len(place)) + level * (line == "3")
    believed = place + shift * (line == "5")[:, None] * (1.0, 0.0)
    return Soundings.from_arrays(
        believed,
        depth,
        crs=None,
        line=line,
        source="track",
        sd=np.full(len(place), np.hypot(0.03, 0.1)),
        sd_shared=np.full(len(place), 0.1),
        sd_xy=np.full(len(place), 2.0),
    )


def test_a_line_that_reads_too_deep_is_found() -> None:
    table = line_errors(survey(level=STEP), shore()).frame
    level = table.groupby("line")["level_m"].first()
    # the levels of all lines sum to zero, so the step is found less its share of the mean
    assert level["3"] - level.drop("3").mean() == pytest.approx(STEP, abs=0.06)
    assert level.drop("3").abs().max() < 0.08
    sd = table.groupby("line")["level_sd_m"].first()
    assert (sd < 0.1).all()


def test_a_line_believed_too_far_east_is_found() -> None:
    table = line_errors(survey(shift=SHIFT), shore()).frame
    moved = table[table["line"] == "5"]
    # line 5 runs east at a third of the height, where the bed falls east, then rises
    steep = moved.iloc[[0, -1]]
    assert steep["east_m"].mean() == pytest.approx(SHIFT, abs=1.5)
    others = table[~table["line"].isin(["5"])]
    assert others["east_m"].abs().mean() < 1.0
    assert (table["place_sd_m"] <= table["place_stated_sd_m"] * 1.001).all()


def test_corrected_lines_agree_better_and_lose_nothing() -> None:
    wrong = survey(level=STEP).reject(np.arange(14 * 71) == 0, "spike along the line")
    mended = correct_lines(wrong, shore())
    assert len(mended) == len(wrong)
    assert mended.flag.tolist() == wrong.flag.tolist()
    of = wrong.frame["line"].to_numpy() == "3"
    before = np.mean((wrong.depth - bowl(wrong.coordinates))[of])
    after = np.mean((mended.depth - bowl(mended.coordinates))[of])
    assert abs(after) < 0.3 * abs(before)
    assert mended.depth[0] == wrong.depth[0]
    assert "14 lines corrected by a fitted bed" in mended.notes


def test_points_without_lines_share_nothing() -> None:
    made = survey()
    loose = Soundings(made.frame.assign(line="", source="point"))
    with pytest.raises(LayerError, match="soundings without lines share no errors"):
        correct_lines(loose, shore())
    assert len(line_errors(loose, shore()).frame) == 0
