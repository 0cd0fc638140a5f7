"""A survey reads what came with it, and nothing else."""

import io
import stat
import zipfile
from pathlib import Path
from typing import Any

import pytest


def packed(files: dict[str, bytes]) -> bytes:
    """Pack files."""
    target = io.BytesIO()
    with zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in files.items():
            archive.writestr(name, content)
    return target.getvalue()


def run(ask: Any, content: bytes) -> Any:
    """Carry out the survey of an archive."""
    return ask.execute("run", inputs={"files": [{"href": ask.upload("all.zip", content)}]})


def test_an_archive_holds_a_survey(ask: Any, survey: dict[str, bytes]) -> None:
    inner = {f"pond/{name}": content for name, content in survey.items()}
    answer = run(ask, packed(inner))
    assert answer.status_code == 200, answer.text
    assert answer.headers["content-type"] == "application/zip"


@pytest.mark.parametrize("key", ["shoreline", "file"])
@pytest.mark.parametrize("place", ["/etc/passwd", "../job.json", "../../../.lock", "a/../../x"])
def test_a_survey_cannot_name_a_file_elsewhere(
    ask: Any, survey: dict[str, bytes], key: str, place: str
) -> None:
    name = {"shoreline": b"shoreline.geojson", "file": b"soundings.csv"}[key]
    text = survey["survey.toml"].replace(name, place.encode())
    detail = ask.problem(run(ask, packed(survey | {"survey.toml": text})), 400)
    assert detail.startswith("a survey file names files beside it or in folders below it, got ")


@pytest.mark.parametrize(
    "name", ["../survey.toml", "/survey.toml", "a/../../b", "C:\\b", "a\\b", "./b", "a//b", ".b"]
)
def test_an_archive_cannot_write_elsewhere(
    ask: Any, survey: dict[str, bytes], server: Any, name: str
) -> None:
    before = {path.name for path in server.work.iterdir()}
    detail = ask.problem(run(ask, packed(survey | {name: b"x"})), 400)
    assert "a file is named by letters, digits" in detail
    assert {path.name for path in server.work.iterdir()} == before


def test_an_archive_cannot_hold_a_link(ask: Any, survey: dict[str, bytes]) -> None:
    target = io.BytesIO(packed(survey))
    with zipfile.ZipFile(target, "a") as archive:
        link = zipfile.ZipInfo("link.csv")
        link.external_attr = (stat.S_IFLNK | 0o777) << 16
        archive.writestr(link, "/etc/passwd")
    detail = ask.problem(run(ask, target.getvalue()), 400)
    assert detail == "'link.csv' in an archive is no plain file"


def test_an_archive_cannot_be_a_bomb(ask: Any, survey: dict[str, bytes]) -> None:
    detail = ask.problem(run(ask, packed(survey | {"zeros.csv": bytes(50_000_000)})), 400)
    assert detail == "the files of the archive are larger than is allowed"


def test_a_layer_cannot_lead_to_a_file_elsewhere(
    ask: Any, survey: dict[str, bytes], tmp_path: Path
) -> None:
    secret = tmp_path / "secret.geojson"
    secret.write_bytes(survey["shoreline.geojson"])
    virtual = f"<OGRVRTDataSource><OGRVRTLayer name='secret'><SrcDataSource>{secret}"
    virtual += "</SrcDataSource></OGRVRTLayer></OGRVRTDataSource>"
    files = survey | {"shoreline.geojson": virtual.encode()}
    detail = ask.problem(run(ask, packed(files)), 400)
    assert detail.startswith("shoreline.geojson cannot be read")


def test_a_survey_needs_its_file(ask: Any, survey: dict[str, bytes]) -> None:
    rest = {name: content for name, content in survey.items() if name != "survey.toml"}
    assert ask.problem(run(ask, packed(rest)), 400) == "one survey.toml is needed, got 0"
    detail = ask.problem(ask.execute("run", inputs={}), 400)
    assert detail == "a survey file is needed: give survey, or an archive that holds it"


def test_what_is_wrong_with_a_survey_names_no_path_of_the_machine(
    ask: Any, survey: dict[str, bytes]
) -> None:
    text = survey["survey.toml"].replace(b"name =", b"nmae =")
    detail = ask.problem(run(ask, packed(survey | {"survey.toml": text})), 400)
    assert detail.startswith("survey.toml: key 'water.n")
