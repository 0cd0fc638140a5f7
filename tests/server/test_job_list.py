"""Jobs are listed and narrowed down."""

import itertools
from typing import Any

import pytest
from starlette.datastructures import QueryParams

from toolbox.jobs.record import Record
from toolbox.server.job_list import job_list
from toolbox.server.problems import ProblemError

BASE = "http://127.0.0.1:1"


def made(number: int, process: str, status: str, seconds: int) -> Record:
    """Make a record of the n-th minute of a day."""
    record = Record(str(number), process, status, created=f"2026-05-01T10:{number:02}:00.000Z")
    if status != "accepted":
        record.started = f"2026-05-01T11:{number:02}:00.000Z"
        record.finished = f"2026-05-01T11:{number:02}:{seconds:02}.000Z"
    return record


RECORDS = [
    made(1, "slope", "successful", 1),
    made(2, "slope", "failed", 10),
    made(3, "run", "successful", 40),
    made(4, "run", "accepted", 0),
]


def listed(query: str) -> list[str]:
    """List jobs by their ids."""
    told = job_list(RECORDS, QueryParams(query), BASE)
    return [job["jobID"] for job in told["jobs"]]


@pytest.mark.parametrize(
    ("query", "ids"),
    [
        ("", "4321"),
        ("type=process", "4321"),
        ("type=other", ""),
        ("processID=run", "43"),
        ("processID=run,slope&status=failed", "2"),
        ("status=successful,accepted", "431"),
        ("status=successful&status=failed", "321"),
        ("datetime=2026-05-01T10:02:00Z", "2"),
        ("datetime=2026-05-01T10:02:00Z/..", "432"),
        ("datetime=../2026-05-01T10:02:30Z", "21"),
        ("datetime=2026-05-01T12:02:00%2B02:00/2026-05-01T10:03:00Z", "32"),
        ("minDuration=10", "32"),
        ("maxDuration=10", "21"),
        ("minDuration=5&maxDuration=20", "2"),
        ("limit=2", "43"),
        ("limit=2&offset=1", "32"),
        ("limit=10&offset=9", ""),
    ],
)
def test_jobs_are_narrowed_down(query: str, ids: str) -> None:
    assert listed(query) == list(ids)


@pytest.mark.parametrize(
    ("query", "told"),
    [
        ("limit=0", "limit must be a whole number >= 1, got '0'"),
        ("limit=ten", "limit must be a whole number >= 1, got 'ten'"),
        ("limit=-1", "limit must be a whole number >= 1"),
        ("limit=99999999999", "limit must be a whole number >= 1"),
        ("offset=-1", "offset must be a whole number >= 0"),
        ("status=lost", "status must be one of accepted, running, .*, got 'lost'"),
        ("datetime=yesterday", "datetime must be a time or an interval"),
        ("datetime=2026-05-01/2026-05-02/2026-05-03", "datetime must be a time or an interval"),
        ("minDuration=-1", "minDuration must be seconds >= 0, got '-1'"),
        ("maxDuration=nan", "maxDuration must be seconds >= 0, got 'nan'"),
    ],
)
def test_what_is_no_way_to_narrow_down_is_refused(query: str, told: str) -> None:
    with pytest.raises(ProblemError, match=told):
        listed(query)


def test_links_lead_through_all_pages() -> None:
    seen: list[str] = []
    query: str | None = "limit=1&processID=run,slope"
    for _ in itertools.repeat(None, 10):
        told: dict[str, Any] = job_list(RECORDS, QueryParams(query), BASE)
        seen += [job["jobID"] for job in told["jobs"]]
        following = [link["href"] for link in told["links"] if link["rel"] == "next"]
        if not following:
            break
        query = following[0].partition("?")[2]
    assert seen == list("4321")


def test_a_server_refuses_them_as_the_standard_has_it(ask: Any) -> None:
    ask.problem(ask.client.get("/jobs?limit=0"), 400)
    ask.problem(ask.client.get("/processes?limit=x"), 400)
