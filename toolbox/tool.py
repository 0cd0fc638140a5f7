"""Declare a tool once: defaults in the signature, facts in the annotation, prose in the docstring.

The decorator reads the docstring at import, so that an undocumented parameter never ships; types
are resolved when first needed, so that listing the tools imports nothing heavy.
"""

import functools
import inspect
import math
import re
from collections.abc import Callable
from dataclasses import dataclass
from numbers import Integral, Real
from types import NoneType, UnionType
from typing import (
    Annotated,
    Any,
    Literal,
    ParamSpec,
    TypeVar,
    Union,
    get_args,
    get_origin,
    get_type_hints,
)

from toolbox.errors import ParameterError

__all__ = ["REQUIRED", "Param", "Range", "Reach", "Tool", "checked", "read_params", "tool"]

REQUIRED = inspect.Parameter.empty
P = ParamSpec("P")
R = TypeVar("R")


@dataclass(frozen=True)
class Range:
    """Unit of a number and the interval it must lie in.

    `above` excludes its end; `min` and `max` include theirs.
    """

    unit: str
    min: float | None = None
    max: float | None = None
    above: float | None = None

    def check(self, name: str, number: Any) -> None:
        """Raise ParameterError if `number` lies outside."""
        if not self._holds(name, number):
            raise ParameterError(f"{name} must be {self}, got {number!r}")

    def _holds(self, name: str, number: Any) -> bool:
        if isinstance(number, bool) or not isinstance(number, Real):
            raise ParameterError(f"{name} must be a number ({self}), got {number!r}")
        try:
            number = float(number)
        except OverflowError:  # a whole number beyond all floats
            return False
        return (
            math.isfinite(number)
            and (self.min is None or number >= self.min)
            and (self.max is None or number <= self.max)
            and (self.above is None or number > self.above)
        )

    @property
    def interval(self) -> str:
        """The bounds in words, empty where there are none."""
        ends = ((">", self.above), (">=", self.min), ("<=", self.max))
        return " and ".join(f"{sign} {end:g}" for sign, end in ends if end is not None)

    def __str__(self) -> str:
        return f"{self.interval or 'finite'} {self.unit}".rstrip()


@dataclass(frozen=True)
class Param:
    """One parameter of a tool, read from its signature and docstring."""

    name: str
    type: Any
    default: Any
    text: str
    range: Range | None = None

    @property
    def required(self) -> bool:
        """Whether a caller must give it."""
        return self.default is REQUIRED

    @property
    def many(self) -> bool:
        """Whether it takes several values."""
        return get_origin(self.type) is tuple

    @property
    def holds(self) -> Any:
        """The type of each of its values."""
        return get_args(self.type)[0] if self.many else self.type

    @property
    def choices(self) -> tuple[str, ...]:
        """The values allowed, where the choice is fixed."""
        return get_args(self.type) if get_origin(self.type) is Literal else ()

    def check(self, value: Any) -> None:
        """Raise ParameterError if `value` is not allowed."""
        if value is None and self.default is None:
            return
        if self.range:
            for number in self._several(value) if self.many else (value,):
                self.range.check(self.name, number)
                if self.holds is int and not isinstance(number, Integral):
                    raise ParameterError(f"{self.name} must be a whole number, got {number!r}")
        elif self.choices:
            if value not in self.choices:
                allowed = ", ".join(repr(choice) for choice in self.choices)
                raise ParameterError(f"{self.name} must be one of {allowed}, got {value!r}")
        else:
            for one in self._several(value) if self.many else (value,):
                if not isinstance(one, self.holds):
                    kind = type(one).__name__
                    raise ParameterError(
                        f"{self.name} must be a {self.holds.__name__}, got a {kind}"
                    )

    def _several(self, value: Any) -> list[Any]:
        if isinstance(value, (str, bytes)) or not hasattr(value, "__iter__"):
            what = f"a number ({self.range})" if self.range else "several texts"
            raise ParameterError(f"{self.name} must be {what}, got {value!r}")
        return list(value)


class Tool:
    """A function plus everything the other doors need to know about it."""

    def __init__(
        self,
        function: Callable[..., Any],
        title: str,
        types: "Types" = dict,
        *,
        reach: "Reach | None" = None,
        workspace: Callable[..., int] | None = None,
        blocks: Callable[..., Any] | None = None,
    ) -> None:
        self.function = function
        self.title = title
        self.blocks = blocks
        self._types = types
        self._reach = reach
        self._workspace = workspace
        self.name = function.__name__.replace("_", "-")
        self.doc = inspect.getdoc(function) or ""
        self.summary = " ".join(self.doc.split("\n\n")[0].split())
        self._texts = _documented(function)

    @functools.cached_property
    def params(self) -> tuple[Param, ...]:
        """Its parameters in order."""
        return _params(self.function, self._texts, self._types())

    @functools.cached_property
    def returns(self) -> Any:
        """The type of its result."""
        return get_type_hints(self.function, localns=self._types())["return"]

    @property
    def by_windows(self) -> bool:
        """Whether a raster can be gone through window by window, with the same result."""
        return self._reach is not None

    @property
    def by_blocks(self) -> bool:
        """Whether its result can be had block by block, so that it may be larger than memory."""
        return self.by_windows or self.blocks is not None

    def reach(self, layer: Any, options: dict[str, Any]) -> int:
        """Return how many cells away something can lie that a cell's value depends on.

        Raises
        ------
        ParameterError
            If the options do not fit the raster.
        """
        if self._reach is None:
            raise TypeError(f"{self.name} needs the whole raster")
        if isinstance(self._reach, int):
            return self._reach
        return self._reach(layer, **self._completed(options))

    def workspace(self, layer: Any, shape: tuple[int, int], options: dict[str, Any]) -> int:
        """Return the bytes that work on a window takes beside it, its result and one more."""
        return self._workspace(layer, shape, **self._completed(options)) if self._workspace else 0

    def _completed(self, options: dict[str, Any]) -> dict[str, Any]:
        left_out = {param.name: param.default for param in self.params if not param.required}
        return left_out | options

    def check(self, arguments: dict[str, Any]) -> None:
        """Raise ParameterError if one of the named `arguments` is not allowed."""
        for param in self.params:
            if param.name in arguments:
                param.check(arguments[param.name])


Types = Callable[[], dict[str, Any]]
"""Gives the types that annotations name but their module does not import."""

Reach = int | Callable[..., int]
"""How many cells away something can lie that a cell's value depends on: a number, or what gives one
from the raster (its ``cell`` and ``shape``) and the tool's options."""


def tool(
    title: str,
    *,
    types: Types = dict,
    reach: Reach | None = None,
    workspace: Callable[..., int] | None = None,
    blocks: Callable[..., Any] | None = None,
) -> Callable[[Callable[P, R]], Callable[P, R]]:
    """Attach a :class:`Tool` to the function and enforce what it declares.

    Parameters
    ----------
    title : str
        A few words for lists of tools.
    types : callable
        Gives, when first needed, types that annotations name in quotes but the module does not
        import at its head, because they are heavy.
    reach : int or callable, optional
        Of a tool from raster to raster: how many cells away something can lie that a cell's value
        depends on. Declared, the tool works on rasters larger than memory, window by window. To be
        left out where a value depends on the whole raster.
    workspace : callable, optional
        Gives the bytes that work on a window takes beside the window and two more of its size;
        from the whole raster, the shape of the window and the tool's options.
    blocks : callable, optional
        Gives the result as ``GridBlocks``, with the same bits, to those who cannot hold it whole;
        takes the tool's options. With `reach` its layer is ``GridWindows``, and the rows and
        columns that are kept of a window are its option ``size``; without, it takes the tool's own
        layer and ``rows``, the height of a block. If left out, the tool is called on each window.

    Returns
    -------
    callable
        The decorator. The decorated function has its record in the attribute ``tool``.

    Raises
    ------
    TypeError
        When a parameter has no annotation or no docstring entry of its own.
    """

    def declare(function: Callable[P, R]) -> Callable[P, R]:
        record = Tool(function, title, types, reach=reach, workspace=workspace, blocks=blocks)
        declared = _checked(function, record)
        declared.tool = record  # type: ignore[attr-defined]
        return declared

    return declare


def checked(function: Callable[P, R]) -> Callable[P, R]:
    """Enforce what the signature and docstring of a function declare, without making it a tool.

    Parameters
    ----------
    function : callable
        Annotated, with a numpydoc docstring: one entry per parameter.

    Returns
    -------
    callable
        It raises ParameterError where an argument is not allowed.
    """
    return _checked(function, Tool(function, ""))


def _checked(function: Callable[P, R], record: Tool) -> Callable[P, R]:
    signature = inspect.signature(function)

    @functools.wraps(function)
    def call(*args: P.args, **kwargs: P.kwargs) -> R:
        record.check(signature.bind(*args, **kwargs).arguments)
        return function(*args, **kwargs)

    return call


def read_params(function: Callable[..., Any]) -> tuple[Param, ...]:
    """Read the parameters of a documented function that is not itself a tool.

    Parameters
    ----------
    function : callable
        Annotated, with a numpydoc docstring: one entry per parameter.

    Returns
    -------
    tuple of Param
        In the order of the signature.
    """
    return _params(function, _documented(function), {})


def _params(
    function: Callable[..., Any], texts: dict[str, str], types: dict[str, Any]
) -> tuple[Param, ...]:
    hints = get_type_hints(function, localns=types, include_extras=True)
    signature = inspect.signature(function)
    return tuple(_param(p, hints[p.name], texts[p.name]) for p in signature.parameters.values())


def _param(parameter: inspect.Parameter, hint: Any, text: str) -> Param:
    if get_origin(hint) in (Union, UnionType):  # X | None: the facts belong to X
        (hint,) = [part for part in get_args(hint) if part is not NoneType]
    kind, fact = get_args(hint) if get_origin(hint) is Annotated else (hint, None)
    return Param(parameter.name, kind, parameter.default, text, fact)


def _documented(function: Callable[..., Any]) -> dict[str, str]:
    """Return the docstring text of each parameter, refusing one that has none."""
    text = _sections(inspect.getdoc(function) or "")
    parameters = inspect.signature(function).parameters
    unannotated = {p.name for p in parameters.values() if p.annotation is REQUIRED}
    for known, place in ((parameters.keys() - unannotated, "annotation"), (text, "entry")):
        if missing := sorted(parameters.keys() - known):
            raise TypeError(f"{function.__qualname__}: no {place} of its own for {missing}")
    return text


def _sections(doc: str) -> dict[str, str]:
    """Text of each entry under ``Parameters`` in a numpydoc docstring."""
    found = re.search(r"Parameters\n-+\n(.*?)(?:\n\n\w[\w ]*\n-+\n|\Z)", doc, re.S)
    entries = re.findall(
        r"^(\w+) : .*\n((?:    .*\n?|\n)+)", found[1] + "\n" if found else "", re.M
    )
    return {name: " ".join(body.split()) for name, body in entries}
