"""Abundance rows: the figures of each layer and of the whole, as a table."""

from typing import TYPE_CHECKING

import numpy as np

from toolbox.fish.raising import Raised
from toolbox.fish.searched import LayerWater, Searched
from toolbox.fish.target_strength import mean_strength
from toolbox.notes import Caution

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["tabulated", "water_notes"]


def tabulated(
    searched: Searched,
    water: LayerWater,
    edges: np.ndarray,
    groups: list[np.ndarray],
    echoes: "pd.DataFrame",
) -> "pd.DataFrame":
    """Tabulate what each layer holds, and all of them together.

    Parameters
    ----------
    searched : Searched
        In thin layers.
    water : LayerWater
        Of the same layers.
    edges : (k + 1,) array
        Planes between the layers to tell of, m.
    groups : list of arrays
        The thin layers of each.
    echoes : DataFrame
        Their rows, for strengths and weights.

    Returns
    -------
    DataFrame
        Columns of :func:`toolbox.fish.fish_abundance.fish_abundance` but the measure.
    """
    import pandas as pd

    fish = Raised(searched.sums(), searched.volumes, water)
    rows = [_row(fish, searched, part, echoes) for part in (*groups, np.concatenate(groups))]
    ends = np.column_stack([edges[:-1], edges[1:]])
    frame = pd.DataFrame(rows)
    frame.insert(0, "layer", [*(f"{top:g} to {bottom:g} m" for top, bottom in ends), "whole"])
    frame.insert(1, "top_m", np.r_[edges[:-1], edges[0]])
    frame.insert(2, "bottom_m", np.r_[edges[1:], edges[-1]])
    whole = frame.index[-1]
    frame.loc[whole, "water_m3"] = water.whole
    frame.loc[whole, "unsearched_share"] = 1 - fish.known.sum() / water.whole
    frame["per_ha"] = np.nan
    frame.loc[whole, "per_ha"] = frame.loc[whole, "number"] / water.area * 1e4
    return frame


def _row(
    fish: Raised, searched: Searched, layers: np.ndarray, echoes: "pd.DataFrame"
) -> dict[str, float]:
    number, sd = fish.figure(layers)
    within = np.isin(searched.layer, layers)
    water, known = fish.water.all[layers].sum(), fish.known[layers].sum()
    row = {
        "transects": int((searched.volumes[:, layers] > 0).any(axis=1).sum()),
        "echoes": int(within.sum()),
        "searched_m3": searched.volumes[:, layers].sum(),
        "water_m3": water,
        "unsearched_share": 1 - known / water if water > 0 else np.nan,
        "per_1000_m3": 1000 * number.value / known if known > 0 else np.nan,
        "number": number.value,
        "number_sd": sd if number.value > 0 else np.nan,
        "number_low": number.low,
        "number_high": number.high,
        "mean_ts_db": np.nan,
    }
    if "ts_db" in echoes:
        row["mean_ts_db"] = mean_strength(echoes["ts_db"].to_numpy(float)[within])
    if "weight_g" in echoes:
        mass, _ = _weight(searched, fish.water, echoes).figure(layers)
        row |= {"biomass_kg": mass.value, "biomass_low_kg": mass.low, "biomass_high_kg": mass.high}
    return row


def _weight(searched: Searched, water: LayerWater, echoes: "pd.DataFrame") -> Raised:
    """Raise the weight of the fish in kg; one of unknown weight counts as the mean of the rest."""
    weight = echoes["weight_g"].to_numpy(float) / 1000
    known = weight[np.isfinite(weight)]
    filled = np.where(np.isfinite(weight), weight, known.mean() if len(known) else np.nan)
    return Raised(searched.sums(filled), searched.volumes, water)


def water_notes(searched: Searched, water: LayerWater, frame: "pd.DataFrame") -> tuple[str, ...]:
    """Tell what was not searched, and what the interval rests on."""
    whole = frame.iloc[-1]
    notes: list[str] = [
        Caution(
            f"{whole['unsearched_share']:.1%} of the lake's water was not searched for fish (near "
            "the surface, near the bed, layers no transect reached); fish there are not counted"
        )
    ]
    if len(searched.volumes) == 1:
        notes.append(Caution("one transect alone tells no spread: no interval"))
    elif not whole["number"] > 0:
        notes.append("no fish counted: no interval")
    else:
        joined = "" if water.drawn is None else ", and of the bed's draws"
        notes.append(
            f"low and high: 90 % interval from {len(searched.volumes)} transects{joined}"
            " (log-normal with Student's t); sd is one standard deviation"
        )
    return tuple(notes)
