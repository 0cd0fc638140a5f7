"""Writing of what lives in the water: tables and rasters, the season, and the stocking document."""

from toolbox.formats.delimited import write_delimited
from toolbox.report.columns import quoted
from toolbox.report.document_html import write_document_page
from toolbox.report.document_pdf import write_document_pdf
from toolbox.report.season_figure import season_png
from toolbox.report.stocking_document import stocking_document
from toolbox.report.stocking_workbook import write_stocking_workbook
from toolbox.survey.folder import Folder
from toolbox.survey.results import Results
from toolbox.survey.settings import Settings
from toolbox.survey.writing_layers import write_raster

__all__ = ["write_habitat", "write_stocking"]

SEASON = "season.png"


def write_habitat(made: Folder) -> None:
    """Write the folder ``habitat``, if there is something for it."""
    found, profiles, folder = made.results.habitat, made.living.profiles, made.path / "habitat"
    if found.tables or found.grids:
        folder.mkdir()
    for grid in found.grids:
        write_raster(grid, folder, made.beside)
    for name, table in found.tables.items():
        write_delimited(table.frame, folder / f"{name}.csv")
    season = None if profiles is None else season_png(profiles, found.tables.get("suitable_water"))
    if season is not None:
        (folder / SEASON).write_bytes(season)


def write_stocking(made: Folder) -> None:
    """Write the folder ``stocking``, if fish are to be stocked; after map and season."""
    study, water, day = made.results.stocking, made.settings.water.name, made.lineage.begun.date()
    if study is None:
        return
    folder, season = made.path / "stocking", made.path / "habitat" / SEASON
    folder.mkdir()
    for name, table in study.tables.items():
        write_delimited(table.frame, folder / f"{name}.csv")
    document = stocking_document(
        study,
        water=water,
        made=day,
        survey=_survey_facts(made.settings, made.results),
        map_png=(made.path / "map.png").read_bytes(),
        season_png=season.read_bytes() if season.exists() else None,
    )
    paper, workbook = made.settings.make.paper, folder / "stocking_plan.xlsx"
    write_document_page(folder / "stocking_plan.html", document)
    write_document_pdf(folder / "stocking_plan.pdf", document, paper=paper)
    write_stocking_workbook(workbook, study, water=water, made=day, paper=paper)


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
