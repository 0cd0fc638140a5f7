"""The catalogue lists every tool, and each is fit for every door."""

import importlib
import inspect
import pkgutil
import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pyproj
import pytest
from affine import Affine

import toolbox
from toolbox import catalogue
from toolbox.catalogue import CHAPTERS, GROUP, broken, find, record, tools
from toolbox.cli import main
from toolbox.errors import ParameterError
from toolbox.formats.doors import READERS, SUFFIXES
from toolbox.formats.geotiff import read_grid, write_grid
from toolbox.layers import Grid
from toolbox.tool import tool

PLACES = [(chapter, place) for chapter, places in CHAPTERS.items() for place in places]
OWN = [record(tools()[place.split(":")[1].replace("_", "-")]) for _, place in PLACES]
each_tool = pytest.mark.parametrize("one", OWN, ids=lambda one: one.name)

# ---- our own tools ----


@pytest.mark.parametrize(("chapter", "place"), PLACES, ids=[place for _, place in PLACES])
def test_every_place_holds_a_tool_of_its_chapter(chapter: str, place: str) -> None:
    module, name = place.split(":")
    function = getattr(importlib.import_module(module), name)
    assert record(function).function.__module__ == module
    assert module.split(".")[1] == chapter.split(":")[0].lower()
    assert tools()[name.replace("_", "-")] is function


def test_names_are_unlike_and_fit_a_command_line() -> None:
    names = [one.name for one in OWN]
    assert len(set(names)) == len(names) >= 10
    assert list(tools())[: len(names)] == names
    assert [name for name in names if not re.fullmatch(r"[a-z]+(-[a-z]+)*", name)] == []
    assert len({one.title for one in OWN}) == len(names)


def test_no_declared_tool_is_forgotten() -> None:
    declared = set()
    for found in pkgutil.walk_packages(toolbox.__path__, "toolbox."):
        module = importlib.import_module(found.name)
        for name, function in inspect.getmembers(module, inspect.isfunction):
            if hasattr(function, "tool") and function.tool.function.__module__ == found.name:
                declared.add(f"{found.name}:{name}")
    assert declared == {place for _, place in PLACES}


@each_tool
def test_every_result_has_a_writer(one: Any) -> None:
    assert one.returns in SUFFIXES


@each_tool
def test_every_layer_has_a_reader_and_every_number_a_unit(one: Any) -> None:
    for param in one.params:
        if param.type in READERS:
            continue
        plain = param.holds in (bool, str, int) or bool(param.choices)
        assert plain or param.range is not None, param.name
        assert param.many or param.type in (float, int, bool, str) or param.choices, param.name


@each_tool
def test_layers_come_first_and_options_by_name(one: Any) -> None:
    for parameter, param in zip(
        inspect.signature(one.function).parameters.values(), one.params, strict=True
    ):
        by_place = parameter.kind is inspect.Parameter.POSITIONAL_OR_KEYWORD
        assert by_place == (param.type in READERS), param.name


@each_tool
def test_every_default_is_allowed(one: Any) -> None:
    for param in one.params:
        if not param.required:
            param.check(param.default)


@each_tool
def test_every_docstring_says_what_comes_out(one: Any) -> None:
    assert re.fullmatch(r"[A-Z][^\n]*\.", one.summary)
    assert "\nReturns\n-------\n" in one.doc
    assert [param.name for param in one.params if not param.text.endswith(".")] == []


@each_tool
def test_no_tool_sees_a_path(one: Any) -> None:
    assert [param.name for param in one.params if param.type is Path] == []


def test_a_tool_is_found_by_its_name() -> None:
    assert find("slope") is tools()["slope"]
    with pytest.raises(ParameterError, match=r"no tool 'slop'; 'leadline tools' lists them$"):
        find("slop")


def test_a_function_that_is_not_declared_has_no_record() -> None:
    with pytest.raises(TypeError, match=r"is not declared as a tool$"):
        record(len)


# ---- tools of other packages ----


@dataclass(frozen=True)
class Entry:
    """Stands for an entry point of another package."""

    name: str
    found: Any

    def load(self) -> Callable[..., Any]:
        if isinstance(self.found, BaseException):
            raise self.found
        loaded: Callable[..., Any] = self.found
        return loaded


@tool("Depths doubled")
def double_depth(depth: Grid) -> Grid:
    """Return twice the depth.

    Parameters
    ----------
    depth : Grid
        Depth, m.

    Returns
    -------
    Grid
        Twice as deep.
    """
    return depth.of(depth.values * 2, "depth", "m")


@tool("Another slope")
def slope(depth: Grid) -> Grid:
    """Return nothing of use.

    Parameters
    ----------
    depth : Grid
        Depth, m.
    """
    return depth


@tool("Counts cells")
def count_cells(depth: Grid) -> int:
    """Return how many cells there are.

    Parameters
    ----------
    depth : Grid
        Depth, m.
    """
    return depth.values.size


@tool("Takes what nobody can give")
def take_mapping(depth: Grid, *, weights: dict[str, float]) -> Grid:
    """Return the same.

    Parameters
    ----------
    depth : Grid
        Depth, m.
    weights : dict
        By name.
    """
    return depth


@tool("Speaks of what is not there")
def later(depth: "Unheard") -> Grid:  # type: ignore[name-defined] # noqa: F821
    """Return the same.

    Parameters
    ----------
    depth : Unheard
        Depth, m.
    """
    return GRID


GRID = Grid(
    np.array([[1, 2], [3, np.nan]]),
    Affine(1, 0, 500_000, 0, -1, 5_200_000),
    pyproj.CRS.from_epsg(32633),
    "depth",
    "m",
)
FAULTS = {
    "missing library": (ImportError("No module named 'echo'"), "ImportError: No module named"),
    "leaves at import": (SystemExit(3), "SystemExit: 3"),
    "any fault": (RuntimeError("of two\nlines"), "RuntimeError: of two lines"),
    "no tool": (len, "TypeError: .* is not declared as a tool"),
    "name taken": (slope, "TypeError: the name 'slope' is taken"),
    "unknown type": (later, "NameError: .*Unheard"),
    "result without writer": (count_cells, r"TypeError: .*\bint\b"),
    "parameter nobody can give": (take_mapping, r"TypeError: .*weights"),
}
Plug = Callable[..., None]


@pytest.fixture
def plug(monkeypatch: pytest.MonkeyPatch) -> Iterator[Plug]:
    """Announce tools of another package for the time of a test."""

    def announce(**found: Any) -> None:
        entries = [Entry(name.replace("_", "-"), what) for name, what in found.items()]
        monkeypatch.setattr(
            catalogue, "entry_points", lambda group: entries if group == GROUP else []
        )
        clear()

    def clear() -> None:
        tools.cache_clear()
        catalogue._foreign.cache_clear()

    yield announce
    monkeypatch.undo()
    clear()


@pytest.mark.parametrize(("found", "said"), FAULTS.values(), ids=FAULTS.keys())
def test_a_broken_tool_is_listed_and_harms_nothing(
    found: Any, said: str, plug: Plug, capsys: pytest.CaptureFixture[str]
) -> None:
    plug(odd=found, double_depth=double_depth)
    assert list(tools()) == [*(one.name for one in OWN), "double-depth"]
    assert set(broken()) == {"odd"}
    assert re.match(said, broken()["odd"])
    assert "\n" not in broken()["odd"]
    assert main(["tools"]) == 0
    told = capsys.readouterr()
    assert re.search(rf"^odd +cannot be used: {said}", told.out, re.M)
    assert len(told.out.splitlines()) == len(OWN) + 2
    assert told.err == ""
    assert main(["--help"]) == 0
    assert "odd" not in capsys.readouterr().out.split()


def test_a_good_tool_of_another_package_works_like_our_own(
    plug: Plug, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    plug(double_depth=double_depth)
    assert broken() == {}
    assert find("double-depth") is double_depth
    write_grid(GRID, tmp_path / "depth.tif")
    assert main(["double-depth", f"{tmp_path}/depth.tif", "--out", f"{tmp_path}/twice.tif"]) == 0
    twice = read_grid(tmp_path / "twice.tif").values
    assert twice == pytest.approx(np.array([[2, 4], [6, np.nan]]), nan_ok=True)
    capsys.readouterr()
    assert main(["--help"]) == 0
    assert re.search(
        r"Tools: other packages:\n +double-depth +Depths doubled", capsys.readouterr().out
    )
    assert main(["describe", "double-depth"]) == 0
    assert capsys.readouterr().out.startswith("# Depths doubled")


def test_one_name_is_given_once(plug: Plug) -> None:
    plug(first=double_depth, second=double_depth)
    assert list(tools()).count("double-depth") == 1
    assert broken() == {"second": "TypeError: the name 'double-depth' is taken"}


def test_without_other_packages_there_are_our_own_tools(plug: Plug) -> None:
    plug()
    assert list(tools()) == [one.name for one in OWN]
    assert broken() == {}
