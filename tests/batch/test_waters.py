"""Names of folders, and records."""

import pytest

from toolbox.batch.waters import Record, check_folders, folder_name
from toolbox.errors import SettingsError


@pytest.mark.parametrize(
    ("text", "name"),
    [
        ("Long Lake", "Long_Lake"),
        ("../../etc", "etc"),
        ("Åsnen/södra:7", "Asnen_sodra_7"),
        (".hidden", "hidden"),
        ("湖", ""),
        ("a" * 300, "a" * 100),
    ],
)
def test_folder_names_are_safe_everywhere(text: str, name: str) -> None:
    assert folder_name(text) == name


def test_two_waters_do_not_share_a_folder_even_where_case_does_not_count() -> None:
    check_folders(["a", "b"], ["one", "two"], "mend it")
    with pytest.raises(SettingsError, match=r"^two and one would both be written to 'A'; mend it$"):
        check_folders(["a", "A"], ["one", "two"], "mend it")
    with pytest.raises(SettingsError, match=r"^two gives no name for a folder; mend it$"):
        check_folders(["a", ""], ["one", "two"], "mend it")


def test_record_comes_back_from_its_file() -> None:
    record = Record("a", "done", "Ån", digest="0" * 64, seconds=1.5, figures={"area_m2": 2.0})
    assert Record.from_json(record.to_json()) == record


@pytest.mark.parametrize("text", ["", "[1]", '{"folder": "a"}', '{"folder": "a", "x": 1}', "{"])
def test_other_files_are_no_record(text: str) -> None:
    assert Record.from_json(text) is None
