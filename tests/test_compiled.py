"""Compiled loops: machine code is kept for the next start, and a bad cache costs only time."""

import ast
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

import toolbox
from toolbox.compiled import cache_folder

LOOP = """
import sys
sys.path.insert(0, {folder!r})
from loops import twice
print(twice(21), sum(twice.stats.cache_hits.values()))
"""


@pytest.fixture
def loops(tmp_path: Path) -> Path:
    (tmp_path / "loops.py").write_text(
        "from toolbox.compiled import njit\n\n"
        "@njit(cache=True)\ndef twice(number):\n    return 2 * number\n"
    )
    return tmp_path


def call(folder: Path, cache: Path) -> str:
    """Call the loop in a process of its own; its result, and how often the cache had it."""
    names = ("NUMBA_CACHE_DIR", "XDG_CACHE_HOME", "LOCALAPPDATA")
    environment = {name: text for name, text in os.environ.items() if name not in names}
    found = subprocess.run(
        [sys.executable, "-c", LOOP.format(folder=str(folder))],
        env=environment | {"XDG_CACHE_HOME": str(cache), "PYTHONDONTWRITEBYTECODE": "1"},
        capture_output=True,
        text=True,
        check=True,
    )
    return found.stdout.strip()


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
@pytest.mark.parametrize("damage", [b"", b"\x80\x04garbage", b"not a pickle at all"])
def test_a_damaged_cache_is_made_anew(loops: Path, tmp_path: Path, damage: bytes) -> None:
    cache = tmp_path / "cache"
    call(loops, cache)
    for path in kept(cache):
        path.write_bytes(damage)
    assert call(loops, cache) == "42 0"
    assert call(loops, cache) == "42 1"


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
