"""Definition of the API after OpenAPI 3.0."""

from importlib.metadata import version
from typing import Any

from toolbox.server.descriptions import process_names

__all__ = ["definition"]

_SCHEMAS = "https://schemas.opengis.net/ogcapi/processes/part1/1.0/openapi/schemas/"


def definition(base: str) -> dict[str, Any]:
    """Define the API.

    Parameters
    ----------
    base : str
        Address of the server.

    Returns
    -------
    dict
        After OpenAPI 3.0.3, ready for JSON.
    """
    return {
        "openapi": "3.0.3",
        "info": {
            "title": "Leadline",
            "version": version("leadline"),
            "description": "Lake beds from soundings, after OGC API - Processes. Not for "
            "navigation.",
            "license": {"name": "Apache-2.0"},
        },
        "servers": [{"url": base}],
        "paths": _paths(),
    }


def _paths() -> dict[str, Any]:
    process = _in_path("process", {"type": "string", "enum": list(process_names())})
    job, upload = (
        _in_path(name, {"type": "string", "format": "uuid"}) for name in ("job", "upload")
    )
    limit = _in_query("limit", {"type": "integer", "minimum": 1})
    offset = _in_query("offset", {"type": "integer", "minimum": 0, "default": 0})
    return {
        "/": {"get": _operation("landing", "Landing page", "landingPage")},
        "/api": {"get": _operation("api", "This definition")},
        "/conformance": {"get": _operation("conformance", "Conformance classes", "confClasses")},
        "/processes": {"get": _operation("processes", "Processes", "processList", [limit, offset])},
        "/processes/{process}": {
            "get": _operation("process", "Description of a process", "process", [process])
        },
        "/processes/{process}/execution": {"post": _execution(process)},
        "/jobs": {"get": _operation("jobs", "Jobs", "jobList", [*_narrowing(), limit, offset])},
        "/jobs/{job}": {
            "get": _operation("job", "Status of a job", "statusInfo", [job]),
            "delete": _operation("dismiss", "End and remove a job", "statusInfo", [job]),
        },
        "/jobs/{job}/results": {"get": _operation("results", "Results of a job", None, [job])},
        "/jobs/{job}/results/result": {
            "get": _operation("result", "Result of a job as a file", None, [job])
        },
        "/uploads": {"get": _operation("uploads", "Uploads"), "post": _upload()},
        "/uploads/{upload}": {
            "get": _operation("upload", "An upload", None, [upload]),
            "delete": _removal(upload),
        },
    }


def _in_path(name: str, schema: dict[str, Any]) -> dict[str, Any]:
    return {"name": name, "in": "path", "required": True, "schema": schema}


def _in_query(name: str, schema: dict[str, Any], *, required: bool = False) -> dict[str, Any]:
    return {"name": name, "in": "query", "required": required, "schema": schema}


def _narrowing() -> list[dict[str, Any]]:
    texts: dict[str, Any] = {"type": "array", "items": {"type": "string"}}
    several = {"style": "form", "explode": False}
    listed = [_in_query(name, texts) | several for name in ("type", "processID", "status")]
    seconds = {"type": "number", "minimum": 0}
    return [
        *listed,
        _in_query("datetime", {"type": "string"}),
        *(_in_query(name, seconds) for name in ("minDuration", "maxDuration")),
    ]


def _operation(
    name: str,
    text: str,
    schema: str | None = None,
    parameters: list[dict[str, Any]] | None = None,
) -> dict[str, Any]:
    told: dict[str, Any] = {"$ref": f"{_SCHEMAS}{schema}.yaml"} if schema else {}
    content = {"application/json": {"schema": told}}
    return {
        "operationId": name,
        "summary": text,
        "parameters": parameters or [],
        "responses": {"200": {"description": text, "content": content}, "default": _problem()},
    }


def _problem() -> dict[str, Any]:
    schema = {"$ref": f"{_SCHEMAS}exception.yaml"}
    return {
        "description": "What went wrong",
        "content": {"application/problem+json": {"schema": schema}},
    }


def _execution(process: dict[str, Any]) -> dict[str, Any]:
    prefer = {"name": "Prefer", "in": "header", "schema": {"type": "string"}}
    told = _operation("execute", "Carry a process out", None, [process, prefer])
    body = {"application/json": {"schema": {"$ref": f"{_SCHEMAS}execute.yaml"}}}
    status = {"application/json": {"schema": {"$ref": f"{_SCHEMAS}statusInfo.yaml"}}}
    answers = {
        "200": {"description": "The result", "content": {"*/*": {"schema": {}}}},
        "201": {"description": "A job was made", "content": status},
        "204": {"description": "The result by reference, in the header Link"},
        "default": _problem(),
    }
    return told | {"requestBody": {"required": True, "content": body}, "responses": answers}


def _upload() -> dict[str, Any]:
    name = _in_query("name", {"type": "string", "maxLength": 100}, required=True)
    told = _operation("addUpload", "Hand a file in", None, [name])
    body = {"*/*": {"schema": {"type": "string", "format": "binary"}}}
    answers = {"201": told["responses"]["200"], "default": _problem()}
    return told | {"requestBody": {"required": True, "content": body}, "responses": answers}


def _removal(upload: dict[str, Any]) -> dict[str, Any]:
    told = _operation("removeUpload", "Delete an upload", None, [upload])
    return told | {"responses": {"204": {"description": "Deleted"}, "default": _problem()}}
