"""A tool is declared once: what it says of itself is read, and what it allows enforced."""

import inspect
import math
from collections.abc import Callable
from decimal import Decimal
from fractions import Fraction
from typing import Annotated, Any, Literal

import numpy as np
import pytest
from affine import Affine

from toolbox.catalogue import record
from toolbox.errors import ParameterError
from toolbox.layers import Grid
from toolbox.tool import REQUIRED, Param, Range, Tool, checked, read_params, tool


@tool("A pond of one depth")
def pond(
    depth: Grid,
    other: Grid | None = None,
    *,
    width: Annotated[float, Range("m", above=0)],
    share: Annotated[float, Range("", min=0, max=1)] = 0.5,
    level: Annotated[float, Range("m")] | None = None,
    levels: Annotated[tuple[float, ...], Range("m", min=-5)] | None = None,
    rule: Literal["mean", "shoalest"] = "mean",
    cure: bool = True,
    name: str = "pond",
) -> Grid:
    """Fill a pond with water.

    A second paragraph.

    Parameters
    ----------
    depth : Grid
        Depth, m,
        positive down.

        With a paragraph of its own.
    other : Grid, optional
        Another.
    width : float
        How wide.
    share : float
        How much of it.
    level : float, optional
        Where the water stands.
    levels : tuple of float, optional
        Where else: a list such as
        ``1, 2``.
    rule : str
        Which rule.
    cure : bool
        Whether to cure.
    name : str
        Its name.

    Returns
    -------
    Grid
        The pond.

    Notes
    -----
    width : float
        This is no parameter.
    """
    return depth


TOOL = record(pond)
PARAMS = {param.name: param for param in TOOL.params}
GRID = Grid(np.zeros((2, 2)), Affine(1, 0, 0, 0, -1, 2), None, "depth", "m")


# ---- what is read ----


def test_the_record_says_what_was_declared() -> None:
    assert (TOOL.name, TOOL.title) == ("pond", "A pond of one depth")
    assert TOOL.summary == "Fill a pond with water."
    assert TOOL.returns is Grid
    assert TOOL.doc.startswith("Fill a pond with water.\n\nA second paragraph.")


def test_parameters_come_in_order_with_their_facts() -> None:
    assert list(PARAMS) == list(inspect.signature(pond).parameters)
    assert {name for name, param in PARAMS.items() if param.required} == {"depth", "width"}
    assert {name for name, param in PARAMS.items() if param.many} == {"levels"}
    assert PARAMS["rule"].choices == ("mean", "shoalest")
    assert PARAMS["share"].choices == ()
    assert PARAMS["width"].default is REQUIRED
    assert PARAMS["share"].default == 0.5


def test_an_optional_parameter_keeps_its_facts() -> None:
    assert PARAMS["level"].range == Range("m")
    assert PARAMS["levels"].range == Range("m", min=-5)
    assert PARAMS["level"].type is float
    assert PARAMS["other"].type is Grid


def test_texts_are_those_of_the_docstring() -> None:
    assert PARAMS["depth"].text == "Depth, m, positive down. With a paragraph of its own."
    assert PARAMS["levels"].text == "Where else: a list such as ``1, 2``."
    assert PARAMS["name"].text == "Its name."  # the last entry ends where the next section begins
    assert PARAMS["width"].text == "How wide."  # and Notes are no parameters


def test_the_declared_function_is_still_itself() -> None:
    assert pond.__name__ == "pond"
    assert pond.__doc__ == TOOL.function.__doc__
    assert inspect.signature(pond) == inspect.signature(TOOL.function)
    assert pond(GRID, width=2.0) is GRID


def test_names_are_written_with_hyphens() -> None:
    def fill_the_pond() -> Grid:
        """Fill."""
        return GRID

    assert Tool(fill_the_pond, "Fill").name == "fill-the-pond"


def test_options_of_readers_are_read_alike() -> None:
    def read(path: str, *, band: int = 1) -> Grid:
        """Read.

        Parameters
        ----------
        path : str
            Where.
        band : int
            Which band.
        """
        return GRID

    assert read_params(read) == (
        Param("path", str, REQUIRED, "Where."),
        Param("band", int, 1, "Which band."),
    )


def test_a_reader_is_checked_without_being_a_tool() -> None:
    @checked
    def read(path: str, *, within: Annotated[float, Range("m", above=0)] = 5.0) -> str:
        """Read.

        Parameters
        ----------
        path : str
            Where.
        within : float
            How near.
        """
        return f"{path} {within:g}"

    assert read("a", within=2) == "a 2"
    assert not hasattr(read, "tool")
    assert [param.name for param in read_params(read)] == ["path", "within"]
    with pytest.raises(ParameterError, match=r"^within must be > 0 m, got 0$"):
        read("a", within=0)
    with pytest.raises(ParameterError, match=r"^path must be a str, got a int$"):
        read(7)  # type: ignore[arg-type]


# ---- what is refused at import ----


def undocumented(depth: Grid, width: float) -> Grid:
    """Fill.

    Parameters
    ----------
    depth : Grid
        Depth.
    """
    return depth


def two_in_one_entry(depth: Grid, width: float, height: float) -> Grid:
    """Fill.

    Parameters
    ----------
    depth : Grid
        Depth.
    width, height : float
        Both.
    """
    return depth


def entry_without_text(depth: Grid, width: float) -> Grid:
    """Fill.

    Parameters
    ----------
    depth : Grid
        Depth.
    width : float
    """
    return depth


def without_annotation(depth: Grid, width) -> Grid:  # type: ignore[no-untyped-def]
    """Fill.

    Parameters
    ----------
    depth : Grid
        Depth.
    width : float
        Width.
    """
    return depth


def without_docstring(depth: Grid) -> Grid:
    return depth


@pytest.mark.parametrize(
    ("function", "words"),
    [
        (undocumented, r"undocumented: no entry of its own for \['width'\]$"),
        (two_in_one_entry, r"two_in_one_entry: no entry of its own for \['height', 'width'\]$"),
        (entry_without_text, r"entry_without_text: no entry of its own for \['width'\]$"),
        (without_annotation, r"without_annotation: no annotation of its own for \['width'\]$"),
        (without_docstring, r"without_docstring: no entry of its own for \['depth'\]$"),
    ],
    ids=lambda value: getattr(value, "__name__", None),
)
def test_what_is_not_documented_does_not_ship(function: Callable[..., Grid], words: str) -> None:
    with pytest.raises(TypeError, match=words):
        tool("A pond")(function)
    with pytest.raises(TypeError, match=words):
        read_params(function)


def test_types_are_not_looked_up_before_they_are_needed() -> None:
    def later(depth: "Unheard") -> "Unheard":  # type: ignore[name-defined] # noqa: F821
        """Fill.

        Parameters
        ----------
        depth : Unheard
            Depth.
        """
        return depth

    declared = record(tool("Later")(later))
    with pytest.raises(NameError, match="Unheard"):
        _ = declared.params


# ---- what is refused when called ----


@pytest.mark.parametrize("width", [2, 2.5, 1e-300, np.float32(2), np.int64(3), Fraction(1, 2)])
def test_numbers_of_every_kind_are_numbers(width: float) -> None:
    assert pond(GRID, width=width) is GRID


@pytest.mark.parametrize("width", [0, -1, -0.0, math.nan, math.inf, np.float64("nan")])
def test_numbers_out_of_range_are_refused(width: float) -> None:
    with pytest.raises(ParameterError, match=r"^width must be > 0 m, got \S+$"):
        pond(GRID, width=width)


@pytest.mark.parametrize(
    "width",
    [True, np.True_, "2", "2 m", None, 2j, Decimal(2), np.array([2.0, 3.0]), [2.0], (2.0, 3)],
)
def test_what_is_no_number_is_refused(width: Any) -> None:
    with pytest.raises(ParameterError, match=r"^width must be a number \(> 0 m\), got "):
        pond(GRID, width=width)


@pytest.mark.parametrize(("share", "good"), [(0, True), (1, True), (-1e-9, False), (1.0001, False)])
def test_ends_of_a_range_belong_to_it(share: float, good: bool) -> None:
    if good:
        assert pond(GRID, width=1, share=share) is GRID
        return
    with pytest.raises(ParameterError, match=rf"^share must be >= 0 and <= 1, got {share}$"):
        pond(GRID, width=1, share=share)


@pytest.mark.parametrize("levels", [(0.0,), (0, 1.5, np.float32(2)), [1, 2], None])
def test_several_numbers_may_be_given(levels: Any) -> None:
    assert pond(GRID, width=1, levels=levels) is GRID


def test_several_numbers_may_come_as_an_array() -> None:
    assert pond(GRID, width=1, levels=np.array([0.0, 1.5])) is GRID  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("levels", "words"),
    [
        ((0.0, math.nan), r"^levels must be >= -5 m, got nan$"),
        ((0.0, -6), r"^levels must be >= -5 m, got -6$"),
        ((0.0, "1"), r"^levels must be a number \(>= -5 m\), got '1'$"),
        ((True,), r"^levels must be a number \(>= -5 m\), got True$"),
        ("12", r"^levels must be a number \(>= -5 m\), got '12'$"),
    ],
)
def test_each_of_several_numbers_is_checked(levels: Any, words: str) -> None:
    with pytest.raises(ParameterError, match=words):
        pond(GRID, width=1, levels=levels)


@pytest.mark.parametrize("rule", ["Mean", "median", "", None, 1, ["mean"]])
def test_a_choice_is_one_of_those_offered(rule: Any) -> None:
    with pytest.raises(ParameterError, match=r"^rule must be one of 'mean', 'shoalest', got "):
        pond(GRID, width=1, rule=rule)


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ({"depth": np.zeros((2, 2))}, r"^depth must be a Grid, got a ndarray$"),
        ({"depth": "depth.tif"}, r"^depth must be a Grid, got a str$"),
        ({"depth": None}, r"^depth must be a Grid, got a NoneType$"),
        ({"depth": GRID, "other": 3}, r"^other must be a Grid, got a int$"),
        ({"depth": GRID, "cure": "no"}, r"^cure must be a bool, got a str$"),
        ({"depth": GRID, "cure": 1}, r"^cure must be a bool, got a int$"),
        ({"depth": GRID, "name": 7}, r"^name must be a str, got a int$"),
    ],
)
def test_a_layer_or_a_word_of_the_wrong_kind_is_refused(
    arguments: dict[str, Any], words: str
) -> None:
    with pytest.raises(ParameterError, match=words):
        pond(**arguments, width=1)


def test_arguments_by_place_are_checked_too() -> None:
    with pytest.raises(ParameterError, match=r"^other must be a Grid, got a float$"):
        pond(GRID, 2.0, width=1)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ({}, "missing a required (keyword-only )?argument: 'width'"),
        ({"width": 1, "heigth": 2}, "unexpected keyword argument 'heigth'"),
    ],
)
def test_arguments_that_do_not_fit_are_refused_as_python_does(
    arguments: dict[str, Any], words: str
) -> None:
    with pytest.raises(TypeError, match=words):
        pond(GRID, **arguments)


def test_what_is_left_out_is_not_checked() -> None:
    """Defaults are the author's: only what a caller gives is judged."""
    assert pond(GRID, None, width=1, level=None, levels=None) is GRID


# ---- ranges in words ----


@pytest.mark.parametrize(
    ("limits", "words"),
    [
        (Range("m"), "finite m"),
        (Range(""), "finite"),
        (Range("m", above=0), "> 0 m"),
        (Range("", min=0, max=1), ">= 0 and <= 1"),
        (Range("degree", min=0, max=90), ">= 0 and <= 90 degree"),
        (Range("m", max=-0.25), "<= -0.25 m"),
    ],
)
def test_a_range_says_what_it_allows(limits: Range, words: str) -> None:
    assert str(limits) == words


# ---- pieces ----


def far(depth: Grid, *, radius: float | None, **_: Any) -> int:
    return 7 if radius is None else round(radius / depth.cell)


@tool("Smoothed", reach=far, workspace=lambda _, shape, **__: shape[0])
def smoothed(
    depth: Grid, *, radius: Annotated[float, Range("m", above=0)] | None = None, name: str = "s"
) -> Grid:
    """Return the depth as it is.

    Parameters
    ----------
    depth : Grid
        Depth, m.
    radius : float, optional
        How far to look.
    name : str
        Unused.

    Returns
    -------
    Grid
        The same.
    """
    del radius, name
    return depth


def test_how_far_a_tool_reaches_follows_from_its_options() -> None:
    depth = Grid(np.ones((4, 5)), Affine(2, 0, 0, 0, -2, 0), None, "depth", "m")
    declared = record(smoothed)
    assert (declared.by_windows, declared.by_blocks, declared.blocks) == (True, True, None)
    assert declared.reach(depth, {}) == 7
    assert declared.reach(depth, {"radius": 10.0, "name": "t"}) == 5
    assert declared.workspace(depth, (3, 9), {}) == 3


def test_a_tool_that_declares_no_reach_needs_the_whole_raster() -> None:
    depth = Grid(np.ones((4, 5)), Affine(2, 0, 0, 0, -2, 0), None, "depth", "m")
    declared = record(pond)
    assert (declared.by_windows, declared.by_blocks) == (False, False)
    assert declared.workspace(depth, (3, 9), {}) == 0
    with pytest.raises(TypeError, match=r"^pond needs the whole raster$"):
        declared.reach(depth, {})
