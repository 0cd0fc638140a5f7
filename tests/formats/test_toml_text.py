"""TOML is read within bounds, and what is written is read back."""

import tomllib
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from toolbox.errors import InputFileError
from toolbox.formats.toml_text import read_toml, toml_text


def put(path: Path, text: str) -> Path:
    path.write_text(text, encoding="utf-8")
    return path


def test_a_file_is_read_as_it_stands(tmp_path: Path) -> None:
    path = put(tmp_path / "a.toml", "\ufeffa.b = 1\n[[c]]\nd = [1, [2]]\n")
    assert read_toml(path) == {"a": {"b": 1}, "c": [{"d": [1, [2]]}]}


def test_prose_and_remarks_may_hold_any_number_of_points(tmp_path: Path) -> None:
    prose = "It rained. " * 200
    path = put(tmp_path / "a.toml", f'# {"a." * 200}\nremarks = "{"." * 200}"\nb = "{prose}"\n')
    assert read_toml(path)["b"] == prose


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("a = \n", "Invalid value"),
        (f"{'.'.join('a' * 40)} = 1\n", "line 1 has a key of more than 32 names"),
        (f"b = {{ {' . '.join('a' * 40)} = 1 }}\n", "line 1 has a key of more than 32 names"),
        (f"a = {'[' * 40}{']' * 40}\n", "nested too deep"),
        (f"a = {'[' * 5000}", "nested too deep"),
        ("a = " + "9" * 5000, "limit"),
        ("#" * (2**20 + 1), "more than 1048576 characters"),
    ],
)
def test_what_nobody_writes_is_refused(text: str, words: str, tmp_path: Path) -> None:
    with pytest.raises(ValueError, match=words):
        read_toml(put(tmp_path / "a.toml", text))


def test_bytes_that_are_no_text_are_refused(tmp_path: Path) -> None:
    (tmp_path / "a.toml").write_bytes(b"a = '\xff'\n")
    with pytest.raises(ValueError, match="utf-8"):
        read_toml(tmp_path / "a.toml")
    with pytest.raises(InputFileError, match=r"b\.toml does not exist"):
        read_toml(tmp_path / "b.toml")


_text = st.text(st.characters(codec="utf-8"), max_size=20)
_value = st.one_of(
    st.booleans(),
    st.integers(-(2**63), 2**63 - 1),
    st.floats(allow_nan=False, allow_infinity=False),
    _text,
    st.lists(st.integers(0, 9), max_size=3),
)
_table = st.dictionaries(_text, _value, max_size=4)


@given(
    st.dictionaries(
        _text,
        st.one_of(
            _value,
            _table,
            st.lists(_table, min_size=1, max_size=3),
            st.dictionaries(_text, _table, max_size=2),
        ),
        max_size=5,
    )
)
def test_what_is_written_is_read_back(given_: dict[str, object]) -> None:
    assert tomllib.loads(toml_text(given_)) == given_


def test_what_is_not_there_is_left_out() -> None:
    assert tomllib.loads(toml_text({"water": {"name": "Mere", "layer": None}})) == {
        "water": {"name": "Mere"}
    }
