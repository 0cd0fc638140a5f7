"""The plan in words: what is told is what the layer holds."""

import geopandas
import numpy as np
import pytest
import shapely

from toolbox.layers import Vectors
from toolbox.report.plan import plan_told


def plan(count: int = 3, **changes: object) -> Vectors:
    """Make a plan whose casts take a tenth from 0.5 m together."""
    order = np.arange(1, count + 1)
    drop = 0.05 * order / count
    columns: dict[str, object] = {
        "order": order,
        "peg": [("P4", "P2")[number % 2] for number in range(count)],
        "start_easting_m": 376_657.8 + order,
        "start_northing_m": 5_116_833.0,
        "bearing_deg": 70.0,
        "distance_m": 58.6,
        "mean_sd_m": 0.5 - drop,
        "mean_sd_drop_m": drop,
        "volume_sd_m3": 1000 - 4000 * drop,
        "volume_sd_drop_m3": 4000 * drop,
    }
    kept = {name: column for name, column in (columns | changes).items() if column is not None}
    shapes = [shapely.LineString([(0, 0), (1, 1)])] * count
    return Vectors(geopandas.GeoDataFrame(kept, geometry=shapes), "next_soundings")


def test_what_all_bring_comes_first_and_then_each_way() -> None:
    # derived: 0.05 of 0.5 m is 10 %, 200 of 1000 m3 20 %
    told = plan_told(plan())
    assert told[0] == (
        "3 casts would lower the mean standard deviation of the depth from 0.500 m to 0.450 m "
        "(10% less), and that of the volume by 20%"
    )
    assert " ".join(told[2].split()) == (
        "1 from peg P4 (376659 E 5116833 N), 70 degrees, 59 m, sd 0.483 m"
    )
    assert told[-2] == "peg by peg: P4 (1, 3), P2 (2)"
    assert "overhead lines" in told[-1]
    assert not any("peg by peg" in line for line in plan_told(plan(2)))  # once each


def test_lines_have_no_pegs() -> None:
    told = plan_told(plan(1, peg=None))
    assert told[0].startswith("1 line would lower")
    assert " ".join(told[2].split()).startswith("1 from 376659 E 5116833 N, 70 degrees")
    assert not any("peg" in line for line in told)


def test_a_long_plan_is_cut_and_says_so() -> None:
    told = plan_told(plan(40))
    assert sum(" degrees, " in line for line in told) == 30
    assert "and 10 more, in next_soundings.csv" in told


@pytest.mark.parametrize("name", ["P\n4", "P\x1b[31m4"])
def test_names_of_pegs_stay_on_their_line(name: str) -> None:
    for line in plan_told(plan(peg=name)):
        assert line.isprintable()


def test_a_very_long_name_of_a_peg_is_cut() -> None:
    names = ["the old oak " * 30 + end for end in ("A", "B", "A")]
    told = plan_told(plan(peg=names))
    assert all(len(line) < 240 for line in told)
    cut = "the old oak the old oak the old oak the\u2026"
    assert cut in told[2]
    assert told[-2] == f"peg by peg: {cut} (1, 3), {cut} (2)"
