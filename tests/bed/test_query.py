"""Answers at places: closed forms of a plane whose error is known, and what has no answer."""

import csv
from pathlib import Path

import geopandas
import numpy as np
import pandas as pd
import pyproj
import pytest
import shapely

from toolbox.bed.query import query_bed
from toolbox.cli import main
from toolbox.errors import LayerError, ParameterError
from toolbox.formats.bed_file import write_bed
from toolbox.layers import Places, Soundings, Tin, VertexKind

CORNERS = np.array([[0, 0], [60, 0], [60, 40], [0, 40]], float)
TRIANGLES = np.array([[0, 1, 2], [0, 2, 3]])
PLAIN = [
    "easting_m",
    "northing_m",
    "depth_m",
    "slope_deg",
    "distance_to_sounding_m",
    "reason",
]


def plane(**changes: object) -> Tin:
    """Make a bed that deepens by 3 m in 100 eastwards and 4 m in 100 northwards."""
    parts: dict[str, object] = {
        "vertices": CORNERS,
        "depth": CORNERS @ np.array([0.03, 0.04]),
        "triangles": TRIANGLES,
        "kind": np.array([0, 2, 2, 4]),
        "crs": None,
    }
    return Tin(**(parts | changes))  # type: ignore[arg-type]


def fitted(**changes: object) -> Tin:
    error = {"sd": np.array([0.1, 0.2, 0.3, 0.2]), "support": np.array([1, 0.75, 0.5, 0.75])}
    return plane(**(error | changes))


def places(*pairs: tuple[float, float], **columns: object) -> Places:
    return Places(np.array(pairs, float), pd.DataFrame(columns, index=range(len(pairs))), None)


def test_depth_and_slope_of_a_plane() -> None:
    # derived: a rise of 5 in 100 whichever triangle, on their common edge too
    table = query_bed(plane(), places((10, 5), (5, 30), (30, 20), (60, 40)))
    np.testing.assert_allclose(table.column("depth_m"), [0.5, 1.35, 1.7, 3.4], rtol=1e-14)
    slope = np.degrees(np.arctan(0.05))
    np.testing.assert_allclose(table.column("slope_deg"), slope, rtol=1e-14)
    assert table.frame["reason"].tolist() == [""] * 4
    assert list(table.frame) == PLAIN


def test_slopes_are_those_on_the_ground() -> None:
    # derived: at 60 degrees north a map of Mercator's is 1 / (cos 60 N(60) / a) = 1.99665 times too
    # wide eastwards, and hardly less northwards: what looks like 1 in 20 is about 1 in 10
    crs = pyproj.CRS(3857)
    at = np.array(pyproj.Transformer.from_crs(4326, crs, always_xy=True).transform(10.0, 60.0))
    spot = np.array([[60.0, 40.0], [-5.0, 5.0]]) + at
    asked = Places(spot, pd.DataFrame(index=range(2)), crs)
    slope = query_bed(plane(crs=crs, vertices=CORNERS + at), asked).column("slope_deg")
    assert slope[0] == pytest.approx(np.degrees(np.arctan(0.05 * 1.99665)), rel=3e-3)
    assert np.isnan(slope[1])


def test_spread_interval_and_support_of_a_fitted_bed() -> None:
    # 1.6449: Abramowitz & Stegun 1964, Handbook of Mathematical Functions, table 26.5 (from
    # memory): the point that 95 % of a normal distribution lie below
    table = query_bed(fitted(), places((60, 40), (30, 20)))
    np.testing.assert_allclose(table.column("sd_m"), [0.3, 0.2], rtol=1e-14)
    np.testing.assert_allclose(table.column("support"), [0.5, 0.75], rtol=1e-14)
    depth, sd = np.array([3.4, 1.7]), np.array([0.3, 0.2])
    np.testing.assert_allclose(table.column("depth_low_m"), depth - 1.6449 * sd, atol=2e-5)
    np.testing.assert_allclose(table.column("depth_high_m"), depth + 1.6449 * sd, atol=2e-5)


def test_the_interval_ends_at_the_shore() -> None:
    table = query_bed(fitted(), places((0, 0), (1, 0)))
    np.testing.assert_allclose(table.column("depth_low_m"), [0, 0], atol=1e-15)
    assert (table.column("depth_high_m") > 0.16).all()
    free = query_bed(fitted(kind=np.full(4, VertexKind.OPEN_EDGE)), places((0, 0)))
    assert free.column("depth_low_m") == pytest.approx(-0.16449, abs=1e-5)


def test_a_bed_with_draws_alone_gives_their_quantiles() -> None:
    # derived: of 101 draws the 6th and the 96th; those above the shore end there
    shifts = np.linspace(-2, 2, 101)
    draws = plane().depth[:, None] + shifts
    table = query_bed(plane(draws=draws), places((60, 40), (99, 9)))
    assert "sd_m" not in table.frame
    low, high = table.column("depth_low_m"), table.column("depth_high_m")
    np.testing.assert_allclose([low[0], high[0]], [3.4 - 1.8, 3.4 + 1.8], rtol=1e-12)
    assert np.isnan([low[1], high[1]]).all()
    shallow = query_bed(plane(draws=draws), places((0, 0)))
    assert shallow.column("depth_low_m") == 0


def test_water_at_any_level_is_the_depth_and_the_rise() -> None:
    table = query_bed(plane(), places((10, 5), (60, 40)), rises=(0.0, -1.5, 0.25))
    assert list(table.frame)[5:8] == ["water_at_0_m", "water_at_-1.5_m", "water_at_0.25_m"]
    np.testing.assert_allclose(table.column("water_at_0_m"), [0.5, 3.4])
    np.testing.assert_allclose(table.column("water_at_-1.5_m"), [-1.0, 1.9])
    np.testing.assert_allclose(table.column("water_at_0.25_m"), [0.75, 3.65])
    assert "negative where the bed stands dry" in table.notes[-1]


def test_places_without_an_answer_keep_their_row_and_say_why() -> None:
    table = query_bed(fitted(), places((-1, 5), (10, 5), (np.nan, 5)), rises=(1.0,))
    assert table.frame["reason"].tolist() == ["outside the water", "", "no position"]
    told = table.frame.drop(columns=["reason", "easting_m", "northing_m"])
    assert told.iloc[[0, 2]].isna().all(axis=None)
    assert table.frame["easting_m"].tolist()[:2] == [-1, 10]
    assert table.notes[0] == "2 of 3 places have no answer, see their reason"


def test_columns_beside_the_places_are_kept_and_shapes_left_out() -> None:
    points = shapely.points([[10, 5], [20, 5]])
    frame = geopandas.GeoDataFrame(
        {"name": ["slip", "dock"], "depth_m": [9, 9]}, geometry=points, index=[7, 3]
    )
    asked = Places(shapely.get_coordinates(points), frame, None)
    table = query_bed(plane(), asked)
    assert list(table.frame) == ["name", "given_depth_m", *PLAIN]
    assert table.frame["name"].tolist() == ["slip", "dock"]
    np.testing.assert_allclose(table.column("depth_m"), [0.5, 0.8])


def test_distance_to_the_nearest_sounding() -> None:
    # derived: to the bed's own at (60, 0) and (60, 40), or to those given and not rejected
    asked = places((57, 4), (30, 20))
    own = query_bed(plane(), asked).column("distance_to_sounding_m")
    np.testing.assert_allclose(own, [5, np.hypot(30, 20)])
    cast = Soundings.from_arrays(
        np.array([[30, 16], [30, 20], [0, 0]], float), np.array([1, np.nan, 1]), crs=None
    )
    given = query_bed(plane(), asked, cast).column("distance_to_sounding_m")
    np.testing.assert_allclose(given, [np.hypot(27, 12), 4])


def test_no_sounding_known_is_no_distance() -> None:
    bed = plane(kind=np.array([0, 4, 4, 0]))
    away = query_bed(bed, places((57, 4))).column("distance_to_sounding_m")
    assert np.isnan(away).all()


def test_a_bed_that_was_not_fitted_says_so() -> None:
    note = "the bed does not know its error: only a fitted bed does"
    assert note in query_bed(plane(), places((10, 5))).notes
    assert query_bed(fitted(), places((10, 5))).notes == ()


def test_layers_in_different_crs_are_refused() -> None:
    there = Places(np.ones((1, 2)), pd.DataFrame(index=[0]), pyproj.CRS(32633))
    with pytest.raises(LayerError, match=r"CRS"):
        query_bed(plane(), there)


def test_a_rise_that_is_no_number_is_refused() -> None:
    with pytest.raises(ParameterError, match=r"^rises must be finite m, got nan$"):
        query_bed(plane(), places((1, 1)), rises=(float("nan"),))


def test_docks_in_degrees_are_asked_about_on_the_command_line(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    # independent: pyproj puts the places into degrees
    corner, utm = np.array([500_000, 5_200_000]), pyproj.CRS(32633)
    bed = fitted(vertices=CORNERS + corner, crs=utm)
    write_bed(bed, tmp_path / "bed.gpkg")
    there = pyproj.Transformer.from_crs(utm, 4326, always_xy=True).transform
    slip, peg = there(500_010, 5_200_005), there(499_990, 5_200_005)
    text = f"name,longitude,latitude\nslip,{slip[0]},{slip[1]}\npeg,{peg[0]},{peg[1]}\n"
    (tmp_path / "docks.csv").write_text(text, encoding="utf-8")
    files = [str(tmp_path / "bed.gpkg"), str(tmp_path / "docks.csv")]
    assert main(["query-bed", *files, "--rises", "-1 ft", "--rises", "0.5"]) == 0
    told = capsys.readouterr()
    first, second = csv.DictReader(told.out.splitlines())
    assert (first["name"], second["name"]) == ("slip", "peg")
    assert float(first["depth_m"]) == pytest.approx(0.5, abs=1e-6)
    assert float(first["water_at_-0.3048_m"]) == pytest.approx(0.1952, abs=1e-6)
    assert float(first["water_at_0.5_m"]) == pytest.approx(1.0, abs=1e-6)
    assert (second["depth_m"], second["reason"]) == ("", "outside the water")
    assert "note: 1 of 2 places have no answer, see their reason" in told.err
