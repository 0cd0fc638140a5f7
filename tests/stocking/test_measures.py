"""Measures that stocking counts by: a published lake, closed forms, bands and refusals."""

from typing import Any

import numpy as np
import pandas as pd
import pytest
import shapely

from toolbox.errors import LayerError, ParameterError
from toolbox.layers import Shoreline, Table, Tin, VertexKind
from toolbox.stocking.measures import LITTORAL_DEPTH, layer_rows, stocking_measures
from toolbox.units import convert
from toolbox.water.water_layers import WaterLayers

# waterontheweb.org, Ice Lake morphometry, Tables 1 and 2: area at the top of each metre, ha
ICE_LAKE = [16.6, 15.4, 14.2, 13.0, 11.8, 10.7, 9.49, 8.30, 7.11, 5.93, 4.75, 3.57, 2.38, 1.20,
            0.060, 0.029, 0.0]  # fmt: skip


def trough(draws: np.ndarray | None = None, shore: float = 0.0) -> Tin:
    """Make a water 200 m by 100 m, from `shore` down to 10 m at the far end."""
    vertices = np.array([[0, 0], [200, 0], [200, 100], [0, 100]], float)
    depth = np.array([shore, 10, 10, shore])
    kind = np.array([VertexKind.SHORELINE] * 4)
    triangles = np.array([[0, 1, 2], [0, 2, 3]])
    return Tin(vertices, depth, triangles, kind, None, None, draws)


def shore(island: bool = False) -> Shoreline:
    hole = [[(190, 10), (190, 20), (180, 20), (180, 10)]] if island else []
    return Shoreline.from_shapes(
        [shapely.Polygon([(0, 0), (200, 0), (200, 100), (0, 100)], hole)], None
    )


def by_name(table: Table) -> dict[str, Any]:
    names = table.frame["measure"] + table.frame["species"].map(lambda s: f", {s}" if s else "")
    return dict(zip(names, table.frame.to_dict("records"), strict=True))


def test_littoral_and_deep_water_of_ice_lake() -> None:
    table = Table(pd.DataFrame({"depth_m": np.arange(17.0), "area_m2": np.array(ICE_LAKE) * 1e4}))
    eight, ten = 8 * 0.3048, 10 * 0.3048
    layers = WaterLayers.of_table(table, np.array([0, eight, ten, LITTORAL_DEPTH, 16]))
    rows = {row[0]: row[2] for row in layer_rows(layers, 0.0, {"littoral": 4.572}, (eight, ten))}
    # derived from the published areas by linear interpolation
    assert rows["littoral area"] == pytest.approx(5.429e4, abs=5)
    assert convert(rows["littoral area"], "m**2", "acre") == pytest.approx(13.416, abs=1e-3)
    assert rows["surface area"] == pytest.approx(16.6e4)
    assert rows["area deeper than 2.44 m (8.0 ft)"] / 16.6e4 == pytest.approx(0.824, abs=5e-4)
    assert rows["area deeper than 3.05 m (10.0 ft)"] / 16.6e4 == pytest.approx(0.780, abs=5e-4)
    assert rows["volume"] == pytest.approx(11.6e5, abs=0.05e5)  # the published total
    assert rows["mean depth"] == pytest.approx(7.0, abs=0.03)


def test_a_trough_by_closed_form() -> None:
    # derived: depth grows by 1 m in 20 m; to 4.572 m lie 91.44 m of 200 m
    table = stocking_measures(trough(), shore(), lit_depth=2.0, deeper_than=(5.0,))
    found = {name: row["value"] for name, row in by_name(table).items()}
    assert found["surface area"] == pytest.approx(20_000)
    assert found["littoral area"] == pytest.approx(9144)
    assert found["lit area"] == pytest.approx(4000)
    assert found["area deeper than 5.00 m (16.4 ft)"] == pytest.approx(10_000)
    assert found["volume"] == pytest.approx(100_000)
    assert found["mean depth"] == pytest.approx(5)
    assert found["greatest depth"] == pytest.approx(10)
    assert found["shoreline length"] == found["shoreline length with islands"] == 600
    assert table.frame["low"].isna().all()
    assert table.notes[-1] == "the bed does not know its own error: measures have no bands"
    assert list(table.frame) == ["measure", "species", "value", "low", "high", "unit", "note"]


def test_depths_count_from_the_mapped_edge() -> None:
    table = stocking_measures(trough(shore=2.0), shore(), deeper_than=(4.0,))
    found = {name: row["value"] for name, row in by_name(table).items()}
    # derived: 8 m of water, 25 m for each
    assert found["littoral area"] == pytest.approx(4.572 * 2500)
    assert found["area deeper than 4.00 m (13.1 ft)"] == pytest.approx(10_000)
    assert found["mean depth"] == pytest.approx(4)
    assert found["greatest depth"] == pytest.approx(8)
    assert "depths count from the mapped water's edge, 2 m below the datum" in table.notes


def test_islands_are_named_apart() -> None:
    table = stocking_measures(trough(), shore(island=True))
    found = by_name(table)
    assert found["shoreline length"]["value"] == 600
    assert found["island shoreline length"]["value"] == 40
    assert found["shoreline length with islands"]["value"] == 640
    assert found["island shoreline length"]["note"].startswith("1 island;")


def test_an_open_edge_is_no_shore() -> None:
    ends = shore().with_open_edges([shapely.LineString([(200, 0), (200, 100)])])
    found = by_name(stocking_measures(trough(), ends))["shoreline length"]
    assert found["value"] == pytest.approx(500, abs=11)  # marks open 5 m of what they near too
    assert "open edge of 1" in found["note"]


def test_bands_come_from_the_draws_and_hold_all_of_their_water() -> None:
    # derived: scaling the depth by s scales the volume by s, the littoral by 1 / s
    scales = np.linspace(0.8, 1.2, 41)
    bed = trough(np.outer(np.array([0, 10, 10, 0]), scales))
    found = by_name(stocking_measures(bed, shore()))
    low, high = np.quantile(scales, [0.05, 0.95])
    volume, littoral = found["volume"], found["littoral area"]
    assert (volume["low"], volume["high"]) == pytest.approx((1e5 * low, 1e5 * high))
    ends = np.quantile(9144 / scales, [0.05, 0.95])
    assert (littoral["low"], littoral["high"]) == pytest.approx(tuple(ends))
    deepest = found["greatest depth"]
    assert (deepest["low"], deepest["high"]) == pytest.approx((10 * low, 10 * high))


def suitable() -> pd.DataFrame:
    times = pd.to_datetime(["2026-04-09", "2026-07-15", "2026-08-12"] * 2, utc=True)
    return pd.DataFrame(
        {
            "species": ["tench"] * 3 + ["pike"] * 3,
            "time": times,
            "suitable_volume_m3": [0.0, 900, 500, 80, 70, 60],
            "suitable_volume_low_m3": [0.0, 800, 400, 70, 60, 50],
            "suitable_volume_high_m3": [0.0, 1000, 600, 90, 80, 70],
            "bed_area_m2": [0.0, 30, 40, 9, 8, 7],
        }
    )


def test_the_narrowest_time_of_a_species_counts() -> None:
    table = stocking_measures(
        trough(), shore(), suitable=Table(suitable()), suitable_first="06-01", suitable_last="09-30"
    )
    found = by_name(table)
    volume = found["suitable volume, tench"]
    assert (volume["value"], volume["low"], volume["high"]) == (500, 400, 600)
    assert volume["note"] == "of the species' limits; the least of 2 times, on 2026-08-12"
    assert found["suitable bed area, tench"]["value"] == 30
    told = suitable().assign(bed_note="limits on plants left out")
    noted = by_name(stocking_measures(trough(), shore(), suitable=Table(told)))
    assert "limits on plants left out" in noted["suitable bed area, tench"]["note"]
    assert "left out" not in noted["suitable volume, tench"]["note"]  # plants are of the bed
    assert found["suitable bed area, pike"]["value"] == 7
    assert np.isnan(found["suitable bed area, pike"]["low"])
    everything = by_name(stocking_measures(trough(), shore(), suitable=Table(suitable())))
    assert everything["suitable volume, tench"]["value"] == 0


def test_days_may_span_new_year() -> None:
    table = stocking_measures(
        trough(), shore(), suitable=Table(suitable()), suitable_first="11-01", suitable_last="04-30"
    )
    assert by_name(table)["suitable volume, pike"]["value"] == 80


@pytest.mark.parametrize(
    ("options", "told"),
    [
        ({"suitable_first": "June"}, "suitable_first must be month and day, .* got 'June'$"),
        ({"suitable_last": "01-31"}, "no row of the suitable water lies between 01-01 and 01-31"),
        ({"deeper_than": (2.0, 2.0)}, r"deeper_than must name each depth once, got \(2\.0, 2\.0\)"),
        ({"littoral_depth": 0.0}, "littoral_depth must be > 0 m, got 0"),
    ],
)
def test_options_are_checked(options: dict[str, Any], told: str) -> None:
    with pytest.raises(ParameterError, match=told):
        stocking_measures(trough(), shore(), suitable=Table(suitable()), **options)


@pytest.mark.parametrize(
    ("frame", "told"),
    [
        (suitable().drop(columns="species"), "needs columns species and suitable_volume_m3"),
        (suitable()[["species"]], "needs columns species and suitable_volume_m3 or bed_area_m2"),
        (suitable().assign(bed_area_m2=-1.0), "bed_area_m2 of 'tench' must be >= 0 everywhere"),
        (suitable().drop(columns="time"), "suitable_first and suitable_last need a column 'time'"),
    ],
)
def test_suitable_water_is_checked(frame: pd.DataFrame, told: str) -> None:
    with pytest.raises(LayerError, match=told):
        stocking_measures(trough(), shore(), suitable=Table(frame), suitable_first="01-01")


def test_bed_and_shoreline_must_be_of_one_water() -> None:
    other = Shoreline.from_shapes([shapely.box(0, 0, 100, 100)], None)
    with pytest.raises(LayerError, match=r"the bed has 20000 m2, the shoreline 10000 m2$"):
        stocking_measures(trough(), other)


@pytest.mark.parametrize(("unknown", "told"), [(10.0, False), (4000.0, True)])
def test_much_unknown_water_is_told(unknown: float, told: bool) -> None:
    table = Table(suitable().assign(unknown_volume_m3=unknown))
    found = by_name(stocking_measures(trough(), shore(), table, suitable_first="07-01"))
    note = found["suitable volume, tench"]["note"]
    assert note.endswith("nobody read what the species needs of 4,000 m3, not counted") == told
