"""Archives are unpacked whole and nowhere else; packing gives the same bytes."""

import io
import stat
import zipfile
from contextlib import suppress
from pathlib import Path

import pytest

from toolbox.errors import InputFileError, OutputError
from toolbox.jobs.archives import pack, unpack


def archive(path: Path, members: dict[str, bytes], mode: int = stat.S_IFREG | 0o644) -> Path:
    """Write an archive."""
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as target:
        for name, content in members.items():
            member = zipfile.ZipInfo(name)
            member.external_attr = mode << 16
            member.compress_type = zipfile.ZIP_DEFLATED
            target.writestr(member, content)
    return path


def test_what_is_packed_is_unpacked(tmp_path: Path) -> None:
    source = tmp_path / "source"
    (source / "layers").mkdir(parents=True)
    (source / "a.csv").write_bytes(b"1,2\n" * 1000)
    (source / "layers" / "b.tif").write_bytes(bytes(range(256)))
    pack(source, tmp_path / "a.zip")
    pack(source, tmp_path / "b.zip")
    assert (tmp_path / "a.zip").read_bytes() == (tmp_path / "b.zip").read_bytes()
    target = tmp_path / "target"
    target.mkdir()
    assert len(unpack(tmp_path / "a.zip", target, 10_000)) == 2
    for name in ("a.csv", "layers/b.tif"):
        assert (target / name).read_bytes() == (source / name).read_bytes()
    with pytest.raises(OutputError, match=r"a\.zip exists already"):
        pack(source, tmp_path / "a.zip")


@pytest.mark.parametrize("name", ["../a", "/a", "b/../../a", "C:/a", "..\\a", "a/./b"])
def test_members_elsewhere_are_refused(tmp_path: Path, name: str) -> None:
    target = tmp_path / "deep" / "target"
    target.mkdir(parents=True)
    with pytest.raises(InputFileError, match="a file is named by letters"):
        unpack(archive(tmp_path / "a.zip", {name: b"x"}), target, 100)
    assert [path for path in tmp_path.rglob("*") if path.is_file()] == [tmp_path / "a.zip"]


@pytest.mark.parametrize("kind", [stat.S_IFLNK, stat.S_IFIFO, stat.S_IFBLK])
def test_members_that_are_no_files_are_refused(tmp_path: Path, kind: int) -> None:
    path = archive(tmp_path / "a.zip", {"a": b"/etc/passwd"}, kind | 0o777)
    with pytest.raises(InputFileError, match="'a' in an archive is no plain file"):
        unpack(path, tmp_path, 100)


def test_bombs_are_refused_by_what_comes_out(tmp_path: Path) -> None:
    path = archive(tmp_path / "a.zip", {"a": bytes(10_000_000)})
    content = path.read_bytes()
    lying = content.replace((10_000_000).to_bytes(4, "little"), (10).to_bytes(4, "little"))
    assert lying != content
    for one in (content, lying):
        path.write_bytes(one)
        target = tmp_path / f"target {one is lying}"
        target.mkdir()
        with pytest.raises(InputFileError, match=r"larger than is allowed|is no zip file"):
            unpack(path, target, 1_000_000)
        assert sum(file.stat().st_size for file in target.iterdir()) <= 1_000_000


def test_too_many_files_are_refused(tmp_path: Path) -> None:
    path = archive(tmp_path / "a.zip", {f"{n}": b"" for n in range(1001)})
    with pytest.raises(InputFileError, match=r"a\.zip holds 1,001 files, at most 1,000 are taken"):
        unpack(path, tmp_path, 100)


def test_a_file_is_not_written_over(tmp_path: Path) -> None:
    (tmp_path / "a").write_bytes(b"mine")
    path = archive(tmp_path / "a.zip", {"a": b"yours"})
    with pytest.raises(InputFileError, match="'a' is given twice"):
        unpack(path, tmp_path, 100)
    assert (tmp_path / "a").read_bytes() == b"mine"


def test_a_password_is_refused(tmp_path: Path) -> None:
    content = archive(tmp_path / "a.zip", {"a": b"x"}).read_bytes()
    for mark, offset in ((b"PK\3\4", 6), (b"PK\1\2", 8)):
        at = content.index(mark) + offset
        content = content[:at] + b"\1" + content[at + 1 :]
    (tmp_path / "a.zip").write_bytes(content)
    with pytest.raises(InputFileError, match="'a' in an archive has a password"):
        unpack(tmp_path / "a.zip", tmp_path, 100)


def test_any_cut_or_broken_archive_is_refused_or_whole(tmp_path: Path) -> None:
    target = io.BytesIO()
    with zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as made:
        made.writestr("a.csv", b"1,2,3\n" * 50)
    content = target.getvalue()
    broken = [content[:cut] for cut in range(0, len(content), 7)]
    broken += [content[:at] + b"\xff" + content[at + 1 :] for at in range(0, len(content), 5)]
    refused = 0
    for number, one in enumerate(broken):
        folder = tmp_path / str(number)
        folder.mkdir()
        (tmp_path / "a.zip").write_bytes(one)
        found = []
        with suppress(InputFileError):  # any other error fails the test
            found = unpack(tmp_path / "a.zip", folder, 10_000)
        assert all(path.is_relative_to(folder) for path in found)
        refused += not found
    assert refused > len(broken) // 2
