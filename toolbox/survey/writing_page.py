"""Writing of the page: what of a survey's results it is made of."""

import json
from pathlib import Path
from typing import Any

from toolbox.report.page import MapLayers, PageTables, write_page
from toolbox.survey.folder import Folder
from toolbox.survey.lineage import Lineage
from toolbox.survey.results import Results
from toolbox.survey.settings import Settings

__all__ = ["page_of", "write_report_page"]

_QUALITY = {
    "crossings": "Where lines cross",
    "validation": "What lines left out say",
    "bed_orders": "Share of the bed known as well as each order of IHO S-44 asks",
    "orders": "Share of the soundings within each order of IHO S-44",
    "line_offsets": "How far each line lies from the others",
    "methods": "How far area and volume hang on the method",
}


def write_report_page(made: Folder, record: Path) -> None:
    """Write the page; `record` is the lineage as it stands in its file."""
    layers, tables, told = page_of(made.settings, made.results, made.lineage)
    said = json.loads(record.read_text(encoding="utf-8"))
    write_page(made.path / "report.html", layers, tables, lineage=said, **told)


def page_of(
    settings: Settings, results: Results, lineage: Lineage
) -> tuple[MapLayers, PageTables, dict[str, Any]]:
    """Choose what a page is made of.

    Parameters
    ----------
    settings : Settings
        Of the survey: the water's name, its origin and datum, units and the foot.
    results : Results
        All that the survey comes to.
    lineage : Lineage
        For the day, what was rejected and what was assumed.

    Returns
    -------
    layers : MapLayers
        What the map draws.
    tables : PageTables
        What is printed.
    told : dict
        Further keywords of :func:`toolbox.report.page.write_page`.
    """
    told = {
        "title": settings.water.name,
        "made": lineage.begun.date(),
        "origin": settings.origin.model_dump(),
        "datum": settings.datum.model_dump(),
        "rejections": lineage.rejections,
        "notes": lineage.ranked,
        "foot": settings.make.foot,
        "units": settings.report.units,
    }
    return _layers(results), _tables(results), told


def _layers(results: Results) -> MapLayers:
    drawn, marked = results.drawn, results.marked
    return MapLayers(
        bed=results.made.bed,
        shoreline=results.inputs.shoreline,
        depth=results.grids[0],
        soundings=results.inputs.soundings,
        sd=results.grid("depth_sd"),
        slope=results.grid("slope"),
        unsurveyed=results.grid("unsurveyed"),
        isobaths=drawn.isobaths,
        zones=drawn.zones,
        features=drawn.features,
        plants=drawn.plants,
        exclusions=results.exclusions,
        marks=marked.marks if marked else None,
        pegs=marked.pegs if marked else None,
        course=marked.course if marked else None,
        plan=results.plan,
    )


def _tables(results: Results) -> PageTables:
    found = results.tables
    study = results.stocking
    return PageTables(
        hypsography=results.hypsography,
        morphometry=results.morphometry,
        stage=results.stage,
        profiles=results.marked.profiles if results.marked else None,
        stocking=study.tables.get("stocking_alternatives") if study else None,
        quality={name: found[key] for key, name in _QUALITY.items() if key in found},
    )
