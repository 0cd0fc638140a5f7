"""Bodies that are too large, too slow or no JSON are refused as the standard has it."""

import json
import re
import socket
import threading
import time
from contextlib import ExitStack, suppress
from typing import Any

import psutil
import pytest

from toolbox.server.apart import json_object

PATH = "/processes/slope/execution"


def test_a_body_that_is_too_large_is_refused(ask: Any) -> None:
    body = json.dumps({"inputs": {"depth": "A" * 3_000_000}})
    answer = ask.client.post(PATH, content=body, headers={"Content-Type": "application/json"})
    detail = ask.problem(answer, 413)
    assert detail == "the body may have at most 2,097,152 bytes; large files are uploaded"


def test_a_body_that_does_not_tell_its_size_is_measured(ask: Any) -> None:
    pieces = iter([b"x" * 1_000_000] * 3)
    answer = ask.client.post(PATH, content=pieces, headers={"Content-Type": "application/json"})
    ask.problem(answer, 413)


def test_an_upload_that_is_too_large_leaves_nothing(ask: Any, server: Any) -> None:
    for content in (bytes(6_000_000), iter([bytes(1_000_000)] * 6)):
        answer = ask.client.post("/uploads?name=a.csv", content=content)
        ask.problem(answer, 413)
    assert list((server.work / "scratch").iterdir()) == []


@pytest.mark.parametrize(
    ("body", "told"),
    [
        (b"{", "the body is not JSON: "),
        (b"\xff\xfe", "the body is not JSON: "),
        (b"[]", "the body must be a JSON object"),
        (b'{"inputs": {"depth": NaN}}', "NaN is no number of JSON"),
        (b"[" * 100_000, "the body is not JSON: it is nested too deeply"),
        (b'{"inputs": {"' + b'\\ud800": 1}}', "is unknown"),
        (b'{"inputs": {"depth": "\\ud800"}}', "is not in base64"),
        (b'{"inputs": ' + b"9" * 5000 + b"}", "the body is not JSON: "),
    ],
)
def test_bad_json_is_refused(ask: Any, body: bytes, told: str) -> None:
    answer = ask.client.post(PATH, content=body, headers={"Content-Type": "application/json"})
    assert told in ask.problem(answer, 400)


@pytest.mark.parametrize("part", [b"[],", b"{},", b'{"a":1},'])
def test_json_that_swells_is_refused_before_it_is_read(ask: Any, part: bytes) -> None:
    body = b'{"inputs":{"depth":[' + part * (2_000_000 // len(part)) + b"0]}}"
    answer = ask.client.post(PATH, content=body, headers={"Content-Type": "application/json"})
    detail = "the body holds too many numbers, lists or objects: upload a file"
    assert ask.problem(answer, 413) == detail


def test_geojson_of_the_largest_size_is_read() -> None:
    """Places of a line, the densest of what is sent in earnest."""
    place = b"[10.12345,47.12345],"
    body = b'{"inputs":{"a":[' + place * (2_000_000 // len(place)) + b"0]}}"
    assert len(json_object(body, 2_000_000)["inputs"]["a"]) == 100_001


@pytest.mark.parametrize("media", ["text/plain", "application/xml", "multipart/form-data", ""])
def test_another_media_type_is_refused(ask: Any, media: str) -> None:
    answer = ask.client.post(PATH, content=b"{}", headers={"Content-Type": media})
    detail = ask.problem(answer, 415)
    assert detail == f"Content-Type must be application/json, got {media!r}"


def test_a_packed_body_is_refused(ask: Any) -> None:
    headers = {"Content-Type": "application/json", "Content-Encoding": "gzip"}
    ask.problem(ask.client.post(PATH, content=b"{}", headers=headers), 415)


def head(server: Any, path: str, length: int) -> bytes:
    """Write the head of a request."""
    return (
        f"POST {path} HTTP/1.1\r\nHost: 127.0.0.1:{server.port}\r\n"
        f"Content-Type: application/json\r\nContent-Length: {length}\r\n\r\n"
    ).encode()


def everything(connection: socket.socket) -> bytes:
    """Read until the other side closes."""
    found = b""
    while piece := connection.recv(65536):
        found += piece
    return found


def test_a_body_that_comes_too_slowly_is_refused(server: Any) -> None:
    with socket.create_connection(("127.0.0.1", server.port), 10) as connection:
        connection.sendall(head(server, PATH, 1000) + b"{")
        begun = time.monotonic()
        answer = everything(connection)
    assert 1.0 < time.monotonic() - begun < 6.0
    assert answer.startswith(b"HTTP/1.1 408 ")
    assert b"application/problem+json" in answer
    assert b"the body comes too slowly" in answer


def test_a_body_that_trickles_is_refused(server: Any) -> None:
    with socket.create_connection(("127.0.0.1", server.port), 10) as connection:
        connection.sendall(head(server, "/uploads?name=a.csv", 1000))
        stop = threading.Event()

        def trickle() -> None:
            while not stop.wait(0.3):
                try:
                    connection.sendall(b"x")
                except OSError:
                    return

        sender = threading.Thread(target=trickle)
        sender.start()
        try:
            answer = connection.recv(65536)
        finally:
            stop.set()
            sender.join()
    assert answer.startswith(b"HTTP/1.1 408 ")


def test_who_says_nothing_is_hung_up_on(server: Any) -> None:
    with (
        socket.create_connection(("127.0.0.1", server.port), 10) as silent,
        socket.create_connection(("127.0.0.1", server.port), 10) as halting,
    ):
        halting.sendall(b"GET / HTTP/1.1\r\nHost: ")
        for connection in (silent, halting):
            with suppress(ConnectionResetError):
                assert everything(connection) == b""


def test_requests_that_come_at_once_are_answered_in_turn(server: Any) -> None:
    """One connection, several requests before the first answer (RFC 9112, 2022, 9.3.2)."""
    asked = [b"/conformance", b"/nowhere", b"/jobs"]
    heads = [b"GET %s HTTP/1.1\r\nHost: localhost\r\n" % path for path in asked]
    with socket.create_connection(("127.0.0.1", server.port), 10) as connection:
        connection.sendall(b"\r\n".join(heads) + b"Connection: close\r\n\r\n")
        answer = everything(connection)
    found = re.findall(rb"HTTP/1\.1 (\d+) ", answer)
    assert found == [b"200", b"404", b"200"]


def test_idle_connections_keep_nobody_out(ask: Any, server: Any) -> None:
    process = psutil.Process(server.process.pid)
    before = process.memory_info().rss
    with ExitStack() as stack:
        for _ in range(300):
            stack.enter_context(socket.create_connection(("127.0.0.1", server.port), 10))
        assert ask.client.get("/jobs").status_code == 200
        assert process.memory_info().rss - before < 50 * 1024**2


def test_a_head_that_is_too_long_or_no_head_is_refused(server: Any) -> None:
    for sent in (b"GET /" + b"a" * 200_000 + b" HTTP/1.1\r\n\r\n", b"\x16\x03\x01 hello\r\n\r\n"):
        with socket.create_connection(("127.0.0.1", server.port), 10) as connection:
            connection.sendall(sent)
            assert connection.recv(100).startswith(b"HTTP/1.1 400 ")
