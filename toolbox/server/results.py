"""Results: handed over by value or by reference, raw or in a document."""

import base64
import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

from toolbox.jobs.record import Record
from toolbox.server.media import BY_SUFFIX, is_binary, is_json
from toolbox.server.problems import RESULT_NOT_READY, ProblemError
from toolbox.server.service import Service

if TYPE_CHECKING:
    from starlette.responses import Response

__all__ = ["file_response", "raise_failed", "result_href", "result_response"]

_FAULTS = {"input": 400, "limit": 500, "disk": 507, "server": 500}


def result_href(record: Record, base: str) -> str:
    """Return the address of a job's result as a file."""
    return f"{base}/jobs/{record.id}/results/result"


def raise_failed(record: Record) -> None:
    """Raise ProblemError if a job has no result, for the reason for which it has none."""
    if record.status in ("accepted", "running"):
        raise ProblemError(404, f"the job is {record.status}", type=RESULT_NOT_READY)
    if record.status != "successful":
        raise ProblemError(_FAULTS.get(record.fault or "", 500), record.message)


def _file_of(service: Service, record: Record) -> Path:
    raise_failed(record)
    path = service.store.result_file(record)
    if path is None:
        raise ProblemError(410, "the result has been removed")
    return path


def file_response(service: Service, record: Record, base: str) -> "Response":
    """Hand a result over as a file."""
    from starlette.responses import FileResponse

    path = _file_of(service, record)
    name = f"{record.process}{path.suffix}"
    links = {"Link": f'<{base}/jobs/{record.id}>; rel="monitor"'}
    return FileResponse(path, media_type=record.media, filename=name, headers=links)


def result_response(service: Service, record: Record, base: str) -> "Response":
    """Hand a result over in the way its request asked for.

    Notes
    -----
    In a document, a value larger than a request may be is replaced by a reference: it would have
    to be held in memory.
    """
    from starlette.responses import JSONResponse, Response

    path, wanted = _file_of(service, record), record.wanted
    by_reference = wanted.get("transmission") == "reference"
    monitor = f'<{base}/jobs/{record.id}>; rel="monitor"'
    if wanted.get("response") == "document":
        headers, large = {"Link": monitor}, path.stat().st_size > service.limits.body
        if by_reference or large:
            return JSONResponse({"result": _link(record, base)}, headers=headers)
        told = b'{"result":%b}' % _value(path)
        return Response(told, headers=headers, media_type="application/json")
    if by_reference:
        href = result_href(record, base)
        link = f'<{href}>; rel="result"; type="{record.media}", {monitor}'
        return Response(status_code=204, headers={"Link": link})
    return file_response(service, record, base)


def _link(record: Record, base: str) -> dict[str, Any]:
    link = {"href": result_href(record, base), "rel": "result"}
    return link | {"type": record.media, "title": "result"}


def _value(path: Path) -> bytes:
    """Return a value as a member of JSON; what is JSON itself is not read for that."""
    media, content = json.dumps(BY_SUFFIX[path.suffix]).encode(), path.read_bytes()
    if is_json(path.suffix):
        return b'{"value":%b,"mediaType":%b}' % (content, media)
    if is_binary(path.suffix):
        text = base64.b64encode(content)
        return b'{"value":"%b","encoding":"base64","mediaType":%b}' % (text, media)
    return b'{"value":%b,"mediaType":%b}' % (json.dumps(content.decode()).encode(), media)
