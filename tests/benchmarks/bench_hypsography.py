"""Area and volume of two million triangles at a thousand levels, against a loop over levels.

The loop computes all triangles at once at each level, in numpy, by the same closed form. It is
timed on 50 evenly picked levels and scaled to all. The same loop in long double tells the error.
In a CRS both sides also compute the area of each triangle on the ground.
"""

from dataclasses import replace

import numpy as np
from invented_lake import CRS_CODE, SIDE, SOUTH, WEST, bed_depth
from measure import Row, Sides, medians, show
from pyproj import CRS

from toolbox.layers import Tin, VertexKind
from toolbox.volume.hypsography import area_and_volume

ACROSS, LEVELS, PICKED, ROUNDS = 1_001, 1_000, 50, 3


def bed_of_two_million(crs: CRS | None) -> Tin:
    """Return a bed of 2,000,000 triangles on jittered nodes."""
    rng = np.random.default_rng(7)
    column, row = np.meshgrid(np.arange(ACROSS), np.arange(ACROSS))
    jitter = rng.uniform(-0.2, 0.2, (ACROSS, ACROSS, 2))
    places = (np.stack([column, row], axis=2) + jitter) * (SIDE / ACROSS) + (WEST, SOUTH)
    places = places.reshape(-1, 2)
    node = np.arange(ACROSS * ACROSS).reshape(ACROSS, ACROSS)
    a, b, c, d = node[:-1, :-1], node[:-1, 1:], node[1:, 1:], node[1:, :-1]
    triangles = np.vstack([np.stack(t, axis=2).reshape(-1, 3) for t in ((a, b, c), (a, c, d))])
    depth = bed_depth(places) + rng.normal(0, 0.05, len(places))
    kind = np.full(len(places), VertexKind.SOUNDING)
    return Tin(places, depth, triangles, kind, crs)


def loop(
    ground: np.ndarray, corners: np.ndarray, levels: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Compute area and volume level by level; `corners` (m, 3) ascend along each row."""
    z0, z1, z2 = corners.T
    area, volume = np.zeros(len(levels), ground.dtype), np.zeros(len(levels), ground.dtype)
    mean = corners.sum(axis=1) / 3
    for number, level in enumerate(levels):
        whole, low, high = level <= z0, (level > z0) & (level <= z1), (level > z1) & (level < z2)
        s, u = ground[low], level - z0[low]
        dry = s * u**2 / ((z1[low] - z0[low]) * (z2[low] - z0[low]))
        v = z2[high] - level
        wet = ground[high] * v**2 / ((z2[high] - z0[high]) * (z2[high] - z1[high]))
        area[number] = ground[whole].sum() + (s - dry).sum() + wet.sum()
        below = (ground[whole] * (mean[whole] - level)).sum()
        volume[number] = below + (s * (mean[low] - level) + dry * u / 3).sum() + (wet * v / 3).sum()
    return area, volume


def rows() -> list[Row]:
    """Measure."""
    plane, mapped = bed_of_two_million(None), bed_of_two_million(CRS.from_user_input(CRS_CODE))
    levels = np.linspace(0, plane.depth.max(), LEVELS)
    picked = np.linspace(0, LEVELS - 1, PICKED).astype(int)
    corners = np.sort(plane.depth[plane.triangles], axis=1)
    ground, moved = plane.ground_areas(), mapped.ground_areas()
    fresh = iter([replace(mapped) for _ in range(2 * ROUNDS)])  # none remembers anything
    sides: Sides = {
        "plane": lambda: area_and_volume(plane, levels),
        "mapped": lambda: area_and_volume(next(fresh), levels),
        "ground": lambda: next(fresh).ground_areas(),
        "loop": lambda: loop(ground, corners, levels[picked]),
    }
    sides["plane"]()  # compiled kernels are loaded once
    seconds = medians(sides, ROUNDS)
    scaled = seconds["loop"] * LEVELS / PICKED
    spanned = np.searchsorted(levels, corners[:, 2]) - np.searchsorted(levels, corners[:, 0])
    what, against = "2,000,000 triangles x 1000 levels", "a loop over levels"
    in_crs = (scaled + seconds["ground"]) / seconds["mapped"]
    return [
        Row(f"{what}, on a plane", against, scaled / seconds["plane"], at_least=100),
        Row(f"{what}, in a CRS", against, in_crs, at_least=100),
        Row("levels a triangle spans", "", float(spanned.mean()), "on average"),
        *_errors(plane, ground, corners, levels, picked, "plane"),
        *_errors(mapped, moved, corners, levels, picked, "in a CRS"),
    ]


def _errors(
    bed: Tin,
    ground: np.ndarray,
    corners: np.ndarray,
    levels: np.ndarray,
    picked: np.ndarray,
    where: str,
) -> list[Row]:
    """Give the greatest relative error of any picked level, each against its own true value."""
    exact = loop(ground.astype(np.longdouble), corners.astype(np.longdouble), levels[picked])
    found = area_and_volume(bed, levels)
    errors = []
    for name, one, other in zip(("area", "volume"), found, exact, strict=True):
        wet = other > 0
        off = np.abs(one[picked] - other)
        worst, whole = (off[wet] / other[wet]).max(), off.max() / other.max()
        told = f"long double, {where}"
        errors += [
            Row(f"error of the {name}, of the whole", told, float(whole), "", at_most=1e-12),
            Row(f"error of the {name}, of the level's own", told, float(worst), "", at_most=1e-12),
        ]
    return errors


if __name__ == "__main__":
    show(rows())
