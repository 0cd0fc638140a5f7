"""Flow: which way a channel or an arm runs, from the shape of its shore."""

from dataclasses import dataclass

import numpy as np

from toolbox.bed.factor import Factor
from toolbox.bed.field import shore_share
from toolbox.bed.graded import Net
from toolbox.layers import Centreline

__all__ = ["Directions"]

_LEVEL = 0.3  # way from shore gained in one width, below which no direction is read


@dataclass(frozen=True, eq=False)
class Directions:
    """How a water runs at each triangle.

    Parameters
    ----------
    along : (m, 2) array
        Unit vectors along the water.
    strength : (m,) array
        0 where no direction stands out, as in the middle of a round basin, to 1 in a channel.
    """

    along: np.ndarray
    strength: np.ndarray

    def stretched(self, elongation: float) -> np.ndarray:
        """Return diffusion tensors (m, 2, 2) of determinant 1 that reach farther along."""
        ratio = elongation**self.strength
        outer = self.along[:, :, None] * self.along[:, None, :]
        across = np.eye(2) - outer
        return ratio[:, None, None] * outer + across / ratio[:, None, None]

    @classmethod
    def of(cls, net: Net, centreline: Centreline | None, width: float) -> "Directions":
        """Take them from a centreline, or read them from the shore where there is none."""
        if centreline is None:
            return cls.of_shore(net, width)
        return cls.of_lines(net, centreline, width)

    @classmethod
    def of_shore(cls, net: Net, width: float) -> "Directions":
        """Read the directions from the shore.

        Parameters
        ----------
        net : Net
            Finite elements over the water.
        width : float
            Greatest distance from shore, m.

        Notes
        -----
        The gradient of the way from shore points across the water. Its structure tensor, smoothed
        over half the width, has one large eigenvalue in a channel and two alike in a basin.

        References
        ----------
        Bigun & Granlund 1987, Proc. 1st ICCV, 433-438 (the structure tensor).
        """
        from scipy import sparse

        slope = net.gradients(shore_share(net, width))
        # in the middle the slope vanishes and its direction is noise: it counts for less there
        slope /= np.hypot(np.hypot(*slope.T), _LEVEL / width)[:, None]
        products = np.column_stack([slope[:, 0] ** 2, slope[:, 0] * slope[:, 1], slope[:, 1] ** 2])
        smooth = Factor(sparse.diags(net.mass) + (0.5 * width) ** 2 * net.laplacian)
        nodal = smooth.solve(net.to_nodes(products) * net.mass[:, None])
        east, both, north = nodal[net.triangles].mean(axis=1).T
        split = np.hypot((east - north) / 2, both)
        strength = np.clip(split / np.maximum((east + north) / 2, 1e-12), 0, 1)
        across = 0.5 * np.arctan2(both, (east - north) / 2)
        return cls(np.column_stack([-np.sin(across), np.cos(across)]), strength**2)

    @classmethod
    def of_lines(cls, net: Net, lines: Centreline, width: float) -> "Directions":
        """Take the directions of the nearest stretch of lines.

        Parameters
        ----------
        net : Net
            Finite elements over the water.
        lines : Centreline
            Along which the water runs.
        width : float
            Distance from the lines over which the direction loses its hold, m.
        """
        from scipy.spatial import KDTree

        pieces = [np.stack([line[:-1, :2], line[1:, :2]], axis=1) for line in lines.lines]
        start, end = np.moveaxis(np.concatenate(pieces), 1, 0)
        length = np.hypot(*(end - start).T)
        start, end, length = (part[length > 0] for part in (start, end, length))
        count = np.maximum(1, np.ceil(length / (0.1 * width)).astype(int))
        piece = np.repeat(np.arange(len(start)), count)
        step = np.arange(len(piece)) - np.repeat(np.cumsum(count) - count, count) + 0.5
        share = step / count[piece]
        marks = start[piece] + share[:, None] * (end - start)[piece]
        centres = net.nodes[net.triangles].mean(axis=1)
        away, nearest = KDTree(marks).query(centres)
        along = ((end - start) / np.maximum(length, 1e-12)[:, None])[piece[nearest]]
        return cls(along, np.exp(-((away / (2 * width)) ** 2)))
