"""Cast logs are read as people write them."""

from pathlib import Path

import numpy as np
import pandas as pd
import pyproj
import pytest

from toolbox.errors import InputFileError, ParameterError
from toolbox.formats.casts_file import read_casts
from toolbox.formats.times import TAKEN_AS_UTC

SAMPLE = Path(__file__).resolve().parents[2] / "sample_layers"
PEGS = "peg,easting,northing\nP1,376500,5117000\nP2,376600,5117000\nOak,376500,5117100\n"
PINGS = "cast,seconds,depth_ft,canopy_ft,note\n1,0,10,,splash\n1,1.5,,3,\n"


def write(folder: Path, casts: str, pings: str = PINGS, pegs: str = PEGS) -> dict[str, Path]:
    files = {"path": "casts.csv", "pings": "pings.csv", "pegs": "pegs.csv"}
    for name, text in zip(files.values(), (casts, pings, pegs), strict=True):
        (folder / name).write_text(text, encoding="utf-8")
    return {key: folder / name for key, name in files.items()}


def test_the_sample() -> None:
    log = read_casts(
        SAMPLE / "casts.csv",
        pings=SAMPLE / "pings.csv",
        pegs=SAMPLE / "pegs.csv",
        crs="EPSG:32625",
    )
    assert len(log.casts) == 24
    assert len(log.pings) == 3420
    assert int(log.casts["speed"].isna().sum()) == 4
    assert log.casts.loc[0, ["easting", "bearing", "line_out", "rod_tip"]].tolist() == [
        376584.2,
        154,
        54.5,
        2.0,
    ]
    assert str(log.casts["start"].iloc[0]) == "2026-05-13 09:30:00+00:00"


def test_magnetic_bearings_feet_and_missing_depths(tmp_path: Path) -> None:
    files = write(tmp_path, "cast,peg,bearing_magnetic,line_out_ft\n1,P1,358,100\n")
    log = read_casts(**files, crs="EPSG:32625", declination=-10.5)  # type: ignore[arg-type]
    assert log.casts["bearing"].tolist() == [347.5]
    assert log.casts["line_out"].tolist() == pytest.approx([30.48])
    assert log.pings["depth"].tolist() == pytest.approx([3.048, np.nan], nan_ok=True)
    assert log.pings["canopy"].tolist() == pytest.approx([np.nan, 0.9144], nan_ok=True)
    assert log.pings["note"].tolist() == ["splash", ""]


def test_starts_without_an_offset_are_told_or_read_by_a_zone(tmp_path: Path) -> None:
    text = "cast,peg,bearing,line_out_m,start_time\n1,P1,358,30,2026-07-01 14:00\n"
    files = write(tmp_path, text)
    told = read_casts(**files, crs="EPSG:32625")  # type: ignore[arg-type]
    assert told.notes[-1] == TAKEN_AS_UTC
    read = read_casts(**files, crs="EPSG:32625", timezone="Europe/Berlin")  # type: ignore[arg-type]
    assert TAKEN_AS_UTC not in read.notes
    # in July two hours ahead of UTC (IANA time zone database, from memory)
    assert read.casts["start"].tolist() == [pd.Timestamp("2026-07-01T12:00Z")]
    assert told.casts["start"].tolist() == [pd.Timestamp("2026-07-01T14:00Z")]


def test_towards_a_point_and_wraps(tmp_path: Path) -> None:
    files = write(tmp_path, "cast;peg;towards;wraps\n1;P2;Oak;12,5\n")
    log = read_casts(**files, crs="EPSG:32625", wrap=3.66)  # type: ignore[arg-type]
    to_degrees = pyproj.Transformer.from_crs(32625, 4326, always_xy=True)
    start, end = (to_degrees.transform(*p) for p in ((376600, 5117000), (376500, 5117100)))
    azimuth = pyproj.Geod(ellps="WGS84").inv(*start, *end)[0]
    assert log.casts["bearing"].tolist() == pytest.approx([azimuth % 360])
    assert log.casts["line_out"].tolist() == pytest.approx([45.75])


def test_rods_with_coordinates_of_their_own(tmp_path: Path) -> None:
    casts = "cast,longitude,latitude,bearing,line_out\n1,-34.6,46.2,90,40\n"
    files = write(tmp_path, casts)
    log = read_casts(files["path"], pings=files["pings"])
    assert log.crs == pyproj.CRS.from_epsg(32625)
    assert log.notes == ("longitude and latitude taken as WGS 84",)


@pytest.mark.parametrize(
    ("casts", "options", "message"),
    [
        ("cast,peg,bearing,line_out\n1,P9,0,40\n", {}, "no such peg 'P9', only Oak, P1, P2"),
        ("cast,peg,line_out\n1,P1,40\n", {}, "no column bearing, bearing_magnetic, or towards"),
        ("cast,peg,bearing,wraps\n1,P1,0,12\n", {}, "a log in wraps needs wrap"),
        ("cast,peg,bearing\n1,P1,0\n", {}, "plainly the line out, or wraps"),
        ("cast,peg,compass,line_out\n1,P1,0,40\n", {}, "magnetic bearings need declination"),
        ("cast,peg,bearing,line_out\n1,P1,north,40\n", {}, "line 2: column 'bearing' must hold"),
    ],
)
def test_refuses(tmp_path: Path, casts: str, options: dict[str, float], message: str) -> None:
    files = write(tmp_path, casts)
    with pytest.raises((InputFileError, ParameterError), match=message):
        read_casts(**files, crs="EPSG:32625", **options)  # type: ignore[arg-type]
