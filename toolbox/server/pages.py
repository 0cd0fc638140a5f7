"""Pages: what the server tells of itself, its processes and jobs."""

from typing import TYPE_CHECKING, Any

from toolbox.jobs.record import Record
from toolbox.server.descriptions import CONFORMANCE, process, process_names, summary
from toolbox.server.execution import process_of
from toolbox.server.job_list import job_list, page
from toolbox.server.openapi import definition
from toolbox.server.results import file_response, raise_failed, result_response
from toolbox.server.service import base_url, job_of, service_of
from toolbox.server.status import REL, status_info

if TYPE_CHECKING:
    from starlette.requests import Request
    from starlette.responses import Response

__all__ = [
    "api",
    "conformance",
    "dismiss",
    "job",
    "jobs",
    "landing",
    "one_process",
    "processes",
    "result_file",
    "results",
]

_OPENAPI = "application/vnd.oai.openapi+json;version=3.0"


def _json(told: dict[str, Any], media: str = "application/json") -> "Response":
    from starlette.responses import JSONResponse

    return JSONResponse(told, media_type=media)


def landing(request: "Request") -> "Response":
    """Tell where everything is."""
    base = base_url(request)
    places = (
        ("/", "self", "This page"),
        ("/api", "service-desc", "Definition of the API"),
        ("/conformance", "http://www.opengis.net/def/rel/ogc/1.0/conformance", "Conformance"),
        ("/conformance", "conformance", "Conformance"),
        ("/processes", f"{REL}processes", "Processes"),
        ("/jobs", f"{REL}job-list", "Jobs"),
        ("/uploads", "related", "Uploads"),
    )
    links = [
        {
            "href": base + path,
            "rel": relation,
            "type": _OPENAPI if path == "/api" else "application/json",
            "title": title,
        }
        for path, relation, title in places
    ]
    about = "Lake beds from soundings: layers, tables and volume. Not for navigation."
    return _json({"title": "Leadline", "description": about, "links": links})


def api(request: "Request") -> "Response":
    """Define the API after OpenAPI 3.0."""
    return _json(definition(base_url(request)), _OPENAPI)


def conformance(request: "Request") -> "Response":
    """Tell which classes of the standards are followed."""
    return _json({"conformsTo": CONFORMANCE})


def processes(request: "Request") -> "Response":
    """List the processes."""
    base = base_url(request)
    listed, links = page(
        list(process_names()), request.query_params, f"{base}/processes", len(process_names())
    )
    told = [
        summary(name)
        | {"links": [_link(f"{base}/processes/{name}", "self", "Description of the process")]}
        for name in listed
    ]
    return _json({"processes": told, "links": links})


def one_process(request: "Request") -> "Response":
    """Describe a process."""
    name, base = process_of(request), base_url(request)
    here = f"{base}/processes/{name}"
    links = [
        _link(here, "self", "Description of the process"),
        _link(f"{here}/execution", f"{REL}execute", "Carry the process out"),
        _link(f"{base}/jobs?processID={name}", f"{REL}job-list", "Jobs of the process"),
    ]
    return _json(process(name) | {"links": links})


def _link(href: str, relation: str, title: str) -> dict[str, str]:
    return {"href": href, "rel": relation, "type": "application/json", "title": title}


def jobs(request: "Request") -> "Response":
    """List the jobs."""
    records = list(service_of(request).store.jobs.values())
    return _json(job_list(records, request.query_params, base_url(request)))


def job(request: "Request") -> "Response":
    """Tell how a job stands."""
    return _json(status_info(job_of(request), base_url(request)))


def dismiss(request: "Request") -> "Response":
    """End a job, if it is not over, and remove all it left."""
    service, record = service_of(request), job_of(request)
    over = service.office.dismiss(record)
    if over is not None:
        over.result()
    service.store.remove_job(record)
    gone = Record(record.id, record.process, created=record.created, started=record.started)
    gone.dismiss()
    base = base_url(request)
    links = [{"href": f"{base}/jobs", "rel": "up", "type": "application/json", "title": "Jobs"}]
    return _json(status_info(gone, base) | {"links": links})


def results(request: "Request") -> "Response":
    """Hand the result of a job over, in the way its request asked for."""
    return result_response(service_of(request), job_of(request), base_url(request))


def result_file(request: "Request") -> "Response":
    """Hand the result of a job over as a file."""
    record = job_of(request)
    raise_failed(record)
    return file_response(service_of(request), record, base_url(request))
