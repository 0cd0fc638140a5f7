"""Files behind URLs, in a store in memory."""

from pathlib import Path

import pytest

from toolbox.batch import storage
from toolbox.errors import InputFileError, MissingExtraError, OutputError


@pytest.mark.parametrize(
    ("place", "whether"),
    [("s3://a/b", True), ("memory://x", True), ("/a/b", False), ("C:/a", False), ("a:b/c", False)],
)
def test_urls_are_told_from_paths(place: str, whether: bool) -> None:
    assert storage.is_url(place) is whether


def test_a_copy_stands_where_its_url_says_and_is_traced_back(tmp_path: Path) -> None:
    survey = storage.staged_path("s3://bucket/lakes/a/survey.toml", tmp_path)
    assert survey == tmp_path / "s3" / "bucket" / "lakes" / "a" / "survey.toml"
    beside = survey.parent / ".." / "common" / "level.csv"
    assert storage.original(beside, tmp_path) == "s3://bucket/lakes/common/level.csv"
    named = Path("/data/lakes") / "s3://bucket/x.csv"  # as a survey file's folder joins it
    assert storage.original(named, tmp_path) == "s3://bucket/x.csv"
    local = storage.staged_path("file:///data/a.toml", tmp_path)
    assert storage.original(local, tmp_path) == "file:///data/a.toml"
    assert storage.original(Path("/data/a.csv"), tmp_path) is None


def test_files_go_there_and_come_back(tmp_path: Path) -> None:
    (tmp_path / "a.csv").write_bytes(b"1\n")
    storage.put_file(tmp_path / "a.csv", "memory://there/sub/a.csv")
    assert storage.read_bytes("memory://there/sub/a.csv") == b"1\n"
    assert storage.read_bytes("memory://there/sub/b.csv") is None
    storage.fetch("memory://there/sub/a.csv", tmp_path / "new" / "b.csv")
    assert (tmp_path / "new" / "b.csv").read_bytes() == b"1\n"
    assert storage.found_below("memory://there", "a.csv") == ["memory://there/sub/a.csv"]
    storage.remove_file("memory://there/sub/a.csv")
    assert storage.read_bytes("memory://there/sub/a.csv") is None
    with pytest.raises(InputFileError, match=r"^memory://there/no.csv does not exist$"):
        storage.fetch("memory://there/no.csv", tmp_path / "no.csv")


def test_a_shapefile_comes_with_its_tables(tmp_path: Path) -> None:
    for suffix in (".shp", ".dbf", ".shx"):
        (tmp_path / f"a{suffix}").write_bytes(suffix.encode())
        storage.put_file(tmp_path / f"a{suffix}", f"memory://shapes/a{suffix}")
    storage.fetch("memory://shapes/a.shp", tmp_path / "copy" / "a.shp")
    assert sorted(path.suffix for path in (tmp_path / "copy").iterdir()) == [".dbf", ".shp", ".shx"]


def test_the_file_that_tells_a_whole_folder_goes_last_and_nothing_former_stays(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    order: list[str] = []
    put = storage.put_file
    monkeypatch.setattr(storage, "put_file", lambda file, url: (order.append(url), put(file, url)))
    for name in ("z.csv", "lineage.json", "sub/a.csv"):
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).write_bytes(b"new")
    put(tmp_path / "z.csv", "memory://result/stale.csv")
    put(tmp_path / "z.csv", "memory://result/lineage.json")
    storage.put_folder(tmp_path, "memory://result", last="lineage.json")
    assert order == [f"memory://result/{name}" for name in ("sub/a.csv", "z.csv", "lineage.json")]
    assert storage.read_bytes("memory://result/stale.csv") is None


def test_stores_that_cannot_be_reached_are_named(tmp_path: Path) -> None:
    with pytest.raises(OutputError, match=r"^nonsense://a/b cannot be reached: Protocol not known"):
        storage.read_bytes("nonsense://a/b")
    with pytest.raises(MissingExtraError, match=r"^s3://a/b cannot be reached: Install s3fs"):
        storage.read_bytes("s3://a/b")


def test_a_file_of_this_machine_is_replaced_whole_or_not_at_all(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "fresh").write_bytes(b"fresh")
    there = tmp_path / "out" / "waters.csv"
    there.parent.mkdir()
    there.write_bytes(b"former")

    def half(source: Path, target: Path) -> None:
        Path(target).write_bytes(Path(source).read_bytes()[:2])
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as patched:
        patched.setattr("shutil.copyfile", half)
        with pytest.raises(OutputError, match=r"waters\.csv cannot be written: No space left"):
            storage.put_file(tmp_path / "fresh", str(there))
    assert there.read_bytes() == b"former"
    storage.put_file(tmp_path / "fresh", str(there))
    assert there.read_bytes() == b"fresh"
    assert [path.name for path in there.parent.iterdir()] == ["waters.csv"]


def test_what_cannot_be_read_is_not_taken_for_missing(tmp_path: Path) -> None:
    assert storage.read_bytes(str(tmp_path / "none" / "water.json")) is None
    with pytest.raises(OutputError, match="cannot be read: Is a directory"):
        storage.read_bytes(str(tmp_path))
