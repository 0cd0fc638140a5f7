"""Light: Secchi factor and 1 % depth against remembered figures, lit bed against a cone."""

from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from toolbox.errors import LayerError, ParameterError
from toolbox.layers import Table, Tin, VertexKind
from toolbox.water.light import light

SIDE, DEEPEST = 100.0, 10.0
AREA, VOLUME = SIDE**2, SIDE**2 * DEEPEST / 3


def pyramid(*, edge: float = 0.0, scale: tuple[float, ...] = ()) -> Tin:
    """Make a square pit, with draws that are as many times as deep."""
    vertices = SIDE * np.array([[0, 0], [1, 0], [1, 1], [0, 1], [0.5, 0.5]])
    triangles = np.array([[0, 1, 4], [1, 2, 4], [2, 3, 4], [3, 0, 4]])
    kind = np.array([VertexKind.SHORELINE] * 4 + [VertexKind.SOUNDING])
    depth = np.array([0, 0, 0, 0, DEEPEST]) + edge
    draws = np.outer(depth, scale) if scale else None
    return Tin(vertices, depth, triangles, kind, None, draws=draws)


def column(table: Table, name: str = "value") -> dict[str, Any]:
    return dict(zip(table.frame["measure"], table.frame[name], strict=True))


def test_secchi_of_two_metres() -> None:
    # Poole & Atkins 1929, from memory: k = 1.7 / Secchi; derived: ln(100) / 0.85 = 5.418 m
    found = column(light(pyramid(), secchi=2.0))
    assert found["secchi depth"] == 2.0
    assert found["attenuation"] == pytest.approx(0.85)
    assert found["light depth"] == pytest.approx(5.418, abs=5e-4)


def test_lit_bed_and_water_of_a_pyramid() -> None:
    # derived: what is deeper than z is (1 - z / z_max)^2 of the area and its cube of the volume
    found = column(light(pyramid(), attenuation=np.log(100) / 4.0))
    assert found["light depth"] == pytest.approx(4.0)
    assert found["water area"] == pytest.approx(AREA)
    assert found["water volume"] == pytest.approx(VOLUME)
    assert found["lit bed area"] == pytest.approx(AREA * (1 - 0.6**2))
    assert found["lit bed share"] == pytest.approx(0.64)
    assert found["lit volume"] == pytest.approx(VOLUME * (1 - 0.6**3))
    assert found["lit volume share"] == pytest.approx(0.784)


def test_littoral_of_fifteen_feet() -> None:
    # common practice, no source: 15 ft; 0.3048 m each, derived
    table = light(pyramid(), secchi=2.0)
    found = column(table)
    assert found["fixed depth"] == pytest.approx(15 * 0.3048)
    assert found["littoral share by fixed depth"] == pytest.approx(1 - (1 - 0.4572) ** 2)
    assert "common practice, no source" in column(table, "source")["littoral area by fixed depth"]
    assert column(light(pyramid(), secchi=2.0, fixed_depth=5.0))[
        "littoral area by fixed depth"
    ] == pytest.approx(0.75 * AREA)


def test_water_of_which_all_is_lit() -> None:
    found = column(light(pyramid(), secchi=10.0))
    assert found["light depth"] > DEEPEST
    assert found["lit bed share"] == pytest.approx(1)
    assert found["lit volume"] == pytest.approx(VOLUME)


def test_rows_and_columns_are_as_told() -> None:
    frame = light(pyramid(), attenuation=0.5).frame
    assert list(frame) == ["measure", "value", "low", "high", "unit", "source"]
    assert frame["measure"].tolist() == [
        "attenuation",
        "light depth",
        "water area",
        "water volume",
        "lit bed area",
        "lit bed share",
        "lit volume",
        "lit volume share",
        "fixed depth",
        "littoral area by fixed depth",
        "littoral share by fixed depth",
    ]
    assert frame[["low", "high"]].isna().all(axis=None)


def test_bands_are_those_of_the_draws() -> None:
    scale = tuple(np.linspace(0.5, 1.5, 101))
    bed = pyramid(scale=scale)
    table = light(bed, attenuation=np.log(100) / 4.0)
    # derived: a pit 0.55 times as deep has 4 m over 1 - (1 - 4 / 5.5)^2 of its area
    assert column(table, "high")["lit bed share"] == pytest.approx(1 - (1 - 4 / 5.5) ** 2)
    assert column(table, "low")["lit bed share"] == pytest.approx(1 - (1 - 4 / 14.5) ** 2)
    assert np.isnan(column(table, "low")["light depth"])
    assert "low and high: 90 % band of 101 beds drawn" in table.notes


def test_the_surface_of_the_day() -> None:
    # derived: 2 m lower the pyramid is 8 m deep and 80 m wide
    found = column(light(pyramid(), attenuation=np.log(100) / 4.0, surface=2.0))
    assert found["water area"] == pytest.approx(0.64 * AREA)
    assert found["lit bed share"] == pytest.approx(1 - 0.5**2)
    lower = column(light(pyramid(edge=2.0), attenuation=np.log(100) / 4.0))
    assert lower["lit bed share"] == pytest.approx(0.64)


@settings(max_examples=25)
@given(st.floats(0.1, 15), st.floats(0.1, 15))
def test_clearer_water_lights_more(one: float, other: float) -> None:
    clear, turbid = (
        column(light(pyramid(), secchi=depth)) for depth in (max(one, other), min(one, other))
    )
    assert clear["lit bed area"] >= turbid["lit bed area"] - 1e-6
    assert clear["lit volume"] >= turbid["lit volume"] - 1e-6


def test_faults_are_told() -> None:
    with pytest.raises(ParameterError, match=r"^give secchi or attenuation, one of them, got "):
        light(pyramid())
    with pytest.raises(ParameterError, match=r"got secchi = 2.0 and attenuation = 0.5"):
        light(pyramid(), secchi=2.0, attenuation=0.5)
    with pytest.raises(ParameterError, match=r"^secchi must be > 0 m, got 0"):
        light(pyramid(), secchi=0.0)
    with pytest.raises(ParameterError, match=r"^share must be > 0 and <= 1, got 1.5"):
        light(pyramid(), secchi=2.0, share=1.5)
    with pytest.raises(ParameterError, match=r"^surface must be at or below the mapped water's ed"):
        light(pyramid(), secchi=2.0, surface=-0.5)
    with pytest.raises(LayerError, match=r"^there is no water below the surface: it lies at 10 m"):
        light(pyramid(), secchi=2.0, surface=10.0)
