"""Plan: where to sound next, in words that one can take along."""

from typing import Any

from toolbox.layers import Vectors
from toolbox.report.text import short
from toolbox.words import counted

__all__ = ["plan_told"]

_MOST = 30  # ways that are listed; the file has all
_LONGEST_NAME = 40

_LOOK = (
    "look before you go: the plan knows neither reeds, swimmers and private banks nor overhead "
    "lines; leave out what cannot be done safely"
)


def plan_told(plan: Vectors) -> list[str]:
    """Say which casts or lines come next, and what they would bring.

    Parameters
    ----------
    plan : Vectors
        From the tool that says where to sound next.

    Returns
    -------
    list of str
        One a line of the page.
    """
    rows = plan.frame.to_dict("records")
    casts = "peg" in plan.frame
    lines = [
        f"{counted(len(rows), 'cast' if casts else 'line')} {_brought(rows[-1])}",
        "those that bring most come first; bearings are true, and sd is the mean standard "
        "deviation once a way and all before it are sounded:",
        *(_way(row) for row in rows[:_MOST]),
    ]
    if len(rows) > _MOST:
        lines.append(f"and {len(rows) - _MOST} more, in next_soundings.csv")
    if casts and plan.frame["peg"].duplicated().any():
        lines.append(f"peg by peg: {_by_peg(rows)}")
    return [*lines, _LOOK]


def _brought(last: dict[str, Any]) -> str:
    """Say what all of them bring: the volume in shares, as plans rest on a coarser net."""
    then, drop = last["mean_sd_m"], last["mean_sd_drop_m"]
    volume = last["volume_sd_drop_m3"] / (last["volume_sd_m3"] + last["volume_sd_drop_m3"])
    return (
        f"would lower the mean standard deviation of the depth from {then + drop:.3f} m to "
        f"{then:.3f} m ({drop / (then + drop):.0%} less), and that of the volume by {volume:.0%}"
    )


def _way(row: dict[str, Any]) -> str:
    start = f"{row['start_easting_m']:.0f} E {row['start_northing_m']:.0f} N"
    if "peg" in row:
        start = f"peg {short(str(row['peg']), _LONGEST_NAME)} ({start})"
    way = f"{row['bearing_deg']:3.0f} degrees, {row['distance_m']:4.0f} m"
    return f"{row['order']:>3}  from {start}, {way}, sd {row['mean_sd_m']:.3f} m"


def _by_peg(rows: list[dict[str, Any]]) -> str:
    """List the casts of each peg, the pegs in the order of their first."""
    casts: dict[str, list[str]] = {}
    for row in rows:
        casts.setdefault(str(row["peg"]), []).append(str(row["order"]))
    return ", ".join(
        f"{short(peg, _LONGEST_NAME)} ({', '.join(numbers)})" for peg, numbers in casts.items()
    )
