"""Columns of bands, and what is said of the water nobody read."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from toolbox.layers import Profiles, Tin, VertexKind
from toolbox.water.rows import banded, notes_of_columns, unread_share
from toolbox.water.water_columns import cut_at, water_columns
from toolbox.water.water_layers import Figure, WaterLayers

WEDGE = Tin(
    np.array([[0, 0], [300, 0], [300, 40], [0, 40]], float),
    np.array([0, 10, 10, 0.0]),
    np.array([[0, 1, 2], [0, 2, 3]]),
    np.full(4, VertexKind.SHORELINE),
    None,
)


def profiles(depth: list[float], surface: float) -> Profiles:
    time = pd.to_datetime(["2026-05-14"] * len(depth), utc=True)
    oxygen = [9.0] * len(depth)
    frame = {"time": time, "depth_m": depth, "oxygen_mg_l": oxygen, "surface_m": surface}
    return Profiles(pd.DataFrame(frame))


def test_a_band_is_told_of_a_bed_with_draws_only() -> None:
    edges, area, volume = np.array([0.0, 1.0]), np.array([2.0, 1.0]), np.array([1.5])
    plain = WaterLayers(edges, area, volume)
    drawn = replace(plain, drawn_area=np.tile(area, (3, 1)), drawn_volume=np.tile(volume, (3, 1)))
    figure = Figure(2.0, 1.0, 3.0)
    assert banded("heat_content", "j_m2", figure, plain) == {"heat_content_j_m2": 2.0}
    assert banded("volume", "m3", figure, drawn) == {
        "volume_m3": 2.0,
        "volume_low_m3": 1.0,
        "volume_high_m3": 3.0,
    }


def test_the_share_nobody_read() -> None:
    layers = cut_at(WEDGE, water_columns(profiles([0.0, 6.0], 0.0)), 0.25)
    assert unread_share(layers, 6.0) == pytest.approx(0.16)  # derived: (4 / 10)^2
    assert unread_share(layers, 10.0) == pytest.approx(0.0, abs=1e-12)
    assert np.isnan(unread_share(layers, np.nan))


def test_what_is_said_of_columns() -> None:
    columns = water_columns(profiles([2.0, 6.0], -0.2))
    layers = cut_at(WEDGE, columns, 0.25)
    notes = notes_of_columns(WEDGE, layers, columns, "temperature_c", "oxygen_mg_l")
    # derived: 4.2^2 / 2 of 10^2 / 2 + 10 x 0.2 metres of water, with upright banks
    assert notes == (
        "the deepest reading of oxygen stands for all water below it: up to "
        "17.0% of the water (2026-05-14, deepest at 6 m)",
        "1 of 1 visits have no oxygen in the uppermost 1 m: the water above their first reading is "
        "not known",
        "some surfaces lie above the mapped water's edge: banks taken as upright",
    )
    whole = water_columns(profiles([0.0, 10.0], 0.0))
    assert notes_of_columns(WEDGE, cut_at(WEDGE, whole, 0.25), whole, "oxygen_mg_l") == ()
