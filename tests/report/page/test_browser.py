"""The page in a real browser, at the size of a phone and of a desk, with the network off."""

import math
import shutil
from collections.abc import Callable, Iterator
from importlib.resources import files
from io import BytesIO
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import shapely
from matplotlib.image import imread
from playwright import sync_api as playwright

from toolbox.layers import Shoreline
from toolbox.report.columns import quoted
from toolbox.report.customary import areas_and_volumes
from toolbox.report.page import MapLayers, PageTables
from toolbox.report.page.gather import fine_levels
from toolbox.units import convert
from toolbox.volume.hypsography import area_and_volume, hypsography

PHONE, DESK = (390, 844), (1440, 900)
EAST, NORTH = 501_000.0, 5_201_000.0  # of the water's middle
BROWSER = shutil.which("chromium") or shutil.which("chromium-browser")


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
    """A page that is open, and what its console said."""

    def __init__(self, browser: Any, path: Path, size: tuple[int, int]) -> None:
        touch = size == PHONE
        self.size = size
        self.context = browser.new_context(
            viewport={"width": size[0], "height": size[1]},
            has_touch=touch,
            is_mobile=touch,
            offline=True,
        )
        self.page = self.context.new_page()
        self.faults: list[str] = []
        self.asked: list[str] = []
        self.page.on("pageerror", lambda error: self.faults.append(str(error)))
        self.page.on(
            "console",
            lambda said: self.faults.append(said.text) if said.type == "error" else None,
        )
        self.page.on("request", lambda request: self.asked.append(request.url))
        self.page.goto(path.as_uri())
        self.page.wait_for_selector("body[data-ready=yes]", timeout=20_000)
        self.settle()

    def settle(self) -> None:
        """Wait until what was asked for is drawn."""
        self.page.evaluate(
            "() => new Promise((r) => requestAnimationFrame(() => requestAnimationFrame(r)))"
        )

    def text(self, name: str) -> str:
        return str(self.page.locator(f"#{name}").inner_text())

    def eye(self) -> tuple[float, float, float]:
        """Easting and northing in the middle of the map, and pixels to a metre."""
        self.settle()
        told = self.page.evaluate("() => ({...document.getElementById('map').dataset})")
        return float(told["easting"]), float(told["northing"]), float(told["scale"])

    def at(self, easting: float, northing: float) -> tuple[float, float]:
        """Return where a place is drawn, in pixels of the window."""
        self.page.locator("#map").scroll_into_view_if_needed()
        east, north, scale = self.eye()
        box = self.page.locator("#map").bounding_box()
        x = box["x"] + box["width"] / 2 + (easting - east) * scale
        return x, box["y"] + box["height"] / 2 - (northing - north) * scale

    def tap(self, easting: float, northing: float) -> None:
        place = self.at(easting, northing)
        if self.size == PHONE:
            self.page.touchscreen.tap(*place)
        else:
            self.page.mouse.click(*place)
        self.settle()

    def pixels(self, name: str) -> int:
        """Return a number that changes with what a canvas shows."""
        self.page.locator(f"#{name}").scroll_into_view_if_needed()
        self.settle()
        return int(
            self.page.evaluate(
                """(name) => {
                  const small = new OffscreenCanvas(360, 270);
                  const context = small.getContext("2d", { willReadFrequently: true });
                  context.drawImage(document.getElementById(name), 0, 0, 360, 270);
                  let sum = 7;
                  const parts = context.getImageData(0, 0, 360, 270).data;
                  for (const part of parts) sum = (sum * 31 + part) | 0;
                  return sum;
                }""",
                name,
            )
        )


@pytest.fixture(scope="module", params=[PHONE, DESK], ids=["phone", "desk"])
def view(request: pytest.FixtureRequest, browser: Any, page: Path) -> Iterator[View]:
    opened = View(browser, page, request.param)
    yield opened
    opened.context.close()


@pytest.fixture(autouse=True)
def quiet(request: pytest.FixtureRequest) -> Iterator[None]:
    """Hold each test to a silent console and to one file."""
    if "view" not in request.fixturenames:
        yield
        return
    view = request.getfixturevalue("view")
    yield
    assert view.faults == []
    assert [url for url in view.asked if not url.startswith(("file:", "data:"))] == []


def inner_cells(layers: MapLayers, count: int) -> np.ndarray:
    """Return rows and columns of cells of all depths."""
    cells = np.argwhere(np.isfinite(layers.depth.values))
    depth = layers.depth.values[tuple(cells.T)]
    return cells[np.argsort(depth)[np.linspace(0, len(cells) - 1, count).astype(int)]]


def test_first_paint_comes_soon(view: View) -> None:
    paints = view.page.evaluate(
        "() => performance.getEntriesByName('first-contentful-paint').map((e) => e.startTime)"
    )
    assert 0 < paints[0] < 2000


def test_page_is_no_wider_than_the_window(view: View) -> None:
    assert view.page.evaluate("() => document.documentElement.scrollWidth") <= view.size[0]


def test_values_under_the_pointer_are_those_of_the_rasters(view: View, layers: MapLayers) -> None:
    assert layers.sd is not None
    assert layers.slope is not None
    left, _, _, top = layers.depth.bounds
    for row, col in inner_cells(layers, 8):
        view.tap(left + (col + 0.5) * layers.depth.cell, top - (row + 0.5) * layers.depth.cell)
        for name, grid, unit, digits in (
            ("depth", layers.depth, " m", 2),
            ("sd", layers.sd, " m", 2),
            ("slope", layers.slope, "\u00b0", 1),
        ):
            assert view.text(f"read-{name}") == f"{grid.values[row, col]:.{digits}f}{unit}"


def test_beside_the_water_there_is_no_depth(view: View, layers: MapLayers) -> None:
    left, bottom, _, _ = layers.depth.bounds
    view.tap(left + 2, bottom + 2)
    assert view.text("read-depth") == "no bed here"


def test_what_lies_under_the_finger_is_named(view: View, layers: MapLayers) -> None:
    assert layers.marks is not None
    assert layers.soundings is not None
    mark = layers.marks.frame.geometry.iloc[0]
    view.tap(mark.x, mark.y)
    assert view.text("read-thing") == "Mark 1: hole"
    view.page.locator("input[data-layer=rejected]").check()
    frame = layers.soundings.frame
    spike = frame[frame["reason"] == "spike along the line"].iloc[1]
    view.tap(spike.geometry.x, spike.geometry.y)
    told = f"Sounding {spike['depth']:.2f} m, track, rejected: spike along the line"
    assert view.text("read-thing").startswith(told)
    view.page.locator("input[data-layer=rejected]").uncheck()


def test_every_layer_and_colouring_changes_the_map(view: View) -> None:
    boxes = view.page.locator("input[data-layer]")
    names = boxes.evaluate_all("(all) => all.map((box) => box.dataset.layer)")
    assert {
        "shading",
        "zones",
        "isobaths",
        "features",
        "marks",
        "plants",
        "plan",
        "exclusions",
    } < set(names)
    assert {"soundings", "rejected", "unsurveyed", "relief"} < set(names)
    before = view.pixels("map")
    for name in names:
        box = view.page.locator(f"input[data-layer={name}]")
        box.click()
        assert view.pixels("map") != before, name
        box.click()
        assert view.pixels("map") == before, name
    seen = {view.pixels("map")}
    for shade in ("sd", "slope", "depth"):
        view.page.locator(f"input[name=shade][value={shade}]").check()
        seen.add(view.pixels("map"))
        assert view.text("ramp-title").startswith(
            {"sd": "standard", "slope": "slope", "depth": "depth"}[shade]
        )
    assert len(seen) == 3


def test_zoom_and_pan_by_buttons_and_keys(view: View) -> None:
    page = view.page
    page.locator("#zoom-all").click()
    whole = view.eye()
    page.locator("#zoom-in").click()
    assert view.eye()[2] == pytest.approx(1.5 * whole[2])
    page.locator("#map").focus()
    page.keyboard.press("ArrowRight")
    moved = view.eye()
    assert moved[0] == pytest.approx(whole[0] + 30 / moved[2])
    page.keyboard.press("ArrowUp")
    assert view.eye()[1] == pytest.approx(whole[1] + 30 / moved[2])
    page.keyboard.press("+")
    assert view.eye()[2] == pytest.approx(1.4 * moved[2])
    page.keyboard.press("-")
    assert view.eye()[2] == pytest.approx(moved[2])
    assert view.text("aloud").startswith("depth")
    page.keyboard.press("0")
    assert view.eye() == pytest.approx(whole)
    page.locator("#zoom-out").click()
    assert view.eye()[2] == pytest.approx(whole[2] / 1.5)
    page.locator("#zoom-all").click()
    assert view.eye() == pytest.approx(whole)


def test_drag_moves_the_map_with_the_hand(view: View) -> None:
    view.page.locator("#zoom-all").click()
    east, north, scale = view.eye()
    if view.size == PHONE:
        fingers(view, [(150, 150)], [(110, 170)])
    else:
        box = view.page.locator("#map").bounding_box()
        view.page.mouse.move(box["x"] + 150, box["y"] + 150)
        view.page.mouse.down()
        view.page.mouse.move(box["x"] + 110, box["y"] + 170, steps=4)
        view.page.mouse.up()
    after = view.eye()
    assert after[0] == pytest.approx(east + 40 / scale, abs=8 / scale)
    assert after[1] == pytest.approx(north + 20 / scale, abs=8 / scale)
    view.page.locator("#zoom-all").click()


def fingers(view: View, start: list[tuple[int, int]], end: list[tuple[int, int]]) -> None:
    """Put fingers down, move them in steps, and lift them."""
    box = view.page.locator("#map").bounding_box()
    session = view.context.new_cdp_session(view.page)

    def send(kind: str, share: float) -> None:
        points = [
            {
                "x": box["x"] + a[0] + share * (b[0] - a[0]),
                "y": box["y"] + a[1] + share * (b[1] - a[1]),
                "id": number,
            }
            for number, (a, b) in enumerate(zip(start, end, strict=True))
        ]
        told = {"type": kind, "touchPoints": [] if kind == "touchEnd" else points}
        session.send("Input.dispatchTouchEvent", told)

    send("touchStart", 0)
    for step in range(1, 9):
        send("touchMove", step / 8)
    send("touchEnd", 1)
    session.detach()


def test_two_fingers_or_the_wheel_zoom_about_their_place(view: View) -> None:
    view.page.locator("#zoom-all").click()
    before = view.eye()
    if view.size == PHONE:
        fingers(view, [(150, 150), (190, 150)], [(110, 150), (230, 150)])
        assert view.eye()[2] / before[2] == pytest.approx(3, rel=0.25)
    else:
        box = view.page.locator("#map").bounding_box()
        view.page.locator("#map").focus()
        view.page.mouse.move(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
        view.page.mouse.wheel(0, -400)
        assert view.eye()[2] / before[2] == pytest.approx(math.e, rel=1e-3)
        assert view.eye()[:2] == pytest.approx(before[:2])
    view.page.locator("#zoom-all").click()


def test_scale_bar_is_as_long_as_it_says(view: View) -> None:
    view.settle()
    long, metres = map(float, view.page.locator("#map").get_attribute("data-bar").split())
    assert long == pytest.approx(metres * view.eye()[2])
    assert str(metres).strip("0.")[0] in "125"


def test_section_by_two_taps(view: View, layers: MapLayers) -> None:
    ends = [(501_000.0, 5_200_900.0), (501_150.0, 5_201_050.0)]
    view.page.locator("#pick").click()
    assert view.page.locator("#pick").get_attribute("aria-pressed") == "true"
    view.tap(*ends[0])
    view.tap(*ends[1])
    assert view.page.locator("#pick").get_attribute("aria-pressed") == "false"
    facts = view.text("section-facts")
    long, bearing = facts.split(" m on ")[0], facts.split(" m on ")[1].split("\u00b0")[0]
    assert float(long) == pytest.approx(math.hypot(150, 150), abs=3)
    # 501 km east of a zone whose middle is at 500 km: grid north is true north to 0.01 degrees
    assert float(bearing) == pytest.approx(45, abs=1.5)
    before = view.pixels("profile")
    view.page.locator("#along").focus()
    view.page.keyboard.press("Home")
    value = float(view.text("along-told").split(": ")[1].split(" m")[0])
    left, _, _, top = layers.depth.bounds
    row, col = int((top - ends[0][1]) / 4), int((ends[0][0] - left) / 4)
    assert value == pytest.approx(layers.depth.values[row, col], abs=0.5)
    assert view.pixels("profile") != before


def test_section_by_keys_and_along_a_cast(view: View) -> None:
    view.page.locator("#pick").click()
    for key in ("Enter", "ArrowRight", "ArrowRight", "Enter"):
        view.page.keyboard.press(key)
    scale = view.eye()[2]
    assert float(view.text("section-facts").split(" m")[0]) == pytest.approx(60 / scale, abs=0.6)
    view.page.locator("#cast").select_option("0")
    assert view.text("section-facts").startswith("71 m on 172")


def test_water_level_gives_the_rows_of_the_table(view: View, tables: PageTables) -> None:
    frame = tables.hypsography.frame
    for row in frame.iloc[[0, 2, len(frame) // 2, -2]].to_dict("records"):
        set_level(view, row["depth_m"])
        assert told_of(view, "area") == quoted_of(row, "area", "m2", "m\u00b2")
        assert told_of(view, "volume") == quoted_of(row, "volume_below", "m3", "m\u00b3")
        assert told_of(view, "released") == quoted_of(row, "volume_above", "m3", "m\u00b3")
        assert view.text("level-share") == f"{100 * row['volume_share']:.1f} %"
        assert view.text("level-elevation") == f"{row['elevation_m']:.2f} m"
    set_level(view, 0.0)


def quoted_of(row: Any, name: str, column: str, unit: str) -> tuple[str, str]:
    """Return a figure of a table as one quotes it, and its band, empty for none."""
    ends = [row[f"{name}{end}_{column}"] for end in ("", "_low", "_high")]
    figure, _, band = quoted(*ends, unit=unit).removesuffix(")").partition(" (")
    return figure, f"90 %: {band} {unit}" if band else ""


def told_of(view: View, name: str) -> tuple[str, str]:
    """Return the figure at the water level that is set, and its band."""
    return view.text(f"level-{name}"), view.text(f"level-{name}-band")


def test_figures_at_the_head_are_those_at_the_datum_with_their_bands(view: View) -> None:
    set_level(view, 0.0)
    for units in ("us", "si"):
        view.page.locator(f"label:has(input[value={units}])").click()
        for label, name in (("Water area", "area"), ("Volume", "volume")):
            head = view.page.locator(f".figures div:has(dt:text-is('{label}')) .{units}")
            figure, *band = head.inner_text().split("\n")  # what is not shown has no text
            told = told_of(view, name)
            unit = told[0].partition(" ")[2]
            assert (figure, *[f"{ends} {unit}" for ends in band]) == tuple(filter(None, told))
            assert len(band) == (name == "volume")


def test_between_levels_the_figures_run_straight(
    view: View, layers: MapLayers, tables: PageTables
) -> None:
    levels = fine_levels(tables.hypsography)
    fine = hypsography(layers.bed, levels=tuple(levels)).frame
    area, volume = area_and_volume(layers.bed, levels)
    assert fine["area_m2"].tolist() == pytest.approx(area.tolist())
    assert fine["volume_below_m3"].tolist() == pytest.approx(volume.tolist())
    for share in (0.2, 0.7):
        level = levels[120] + share * (levels[121] - levels[120])
        set_level(view, level)
        row = {str(name): float(np.interp(level, levels, fine[name])) for name in fine}
        assert told_of(view, "area") == quoted_of(row, "area", "m2", "m\u00b2")
        assert told_of(view, "volume") == quoted_of(row, "volume_below", "m3", "m\u00b3")
    set_level(view, 0.0)


def set_level(view: View, value: float) -> None:
    view.page.locator("#level-number").fill(repr(float(value)))
    view.page.locator("#level-number").press("Enter")
    view.settle()


def test_water_level_moves_the_edge_and_the_figures(view: View, tables: PageTables) -> None:
    before = view.pixels("map")
    view.page.locator("#level-near-map").focus()
    for _ in range(3):
        view.page.keyboard.press("PageUp")
    assert view.pixels("map") != before
    deepest = tables.hypsography.frame["depth_m"].max()
    told = view.page.locator("#level").get_attribute("aria-valuetext")
    assert float(told.split("water ")[1].split(" m")[0]) == pytest.approx(0.15 * deepest, abs=0.006)
    view.page.locator("#level-reset").click()
    assert view.pixels("map") == before


def test_feet_and_acres_equal_the_customary_tables(view: View, tables: PageTables) -> None:
    view.page.locator("label:has(input[value=us])").click()
    frame = areas_and_volumes(tables.hypsography).frame
    row = frame.iloc[3]
    set_level(view, row["depth_ft"])
    assert told_of(view, "area") == quoted_of(row, "area", "acre", "acres")
    assert told_of(view, "volume") == quoted_of(row, "volume_below", "acre_ft", "acre-ft")
    cells = view.page.locator("#table-levels tbody tr").nth(3).locator("td")
    heads = view.page.locator("#table-levels thead th").all_inner_texts()
    for name, column in (("Depth, ft", "depth_ft"), ("Area, acres", "area_acre")):
        told = cells.nth(heads.index(name)).inner_text()
        places = len(told.partition(".")[2])
        assert float(told.replace(",", "")) == pytest.approx(row[column], abs=0.51 * 10**-places)
    assert not [head for head in heads if head.endswith((", m", ", m\u00b2", ", m\u00b3"))]
    view.page.locator("label:has(input[value=si])").click()
    heads = view.page.locator("#table-levels thead th").all_inner_texts()
    assert "Area, m\u00b2" in heads
    view.page.locator("#level-reset").click()


def test_depth_in_feet_under_the_pointer(view: View, layers: MapLayers) -> None:
    row, col = inner_cells(layers, 5)[3]
    left, _, _, top = layers.depth.bounds
    view.page.locator("label:has(input[value=us])").click()
    view.tap(left + (col + 0.5) * 4, top - (row + 0.5) * 4)
    feet = convert(float(layers.depth.values[row, col]), "m", "ft")
    assert float(view.text("read-depth").removesuffix(" ft")) == pytest.approx(feet, abs=0.053)
    view.page.locator("label:has(input[value=si])").click()
    assert view.text("read-depth").endswith(" m")


def test_feet_change_what_is_told_and_not_what_it_is_about(view: View) -> None:
    view.page.locator("#zoom-all").click()
    view.tap(EAST + 60, NORTH)
    assert view.text("read-thing").startswith("hole 1")
    depth = view.text("read-depth")
    view.page.locator("label:has(input[value=us])").click()
    view.settle()
    assert view.text("read-thing").startswith("hole 1")
    assert view.text("read-depth") != depth
    first = view.page.locator(".card > p:first-of-type").first
    assert first.inner_text() == "From peg oak cast 232 ft."
    view.page.locator("label:has(input[value=si])").click()
    assert first.inner_text() == "From peg oak cast 71 m."


def test_the_nearest_of_several_marks_is_told(view: View, layers: MapLayers) -> None:
    assert layers.marks is not None
    view.page.locator("#zoom-all").click()
    for _ in range(6):
        view.page.locator("#zoom-out").click()
    one, two = layers.marks.frame.geometry
    across, up = two.x - one.x, two.y - one.y
    assert 0.7 * math.hypot(across, up) * view.eye()[2] < 16  # a finger reaches both
    for number, share in ((1, 0.3), (2, 0.7)):
        view.tap(one.x + share * across, one.y + share * up)
        assert view.text("read-thing").startswith(f"Mark {number}:")
    view.page.locator("#zoom-all").click()


def test_bed_turns_tilts_and_rises(view: View) -> None:
    page, seen = view.page, [view.pixels("bed")]
    assert int(page.locator("#bed").get_attribute("data-triangles")) > 1000
    for name in ("turn-left", "turn-right", "tilt-up", "tilt-down", "nearer", "farther"):
        page.locator(f"#{name}").click()
        seen.append(view.pixels("bed"))
        assert seen[-1] != seen[-2], name
    assert seen[2] == seen[0]
    page.locator("#bed").focus()
    page.keyboard.press("ArrowLeft")
    assert view.pixels("bed") != seen[-1]
    page.locator("#lift").fill("12")
    assert view.text("lift-told") == "12 times"
    before = view.pixels("bed")
    page.locator("#surface").check()
    assert view.pixels("bed") != before


def test_card_shows_its_mark(view: View, layers: MapLayers) -> None:
    assert layers.marks is not None
    view.page.locator("button[data-mark='2']").click()
    mark = layers.marks.frame.geometry.iloc[1]
    assert view.eye()[:2] == pytest.approx((mark.x, mark.y))
    assert view.text("read-thing") == "Mark 2: drop-off lip"
    view.page.locator("#zoom-all").click()


def test_bright_sun(view: View) -> None:
    before = view.pixels("map")
    view.page.locator("#sun").click()
    assert view.page.locator("#sun").get_attribute("aria-pressed") == "true"
    assert view.pixels("map") != before
    assert view.page.evaluate("() => document.documentElement.scrollWidth") <= view.size[0]
    view.page.locator("#sun").click()


def test_every_control_can_be_reached_and_named(view: View) -> None:
    names = view.page.evaluate(
        """() => [...document.querySelectorAll('button,select,input,canvas[tabindex]')]
        .filter((e) => !(e.labels?.length || e.getAttribute('aria-label') || e.textContent.trim()))
        .map((e) => e.outerHTML)"""
    )
    assert names == []
    small = view.page.evaluate(
        """() => [...document.querySelectorAll('button')].map((e) => e.getBoundingClientRect())
        .filter((box) => box.width && (box.width < 44 || box.height < 44)).length"""
    )
    assert small == 0  # WCAG 2.2 (2023), success criterion 2.5.5: 44 by 44 CSS pixels


def test_no_serious_fault_of_access(view: View) -> None:
    script = files("axe_playwright_python").joinpath("axe.min.js")
    view.page.evaluate(script.read_text(encoding="utf-8"))
    found = view.page.evaluate("() => axe.run(document, {preload: false})")
    serious = [
        (fault["id"], [node["html"][:120] for node in fault["nodes"][:3]])
        for fault in found["violations"]
        if fault["impact"] in ("serious", "critical")
    ]
    assert serious == []
    assert len(found["passes"]) > 20


@pytest.mark.parametrize(
    "text", ["</script><img src=x onerror=alert(1)>", "\u202e\u05d0\u2028" + "x" * 300]
)
def test_hostile_texts_do_nothing(
    browser: Any, hostile: Callable[[str], str], tmp_path: Path, text: str
) -> None:
    path = tmp_path / "report.html"
    path.write_text(hostile(text), encoding="utf-8", newline="\n")
    seen = View(browser, path, PHONE)
    talked: list[str] = []
    seen.page.on("dialog", lambda dialog: talked.append(dialog.message))
    seen.page.locator("#zoom-in").click()
    seen.page.locator("#cast").select_option("0")
    assert seen.page.evaluate("() => document.documentElement.scrollWidth") <= PHONE[0]
    assert seen.page.locator("img").count() == 0
    assert (seen.faults, talked) == ([], [])
    seen.context.close()


def test_water_of_which_little_is_known(browser: Any, bare: str, tmp_path: Path) -> None:
    path = tmp_path / "report.html"
    path.write_text(bare, encoding="utf-8", newline="\n")
    seen = View(browser, path, DESK)
    assert float(seen.page.locator("#level").get_attribute("min")) == -0.5
    assert seen.page.locator("#level-number").input_value() == "0"
    assert seen.text("level-elevation") == "not known"
    wet = seen.pixels("map")
    set_level(seen, -0.5)
    assert seen.pixels("map") != wet
    seen.page.locator("#pick").click()
    seen.tap(501_000, 5_200_900)
    seen.tap(501_100, 5_200_900)
    assert seen.text("section-facts").startswith("100 m on 90\u00b0 true")
    assert seen.text("read-place") == "501100 E 5200900 N"
    assert seen.faults == []
    seen.context.close()


def test_numbers_of_isobaths_stand_on_their_lines(
    browser: Any, pond: tuple[str, Shoreline], tmp_path: Path
) -> None:
    html, water = pond
    path = tmp_path / "report.html"
    path.write_text(html, encoding="utf-8", newline="\n")
    seen = View(browser, path, DESK)
    east, north, scale = seen.eye()
    picture = imread(BytesIO(seen.page.locator("#map").screenshot()))[..., :3]
    rows, cols = np.mgrid[0 : picture.shape[0] : 3, 0 : picture.shape[1] : 3]
    easting = east + (cols + 0.5 - picture.shape[1] / 2) / scale
    northing = north - (rows + 0.5 - picture.shape[0] / 2) / scale
    away = shapely.distance(shapely.points(easting, northing), water.polygons) * scale
    inner = (cols > 200) & (cols < picture.shape[1] - 70)  # of bar, buttons and north
    free = (away > 25) & inner & (rows > 4) & (rows < picture.shape[0] - 4)
    assert free.sum() > 1000
    land = np.array([0xF1, 0xEE, 0xE6]) / 255
    assert np.abs(picture[rows[free], cols[free]] - land).max() < 0.02
    assert seen.faults == []
    seen.context.close()
