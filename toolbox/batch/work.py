"""Work: one water, from its survey file to its finished folder and a record of it."""

import json
import tempfile
import threading
import time
import traceback
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from toolbox.batch.content import content_digest
from toolbox.batch.storage import (
    at_hand,
    is_url,
    joined,
    original,
    put_folder,
    read_bytes,
)
from toolbox.batch.waters import FIGURES, RECORD, Job, Record
from toolbox.errors import OutputError, SettingsError, ToolboxError
from toolbox.faults import first_fault, said_by
from toolbox.formats.delimited import read_delimited
from toolbox.formats.paths import new_folder
from toolbox.formats.shoreline_file import read_shoreline
from toolbox.layers import Shoreline
from toolbox.layers.crs import is_plane, project_shapes
from toolbox.survey.files import check_files
from toolbox.survey.lineage import Lineage
from toolbox.survey.run import run
from toolbox.survey.settings import Settings, load_settings
from toolbox.survey.writing import LINEAGE

__all__ = ["do_water", "failed", "finished"]

_NEEDED = "tables"
"""The part of a folder that the summary is made from."""

_ONE_AT_A_TIME = threading.Lock()  # compiled loops of two threads would fight for the same cores


def do_water(job: Job) -> Record:
    """Do a water, unless it is done already.

    Parameters
    ----------
    job : Job
        What to do.

    Returns
    -------
    Record
        Also of what failed, for whatever reason.
    """
    begun = time.perf_counter()
    try:
        with _ONE_AT_A_TIME:
            return _done(job, begun)
    except Exception as error:  # a defect met by one water is no reason to leave the others
        why = said_by(error) if isinstance(error, ToolboxError) else _unexpected(error)
        record = failed(job, why, time.perf_counter() - begun)
        return replace(record, short=isinstance(error, MemoryError))


def failed(job: Job, why: str, seconds: float = 0.0) -> Record:
    """Return the record of a water that failed."""
    text = " ".join(why.split())
    try:
        former = finished(job.out)
    except ToolboxError:  # the place of the results cannot be reached, which may be why
        former = None
    if former is not None:
        text += " (the folder still holds a former result)"
    return Record(
        job.folder, "failed", former.name if former else "", text, seconds=round(seconds, 3)
    )


def finished(out: str) -> Record | None:
    """Return the record of a finished folder; None if there is none, or not all of it."""
    told = read_bytes(joined(out, RECORD))
    if told is None or read_bytes(joined(out, LINEAGE)) is None:
        return None
    return Record.from_json(told)


def _unexpected(error: Exception) -> str:
    """Say what went wrong, and where in our own code."""
    places = traceback.extract_tb(error.__traceback__)
    own = [place for place in places if "toolbox" in Path(place.filename).parts]
    place = (own or places)[-1]
    where = f"{Path(place.filename).name}, line {place.lineno}"
    return f"unexpected {type(error).__name__}: {said_by(error)} ({where})"


def _done(job: Job, begun: float) -> Record:
    with _scratch(job) as scratch:
        survey = at_hand(job.survey, scratch, lambda path: load_settings(path).inputs)
        settings = _wanted(load_settings(survey), job)
        check_files(settings, survey)
        digest = content_digest(settings)
        known = finished(job.out)
        if known is not None and known.digest == digest:
            return replace(known, folder=job.folder)
        with _result(job, known is not None, scratch) as folder:
            lineage = run(settings, folder, overwrite=True)
            _tell_origins(folder / LINEAGE, settings, scratch)
            record = Record(
                job.folder,
                "done",
                settings.water.name,
                digest=digest,
                seconds=round(time.perf_counter() - begun, 3),
                figures=_figures(folder, lineage),
                outline=_outline(settings),
            )
            (folder / RECORD).write_text(record.to_json(), encoding="utf-8")
    return replace(record, made=True)


@contextmanager
def _scratch(job: Job) -> Iterator[Path]:
    with tempfile.TemporaryDirectory(prefix="leadline-") as name:
        yield Path(name).resolve()


def _wanted(settings: Settings, job: Job) -> Settings:
    """Take the parts to write from the batch, if it names some; tables are always among them."""
    parts = settings.make.write if job.write is None else job.write
    parts = tuple(dict.fromkeys((*parts, _NEEDED)))
    if parts == settings.make.write:
        return settings
    given = settings.model_dump()
    given["make"]["write"] = parts
    try:
        return Settings.model_validate(given)
    except ValidationError as error:
        raise SettingsError(first_fault(error, Settings)) from error


@contextmanager
def _result(job: Job, former: bool, scratch: Path) -> Iterator[Path]:
    """Give an empty folder, and bring it to where the results go when all went well."""
    if is_url(job.out):
        folder = scratch / "result"
        folder.mkdir()
        yield folder
        put_folder(folder, job.out, last=LINEAGE)
        return
    out = Path(job.out)
    if out.is_dir() and any(out.iterdir()) and not former and not (out / LINEAGE).is_file():
        raise OutputError(f"{out} exists already and is no former result (it holds no {LINEAGE})")
    with new_folder(out, overwrite=True) as folder:
        yield folder


def _tell_origins(lineage: Path, settings: Settings, scratch: Path) -> None:
    """Name inputs that were fetched by their URLs, not by where their copies were."""
    text = lineage.read_text(encoding="utf-8")
    for given in settings.inputs:
        if (url := original(given, scratch)) is not None:
            text = text.replace(json.dumps(str(given), ensure_ascii=False), json.dumps(url))
    lineage.write_text(text, encoding="utf-8")


def _figures(folder: Path, lineage: Lineage) -> dict[str, float]:
    """Take the figures of the summary from a finished folder."""
    measures = read_delimited(folder / "morphometry.csv").set_index("measure")["value"]
    figures = {column: float(measures[name]) for column, name in FIGURES.items()}
    counts: dict[str, Any] = next(s for s in lineage.steps if "soundings_kept" in s)
    return figures | {
        "soundings": counts["soundings_kept"],
        "soundings_given": counts["soundings_in"],
    }


def _outline(settings: Settings) -> str:
    """Return the water as well-known binary, in degrees on WGS 84."""
    import shapely
    from pyproj import CRS

    water = settings.water
    shoreline: Shoreline = read_shoreline(
        water.shoreline,
        crs=water.shoreline_crs,
        layer=water.layer,
        where=water.where,
        into=water.crs,
    )
    if shoreline.crs is None or is_plane(shoreline.crs):
        return ""
    shape = project_shapes(shoreline.polygons, shoreline.crs, CRS.from_epsg(4326), "the water")
    return str(shapely.to_wkb(shape, hex=True))
