"""The nouns: what passes between tools. Small frozen values, checked when made."""

from toolbox.layers.breaklines import Breaklines
from toolbox.layers.cast import CastLog
from toolbox.layers.centreline import Centreline
from toolbox.layers.grid import Grid
from toolbox.layers.picture import Picture
from toolbox.layers.places import Places
from toolbox.layers.profiles import Profiles
from toolbox.layers.shoreline import Shoreline
from toolbox.layers.soundings import Soundings
from toolbox.layers.table import Table
from toolbox.layers.tin import Tin, VertexKind
from toolbox.layers.track import TrackLog
from toolbox.layers.vectors import Vectors

__all__ = [
    "Breaklines",
    "CastLog",
    "Centreline",
    "Grid",
    "Picture",
    "Places",
    "Profiles",
    "Shoreline",
    "Soundings",
    "Table",
    "Tin",
    "TrackLog",
    "Vectors",
    "VertexKind",
]
