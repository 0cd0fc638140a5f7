"""Tables give their columns as numbers or say why not."""

import numpy as np
import pandas as pd
import pytest

from toolbox.errors import LayerError
from toolbox.layers import Table


def test_columns_come_as_floats() -> None:
    table = Table(pd.DataFrame({"depth_m": [0, 1, 2], "area_m2": ["3", "2", "1.5"]}))
    assert table.column("depth_m").dtype == float
    np.testing.assert_array_equal(table.column("area_m2"), [3, 2, 1.5])


def test_a_column_that_is_not_there_is_refused() -> None:
    table = Table(pd.DataFrame({"depth_m": [0.0]}))
    message = r"^the table has no column 'area_m2', only \['depth_m'\]$"
    with pytest.raises(LayerError, match=message):
        table.column("area_m2")


def test_a_column_of_words_is_refused() -> None:
    table = Table(pd.DataFrame({"area_m2": ["wide", "narrow"]}))
    with pytest.raises(LayerError, match=r"^column 'area_m2' must hold numbers: .*'wide'"):
        table.column("area_m2")


def test_a_table_with_a_name_is_named() -> None:
    table = Table(pd.DataFrame({"depth_m": [1.0]}), "gauge_2026")
    with pytest.raises(LayerError, match=r"only \['depth_m'\] \(table 'gauge_2026'\)$"):
        table.column("level_m")
