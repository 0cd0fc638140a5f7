"""Species of a season: how much water suits each of them over time."""

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from toolbox.errors import LayerError
from toolbox.layers import Table
from toolbox.report.figure_style import LINES, Look, date_axis, dress, fitted, name_of
from toolbox.units import convert

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["Species", "draw_suitable", "species_of"]


@dataclass(frozen=True, eq=False)
class Species:
    """Water of one species over time, in the unit of the figure; no band is None."""

    name: str
    days: Any
    volume: np.ndarray
    band: tuple[np.ndarray, np.ndarray] | None


def species_of(suitable: Table, look: Look) -> list[Species]:
    """Part a table of suitable water into its first species."""
    for name in ("species", "time"):
        if name not in suitable.frame:
            raise LayerError(f"suitable must have a column {name!r}")
    suitable.column("suitable_volume_m3")
    names = list(dict.fromkeys(suitable.frame["species"]))[: len(LINES)]
    return [_of(suitable.frame[suitable.frame["species"] == name], name, look) for name in names]


def _of(rows: "pd.DataFrame", name: object, look: Look) -> Species:
    import pandas as pd

    try:
        days = pd.to_datetime(rows["time"], utc=True, format="ISO8601").dt.tz_localize(None)
    except (ValueError, TypeError) as error:
        raise LayerError(f"suitable must have times as its column 'time': {error}") from error
    factor = float(convert(1.0, "m^3", "acre_foot")) if look.unit == "ft" else 1e-3
    ends = [f"suitable_volume_{end}_m3" for end in ("low", "high")]
    banded = all(end in rows for end in ends)
    low, high = (factor * Table(rows).column(end) for end in ends) if banded else (None, None)
    volume = factor * Table(rows).column("suitable_volume_m3")
    return Species(str(name), days, volume, None if low is None or high is None else (low, high))


def draw_suitable(axes: Any, species: list[Species], look: Look, room: float) -> None:
    """Draw the water of each species and its band; `room` is that of the title, points."""
    dress(axes)
    for number, one in enumerate(species):
        style = look.line(number)
        axes.plot(one.days, one.volume, **style, linewidth=1.4, label=name_of(one.name))
        if one.band is not None:
            axes.fill_between(one.days, *one.band, color=style["color"], alpha=0.18, linewidth=0)
    axes.set_ylim(bottom=0)
    unit = "acre-feet" if look.unit == "ft" else "1000 m\u00b3"
    axes.set_ylabel(f"suitable water, {unit}")
    told = "Water within the limits of each species"
    if any(one.band is not None for one in species):
        told += " (pale: 90 % band)"
    axes.set_title(fitted(told, room, 8), loc="left", fontsize=8)
    date_axis(axes)
