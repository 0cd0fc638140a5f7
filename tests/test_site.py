"""The site: every example runs and gives what its page shows, and the pages hold together."""

import itertools
import json
import re
import shlex
import subprocess
import sys
from collections.abc import Iterator
from html.parser import HTMLParser
from pathlib import Path
from typing import Any
from urllib.parse import unquote, urlsplit

import click
import numpy as np
import pytest
from playwright import sync_api as browsers
from sample_scripts import load

from toolbox.catalogue import CHAPTERS
from toolbox.cli import commands, main
from toolbox.formats.picture_file import figure_of

ROOT = Path(__file__).resolve().parents[1]
DOCS, GALLERY = ROOT / "docs", ROOT / "docs" / "gallery"
SHOWN: dict[str, Any] = json.loads((GALLERY / "shown.json").read_text("utf-8"))
OWN = [place.split(":")[1].replace("_", "-") for own in CHAPTERS.values() for place in own]
FOREIGN = "wadable-bed"  # of the example package
NUMBER = re.compile(r"[-+]?\d[\d,]*\.?\d*(?:e[-+]?\d+)?")
PNG_COLOURS, PALETTE = 25, 3  # of the header: W3C, Portable Network Graphics, 2003, 11.2.2
MOST_PICTURE, MOST_PICTURES = 25_000, 4_000_000

# ---- the gallery ----


@pytest.fixture(scope="module")
def ran(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, list[tuple[Any, Any]]]:
    """Run every example, one after the other as its page says: where, and what each gave."""
    runner, teller = load("run", GALLERY), load("tell", GALLERY)
    folder = tmp_path_factory.mktemp("gallery") / "copy"
    runner.prepare(folder)
    return folder, [
        (example, teller.read_result(example.tool, folder / example.out))
        for example in runner.run(folder, must_succeed)
    ]


@pytest.fixture(scope="module")
def told(ran: tuple[Path, list[tuple[Any, Any]]]) -> dict[str, dict[str, Any]]:
    teller = load("tell", GALLERY)
    return {
        example.tool: {"command": example.command, "caption": example.caption} | teller.tell(result)
        for example, result in ran[1]
    }


def must_succeed(words: list[str]) -> None:
    assert main(words) == 0, f"leadline {shlex.join(words)}"


def alike(found: str, shown: str) -> bool:
    """Tell whether texts have the same words, and numbers but for the last digits.

    A fitted bed is drawn from by random numbers, whose sums hang on the machine's libraries.
    """
    if NUMBER.sub("#", found) != NUMBER.sub("#", shown):
        return False
    pairs = zip(NUMBER.findall(found), NUMBER.findall(shown), strict=True)
    numbers = [[float(number.replace(",", "")) for number in pair] for pair in pairs]
    return all(abs(a - b) <= 0.03 * max(abs(a), abs(b)) + 0.02 for a, b in numbers)


def test_every_tool_has_an_example_and_no_example_is_left_over() -> None:
    assert sorted(SHOWN) == sorted(OWN)


def test_examples_give_what_their_pages_show(told: dict[str, dict[str, Any]]) -> None:
    assert list(told) == list(SHOWN)
    other = [
        name
        for name, found in told.items()
        if not all(alike(found[part], SHOWN[name][part]) for part in ("caption", "text"))
        or found["command"] != SHOWN[name]["command"]
    ]
    assert other == []


def test_tables_have_the_columns_that_their_pages_show(told: dict[str, dict[str, Any]]) -> None:
    tables = {name: found["rows"] for name, found in told.items() if "rows" in found}
    assert sorted(tables) == sorted(name for name, shown in SHOWN.items() if "rows" in shown)
    assert [name for name, rows in tables.items() if rows[0] != SHOWN[name]["rows"][0]] == []
    assert [name for name, rows in tables.items() if len(rows) < 2] == []


def test_every_tool_has_a_small_picture_of_few_colours() -> None:
    named = sorted(shown["picture"] for shown in SHOWN.values())
    assert named == sorted(f"{name}.png" for name in SHOWN)
    assert named == sorted(path.name for path in GALLERY.glob("*.png"))
    sizes = [(GALLERY / name).stat().st_size for name in named]
    assert max(sizes) <= MOST_PICTURE
    assert sum(sizes) <= MOST_PICTURES
    assert {(GALLERY / name).read_bytes()[PNG_COLOURS] for name in named} == {PALETTE}


def test_every_table_is_charted_and_nothing_else() -> None:
    charted = [name for name, example in load("run", GALLERY).load().items() if example.chart]
    assert charted == [name for name, shown in SHOWN.items() if "rows" in shown]


def test_charts_of_what_examples_give_are_whole(
    ran: tuple[Path, list[tuple[Any, Any]]], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.syspath_prepend(GALLERY)
    chart = load("chart", GALLERY).chart
    faults = {}
    for example, result in ran[1]:
        if example.chart:
            drawn = chart(result.frame, example.chart, ran[0])
            written = png_size((GALLERY / f"{example.tool}.png").read_bytes())
            faults[example.tool] = faults_of(figure_of(drawn), written)
    assert {name: found for name, found in faults.items() if found} == {}
    assert len(faults) == sum("rows" in shown for shown in SHOWN.values())


def png_size(png: bytes) -> tuple[int, int]:
    """Return width and height, of the header (W3C, Portable Network Graphics, 2003, 11.2.2)."""
    return int.from_bytes(png[16:20]), int.from_bytes(png[20:24])


def faults_of(figure: Any, written: tuple[int, int]) -> list[str]:
    """Tell which axes are empty, which words are cut or run together, and whether sizes differ."""
    figure.draw_without_rendering()
    sheet = figure.bbox.padded(0.5)
    same = np.abs(figure.bbox.size - written).max() <= 1
    faults = [] if same else [f"the picture is of {written}, the chart of {figure.bbox.size}"]
    faults += ["empty axes" for axes in figure.axes if not axes.has_data()]
    words = [text for legend in figure.legends for text in legend.get_texts()]
    for axes in figure.axes:
        for axis in (axes.xaxis, axes.yaxis):
            numbers = numbers_of(axis)
            words += [axis.label, axis.get_offset_text(), *numbers]
            boxes = [text.get_window_extent() for text in numbers]
            pairs = itertools.pairwise(boxes)
            faults += ["numbers run together" for one, other in pairs if one.overlaps(other)]
    boxes = [(text.get_text(), text.get_window_extent()) for text in words if text.get_text()]
    cut = [name for name, box in boxes if not np.array_equal(sheet.union([sheet, box]), sheet)]
    return faults + [f"cut: {name}" for name in cut]


def numbers_of(axis: Any) -> list[Any]:
    """Return the words beside the ticks that are seen."""
    low, high = sorted(axis.get_view_interval())
    seen = [tick for tick in axis.get_major_ticks() if low <= tick.get_loc() <= high]
    return [tick.label1 for tick in seen if tick.label1.get_visible() and tick.label1.get_text()]


def test_the_gallery_page_shows_every_tool() -> None:
    page = (GALLERY / "index.md").read_text("utf-8")
    assert [name for name in OWN if f"../tools/{name}.md" not in page] == []


# ---- commands that pages tell ----


def command_lines() -> Iterator[tuple[str, list[str]]]:
    """Give all command lines of the written pages, with the page of each."""
    pages = [page for page in DOCS.rglob("*.md") if page.parent.name not in ("tools", "gallery")]
    for page in sorted(pages):
        blocks = re.findall(r"^```(\w*)\n(.*?)^```", page.read_text("utf-8"), re.M | re.S)
        for block in (text for kind, text in blocks if kind in ("", "sh")):
            for line in re.sub(r"\\\n\s*", "", block).splitlines():
                if line.startswith("leadline ") and FOREIGN not in line:
                    yield page.name, shlex.split(line, comments=True)[1:]


def unknown(words: list[str]) -> list[str]:
    """Return what the command line has no use for: the command, or options."""
    command = commands.get_command(click.Context(commands), words[0])
    if command is None:
        return words[:1]
    known = {name for param in command.params for name in (*param.opts, *param.secondary_opts)}
    given = [word.split("=")[0] for word in words[1:] if word.startswith("--")]
    return [word for word in given if word not in known | {"--help"}]


def test_commands_of_the_pages_exist_with_their_options() -> None:
    lines = list(command_lines())
    assert len(lines) > 20
    assert [(page, words) for page, words in lines if unknown(words)] == []


@pytest.mark.parametrize("user", ["angler", "officer", "surveyor"])
def test_survey_files_of_the_first_hours_are_understood_as_told(
    user: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    page = (DOCS / "first-hours" / f"{user}.md").read_text("utf-8")
    for path in (ROOT / "sample_layers").iterdir():
        (tmp_path / path.name).symlink_to(path)
    (tmp_path / "stocking.toml").unlink()
    assert main(["new", "--kind", "stocking", str(tmp_path / "stocking.toml")]) == 0
    (survey,) = re.findall(r"^```toml\n(.*?)^```", page, re.M | re.S)
    (tmp_path / "mere.toml").write_text(survey, encoding="utf-8")
    capsys.readouterr()
    assert main(["check", str(tmp_path / "mere.toml")]) == 0
    told = "".join(capsys.readouterr()).splitlines()
    shown = [
        line
        for line in page.splitlines()
        if re.match("caution: |assumed: |note: |rejected: ", line)
    ]
    assert [line for line in shown if line not in told] == []
    assert [line for line in told if line.endswith("usable") and line in page]


# ---- the citation ----


def test_citation_file_is_valid() -> None:
    """Keys that Citation File Format 1.2.0 asks for, and none that it does not know.

    Druskat and others 2021, Citation File Format 1.2.0, doi:10.5281/zenodo.5171937 (from memory).
    """
    import tomllib

    import yaml

    cited = yaml.safe_load((DOCS / "CITATION.cff").read_text("utf-8"))
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
    assert {"cff-version", "message", "title", "authors"} <= set(cited)
    assert set(cited) <= {
        *("cff-version", "message", "title", "authors", "abstract", "type", "version"),
        *("license", "keywords"),
    }
    assert cited["cff-version"] == "1.2.0"
    assert cited["type"] in ("software", "dataset")
    assert cited["authors"] == [{"name": "The Leadline developers"}]
    assert (cited["version"], cited["license"]) == (project["version"], project["license"])


# ---- the built site ----


class Page(HTMLParser):
    """Anchors, links and what the browser would fetch for one page."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.anchors: set[str] = set()
        self.links: list[str] = []
        self.fetched: list[str] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        held = {name: value or "" for name, value in attrs}
        self.anchors |= {held[name] for name in ("id", "name") if name in held}
        if tag == "a" and "href" in held:
            self.links.append(held["href"])
        fetches = tag == "link" and held.get("rel") != "canonical"
        self.fetched += [held["href"]] if fetches else []
        self.fetched += [held["src"]] if "src" in held else []


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("site")
    build = [sys.executable, "-m", "mkdocs", "build", "-f", ".mkdocs.yml", "--strict", "-q"]
    done = subprocess.run(
        [*build, "-d", str(out)], cwd=ROOT, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stdout + done.stderr
    return out


@pytest.fixture(scope="module")
def built(site: Path) -> dict[Path, Page]:
    return {path: Page(path.read_text("utf-8")) for path in site.rglob("*.html")}


def test_every_tool_has_a_page_in_the_site(built: dict[Path, Page], site: Path) -> None:
    assert [name for name in OWN if site / "tools" / f"{name}.html" not in built] == []


def leads_somewhere(path: Path, link: str, built: dict[Path, Page]) -> bool:
    """Tell whether a link of a page leads out of the site, or to a file and an anchor in it."""
    parts = urlsplit(link)
    if parts.scheme or parts.netloc:
        return True
    target = (path.parent / unquote(parts.path)).resolve() if parts.path else path
    if target not in built:
        return target.exists()
    return not parts.fragment or unquote(parts.fragment) in built[target].anchors


def test_every_link_and_anchor_leads_somewhere(built: dict[Path, Page]) -> None:
    missing = [
        (path.name, link)
        for path, page in built.items()
        if path.name != "404.html"  # its links are of a site at the root of a server
        for link in page.links
        if not leads_somewhere(path, link, built)
    ]
    assert missing == []


def test_no_page_fetches_from_a_foreign_host(built: dict[Path, Page], site: Path) -> None:
    foreign = {address for page in built.values() for address in page.fetched if "//" in address}
    assert foreign == set()
    styles = "".join(path.read_text("utf-8") for path in site.rglob("*.css"))
    assert re.findall(r"url\(\s*[\"']?(?:https?:)?//[^)]*", styles) == []


def test_site_in_a_browser_finds_its_way_without_a_net(site: Path) -> None:
    """Opened from the disk, at a desk and on a phone: pages, menu and search; nothing fetched."""
    program = next((path for path in CHROMIUM if Path(path).exists()), None)
    if program is None:
        pytest.skip("no Chromium on this machine")
    asked: list[str] = []
    faults: list[str] = []
    with browsers.sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=program, args=["--no-sandbox"])
        for width, height in ((1280, 900), (390, 844)):
            page = browser.new_page(viewport={"width": width, "height": height})
            page.on("request", lambda request: asked.append(request.url))
            page.on("pageerror", lambda error: faults.append(str(error)))
            page.goto((site / "index.html").as_uri())
            page.get_by_role("link", name="The angler's first hour").last.click()
            page.wait_for_url("**/angler.html")
            wide = page.evaluate("document.documentElement.scrollWidth")
            assert wide <= width
            page.keyboard.press("/")
            field = page.get_by_role("textbox", name="Search")
            field.wait_for()
            field.press_sequentially("overhead", delay=40)
            found = page.locator(".md-search-result__item h1").first
            browsers.expect(found).to_have_text("Safety", timeout=15_000)
            page.close()
        browser.close()
    assert faults == []
    assert [url for url in asked if not url.startswith(("file:", "data:", "blob:"))] == []


CHROMIUM = ("/usr/bin/chromium", "/usr/bin/chromium-browser", "/usr/bin/google-chrome")
