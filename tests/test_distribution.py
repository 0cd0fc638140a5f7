"""What is handed out: the wheel and the source archive hold what they should and no more."""

import os
import re
import subprocess
import sys
import tarfile
import zipfile
from pathlib import Path

import pytest

HOUSE = Path(__file__).resolve().parents[1]
BUILD = "import sys; from hatchling.build import build_{kind}; print(build_{kind}(sys.argv[1]))"
DATA = {
    "toolbox/py.typed",
    "toolbox/titles.json",
    "toolbox/survey/starter.toml",
    "toolbox/habitat/species.toml",
    "toolbox/stocking/starter.toml",
}
KINDS = {
    ".py",
    ".css",
    ".js",
    ".html",
    ".json",
    ".jinja",
    ".toml",
    ".ttf",
    ".txt",
    ".typed",
    ".csv",
}
"""Endings of files in the package: code, pages, fonts and what to start from."""


def build(kind: str, source: Path, folder: Path) -> Path:
    """Build with the time fixed (Reproducible Builds, 2017, SOURCE_DATE_EPOCH 1.1)."""
    folder.mkdir()
    done = subprocess.run(
        [sys.executable, "-c", BUILD.format(kind=kind), str(folder)],
        cwd=source,
        env=os.environ | {"SOURCE_DATE_EPOCH": "1767225600", "PYTHONDONTWRITEBYTECODE": "1"},
        capture_output=True,
        text=True,
        check=True,
        timeout=120,
    )
    return folder / done.stdout.split()[-1]


@pytest.fixture(scope="module")
def source(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Unpack the source archive; it comes with its own name as the folder."""
    place = tmp_path_factory.mktemp("source")
    archive = build("sdist", HOUSE, place / "dist")
    with tarfile.open(archive) as packed:
        packed.extractall(place, filter="data")
    return place / archive.name.removesuffix(".tar.gz")


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return build("wheel", HOUSE, tmp_path_factory.mktemp("wheel") / "dist")


def held(wheel: Path) -> set[str]:
    with zipfile.ZipFile(wheel) as packed:
        return {name for name in packed.namelist() if ".dist-info/" not in name}


def kept() -> set[str]:
    """List the files of the package as they lie in the repository."""
    files = (path for path in (HOUSE / "toolbox").rglob("*") if path.is_file())
    return {str(path.relative_to(HOUSE)) for path in files if "__pycache__" not in path.parts}


def test_the_wheel_is_the_package_and_nothing_else(wheel: Path) -> None:
    names = held(wheel)
    assert names == kept()
    assert names > DATA
    assert {Path(name).suffix for name in names} <= KINDS
    for chapter in ("report", "server", "desk"):
        folder = HOUSE / "toolbox" / chapter
        assets = [path for path in folder.rglob("*") if path.suffix in (".css", ".js", ".ttf")]
        assert {str(path.relative_to(HOUSE)) for path in assets} <= names


def test_the_wheel_says_what_it_is(wheel: Path) -> None:
    with zipfile.ZipFile(wheel) as packed:
        parts = {Path(name).name: name for name in packed.namelist() if ".dist-info/" in name}
        assert {"METADATA", "WHEEL", "RECORD", "entry_points.txt", "LICENSE"} == set(parts)
        told = packed.read(parts["METADATA"]).decode()
        entries = packed.read(parts["entry_points.txt"]).decode()
    assert re.search(r"^Requires-Python: >=3\.11$", told, re.M)
    assert re.search(r"^License-Expression: Apache-2\.0$", told, re.M)
    assert "leadline = toolbox.cli:console" in entries


def test_the_source_archive_builds_the_same_wheel(
    source: Path, wheel: Path, tmp_path: Path
) -> None:
    assert build("wheel", source, tmp_path / "dist").read_bytes() == wheel.read_bytes()


def test_the_source_archive_builds_itself(source: Path, tmp_path: Path) -> None:
    """And twice the same bytes."""
    again = build("sdist", source, tmp_path / "dist").read_bytes()
    (first,) = (source.parent / "dist").iterdir()
    assert again == first.read_bytes()


def test_the_source_archive_holds_tests_docs_and_samples(source: Path) -> None:
    top = {path.name for path in source.iterdir()}
    wanted = {"toolbox", "tests", "docs", "sample_layers", "README.md", "DEVELOPERS.md", "LICENSE"}
    assert top == wanted | {"pyproject.toml", "PKG-INFO", ".gitignore", ".mkdocs.yml"}
    litter = [path for path in source.rglob("*") if path.name in ("__pycache__", ".venv", "dist")]
    assert litter == []
