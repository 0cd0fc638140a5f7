"""Processes are carried out, at once or later, and their results handed over as asked."""

import base64
import io
import json
import zipfile
from typing import Any

import httpx
import numpy as np
import pytest
import rasterio


def slopes(content: bytes) -> Any:
    """Read the slopes of a raster."""
    with rasterio.open(io.BytesIO(content)) as source:
        return source.read(1)


def test_a_raster_goes_in_and_comes_out_raw(ask: Any, inline: dict[str, str]) -> None:
    answer = ask.execute("slope", inputs={"depth": inline, "unit": "ratio"})
    assert answer.status_code == 200, answer.text
    assert answer.headers["content-type"] == "image/tiff; application=geotiff"
    # derived: a plane that falls by 1 over cells of 2 m
    np.testing.assert_allclose(slopes(answer.content)[1:-1, 1:-1], 0.5, rtol=1e-6)


def test_a_binary_result_stands_in_a_document_in_base64(ask: Any, inline: dict[str, str]) -> None:
    raw = ask.execute("slope", inputs={"depth": inline})
    told = ask.execute("slope", inputs={"depth": inline}, response="document").json()
    assert told["result"].keys() == {"value", "encoding", "mediaType"}
    assert told["result"]["encoding"] == "base64"
    found = slopes(base64.b64decode(told["result"]["value"]))
    np.testing.assert_array_equal(found, slopes(raw.content))


def test_a_reference_leads_to_the_result(ask: Any, inline: dict[str, str]) -> None:
    outputs = {"result": {"transmissionMode": "reference"}}
    told = ask.execute("slope", inputs={"depth": inline}, outputs=outputs, response="document")
    link = told.json()["result"]
    assert link["type"] == "image/tiff; application=geotiff"
    assert slopes(ask.client.get(link["href"]).content).shape == (20, 20)


def test_a_raw_reference_is_a_header(ask: Any, inline: dict[str, str]) -> None:
    outputs = {"result": {"transmissionMode": "reference"}}
    answer = ask.execute("slope", inputs={"depth": inline}, outputs=outputs)
    assert answer.status_code == 204
    assert answer.content == b""
    href = answer.headers["link"].split(">")[0].lstrip("<")
    assert slopes(ask.client.get(href).content).shape == (20, 20)


def test_a_result_is_the_input_of_the_next_process(ask: Any, inline: dict[str, str]) -> None:
    outputs = {"result": {"transmissionMode": "reference"}}
    told = ask.execute("slope", inputs={"depth": inline}, outputs=outputs, response="document")
    again = ask.execute("aspect", inputs={"depth": {"href": told.json()["result"]["href"]}})
    assert again.status_code == 200, again.text


def test_geojson_goes_in_and_comes_out(ask: Any, pond: dict[str, Any]) -> None:
    spot = {"type": "Point", "coordinates": [500_030, 5_300_030]}
    feature = {"type": "Feature", "properties": {"name": "mid"}, "geometry": spot}
    places = pond | {"features": [feature]}
    for value in (pond, {"value": pond, "mediaType": "application/geo+json"}):
        given = {"shoreline": value, "places": places}
        answer = ask.execute("fetch", inputs=given, response="document")
        assert answer.status_code == 200, answer.text
        assert answer.json()["result"]["mediaType"] == "text/csv"


def test_features_are_handed_over_as_geojson_or_in_another_form(
    ask: Any, survey: dict[str, bytes], pond: dict[str, Any]
) -> None:
    text = survey["soundings.csv"].decode()
    given = {"soundings": {"value": text, "mediaType": "text/csv"}, "soundings-crs": "EPSG:32633"}
    told = ask.execute("estimate-spread", inputs=given, response="document").json()
    assert told["result"]["mediaType"] == "application/geo+json"
    assert len(told["result"]["value"]["features"]) == 49
    media = "application/geopackage+sqlite3"
    outputs = {"result": {"format": {"mediaType": media}}}
    answer = ask.execute("estimate-spread", inputs=given, outputs=outputs)
    assert answer.headers["content-type"] == media
    assert answer.content.startswith(b"SQLite format 3")


def test_a_job_is_made_if_the_client_prefers_it(ask: Any, inline: dict[str, str]) -> None:
    answer = ask.execute("slope", inputs={"depth": inline}, later=True)
    assert answer.status_code == 201
    assert answer.headers["preference-applied"] == "respond-async"
    told = ask.over(answer.headers["location"])
    assert told["status"] == "successful"
    assert told["progress"] == 100
    assert told["created"] <= told["started"] <= told["finished"] == told["updated"]
    link = next(link for link in told["links"] if link["rel"].endswith("/results"))
    assert slopes(ask.client.get(link["href"]).content).shape == (20, 20)


def test_a_result_that_is_not_there_yet_is_no_result(ask: Any) -> None:
    job = ask.execute("probe-sleep", inputs={"seconds": 1}, later=True).headers["location"]
    detail = ask.problem(ask.client.get(f"{job}/results"), 404, name="result-not-ready")
    assert detail in ("the job is accepted", "the job is running")
    assert ask.over(job)["status"] == "successful"


def test_notes_of_a_tool_stand_in_the_status(
    ask: Any, survey: dict[str, bytes], pond: dict[str, Any]
) -> None:
    given = {
        "soundings": {"value": survey["soundings.csv"].decode(), "mediaType": "text/csv"},
        "soundings-crs": "EPSG:32633",
        "shoreline": pond,
    }
    told = ask.over(ask.execute("triangulate", inputs=given, later=True).headers["location"])
    assert told["status"] == "successful", told
    assert told["notes"]


@pytest.mark.parametrize(
    ("body", "told"),
    [
        ({"inputs": []}, "inputs must be a JSON object"),
        ({"inputs": {"depht": 1}}, "input 'depht' is unknown; allowed here: depth, "),
        ({"inputs": {}}, "input 'depth' is missing"),
        ({"inputs": {"depth": 5}}, "must be a text, a GeoJSON object or a reference"),
        ({"inputs": {"depth": "!!"}}, "input 'depth' is not in base64"),
        ({"inputs": {"depth": {"value": "", "mediaType": "text/csv"}}}, "given as mediaType"),
        ({"outputs": {"depth": {}}}, "output 'depth' is unknown; allowed here: result"),
        ({"outputs": {"result": {"format": {"mediaType": "text/csv"}}}}, "must be one of image"),
        ({"outputs": {"result": {"transmissionMode": "post"}}}, "transmissionMode must be"),
        ({"response": "xml"}, "response must be raw or document, got 'xml'"),
    ],
)
def test_what_is_wrong_with_a_request_is_told(ask: Any, body: dict[str, Any], told: str) -> None:
    assert told in ask.problem(ask.execute("slope", **body), 400)


@pytest.mark.parametrize(
    ("inputs", "told"),
    [
        ({"unit": "mile"}, "unit must be one of 'degree', 'percent', 'ratio', got 'mile'"),
        ({"depth-band": 1.5}, "depth_band must be a whole number"),
        ({"depth-band": 10**400}, ""),
        ({"depth-crs": "+proj=utm +zone=33 +nadgrids=/etc/passwd"}, "without files"),
        ({"depth-crs": 5}, "must be a str"),
    ],
)
def test_wrong_values_are_refused(
    ask: Any, inline: dict[str, str], inputs: dict[str, Any], told: str
) -> None:
    answer = ask.execute("slope", inputs={"depth": inline} | inputs)
    assert told.replace("depth_band", "band") in ask.problem(answer, 400)


def test_what_a_tool_refuses_is_a_wrong_request(ask: Any, inline: dict[str, str]) -> None:
    answer = ask.execute("slope", inputs={"depth": inline, "depth-band": 9})
    assert ask.problem(answer, 400) == "depth/depth.tif has bands 1 to 1, got 9"
    job = ask.execute("slope", inputs={"depth": inline, "depth-band": 9}, later=True)
    told = ask.over(job.headers["location"])
    assert (told["status"], told["exception"]["status"]) == ("failed", 400)
    ask.problem(ask.client.get(f"{job.headers['location']}/results"), 400)


def test_an_error_of_the_program_tells_nothing_of_it(ask: Any) -> None:
    answer = ask.execute("probe-break", inputs={})
    assert ask.problem(answer, 500) == "an error of the program: RuntimeError"


def test_a_job_that_takes_its_process_down_fails_alone(ask: Any, inline: dict[str, str]) -> None:
    dying = ask.execute("probe-die", inputs={}, later=True).headers["location"]
    others = [ask.execute("slope", inputs={"depth": inline}, later=True) for _ in range(4)]
    assert ask.over(dying)["message"].startswith("its process died: ")
    for other in others:
        told = ask.over(other.headers["location"])
        assert told["status"] == "successful", told["message"]
    ask.problem(ask.client.get(f"{dying}/results"), 500)


def test_a_job_that_takes_too_much_memory_fails(ask: Any) -> None:
    small = ask.execute("probe-hoard", inputs={"mib": 300})
    assert small.status_code == 200, small.text
    large = ask.execute("probe-hoard", inputs={"mib": 4000})
    assert ask.problem(large, 500) == "it took more memory than a job may"


def test_a_client_that_leaves_dismisses_its_job(ask: Any, server: Any) -> None:
    known = {job["jobID"] for job in ask.client.get("/jobs").json()["jobs"]}
    with pytest.raises(httpx.ReadTimeout, match="timed out"):
        httpx.post(
            f"{server.url}/processes/probe-sleep/execution",
            json={"inputs": {"seconds": 3}},
            timeout=1,
        )
    jobs = ask.client.get("/jobs").json()["jobs"]
    left = next(job for job in jobs if job["jobID"] not in known)
    assert ask.over(f"/jobs/{left['jobID']}", 3)["status"] == "dismissed"


def test_a_survey_is_carried_out(ask: Any, survey: dict[str, bytes], server: Any) -> None:
    files = [{"href": ask.upload(n, c)} for n, c in survey.items() if n != "survey.toml"]
    given = {"survey": survey["survey.toml"].decode(), "files": files}
    answer = ask.execute("run", inputs=given)
    assert answer.status_code == 200, answer.text
    with zipfile.ZipFile(io.BytesIO(answer.content)) as packed:
        assert packed.testzip() is None
        assert any(name.endswith("morphometry.csv") for name in packed.namelist())
        lineage = json.loads(packed.read("lineage.json"))
    assert str(server.work) not in str(lineage)


def test_warnings_of_libraries_are_no_notes_of_a_result(ask: Any) -> None:
    job = ask.execute("probe-sleep", inputs={}, later=True).headers["location"]
    told = ask.over(job)
    assert told["status"] == "successful"
    assert "notes" not in told
