"""Uploads: files that are handed in once, to be named in requests by their address."""

from pathlib import Path
from typing import TYPE_CHECKING, Any

from toolbox.errors import InputFileError
from toolbox.jobs.names import check_name
from toolbox.server.bodies import stored_body
from toolbox.server.media import BY_SUFFIX
from toolbox.server.problems import ProblemError
from toolbox.server.service import base_url, service_of

if TYPE_CHECKING:
    from starlette.requests import Request
    from starlette.responses import Response

__all__ = ["add_upload", "remove_upload", "upload", "uploads"]


async def add_upload(request: "Request") -> "Response":
    """Take a file in: ``POST /uploads?name=soundings.csv``, the file as the body."""
    from starlette.responses import JSONResponse

    service, base = service_of(request), base_url(request)
    try:
        name = check_name(request.query_params.get("name", ""))
    except InputFileError as error:
        raise ProblemError(400, f"name: {error}") from error
    if request.headers.get("content-encoding", "identity") != "identity":
        raise ProblemError(415, "Content-Encoding must be identity")
    async with stored_body(request, service) as path:
        id_ = service.store.add_upload(path, name)
    told = _told(id_, service.store.uploads[id_], base)
    return JSONResponse(told, 201, {"Location": told["href"]})


def _told(id_: str, path: Path, base: str) -> dict[str, Any]:
    told = {"id": id_, "name": path.name, "href": f"{base}/uploads/{id_}"}
    return told | {"bytes": path.stat().st_size, "type": _media(path)}


def _media(path: Path) -> str:
    return BY_SUFFIX.get(path.suffix.lower(), "application/octet-stream")


def uploads(request: "Request") -> "Response":
    """List the uploads."""
    from starlette.responses import JSONResponse

    base, found = base_url(request), list(service_of(request).store.uploads.items())
    listed = [_told(id_, path, base) for id_, path in found if path.exists()]
    links = [{"href": f"{base}/uploads", "rel": "self", "type": "application/json"}]
    return JSONResponse({"uploads": listed, "links": links})


def _known(request: "Request") -> str:
    id_: str = request.path_params["upload"]
    if id_ not in service_of(request).store.uploads:
        raise ProblemError(404, f"there is no upload {id_[:100]!r}")
    return id_


def upload(request: "Request") -> "Response":
    """Hand an upload back."""
    from starlette.responses import FileResponse

    path = service_of(request).store.uploads[_known(request)]
    return FileResponse(path, media_type=_media(path), filename=path.name)


def remove_upload(request: "Request") -> "Response":
    """Delete an upload; jobs that were given it keep it."""
    from starlette.responses import Response

    service_of(request).store.remove_upload(_known(request))
    return Response(status_code=204)
