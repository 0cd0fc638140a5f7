"""Thinning of files is thinning in memory, to the bit; and obeys memory, disk and signals."""

import os
import re
import shutil
import signal
import subprocess
import sys
from collections import namedtuple
from pathlib import Path

import geopandas
import numpy as np
import pandas as pd
import psutil
import pytest
import shapely
from pyproj import CRS

from toolbox.blocks import thin_file
from toolbox.blocks.reduced import Heights
from toolbox.blocks.thin_file import Share, thin_files
from toolbox.errors import InputFileError, OutputError, ParameterError
from toolbox.formats.point_chunks import Choices
from toolbox.formats.soundings_file import read_soundings
from toolbox.layers import Soundings
from toolbox.reduction.thinning import By, thin

UTM = CRS.from_epsg(32633)
WAYS: list[By] = ["mean", "median", "shoalest", "deepest"]
PLAIN = Choices(crs="EPSG:32633")
COLUMNS = ("depth", "line", "source", "sd", "sd_xy", "sd_shared", "count", "lines", "cell")


@pytest.fixture
def pieces(monkeypatch: pytest.MonkeyPatch) -> None:
    """Make all pieces so small that there are many."""
    monkeypatch.setattr(thin_file, "_MOST_READ", 700)
    monkeypatch.setattr(thin_file, "_MOST_GATHERED", 1_100)
    monkeypatch.setattr(thin_file, "_MOST_THINNED", 800)


def invented(seed: int, count: int = 5_000, wide: float = 30.0) -> pd.DataFrame:
    """Soundings of several lines, some thinned before, on a lattice so that many agree."""
    rng = np.random.default_rng(seed)
    before = rng.random(count) < 0.2
    return pd.DataFrame(
        {
            "easting": 500_000 + np.round(rng.uniform(-wide, wide, count), 1),
            "northing": 5_200_000 + np.round(rng.uniform(-wide, wide, count), 1),
            "depth": np.round(rng.uniform(1, 9, count), 2),
            "line": rng.choice(["7", "12", "tie"], count),
            "source": rng.choice(["track", "point"], count),
            "sd": rng.choice([0.1, 0.2, 0.31], count),
            "sd_xy": rng.choice([0.5, 1.0], count),
            "sd_shared": rng.choice([0.05, np.nan], count),
            "count": np.where(before, rng.integers(1, 9, count), np.nan),
            "cell": np.where(before, 0.5, np.nan),
        }
    )


def in_memory(table: pd.DataFrame) -> Soundings:
    place = table[["easting", "northing"]].to_numpy(float)
    others = table.drop(columns=["easting", "northing", "depth"])
    columns = {name: others[name].to_numpy() for name in others}
    return Soundings.from_arrays(place, table["depth"].to_numpy(float), crs=UTM, **columns)


def assert_same(written: Path, expected: geopandas.GeoDataFrame) -> None:
    """Compare rows, order and bits."""
    found = (
        geopandas.read_parquet(written)
        if written.suffix == ".parquet"
        else geopandas.read_file(written)
    )
    assert found.crs == expected.crs
    assert len(found) == len(expected)
    expected = expected.assign(sd_shared=expected.get("sd_shared", np.nan))
    for name in COLUMNS:
        one, other = found[name].to_numpy(), expected[name].to_numpy()
        if name not in ("line", "source"):
            # equal bits where there is a number, and none where there is none
            one, other = np.asarray(one, float), np.asarray(other, float)
        np.testing.assert_array_equal(one, other, err_msg=name)
    places = [shapely.get_coordinates(frame.geometry.to_numpy()) for frame in (found, expected)]
    np.testing.assert_array_equal(*places)


@pytest.mark.usefixtures("pieces")
@pytest.mark.parametrize("by", WAYS)
@pytest.mark.parametrize("cell", [1.0, 2.5, 20.0])
def test_same_as_in_memory(tmp_path: Path, by: By, cell: float) -> None:
    table = invented(11)
    table.to_parquet(tmp_path / "in.parquet")
    account = thin_files(
        [tmp_path / "in.parquet"], tmp_path / "out.parquet", cell=cell, by=by, choices=PLAIN
    )
    expected = thin(in_memory(table), cell=cell, by=by)
    assert_same(tmp_path / "out.parquet", expected.frame)
    assert (account.read, account.thinned, account.cells) == (5_000, 5_000, len(expected))
    assert account.refused == {}
    assert account.disk == 5_000 * 8 * 10


@pytest.mark.usefixtures("pieces")
def test_several_files_in_several_formats_are_one_layer(tmp_path: Path) -> None:
    first, second = invented(1, 2_000), invented(2, 1_500)
    first.to_csv(tmp_path / "a.csv", index=False)
    points = geopandas.points_from_xy(second["easting"], second["northing"], crs=UTM)
    rest = second.drop(columns=["easting", "northing"])
    geopandas.GeoDataFrame(rest, geometry=points).to_parquet(tmp_path / "b.parquet")
    account = thin_files(
        [tmp_path / "a.csv", tmp_path / "b.parquet"],
        tmp_path / "out.gpkg",
        cell=2.0,
        choices=PLAIN,
    )
    both = pd.concat([first, second], ignore_index=True)
    assert_same(tmp_path / "out.gpkg", thin(in_memory(both), cell=2.0).frame)
    assert account.notes == (f"3500 points of 3500 thinned to {account.cells} soundings",)


@pytest.mark.usefixtures("pieces")
def test_degrees_are_projected_as_the_reader_of_soundings_does(tmp_path: Path) -> None:
    table = invented(3, 1_000)[["easting", "northing", "depth"]]
    points = geopandas.points_from_xy(table["easting"], table["northing"], crs=UTM).to_crs(4326)
    degrees = pd.DataFrame({"longitude": points.x, "latitude": points.y, "depth": table["depth"]})
    degrees.to_csv(tmp_path / "in.csv", index=False)
    thin_files([tmp_path / "in.csv"], tmp_path / "out.parquet", cell=2.0)
    expected = thin(read_soundings(tmp_path / "in.csv"), cell=2.0)
    assert_same(tmp_path / "out.parquet", expected.frame)


def test_elevations_and_feet(tmp_path: Path) -> None:
    text = "easting northing z\n500000.5 5200000.5 690\n500009.5 5200000.5 680\n"
    (tmp_path / "in.xyz").write_text(text)
    thin_files(
        [tmp_path / "in.xyz"],
        tmp_path / "out.parquet",
        cell=1.0,
        heights=Heights("elevation", 213.36, "ft"),
        choices=PLAIN,
    )
    depth = geopandas.read_parquet(tmp_path / "out.parquet")["depth"]
    # 213.36 m is 700 ft of 0.3048 m exactly: depths of 10 and 20 ft (derived)
    np.testing.assert_allclose(depth, [3.048, 6.096], atol=1e-12)


def test_left_out_is_counted_by_reason(tmp_path: Path) -> None:
    text = (
        "x,y,depth,flag,reason\n"
        "500001,5200001,2,False,\n500002,5200001,,False,\n,5200001,4,False,\n"
        "500003,5200001,50,True,spike\n500004,5200001,3,True,\n500900,5200001,3,False,\n"
    )
    (tmp_path / "in.csv").write_text(text)
    square = shapely.box(500_000, 5_200_000, 500_100, 5_200_100)
    geopandas.GeoDataFrame(geometry=[square], crs=UTM).to_file(tmp_path / "shore.gpkg")
    account = thin_files(
        [tmp_path / "in.csv"],
        tmp_path / "out.gpkg",
        cell=1.0,
        choices=Choices(crs="EPSG:32633"),
        shoreline=tmp_path / "shore.gpkg",
    )
    assert account.refused == {
        "spike": 1,
        "flagged in the file": 1,
        "no position": 1,
        "no depth": 1,
        "outside the shoreline": 1,
    }
    assert account.read == 6 == account.thinned + sum(account.refused.values())
    assert account.notes[0] == "1 point of 6 thinned to 1 sounding"
    assert "left out: 1 point: spike" in account.notes


def _one(path: Path, depth: str = "2.5", name: str = "depth") -> Path:
    path.write_text(f"x y {name}\n500001 5200001 {depth}\n")
    return path


@pytest.mark.parametrize(
    ("name", "heights", "message"),
    [
        ("z", Heights(), r"in\.xyz does not say what its third coordinate is: give z as 'depth' "),
        ("elevation", Heights(), r"in\.xyz: elevations need the datum's elevation: give datum, m"),
        ("z", Heights("elevation"), r"in\.xyz: elevations need the datum's elevation"),
    ],
)
def test_no_guess_at_the_third_coordinate(
    tmp_path: Path, name: str, heights: Heights, message: str
) -> None:
    path = _one(tmp_path / "in.xyz", name=name)
    with pytest.raises(ParameterError, match=message):
        thin_files([path], tmp_path / "out.gpkg", cell=1.0, heights=heights, choices=PLAIN)


def test_most_depths_above_the_water(tmp_path: Path) -> None:
    path = _one(tmp_path / "in.xyz", "-3")
    with pytest.raises(InputFileError, match="most depths are negative; if they grow upwards"):
        thin_files([path], tmp_path / "out.gpkg", cell=1.0, choices=PLAIN)
    assert sorted(file.name for file in tmp_path.iterdir()) == ["in.xyz"]


def test_nothing_kept(tmp_path: Path) -> None:
    path = _one(tmp_path / "in.xyz", "-")
    with pytest.raises(InputFileError, match="holds no point that is kept: 1 no depth"):
        thin_files([path], tmp_path / "out.gpkg", cell=1.0, choices=PLAIN)


@pytest.mark.parametrize(
    ("options", "message"),
    [
        ({"cell": 0.0}, "cell must be > 0 m, got 0.0"),
        ({"by": "least"}, "by must be one of 'mean', 'median', 'shoalest', 'deepest', got 'least'"),
        ({"memory": "lots"}, "memory must be an amount such as '2 GiB' or '800 MB', got 'lots'"),
        ({"memory": "50 MB"}, r"memory must be \d+ MiB or more, got 48 MiB"),
    ],
)
def test_bad_options(tmp_path: Path, options: dict[str, object], message: str) -> None:
    path, given = _one(tmp_path / "in.xyz"), {"cell": 1.0, "choices": PLAIN} | options
    with pytest.raises(ParameterError, match=message):
        thin_files([path], tmp_path / "out.gpkg", **given)  # type: ignore[arg-type]


def test_no_files_and_no_format(tmp_path: Path) -> None:
    with pytest.raises(ParameterError, match="paths must name one file or more, got none"):
        thin_files([], tmp_path / "out.gpkg", cell=1.0)
    with pytest.raises(ParameterError, match=r"written as .parquet, .geoparquet, .gpkg, got 'o.c'"):
        thin_files([tmp_path / "in.xyz"], tmp_path / "o.c", cell=1.0)


def test_disk_is_asked_before_anything_is_read(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    usage = namedtuple("usage", "free")
    monkeypatch.setattr(shutil, "disk_usage", lambda _: usage(200_000))
    invented(1, 3_000).to_parquet(tmp_path / "in.parquet")
    told: list[str] = []
    with pytest.raises(OutputError, match="are free: give another folder as temporary"):
        thin_files(
            [tmp_path / "in.parquet"],
            tmp_path / "out.gpkg",
            cell=1.0,
            choices=Choices(crs="EPSG:32633"),
            tell=told.append,
        )
    monkeypatch.setattr(shutil, "disk_usage", lambda _: usage(2**31))
    thin_files(
        [tmp_path / "in.parquet"], tmp_path / "o.gpkg", cell=1.0, choices=PLAIN, tell=told.append
    )
    size = 3_000 * 10 * 8 / 2**30
    assert told == [f"the temporary file in {tmp_path} takes about {size:.3g} GiB; 2 GiB are free"]


@pytest.mark.usefixtures("pieces")
def test_watched_to_the_end_of_each_stage(tmp_path: Path) -> None:
    invented(4, 2_000).to_parquet(tmp_path / "in.parquet")
    seen: list[tuple[str, int, int]] = []
    thin_files(
        [tmp_path / "in.parquet"],
        tmp_path / "out.parquet",
        cell=1.0,
        choices=PLAIN,
        watch=lambda *step: seen.append(step),
    )
    assert [step for step in seen if step[1] == step[2]] == [
        ("reading", 2_000, 2_000),
        ("thinning", 2_000, 2_000),
    ]
    assert len(seen) == 6


def test_shares_of_memory() -> None:
    used = psutil.Process().memory_info().rss
    small, large = Share.of(used + 2**29, 3), Share.of(used + 40 * 2**30, 3)
    assert small.gathered < large.gathered == 8_000_000
    assert small.row_bytes == 24
    with pytest.raises(ParameterError, match="MiB or more, got 10 MiB"):
        Share.of(10 * 2**20, 3)


ALONE = """
import sys
from pathlib import Path
from toolbox.blocks.thin_file import thin_files
from toolbox.formats.point_chunks import Choices
thin_files([Path(sys.argv[1])], Path(sys.argv[2]), cell=1.0, memory=sys.argv[3],
           choices=Choices(crs="EPSG:32633"), watch=lambda *step: print(*step, flush=True))
print(Path("/proc/self/status").read_text().split("VmHWM:")[1].split()[0])
"""


@pytest.mark.skipif(sys.platform != "linux", reason="Linux tells the peak in /proc")
def test_peak_of_the_whole_process_stays_below_the_memory_allowed(tmp_path: Path) -> None:
    table = invented(8, 320_000, wide=150.0)[["easting", "northing", "depth", "sd"]]
    table.to_parquet(tmp_path / "in.parquet")
    arguments = [str(tmp_path / "in.parquet"), str(tmp_path / "out.parquet"), "290 MiB"]
    ran = subprocess.run(
        [sys.executable, "-c", ALONE, *arguments], capture_output=True, text=True, check=True
    )
    peak = int(ran.stdout.split()[-1])
    assert peak < 290 * 1024
    expected = thin(in_memory(table), cell=1.0)
    assert_same(tmp_path / "out.parquet", expected.frame)


@pytest.mark.skipif(os.name != "posix", reason="signals of POSIX")
def test_killed_by_force_no_temporary_points_stay(tmp_path: Path) -> None:
    invented(8, 60_000, wide=200.0).to_parquet(tmp_path / "in.parquet")
    arguments = [str(tmp_path / "in.parquet"), str(tmp_path / "out.parquet"), "2 GiB"]
    process = subprocess.Popen(
        [sys.executable, "-c", ALONE, *arguments], stdout=subprocess.PIPE, text=True
    )
    assert process.stdout is not None
    with process.stdout as told:
        assert re.match("reading", told.readline())
        process.send_signal(signal.SIGKILL)
        process.wait()
    files = [path for path in tmp_path.rglob("*") if path.is_file() and path.name != "in.parquet"]
    assert not (tmp_path / "out.parquet").exists()
    assert (
        sum(path.stat().st_size for path in files) < 1_000
    )  # at most the head of an output that was never moved into its place


@pytest.mark.parametrize("suffix", [".parquet", ".gpkg"])
def test_soundings_without_a_line_stay_without(tmp_path: Path, suffix: str) -> None:
    table = invented(5, 200, 900.0)
    table["line"] = table["line"].where(table["line"] != "tie")
    table["source"] = table["source"].where(table["source"] != "point")
    points = geopandas.points_from_xy(table.pop("easting"), table.pop("northing"))
    frame = geopandas.GeoDataFrame(table, geometry=points, crs=UTM)
    frame.to_parquet(tmp_path / "a.parquet")
    (frame.to_parquet if suffix == ".parquet" else frame.to_file)(tmp_path / f"b{suffix}")
    whole = thin(read_soundings(tmp_path / f"b{suffix}"), cell=0.01).frame
    assert sorted(whole["line"].unique()) == ["", "12", "7"]
    assert (whole["line"] == "").sum() == frame["line"].isna().sum()
    assert (whole["source"] == "point").sum() == frame["source"].isna().sum()
    thin_files([tmp_path / "a.parquet"], tmp_path / "out.parquet", cell=0.01)
    found = geopandas.read_parquet(tmp_path / "out.parquet")
    for name in ("line", "source", "depth"):
        assert found[name].tolist() == whole[name].tolist()
