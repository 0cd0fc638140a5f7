"""Placing: where labels of a picture stand, so that none hides another."""

import numpy as np

__all__ = ["place_labels"]

_WAYS = 16  # directions that are tried around a place
_RINGS = (1.0, 1.8, 3.0, 4.5, 6.5)  # distances that are tried, in widths of the gap
_SIGN = 0.6  # half the width of the sign at an anchor, in gaps
_OVERLAP, _OUTSIDE, _CROWD, _FAR = 200.0, 400.0, 0.6, 1.0


def place_labels(
    anchors: np.ndarray,
    sizes: np.ndarray,
    *,
    within: tuple[float, float, float, float],
    keep_off: np.ndarray | None = None,
    crowd: np.ndarray | None = None,
    gap: float = 8.0,
) -> np.ndarray:
    """Find a place for each label near what it names, one after the other.

    Parameters
    ----------
    anchors : (n, 2) array
        What the labels name; the first have the first choice.
    sizes : (n, 2) array
        Widths and heights of the labels, in the unit of the anchors.
    within : tuple of float
        Left, bottom, right and top that labels keep inside.
    keep_off : (m, 4) array, optional
        Boxes, as left, bottom, right, top, that no label should cover; anchors are such already.
    crowd : (k, 2) array, optional
        Points that labels had better not cover, such as those along lines.
    gap : float
        Between an anchor and its label.

    Returns
    -------
    (n, 2) array
        Centres of the labels.

    Notes
    -----
    Each label takes the cheapest of 80 places around its anchor: overlap with what is there
    already costs most, then what it hides, then distance. Where all is full labels do overlap.
    """
    half = _SIGN * gap
    taken = [np.r_[anchor - half, anchor + half] for anchor in anchors]
    taken += [] if keep_off is None else list(keep_off)
    soft = np.empty((0, 2)) if crowd is None else crowd
    centres = np.empty((len(anchors), 2))
    for number, (anchor, size) in enumerate(zip(anchors, sizes, strict=True)):
        tries, away = _tries(anchor, size, gap)
        boxes = np.hstack([tries - size / 2, tries + size / 2])
        cost = _OVERLAP * _overlap(boxes, np.array(taken)) / size.prod()
        cost += _OUTSIDE * _outside(boxes, within) / size.sum()
        cost += _CROWD * _inside(boxes, soft) + _FAR * away / gap
        best = int(cost.argmin())
        centres[number] = tries[best]
        taken.append(boxes[best])
    return centres


def _tries(anchor: np.ndarray, size: np.ndarray, gap: float) -> tuple[np.ndarray, np.ndarray]:
    """Centres to try, and how far the near edge of the label is from its anchor."""
    angle = np.linspace(0, 2 * np.pi, _WAYS, endpoint=False) + np.pi / 4
    way = np.column_stack([np.cos(angle), np.sin(angle)])
    away = np.repeat(np.multiply(_RINGS, gap), _WAYS)
    way = np.tile(way, (len(_RINGS), 1))
    beside = np.clip(way * np.sqrt(2), -1, 1) * size / 2  # a side or a corner is what is nearest
    return anchor + way * away[:, None] + beside, away


def _overlap(boxes: np.ndarray, taken: np.ndarray) -> np.ndarray:
    low = np.maximum(boxes[:, None, :2], taken[None, :, :2])
    high = np.minimum(boxes[:, None, 2:], taken[None, :, 2:])
    return np.asarray((high - low).clip(0).prod(axis=2).sum(axis=1))


def _outside(boxes: np.ndarray, within: tuple[float, float, float, float]) -> np.ndarray:
    left, bottom, right, top = within
    beyond = np.array([left, bottom]) - boxes[:, :2], boxes[:, 2:] - np.array([right, top])
    return np.asarray(sum(part.clip(0).sum(axis=1) for part in beyond))


def _inside(boxes: np.ndarray, points: np.ndarray) -> np.ndarray:
    held = (points[None] >= boxes[:, None, :2]) & (points[None] <= boxes[:, None, 2:])
    return np.asarray(held.all(axis=2).sum(axis=1))
