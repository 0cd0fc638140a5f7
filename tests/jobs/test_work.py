"""What a job is told of a survey that cannot be carried out."""

from pathlib import Path

import pytest

from toolbox.errors import SettingsError
from toolbox.jobs.work import INPUTS, RUN, SURVEY, Order, carry_out


def test_every_fault_is_told_without_the_folder_of_the_job(tmp_path: Path) -> None:
    (tmp_path / INPUTS).mkdir()
    (tmp_path / INPUTS / SURVEY).write_text("[water]\nname = 7\nshoreline = 'a'\n")
    with pytest.raises(SettingsError, match="is missing") as caught:
        carry_out(Order(RUN, tmp_path, "result.zip"), lambda *far: None)
    assert caught.value.faults == (
        "survey.toml: key 'water.name': Input should be a valid string, got 7",
        "survey.toml: key 'soundings' is missing",
    )
