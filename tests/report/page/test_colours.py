"""Ramps go from pale to dark in even steps, so they read in grey and to the colour-blind."""

import numpy as np
import pytest

from toolbox.report.page.colours import ramps


def lightness(colours: list[str]) -> np.ndarray:
    """CIE 1976 lightness of colours of HTML.

    sRGB to luminance: IEC 61966-2-1 (1999); lightness: CIE 15 (2004), equation 8.3.
    """
    rgb = np.array([[int(name[at : at + 2], 16) for at in (1, 3, 5)] for name in colours]) / 255
    linear = np.where(rgb <= 0.04045, rgb / 12.92, ((rgb + 0.055) / 1.055) ** 2.4)
    luminance = linear @ (0.2126, 0.7152, 0.0722)
    return np.where(
        luminance > (6 / 29) ** 3,
        116 * np.cbrt(luminance) - 16,
        (29 / 3) ** 3 * luminance,
    )


@pytest.mark.parametrize("name", ["depth", "sd", "slope"])
def test_darker_in_even_steps(name: str) -> None:
    told = lightness(ramps()[name])
    steps = -np.diff(told)
    assert (steps > 0).all()
    assert told[0] > 85
    assert told[-1] < 45
    assert steps.max() < 3 * np.median(steps)


def test_ramps_are_unlike_each_other() -> None:
    middles = {colours[len(colours) // 2] for colours in ramps().values()}
    assert len(middles) == 3
