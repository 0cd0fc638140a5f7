"""Meshes: every node and triangle where it was, read by hand and by another library."""

import json
import struct
from pathlib import Path
from typing import Any

import numpy as np
import pyproj
import pytest

from toolbox.errors import OutputError, ParameterError
from toolbox.formats.mesh import write_mesh
from toolbox.layers import Tin

UTM = pyproj.CRS.from_epsg(32633)
HOSTILE = "<b>\nend_header\n\x00\u202e\U0001f3a3" + "x" * 300


def bed(crs: pyproj.CRS | None = UTM) -> Tin:
    east, north = np.meshgrid(np.arange(5.0), np.arange(4.0))
    places = np.column_stack([east.ravel(), north.ravel()]) * 10.125 + (700_000, 5_200_000)
    corner = np.array([row * 5 + col for row in range(3) for col in range(4)])
    lower = np.column_stack([corner, corner + 1, corner + 6])
    upper = np.column_stack([corner, corner + 6, corner + 5])
    depth = np.linspace(0, 7.75, 20)
    return Tin(places, depth, np.vstack([lower, upper]), np.full(20, 2), crs)


def read_ply(path: Path) -> tuple[dict[str, str], np.ndarray, np.ndarray]:
    """Read a binary PLY file by hand (Turk 1994, The PLY Polygon File Format; from memory)."""
    head, _, body = path.read_bytes().partition(b"end_header\n")
    lines = head.decode("ascii").splitlines()
    assert lines[:2] == ["ply", "format binary_little_endian 1.0"]
    said = dict(line.split(" ", 2)[1:] for line in lines if line.startswith("comment "))
    count = {line.split()[1]: int(line.split()[2]) for line in lines if line.startswith("element")}
    node = [(name, "<f4") for name in "xyz"] + [
        (name, "u1") for name in ("red", "green", "blue", "alpha")
    ]
    kinds = {"float": "<f4", "uchar": "u1"}
    told = [
        (line.split()[2], kinds[line.split()[1]])
        for line in lines
        if line.startswith("property") and "list" not in line
    ]
    assert told == node
    nodes = np.frombuffer(body, node, count["vertex"])
    faces = np.frombuffer(body[nodes.nbytes :], [("n", "u1"), ("at", "<i4", 3)])
    assert len(faces) == count["face"]
    assert (faces["n"] == 3).all()
    return said, nodes, faces["at"]


def read_glb(path: Path) -> tuple[dict[str, Any], dict[str, np.ndarray]]:
    """Read a binary glTF file by hand (glTF 2.0 Specification, section 4.4; from memory)."""
    content = path.read_bytes()
    assert struct.unpack("<4sII", content[:12]) == (b"glTF", 2, len(content))
    size, kind = struct.unpack("<I4s", content[12:20])
    assert (kind, size % 4) == (b"JSON", 0)
    tree = json.loads(content[20 : 20 + size])
    assert content[24 + size : 28 + size] == b"BIN\0"
    body = content[28 + size :]
    shapes = {"SCALAR": 1, "VEC3": 3, "VEC4": 4}
    kinds = {5121: "u1", 5125: "<u4", 5126: "<f4"}
    (part,) = tree["meshes"][0]["primitives"]
    found = {}
    for name, number in (*part["attributes"].items(), ("indices", part["indices"])):
        at = tree["accessors"][number]
        view = tree["bufferViews"][at["bufferView"]]
        start = view.get("byteOffset", 0) + at.get("byteOffset", 0)
        width = shapes[at["type"]]
        values = np.frombuffer(body, kinds[at["componentType"]], at["count"] * width, start)
        found[name] = values.reshape(-1, width)
    return tree, found


def test_ply_holds_the_bed_from_an_origin_that_it_tells(tmp_path: Path) -> None:
    write_mesh(bed(), tmp_path / "a.ply", datum=412.5, title="Figment Mere")
    said, nodes, faces = read_ply(tmp_path / "a.ply")
    origin = float(said["origin_easting_m"]), float(said["origin_northing_m"])
    places = np.column_stack([nodes["x"], nodes["y"]]).astype(float) + origin
    assert np.abs(places - bed().vertices).max() < 1e-5  # not half a metre, as from a far origin
    assert nodes["z"] == pytest.approx(-bed().depth, abs=1e-6)
    assert (faces == bed().triangles).all()
    assert said["crs"] == "EPSG:32633"
    assert said["title"] == "Figment Mere"
    assert said["datum_elevation_m"] == "412.5"


def test_colours_go_by_depth(tmp_path: Path) -> None:
    grey = np.repeat(np.arange(256, dtype=np.uint8)[:, None], 3, axis=1)
    write_mesh(bed(), tmp_path / "a.ply", ramp=grey)
    _, nodes, _ = read_ply(tmp_path / "a.ply")
    assert (nodes["red"] == np.round(bed().depth / 7.75 * 255)).all()
    assert (nodes["alpha"] == 255).all()


def test_glb_has_height_up_and_north_away(tmp_path: Path) -> None:
    write_mesh(bed(), tmp_path / "a.glb", exaggeration=4)
    tree, found = read_glb(tmp_path / "a.glb")
    said = tree["meshes"][0]["extras"]
    place = found["POSITION"].astype(float)
    assert np.abs(place[:, 0] + said["origin_easting_m"] - bed().vertices[:, 0]).max() < 1e-5
    assert np.abs(-place[:, 2] + said["origin_northing_m"] - bed().vertices[:, 1]).max() < 1e-5
    assert place[:, 1] == pytest.approx(-4 * bed().depth, abs=1e-5)
    assert said["exaggeration"] == 4
    assert (found["indices"].reshape(-1, 3) == bed().triangles).all()
    at = tree["accessors"][tree["meshes"][0]["primitives"][0]["attributes"]["POSITION"]]
    assert at["min"] == pytest.approx(place.min(axis=0), abs=1e-5)
    assert at["max"] == pytest.approx(place.max(axis=0), abs=1e-5)


def test_glb_is_lit_from_above_and_its_colours_are_light(tmp_path: Path) -> None:
    grey = np.repeat(np.arange(256, dtype=np.uint8)[:, None], 3, axis=1)
    write_mesh(bed(), tmp_path / "a.glb", ramp=grey)
    tree, found = read_glb(tmp_path / "a.glb")
    normals = found["NORMAL"]
    assert (normals[:, 1] > 0.5).all()  # the bed is seen from above
    assert np.linalg.norm(normals, axis=1) == pytest.approx(np.ones(20), abs=1e-5)
    # half a screen's grey is about a fifth of its light (IEC 61966-2-1; from memory)
    middle = found["COLOR_0"][np.argmin(np.abs(bed().depth - 7.75 / 2)), 0]
    assert 45 <= middle <= 65
    assert tree["materials"][0]["doubleSided"]
    assert tree["asset"]["version"] == "2.0"


@pytest.mark.parametrize("suffix", [".ply", ".glb"])
def test_hostile_names_break_nothing(suffix: str, tmp_path: Path) -> None:
    import trimesh

    path = tmp_path / f"a{suffix}"
    write_mesh(bed(), path, title=HOSTILE)
    read = trimesh.load(path, force="mesh", process=False)
    assert read.vertices.shape == (20, 3)
    assert read.faces.shape == (24, 3)
    if suffix == ".ply":
        said, nodes, _ = read_ply(path)
        assert said["title"].startswith("?b? end header ")
        assert len(nodes) == 20
    else:
        title = read_glb(path)[0]["meshes"][0]["extras"]["title"]
        assert title.startswith("\u2039b\u203a end_header \U0001f3a3")


@pytest.mark.parametrize("suffix", [".ply", ".glb"])
def test_the_same_input_gives_the_same_bytes_and_what_is_there_stays(
    suffix: str, tmp_path: Path
) -> None:
    paths = tmp_path / f"a{suffix}", tmp_path / f"b{suffix}"
    for path in paths:
        write_mesh(bed(), path)
    assert paths[0].read_bytes() == paths[1].read_bytes()
    with pytest.raises(OutputError, match=rf"a\{suffix} exists already"):
        write_mesh(bed(), paths[0], exaggeration=2)
    assert paths[0].read_bytes() == paths[1].read_bytes()


def test_a_plane_and_a_level_bed_are_written_too(tmp_path: Path) -> None:
    level = Tin(bed().vertices, np.zeros(20), bed().triangles, bed().kind, None)
    write_mesh(level, tmp_path / "a.ply")
    said, nodes, _ = read_ply(tmp_path / "a.ply")
    assert said["crs"] == "plane"
    assert (nodes["z"] == 0).all()


def test_other_suffixes_are_refused(tmp_path: Path) -> None:
    with pytest.raises(
        ParameterError, match=r"^a mesh is written as \.ply or \.glb, got 'a\.obj'$"
    ):
        write_mesh(bed(), tmp_path / "a.obj")
