"""The page as a file."""

from collections.abc import Mapping, Sequence
from datetime import date
from pathlib import Path
from typing import Any, Literal

from toolbox.notes import Assumption, Caution, Note
from toolbox.report.page import telling
from toolbox.report.page.cards import cast_cards
from toolbox.report.page.gather import gathered
from toolbox.report.page.layers import MapLayers, PageTables
from toolbox.report.page.rendering import rendered
from toolbox.report.page.tables import table_view
from toolbox.report.summary import CAUTIONS
from toolbox.report.text import one_line, short
from toolbox.volume.stage import Foot

__all__ = ["page_html", "write_page"]

_LONGEST = 300


def write_page(path: Path, layers: MapLayers, tables: PageTables, **told: Any) -> None:
    """Write the page of a water: one file, nothing outside it is asked for.

    Parameters
    ----------
    path : Path
        File to write.
    layers : MapLayers
        What the map draws.
    tables : PageTables
        What is printed.
    **told
        As :func:`page_html` takes it.
    """
    path.write_text(page_html(layers, tables, **told), encoding="utf-8", newline="\n")


def page_html(
    layers: MapLayers,
    tables: PageTables,
    *,
    title: str,
    made: date,
    origin: Mapping[str, Any] | None = None,
    datum: Mapping[str, Any] | None = None,
    rejections: Sequence[Mapping[str, Any]] = (),
    notes: Mapping[str, Sequence[str]] | None = None,
    lineage: Mapping[str, Any] | None = None,
    foot: Foot = "international",
    units: Literal["metric", "us"] = "metric",
) -> str:
    """Lay out the page of a water.

    Parameters
    ----------
    layers : MapLayers
        What the map draws.
    tables : PageTables
        What is printed.
    title : str
        Name of the water.
    made : date
        Day on which the page was made.
    origin : mapping, optional
        ``by``, ``date`` and ``remarks`` of the survey; what is empty is left out.
    datum : mapping, optional
        ``elevation`` of the datum water level, m, and its ``name``.
    rejections : sequence of mappings
        ``file``, ``reason`` and number of ``soundings``.
    notes : mapping of sequence of str, optional
        What was assumed, mended or inferred, by kind, cautions first.
    lineage : mapping, optional
        As the file of a run holds it: ``made_with``, ``inputs`` and ``steps``.
    foot : str
        Of which feet, acres and acre-feet are made.
    units : str
        Those it opens in: ``"metric"``, or ``"us"``, feet and acres. Its reader may change them.

    Returns
    -------
    str
        HTML.
    """
    level = dict(datum or {})
    data = gathered(layers, tables, datum=level.get("elevation"), foot=foot)
    view = {
        "title": one_line(title),
        "units": "us" if units == "us" else "si",
        "short_title": short(title, 80),
        "made": made.isoformat(),
        "facts": telling.facts(dict(origin or {}), level),
        "figures": telling.figures(tables.morphometry, foot),
        "cards": cast_cards(layers.marks, tables.profiles, foot=foot),
        "tables": telling.views(tables, foot),
        "quality": [table_view(table, name, foot=foot) for name, table in tables.quality.items()],
        "plan": telling.plan_view(layers.plan, foot),
        "rejections": [telling.rejection(row) for row in rejections],
        "shown": telling.left_out(layers, data),
        "has": {name: name in data["grids"] for name in ("sd", "slope", "unsurveyed")},
        "layers": sorted(data["shapes"]),
        "soundings": telling.counts(layers.soundings),
        "trust": telling.trust(layers.bed),
        "careful": _short((notes or {}).get(Caution.kind, ())),
        "notes": _notes(notes or {}),
        "lineage": telling.lineage_view(dict(lineage or {})),
        "cautions": CAUTIONS,
        "crs": data["crs"],
        "ratio": telling.height_for_width(layers),
    }
    return rendered(data, view)


def _notes(notes: Mapping[str, Sequence[str]]) -> list[tuple[str, list[str]]]:
    """Return what stands folded away, by heading; cautions stand open elsewhere."""
    headings = {Assumption.kind: "Assumed of the input", Note.kind: "For the record"}
    return [(heading, _short(notes[kind])) for kind, heading in headings.items() if notes.get(kind)]


def _short(notes: Sequence[str]) -> list[str]:
    return [short(note, _LONGEST) for note in notes]
