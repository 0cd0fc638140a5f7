"""An independent client library gets on with the server."""

import time
from typing import Any

import pytest
from owslib.ogcapi import processes


@pytest.fixture(scope="module")
def library(server: Any) -> Any:
    """Give a client of OWSLib."""
    return processes.Processes(server.url)


def test_it_reads_the_landing_page_and_the_definition(library: Any) -> None:
    assert any(link["rel"] == "service-desc" for link in library.links)
    assert library.api()["openapi"] == "3.0.3"
    assert library.conformance()["conformsTo"]


def test_it_lists_and_describes_processes(library: Any) -> None:
    listed = [one["id"] for one in library.processes()]
    assert {"run", "slope", "hypsography"} <= set(listed)
    assert library.process("slope")["inputs"]["depth"]["minOccurs"] == 1


def test_it_carries_a_process_out(library: Any, inline: dict[str, str]) -> None:
    told = library.execute("slope", {"depth": inline})
    assert told["result"]["mediaType"] == "image/tiff; application=geotiff"


def test_it_makes_a_job(library: Any, ask: Any) -> None:
    told = library.execute("probe-sleep", {"seconds": 0.1}, async_=True)
    until = time.monotonic() + 20
    while told["status"] in ("accepted", "running") and time.monotonic() < until:
        told = ask.client.get(f"/jobs/{told['jobID']}").json()
    assert told["status"] == "successful"
