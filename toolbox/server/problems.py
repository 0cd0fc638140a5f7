"""Problems: what went wrong with a request, as the standard has it told (RFC 7807)."""

from collections.abc import Mapping
from http import HTTPStatus
from typing import TYPE_CHECKING, Any

from toolbox.faults import disk_full
from toolbox.jobs.office import FullDiskError

if TYPE_CHECKING:
    from starlette.requests import Request
    from starlette.responses import Response

__all__ = [
    "NO_SUCH_JOB",
    "NO_SUCH_PROCESS",
    "RESULT_NOT_READY",
    "ProblemError",
    "problem_response",
    "refuse_full",
    "refuse_http",
    "refuse_problem",
    "refuse_unforeseen",
]

_TYPES = "http://www.opengis.net/def/exceptions/ogcapi-processes-1/1.0/"
NO_SUCH_PROCESS = _TYPES + "no-such-process"
NO_SUCH_JOB = _TYPES + "no-such-job"
RESULT_NOT_READY = _TYPES + "result-not-ready"


class ProblemError(Exception):
    """A request that cannot be met.

    Parameters
    ----------
    status : int
        Of the answer.
    detail : str
        What is wrong, in one line.
    type : str
        One of those of the standard, or none.
    headers : mapping
        That the answer has beside its own.
    """

    def __init__(
        self,
        status: int,
        detail: str,
        *,
        type: str = "about:blank",  # noqa: A002  its name in RFC 7807
        headers: Mapping[str, str] | None = None,
    ) -> None:
        detail = detail.encode(errors="replace").decode()  # lone halves of characters
        super().__init__(detail)
        self.status, self.detail, self.type = status, detail, type
        self.headers = dict(headers or {})

    @property
    def told(self) -> dict[str, Any]:
        """The body of the answer."""
        title = self.type.removeprefix(_TYPES)
        if self.type == "about:blank":
            title = HTTPStatus(self.status).phrase
        return {"type": self.type, "title": title, "status": self.status, "detail": self.detail}


def problem_response(problem: ProblemError) -> "Response":
    """Make the answer that tells a problem."""
    from starlette.responses import JSONResponse

    headers = problem.headers
    if problem.status in (408, 413):  # what is left of the body is not read
        headers = headers | {"Connection": "close"}
    return JSONResponse(
        problem.told, problem.status, headers, media_type="application/problem+json"
    )


async def refuse_problem(request: "Request", error: Exception) -> "Response":
    """Answer a request with its problem."""
    assert isinstance(error, ProblemError)
    return problem_response(error)


async def refuse_http(request: "Request", error: Exception) -> "Response":
    """Answer a request that fits no route."""
    from starlette.exceptions import HTTPException

    assert isinstance(error, HTTPException)
    detail = {
        404: f"there is nothing at {request.url.path}",
        405: f"{request.method} is not for {request.url.path}",
    }.get(error.status_code, str(error.detail))
    return problem_response(ProblemError(error.status_code, detail, headers=error.headers))


async def refuse_full(request: "Request", error: Exception) -> "Response":
    """Answer a request for which there is no room, on the disk or in the work folder.

    References
    ----------
    RFC 4918 (Dusseault, 2007), section 11.5.
    """
    assert isinstance(error, OSError)
    if isinstance(error, FullDiskError):
        return problem_response(ProblemError(507, str(error)))
    if not disk_full(error):
        raise error
    return problem_response(ProblemError(507, f"the work folder is full: {error.strerror}"))


async def refuse_unforeseen(request: "Request", error: Exception) -> "Response":
    """Answer a request at which the program failed, without telling how it is made."""
    return problem_response(ProblemError(500, "an error of the program"))
