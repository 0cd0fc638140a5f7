"""One bed by many methods: grids and rules come to the exact volume, zones conserve it."""

import numpy as np
import pytest
import zoo

from toolbox.bed.triangulation import triangulate
from toolbox.errors import LayerError
from toolbox.layers import Table, Tin
from toolbox.volume.hypsography import area_and_volume
from toolbox.volume.method_comparison import compare_methods


@pytest.fixture(scope="module")
def bed() -> Tin:
    lake = zoo.lakes(7)[2]  # with islands
    return triangulate(zoo.survey(lake, "points", seed=1), lake.shoreline)


@pytest.fixture(scope="module")
def compared(bed: Tin) -> Table:
    return compare_methods(bed, cells=(4.0, 8.0, 16.0), layers=(4, 40))


def test_the_first_row_is_the_bed(bed: Tin, compared: Table) -> None:
    area, volume = area_and_volume(bed, np.zeros(1))
    row = compared.frame.iloc[0]
    assert (row["method"], row["area_m2"], row["volume_m3"]) == ("bed", area[0], volume[0])
    assert compared.frame["method"].value_counts().to_dict() == {
        "bed": 1,
        "grid": 6,
        "rule": 6,
        "zones": 1,
    }


def test_fine_methods_are_near_and_zones_conserve(compared: Table) -> None:
    frame = compared.frame
    off = frame["volume_off_share"].abs()
    assert (off[(frame["method"] == "grid") & (frame["size"] == 4)] < 1e-3).all()
    fine = frame[(frame["method"] == "rule") & (frame["size"] == 40)].set_index("detail")
    assert (fine["volume_off_share"].abs() < 1e-3).all()
    assert fine["volume_off_share"]["frustum"] < fine["volume_off_share"]["trapezoid"]
    # derived: zones cover the water without gap or overlap, and each holds its own part
    zones = frame[frame["method"] == "zones"].iloc[0]
    assert abs(zones["area_off_share"]) < 1e-6
    assert abs(zones["volume_off_share"]) < 1e-6
    assert compared.notes[1] == "measured at depth 0 m"


def test_readings_part_where_a_level_cuts_the_bed(bed: Tin) -> None:
    level = float(bed.depth.max()) / 2
    frame = compare_methods(bed, cells=(8.0,), layers=(10,), depth=level).frame
    stepped, bilinear = frame["volume_m3"][1:3]
    assert stepped > bilinear  # derived: boxes keep what a sloping bed would cut off
    assert frame["volume_off_share"].abs().max() < 0.05
    zones = frame[frame["method"] == "zones"].iloc[0]
    assert abs(zones["volume_off_share"]) < 1e-6


def test_without_cells_those_of_the_default_are_tried_that_fit_the_water(bed: Tin) -> None:
    frame = compare_methods(bed, layers=(5,)).frame
    widths = frame[frame["method"] == "grid"]["size"].unique()
    np.testing.assert_allclose(widths, [5, 10, 20])  # 40 m is more than a tenth of its side
    assert 200 < float(bed.ground_areas().sum()) ** 0.5 < 400


def test_a_level_below_the_bed_is_refused(bed: Tin) -> None:
    with pytest.raises(LayerError, match=r"^there is no water below depth 500 m$"):
        compare_methods(bed, depth=500.0)
