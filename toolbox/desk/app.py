"""App: the desk's page and what its forms send."""

from collections.abc import Awaitable, Callable, Iterator
from contextlib import suppress
from importlib.resources import files
from typing import TYPE_CHECKING, Any

from toolbox.desk.desk import Desk
from toolbox.desk.guard import REPORT_POLICY
from toolbox.desk.workplace import MOST_BYTES, MOST_FILES, SUFFIXES, safe_name
from toolbox.errors import ParameterError, ToolboxError
from toolbox.extras import needed
from toolbox.faults import disk_full
from toolbox.report.summary import CAUTIONS
from toolbox.report.templating import templates
from toolbox.survey.stages import STAGES
from toolbox.words import counted

if TYPE_CHECKING:
    from starlette.applications import Starlette
    from starlette.requests import Request
    from starlette.responses import Response

__all__ = ["make_app"]

_CHUNK = 2**20
_MAIN = {
    "report.html": "Report, one page that works offline",
    "sheet.pdf": "Sheet, a map true to scale",
    "lakebed.gpkg": "All layers for a desktop GIS",
    "findings.txt": "What was found, in words",
}
"""Files of the results that most people want."""


def make_app(desk: Desk, close: Callable[[], None]) -> "Starlette":
    """Make the application.

    Parameters
    ----------
    desk : Desk
        What it shows.
    close : callable
        Ends the desk.

    Raises
    ------
    MissingExtraError
        If the web libraries are not installed.
    """
    with needed("desk", "leadline desk"):
        import python_multipart  # noqa: F401  forms need it
        from starlette.applications import Starlette
        from starlette.routing import Route

    pages, results, actions = _Pages(desk), _Results(desk), _Actions(desk, close)
    read = {
        "/": pages.page,
        "/state": pages.state,
        "/chart": pages.chart,
        "/desk.css": pages.style,
        "/desk.js": pages.script,
        "/survey.toml": results.survey,
        "/results.zip": results.packed,
        "/results/{name:path}": results.one,
    }
    sent = ("files", "remove", "answers", "run", "cancel", "close")
    return Starlette(
        routes=[
            *(Route(path, end, methods=["GET"]) for path, end in read.items()),
            *(Route(f"/{n}", _posted(desk, getattr(actions, n)), methods=["POST"]) for n in sent),
        ]
    )


class _Pages:
    def __init__(self, desk: Desk) -> None:
        self.desk = desk

    async def page(self, request: "Request") -> "Response":
        from starlette.responses import HTMLResponse

        desk = self.desk
        found = desk.place.found()
        return HTMLResponse(
            templates("toolbox.desk")
            .get_template("desk.html")
            .render(
                desk=desk,
                seen=desk.seen,
                place=desk.place,
                stages=STAGES,
                main={name: told for name, told in _MAIN.items() if name in found},
                others=[name for name in found if name not in _MAIN],
                cautions=CAUTIONS,
                suffixes=",".join(SUFFIXES),
                megabytes=MOST_BYTES // 2**20,
            )
        )

    async def state(self, request: "Request") -> "Response":
        from starlette.responses import JSONResponse

        desk = self.desk
        told = ("version", "doing", "stage", "seconds")
        return JSONResponse({name: getattr(desk, name) for name in told})

    async def chart(self, request: "Request") -> "Response":
        from starlette.responses import JSONResponse

        return JSONResponse(self.desk.seen.chart)

    async def style(self, request: "Request") -> "Response":
        from starlette.responses import Response

        house = files("toolbox.report").joinpath("templates", "page", "page.css")
        return Response(house.read_text(encoding="utf-8") + _own("desk.css"), media_type="text/css")

    async def script(self, request: "Request") -> "Response":
        from starlette.responses import Response

        return Response(_own("desk.js"), media_type="text/javascript")


class _Results:
    def __init__(self, desk: Desk) -> None:
        self.desk = desk

    async def survey(self, request: "Request") -> "Response":
        from starlette.responses import PlainTextResponse, Response

        text = self.desk.seen.survey
        if not text:
            return PlainTextResponse("there is no survey file yet", 404)
        return Response(
            text,
            media_type="application/toml",
            headers={"content-disposition": 'attachment; filename="survey.toml"'},
        )

    async def packed(self, request: "Request") -> "Response":
        from starlette.concurrency import run_in_threadpool
        from starlette.responses import FileResponse, PlainTextResponse

        if not self.desk.place.found():
            return PlainTextResponse("there are no results yet", 404)
        path = await run_in_threadpool(self.desk.place.packed)
        return FileResponse(path, media_type="application/zip", filename="leadline-results.zip")

    async def one(self, request: "Request") -> "Response":
        from starlette.responses import FileResponse, PlainTextResponse

        name = request.path_params["name"]
        path = self.desk.place.found().get(name)  # only what is listed, so no path leads elsewhere
        if path is None:
            return PlainTextResponse("there is no such result", 404)
        if name == "report.html":
            return FileResponse(path, headers={"content-security-policy": REPORT_POLICY})
        return FileResponse(path, filename=path.name)


class _Actions:
    def __init__(self, desk: Desk, close: Callable[[], None]) -> None:
        self.desk, self._close = desk, close

    async def files(self, request: "Request") -> None:
        from starlette.concurrency import run_in_threadpool
        from starlette.datastructures import UploadFile

        self.desk.check_idle()
        async with request.form(max_files=MOST_FILES, max_fields=10) as form:
            sent = [part for part in form.getlist("file") if isinstance(part, UploadFile)]
            sent = [part for part in sent if part.filename]
            if not sent:
                raise _Refused(400, "choose a file first")
            named, refused = _named(sent)
            names, sent = [name for name, _ in named], [part for _, part in named]
            place = self.desk.place
            if place.taken + sum(part.size or 0 for part in sent) > MOST_BYTES:
                raise _Refused(413, f"all files together may have {MOST_BYTES // 2**20} MB")
            if len({*place.names, *names}) > MOST_FILES:
                raise _Refused(413, f"a desk takes {MOST_FILES} files at most")
            for name, part in zip(names, sent, strict=True):
                await run_in_threadpool(place.store, name, _parts(part))
        self.desk.given(names, refused)

    async def remove(self, request: "Request") -> None:
        self.desk.remove((await _answers(request)).get("name", ""))

    async def answers(self, request: "Request") -> None:
        self.desk.answer(await _answers(request))

    async def run(self, request: "Request") -> None:
        self.desk.run()

    async def cancel(self, request: "Request") -> None:
        from starlette.concurrency import run_in_threadpool

        await run_in_threadpool(self.desk.cancel)

    async def close(self, request: "Request") -> "Response":
        from starlette.responses import HTMLResponse

        self._close()
        return HTMLResponse(
            '<!doctype html><html lang="en"><title>Desk closed</title>'
            '<link rel="icon" href="data:,"><link rel="stylesheet" href="/desk.css">'
            '<main id="main"><h1>The desk is closed.</h1>'
            "<p>This window can be closed too.</p></main></html>"
        )


def _named(sent: list[Any]) -> tuple[list[tuple[str, Any]], str]:
    """Name the files that are taken, and say in one line why others are not.

    Raises
    ------
    ParameterError
        If none is taken.
    """
    named, refused = list[tuple[str, Any]](), list[ParameterError]()
    for part in sent:
        try:
            named.append((safe_name(str(part.filename)), part))
        except ParameterError as error:
            refused.append(error)
    if not named:
        raise refused[0]
    told = f"Not taken: {refused[0]}" if refused else ""
    others = len(refused) - 1
    return named, told + (f"; nor {counted(others, 'other file')}" if others > 0 else "")


class _Refused(Exception):  # noqa: N818  an answer, not an error
    def __init__(self, status: int, text: str) -> None:
        super().__init__(text)
        self.status = status


Action = Callable[["Request"], Awaitable["Response | None"]]


def _posted(desk: Desk, action: Action) -> Callable[["Request"], Awaitable["Response"]]:
    """Do what a form asks, and go back to the page; what cannot be done is told in one line."""

    async def end(request: "Request") -> "Response":
        from starlette.exceptions import HTTPException
        from starlette.responses import PlainTextResponse, RedirectResponse

        try:
            answer = await action(request)
        except _Refused as error:
            return PlainTextResponse(str(error), error.status)
        except OSError as error:  # an OutputError, too
            if not disk_full(error):
                raise
            why = str(error) if isinstance(error, ToolboxError) else error.strerror
            await _drain(request)
            return PlainTextResponse(f"there is no room for this: {why}", 507)
        except ToolboxError as error:
            return PlainTextResponse(str(error), 409 if desk.doing == "run" else 400)
        except HTTPException as error:  # of a form that is none, or has too many parts
            return PlainTextResponse(str(error.detail), error.status_code)
        return answer or RedirectResponse("/", 303)

    return end


async def _drain(request: "Request") -> None:
    """Read what is still sent, for who is sending does not hear an answer."""
    from starlette.exceptions import HTTPException
    from starlette.requests import ClientDisconnect

    with suppress(RuntimeError, ClientDisconnect, HTTPException):  # it was read, or is too much
        async for _ in request.stream():
            pass


async def _answers(request: "Request") -> dict[str, str]:
    async with request.form(max_files=0, max_fields=1000) as form:
        return {key: value for key, value in form.items() if isinstance(value, str)}


def _parts(part: Any) -> Iterator[bytes]:
    part.file.seek(0)
    while data := part.file.read(_CHUNK):
        yield data


def _own(name: str) -> str:
    found = files("toolbox.desk").joinpath("templates", name)
    return found.read_text(encoding="utf-8").replace("\r\n", "\n")
