"""The house in order: style, types, imports, generated pages, and a README that holds."""

import ast
import importlib
import re
import subprocess
import sys
from pathlib import Path

import pytest

from toolbox.catalogue import TITLES
from toolbox.describe import pages, written_titles

ROOT = Path(__file__).resolve().parents[1]


@pytest.mark.parametrize(
    "command",
    [
        ["-m", "ruff", "check", "."],
        ["-m", "ruff", "format", "--check", "."],
        ["-m", "mypy"],
        ["-c", "from importlinter.cli import lint_imports_command as run; run()"],
    ],
    ids=["style", "format", "types", "imports"],
)
def test_checks_pass(command: list[str]) -> None:
    done = subprocess.run(
        [sys.executable, *command], cwd=ROOT, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stdout + done.stderr


def _scripts() -> list[Path]:
    """Return what imports the package and is run by no test, or not wholly."""
    places = ("docs", "sample_layers", "tests/benchmarks", "tests/fuzz")
    return sorted(path for place in places for path in (ROOT / place).rglob("*.py"))


@pytest.mark.parametrize("script", _scripts(), ids=lambda path: path.name)
def test_what_a_script_imports_is_there(script: Path) -> None:
    tree = ast.parse(script.read_text(encoding="utf-8"))
    asked = [node for node in ast.walk(tree) if isinstance(node, ast.ImportFrom) and node.module]
    lacking = [
        f"{node.module}.{name.name}"
        for node in asked
        if str(node.module).split(".")[0] == "toolbox"
        for name in node.names
        if not hasattr(importlib.import_module(str(node.module)), name.name)
        and not (ROOT / str(node.module).replace(".", "/") / f"{name.name}.py").exists()
    ]
    assert lacking == []


@pytest.mark.parametrize("name", sorted(pages()))
def test_generated_page_is_up_to_date(name: str) -> None:
    assert (ROOT / "docs" / name).read_text(encoding="utf-8") == pages()[name]


def test_titles_are_up_to_date() -> None:
    assert (ROOT / "toolbox" / TITLES).read_text(encoding="utf-8") == written_titles()


def test_no_page_of_a_tool_that_is_gone() -> None:
    assert {f"tools/{page.name}" for page in (ROOT / "docs" / "tools").iterdir()} <= set(pages())


@pytest.mark.parametrize(
    "page", sorted(ROOT.glob("*.md")) + sorted((ROOT / "docs").rglob("*.md")), ids=lambda p: p.name
)
def test_links_lead_somewhere(page: Path) -> None:
    links = re.findall(r"\]\((?!https?:)([^)#]+)\)", page.read_text(encoding="utf-8"))
    assert [link for link in links if not (page.parent / link).exists()] == []


def test_readme_states_the_job_first_and_holds_two_commands() -> None:
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    first = text.split("\n\n")[1]
    assert "soundings and" in first
    assert len(first.splitlines()) > 3
    assert re.findall(r"<!-- command: (\w+) -->", text) == ["sample", "test"]


def test_every_public_name_is_importable() -> None:
    import importlib
    import pkgutil

    import toolbox

    for found in pkgutil.walk_packages(toolbox.__path__, "toolbox."):
        module = importlib.import_module(found.name)
        for name in getattr(module, "__all__", []):
            assert hasattr(module, name), f"{found.name}.{name}"
