"""App: which answer belongs to which request."""

import asyncio
import threading
import traceback
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from typing import TYPE_CHECKING

from toolbox.extras import needed
from toolbox.server import pages, uploads
from toolbox.server.descriptions import describe_all
from toolbox.server.execution import execute
from toolbox.server.guard import Guard
from toolbox.server.problems import (
    ProblemError,
    refuse_full,
    refuse_http,
    refuse_problem,
    refuse_unforeseen,
)
from toolbox.server.service import Service

if TYPE_CHECKING:
    from starlette.applications import Starlette

__all__ = ["make_app"]

_READERS = 2


def make_app(service: Service) -> "Starlette":
    """Make the application that a server of ASGI runs.

    Parameters
    ----------
    service : Service
        Its office is started with the application and closed with it.
    """
    with needed("server", "leadline serve"):
        from starlette.applications import Starlette
        from starlette.exceptions import HTTPException
        from starlette.middleware import Middleware
        from starlette.routing import Route

    routes = [
        Route("/", pages.landing),
        Route("/api", pages.api),
        Route("/conformance", pages.conformance),
        Route("/processes", pages.processes),
        Route("/processes/{process}", pages.one_process),
        Route("/processes/{process}/execution", execute, methods=["POST"]),
        Route("/jobs", pages.jobs),
        Route("/jobs/{job}", pages.job),
        Route("/jobs/{job}", pages.dismiss, methods=["DELETE"]),
        Route("/jobs/{job}/results", pages.results),
        Route("/jobs/{job}/results/result", pages.result_file),
        Route("/uploads", uploads.uploads),
        Route("/uploads", uploads.add_upload, methods=["POST"]),
        Route("/uploads/{upload}", uploads.upload),
        Route("/uploads/{upload}", uploads.remove_upload, methods=["DELETE"]),
    ]

    @asynccontextmanager
    async def lifespan(app: Starlette) -> AsyncIterator[None]:
        service.turns = (asyncio.Semaphore(_READERS), asyncio.Semaphore(_READERS))
        service.office.start()
        stop = threading.Event()
        sweeper = asyncio.ensure_future(_sweep(service))
        describing = asyncio.ensure_future(asyncio.to_thread(describe_all, stop))
        try:
            yield
        finally:
            sweeper.cancel()
            stop.set()
            await describing
            await asyncio.to_thread(service.office.close)

    app = Starlette(
        routes=routes,
        lifespan=lifespan,
        middleware=[Middleware(Guard, service=service)],
        exception_handlers={
            ProblemError: refuse_problem,
            HTTPException: refuse_http,
            OSError: refuse_full,
            Exception: refuse_unforeseen,
        },
    )
    app.router.redirect_slashes = False
    app.state.service = service
    return app


async def _sweep(service: Service) -> None:
    """Remove what is too old, now and then."""
    age = service.limits.age
    while True:
        try:
            await asyncio.to_thread(service.store.remove_older, age, service.office.busy)
        except Exception:  # what cannot be removed now may be next time
            traceback.print_exc()
        await asyncio.sleep(min(max(age / 10, 0.2), 600))
