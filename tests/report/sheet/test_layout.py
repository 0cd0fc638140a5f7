"""A sheet is divided so that the water fits, and is as large as can be."""

from itertools import product

import pytest

from toolbox.errors import ParameterError
from toolbox.report.sheet.blocks import Block
from toolbox.report.sheet.layout import Layout, lay_out
from toolbox.report.sheet.paper import MM
from toolbox.report.sheet.view import MARGIN, View


def blocks(width: float, size: float) -> list[Block]:
    """Make seven blocks of 150 words each, which need an area, and can use half as much again."""
    high = 20_000 * (size / 6) ** 2 / width
    return [Block(str(n), high, 1.5 * high, lambda pen, box: None) for n in range(7)]


def divided(across: float, up: float, **how: object) -> tuple[Layout, View]:
    options = {"paper": "A4", "landscape": None, "scale": None} | how
    return lay_out((1000, 2000, 1000 + across, 2000 + up), 1.0, blocks, **options)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("across", "up"), list(product((50.0, 400.0, 3000.0), (60.0, 700.0, 9000.0)))
)
@pytest.mark.parametrize("paper", ["A4", "A2", "Tabloid"])
def test_water_and_its_margin_lie_in_the_frame(across: float, up: float, paper: str) -> None:
    layout, view = divided(across, up, paper=paper)
    west, south, east, north = view.bounds
    margin = view.on_ground(MARGIN) - 1e-6
    assert west <= 1000 - margin
    assert south <= 2000 - margin
    assert east >= 1000 + across + margin
    assert north >= 2000 + up + margin
    assert layout.frame == view.box


@pytest.mark.parametrize("scale", [None, 20_000.0])
def test_frame_and_blocks_keep_apart_and_on_the_page(scale: float | None) -> None:
    layout, _ = divided(900, 500, scale=scale)
    frame, panel = layout.frame, layout.panel
    assert panel.left > frame.right or panel.top < frame.bottom
    assert min(frame.left, frame.bottom, panel.left, panel.bottom) >= 8 * MM - 1e-6
    assert max(frame.right, panel.right) <= layout.size[0] - 8 * MM + 1e-6
    assert max(frame.top, panel.top) <= layout.size[1] - 8 * MM + 1e-6


def test_a_tall_water_has_its_blocks_beside_it() -> None:
    layout, _ = divided(100, 3000)
    assert layout.beside
    assert not layout.landscape


def test_either_way_is_no_larger_than_the_better_one() -> None:
    _, free = divided(900, 500)
    ways = [divided(900, 500, landscape=way)[1].scale for way in (True, False)]
    assert free.scale == min(ways)


def test_too_much_to_say_for_the_paper_is_refused() -> None:
    def many(width: float, size: float) -> list[Block]:
        return 9 * blocks(width, size)

    with pytest.raises(ParameterError, match=r"^paper must be larger for this sheet, got 'A4'$"):
        lay_out((0, 0, 10, 10), 1.0, many, paper="A4", landscape=None, scale=None)
