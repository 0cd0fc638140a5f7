"""Packed numbers come out as they went in, by the rule written down for readers."""

import base64
import zlib
from typing import Any

import numpy as np
import pytest

from toolbox.errors import ParameterError
from toolbox.report.page.packing import packed, packed_bits, whole_steps


def unpacked(pack: dict[str, Any]) -> np.ndarray:
    """Read by the rule: bytes by weight, folded differences, rows and columns."""
    planes = np.frombuffer(zlib.decompress(base64.b64decode(pack["z"])), np.uint8)
    words = planes.reshape(4, -1).astype(np.int64)
    folded = words[0] | words[1] << 8 | words[2] << 16 | words[3] << 24
    steps = (folded >> 1) ^ -(folded & 1)
    if pack["row"]:
        return steps.reshape(-1, pack["row"]).cumsum(axis=1).cumsum(axis=0).ravel()
    return steps.cumsum()


@pytest.mark.parametrize("along", [0, 25])
def test_numbers_survive(along: int) -> None:
    values = np.random.default_rng(3).integers(-(2**26), 2**26, 400)
    values[[0, -1]] = 2**26, -(2**26)
    np.testing.assert_array_equal(unpacked(packed(values, along=along)), values)


def test_smooth_numbers_become_small() -> None:
    down, right = np.mgrid[0:200, 0:200]
    smooth = (5000 * np.sin(down / 40) * np.cos(right / 30)).astype(int)
    size = len(packed(smooth, along=200)["z"])
    assert size < len(packed(smooth)["z"]) < smooth.size * 2


def test_rounding_twice_is_rounding_once() -> None:
    values = np.random.default_rng(7).uniform(-3, 90, 20_000)
    steps = whole_steps(values, 0.001, shown=10)
    assert [f"{step / 1000:.2f}" for step in steps] == [f"{value:.2f}" for value in values]
    assert np.abs(steps / 1000 - values).max() < 0.001


def test_no_numbers() -> None:
    assert packed(np.array([], int))["n"] == 0


def test_too_far_apart() -> None:
    with pytest.raises(ParameterError, match="values must lie within 1073741823 of each other"):
        packed(np.array([0, 2**31]))


def test_bits_survive() -> None:
    truth = np.random.default_rng(4).random(83) > 0.4
    pack = packed_bits(truth)
    bits = np.unpackbits(np.frombuffer(zlib.decompress(base64.b64decode(pack["z"])), np.uint8))
    np.testing.assert_array_equal(bits[: pack["n"]].astype(bool), truth)
