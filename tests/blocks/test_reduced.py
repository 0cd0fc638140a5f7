"""Points of many files on one plane, below one water level."""

from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import pytest
from pyproj import CRS, Transformer

from toolbox.blocks.reduced import Heights, Reduction, common_crs
from toolbox.errors import InputFileError, ParameterError
from toolbox.formats.point_chunks import Kind, PointChunk

UTM, DEGREES = CRS.from_epsg(32633), CRS.from_epsg(4326)
NAN = float("nan")


@dataclass
class Held:
    """Points held in memory in the place of a file."""

    place: np.ndarray
    height: np.ndarray
    crs: CRS = UTM
    others: dict[str, np.ndarray] = field(default_factory=dict)
    kind: Kind | None = "depth"
    unit: str | None = None
    refused: dict[str, int] = field(default_factory=dict)
    path: Path = Path("held.laz")

    @property
    def rows(self) -> int:
        return len(self.height)

    @property
    def columns(self) -> tuple[str, ...]:
        return tuple(self.others)

    def chunks(self, rows: int) -> Iterator[PointChunk]:
        for start in range(0, self.rows, rows):
            part = slice(start, start + rows)
            others = {name: values[part] for name, values in self.others.items()}
            yield PointChunk(self.place[part], self.height[part], others, self.refused)


def held(count: int = 5, **facts: object) -> Held:
    place = np.column_stack([500_000.0 + np.arange(count), 5_200_000.0 + np.arange(count)])
    return Held(place, np.arange(1.0, count + 1), **facts)  # type: ignore[arg-type]


def test_columns_that_one_file_lacks_are_empty() -> None:
    one = held(2, others={"sd": np.array([0.1, 0.2]), "line": np.array(["b", "a"], object)})
    other = held(2, others={"source": np.array(["track", "cast"], object)})
    reduction = Reduction.of([one, other], UTM, Heights())
    assert reduction.fields == ("sd", "line", "source")
    table = np.concatenate([rows for file in (one, other) for rows in reduction.rows(file, 1)])
    frame = reduction.soundings(table).frame
    np.testing.assert_array_equal(frame["sd"], [0.1, 0.2, NAN, NAN])
    assert frame["line"].tolist() == ["b", "a", "", ""]
    assert frame["source"].tolist() == ["point", "point", "track", "cast"]
    assert reduction.read == 4


def test_every_point_is_either_kept_or_counted() -> None:
    file = held(6, refused={"withheld": 2})
    file.height[1], file.place[2, 0], file.place[3] = NAN, NAN, NAN
    reduction = Reduction.of([file], UTM, Heights())
    kept = sum(len(rows) for rows in reduction.rows(file, 3))
    assert reduction.refused == {"withheld": 4, "no depth": 1, "no position": 2}
    assert reduction.read == kept + sum(reduction.refused.values()) == 10


def test_projected_like_the_projection_library_itself() -> None:
    file = held(crs=CRS.from_epsg(25832))
    reduction = Reduction.of([file], UTM, Heights())
    (rows,) = reduction.rows(file, 10)
    move = Transformer.from_crs(25832, 32633, always_xy=True)
    np.testing.assert_array_equal(rows[:, :2], np.column_stack(move.transform(*file.place.T)))


@pytest.mark.parametrize(
    ("heights", "facts", "depth"),
    [
        (Heights(), {"unit": "ft"}, 0.3048),
        (Heights(unit="fathom"), {"unit": "ft"}, 1.8288),
        (Heights(datum=100.0), {"kind": "elevation"}, 99.0),
        (Heights("elevation", 100.0), {"kind": "depth"}, 99.0),
        (Heights("depth"), {"kind": None}, 1.0),
        # of the US survey foot: 1200/3937 m
        (Heights("elevation", 10.0, "survey_foot"), {"kind": None}, 10 - 1200 / 3937),
    ],
)
def test_heights_become_depths(heights: Heights, facts: dict[str, object], depth: float) -> None:
    file = held(1, **facts)
    heights.check(file)
    assert heights.depth(file.height, file)[0] == pytest.approx(depth, abs=1e-12)


def test_depths_above_the_water() -> None:
    file = held()
    file.height *= -1
    reduction = Reduction.of([file], UTM, Heights())
    with pytest.raises(InputFileError, match=r"held\.laz: most depths are negative"):
        list(reduction.rows(file, 2))
    up = Reduction.of([file], UTM, Heights("elevation", 0.0))
    assert np.concatenate(list(up.rows(file, 2)))[:, 2].tolist() == [1, 2, 3, 4, 5]


def test_crs_of_the_first_or_one_that_suits_it() -> None:
    assert common_crs([held(), held(crs=DEGREES)], None, 2) == UTM
    assert common_crs([held(), held()], "EPSG:25833", 2).to_epsg() == 25833
    place = np.array([[14.9, 47.0], [NAN, NAN], [15.2, 47.1]])
    assert common_crs([Held(place, place[:, 0], crs=DEGREES)], None, 2) == UTM
    nowhere = Held(place[1:2], np.ones(1), crs=DEGREES)
    with pytest.raises(InputFileError, match=r"held\.laz holds no coordinates"):
        common_crs([nowhere], None, 2)


def test_what_is_not_said_is_asked_for() -> None:
    with pytest.raises(ParameterError, match=r"give z as 'depth' .* or 'elevation' .positive up"):
        Heights().check(held(kind=None))
    with pytest.raises(ParameterError, match="elevations need the datum's elevation: give datum"):
        Heights("elevation").check(held())
