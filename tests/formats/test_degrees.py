"""Longitude and latitude as people write them."""

from pathlib import Path

import numpy as np
import pytest

from toolbox.errors import InputFileError
from toolbox.formats.degrees import degrees
from toolbox.formats.delimited import read_delimited


def read(folder: Path, *rows: str) -> tuple[np.ndarray, tuple[str, ...]]:
    path = folder / "places.csv"
    path.write_text("\n".join(["lon;lat;depth", *rows]), encoding="utf-8")
    return degrees(read_delimited(path, delimiter=";"), ("lon", "lat"), path)


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("21° 36.9568' E", 21 + 36.9568 / 60),  # derived: 60 minutes to a degree
        ("21°36'57.408\" E", 21 + 36.9568 / 60),
        ("E 21 36,9568", 21 + 36.9568 / 60),
        ("021º36\u203257.408\u2033E", 21 + 36.9568 / 60),
        ("W 93°24'", -93.4),
        ("-93 24 0", -93.4),
        ("93.4 w", -93.4),
        ("-93.4", -93.4),
    ],
)
def test_degrees_minutes_and_seconds(tmp_path: Path, text: str, expected: float) -> None:
    place, notes = read(tmp_path, f"{text};53° 48.5' N;1", "5;6;1")
    np.testing.assert_allclose(place, [[expected, 53 + 48.5 / 60], [5, 6]], rtol=1e-12)
    assert notes == ()


def test_southern_latitudes_are_negative_and_empty_cells_unknown(tmp_path: Path) -> None:
    place, _ = read(tmp_path, "21 30 E;33°30'S;1", ";;2")
    np.testing.assert_array_equal(place, [[21.5, -33.5], [np.nan, np.nan]])


def test_letters_put_exchanged_cells_right(tmp_path: Path) -> None:
    place, notes = read(tmp_path, "21 30 E;53 30 N;1", "53 30 N;21 30 E;1")
    np.testing.assert_array_equal(place, [[21.5, 53.5], [21.5, 53.5]])
    assert notes == ("longitude and latitude of 1 place exchanged, as their letters say",)


@pytest.mark.parametrize(
    "text",
    ["21 60 E", "21.5 30 E", "E 21 30 E", "-21 30 W", "21 30 O", "here", "1 2 3 4", "2" * 50],
)
def test_what_is_no_angle_is_refused_with_its_line(tmp_path: Path, text: str) -> None:
    with pytest.raises(InputFileError, match=r"places.csv, line 3: column 'lon' must hold degrees"):
        read(tmp_path, "21 30 E;53 30 N;1", f"{text};53 30 N;1")


def test_a_latitude_among_the_longitudes_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InputFileError, match="line 2: column 'lon' must hold longitude of at most"):
        read(tmp_path, "53 30 N;53 30 N;1")


def test_more_than_a_right_angle_of_latitude_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InputFileError, match="line 2: column 'lat' must hold latitude of at most"):
        read(tmp_path, "21 30 E;93 30 N;1")
