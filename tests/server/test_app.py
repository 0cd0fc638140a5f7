"""What the server does beside answering."""

import asyncio
from pathlib import Path

import pytest

from toolbox.jobs.limits import Limits
from toolbox.jobs.office import Office
from toolbox.jobs.store import Store
from toolbox.server.app import _sweep
from toolbox.server.service import Service


def test_the_sweeper_goes_on_after_what_it_could_not_remove(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    store, swept = Store(tmp_path), asyncio.Event()
    service = Service(Office(store, Limits(age=0.1), set()))
    times: list[float] = []

    def removing(age: float, _: object) -> None:
        times.append(age)
        if len(times) == 1:
            raise PermissionError(13, "Permission denied")
        loop.call_soon_threadsafe(swept.set)

    monkeypatch.setattr(store, "remove_older", removing)

    async def watched() -> None:
        sweeper = asyncio.ensure_future(_sweep(service))
        try:
            await asyncio.wait_for(swept.wait(), 30)
        finally:
            sweeper.cancel()

    loop = asyncio.new_event_loop()
    try:
        loop.run_until_complete(watched())
    finally:
        loop.close()
    assert times[:2] == [0.1, 0.1]
    assert "PermissionError" in capsys.readouterr().err
