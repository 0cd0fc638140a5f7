"""Settings written as TOML."""

import tomllib

from hypothesis import given
from hypothesis import strategies as st

from toolbox.batch.toml_text import toml_text

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
