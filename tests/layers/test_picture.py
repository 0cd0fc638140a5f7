"""A picture keeps its size on paper and how it is drawn."""

from typing import Any

import numpy as np
import pytest

from toolbox.errors import LayerError
from toolbox.layers import Picture


def test_it_is_drawn_by_what_it_was_given() -> None:
    seen: list[Any] = []
    picture = Picture(seen.append, 170.0, 95.0)
    assert (picture.width, picture.height, picture.dpi, picture.title) == (170, 95, 300, "")
    picture.draw("a figure")
    assert seen == ["a figure"]


@pytest.mark.parametrize("name", ["width", "height", "dpi"])
@pytest.mark.parametrize("value", [0, -1, np.nan, np.inf])
def test_measures_must_be_positive(name: str, value: float) -> None:
    size: dict[str, Any] = {"width": 10.0, "height": 10.0, "dpi": 72} | {name: value}
    with pytest.raises(LayerError, match=rf"^{name} of a picture must be positive, got {value!r}$"):
        Picture(print, **size)
