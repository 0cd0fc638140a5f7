"""Labels hide neither each other nor what they name, as long as there is room."""

import numpy as np
import pytest

from toolbox.report.placing import place_labels

WITHIN = (0.0, 0.0, 1000.0, 800.0)


def boxes(centres: np.ndarray, sizes: np.ndarray) -> np.ndarray:
    return np.hstack([centres - sizes / 2, centres + sizes / 2])


def shared(one: np.ndarray, other: np.ndarray) -> np.ndarray:
    """Area that each box of one set shares with each of another."""
    low = np.maximum(one[:, None, :2], other[None, :, :2])
    high = np.minimum(one[:, None, 2:], other[None, :, 2:])
    return np.asarray((high - low).clip(0).prod(axis=2))


@pytest.mark.parametrize("seed", range(5))
def test_labels_share_no_ground(seed: int) -> None:
    rng = np.random.default_rng(seed)
    anchors = rng.uniform((50, 50), (950, 750), (40, 2))
    sizes = np.column_stack([rng.uniform(15, 60, 40), np.full(40, 18.0)])
    keep_off = np.array([[400.0, 300.0, 600.0, 500.0]])
    found = boxes(place_labels(anchors, sizes, within=WITHIN, keep_off=keep_off), sizes)
    apart = shared(found, found)
    np.fill_diagonal(apart, 0)
    # an anchor that lies in the closed box, or in a crowd, may leave no room
    assert (apart.sum(axis=1) > 0).sum() <= 2
    places = np.hstack([anchors, anchors])
    assert ((places[None, :, :2] > found[:, None, :2]) & (places[None, :, :2] < found[:, None, 2:])
            ).all(axis=2).sum() <= 2  # fmt: skip
    assert (found[:, :2] >= 0).all()
    assert (found[:, 2:] <= (1000, 800)).all()


def test_a_lone_label_stands_at_its_gap() -> None:
    """Its corner lies at the gap, to the upper right, where all ways cost the same (derived)."""
    anchors, sizes = np.array([[500.0, 400.0]]), np.array([[40.0, 20.0]])
    (centre,) = place_labels(anchors, sizes, within=WITHIN, gap=10.0)
    np.testing.assert_allclose(centre - anchors[0], np.sqrt(0.5) * 10 + sizes[0] / 2)


def test_labels_keep_off_lines_and_inside_the_picture() -> None:
    anchors, sizes = np.array([[990.0, 790.0]]), np.array([[40.0, 20.0]])
    line = np.column_stack([np.linspace(900, 990, 30), np.full(30, 790.0)])
    (centre,) = place_labels(anchors, sizes, within=WITHIN, crowd=line)
    (box,) = boxes(centre[None], sizes)
    assert box[2] <= 1000
    assert box[3] <= 790


def test_the_first_has_the_first_choice() -> None:
    anchors = np.array([[500.0, 400.0], [502.0, 400.0]])
    sizes = np.full((2, 2), 30.0)
    alone = place_labels(anchors[:1], sizes[:1], within=WITHIN)
    both = place_labels(anchors, sizes, within=WITHIN)
    assert shared(boxes(both[:1], sizes[:1]), boxes(both[1:], sizes[1:])).item() == 0
    assert np.hypot(*(both[0] - anchors[0])) <= np.hypot(*(alone[0] - anchors[0])) + 1e-9


def test_where_all_is_full_every_label_still_has_a_place() -> None:
    anchors = np.full((30, 2), 20.0)
    found = place_labels(anchors, np.full((30, 2), 30.0), within=(0.0, 0.0, 40.0, 40.0))
    assert np.isfinite(found).all()


def test_no_labels_at_all() -> None:
    found = place_labels(np.empty((0, 2)), np.empty((0, 2)), within=WITHIN)
    assert found.shape == (0, 2)
