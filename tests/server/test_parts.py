"""Large requests are read by another process and mean the same as small ones."""

import base64
import json
from pathlib import Path
from tempfile import SpooledTemporaryFile
from types import SimpleNamespace
from typing import Any, cast

import pytest

from toolbox.jobs.limits import Limits
from toolbox.server import apart
from toolbox.server.bodies import Body
from toolbox.server.parts import Part, taken_apart
from toolbox.server.problems import ProblemError
from toolbox.server.service import Service

JSON = {"Content-Type": "application/json"}


def service(folder: Path, seconds: float) -> Service:
    """Give what bodies need to know."""
    limits = Limits(body=1_000_000, seconds=seconds)
    return cast(Service, SimpleNamespace(store=SimpleNamespace(scratch=folder), limits=limits))


def read(told: Any, folder: Path, *, large: bool = True, seconds: float = 60.0) -> dict[str, Any]:
    """Take a body apart, and read its files back as text."""
    content = told if isinstance(told, bytes) else json.dumps(told).encode()
    with SpooledTemporaryFile(dir=folder) as file:
        file.write(content)
        file.seek(0)
        with taken_apart(Body(file, large), service(folder, seconds)) as found:
            for key, value in found.get("inputs", {}).items():
                inner = value.get("value") if isinstance(value, dict) else value
                if isinstance(inner, Part):
                    text = inner.path.read_text(encoding="utf-8")
                    whole = json.loads(text) if inner.geojson else text
                    found["inputs"][key] = (
                        value | {"value": whole} if isinstance(value, dict) else whole
                    )
    assert list(folder.iterdir()) == []
    return found


def test_nothing_is_lost_when_a_body_is_taken_apart(tmp_path: Path) -> None:
    spot = {"type": "Feature", "geometry": {"type": "Point", "coordinates": [0.1, 1e-300]}}
    told = {
        "inputs": {
            "a": spot,
            "b": {"value": spot, "mediaType": "application/geo+json"},
            "c": "\u6e56\U0001f41f" * 50_000,
            "d": {"value": "x" * 65_537, "mediaType": "text/csv"},
            "e": {"value": "short"},
            "f": [1, 2.5, None, True],
            "g": {"href": "/uploads/1"},
            "\ud800": None,
        },
        "response": "document",
        "outputs": {"result": {}},
    }
    assert read(told, tmp_path) == read(told, tmp_path, large=False) == told


def test_a_large_body_is_not_read_by_this_process(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(apart, "json_object", lambda *_: pytest.fail("read here"))
    assert read({"inputs": {"a": "x" * 300_000}}, tmp_path) == {"inputs": {"a": "x" * 300_000}}


@pytest.mark.parametrize(
    ("body", "status", "told"),
    [
        (b"[1]", 400, "the body must be a JSON object"),
        (b"{", 400, "the body is not JSON: Expecting property name"),
        (b'{"a": NaN}', 400, "the body is not JSON: NaN is no number of JSON"),
        (b"[" * 100_000, 400, "the body is not JSON: it is nested too deeply"),
        (b"[]," * 100_000, 413, "the body holds too many numbers, lists or objects"),
        (b'{"inputs": {"a": "' + b"\\ud800" * 70_000 + b'"}}', 400, "input 'a': 'utf-8' codec"),
        (b'{"inputs": {"a": {"type": "Feature", "x": 1e999}}}', 400, "input 'a': Out of range"),
        (b'{"x": "' + b"y" * 300_000 + b'"}', 413, "beside its layers a body may have at most"),
        (b'{"inputs": [' + b"1," * 150_000 + b"1]}", 413, "beside its layers a body may have at"),
    ],
)
def test_what_is_wrong_in_a_large_body_is_told(
    body: bytes, status: int, told: str, tmp_path: Path
) -> None:
    with pytest.raises(ProblemError, match=f"^{told}") as caught:
        read(body, tmp_path)
    assert caught.value.status == status
    assert list(tmp_path.iterdir()) == []


def test_a_reader_that_takes_too_long_is_ended(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    slow = tmp_path / "slow.py"
    slow.write_text("import time\ntime.sleep(60)\n")
    monkeypatch.setattr(apart, "__file__", str(slow))
    with pytest.raises(ProblemError, match=r"^the body takes too long to read: upload a file$"):
        read({}, tmp_path, seconds=0.2)


def large(ask: Any, process: str, inputs: dict[str, Any]) -> Any:
    """Carry a process out with a large request: spaces between its members."""
    body = json.dumps({"inputs": inputs}).encode().replace(b"{", b"{" + b" " * 300_000, 1)
    return ask.client.post(f"/processes/{process}/execution", content=body, headers=JSON)


def test_layers_of_large_requests_are_read_as_those_of_small_ones(
    ask: Any, pond: dict[str, Any], survey: dict[str, bytes]
) -> None:
    rows = survey["soundings.csv"].decode()
    rows += "\n" + "\n".join(rows.splitlines()[1:] * 60)  # 66 kB, each sounding given again
    spot = {"type": "Point", "coordinates": [500_030, 5_300_030]}
    places = pond | {"features": [{"type": "Feature", "properties": {}, "geometry": spot}]}
    soundings = {"value": rows, "mediaType": "text/csv"}
    for process, inputs in (
        ("fetch", {"shoreline": pond, "places": {"value": places}}),
        ("estimate-spread", {"soundings": soundings, "soundings-crs": "EPSG:32633"}),
    ):
        small, other = ask.execute(process, inputs=inputs), large(ask, process, inputs)
        assert (small.status_code, other.status_code) == (200, 200), other.text
        assert other.content == small.content


def test_a_large_raster_in_base64_is_decoded(ask: Any, raster: bytes) -> None:
    """What follows the end of a GeoTIFF is passed over; here it makes the request large."""
    media = "image/tiff; application=geotiff"
    texts = {
        "lines": base64.encodebytes(raster + bytes(300_001)).decode(),
        "plain": base64.b64encode(raster + bytes(300_000)).decode(),
    }
    small = ask.execute("slope", inputs={"depth": base64.b64encode(raster).decode()})
    for text in texts.values():
        answer = ask.execute("slope", inputs={"depth": {"value": text, "mediaType": media}})
        assert answer.status_code == 200, answer.text
        assert answer.content == small.content


@pytest.mark.parametrize(
    "text", ["A" * 300_001, "=" * 300_000, "AA==" * 100_000, "A" * 262_140 + "AA==" + "A" * 40_000]
)
def test_a_large_text_that_is_no_base64_is_refused(ask: Any, text: str) -> None:
    detail = ask.problem(ask.execute("slope", inputs={"depth": text}), 400)
    assert detail.startswith("input 'depth' is not in base64: ")


def test_a_long_text_is_no_plain_value(ask: Any, inline: dict[str, str]) -> None:
    for value in ("x" * 300_000, {"value": "x" * 300_000}):
        answer = ask.execute("slope", inputs={"depth": inline, "unit": value})
        assert ask.problem(answer, 400) == "unit is a plain value, got a text of 300,000 bytes"


def test_a_large_survey_is_a_text(ask: Any, pond: dict[str, Any]) -> None:
    text = "# " + "x" * 300_000
    for value in (text, {"value": text}):
        detail = ask.problem(ask.execute("run", inputs={"survey": value}), 400)
        assert "survey.toml" in detail
    detail = ask.problem(large(ask, "run", {"survey": pond}), 400)
    assert detail == "survey must be the text of a survey file or a reference (href)"
