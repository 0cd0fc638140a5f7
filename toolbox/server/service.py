"""Service: what every answer needs to know."""

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from toolbox.jobs.limits import Limits
from toolbox.jobs.office import Office
from toolbox.jobs.record import Record
from toolbox.jobs.store import Store
from toolbox.server.problems import NO_SUCH_JOB, ProblemError

if TYPE_CHECKING:
    from starlette.requests import Request

__all__ = ["RETRY_AFTER", "Service", "base_url", "job_of", "service_of"]

RETRY_AFTER = {"Retry-After": "5"}


@dataclass
class Service:
    """What every answer needs to know.

    Parameters
    ----------
    office : Office
        Does the jobs.
    url : str, optional
        Address under which others know the server, if it stands behind another.
    hosts : frozenset of str
        Names under which it answers; empty for all.
    held : int
        Bytes of requests that are held now, in memory or on the disk.
    arriving : int
        Bytes of uploads that are not whole yet.
    """

    office: Office
    url: str | None = None
    hosts: frozenset[str] = frozenset()
    held: int = 0
    arriving: int = 0
    turns: Any = field(default=None, repr=False)
    """Let few requests be read at one time, small ones and large ones, for what that takes of
    memory."""

    @property
    def store(self) -> Store:
        """The work folder."""
        return self.office.store

    @property
    def limits(self) -> Limits:
        """Of jobs and requests."""
        return self.office.limits


def service_of(request: "Request") -> Service:
    """Return the service that a request is made to."""
    service: Service = request.app.state.service
    return service


def base_url(request: "Request") -> str:
    """Return the address of the server as who asks knows it, without a stroke at its end."""
    known = service_of(request).url
    return known or f"{request.url.scheme}://{request.url.netloc}"


def job_of(request: "Request") -> Record:
    """Return the job that the path of a request names.

    Raises
    ------
    ProblemError
        If there is none.
    """
    id_ = request.path_params["job"]
    found = service_of(request).store.jobs.get(id_)
    if found is None:
        raise ProblemError(404, f"there is no job {id_[:100]!r}", type=NO_SUCH_JOB)
    return found
