"""Chunks of a LAZ file: what real files hold fits, what was tampered with does not."""

import struct
from pathlib import Path

import laspy
import numpy as np
import pytest

from toolbox.errors import InputFileError
from toolbox.formats.las_file import LasFile
from toolbox.formats.laz_chunks import chunks_fit
from toolbox.formats.point_chunks import Choices

CHOICES = Choices(crs="EPSG:32633")


def cloud(path: Path, form: int, count: int, extra: int = 0) -> Path:
    header = laspy.LasHeader(point_format=form, version="1.4")
    for number in range(extra):
        header.add_extra_dim(laspy.ExtraBytesParams(f"own_{number}", "u2"))
    las = laspy.LasData(header)
    rng = np.random.default_rng(form)
    las.x, las.y, las.z = rng.uniform(0, 90, (3, count))
    las.intensity = rng.integers(0, 60_000, count)
    las.return_number = las.number_of_returns = np.ones(count, np.uint8)
    las.write(path)
    return path


def places(path: Path) -> tuple[int, int, int]:
    """Length of the header, number of records, and where the points begin."""
    length, points, records = struct.unpack_from("<HII", path.read_bytes(), 94)
    return length, records, points


@pytest.mark.parametrize("form", [0, 1, 2, 3, 6, 7, 8])
@pytest.mark.parametrize(("count", "extra"), [(1, 0), (60_000, 2)])
def test_real_files_fit(tmp_path: Path, form: int, count: int, extra: int) -> None:
    path = cloud(tmp_path / "a.laz", form, count, extra)
    assert chunks_fit(path, *places(path))


@pytest.mark.parametrize(
    ("form", "extra", "point", "layers"), [(6, 0, 30, 9), (7, 0, 36, 10), (8, 2, 42, 15)]
)
def test_sizes_lead_to_the_table_of_chunks(
    tmp_path: Path, form: int, extra: int, point: int, layers: int
) -> None:
    """Bytes of a point: ASPRS (2019), LAS 1.4 R15, point data record formats 6, 7, 8."""
    path = cloud(tmp_path / "a.laz", form, 1_000, extra)
    content = bytearray(path.read_bytes())
    _, _, points = places(path)
    (table,) = struct.unpack_from("<q", content, points)
    last = points + 8 + point + 4 + 4 * (layers - 1)
    (size,) = struct.unpack_from("<I", content, last)
    for more, fits in ((len(content) - table, True), (len(content) - table + 1, False)):
        struct.pack_into("<I", content, last, size + more)
        path.write_bytes(content)
        assert chunks_fit(path, *places(path)) is fits


@pytest.mark.parametrize("layer", range(9))
@pytest.mark.parametrize("chunk", [0, 1])
def test_no_layer_is_larger_than_its_file(tmp_path: Path, layer: int, chunk: int) -> None:
    path = cloud(tmp_path / "a.laz", 6, 60_000)
    length, records, points = places(path)
    content = bytearray(path.read_bytes())
    start = points + 8
    for _ in range(chunk):
        start += 30 + 4 + 36 + sum(struct.unpack_from("<9I", content, start + 34))
    (count,) = struct.unpack_from("<I", content, start + 30)
    assert count == (50_000, 10_000)[chunk]
    struct.pack_into("<I", content, start + 34 + 4 * layer, 0xFFFFFFF0)
    path.write_bytes(bytes(content))
    assert not chunks_fit(path, length, records, points)
    with pytest.raises(InputFileError, match="it counts more than it has room for"):
        LasFile(path, CHOICES)
