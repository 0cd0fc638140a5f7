"""Meshes: the bed as PLY and glTF, for programs that show things in three dimensions."""

from pathlib import Path
from typing import Annotated, Any

import numpy as np

from toolbox.errors import ParameterError
from toolbox.formats.captions import plain
from toolbox.formats.depth_colours import depth_ramp, shares
from toolbox.formats.paths import new_file
from toolbox.layers import Tin
from toolbox.tool import Range

__all__ = ["MESH_SUFFIXES", "write_mesh"]

MESH_SUFFIXES = (".ply", ".glb")
_LINEAR_KNEE, _LINEAR_POWER = 0.04045, 2.4  # of sRGB


def write_mesh(
    bed: Tin,
    path: Path,
    *,
    exaggeration: Annotated[float, Range("", above=0)] = 1.0,
    datum: Annotated[float, Range("m")] | None = None,
    ramp: np.ndarray | None = None,
    title: str = "",
    overwrite: bool = False,
) -> None:
    """Write a bed with its depths as colours.

    Parameters
    ----------
    bed : Tin
        The lake bed.
    path : Path
        PLY or binary glTF (``.glb``), by its suffix.
    exaggeration : float
        By how much heights are stretched.
    datum : float, optional
        Elevation of the datum water level, m, told beside the origin. Heights in the file are
        from the water level: 0 there, negative below.
    ramp : (n, 3) array of uint8, optional
        Colours from the least depth to the greatest.
    title : str
        Name of the water.
    overwrite : bool
        Whether a file that is there may be replaced.

    Raises
    ------
    ParameterError
        If the suffix is another.
    OutputError
        If the file is there already or cannot be written.

    Notes
    -----
    These files hold 32-bit floats, too coarse for eastings and northings: places are told from an
    origin near the middle of the bed, in whole metres, which stands in the comments of a PLY file
    and in ``extras`` of the mesh of a glTF file. PLY has z up; glTF has y up and north in the
    direction of -z, as it asks, and colours in linear light.

    References
    ----------
    Khronos Group 2021, glTF 2.0 Specification, sections 3.4 and 3.7.2 (from memory).
    """
    suffix = path.suffix.lower()
    if suffix not in MESH_SUFFIXES:
        raise ParameterError(f"a mesh is written as .ply or .glb, got {path.name!r}")
    origin = np.round((bed.vertices.min(axis=0) + bed.vertices.max(axis=0)) / 2)
    flat = bed.vertices - origin
    places = np.column_stack([flat, -exaggeration * bed.depth])
    colours = (depth_ramp() if ramp is None else ramp)[_steps(bed.depth, ramp)]
    told = _told(bed, origin, exaggeration, datum, title)
    content = (_ply if suffix == ".ply" else _glb)(places, colours, bed.triangles, told)
    with new_file(path, overwrite=overwrite) as place:
        place.write_bytes(content)


def _steps(depth: np.ndarray, ramp: np.ndarray | None) -> np.ndarray:
    low, high = min(float(depth.min()), 0.0), float(depth.max())
    most = len(depth_ramp() if ramp is None else ramp) - 1
    return np.asarray(np.round(shares(depth, low, high) * most), np.intp)


def _told(
    bed: Tin, origin: np.ndarray, exaggeration: float, datum: float | None, title: str
) -> dict[str, Any]:
    told: dict[str, Any] = {"title": plain(title)} if title else {}
    told |= {
        "origin_easting_m": float(origin[0]),
        "origin_northing_m": float(origin[1]),
        "crs": "plane" if bed.crs is None else plain(bed.crs.to_string(), most=2000),
        "height": "metres above the datum water level, negative below",
        "exaggeration": float(exaggeration),
    }
    return told if datum is None else told | {"datum_elevation_m": float(datum)}


def _mesh(places: np.ndarray, colours: np.ndarray, triangles: np.ndarray) -> Any:
    import trimesh

    opaque = np.column_stack([colours, np.full(len(colours), 255)]).astype(np.uint8)
    return trimesh.Trimesh(places, triangles, vertex_colors=opaque, process=False, validate=False)


def _ply(
    places: np.ndarray, colours: np.ndarray, triangles: np.ndarray, told: dict[str, Any]
) -> bytes:
    from trimesh.exchange.ply import export_ply

    content = bytes(export_ply(_mesh(places, colours, triangles), vertex_normal=False))
    intro, mark, rest = content.partition(b"element vertex")
    words = (
        f"comment {name} {value}".replace("end_header", "end header")
        for name, value in told.items()
    )
    lines = [f"{line}\n".encode("ascii", "replace") for line in words]
    return intro.partition(b"comment")[0] + b"".join(lines) + mark + rest


def _glb(
    places: np.ndarray, colours: np.ndarray, triangles: np.ndarray, told: dict[str, Any]
) -> bytes:
    from trimesh import Scene
    from trimesh.exchange import gltf

    easting, northing, height = places.T
    mesh = _mesh(np.column_stack([easting, height, -northing]), _linear(colours), triangles)
    mesh.metadata.update(told)
    export: Any = gltf.export_glb
    return bytes(export(Scene({"bed": mesh}), include_normals=True, tree_postprocessor=_finish))


def _finish(tree: dict[str, Any]) -> None:
    """Make the bed dull ground, seen from both sides: what is not told shines like metal."""
    tree["asset"]["generator"] = "Leadline"
    dull = {"metallicFactor": 0.0, "roughnessFactor": 1.0}
    tree["materials"] = [{"pbrMetallicRoughness": dull, "doubleSided": True}]
    tree["meshes"][0]["primitives"][0]["material"] = 0


def _linear(colours: np.ndarray) -> np.ndarray:
    """Turn colours of screens, sRGB, into amounts of light (IEC 61966-2-1)."""
    share = colours / 255.0
    light = np.where(
        share <= _LINEAR_KNEE, share / 12.92, ((share + 0.055) / 1.055) ** _LINEAR_POWER
    )
    return np.asarray(np.round(255 * light), np.uint8)
