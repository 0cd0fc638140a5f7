"""References: links of this server to files that it holds, and to nothing else."""

import os
import shutil
from pathlib import Path
from urllib.parse import urlsplit

from toolbox.jobs.names import is_id
from toolbox.jobs.store import Store
from toolbox.server.problems import ProblemError

__all__ = ["hand_in", "referenced"]


def referenced(href: str, base: str, store: Store) -> Path:
    """Find the file that a reference names: an upload, or the result of a job.

    Parameters
    ----------
    href : str
        A URL, or its path.
    base : str
        Address of this server.
    store : Store
        The work folder.

    Raises
    ------
    ProblemError
        If it is no link of this server. Nothing is fetched from elsewhere.
    """
    parts = _below(href, base)
    if len(parts) == 2 and parts[0] == "uploads" and parts[1] in store.uploads:
        return store.uploads[parts[1]]
    if len(parts) == 4 and (parts[0], *parts[2:]) == ("jobs", "results", "result"):
        job = store.jobs.get(parts[1]) if is_id(parts[1]) else None
        path = store.result_file(job) if job and job.status == "successful" else None
        if path is not None:
            return path
    raise ProblemError(400, f"href names no upload and no result of this server: {href[:200]!r}")


def _below(href: str, base: str) -> list[str]:
    """Return the path of a link below the address of this server; none if it leads elsewhere."""
    try:
        link, own = urlsplit(href), urlsplit(base)
    except ValueError:
        return []
    if link.query or link.fragment or (link.netloc and not link.scheme):
        return []
    if link.netloc and (link.scheme, link.netloc) != (own.scheme, own.netloc):
        return []
    if link.scheme and not link.netloc:
        return []
    prefix = own.path.rstrip("/") + "/"
    if not link.path.startswith(prefix):
        return []
    return link.path.removeprefix(prefix).split("/")


def hand_in(path: Path, target: Path) -> None:
    """Put a file that the server holds into a job's folder, where it stays if it is deleted."""
    target.parent.mkdir(parents=True, exist_ok=True)
    try:
        os.link(path, target)
    except FileExistsError as error:
        raise ProblemError(400, f"{target.name!r} is given twice") from error
    except FileNotFoundError as error:
        raise ProblemError(400, f"{path.name!r} has been deleted") from error
    except OSError:  # a file system without links
        shutil.copyfile(path, target)
