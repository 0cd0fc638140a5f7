"""Command: ``leadline serve``."""

import os
import socket
from pathlib import Path

import click

from toolbox.extras import needed
from toolbox.jobs.limits import Limits

__all__ = ["serve_command"]

_LOOPBACK = frozenset({"127.0.0.1", "localhost", "[::1]"})
_CAUTION = (
    "caution: anyone who reaches {host} can use this server, read all results and fill its work "
    "folder: it knows no accounts. Put a proxy with TLS and authentication before it."
)


@click.command("serve", short_help="Offer everything by OGC API - Processes.")
@click.option(
    "--work",
    type=click.Path(path_type=Path),
    required=True,
    help="Folder for uploads, jobs and results; nothing else is read or written.",
)
@click.option("--host", default="127.0.0.1", show_default=True, help="Address to listen at.")
@click.option(
    "--port", default=8484, show_default=True, type=click.IntRange(0, 65535), help="Port."
)
@click.option("--url", help="Address under which others know it, if a proxy stands before it.")
@click.option("--jobs", type=click.IntRange(min=1), help="Jobs at one time; one for each core.")
@click.option(
    "--queue",
    default=200,
    show_default=True,
    type=click.IntRange(min=1),
    help="Jobs that may wait.",
)
@click.option("--seconds", default=600.0, show_default=True, help="Time that a job may take.")
@click.option("--memory", default="4 GiB", show_default=True, help="Memory that a job may take.")
@click.option("--body", default="64 MiB", show_default=True, help="Largest request.")
@click.option("--upload", default="2 GiB", show_default=True, help="Largest upload.")
@click.option("--disk", default="20 GiB", show_default=True, help="What the work folder may hold.")
@click.option("--hours", default=24.0, show_default=True, help="How long results and uploads stay.")
@click.option(
    "--patience", default=20.0, show_default=True, help="Seconds to wait for a slow sender."
)
def serve_command(
    work: Path,
    host: str,
    port: int,
    url: str | None,
    jobs: int | None,
    queue: int,
    seconds: float,
    memory: str,
    body: str,
    upload: str,
    disk: str,
    hours: float,
    patience: float,
) -> None:
    """Offer all tools and the whole job to other programs by OGC API - Processes.

    It listens on this machine only, if nothing else is said. Ctrl+C stops it.
    """
    from toolbox.blocks.memory import parse_memory
    from toolbox.jobs.lock import held
    from toolbox.server.serving import bound

    limits = Limits(
        seconds=seconds,
        memory=parse_memory(memory),
        running=jobs or _cores(),
        queued=queue,
        disk=parse_memory(disk),
        age=hours * 3600,
        body=parse_memory(body),
        upload=parse_memory(upload),
        patience=patience,
    )
    with needed("server", "leadline serve"):
        import starlette  # noqa: F401
        import uvicorn  # noqa: F401
    with held(work), bound(host, port) as listening:
        name = f"[{host}]" if ":" in host else host
        address = f"http://{name}:{listening.getsockname()[1]}/"
        if name not in _LOOPBACK:
            click.echo(_CAUTION.format(host=host), err=True)
        _serve(work, listening, limits, url, _hosts(name, url), address)


def _cores() -> int:
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def _hosts(name: str, url: str | None) -> frozenset[str]:
    """Return the names under which the server answers; none stands for all."""
    from urllib.parse import urlsplit

    if name in ("0.0.0.0", "[::]") and url is None:
        return frozenset()
    known = urlsplit(url).hostname if url else None
    return _LOOPBACK | {name.lower()} | ({known.lower()} if known else set())


def _serve(
    work: Path,
    listening: socket.socket,
    limits: Limits,
    url: str | None,
    hosts: frozenset[str],
    address: str,
) -> None:
    from toolbox.jobs.confine import other_drivers
    from toolbox.jobs.office import Office
    from toolbox.jobs.store import Store
    from toolbox.server.app import make_app
    from toolbox.server.service import Service
    from toolbox.server.serving import serve

    office = Office(Store(work), limits, other_drivers())
    app = make_app(Service(office, url.rstrip("/") if url else None, hosts))
    known = f", known as {url}" if url else ""
    click.echo(f"serving {address} from {work}{known}; Ctrl+C stops it")
    try:
        serve(app, listening, limits.patience)
    except KeyboardInterrupt:
        click.echo("stopped", err=True)
