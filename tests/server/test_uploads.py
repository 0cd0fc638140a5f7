"""Files are handed in, listed, handed back and deleted."""

from typing import Any

import pytest


def test_an_upload_comes_back_as_it_went_in(ask: Any, raster: bytes) -> None:
    href = ask.upload("north basin.tif", raster)
    answer = ask.client.get(href)
    assert answer.content == raster
    assert answer.headers["content-type"] == "image/tiff; application=geotiff"
    assert answer.headers["content-disposition"].startswith("attachment; ")
    listed = ask.client.get("/uploads").json()["uploads"]
    (own,) = [one for one in listed if one["href"] == href]
    assert (own["name"], own["bytes"]) == ("north basin.tif", len(raster))


def test_an_upload_is_given_to_a_process(ask: Any, raster: bytes) -> None:
    href = ask.upload("plane.tif", raster)
    assert ask.execute("slope", inputs={"depth": {"href": href}}).status_code == 200
    relative = href.removeprefix(str(ask.client.base_url).rstrip("/"))
    assert ask.execute("slope", inputs={"depth": {"href": relative}}).status_code == 200


@pytest.mark.parametrize(
    ("name", "told"),
    [
        ("plane.vrt", "input 'depth' must be a file of type .tif, got '.vrt'"),
        ("plane.tif", "input 'depth' is not what its type says, image/tiff; application=geotiff"),
    ],
)
def test_an_upload_must_be_what_the_process_reads(ask: Any, name: str, told: str) -> None:
    href = ask.upload(name, b"<VRTDataset rasterXSize='1' rasterYSize='1'/>")
    assert ask.problem(ask.execute("slope", inputs={"depth": {"href": href}}), 400) == told


def test_an_upload_is_deleted(ask: Any, server: Any) -> None:
    href = ask.upload("levels.csv", b"time,level_m\n")
    assert ask.client.delete(href).status_code == 204
    ask.problem(ask.client.get(href), 404)
    ask.problem(ask.client.delete(href), 404)
    assert not (server.work / "uploads" / href.rsplit("/", 1)[1]).exists()


def test_an_empty_upload_is_refused(ask: Any) -> None:
    answer = ask.client.post("/uploads", params={"name": "a.csv"}, content=b"")
    assert ask.problem(answer, 400) == "the body is empty"
