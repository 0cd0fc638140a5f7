"""The same bed whatever the order, the files, the unit or the map: whole runs, told otherwise."""

import csv
import shutil
import tempfile
from dataclasses import dataclass
from pathlib import Path

import geopandas
import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from toolbox.formats.bed_file import read_bed
from toolbox.formats.geotiff import read_grid
from toolbox.layers import Grid, Tin
from toolbox.survey.run import run
from toolbox.survey.settings import load_settings

METHODS = ("triangulated", "fitted")
ZONE, NEXT_ZONE = 32633, 32632
FOOT = 0.3048  # exact (international foot, 1959)
CORNER = np.array([500_300.0, 5_200_200.0])
TEXT = """
[water]
name = "Pond"
shoreline = "shoreline.parquet"
[bed]
method = "{method}"
[make]
cell = "1 m"
step = "0.5 m"
write = ["layers", "rasters", "tables"]
terrain = ["slope"]
"""


@dataclass(frozen=True)
class Made:
    """What is compared of a run."""

    bed: Tin
    depth: Grid
    raster: bytes
    hypsography: str
    morphometry: str

    @property
    def volume(self) -> float:
        """Volume below the datum, cubic metres."""
        rows = csv.DictReader(self.morphometry.splitlines())
        return next(float(row["value"]) for row in rows if row["measure"] == "volume")


def pond() -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return a shore, places of soundings about its middle and depths, all on eighths or cents."""
    rng = np.random.default_rng(20_261_126)
    angle = np.linspace(0, 2 * np.pi, 24, endpoint=False)
    radius = 20 + 3 * np.cos(3 * angle) + 1.5 * np.sin(5 * angle)
    ring = np.column_stack([1.4 * radius * np.cos(angle), radius * np.sin(angle)])
    ring = np.round(ring * 8) / 8
    places = np.round(rng.uniform(-1, 1, (110, 2)) * [28, 20] * 8) / 8
    inside = shapely.contains_xy(shapely.Polygon(ring).buffer(-1.5), *places.T)
    places = rng.permutation(np.unique(places[inside], axis=0))
    depth = 4 + np.cos(places[:, 0] / 12) + np.sin(places[:, 1] / 9) - 0.05 * np.hypot(*places.T)
    return ring, places, np.round(depth, 2)


RING, PLACES, DEPTH = pond()


def write_points(path: Path, rows: np.ndarray, unit: str, crs: int) -> str:
    """Write soundings in the format of a suffix; return their part of a survey file."""
    scale = FOOT if unit == "ft" else 1.0
    name = "depth_ft" if unit == "ft" else "depth"
    if path.suffix == ".csv":
        header = f"easting,northing,{name}"
        np.savetxt(path, rows / [1, 1, scale], "%.17g", ",", header=header, comments="")
        return f'[[soundings]]\nfile = "{path.name}"\ncrs = "EPSG:{crs}"\n'
    frame = geopandas.GeoDataFrame(
        {name: rows[:, 2] / scale}, geometry=shapely.points(rows[:, :2]), crs=crs
    )
    frame.to_file(path) if path.suffix == ".gpkg" else frame.to_parquet(path)
    return f'[[soundings]]\nfile = "{path.name}"\n'


def made(
    method: str,
    *,
    ring: np.ndarray = RING + CORNER,
    parts: list[np.ndarray] | None = None,
    suffix: str = ".csv",
    unit: str = "m",
    crs: int = ZONE,
) -> Made:
    """Carry out a survey of the pond, with its soundings in these parts."""
    folder = Path(tempfile.mkdtemp())
    try:
        frame = geopandas.GeoDataFrame(geometry=[shapely.Polygon(ring)], crs=crs)
        frame.to_parquet(folder / "shoreline.parquet")
        sources = [
            write_points(folder / f"part {number}{suffix}", rows, unit, crs)
            for number, rows in enumerate([ROWS] if parts is None else parts)
        ]
        (folder / "survey.toml").write_text(TEXT.format(method=method) + "".join(sources))
        run(load_settings(folder / "survey.toml"), folder / "out")
        return Made(
            read_bed(folder / "out" / "lakebed.gpkg"),
            read_grid(folder / "out" / "depth.tif"),
            (folder / "out" / "depth.tif").read_bytes(),
            (folder / "out" / "hypsography.csv").read_text(encoding="utf-8"),
            (folder / "out" / "morphometry.csv").read_text(encoding="utf-8"),
        )
    finally:
        shutil.rmtree(folder)


ROWS = np.column_stack([PLACES + CORNER, DEPTH])


@pytest.fixture(scope="module", params=METHODS)
def plain(request: pytest.FixtureRequest) -> tuple[str, Made]:
    """Give the pond as it is, by each method."""
    return request.param, made(request.param)


def same_bits(one: Made, other: Made) -> bool:
    return (one.raster, one.hypsography, one.morphometry) == (
        other.raster,
        other.hypsography,
        other.morphometry,
    )


def furthest(one: Grid, values: np.ndarray) -> float:
    """Return the largest difference of depth, m; of rasters with the same cells in the water."""
    assert one.shape == values.shape
    assert np.array_equal(np.isnan(one.values), np.isnan(values))
    return float(np.nanmax(np.abs(one.values - values)))


# ---- the same soundings, told otherwise ----


@settings(max_examples=2)
@given(
    seed=st.integers(0, 2**32 - 1),
    count=st.integers(2, 4),
    suffix=st.sampled_from([".csv", ".gpkg", ".parquet"]),
    unit=st.sampled_from(["m", "ft"]),
)
def test_order_files_formats_units_and_repeats_are_all_one(
    seed: int, count: int, suffix: str, unit: str, plain: tuple[str, Made]
) -> None:
    """Shuffled, split over several files, one of them given twice, in any format."""
    method, wanted = plain
    rows = np.random.default_rng(seed).permutation(ROWS)
    parts = np.array_split(rows, count)
    again = made(method, parts=[*parts, parts[0]], suffix=suffix, unit=unit)
    if method == "triangulated" and unit == "m":
        assert same_bits(again, wanted)
    # a fit adds up in the order given, and rasters hold 24 bits: steps of 5e-7 m at 4 to 8 m
    assert furthest(wanted.depth, again.depth.values) < 2e-6


# ---- the same pond, elsewhere ----


@settings(max_examples=2)
@given(east=st.integers(-90_000, 90_000), north=st.integers(-90_000, 90_000))
def test_moved_by_whole_metres_the_bed_moves_along(
    east: int, north: int, plain: tuple[str, Made]
) -> None:
    method, wanted = plain
    shift = np.array([east, north], dtype=float)
    again = made(method, ring=RING + CORNER + shift, parts=[ROWS + np.array([east, north, 0])])
    assert again.depth.transform.c - wanted.depth.transform.c == east
    assert again.depth.transform.f - wanted.depth.transform.f == north
    assert furthest(wanted.depth, again.depth.values) < 2e-6


def test_turned_by_a_right_angle_the_bed_turns_along(plain: tuple[str, Made]) -> None:
    method, wanted = plain
    again = made(
        method, ring=_turned(RING) + CORNER, parts=[np.c_[_turned(PLACES) + CORNER, DEPTH]]
    )
    _check_alike(wanted, again, np.rot90(again.depth.values, -1))


def test_on_the_map_of_the_next_zone_the_bed_is_the_same(plain: tuple[str, Made]) -> None:
    """The same places on another map: areas and volumes are those of the ground."""
    method, wanted = plain
    places = np.c_[_projected(PLACES + CORNER), DEPTH]
    again = made(method, ring=_projected(RING + CORNER), parts=[places], crs=NEXT_ZONE)
    # zone 32 lies 6 degrees off: squares on the map differ by 0.5 %, those on the ground must not
    on_map = again.bed.areas().sum() / wanted.bed.areas().sum()
    assert abs(on_map - 1) > 1e-3
    assert again.bed.ground_areas().sum() == pytest.approx(
        wanted.bed.ground_areas().sum(), rel=1e-7
    )
    assert again.volume == pytest.approx(wanted.volume, rel=VOLUME[method])


VOLUME = {"triangulated": 1e-6, "fitted": 0.01}
"""Share by which volumes may differ: a fit's nodes lie along the map's axes."""


def _turned(places: np.ndarray) -> np.ndarray:
    return np.column_stack([-places[:, 1], places[:, 0]])


def _projected(places: np.ndarray) -> np.ndarray:
    moved = geopandas.GeoSeries(shapely.points(places), crs=ZONE).to_crs(NEXT_ZONE)
    return np.column_stack([moved.x, moved.y])


def _check_alike(wanted: Made, again: Made, values: np.ndarray) -> None:
    """Compare turned beds: a triangulated one to rounding, a fitted one by its own error."""
    if wanted.bed.sd is None:
        assert furthest(wanted.depth, values) < 2e-6
        return
    apart = np.abs(wanted.depth.values - values)[~np.isnan(values)]
    assert np.sqrt((apart**2).mean()) < np.median(wanted.bed.sd) / 3
    assert again.volume == pytest.approx(wanted.volume, rel=VOLUME["fitted"])
