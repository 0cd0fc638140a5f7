"""Fitted beds of real waters, against the plain bed, Clough & Tocher's and published volumes.

    python tests/benchmarks/published_fits.py [seed] [lake ...]

RMSE in metres of the fitted bed / the plain one / Clough & Tocher's: over the bed that was sounded
("bed", known for the six lakes of isobaths alone), and at lines or blocks left out. Then how much
the 90 % intervals of the fitted bed hold: of the bed, of the bed near shore (a tenth of the
greatest distance to it), and of the readings left out. Volumes in hm3, on the map.
"""

import sys
from pathlib import Path

import click
import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

import published_waters as published
from published_waters import Beds, rms

SEED = 1
LONG_LAKE = "LL"
HEAD = (
    "lake",
    "soundings",
    "lines",
    "nodes",
    "fit, s",
    "RMSE bed",
    "RMSE left out",
    "90 % hold: bed",
    "near shore",
    "left out",
    "volume (90 % band)",
    "sounded bed",
    "published",
    "plain",
    "band holds: sounded bed, published",
)


def beds(code: str, seed: int) -> Beds:
    """Return the beds of a lake."""
    alone = code == LONG_LAKE
    return Beds(published.long_lake() if alone else published.sounded(code, seed=seed))


def row(code: str, found: Beds) -> list[str]:
    """Return the cells of a lake in the table."""
    kept = found.water.soundings.kept
    low, high = found.volume_band
    known = found.water.reference is not None
    out = found.left_out
    author = published.AUTHOR[0] if code == LONG_LAKE else published.CONE_RULE[code]
    real = found.reference_volume if known else np.nan
    near = found.held[found.near_shore].mean() if known else np.nan
    return [
        code,
        str(len(kept)),
        str(len(set(kept.frame["line"].dropna()) - {""})),
        str(len(found.fitted.vertices)),
        f"{found.seconds:.1f}",
        _three(list(found.errors.values()) if known else []),
        _three([out.fitted, out.triangulated, out.curved]),
        f"{found.held.mean() if known else np.nan:.2f}",
        f"{near:.2f}",
        f"{out.held.mean():.2f}",
        f"{_hm3(found.volume)} ({_hm3(low)}-{_hm3(high)})",
        _hm3(real),
        _hm3(author),
        _hm3(found.triangulated_volume),
        ", ".join("yes" if low <= one <= high else "no" for one in (real, author) if one == one),
    ]


def _three(errors: list[np.ndarray]) -> str:
    return " / ".join(f"{rms(error):.2f}" for error in errors) or "-"


def _hm3(volume: float) -> str:
    return f"{volume / 1e6:.4g}"


def main(seed: int, codes: list[str]) -> None:
    """Print the table, a row as soon as it is known."""
    click.echo(f"| {' | '.join(HEAD)} |\n|{'---|' * len(HEAD)}")
    for code in codes:
        click.echo(f"| {' | '.join(row(code, beds(code, seed)))} |")


if __name__ == "__main__":
    main(
        int(sys.argv[1]) if len(sys.argv) > 1 else SEED,
        sys.argv[2:] or [LONG_LAKE, *published.CONE_RULE],
    )
