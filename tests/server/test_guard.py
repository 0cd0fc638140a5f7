"""Foreign names and pages of foreign origin get nothing."""

from typing import Any

import pytest


@pytest.mark.parametrize("host", ["example.org", "127.0.0.1.example.org", "example.org:80", ""])
def test_the_server_answers_under_its_own_names_only(ask: Any, host: str) -> None:
    ask.problem(ask.client.get("/jobs", headers={"Host": host}), 421)


@pytest.mark.parametrize("host", ["127.0.0.1", "localhost:1234", "[::1]:80", "LOCALHOST"])
def test_names_of_loopback_are_its_own(ask: Any, host: str) -> None:
    assert ask.client.get("/jobs", headers={"Host": host}).status_code == 200


@pytest.mark.parametrize("origin", ["http://example.org", "null", "https://localhost.example.org"])
def test_pages_of_foreign_origin_are_refused(ask: Any, origin: str) -> None:
    for path in ("/uploads?name=a.csv", "/processes/probe-sleep/execution"):
        ask.problem(ask.client.post(path, content=b"{}", headers={"Origin": origin}), 403)


def test_its_own_origin_is_none_of_them(ask: Any, server: Any) -> None:
    assert ask.client.get("/jobs", headers={"Origin": server.url}).status_code == 200


def test_every_answer_forbids_a_browser_to_make_more_of_it(ask: Any) -> None:
    for path in ("/", "/nowhere"):
        headers = ask.client.get(path).headers
        assert headers["x-content-type-options"] == "nosniff"
        assert headers["content-security-policy"] == "default-src 'none'; sandbox"
        assert "access-control-allow-origin" not in headers
        assert "server" not in headers
