"""The desk in a real browser, from files dropped to the report, large and on a phone."""

import re
import shutil
import time
import zipfile
from collections.abc import Iterator
from importlib.resources import files
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from playwright import sync_api as playwright

SAMPLE = Path(__file__).resolve().parents[2] / "sample_layers"
PHONE, DESK = (390, 844), (1440, 900)
BROWSER = shutil.which("chromium") or shutil.which("chromium-browser")
LONG = 60_000  # ms: a machine may be busy


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    with playwright.sync_playwright() as driver:
        try:
            made = driver.chromium.launch(executable_path=BROWSER, args=["--no-sandbox"])
        except playwright.Error as error:
            pytest.skip(f"no browser starts: {str(error).splitlines()[0]}")
        yield made
        made.close()


class View:
    """The desk's page in a window of its own, and what was said and asked meanwhile."""

    def __init__(self, browser: Any, started: Any, size: tuple[int, int]) -> None:
        touch = size == PHONE
        self.root = started.root
        self.context = browser.new_context(
            viewport={"width": size[0], "height": size[1]},
            has_touch=touch,
            is_mobile=touch,
            accept_downloads=True,
        )
        self.context.set_default_timeout(LONG / 4)
        self.faults: list[str] = []
        self.asked: list[str] = []
        self.context.on("request", lambda request: self.asked.append(request.url))
        self.page = self.watched(self.context.new_page())
        self.page.goto(started.address)
        self.page.wait_for_url(self.root)
        self.page.wait_for_selector("#main")

    def watched(self, page: Any) -> Any:
        page.on("pageerror", lambda error: self.faults.append(str(error)))
        page.on(
            "console",
            lambda said: self.faults.append(said.text) if said.type == "error" else None,
        )
        return page

    def idle(self) -> None:
        """Wait until nothing is being done, and that is shown."""
        ends = time.monotonic() + LONG / 1000
        while not self.page.evaluate(
            """async () => {
              if (document.querySelector("#main[aria-busy]")) return false;
              const state = await (await fetch("/state")).json();
              const main = document.getElementById("main");
              return !state.doing && main.dataset.version === String(state.version);
            }"""
        ):
            assert time.monotonic() < ends, "the desk is still at work"
            time.sleep(0.03)

    def clear(self) -> None:
        self.idle()
        while (buttons := self.page.locator("button.remove")).count():
            buttons.first.click()
            self.idle()

    def drop(self, *paths: Path) -> None:
        """Drop files on the page, as a hand does."""
        import base64

        data = [(path.name, base64.b64encode(path.read_bytes()).decode()) for path in paths]
        handle = self.page.evaluate_handle(
            """(files) => {
              const held = new DataTransfer();
              for (const [name, text] of files) {
                const bytes = Uint8Array.from(atob(text), (c) => c.charCodeAt(0));
                held.items.add(new File([bytes], name));
              }
              return held;
            }""",
            data,
        )
        self.page.dispatch_event("#drop", "drop", {"dataTransfer": handle})
        self.idle()

    def drawn(self) -> int:
        """Return how many soundings the first map shows."""
        self.page.wait_for_selector("#chart[data-drawn]")
        return int(self.page.get_attribute("#chart", "data-drawn"))

    def figure(self, label: str) -> str:
        return str(self.page.locator(f".figures div:has(dt:text-is('{label}')) dd").inner_text())

    def colours(self, name: str) -> int:
        """Count the colours of a canvas."""
        return int(
            self.page.evaluate(
                """(name) => {
                  const canvas = document.getElementById(name);
                  const pen = canvas.getContext("2d");
                  const data = pen.getImageData(0, 0, canvas.width, canvas.height).data;
                  return new Set(new Uint32Array(data.buffer)).size;
                }""",
                name,
            )
        )

    def run(self) -> None:
        self.page.locator("#run").click()
        self.page.wait_for_selector("#bar", timeout=LONG)
        self.page.wait_for_selector("#results-title", timeout=LONG)
        self.idle()

    def faults_of_access(self) -> list[tuple[str, list[str]]]:
        script = files("axe_playwright_python").joinpath("axe.min.js").read_text(encoding="utf-8")
        self.page.evaluate(script)
        found = self.page.evaluate("() => axe.run(document, {preload: false})")
        assert len(found["passes"]) > 15
        return [(f["id"], [n["html"][:120] for n in f["nodes"][:3]]) for f in found["violations"]]

    def is_no_wider(self) -> bool:
        return bool(
            self.page.evaluate("() => document.documentElement.scrollWidth <= window.innerWidth")
        )


@pytest.fixture(params=[PHONE, DESK], ids=["phone", "desk"])
def view(request: pytest.FixtureRequest, browser: Any, started: Any) -> Iterator[View]:
    """Open the desk, cleared, and hold the test to a silent console and to the desk's address."""
    opened = View(browser, started, request.param)
    opened.clear()
    yield opened
    opened.context.close()
    assert opened.faults == []
    assert [u for u in opened.asked if not u.startswith((opened.root, "data:", "blob:"))] == []
    assert not [url for url in opened.asked[1:] if "token" in url]


@pytest.mark.parametrize("view", [PHONE], indirect=True, ids=["phone"])
def test_from_drop_to_report_and_zip(view: View, pond: Any, desk_folder: Path) -> None:
    view.drop(pond.soundings, pond.shoreline)
    assert "names no CRS" in view.page.locator(".ask .fault").inner_text()
    view.page.get_by_role("button", name="Read it in EPSG:32633").click()
    view.idle()
    assert view.page.locator("main .fault, .doubt").count() == 0
    assert view.figure("Soundings") == f"{len(pond.depth)} read, {len(pond.depth)} to be used"
    assert view.figure("Depths").startswith(f"{pond.depth.min():.3g} to {pond.depth.max():.3g} m")
    assert view.drawn() == len(pond.depth)
    assert view.colours("chart") > 12
    assert view.faults_of_access() == []
    assert view.is_no_wider()
    view.page.get_by_label("Name of the water").fill("Test Pond")
    view.page.get_by_label("How the bed is made").select_option("triangulated")  # it is quick
    view.page.get_by_label("Units of the report").select_option("us")
    view.page.get_by_role("button", name="Read again").click()
    view.idle()
    view.run()
    assert view.faults_of_access() == []
    assert view.page.get_by_label("Units of the report").input_value() == "us"
    _report_opens(view, "Test Pond", "us")
    with view.page.expect_download() as given:
        view.page.get_by_text("Everything as one zip").click()
    with zipfile.ZipFile(given.value.path()) as packed:
        names = set(packed.namelist())
        survey = packed.read("survey/survey.toml").decode()
    made = {p.relative_to(desk_folder).as_posix() for p in desk_folder.rglob("*") if p.is_file()}
    assert names == made - {"results.zip"}
    assert {"results/lakebed.gpkg", "results/depth.tif", "survey/pond.csv"} < names
    assert 'name = "Test Pond"' in survey
    assert '[report]\nunits = "us"' in survey
    with view.page.expect_download() as sheet:
        view.page.get_by_text("Sheet, a map true to scale").click()
    assert Path(sheet.value.path()).read_bytes().startswith(b"%PDF")


def _report_opens(view: View, name: str, units: str = "si") -> None:
    with view.context.expect_page() as opened:
        view.page.get_by_text("Report, one page").click()
    report = view.watched(opened.value)
    report.wait_for_selector("body[data-ready=yes]", timeout=LONG)
    assert report.locator("h1").inner_text() == name
    feet = units == "us"
    assert report.locator("input[name=units][value=us]").is_checked() is feet
    assert report.locator("#ramp-title").inner_text().endswith(", ft" if feet else ", m")
    told = report.locator(".figures").inner_text()  # only what is shown
    assert ("acres" in told, " m²" in told) == (feet, not feet)
    assert report.evaluate("() => window.origin") == "null"  # out of reach of the desk
    assert report.evaluate("() => window.opener") is None
    report.close()


def test_casts_by_peg_and_compass_need_pins_and_a_declination(view: View, pond: Any) -> None:
    at = pond.folder / "pins.kml"
    place = ",".join(map(str, _degrees(pond).mean(axis=1)))
    pin = f"<Placemark><name>1</name><Point><coordinates>{place}</coordinates></Point></Placemark>"
    head = '<kml xmlns="http://www.opengis.net/kml/2.2"><Document>'
    at.write_text(f"{head}{pin}</Document></kml>", encoding="utf-8")
    bearing, away = np.arange(0, 360, 30.0), np.full(12, 20.0)
    columns = (np.ones(12), bearing, away, away / 10)
    view.drop(pond.write("casts.csv", "peg,compass,distance_m,depth_m", *columns), pond.shoreline)
    told = view.page.locator(".wanting").inner_text()
    assert "give also a file of where these are" in told
    assert view.page.locator(".doubt").count() == 0
    view.drop(at)
    assert view.page.get_by_label("Where its pegs are").input_value() == "pins.kml"
    view.page.get_by_label("Magnetic declination").fill("2 W")
    view.page.get_by_role("button", name="Read again").click()
    view.idle()
    assert view.page.locator("main .fault, .doubt, .wanting").count() == 0
    assert view.drawn() == 12
    assert view.page.locator("#run").count() == 1
    assert view.faults_of_access() == []
    assert view.is_no_wider()


def test_wrong_unit_is_doubted_and_mended(view: View, pond: Any) -> None:
    path = pond.write("feet.csv", "longitude,latitude,depth", *_degrees(pond), pond.depth / 0.3048)
    view.drop(path, pond.shoreline)
    assert view.page.locator(".doubt").count() == 1
    assert "Is the file in feet?" in view.page.locator(".doubt").inner_text()
    assert view.figure("Depths").split(" to ")[1].startswith(f"{pond.depth.max() / 0.3048:.3g} m")
    view.page.get_by_role("button", name="The depths are in feet").click()
    view.idle()
    assert view.page.locator(".doubt").count() == 0
    assert view.figure("Depths").split(" to ")[1].startswith(f"{pond.depth.max():.3g} m")
    assert view.page.get_by_label("Unit", exact=True).input_value() == "ft"


def _degrees(pond: Any) -> np.ndarray:
    from pyproj import Transformer

    move = Transformer.from_crs("EPSG:32633", "EPSG:4326", always_xy=True)
    return np.array(move.transform(*pond.places.T))


@pytest.mark.parametrize("view", [DESK], indirect=True, ids=["desk"])
class TestAtADesk:
    """What does not depend on the size of the window."""

    def test_exchanged_coordinates_are_seen_and_mended(self, view: View, pond: Any) -> None:
        east, north = _degrees(pond)
        path = pond.write("turned.csv", "longitude,latitude,depth", north, east, pond.depth)
        view.drop(path, pond.shoreline)
        assert "none of the soundings lie in the water" in view.page.locator(".doubt").inner_text()
        assert view.drawn() == len(pond.depth)
        view.page.get_by_role("button", name="exchanged").click()
        view.idle()
        assert view.page.locator(".doubt").count() == 0
        assert view.figure("Soundings").endswith(f"{len(pond.depth)} to be used")

    def test_elevations_are_seen_and_mended(self, view: View, pond: Any) -> None:
        east, north = _degrees(pond)
        path = pond.write("levels.csv", "longitude,latitude,depth", east, north, 212 - pond.depth)
        view.drop(path, pond.shoreline)
        assert "Are they elevations?" in view.page.locator(".doubt").inner_text()
        view.page.get_by_role("button", name="They are elevations of the bed").click()
        view.idle()
        level = view.page.get_by_label("Water level that depths count from")
        assert level.get_attribute("aria-invalid") == "true"
        assert "datum" in view.page.locator("#level--told .fault").inner_text()
        level.fill("212")
        level.press("Enter")
        view.page.wait_for_selector("#run", timeout=LONG)
        view.idle()
        assert view.figure("Depths").split(" to ")[1].startswith(f"{pond.depth.max():.3g} m")

    def test_bad_file_gets_its_one_line(self, view: View, pond: Any) -> None:
        path = pond.folder / "bad.csv"
        path.write_text("longitude,latitude,depth\n15.01,46.9,2.5\n15.02,46.9,deep\n")
        view.drop(path, pond.shoreline)
        told = view.page.locator("main .fault").all_inner_texts()
        assert told == ["bad.csv, line 3: column 'depth' must hold a number or empty, got 'deep'"]
        assert view.page.locator("#run").count() == 0

    def test_file_of_no_known_kind_is_refused(self, view: View, pond: Any) -> None:
        path = pond.folder / "program.exe"
        path.write_bytes(b"MZ")
        view.drop(path)
        assert (
            "'program.exe' is no kind of file that is read here"
            in view.page.locator("#alert").inner_text()
        )
        assert view.page.locator("fieldset.file").count() == 0
        view.faults = [text for text in view.faults if "400 (Bad Request)" not in text]

    def test_a_run_is_stopped_and_another_can_be_made(
        self, view: View, pond: Any, desk_folder: Path
    ) -> None:
        path = pond.write("again.csv", "longitude,latitude,depth", *_degrees(pond), pond.depth)
        view.drop(path, pond.shoreline)
        second = view.watched(view.context.new_page())
        second.goto(view.root)
        view.page.locator("#run").click()
        view.page.wait_for_selector("#bar", timeout=LONG)
        second.wait_for_selector("#bar", timeout=LONG)  # the other window tells it too
        second.get_by_role("button", name="Stop the run").click()
        view.idle()
        assert view.page.locator("main > .fault").inner_text() == "Stopped; nothing was written."
        assert sorted(part.name for part in desk_folder.iterdir()) == ["survey"]
        assert view.page.evaluate("() => document.activeElement.id") == "seen-title"
        view.page.get_by_role("button", name="Read again").click()
        view.idle()
        assert view.page.locator("#run").is_enabled()
        assert view.page.locator("main .fault").count() == 0
        second.close()

    def test_the_samples_survey_file(self, view: View, tmp_path: Path) -> None:
        names = ("points.toml", "shoreline.gpkg", "boat_points.csv", "plummet.csv")
        text = (SAMPLE / names[0]).read_text(encoding="utf-8")
        survey = tmp_path / names[0]  # the phone's test writes all parts
        survey.write_text(text.replace("[make]", '[make]\nwrite = ["page"]'), encoding="utf-8")
        view.drop(survey, SAMPLE / names[1])
        wanted = view.page.locator(".wanting").inner_text()
        assert re.findall(r"names (\S+): give that file too", wanted) == list(names[2:])
        view.drop(*(SAMPLE / name for name in names[2:]))
        assert (
            view.page.get_by_label("Name of the water").input_value() == "Figment Mere (invented)"
        )
        assert view.figure("Soundings") == "2,396 read, 2,384 to be used"
        assert view.figure("Taken") == "2026-05-12"
        assert view.page.locator(".wanting, main .fault").count() == 0
        assert view.faults_of_access() == []
        view.run()
        assert view.is_no_wider()
        _report_opens(view, "Figment Mere (invented)")
