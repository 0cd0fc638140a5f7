"""Facts: what a person should see of soundings before anything is made of them."""

from collections.abc import Iterator

import numpy as np

from toolbox.desk.doubts import Raw
from toolbox.layers import Shoreline, Soundings
from toolbox.units import convert

__all__ = ["facts", "range_told"]


def facts(shoreline: Shoreline | None, soundings: Soundings | None) -> Iterator[tuple[str, str]]:
    """Tell the water, and count, depths, dates and CRS of its soundings."""
    if shoreline is not None:
        area = shoreline.ground_area()
        acres = convert(area, "m**2", "acre")
        yield "Water", f"{area / 1e4:,.3g} ha ({acres:,.3g} acres)"
    if soundings is not None:
        kept = soundings.kept
        yield "Soundings", f"{len(soundings):,} read, {len(kept):,} to be used"
        if len(kept):
            yield "Depths", _depths(kept.depth)
        yield "Taken", _dates(soundings)
    if shoreline is not None and shoreline.crs is not None:
        code = shoreline.crs.to_authority()
        yield "Works in", f"{shoreline.crs.name}" + (f" ({':'.join(code)})" if code else "")


def _depths(depth: np.ndarray) -> str:
    low, middle, high = float(depth.min()), float(np.median(depth)), float(depth.max())
    feet = [convert(value, "m", "ft") for value in (low, high)]
    return (
        f"{low:.3g} to {high:.3g} m ({feet[0]:.3g} to {feet[1]:.3g} ft), "
        f"half of them deeper than {middle:.3g} m"
    )


def _dates(soundings: Soundings) -> str:
    times = soundings.frame["time"].dropna()
    if not len(times):
        return "no dates in the files"
    first, last = times.min().date().isoformat(), times.max().date().isoformat()
    return first if first == last else f"{first} to {last}"


def range_told(raw: Raw) -> list[str]:
    """Tell the range of a file's columns as they stand in it."""
    told = []
    named = (
        (raw.easting, raw.places[:, 0]),
        (raw.northing, raw.places[:, 1]),
        (raw.depth, raw.values),
    )
    for name, values in named:
        known = values[np.isfinite(values)]
        if name and len(known):
            told.append(f"{name}: {known.min():.10g} to {known.max():.10g}")
    return told
