"""Exchange: files that are made for other programs and not read here again."""

from pathlib import Path

from toolbox.formats.dxf import write_dxf
from toolbox.formats.gpx_file import write_gpx
from toolbox.formats.kml import write_kml, write_kmz
from toolbox.formats.mbtiles import write_mbtiles
from toolbox.formats.mesh import MESH_SUFFIXES, write_mesh
from toolbox.formats.xyz_file import write_xyz
from toolbox.layers import Grid, Tin, Vectors

__all__ = ["EXCHANGE", "write_exchange"]

EXCHANGE: dict[type, tuple[str, ...]] = {
    Vectors: (".gpx", ".kml", ".kmz", ".dxf"),
    Tin: (*MESH_SUFFIXES, ".xyz"),
    Grid: (".xyz", ".kmz", ".mbtiles"),
}
"""Suffixes by noun."""


def write_exchange(value: Vectors | Tin | Grid, path: Path) -> None:
    """Write a noun to a file whose suffix is among those of :data:`EXCHANGE`.

    Raises
    ------
    LayerError
        If the format needs longitudes and latitudes and the noun lies on a plane.
    OutputError
        If the file is there already or cannot be written.
    """
    suffix = path.suffix.lower()
    if isinstance(value, Vectors):
        title = value.name.replace("_", " ")
        if suffix == ".gpx":
            write_gpx(path, value, title=title)
        elif suffix == ".dxf":
            write_dxf(path, value, title=title)
        else:
            (write_kml if suffix == ".kml" else write_kmz)(path, value, title=title)
    elif suffix == ".xyz":
        write_xyz(value, path)
    elif isinstance(value, Tin):
        write_mesh(value, path)
    elif suffix == ".kmz":
        write_kmz(path, depth=value)
    else:
        write_mbtiles(path, value)
