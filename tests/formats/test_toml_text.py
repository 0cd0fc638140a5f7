"""TOML within bounds."""

from pathlib import Path

import pytest

from toolbox.errors import InputFileError
from toolbox.formats.toml_text import read_toml


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
