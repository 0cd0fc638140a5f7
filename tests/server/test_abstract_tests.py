"""Abstract test suite of OGC 18-062r2 (2021), OGC API - Processes - Part 1: Core, Annex A.

One test for each abstract test that can be run against one server, under the name that the annex
gives it after ``/conf/``. Names and wording are from memory; they are not quoted.

Left out, because the server does not claim their classes: ``html``, ``callback``. Left out, because
no process of the catalogue has such inputs or outputs: several outputs, bounding boxes, inputs of
mixed types that are objects.
"""

import functools
from pathlib import Path
from typing import Any

import httpx
import jsonschema
import openapi_spec_validator
import pytest
import yaml
from referencing import Registry, Resource
from referencing.jsonschema import DRAFT202012

from toolbox.catalogue import names

SHARED = Path(__file__).resolve().parents[2].parent / "shared"
SCHEMAS = SHARED / "schemas" / "ogcapi"
REL = "http://www.opengis.net/def/rel/ogc/1.0/"
CLASS = "http://www.opengis.net/spec/ogcapi-processes-1/1.0/conf/"
UNKNOWN = "00000000-0000-4000-8000-000000000000"
STATUSES = {"accepted", "running", "successful", "failed", "dismissed"}


@functools.cache
def retrieve(uri: str) -> Resource[Any]:
    """Read a schema from the folder of published ones, never from the network."""
    folder, name = Path(uri).parts[-2:]
    if name == "schema.yaml" or not (SCHEMAS / folder / name).is_file():
        # as published, schema.yaml refuses the standard's own examples
        return Resource(contents=True, specification=DRAFT202012)
    contents = yaml.safe_load((SCHEMAS / folder / name).read_text(encoding="utf-8"))
    return Resource(contents=contents, specification=DRAFT202012)


@functools.cache
def judge(schema: str) -> jsonschema.protocols.Validator:
    """Return what judges by a schema of the standard."""
    registry: Registry[Any] = Registry(retrieve=retrieve)  # type: ignore[call-arg]
    told = {"$id": "file:///processes-core/judge.yaml", "$ref": f"file:///{schema}"}
    return jsonschema.Draft202012Validator(told, registry=registry)


def check_schema(told: Any, schema: str) -> None:
    """Check an answer against a schema of the standard, where the folder of schemas is."""
    if not SCHEMAS.is_dir():
        pytest.skip("the published schemas are not beside the repository")
    assert [error.message for error in judge(schema).iter_errors(told)] == []


def link(told: dict[str, Any], relation: str) -> str:
    """Return the link of a relation."""
    return str(next(one["href"] for one in told["links"] if one["rel"] == relation))


def got(client: httpx.Client, path: str, status: int = 200) -> Any:
    """Return what stands at a path."""
    answer = client.get(path)
    assert answer.status_code == status, answer.text
    return answer.json()


def new_job(ask: Any, inputs: dict[str, Any] | None = None, name: str = "probe-sleep") -> str:
    """Make a job and return its address."""
    answer = ask.execute(name, inputs=inputs or {}, later=True)
    assert answer.status_code == 201, answer.text
    return str(answer.headers["location"])


# ---- core ----


def test_core_http(server: Any) -> None:
    assert httpx.get(f"{server.url}/").http_version == "HTTP/1.1"
    assert httpx.head(f"{server.url}/").content == b""
    answer = httpx.put(f"{server.url}/jobs")
    assert answer.status_code == 405
    assert set(answer.headers["allow"].split(", ")) == {"GET", "HEAD"}


def test_core_landingpage_op_and_success(client: httpx.Client) -> None:
    told = got(client, "/")
    check_schema(told, "common-core/landingPage.yaml")
    for relation in ("service-desc", f"{REL}processes", f"{REL}job-list"):
        assert client.get(link(told, relation)).status_code == 200
    assert client.get(link(told, "http://www.opengis.net/def/rel/ogc/1.0/conformance")).json()


def test_core_api_definition_op_and_success(client: httpx.Client) -> None:
    answer = client.get(link(got(client, "/"), "service-desc"))
    assert answer.headers["content-type"] == "application/vnd.oai.openapi+json;version=3.0"
    assert answer.json()["openapi"].startswith("3.0.")


def test_core_conformance_op_and_success(client: httpx.Client) -> None:
    told = got(client, "/conformance")
    check_schema(told, "common-core/confClasses.yaml")
    wanted = ("core", "json", "oas30", "ogc-process-description", "job-list", "dismiss")
    assert {CLASS + name for name in wanted} <= set(told["conformsTo"])


def test_core_process_list_op_and_success(client: httpx.Client) -> None:
    told = got(client, "/processes")
    check_schema(told, "processes-core/processList.yaml")
    ids = [one["id"] for one in told["processes"]]
    assert ids[0] == "run"
    assert set(names()) <= set(ids)
    assert {"inputs", "outputs"}.isdisjoint(told["processes"][0])


def test_core_pl_limit_definition_and_response(client: httpx.Client) -> None:
    assert len(got(client, "/processes?limit=3")["processes"]) == 3
    assert len(got(client, "/processes?limit=10000")["processes"]) > len(names())
    for wrong in ("0", "-1", "x", "1.5"):
        assert client.get(f"/processes?limit={wrong}").status_code == 400


def test_core_pl_links(client: httpx.Client) -> None:
    found: list[str] = []
    told = got(client, "/processes?limit=50")
    while True:
        found += [one["id"] for one in told["processes"]]
        if not any(one["rel"] == "next" for one in told["links"]):
            break
        told = got(client, link(told, "next"))
    assert found == [one["id"] for one in got(client, "/processes")["processes"]]


def test_core_process_op_and_success(client: httpx.Client) -> None:
    for summary in got(client, "/processes")["processes"][::7]:  # all are slow to judge
        told = got(client, link(summary, "self"))
        assert told["id"] == summary["id"]
        check_schema(told, "processes-core/process.yaml")
        assert link(told, f"{REL}execute").endswith(f"/processes/{told['id']}/execution")


def test_core_process_exception_no_such_process(ask: Any) -> None:
    ask.problem(ask.client.get("/processes/no-such"), 404, name="no-such-process")
    ask.problem(ask.execute("no-such", inputs={}), 404, name="no-such-process")


def test_core_process_execute_op_and_request(ask: Any, inline: dict[str, str]) -> None:
    assert ask.execute("slope", inputs={"depth": inline}).status_code == 200
    empty = ask.client.post(
        "/processes/probe-sleep/execution", headers={"Content-Type": "application/json"}
    )
    assert empty.status_code == 200


def test_core_process_execute_inputs(ask: Any) -> None:
    ask.problem(ask.execute("slope", inputs={}), 400)
    ask.problem(ask.execute("slope", inputs={"no-such": 1}), 400)


def test_core_process_execute_input_array(ask: Any) -> None:
    given = {"area": 1000.0, "levels": [0, 1.5], "areas": [1000, 500]}
    answer = ask.execute("pond-by-tape", inputs=given)
    assert answer.headers["content-type"] == "application/problem+json"
    told = ask.client.get("/processes/hypsography").json()["inputs"]["levels"]
    assert told["schema"]["type"] == "array"


def test_core_process_execute_input_inline(ask: Any) -> None:
    answer = ask.execute("probe-sleep", inputs={"seconds": 0.01})
    assert answer.text.split() == ["slept_s", "0.01"]


def test_core_process_execute_input_inline_object(
    ask: Any, pond: dict[str, Any], survey: dict[str, bytes]
) -> None:
    text = {"value": survey["soundings.csv"].decode(), "mediaType": "text/csv"}
    given = {"soundings": text, "soundings-crs": "EPSG:32633"}
    given["shoreline"] = {"value": pond, "mediaType": "application/geo+json"}
    answer = ask.execute("reject-outside", inputs=given)
    assert answer.status_code == 200, answer.text


def test_core_process_execute_input_inline_binary(ask: Any, inline: dict[str, str]) -> None:
    assert ask.execute("slope", inputs={"depth": inline}).status_code == 200
    bare = ask.execute("slope", inputs={"depth": inline["value"]})
    assert bare.status_code == 200


def test_core_process_execute_input_ref(ask: Any, raster: bytes) -> None:
    given = {"href": ask.upload("a.tif", raster), "type": "image/tiff; application=geotiff"}
    assert ask.execute("slope", inputs={"depth": given}).status_code == 200


def test_core_process_execute_input_validation(ask: Any, inline: dict[str, str]) -> None:
    ask.problem(ask.execute("slope", inputs={"depth": inline, "method": "none"}), 400)
    ask.problem(ask.execute("probe-sleep", inputs={"seconds": "long"}), 400)
    ask.problem(ask.execute("probe-sleep", inputs={"seconds": -1}), 400)


def test_core_process_execute_default_outputs(ask: Any) -> None:
    without = ask.execute("probe-sleep", inputs={}, response="document").json()
    with_ = ask.execute("probe-sleep", inputs={}, outputs={"result": {}}, response="document")
    assert without == with_.json()


def test_core_process_execute_sync_raw_value_one(ask: Any) -> None:
    answer = ask.execute("probe-sleep", inputs={}, response="raw")
    assert answer.status_code == 200
    assert answer.headers["content-type"].startswith("text/csv")


def test_core_process_execute_sync_raw_ref(ask: Any) -> None:
    outputs = {"result": {"transmissionMode": "reference"}}
    answer = ask.execute("probe-sleep", inputs={}, outputs=outputs)
    assert answer.status_code == 204
    assert 'rel="result"' in answer.headers["link"]


def test_core_process_execute_sync_document(ask: Any) -> None:
    answer = ask.execute("probe-sleep", inputs={}, response="document")
    assert answer.headers["content-type"] == "application/json"
    check_schema(answer.json(), "processes-core/results.yaml")


def test_core_process_execute_default_execution_mode(ask: Any) -> None:
    told = got(ask.client, "/processes/probe-sleep")
    assert told["jobControlOptions"] == ["sync-execute", "async-execute"]
    assert ask.execute("probe-sleep", inputs={}).status_code == 200


def test_core_process_execute_auto_execution_mode_and_success_async(ask: Any) -> None:
    answer = ask.execute("probe-sleep", inputs={}, later=True)
    assert answer.status_code == 201
    check_schema(answer.json(), "processes-core/statusInfo.yaml")
    assert answer.headers["location"].endswith(f"/jobs/{answer.json()['jobID']}")


def test_core_job_op_and_success(ask: Any) -> None:
    told = ask.over(new_job(ask))
    check_schema(told, "processes-core/statusInfo.yaml")
    assert {"jobID", "status", "type"} <= told.keys()  # required by the edition of 2021
    assert told["status"] in STATUSES
    assert told["type"] == "process"


def test_core_job_exception_no_such_job(ask: Any) -> None:
    for path in (f"/jobs/{UNKNOWN}", "/jobs/none"):
        ask.problem(ask.client.get(path), 404, name="no-such-job")


def test_core_job_results(ask: Any) -> None:
    job = new_job(ask)
    ask.over(job)
    answer = ask.client.get(f"{job}/results")
    assert answer.headers["content-type"].startswith("text/csv")
    assert answer.text.split() == ["slept_s", "0"]


def test_core_job_results_async_document_and_ref(ask: Any) -> None:
    outputs = {"result": {"transmissionMode": "reference"}}
    body = {"inputs": {}, "outputs": outputs, "later": True}
    raw = ask.execute("probe-sleep", **body).headers["location"]
    document = ask.execute("probe-sleep", **body, response="document").headers["location"]
    ask.over(raw)
    ask.over(document)
    assert ask.client.get(f"{raw}/results").status_code == 204
    told = got(ask.client, f"{document}/results")
    check_schema(told, "processes-core/results.yaml")
    assert ask.client.get(told["result"]["href"]).text.split() == ["slept_s", "0"]


def test_core_job_results_exception_no_such_job(ask: Any) -> None:
    ask.problem(ask.client.get(f"/jobs/{UNKNOWN}/results"), 404, name="no-such-job")


def test_core_job_results_exception_results_not_ready(ask: Any) -> None:
    job = new_job(ask, {"seconds": 1})
    ask.problem(ask.client.get(f"{job}/results"), 404, name="result-not-ready")


def test_core_job_results_failed(ask: Any, inline: dict[str, str]) -> None:
    job = new_job(ask, {"depth": inline, "depth-band": 7}, "slope")
    told = ask.over(job)
    assert told["status"] == "failed"
    assert ask.problem(ask.client.get(f"{job}/results"), 400) == told["message"]


# ---- json, oas30 ----


@pytest.mark.parametrize("path", ["/", "/conformance", "/processes", "/processes/run", "/jobs"])
def test_json_definition(client: httpx.Client, path: str) -> None:
    assert client.get(path).headers["content-type"] == "application/json"


def test_oas30_definition_is_valid_and_complete(client: httpx.Client) -> None:
    told = got(client, "/api")
    remote = told["paths"]["/jobs"]["get"]["responses"]["default"]["content"]
    assert "application/problem+json" in remote
    openapi_spec_validator.OpenAPIV30SpecValidator(_without_references(told)).validate()
    paths = {"/", "/conformance", "/processes", "/jobs", "/jobs/{job}/results"}
    assert paths <= told["paths"].keys()


def _without_references(told: Any) -> Any:
    """Leave out what refers to the standard's own schemas, which are on the network."""
    if isinstance(told, dict):
        return {k: _without_references(v) for k, v in told.items() if k != "$ref"}
    return [_without_references(one) for one in told] if isinstance(told, list) else told


def test_oas30_exceptions_codes(ask: Any) -> None:
    ask.problem(ask.client.get("/no/such/place"), 404)
    ask.problem(ask.client.post("/conformance"), 405)


def test_oas30_implements_what_it_defines(client: httpx.Client) -> None:
    for path, operations in got(client, "/api")["paths"].items():
        concrete = path.format(process="run", job=UNKNOWN, upload=UNKNOWN)
        for method in operations:
            status = client.request(method, concrete).status_code
            assert status not in (405, 500), (method, path)


# ---- ogc-process-description ----


def test_process_description_inputs_and_outputs(client: httpx.Client) -> None:
    for summary in got(client, "/processes")["processes"][::7]:
        told = got(client, f"/processes/{summary['id']}")
        for part in (*told["inputs"].values(), *told["outputs"].values()):
            jsonschema.Draft202012Validator.check_schema(part["schema"])
            assert part["title"]
        for one in told["inputs"].values():
            assert one["minOccurs"] in (0, 1)
            assert one["description"]


# ---- job-list ----


def test_job_list_op_and_success(ask: Any) -> None:
    job = new_job(ask).rsplit("/", 1)[1]
    told = got(ask.client, "/jobs")
    check_schema(told, "processes-core/jobList.yaml")
    assert job in [one["jobID"] for one in told["jobs"]]


@pytest.mark.parametrize(
    "query",
    [
        "type=process",
        "processID=probe-sleep",
        "status=successful",
        "datetime=2020-01-01/..",
        "minDuration=0",
        "maxDuration=100",
    ],
)
def test_job_list_parameter_definition_and_response(ask: Any, query: str) -> None:
    job = new_job(ask)
    ask.over(job)
    found = [one["jobID"] for one in got(ask.client, f"/jobs?limit=10000&{query}")["jobs"]]
    assert job.rsplit("/", 1)[1] in found


@pytest.mark.parametrize(
    "query", ["type=other", "processID=none", "datetime=../2020-01-01", "minDuration=1e6"]
)
def test_job_list_parameter_leaves_out_the_others(ask: Any, query: str) -> None:
    assert got(ask.client, f"/jobs?{query}")["jobs"] == []


def test_job_list_limit_and_links(ask: Any) -> None:
    new_job(ask)
    new_job(ask)
    told = got(ask.client, "/jobs?limit=1")
    assert len(told["jobs"]) == 1
    assert got(ask.client, link(told, "next"))["jobs"] != told["jobs"]


# ---- dismiss ----


def test_dismiss_op_and_success(ask: Any, server: Any) -> None:
    job = new_job(ask, {"seconds": 3})
    answer = ask.client.delete(job)
    assert answer.status_code == 200
    check_schema(answer.json(), "processes-core/statusInfo.yaml")
    assert answer.json()["status"] == "dismissed"
    ask.problem(ask.client.get(job), 404, name="no-such-job")
    assert not (server.work / "jobs" / answer.json()["jobID"]).exists()


def test_dismiss_removes_a_job_that_is_over(ask: Any) -> None:
    job = new_job(ask)
    ask.over(job)
    assert ask.client.delete(job).json()["status"] == "dismissed"
    ask.problem(ask.client.get(f"{job}/results"), 404, name="no-such-job")


def test_dismiss_exception_no_such_job(ask: Any) -> None:
    ask.problem(ask.client.delete(f"/jobs/{UNKNOWN}"), 404, name="no-such-job")
