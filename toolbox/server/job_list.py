"""Job list: jobs, the latest first, and how they are narrowed down."""

import math
from collections.abc import Callable
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any
from urllib.parse import urlencode

from toolbox.jobs.record import Record
from toolbox.server.problems import ProblemError
from toolbox.server.status import duration, status_info

if TYPE_CHECKING:
    from starlette.datastructures import QueryParams

__all__ = ["job_list", "page"]

_STATUSES = ("accepted", "running", "successful", "failed", "dismissed")
_MOST = 10_000

Fits = Callable[[Record], bool]


def page(
    found: list[Any], query: "QueryParams", address: str, usual: int
) -> tuple[list[Any], list[dict[str, str]]]:
    """Return one page of a list, and links to it and those beside it.

    Parameters
    ----------
    found : list
        All of it.
    query : QueryParams
        ``limit`` and ``offset`` say which page.
    address : str
        Of the list.
    usual : int
        How many to a page if nobody says.
    """
    limit = min(_whole(query, "limit", usual, 1), _MOST)
    offset = _whole(query, "offset", 0, 0)
    kept = [(key, value) for key, value in query.multi_items() if key != "offset"]
    links = [_link(address, query.multi_items(), "self")]
    if offset + limit < len(found):
        links.append(_link(address, [*kept, ("offset", str(offset + limit))], "next"))
    if offset:
        links.append(_link(address, [*kept, ("offset", str(max(offset - limit, 0)))], "prev"))
    return found[offset : offset + limit], links


def _link(address: str, query: list[tuple[str, str]], relation: str) -> dict[str, str]:
    href = f"{address}?{urlencode(query)}" if query else address
    return {"href": href, "rel": relation, "type": "application/json"}


def _whole(query: "QueryParams", key: str, usual: int, least: int) -> int:
    text = query.get(key)
    if text is None:
        return usual
    if not (text.isascii() and text.isdecimal() and len(text) < 10) or int(text) < least:
        raise ProblemError(400, f"{key} must be a whole number >= {least}, got {text[:100]!r}")
    return int(text)


def job_list(records: list[Record], query: "QueryParams", base: str) -> dict[str, Any]:
    """List jobs.

    Parameters
    ----------
    records : list of Record
        All of them.
    query : QueryParams
        ``type``, ``processID``, ``status``, ``datetime``, ``minDuration``, ``maxDuration``,
        ``limit`` and ``offset``.
    base : str
        Address of the server.

    Raises
    ------
    ProblemError
        If a value is not allowed.
    """
    fits = [*_choices(query), *_times(query), *_durations(query)]
    found = [record for record in records if all(fit(record) for fit in fits)]
    found.sort(key=lambda record: record.created, reverse=True)
    listed, links = page(found, query, f"{base}/jobs", 100)
    return {"jobs": [status_info(record, base) for record in listed], "links": links}


def _several(query: "QueryParams", key: str) -> list[str]:
    return [one for text in query.getlist(key) for one in text.split(",")]


def _choices(query: "QueryParams") -> list[Fits]:
    fits: list[Fits] = []
    if types := _several(query, "type"):
        fits.append(lambda record: "process" in types)
    if processes := _several(query, "processID"):
        fits.append(lambda record: record.process in processes)
    if statuses := _several(query, "status"):
        for status in statuses:
            if status not in _STATUSES:
                allowed = ", ".join(_STATUSES)
                raise ProblemError(400, f"status must be one of {allowed}, got {status[:100]!r}")
        fits.append(lambda record: record.status in statuses)
    return fits


def _times(query: "QueryParams") -> list[Fits]:
    """Narrow down by when jobs were created: an instant, or two with a stroke between."""
    text = query.get("datetime")
    if text is None:
        return []
    ends = text.split("/") if "/" in text else [text, text]
    if len(ends) != 2:
        raise _no_time(text)
    since, until = (_instant(end, text) for end in ends)

    def fits(record: Record) -> bool:
        created = datetime.fromisoformat(record.created)
        return (since is None or created >= since) and (until is None or created <= until)

    return [fits]


def _instant(end: str, text: str) -> datetime | None:
    if end in ("", ".."):
        return None
    try:
        found = datetime.fromisoformat(end.replace(" ", "+"))
    except ValueError as error:
        raise _no_time(text) from error
    return found if found.tzinfo else found.replace(tzinfo=UTC)


def _no_time(text: str) -> ProblemError:
    return ProblemError(
        400,
        "datetime must be a time or an interval such as 2026-05-01T00:00:00Z/.., "
        f"got {text[:100]!r}",
    )


def _durations(query: "QueryParams") -> list[Fits]:
    fits: list[Fits] = []
    if (least := _seconds(query, "minDuration")) is not None:
        fits.append(lambda record: record.started is not None and duration(record) >= least)
    if (most := _seconds(query, "maxDuration")) is not None:
        fits.append(lambda record: record.started is not None and duration(record) <= most)
    return fits


def _seconds(query: "QueryParams", key: str) -> float | None:
    text = query.get(key)
    if text is None:
        return None
    try:
        seconds = float(text)
    except ValueError:
        seconds = math.nan
    if not 0 <= seconds < math.inf:
        raise ProblemError(400, f"{key} must be seconds >= 0, got {text[:100]!r}")
    return seconds
