"""The fewest rows are dropped without which a table does not contradict itself."""

from dataclasses import replace

import numpy as np

from toolbox.volume.consistency import Rows, chain


def rows(count: int = 12) -> Rows:
    """Make a paraboloid of 1000 m2 and 10 m, exact to the printed digit."""
    z = np.linspace(0, 10, count)
    area, below = 1000 * (1 - z / 10), 5000 * (1 - z / 10) ** 2
    return Rows(np.arange(count) + 1, z, area, below, 1e-6, 1e-6, 0.0)


def changed(field: str, row: int, value: float) -> Rows:
    values = getattr(rows(), field).copy()
    values[row] = value
    return replace(rows(), **{field: values})


def test_misfit_is_nothing_for_the_trapezoid_and_one_at_the_bounds() -> None:
    # derived: a layer of height h holds h B to h A
    upper, lower = np.array([3]), np.array([4])
    assert rows().misfit(upper, lower)[0] < 1e-12
    whole = rows()
    most = (whole.depth[4] - whole.depth[3]) * whole.area[3]
    full = changed("below", 3, whole.below[4] + most)
    assert abs(full.misfit(upper, lower)[0] - 1) < 1e-6
    over = changed("below", 3, whole.below[4] + most * 1.001)
    assert np.isinf(over.misfit(upper, lower)[0])
    loose = replace(over, tolerance=0.01)
    assert loose.misfit(upper, lower)[0] < 1
    assert np.isinf(rows().misfit(lower, upper)[0])  # upward


def test_a_good_table_keeps_all_its_rows() -> None:
    found = chain(rows())
    assert found.kept.tolist() == list(range(12))
    assert not len(found.broken)


def test_one_wrong_figure_costs_its_row() -> None:
    for field, value in (("area", 2000.0), ("area", 1.0), ("below", 4e3), ("below", 0.0)):
        found = chain(changed(field, 6, value))
        assert np.setdiff1d(np.arange(12), found.kept).tolist() == [6], (field, value)
        assert not len(found.broken)


def test_first_and_last_rows_can_be_wrong() -> None:
    for row, value in ((0, 1.0), (11, 900.0)):
        found = chain(changed("area", row, value))
        assert np.setdiff1d(np.arange(12), found.kept).tolist() == [row]


def test_a_wrong_layer_carried_on_blames_no_row() -> None:
    lifted = rows().below + np.where(np.arange(12) <= 5, 300.0, 0.0)
    found = chain(replace(rows(), below=lifted))
    assert found.kept.tolist() == list(range(12))
    assert found.broken.tolist() == [5]


def test_without_volumes_only_areas_count() -> None:
    bare = replace(changed("area", 6, 2000.0), below=np.full(12, np.nan))
    found = chain(bare)
    assert np.setdiff1d(np.arange(12), found.kept).tolist() == [6]
    assert not len(found.broken)


def test_units_may_be_of_each_row() -> None:
    # derived: two figures of half a unit each may differ by the mean of their units
    each = np.where(np.arange(12) == 3, 50.0, 1e-6)
    wrong = replace(changed("area", 3, rows().area[2] + 20), below=np.full(12, np.nan))
    upper, lower = np.array([2]), np.array([3])
    assert np.isinf(wrong.misfit(upper, lower)[0])
    assert np.isfinite(replace(wrong, area_unit=each).misfit(upper, lower)[0])
    assert np.isinf(replace(wrong, area_unit=each / 2).misfit(upper, lower)[0])
    assert replace(wrong, area_unit=each).units_of(3) == (50.0, 1e-6)
    assert rows().units_of(3) == (1e-6, 1e-6)


def test_rounded_depths_allow_a_layer_more() -> None:
    # derived: a depth that may be off by a unit holds that much of the upper area
    upper, lower = np.array([3]), np.array([4])
    whole = rows()
    most = (whole.depth[4] - whole.depth[3] + 0.01) * whole.area[3]
    over = changed("below", 3, whole.below[4] + most)
    assert np.isinf(over.misfit(upper, lower)[0])
    assert np.isfinite(replace(over, depth_unit=0.0101).misfit(upper, lower)[0])
