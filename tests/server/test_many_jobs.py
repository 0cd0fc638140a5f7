"""Many at one time are all answered, in bounded memory."""

import asyncio
import contextlib
from collections import Counter
from typing import Any

import httpx
import psutil

MIB = 1024**2
MANY = 200


def memory(server: Any) -> tuple[float, float]:
    """Return what the server and the largest of its workers hold, MiB."""
    process = psutil.Process(server.process.pid)
    workers = [0]
    for child in process.children():
        with contextlib.suppress(psutil.Error):
            workers.append(child.memory_info().rss)
    return process.memory_info().rss / MIB, max(workers) / MIB


async def send(server: Any, body: dict[str, Any], prefer: str, count: int) -> list[httpx.Response]:
    """Send many requests at one time."""
    limits = httpx.Limits(max_connections=count)
    async with httpx.AsyncClient(base_url=server.url, timeout=120, limits=limits) as client:
        path, headers = "/processes/slope/execution", {"Prefer": prefer}
        sent = [client.post(path, json=body, headers=headers) for _ in range(count)]
        return await asyncio.gather(*sent)


def test_many_jobs_are_made_and_none_is_lost(ask: Any, server: Any, inline: Any) -> None:
    assert ask.execute("slope", inputs={"depth": inline}).status_code == 200
    before = memory(server)
    body = {"inputs": {"depth": inline}}
    answers = asyncio.run(send(server, body, "respond-async", MANY))
    assert Counter(answer.status_code for answer in answers) == {201: MANY}
    told = [ask.over(answer.headers["location"], 200) for answer in answers]
    assert Counter(one["status"] for one in told) == {"successful": MANY}
    contents = {ask.client.get(f"/jobs/{one['jobID']}/results").content for one in told[::10]}
    assert len(contents) == 1
    after = memory(server)
    assert after[0] - before[0] < 100
    assert after[0] < 400
    assert after[1] < 1024


def test_many_that_wait_are_all_answered(server: Any, inline: Any) -> None:
    before = memory(server)
    answers = asyncio.run(send(server, {"inputs": {"depth": inline}}, "wait", 50))
    counts = Counter(answer.status_code for answer in answers)
    assert counts == {200: 50}
    assert len({answer.content for answer in answers if answer.status_code == 200}) == 1
    assert memory(server)[0] - before[0] < 100


def test_large_requests_at_one_time_are_bounded_in_memory(server: Any) -> None:
    body = {"inputs": {"depth": "A" * 2_000_000}}
    answers = asyncio.run(send(server, body, "wait", 50))
    # 8 MiB of them are held at one time
    for answer in answers:
        assert answer.headers["content-type"] == "application/problem+json"
        assert answer.status_code in (400, 408, 503)
        assert answer.status_code != 503 or answer.headers["retry-after"] == "5"
    assert memory(server)[0] < 500
