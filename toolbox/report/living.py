"""Living: what lives in the water, in words that one can take along."""

from collections.abc import Iterator, Mapping
from typing import Any

from toolbox.layers import Table
from toolbox.report.columns import quoted
from toolbox.report.lot_facts import number_told
from toolbox.report.text import one_line, short

__all__ = ["living_told"]

_LONGEST_NAME = 60


def living_told(tables: Mapping[str, Table], plan: Table | None = None) -> list[str]:
    """Say what was found of water, light, plants, room and fish.

    Parameters
    ----------
    tables : mapping of Table
        By name: ``stratification, anoxic_water, anoxic_factor, light, plants_by_depth, squeeze,
        fish``, those that there are.
    plan : Table, optional
        Of a stocking proposal.

    Returns
    -------
    list of str
        One a line of the page.
    """
    return [
        line
        for name, tell in _TELLERS.items()
        if name in tables and len(tables[name].frame)
        for line in tell(tables[name].frame)
    ] + ([] if plan is None else list(_stocking(plan.frame)))


def _layered(frame: Any) -> Iterator[str]:
    visits = frame[frame["station"] != "all"]
    found = visits["thermocline_m"].dropna()
    told = f"layered at {len(found)} of {len(visits)} visits"
    if len(found):
        told += f", the thermocline {found.min():.1f} to {found.max():.1f} m down"
    yield told


def _anoxic(frame: Any) -> Iterator[str]:
    row = frame.loc[frame["anoxic_volume_m3"].idxmax()]
    if row["anoxic_volume_m3"] > 0:
        volume = _figure(row, "anoxic_volume", "m3")
        share = row["anoxic_volume_share"]
        yield f"most anoxic water on {row['time']:%Y-%m-%d}: {volume}, {share:.1%} of all"
    else:
        yield "no visit found anoxic water"


def _factor(frame: Any) -> Iterator[str]:
    for _, row in frame.dropna(subset=["anoxic_factor_days"]).iterrows():
        factor = _figure(row, "anoxic_factor", "days")
        yield f"anoxic factor of {row['year']:.0f}: {factor}, over {row['days']:.0f} days of visits"


def _light(frame: Any) -> Iterator[str]:
    rows = frame.set_index("measure")
    depth, share = rows.loc["light depth", "value"], rows.loc["lit bed share", "value"]
    yield f"1 % of the light reaches {depth:.1f} m down: {share:.0%} of the bed"


def _plants(frame: Any) -> Iterator[str]:
    row = frame.iloc[-1]
    if "looked_area_m2" in row and row["looked_area_m2"] == row["looked_area_m2"]:
        yield from _plants_looked_at(row)
        return
    area, share = _figure(row, "plant_area", "m2"), row["plant_area_m2"] / row["bed_area_m2"]
    yield (
        f"beds of plants were mapped on {area}, {share:.1%} of the bed; with the gaps in them left "
        f"out, plants cover {row['cover_percent']:.1f} % of the bed and take up "
        f"{row['pvi_percent']:.2g} % of the water"
    )


def _plants_looked_at(row: Any) -> Iterator[str]:
    """Tell of the bed that readings speak for, and that of the rest nothing is known."""
    looked, whole = row["looked_area_m2"], row["bed_area_m2"]
    cover = row["looked_cover_percent"]
    if not looked > 0:
        yield "plants: no reading of them lies near the bed of this water"
        return
    yield (
        f"plants cover {cover:.0f} % of the bed near the soundings that looked for them: "
        f"{quoted(looked * cover / 100, unit='m2')} of {quoted(looked, unit='m2')}, without a band"
    )
    unseen = 1 - looked / whole
    if round(unseen, 2) > 0:
        yield (
            f"of the other {unseen:.0%} of the bed nobody knows whether plants stand there: from "
            "the margins alone do not reckon up the whole water"
        )


def _room(frame: Any) -> Iterator[str]:
    for _, row in frame.iterrows():
        name, least = short(str(row["species"]), _LONGEST_NAME), row["least_volume_m3"]
        if least != least:
            yield f"suitable water of {name}: not known"
            continue
        when = f"{row['least_volume_time']:%Y-%m-%d}"
        room = _figure(row, "least_volume", "m3") if least > 0 else "none"
        yield (
            f"suitable water of {name}{_read_from(row)}: least {room}, on {when}; "
            f"squeezed on {row['squeezed_days']:.0f} days"
        )


def _read_from(row: Any) -> str:
    if "from_time" not in row or "to_time" not in row:
        return ""
    return f", {row['from_time']:%Y-%m-%d} to {row['to_time']:%Y-%m-%d}"


def _fish(frame: Any) -> Iterator[str]:
    row = frame.iloc[-1]
    what = "an index, no census, of" if row["measure"] == "index" else "by echo counts"
    number = quoted(row["number"], row["number_low"], row["number_high"], unit="fish")
    yield f"{what} {number}; {row['unsearched_share']:.0%} of the water was not searched"


def _stocking(frame: Any) -> Iterator[str]:
    for name, rows in frame.groupby("alternative", sort=False):
        lots = [
            f"{number_told(row)} {short(row['fish'], _LONGEST_NAME)}"
            for _, row in rows.iterrows()
            if row["fish"]
        ]
        told = " and ".join(lots) or "no fish"
        yield f"stocking, alternative {short(str(name), _LONGEST_NAME)!r}: {told}"


def _figure(row: Any, stem: str, unit: str) -> str:
    low, high = f"{stem}_low_{unit}", f"{stem}_high_{unit}"
    ends = (row[low], row[high]) if low in row else ()
    return one_line(quoted(row[f"{stem}_{unit}"], *ends, unit=unit))


_TELLERS = {
    "stratification": _layered,
    "anoxic_water": _anoxic,
    "anoxic_factor": _factor,
    "light": _light,
    "plants_by_depth": _plants,
    "squeeze": _room,
    "fish": _fish,
}
