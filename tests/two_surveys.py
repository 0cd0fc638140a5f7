"""Two surveys of one bed on a small net, with errors that are known: for tests of change."""

import numpy as np

from toolbox.layers import Tin, VertexKind

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
