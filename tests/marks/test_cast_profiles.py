"""Cast profiles: the bed from peg to mark, closed forms of a plane."""

import geopandas
import numpy as np
import pyproj
import pytest
import shapely

from toolbox.errors import LayerError
from toolbox.layers import Tin, Vectors
from toolbox.layers.geodesy import travel
from toolbox.marks.cast_profiles import cast_profile

UTM = pyproj.CRS(32633)
AT = np.array([760_000.0, 5_300_000.0])


def plane(crs: pyproj.CRS | None = None) -> Tin:
    """Make 100 x 60 m that deepen by 1 m in 10 northwards from a southern bank."""
    corners = np.array([[0, 0], [100, 0], [100, 60], [0, 60]], float)
    at = AT if crs is not None else np.zeros(2)
    return Tin(
        corners + at, corners[:, 1] / 10, np.array([[0, 1, 2], [0, 2, 3]]), np.full(4, 2), crs
    )


def marks(crs: pyproj.CRS | None = None) -> Vectors:
    at = AT if crs is not None else np.zeros(2)
    start = np.array([[50.0, -2.0], [10.0, -1.0]]) + at
    distance = np.array([40.0, 25.0])
    end = travel(start, np.array([0.0, 40.0]), distance, crs)
    columns = {
        "mark": [1, 2],
        "peg": ["A", "=B"],
        "distance_m": distance,
        "peg_easting_m": start[:, 0],
        "peg_northing_m": start[:, 1],
    }
    frame = geopandas.GeoDataFrame(columns, geometry=shapely.points(end), crs=crs)
    return Vectors(frame, "marks")


@pytest.mark.parametrize("step", [None, 1.5])
def test_depth_grows_with_distance_from_the_bank(step: float | None) -> None:
    frame = cast_profile(plane(), marks(), step=step).frame
    own = frame[frame["mark"] == 1]
    wet = own["distance_m"] >= 2
    # derived: 2 m of bank, then 1 m in 10
    np.testing.assert_allclose(own["depth_m"][wet], (own["distance_m"][wet] - 2) / 10, atol=1e-9)
    assert own["depth_m"][~wet].isna().all()
    assert own["distance_m"].iloc[[0, -1]].tolist() == pytest.approx([0, 40])
    other = frame[frame["mark"] == 2]
    assert set(other["peg"]) == {"=B"}
    last = other.iloc[-1]
    assert last["depth_m"] == pytest.approx((25 * np.cos(np.radians(40)) - 1) / 10)
    along = np.degrees(np.arctan(np.cos(np.radians(40)) / 10))
    assert last["slope_along_deg"] == pytest.approx(along)


def test_profiles_end_at_the_distance_of_the_mark_on_the_ellipsoid() -> None:
    frame = cast_profile(plane(UTM), marks(UTM)).frame
    ends = frame.groupby("mark")["distance_m"].max()
    np.testing.assert_allclose(ends, [40, 25], atol=1e-3)


def test_a_profile_goes_on_behind_the_mark_and_tells_of_plants() -> None:
    plants = Vectors(
        geopandas.GeoDataFrame({"height_m": [0.5]}, geometry=[shapely.box(0, 10, 100, 20)]), "beds"
    )
    frame = cast_profile(plane(), marks(), plants, beyond=10.0).frame
    own = frame[frame["mark"] == 1]
    assert own["distance_m"].iloc[-1] == pytest.approx(50)
    over = own[own["plants"] == 1]
    assert over["distance_m"].iloc[[0, -1]].tolist() == pytest.approx([12, 22])
    np.testing.assert_allclose(over["canopy_m"], over["depth_m"] - 0.5, atol=1e-9)


def test_text_for_numbers_is_refused() -> None:
    for name in ("distance_m", "peg_easting_m"):
        frame = marks().frame.assign(**{name: "far"})
        with pytest.raises(LayerError, match=rf"^column '{name}' must hold numbers: .* 'far'$"):
            cast_profile(plane(), Vectors(frame, "marks"))


def test_marks_that_were_moved_or_are_none() -> None:
    with pytest.raises(LayerError, match=r"mark [12]: its peg must lie at its distance_m, is"):
        cast_profile(plane(pyproj.CRS(32632)), marks(UTM).to_crs(pyproj.CRS(32632)))
    with pytest.raises(LayerError, match="marks must be in the CRS of the bed"):
        cast_profile(plane(), marks(UTM))
    lacking = Vectors(marks().frame.drop(columns="peg"), "marks")
    with pytest.raises(LayerError, match=r"marks from pegs need columns \['peg'\], got"):
        cast_profile(plane(), lacking)
    lines = Vectors(marks().frame.set_geometry(marks().frame.buffer(1)), "marks")
    with pytest.raises(LayerError, match="marks must be points, got Polygon"):
        cast_profile(plane(), lines)
    none = Vectors(marks().frame.iloc[:0], "marks")
    with pytest.raises(LayerError, match="marks must hold at least one mark, got none"):
        cast_profile(plane(), none)
