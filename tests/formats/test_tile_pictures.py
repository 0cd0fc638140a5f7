"""Tiles show the colours they are told, whoever reads them, and ink as it lies on the bed."""

from io import BytesIO

import numpy as np
from PIL import Image

from toolbox.formats.tile_pictures import tile_png

GREY = np.repeat(np.arange(256, dtype=np.uint8)[:, None], 3, axis=1)
TABLE = np.vstack(
    [np.column_stack([GREY, np.full(256, 255, np.uint8)]), np.zeros((1, 4), np.uint8)]
)
BARE = 256
DARK, LIGHT = np.array([0x22, 0x30, 0x3A]), np.array([255, 255, 255])


def read(content: bytes) -> tuple[str, np.ndarray]:
    """Read by Pillow, which knows nothing of this project."""
    with Image.open(BytesIO(content)) as picture:
        picture.verify()
    with Image.open(BytesIO(content)) as picture:
        return picture.mode, np.asarray(picture.convert("RGBA"))


def no_ink(shape: tuple[int, int] = (256, 256)) -> np.ndarray:
    return np.zeros((*shape, 3), np.uint8)


def test_the_bed_keeps_each_colour() -> None:
    some = np.random.default_rng(2).integers(0, 200, (256, 256)).astype(np.uint16)
    some[:40] = BARE
    mode, picture = read(tile_png(some, no_ink(), TABLE))
    assert mode == "P"
    assert (picture == TABLE[some]).all()


def test_more_colours_than_a_palette_holds_are_kept_too() -> None:
    every = np.tile(np.arange(257, dtype=np.uint16), 256)[: 256 * 256].reshape(256, 256)
    mode, picture = read(tile_png(every, no_ink(), TABLE))
    assert mode == "RGBA"
    assert (picture == TABLE[every]).all()


def test_ink_is_laid_over_the_bed() -> None:
    steps = np.full((256, 256), 100, np.uint16)
    ink = no_ink()
    for cover in range(256):
        ink[cover, :100, 0] = cover
        ink[cover, 100:200, 1] = cover
    _, picture = read(tile_png(steps, ink, TABLE))
    share = np.arange(256)[:, None] / 255
    for cols, colour in ((slice(0, 100), DARK), (slice(100, 200), LIGHT)):
        wanted = share * colour + (1 - share) * 100  # one over the other (Porter and Duff, 1984)
        off = np.abs(picture[:, cols, :3].astype(float) - wanted[:, None])
        # half of 15 steps of ink, and half of 8 colours of the bed
        assert off.max() <= 155 / 30 + 4.5
    assert (picture[:, 200:] == (100, 100, 100, 255)).all()
    assert (picture[..., 3] == 255).all()


def test_ink_on_land_is_no_more_opaque_than_it_covers() -> None:
    ink = no_ink()
    ink[:, :, 0] = np.arange(256)
    _, picture = read(tile_png(np.full((256, 256), BARE, np.uint16), ink, TABLE))
    assert np.abs(picture[..., 3].astype(int) - np.arange(256)).max() <= 9  # half of 15 steps
    assert (picture[picture[..., 3] > 0, :3] == DARK).all()


def test_a_rim_has_the_colour_of_its_depth_also_on_land() -> None:
    ink = no_ink()
    ink[:128, :, 2] = 255
    ink[128:200, :, 2] = 1
    for below in (BARE, 30):
        _, picture = read(tile_png(np.full((256, 256), below, np.uint16), ink, TABLE))
        assert (picture[:128] == TABLE[255]).all()
        assert (picture[128:200] == TABLE[1]).all()
        assert (picture[200:] == TABLE[below]).all()


def test_a_crowd_of_colours_below_ink_still_fits_a_palette() -> None:
    random = np.random.default_rng(4)
    steps = random.integers(0, 150, (256, 256)).astype(np.uint16)
    ink = no_ink()
    ink[100:110, :, 0] = random.integers(0, 256, (10, 256))
    mode, picture = read(tile_png(steps, ink, TABLE))
    assert mode == "P"
    assert (picture[:100] == TABLE[steps[:100]]).all()
    share = ink[100:110, :, :1] / 255
    wanted = share * DARK + (1 - share) * steps[100:110, :, None]
    # half of 5 steps of ink on at most 150 - 34 levels, and half of 24 colours
    assert np.abs(picture[100:110, :, :3] - wanted).max() <= 116 / 10 + 12.5


def test_a_level_tile_is_small() -> None:
    assert len(tile_png(np.full((256, 256), 7, np.uint16), no_ink(), TABLE)) < 300
