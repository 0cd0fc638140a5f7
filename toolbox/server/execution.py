"""Execution: a process carried out, while the client waits or afterwards."""

import asyncio
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from toolbox.errors import ParameterError
from toolbox.jobs.crew import FullError
from toolbox.jobs.names import new_id
from toolbox.jobs.record import Record
from toolbox.server.bodies import Body, check_media, held_body
from toolbox.server.descriptions import process_names
from toolbox.server.inputs import fill_job, result_name
from toolbox.server.media import BY_SUFFIX
from toolbox.server.parts import taken_apart
from toolbox.server.problems import NO_SUCH_PROCESS, ProblemError
from toolbox.server.references import referenced
from toolbox.server.results import result_response
from toolbox.server.service import RETRY_AFTER, Service, base_url, service_of
from toolbox.server.status import status_info

if TYPE_CHECKING:
    from concurrent.futures import Future

    from starlette.requests import Request
    from starlette.responses import Response

__all__ = ["execute", "process_of"]


def process_of(request: "Request") -> str:
    """Return the process that the path of a request names, or raise ProblemError."""
    name: str = request.path_params["process"]
    if name not in process_names():
        raise ProblemError(404, f"there is no process {name[:100]!r}", type=NO_SUCH_PROCESS)
    return name


async def execute(request: "Request") -> "Response":
    """Carry a process out: ``POST /processes/{process}/execution``."""
    from starlette.concurrency import run_in_threadpool
    from starlette.responses import JSONResponse

    service, base, name = service_of(request), base_url(request), process_of(request)
    check_media(request, "application/json")
    async with held_body(request, service) as body, service.turns[body.large]:
        record, over = await run_in_threadpool(_read, service, name, body, base)
    if _wants_async(request):
        headers = {
            "Location": f"{base}/jobs/{record.id}",
            "Preference-Applied": "respond-async",
        }
        return JSONResponse(status_info(record, base), 201, headers)
    await _wait(request, service, record, over)
    return await run_in_threadpool(result_response, service, record, base)


def _wants_async(request: "Request") -> bool:
    preferred = ",".join(request.headers.getlist("prefer"))
    return re.search(r"(?i)(^|[,;\s])respond-async($|[,;\s])", preferred) is not None


def _read(service: Service, name: str, body: Body, base: str) -> "tuple[Record, Future[Record]]":
    with taken_apart(body, service) as told:
        return _take(service, name, _asked(name, told), base)


def _take(
    service: Service, name: str, asked: "_Asked", base: str
) -> "tuple[Record, Future[Record]]":
    record = Record(new_id(), name, wanted=asked.wanted, result=asked.result)
    record.media = BY_SUFFIX[f".{asked.result.rsplit('.', 1)[1]}"]
    try:
        over = service.office.take(
            record,
            lambda folder: fill_job(
                name,
                asked.inputs,
                folder,
                asked.result,
                lambda href: referenced(href, base, service.store),
                service.limits.upload,
            ),
        )
    except FullError as error:
        raise ProblemError(503, str(error), headers=RETRY_AFTER) from error
    return record, over


@dataclass(frozen=True)
class _Asked:
    inputs: dict[str, Any]
    result: str
    wanted: dict[str, Any]


def _asked(name: str, body: dict[str, Any]) -> _Asked:
    """Read how a process is to be carried out."""
    inputs, outputs = body.get("inputs", {}), body.get("outputs", {})
    for key, value in (("inputs", inputs), ("outputs", outputs)):
        if not isinstance(value, dict):
            raise ProblemError(400, f"{key} must be a JSON object")
    for key in outputs:
        if key != "result":
            raise ProblemError(400, f"output {key[:100]!r} is unknown; allowed here: result")
    output = outputs.get("result") or {}
    form = output.get("format") if isinstance(output, dict) else None
    if not isinstance(output, dict) or not isinstance(form or {}, dict):
        raise ProblemError(400, "output 'result' must be a JSON object")
    wanted = {
        "response": _choice(body, "response", ("raw", "document")),
        "transmission": _choice(output, "transmissionMode", ("value", "reference")),
    }
    try:
        return _Asked(inputs, result_name(name, (form or {}).get("mediaType")), wanted)
    except (ParameterError, AttributeError) as error:
        raise ProblemError(400, f"output 'result': {error}") from error


def _choice(given: dict[str, Any], key: str, allowed: tuple[str, str]) -> str:
    value = given.get(key, allowed[0])
    if value not in allowed:
        raise ProblemError(400, f"{key} must be {' or '.join(allowed)}, got {str(value)[:100]!r}")
    return str(value)


async def _wait(
    request: "Request", service: Service, record: Record, over: "Future[Record]"
) -> None:
    """Wait for a job; if nobody waits for its result any more, nobody wants it."""
    gone: asyncio.Future[Any] = asyncio.ensure_future(_gone(request))
    done: asyncio.Future[Any] = asyncio.wrap_future(over)
    try:
        await asyncio.wait({gone, done}, return_when=asyncio.FIRST_COMPLETED)
        if not done.done():
            service.office.dismiss(record)
            await done
    finally:
        gone.cancel()


async def _gone(request: "Request") -> None:
    while (await request.receive())["type"] != "http.disconnect":
        pass
