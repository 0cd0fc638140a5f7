"""Who may speak to a desk: token, host, origin, size."""

import http.client
import io
import socket
import zipfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import httpx
import pytest

from toolbox.desk.app import make_app
from toolbox.desk.desk import Desk
from toolbox.desk.guard import Guard
from toolbox.desk.hand import Hand
from toolbox.desk.workplace import Workplace

PORT, MOST = 40_123, 50_000
ROOT = f"http://127.0.0.1:{PORT}"
OWN = {"origin": ROOT}


class IdleHand(Hand):
    """A hand that notes what it is asked and does nothing."""

    def __init__(self) -> None:
        super().__init__()
        self.asked: list[str] = []

    def ready(self) -> None:
        """Start nothing."""

    def do(self, job: str, arguments: dict[str, Any], tell: Any) -> None:
        """Note the job."""
        self.asked.append(job)
        if job == "look":
            from toolbox.desk.seen import Seen

            tell("done", Seen())


@pytest.fixture
def desk(tmp_path: Path) -> Desk:
    return Desk(Workplace(tmp_path / "kept"), IdleHand())


@pytest.fixture
def guard(desk: Desk) -> Guard:
    return Guard(make_app(desk, lambda: None), port=PORT, most=MOST)


@pytest.fixture
def client(guard: Guard) -> Iterator[Any]:
    with _client(guard) as client:
        yield client


@pytest.fixture
def own(client: Any, guard: Guard) -> Any:
    """Come in by the address that was printed."""
    assert client.get(guard.address).status_code == 200
    return client


def _client(guard: Guard) -> Any:
    """Speak to the application as a browser would; httpx for itself speaks to ASGI only async."""
    import asyncio

    class Blocking(httpx.BaseTransport):  # type: ignore[name-defined,misc]
        def handle_request(self, request: Any) -> Any:
            async def passed() -> Any:
                transport = httpx.ASGITransport(guard, raise_app_exceptions=True)
                if not isinstance(request.stream, httpx.AsyncByteStream):
                    request.stream = httpx.ByteStream(request.read())
                answer = await transport.handle_async_request(request)
                return answer.status_code, answer.headers, await answer.aread()

            status, headers, body = asyncio.run(passed())
            return httpx.Response(status, headers=headers, content=body)

    return httpx.Client(transport=Blocking(), base_url=ROOT)


@pytest.mark.parametrize("path", ["/", "/state", "/chart", "/desk.css", "/results.zip", "/none"])
def test_without_token_nothing_is_told(client: Any, path: str) -> None:
    answer = client.get(path)
    assert (answer.status_code, answer.text) == (
        403,
        "this desk opens by the address that its terminal printed",
    )


@pytest.mark.parametrize("token", ["", "x", "%00", "\u00e9", "x" * 5000])
def test_a_wrong_token_opens_nothing(client: Any, token: str) -> None:
    answer = client.get("/", params={"token": token})
    assert answer.status_code == 403
    assert "set-cookie" not in answer.headers


def test_a_token_is_answered_by_a_cookie_of_another_value(client: Any, guard: Guard) -> None:
    answer = client.get(guard.address)
    cookie = answer.headers["set-cookie"]
    assert cookie.endswith("; HttpOnly; SameSite=Strict; Path=/")
    assert guard.token not in cookie
    assert guard.token not in answer.text
    page = client.get("/")
    assert page.status_code == 200
    assert "Leadline desk" in page.text
    assert guard.token not in page.text


@pytest.mark.parametrize("value", ["", "x", "token", '"', "a=b; c"])
def test_a_cookie_of_another_value_opens_nothing(client: Any, guard: Guard, value: str) -> None:
    value = guard.token if value == "token" else value
    answer = client.get("/", headers={"cookie": f"leadline_desk_{PORT}={value}"})
    assert answer.status_code == 403


def test_a_token_opens_on_the_front_page_only(client: Any, guard: Guard) -> None:
    assert client.get("/state", params={"token": guard.token}).status_code == 403


def test_a_ticket_is_good_once(guard: Guard) -> None:
    ticket = guard.ticket
    with _client(guard) as first, _client(guard) as second:
        assert first.get(ticket).status_code == 200
        assert second.get(ticket).status_code == 403
        assert second.get(guard.address).status_code == 200


@pytest.mark.parametrize(
    "host", ["evil.example", f"evil.example:{PORT}", "127.0.0.1", f"127.0.0.1.evil.example:{PORT}"]
)
def test_another_host_name_is_refused_even_with_the_cookie(own: Any, host: str) -> None:
    answer = own.get("/", headers={"host": host})
    assert (answer.status_code, answer.text) == (
        403,
        f"this desk is at 127.0.0.1:{PORT} and nowhere else",
    )


@pytest.mark.parametrize(
    "headers",
    [
        {"origin": "http://evil.example"},
        {"origin": "null"},
        {"origin": "http://127.0.0.1:1"},
        {"origin": f"https://127.0.0.1:{PORT}"},
        {},
        OWN | {"sec-fetch-site": "cross-site"},
        OWN | {"sec-fetch-site": "same-site"},
    ],
)
@pytest.mark.parametrize("path", ["/answers", "/run", "/cancel", "/close", "/remove", "/files"])
def test_another_origin_is_refused(own: Any, headers: dict[str, str], path: str) -> None:
    answer = own.post(path, headers=headers)
    assert (answer.status_code, answer.text) == (403, "this request came from another page")


def test_reading_from_another_page_is_refused(own: Any) -> None:
    assert own.get("/state", headers={"sec-fetch-site": "cross-site"}).status_code == 403
    assert own.get("/state", headers={"origin": "http://evil.example"}).status_code == 403
    assert own.get("/state").json()["doing"] == ""


def test_own_forms_are_taken(own: Any) -> None:
    answer = own.post("/answers", headers=OWN, data={"name": "Mere"})
    assert (answer.status_code, answer.headers["location"]) == (303, "/")


def _sent(client: Any, name: str, data: bytes) -> Any:
    return client.post("/files", headers=OWN, files={"file": (name, data)})


def test_a_body_that_is_too_large_is_refused_before_it_is_read(own: Any, desk: Desk) -> None:
    answer = _sent(own, "a.csv", b"0" * (MOST + 1))
    assert answer.status_code == 413
    assert "MB at once, which this desk does not take" in answer.text
    assert desk.place.names == []


def test_a_body_without_a_length_is_counted(own: Any, desk: Desk) -> None:
    def parts() -> Iterator[bytes]:
        yield b'--x\r\ncontent-disposition: form-data; name="file"; filename="a.csv"\r\n\r\n'
        yield from [b"0" * 10_000] * 6
        yield b"\r\n--x--\r\n"

    kind = {"content-type": "multipart/form-data; boundary=x"}
    assert own.post("/files", headers=OWN | kind, content=parts()).status_code == 413
    assert desk.place.names == []


def test_a_length_that_is_no_number_is_refused(own: Any) -> None:
    assert own.post("/run", headers=OWN | {"content-length": "-1"}).status_code == 413


def test_files_together_are_limited(own: Any, desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("toolbox.desk.app.MOST_BYTES", 100)
    assert _sent(own, "a.csv", b"0" * 60).status_code == 303
    assert _sent(own, "b.csv", b"0" * 60).status_code == 413
    assert desk.place.names == ["a.csv"]


def test_the_number_of_files_is_limited(
    own: Any, desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("toolbox.desk.app.MOST_FILES", 2)
    for name in ("a.csv", "b.csv"):
        assert _sent(own, name, b"1").status_code == 303
    assert _sent(own, "c.csv", b"1").text == "a desk takes 2 files at most"
    assert _sent(own, "a.csv", b"2").status_code == 303  # the same again is no third
    assert desk.place.names == ["a.csv", "b.csv"]


@pytest.mark.parametrize(
    "name",
    [
        "../../escape.csv",
        "..\\..\\escape.csv",
        "/etc/escape.csv",
        "C:\\escape.csv",
        "./.escape.csv",
    ],
)
def test_no_file_name_leads_out_of_the_folder(own: Any, desk: Desk, name: str) -> None:
    assert _sent(own, name, b"1").status_code == 303
    assert desk.place.names == ["escape.csv"]
    everything = {p.name for p in desk.place.folder.parent.rglob("*") if p.is_file()}
    assert everything == {"escape.csv"}


@pytest.mark.parametrize(
    "name", ["..", "../", ".csv", "a.exe", "a", "a.csv/", "a.csv\\..", "\u202e"]
)
def test_a_name_that_is_none_is_refused(own: Any, desk: Desk, name: str) -> None:
    answer = _sent(own, name, b"1")
    assert answer.status_code == 400
    assert "is no kind of file that is read here" in answer.text
    assert desk.place.names == []


@pytest.mark.parametrize("name", ["a.zip", "a.csv.gz", "a.kmz", "a.ods", "a.gpkg.zip", "a.tar"])
def test_nothing_packed_is_taken(own: Any, desk: Desk, name: str) -> None:
    """A hundred million zeros in a file of 0.1 MB, as an archive and under the name of a table."""
    swelling = io.BytesIO()
    with zipfile.ZipFile(swelling, "w", zipfile.ZIP_DEFLATED) as file:
        file.writestr("a.csv", bytes(20_000_000))
    assert len(swelling.getvalue()) < MOST
    assert _sent(own, name, swelling.getvalue()).status_code == 400
    assert desk.place.names == []
    assert _sent(own, "b.csv", swelling.getvalue()).status_code == 303
    assert desk.place.taken == len(swelling.getvalue())  # kept as it is


def test_a_file_that_is_not_read_does_not_keep_out_the_others(own: Any, desk: Desk) -> None:
    given = [("file", (name, b"1")) for name in ("a.csv", "b.xls", "c.xlsx", "d.exe")]
    assert own.post("/files", files=given, headers=OWN).status_code == 303
    assert desk.place.names == ["a.csv", "c.xlsx"]
    told = (
        "Not taken: 'b.xls' is a workbook: save its sheet as CSV, and give that; nor 1 other file"
    )
    assert desk.refused == told
    page = own.get("/").text
    assert page.count("Not taken: ") == 1
    assert "b.xls" in page
    _sent(own, "a.csv", b"2")
    assert desk.refused == ""


@pytest.mark.parametrize("letter", ["a", "\u00e9", "\u6e56"])
def test_a_long_name_is_cut(own: Any, desk: Desk, letter: str) -> None:
    assert _sent(own, f"{letter * 300}.geoparquet", b"1").status_code == 303
    (name,) = desk.place.names
    assert 150 < len(name.encode()) < 200
    assert name.strip(letter) == ".geoparquet"


def test_one_name_sent_from_two_windows_is_one_of_both(desk: Desk) -> None:
    def while_another_comes() -> Iterator[bytes]:
        yield b"first "
        desk.place.store("a.csv", [b"second"])
        yield b"first"

    desk.place.store("a.csv", while_another_comes())
    assert (desk.place.inputs / "a.csv").read_bytes() == b"first first"
    assert [path.name for path in desk.place.inputs.iterdir()] == ["a.csv"]


def test_a_page_may_not_be_another_by_two_hosts_or_a_proxys_word(started: Any) -> None:
    """A second Host is refused by the protocol (RFC 9112, 2022, 3.2), and no proxy is believed."""
    port = started.port
    asked = {
        f"Host: 127.0.0.1:{port}\r\nHost: evil.example\r\n": b"400",
        f"Host: evil.example\r\nX-Forwarded-Host: 127.0.0.1:{port}\r\n": b"403",
        f"Host: evil.example\r\nForwarded: host=127.0.0.1:{port}\r\n": b"403",
    }
    for given, status in asked.items():
        with socket.create_connection(("127.0.0.1", port), 10) as link:
            link.sendall(f"GET / HTTP/1.1\r\n{given}Connection: close\r\n\r\n".encode())
            assert link.recv(100).split()[1] == status
    with socket.create_connection(("127.0.0.1", port), 10) as link:
        link.sendall(
            f"GET http://127.0.0.1:{port}/ HTTP/1.1\r\nHost: evil.example\r\n\r\n".encode()
        )
        assert link.recv(100).split()[1] == b"403"


@pytest.mark.parametrize(
    "path",
    [
        "/results/../survey/a.csv",
        "/results/..%2fsurvey%2fa.csv",
        "/results/%2e%2e/survey/a.csv",
        "/results//etc/passwd",
        "/results/..\\survey\\a.csv",
        "/results/",
    ],
)
def test_no_path_leads_out_of_the_results(own: Any, desk: Desk, path: str) -> None:
    _sent(own, "a.csv", b"secret")
    desk.place.results.mkdir()
    (desk.place.results / "findings.txt").write_text("found", encoding="utf-8")
    answer = own.get(path)
    assert answer.status_code == 404
    assert "secret" not in answer.text
    assert own.get("/results/findings.txt").text == "found"


def test_the_report_runs_in_an_origin_of_its_own(own: Any, desk: Desk) -> None:
    desk.place.results.mkdir()
    (desk.place.results / "report.html").write_text("<h1>Report</h1>", encoding="utf-8")
    policy = own.get("/results/report.html").headers["content-security-policy"]
    assert policy.startswith("sandbox allow-scripts allow-downloads allow-modals;")
    assert "allow-same-origin" not in policy
    assert "connect-src 'none'" in policy


def test_pages_hold_no_script_of_their_own(own: Any) -> None:
    answer = own.get("/")
    policy = answer.headers["content-security-policy"]
    assert "script-src 'self'" in policy
    assert "unsafe" not in policy
    assert answer.text.count("<script") == 1
    assert " style=" not in answer.text
    assert answer.headers["x-content-type-options"] == "nosniff"
    assert answer.headers["cache-control"] == "no-store"


def test_during_a_run_nothing_else_is_taken(own: Any, desk: Desk) -> None:
    _sent(own, "a.csv", b"1")
    desk.doing = "run"
    for answer in (
        _sent(own, "b.csv", b"1"),
        own.post("/answers", headers=OWN, data={"name": "x"}),
        own.post("/remove", headers=OWN, data={"name": "a.csv"}),
    ):
        assert answer.status_code == 409
        assert "a run is going on, here or in another window" in answer.text
    assert desk.place.names == ["a.csv"]


def test_nothing_is_run_before_it_is_ready(own: Any) -> None:
    answer = own.post("/run", headers=OWN)
    assert (answer.status_code, answer.text) == (
        400,
        "nothing can be run yet: see what is missing",
    )


def test_texts_of_people_are_escaped(own: Any, desk: Desk) -> None:
    desk.fault = "<img src=x onerror=alert(1)>"
    text = own.get("/").text
    assert "<img" not in text
    assert "&lt;img src=x" in text


def test_a_desk_is_reached_on_loopback_alone(started: Any) -> None:
    import psutil

    listening = [
        link.laddr
        for link in psutil.Process(started.process.pid).net_connections(kind="inet")
        if link.status == psutil.CONN_LISTEN
    ]
    assert [(place.ip, place.port) for place in listening] == [("127.0.0.1", started.port)]
    link = http.client.HTTPConnection("127.0.0.1", started.port, timeout=10)
    link.request("GET", "/", headers={"Host": "evil.example"})
    answer = link.getresponse()
    assert answer.status == 403
    assert answer.getheader("server") is None
    link.close()
