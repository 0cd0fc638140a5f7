"""References lead to files of the server and nowhere else."""

import socket
from pathlib import Path
from typing import Any
from urllib.parse import quote

import pytest

from toolbox.jobs.store import Store
from toolbox.server.problems import ProblemError
from toolbox.server.references import referenced

BASE = "https://lake.example.org/leadline"


@pytest.fixture
def store(tmp_path: Path) -> Store:
    """Give a work folder with one upload."""
    made = Store(tmp_path / "work")
    fresh = made.scratch / "fresh"
    fresh.write_bytes(b"time,level_m")
    made.add_upload(fresh, "levels.csv")
    return made


def test_an_upload_is_found_by_its_address_or_its_path(store: Store) -> None:
    (id_,) = store.uploads
    for href in (f"{BASE}/uploads/{id_}", f"/leadline/uploads/{id_}"):
        assert referenced(href, BASE, store).read_bytes() == b"time,level_m"


@pytest.mark.parametrize(
    "href",
    [
        "http://lake.example.org/leadline/uploads/{id}",
        "https://example.org/leadline/uploads/{id}",
        "https://lake.example.org:444/leadline/uploads/{id}",
        "https://lake.example.org@example.org/leadline/uploads/{id}",
        "//example.org/leadline/uploads/{id}",
        "file:///leadline/uploads/{id}",
        "file:/leadline/uploads/{id}",
        "/uploads/{id}",
        "uploads/{id}",
        "/leadline/uploads/{id}/levels.csv",
        "/leadline/uploads/{id}/../../../etc/passwd",
        "/leadline/uploads/..%2f..%2fetc%2fpasswd",
        "/leadline/uploads/{id}?name=x",
        "/leadline/uploads/{id}#x",
        "/leadline/jobs/../results/result",
        "/etc/passwd",
        "http://[::1",
        "",
    ],
)
def test_anything_else_is_refused(store: Store, href: str) -> None:
    (id_,) = store.uploads
    with pytest.raises(ProblemError, match="href names no upload and no result of this server"):
        referenced(href.replace("{id}", id_), BASE, store)


PATHS = ["../lock", "../../etc/passwd", "/etc/passwd", "...", "a\0b", "%2e%2e/%2e%2e/.lock"]


@pytest.mark.parametrize("path", PATHS)
@pytest.mark.parametrize(
    ("place", "name"),
    [
        ("/uploads/{}", ""),
        ("/jobs/{}", "no-such-job"),
        ("/jobs/{}/results", "no-such-job"),
        ("/jobs/{}/results/result", "no-such-job"),
        ("/processes/{}", "no-such-process"),
    ],
)
def test_no_path_leads_out_of_the_work_folder(ask: Any, path: str, place: str, name: str) -> None:
    answer = ask.client.get(place.format(quote(path, safe="")))
    assert answer.status_code == 404
    assert answer.headers["content-type"] == "application/problem+json"
    # a name with a stroke in it fits no route
    assert answer.json()["type"].endswith(name or "about:blank") or "/" in path


@pytest.mark.parametrize("path", ["/jobs/../../etc/passwd", "/uploads/..", "/../etc/passwd", "//x"])
def test_no_path_as_it_is_sent_leads_out_of_the_work_folder(server: Any, path: str) -> None:
    with socket.create_connection(("127.0.0.1", server.port), 10) as connection:
        connection.sendall(f"GET {path} HTTP/1.1\r\nHost: localhost\r\n\r\n".encode())
        assert connection.recv(65536).startswith(b"HTTP/1.1 404 ")


@pytest.mark.parametrize("name", [*PATHS, "", "a" * 101, ".hidden", "con.csv", "a/b.csv", "a\\b"])
def test_an_upload_is_named_by_a_plain_name(ask: Any, name: str) -> None:
    answer = ask.client.post("/uploads", params={"name": name}, content=b"x")
    assert "a file is named by letters, digits" in ask.problem(answer, 400)
