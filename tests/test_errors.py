"""One family of errors, each also the built-in that a caller expects."""

import copyreg
import pickle

import pytest

from toolbox import errors
from toolbox.errors import (
    InputFileError,
    LayerError,
    MissingExtraError,
    OutputError,
    ParameterError,
    SettingsError,
    TooLargeError,
    ToolboxError,
)

FAMILY = [
    (ParameterError, ValueError),
    (LayerError, ValueError),
    (InputFileError, ValueError),
    (SettingsError, ValueError),
    (OutputError, OSError),
    (TooLargeError, MemoryError),
    (MissingExtraError, ImportError),
]
IDS = [error.__name__ for error, _ in FAMILY]


def throw(error: type[ToolboxError]) -> None:
    raise error("a.csv, line 3: what is wrong, got 'x'")


def test_the_family_is_complete_and_small() -> None:
    named = {getattr(errors, name) for name in errors.__all__}
    assert named == {ToolboxError, *(error for error, _ in FAMILY)}
    assert len(FAMILY) <= 7
    assert set(ToolboxError.__subclasses__()) >= named - {ToolboxError}


@pytest.mark.parametrize(("error", "builtin"), FAMILY, ids=IDS)
def test_each_is_caught_as_family_and_as_builtin(
    error: type[ToolboxError], builtin: type[Exception]
) -> None:
    for expected in (error, ToolboxError, builtin):
        with pytest.raises(expected, match=r"^a\.csv, line 3: what is wrong, got 'x'$"):
            throw(error)


@pytest.mark.parametrize(("error", "builtin"), FAMILY, ids=IDS)
def test_none_is_caught_as_another(error: type[ToolboxError], builtin: type[Exception]) -> None:
    assert error.__bases__ == (ToolboxError, builtin)
    others = {other for other, _ in FAMILY} - {error}
    assert not any(issubclass(error, other) for other in others)


@pytest.mark.parametrize(("error", "builtin"), FAMILY, ids=IDS)
def test_each_travels_between_processes(
    error: type[ToolboxError], builtin: type[Exception], monkeypatch: pytest.MonkeyPatch
) -> None:
    # a scheduler's library changes how all errors are told, in processes that have imported it
    monkeypatch.delitem(copyreg.dispatch_table, error, raising=False)
    again = pickle.loads(pickle.dumps(error("got 7")))
    assert type(again) is error
    assert str(again) == "got 7"


def test_several_faults_are_told_a_line_each() -> None:
    error = SettingsError("a is\nwrong", "b is wrong")
    assert error.faults == ("a is wrong", "b is wrong")
    assert str(error) == "a is wrong\nb is wrong"
    assert pickle.loads(pickle.dumps(error)).faults == error.faults


@pytest.mark.parametrize("count", [1, 20, 21, 300])
def test_of_many_faults_the_first_are_told_and_the_others_counted(count: int) -> None:
    error = SettingsError(*(f"fault {number}" for number in range(1, count + 1)))
    lines = str(error).split("\n")
    more = [] if count <= 20 else [f"and {count - 20} more"]
    assert lines == [*error.faults[:20], *more]
    assert len(error.faults) == count


def test_the_root_is_no_builtin() -> None:
    """Catching ValueError does not catch the family by accident."""
    assert ToolboxError.__bases__ == (Exception,)
