"""Sections: tables of the survey file, and the rules between keys, of which none hides another."""

from collections.abc import Callable, Iterator, Mapping
from functools import cache, partial
from typing import Annotated, Any, ClassVar, Self, cast, get_args

from pydantic import (
    BaseModel,
    ConfigDict,
    ModelWrapValidatorHandler,
    TypeAdapter,
    ValidationError,
    ValidationInfo,
    model_validator,
)
from pydantic_core import InitErrorDetails, PydanticCustomError

__all__ = ["Known", "Rule", "Section", "Unsound", "inner_section", "is_list", "keys_fit"]

Rule = Callable[[Any], Iterator[str]]
"""Says what is wrong between the keys of a section; asks it for keys by their names alone."""


class Unsound(Exception):  # noqa: N818  no error: it only ends a rule
    """A key that a rule asks for is wrong itself, which is told already."""


class Section(BaseModel):
    """A table of the survey file: no unknown keys, nothing changed afterwards."""

    model_config = ConfigDict(extra="forbid", frozen=True)
    rules: ClassVar[tuple[Rule, ...]] = ()

    @model_validator(mode="wrap")
    @classmethod
    def _tell_all(
        cls, given: Any, check: ModelWrapValidatorHandler[Self], info: ValidationInfo
    ) -> Self:
        """Tell every key that is wrong, and every rule that is broken by those that are not."""
        try:
            made = check(given)
        except ValidationError as error:
            found = [_again(fault) for fault in error.errors()]
            found += _broken(cls, Known(cls, given, info.context), given)
            raise ValidationError.from_exception_data(cls.__name__, found) from None
        if broken := _broken(cls, made, given):
            raise ValidationError.from_exception_data(cls.__name__, broken)
        return made

    def differs(self, key: str) -> bool:
        """Tell whether a key says other than if it were left out."""
        return getattr(self, key) != type(self).model_fields[key].default


class Known:
    """A section of which some keys are wrong; the others are read when they are asked for.

    Parameters
    ----------
    section : type
        Which one.
    given : object
        What a file says, as it stands there.
    context : object
        As for the section itself.
    """

    def __init__(self, section: type[Section], given: Any, context: Any) -> None:
        self._section, self._given, self._context = section, given, context

    def __getattr__(self, key: str) -> Any:
        """Return what a key says, or raise Unsound."""
        field = self._section.model_fields.get(key)
        if field is None:
            raise AttributeError(f"{self._section.__name__} has no key {key!r}")
        if not isinstance(self._given, dict) or (key not in self._given and field.is_required()):
            raise Unsound(key)
        if key not in self._given:
            return field.get_default()
        inner, value = inner_section(field.annotation), self._given[key]
        if inner is not None and not is_list(field.annotation):
            return Known(inner, value, self._context)
        if inner is not None and isinstance(value, list) and value:
            return tuple(Known(inner, part, self._context) for part in value)
        try:
            return _reader(self._section, key).validate_python(value, context=self._context)
        except ValidationError:
            raise Unsound(key) from None

    def __iter__(self) -> Iterator[tuple[str, Any]]:
        """Go through what keys say, leaving out those that are wrong."""
        for key in self._section.model_fields:
            try:
                yield key, getattr(self, key)
            except Unsound:
                continue

    def differs(self, key: str) -> bool:
        """Tell whether a key says other than if it were left out, or raise Unsound."""
        return getattr(self, key) != self._section.model_fields[key].default


def keys_fit(kinds: Mapping[str, tuple[str, ...]]) -> tuple[Rule, ...]:
    """Return the rules that keys are given only for the kinds that they fit.

    Parameters
    ----------
    kinds : mapping
        Keys that do not fit every kind, and those they fit.
    """
    return tuple(partial(_fits, key=key, kinds=fitting) for key, fitting in kinds.items())


def inner_section(hint: Any) -> type[Section] | None:
    """Return the section that a key holds, if it holds one."""
    for option in (hint, *get_args(hint)):
        if isinstance(option, type) and issubclass(option, Section):
            return option
    return None


def is_list(hint: Any) -> bool:
    """Tell whether a key holds any number of something."""
    return any(option is Ellipsis for option in get_args(hint))


def _fits(section: Any, *, key: str, kinds: tuple[str, ...]) -> Iterator[str]:
    if section.kind not in kinds and section.differs(key):
        allowed = " or ".join(map(repr, kinds))
        yield f"{key} is for kind = {allowed}, got kind = {section.kind!r}"


def _broken(section: type[Section], known: Any, given: Any) -> list[InitErrorDetails]:
    """Return what rules say; one that asks for a key that is wrong is not heard further."""
    told: list[str] = []
    for rule in section.rules:
        try:
            told += rule(known)
        except Unsound:
            continue
    return [_detail("value_error", f"Value error, {text}", (), given) for text in told]


def _again(fault: Any) -> InitErrorDetails:
    """Return a fault of a part as one of the whole."""
    return _detail(fault["type"], fault["msg"], fault["loc"], fault["input"])


def _detail(kind: Any, text: Any, key: tuple[int | str, ...], given: Any) -> InitErrorDetails:
    return InitErrorDetails(type=PydanticCustomError(kind, text), loc=key, input=given)


@cache
def _reader(section: type[Section], key: str) -> TypeAdapter[Any]:
    field, annotated = section.model_fields[key], cast(Any, Annotated)
    told = (field.annotation, *field.metadata)
    return TypeAdapter(annotated[told] if field.metadata else cast(Any, field.annotation))
