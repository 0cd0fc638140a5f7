"""Writing of what lives in the water: tables and rasters, the season, and the stocking document."""

from pathlib import Path

from toolbox.formats.delimited import write_delimited
from toolbox.report.columns import quoted
from toolbox.report.document_html import write_document_page
from toolbox.report.document_pdf import write_document_pdf
from toolbox.report.season_figure import season_png
from toolbox.report.stocking_document import StockingStudy, stocking_document
from toolbox.report.stocking_workbook import write_stocking_workbook
from toolbox.survey.lineage import Lineage
from toolbox.survey.living import Living
from toolbox.survey.results import Results
from toolbox.survey.settings import Settings
from toolbox.survey.writing_layers import write_raster

__all__ = ["write_habitat"]


def write_habitat(
    settings: Settings, living: Living, results: Results, lineage: Lineage, folder: Path
) -> None:
    """Write the folders ``habitat`` and ``stocking``, each if there is something for it."""
    found = results.habitat
    if found.tables or found.grids:
        (folder / "habitat").mkdir()
    for grid in found.grids:
        write_raster(grid, folder / "habitat")
    for name, table in found.tables.items():
        write_delimited(table.frame, folder / "habitat" / f"{name}.csv")
    season = None
    if living.profiles is not None:
        season = season_png(living.profiles, found.tables.get("suitable_water"))
    if season is not None:
        (folder / "habitat" / "season.png").write_bytes(season)
    if results.stocking is not None:
        _write_stocking(settings, results, results.stocking, season, lineage, folder)


def _write_stocking(
    settings: Settings,
    results: Results,
    study: StockingStudy,
    season: bytes | None,
    lineage: Lineage,
    folder: Path,
) -> None:
    stocking, water, made = folder / "stocking", settings.water.name, lineage.begun.date()
    stocking.mkdir()
    for name, table in study.tables.items():
        write_delimited(table.frame, stocking / f"{name}.csv")
    document = stocking_document(
        study,
        water=water,
        made=made,
        survey=_survey_facts(settings, results),
        map_png=(folder / "map.png").read_bytes(),
        season_png=season,
    )
    write_document_page(stocking / "stocking_plan.html", document)
    write_document_pdf(stocking / "stocking_plan.pdf", document, paper=settings.make.paper)
    workbook = stocking / "stocking_plan.xlsx"
    write_stocking_workbook(workbook, study, water=water, made=made, paper=settings.make.paper)


def _survey_facts(settings: Settings, results: Results) -> tuple[tuple[str, str], ...]:
    """Say who sounded the water, when, and what its volume rests on."""
    origin, datum, soundings = settings.origin, settings.datum, results.inputs.soundings
    volume = dict(results.morphometry.frame.set_index("measure").loc["volume"])
    ends = [float(volume[end]) for end in ("low", "high") if end in volume]
    level = "" if datum.elevation is None else f"{datum.elevation:g} m"
    band = " (90 % band)" if ends else ", no band: the bed does not know its own error"
    facts = (
        ("Surveyed by", origin.by),
        ("Surveyed on", origin.date),
        ("Soundings used", f"{int((~soundings.flag).sum()):,} of {len(soundings):,}"),
        ("Datum water level", ", ".join(part for part in (level, datum.name) if part)),
        ("Volume", quoted(float(volume["value"]), *ends, unit="m\u00b3") + band),
        ("Remarks", origin.remarks),
    )
    return tuple((label, says) for label, says in facts if says)
