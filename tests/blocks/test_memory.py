"""Amounts of memory as people write them."""

from pathlib import Path

import numpy as np
import psutil
import pytest

from toolbox.blocks.memory import (
    fits,
    free_memory,
    in_gib,
    memory_allowed,
    memory_left,
    memory_share,
    parse_memory,
    raster_memory,
)
from toolbox.errors import ParameterError


@pytest.mark.parametrize(
    ("text", "amount"),
    [
        # IEC 80000-13:2008, prefixes for binary multiples (from memory)
        ("2 GiB", 2 * 1024**3),
        ("512 MiB", 512 * 1024**2),
        ("2 GB", 2 * 1000**3),
        ("0.5", 1024**3 // 2),
    ],
)
def test_amounts(text: str, amount: int) -> None:
    assert parse_memory(text) == amount


@pytest.mark.parametrize("text", ["", "much", "2 m", "-1 GiB", "0", "nan", "inf"])
def test_no_amount_of_memory(text: str) -> None:
    with pytest.raises(ParameterError, match="memory must be an amount such as '2 GiB' or '800 M"):
        parse_memory(text)


def test_what_is_left_is_what_this_process_does_not_use() -> None:
    used = psutil.Process().memory_info().rss
    assert memory_left(used + 2**30, 0) == pytest.approx(2**30, abs=2**24)


def test_too_little_says_what_is_needed() -> None:
    with pytest.raises(ParameterError, match=r"^memory must be (\d+) MiB or more, got 1 MiB$"):
        memory_left(2**20, 2**20)


def test_gib_in_words() -> None:
    assert in_gib(12_000_000_000) == "11.2 GiB"


def test_what_is_allowed_is_said_by_the_command_then_by_the_environment(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setenv("LEADLINE_MEMORY", "3 GiB")
    assert memory_allowed("512 MiB") == 2**29
    assert memory_allowed() == 3 * 2**30
    monkeypatch.setenv("LEADLINE_MEMORY", "lots")
    with pytest.raises(ParameterError, match=r"^LEADLINE_MEMORY in the environment: memory"):
        memory_allowed()


def test_else_a_share_of_what_is_free_is_allowed(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("LEADLINE_MEMORY", raising=False)
    monkeypatch.setattr("toolbox.blocks.memory.free_memory", lambda: 2**30)
    used = psutil.Process().memory_info().rss
    assert memory_allowed() == pytest.approx(used + 0.6 * 2**30, abs=2**24)


def test_a_share_is_a_limit_unless_less_is_free_or_somebody_says_how_much(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.delenv("LEADLINE_MEMORY", raising=False)
    monkeypatch.setattr("toolbox.blocks.memory.free_memory", lambda: 2**30)
    assert memory_share(4) == int(0.6 * 2**30 / 4)
    used = psutil.Process().memory_info().rss
    monkeypatch.setenv("LEADLINE_SHARE", "100 MiB")
    assert memory_allowed() == 100 * 2**20
    monkeypatch.setenv("LEADLINE_SHARE", "900 GiB")
    assert memory_allowed() == pytest.approx(used + 0.6 * 2**30, abs=2**24)
    monkeypatch.setenv("LEADLINE_MEMORY", "3 GiB")
    assert memory_allowed() == 3 * 2**30
    assert memory_allowed("512 MiB") == 2**29


SECOND = {  # kernel documentation, control group v2: memory.max, memory.current (from memory)
    "memory.max": "1000000000\n",
    "memory.current": "400000000\n",
    "memory.stat": "anon 100000000\ninactive_file 50000000\n",
}
FIRST = {  # the same of version 1: memory.limit_in_bytes, total_inactive_file (from memory)
    "memory.limit_in_bytes": "1000000000\n",
    "memory.usage_in_bytes": "400000000\n",
    "memory.stat": "inactive_file 1\ntotal_inactive_file 50000000\n",
}


@pytest.mark.parametrize(
    ("own", "folder", "files", "free"),
    [
        ("0::/job/step", "job/step", SECOND, 650_000_000),
        ("0::/job/step", "job", SECOND, 650_000_000),  # a group above has the limit
        ("0::/job/step", "", SECOND, 650_000_000),  # a container sees its group as the root
        ("0::/job", "job", SECOND | {"memory.max": "max\n"}, np.inf),
        ("4:cpu,memory:/job", "memory/job", FIRST, 650_000_000),
        ("4:cpu:/job", "job", SECOND, np.inf),
        ("0::/job", "job", SECOND | {"memory.current": "no number"}, np.inf),
    ],
)
def test_a_container_leaves_what_its_limit_does(
    own: str,
    folder: str,
    files: dict[str, str],
    free: float,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    (tmp_path / folder).mkdir(parents=True, exist_ok=True)
    for name, text in files.items():
        (tmp_path / folder / name).write_text(text, encoding="ascii")
    (tmp_path / "own").write_text(f"{own}\n", encoding="ascii")
    monkeypatch.setattr("toolbox.blocks.memory._GROUPS", tmp_path)
    monkeypatch.setattr("toolbox.blocks.memory._OWN", tmp_path / "own")
    machine = psutil.virtual_memory().available
    found = free_memory()
    if np.isinf(free):
        assert found == pytest.approx(machine, rel=0.2)
    else:
        assert found == free


def test_a_raster_fits_if_all_its_copies_do() -> None:
    assert raster_memory((1000, 500), layers=3) == 6_000_000
    used = psutil.Process().memory_info().rss
    assert fits((10_000, 1000), used + 300 * 2**20)  # six layers of 40 MB
    assert not fits((10_000, 1000), used + 150 * 2**20)
