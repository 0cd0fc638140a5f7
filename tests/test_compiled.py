"""Compiled loops: machine code is kept for the next start, and a bad cache costs only time."""

import ast
import os
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path

import pytest

import toolbox
from toolbox.compiled import _is_whole, cache_folder

HOUSE = str(Path(toolbox.__file__).parents[1])
LOOP = """
import sys
sys.path.insert(0, {folder!r})
from loops import twice
print(twice(21), sum(twice.stats.cache_hits.values()))
"""


def write(folder: Path) -> None:
    (folder / "loops.py").write_text(
        "from toolbox.compiled import njit\n\n"
        "@njit(cache=True)\ndef twice(number):\n    return 2 * number\n"
    )


@pytest.fixture
def loops(tmp_path: Path) -> Path:
    write(tmp_path)
    return tmp_path


def call(folder: Path, cache: Path | str, *before: str, **more: str) -> str:
    """Call the loop in a process of its own; its result, and how often the cache had it."""
    names = ("NUMBA_CACHE_DIR", "XDG_CACHE_HOME", "LOCALAPPDATA")
    environment = {name: text for name, text in os.environ.items() if name not in names}
    own = {"XDG_CACHE_HOME": str(cache), "PYTHONDONTWRITEBYTECODE": "1", "PYTHONPATH": HOUSE}
    found = subprocess.run(
        [*before, sys.executable, "-c", LOOP.format(folder=str(folder))],
        cwd=folder,
        env=environment | own | more,
        capture_output=True,
        text=True,
        check=True,
    )
    assert found.stderr == ""
    return found.stdout.strip()


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Give a cache that holds the loop."""
    folder = tmp_path_factory.mktemp("made")
    write(folder)
    assert call(folder, folder / "cache") == "42 0"
    assert call(folder, folder / "cache") == "42 1"
    return folder / "cache"


def kept(cache: Path) -> list[Path]:
    return [path for path in cache.rglob("*") if path.suffix in (".nbi", ".nbc")]


@pytest.mark.skipif(sys.platform != "linux", reason="the cache folder is named by XDG_CACHE_HOME")
def test_machine_code_is_kept_in_the_users_cache_folder(loops: Path, tmp_path: Path) -> None:
    cache = tmp_path / "cache"
    assert call(loops, cache) == "42 0"
    assert {path.suffix for path in kept(cache)} == {".nbi", ".nbc"}
    assert not list(loops.glob("__pycache__/*.nb?"))
    assert call(loops, cache) == "42 1"


@pytest.mark.skipif(sys.platform != "linux", reason="the cache folder is named by XDG_CACHE_HOME")
@pytest.mark.parametrize("suffix", [".nbi", ".nbc"])
@pytest.mark.parametrize(
    "damage",
    [
        lambda content: b"",
        lambda content: b"not a pickle at all",
        lambda content: content[:-1],
        lambda content: content[:-50],
        lambda content: content[:100] + bytes(len(content) - 100),  # after a power cut
        lambda content: content.replace(b"twice", b"twicf"),  # what unpickles all the same
    ],
    ids=["empty", "other", "short", "cut", "zeros", "flipped"],
)
def test_a_damaged_cache_is_made_anew(
    whole: Path, loops: Path, tmp_path: Path, damage: Callable[[bytes], bytes], suffix: str
) -> None:
    cache = shutil.copytree(whole, tmp_path / "cache")
    (path,) = (path for path in kept(cache) if path.suffix == suffix)
    content = path.read_bytes()
    path.write_bytes(damage(content))
    assert path.read_bytes() != content
    assert call(loops, cache) == "42 0"
    assert all(_is_whole(str(path)) for path in kept(cache))
    assert len(kept(cache)) == 2


@pytest.mark.skipif(sys.platform != "linux", reason="the cache folder is named by XDG_CACHE_HOME")
def test_another_install_of_the_same_loops_finds_them_compiled(loops: Path, tmp_path: Path) -> None:
    cache, other = tmp_path / "cache", tmp_path / "other"
    other.mkdir()
    shutil.copyfile(loops / "loops.py", other / "loops.py")
    assert call(loops, cache) == "42 0"
    assert call(other, cache) == "42 1"


@pytest.mark.skipif(sys.platform != "linux", reason="the cache folder is named by XDG_CACHE_HOME")
def test_a_loop_compiles_where_nothing_can_be_kept(loops: Path, tmp_path: Path) -> None:
    blocked = tmp_path / "cache"
    blocked.write_text("a file where the folder should be")
    assert call(loops, blocked) == "42 0"
    assert call(loops, blocked, NUMBA_CACHE_DIR=str(blocked)) == "42 0"


def test_another_place_can_be_named(loops: Path, whole: Path, tmp_path: Path) -> None:
    place = shutil.copytree(whole / "leadline", tmp_path / "place")
    assert call(loops, tmp_path / "cache", NUMBA_CACHE_DIR=str(place)) == "42 1"
    assert not (tmp_path / "cache").exists()


@pytest.mark.skipif(shutil.which("setpriv") is None, reason="no other user can be taken on")
@pytest.mark.skipif(sys.platform == "win32" or os.geteuid() != 0, reason="only root may")
def test_a_cache_that_is_only_to_be_read_is_read(whole: Path) -> None:
    """As in an image that was filled once and is started by users without a name or a home."""
    folder = Path(tempfile.mkdtemp())  # what pytest makes is for its own user alone
    try:
        folder.chmod(0o755)
        write(folder)
        shutil.copytree(whole, folder / "cache")
        before = sorted(folder.rglob("*"))
        nobody = ("setpriv", "--reuid", "54321", "--regid", "54321", "--clear-groups")
        if subprocess.run([*nobody, sys.executable, "-c", ""], cwd=HOUSE).returncode:
            pytest.skip("another user cannot start this python")
        assert call(folder, folder / "cache", *nobody, HOME="/") == "42 1"
        for nowhere in ({"HOME": ""}, {"HOME": "home"}):  # a folder "~" or "home" is not made
            assert call(folder, "cache", *nobody, **nowhere) == "42 0"
            folder.chmod(0o777)
        assert sorted(folder.rglob("*")) == before
    finally:
        shutil.rmtree(folder)


def test_a_changed_loop_has_a_folder_of_its_own(tmp_path: Path) -> None:
    before, after = tmp_path / "a" / "kernels" / "x.py", tmp_path / "b" / "kernels" / "x.py"
    for path, beside in ((before, "1"), (after, "2")):
        path.parent.mkdir(parents=True)
        path.write_text("the same")
        path.with_name("y.py").write_text(beside)  # what is compiled into it
    assert cache_folder(before) != cache_folder(after)


def test_loops_call_only_loops_beside_them() -> None:
    """The cache is named by the files of one folder, so none may compile in another chapter's."""
    house = Path(toolbox.__file__).parent
    files = [*house.rglob("kernels.py"), *house.rglob("kernels/*.py")]
    assert len(files) > 15
    for file in files:
        own = "toolbox." + ".".join(file.relative_to(house).parent.parts)
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
            if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("toolbox."):
                beside = own.endswith(".kernels") and node.module.startswith(own)  # type: ignore[union-attr]
                assert node.module == "toolbox.compiled" or beside, f"{file}: {node.module}"
