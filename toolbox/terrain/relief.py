"""Relief: the bed as light from the side would show it."""

from typing import Annotated, Literal

import numpy as np

from toolbox.layers import Grid
from toolbox.tool import Range, tool

__all__ = ["shaded_relief"]

_AROUND = {"one": (0.0,), "four": (-90.0, -45.0, 0.0, 45.0)}


@tool("Shaded relief of the bed", reach=1)
def shaded_relief(
    depth: Grid,
    *,
    azimuth: Annotated[float, Range("degree", min=0, max=360)] = 315.0,
    altitude: Annotated[float, Range("degree", min=0, max=90)] = 45.0,
    exaggeration: Annotated[float, Range("", above=0)] = 1.0,
    lights: Literal["one", "four"] = "one",
) -> Grid:
    """Return how bright the drained bed would be under a lamp, seen from above.

    Parameters
    ----------
    depth : Grid
        Depth, m, positive down: deep is low. Elevations show the relief turned inside out.
    azimuth : float
        Direction the light comes from, degrees clockwise from grid north. From the north-west, as
        maps have it, relief reads the right way round; from the south most eyes turn it over.
    altitude : float
        Height of the light above the horizon, degrees.
    exaggeration : float
        Factor on the depths. Lake beds are gentle: 3 to 10 brings out what 1 leaves grey.
    lights : str
        one lamp, or four 45 degrees apart, from 90 degrees before `azimuth` to 45 after it, so that
        ridges and gullies that run along the light of one show in that of another.

    Returns
    -------
    Grid
        Brightness from 0, in the shade, to 1, facing the light, for display; a level bed has the
        sine of `altitude`. Cast shadows are not drawn.

    Notes
    -----
    Brightness is the cosine of the angle between the light and the upright on the bed. Of four
    lamps it is the mean, weighted with the squared cosine of the angle between the aspect and the
    azimuth of each. The slope is Horn's, with the edge rule of slope: no cell at the shore is lost,
    and a plane is evenly lit.

    References
    ----------
    Horn 1981, Proc. IEEE 69:14, "Hill shading and the reflectance map",
    doi:10.1109/PROC.1981.11918.

    Mark 1992, "Multidirectional, oblique-weighted, shaded-relief image of the Island of Hawaii",
    U.S. Geological Survey Open-File Report 92-422, doi:10.3133/ofr92422.
    """
    from toolbox.terrain.kernels.gradients import light

    towards = np.radians([azimuth + turn for turn in _AROUND[lights]])
    lamps = np.column_stack([np.sin(towards), np.cos(towards)]).astype(np.float32)
    height = np.float32(np.radians(altitude))
    out = np.empty(depth.shape, np.float32)
    step = np.float32(exaggeration / depth.cell)
    light(depth.values, step, lamps, np.cos(height), np.sin(height), out)
    return depth.of(out, "shaded_relief", "1")
