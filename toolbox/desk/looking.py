"""Looking: what was understood of the files, what is wrong, and what may be corrected."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from toolbox.desk.chart import chart
from toolbox.desk.doubts import Raw, depth_doubts, place_doubts, raw_of
from toolbox.desk.drafting import Draft, by_peg, draft, settled
from toolbox.desk.facts import facts, range_told
from toolbox.desk.fields import file_fields, global_fields, role_field
from toolbox.desk.reading import Read, read
from toolbox.desk.seen import Column, Doubt, Field, FileSeen, Seen
from toolbox.desk.sniffing import Sniffed, sniff
from toolbox.desk.workplace import SURVEY
from toolbox.errors import OutputError
from toolbox.formats import columns
from toolbox.formats.times import TAKEN_AS_UTC
from toolbox.formats.toml_text import toml_text
from toolbox.report.text import one_line
from toolbox.survey.exchanged import Exchanged
from toolbox.words import counted

__all__ = ["look"]


def look(
    folder: Path, names: Sequence[str], answers: Mapping[str, str], *, watch: Callable[[str], None]
) -> Seen:
    """Look at the files of a folder, and write the survey file if it would be one.

    Parameters
    ----------
    folder : Path
        Where the files are.
    names : sequence of str
        Their names.
    answers : mapping
        What a person said, by the keys of the fields.
    watch : callable
        Told what is being done.
    """
    watch("looking at the files")
    layers = {name: answers.get(f"{name}/layer") or None for name in names}
    files = settled([sniff(folder / name, layer=layers[name]) for name in names], answers)
    made = draft(files, answers)
    watch("reading")
    found = read(made, folder)
    sources = {source["file"]: source for source in made.survey.get("soundings", ())}
    raws = {
        f.name: raw_of(folder / f.name, sources[f.name]) for f in files if _is_table(f, sources)
    }
    doubts = _doubts(found, sources, raws)
    ready = found.soundings is not None and bool((~found.soundings.flag).any())
    survey = toml_text(made.survey) if found.soundings is not None else ""
    _write(folder / SURVEY, survey)
    return Seen(
        tuple(_file(file, files, made, found, raws.get(file.name)) for file in files),
        tuple(_marked(global_fields(made.survey), found.faults)),
        tuple(_wanting(made, found, ready)),
        tuple(facts(found.shoreline, found.soundings)),
        tuple(doubts),
        tuple(map(one_line, found.lineage.notes)) if found.soundings and found.lineage else (),
        _rejections(found),
        _chart(found),
        survey,
        ready,
    )


def _is_table(file: Sniffed, sources: Mapping[str, Any]) -> bool:
    return file.kind == "text" and file.role == "soundings" and file.name in sources


def _write(path: Path, survey: str) -> None:
    if not survey:
        path.unlink(missing_ok=True)
        return
    fresh = path.with_name(f".{path.name}.part")
    try:
        fresh.write_text(survey, encoding="utf-8")
        fresh.replace(path)
    except OSError as error:
        raise OutputError(f"{path.name} cannot be kept: {error.strerror or error}") from error
    finally:
        fresh.unlink(missing_ok=True)


def _wanting(made: Draft, found: Read, ready: bool) -> list[str]:
    told = [*made.wanting]
    if "" in found.faults:
        told.append(found.faults[""])
    if not ready and found.soundings is not None:
        told.append("No sounding lies in the water.")
    return told


def _doubts(
    found: Read, sources: Mapping[str, dict[str, Any]], raws: Mapping[str, Raw | None]
) -> list[Doubt]:
    doubts: list[Doubt] = []
    for name, source in sources.items():
        raw, known = raws.get(name), _places_of(found, name)
        if raw is not None:
            doubts += depth_doubts(name, source, raw, found.shoreline)
        placed = known is not None or (raw is not None and raw.easting and raw.northing)
        if found.shoreline is not None and placed:
            places = np.empty((0, 2)) if known is None else known
            doubts += place_doubts(name, source, raw, found.shoreline, places)
    doubts += _zone_doubts(found, sources)
    if found.lineage is not None:  # of whole files that is doubted above
        notes = [note for note in found.lineage.notes if isinstance(note, Exchanged)]
        told = {doubt.text.partition(": ")[0] for doubt in doubts}
        doubts += [Doubt(note) for note in notes if note.partition(": ")[0] not in told]
    return doubts


def _zone_doubts(found: Read, sources: Mapping[str, dict[str, Any]]) -> list[Doubt]:
    """Doubt times that were taken as UTC where a level is looked up for any."""
    kinds = [source.get("by_record") or source.get("kind", "points") for source in sources.values()]
    if found.lineage is None or all(kind == "points" for kind in kinds):
        return []
    end = f": {TAKEN_AS_UTC}"
    files = [note.removesuffix(end) for note in found.lineage.notes if note.endswith(end)]
    text = "its times name no zone and were taken as UTC. Are they? Give their zone in part 3."
    return [Doubt(f"{name}: {text}") for name in files]


def _places_of(found: Read, name: str) -> np.ndarray | None:
    if found.soundings is not None:
        own = (found.soundings.frame["file"] == name).to_numpy()
        return found.soundings.coordinates[own]
    return found.loose[name][0] if name in found.loose else None


def _marked(fields: Iterable[Field], faults: Mapping[str, str]) -> list[Field]:
    return [replace(field, fault=faults.get(field.key, "")) for field in fields]


def _file(
    file: Sniffed, files: Sequence[Sniffed], made: Draft, found: Read, raw: Raw | None
) -> FileSeen:
    fields = _marked(file_fields(file, made.survey, files), found.faults)
    shown = {field.key for field in fields}
    other = [text for key, text in found.faults.items() if key.split("/")[0] == file.name]
    beside = [found.faults[key] for key in found.faults if key in shown]
    fault = file.fault or next((text for text in other if text not in beside), "")
    told = list(file.facts)
    if raw is not None:
        told.append(counted(len(raw.values), "row"))
        told += range_told(raw)
    return FileSeen(
        file.name, role_field(file), tuple(told), _columns(file, raw), tuple(fields), fault
    )


def _columns(file: Sniffed, raw: Raw | None) -> tuple[Column, ...]:
    meanings = (
        {}
        if raw is None
        else {
            raw.depth: "depth",
            raw.northing: "northing or latitude",
            raw.easting: "easting or longitude",
        }
    )
    pegs = {} if raw is None or not by_peg(file) else _from_pegs(file)
    return tuple(
        Column(
            name,
            meanings.get(name) or pegs.get(name, ""),
            tuple(r[k] if k < len(r) else "" for r in file.rows),
        )
        for k, name in enumerate(file.columns)
        if file.rows
    )


def _from_pegs(file: Sniffed) -> dict[str, str]:
    """Tell which columns of casts by peg mean what."""
    known = (
        (columns.PEG, "peg"),
        (columns.MAGNETIC, "magnetic bearing"),
        (columns.BEARING, "true bearing"),
        (columns.DISTANCE, "distance"),
    )
    found = ((columns.find(file.columns, common), meaning) for common, meaning in known)
    return {name: meaning for name, meaning in found if name is not None}


def _rejections(found: Read) -> tuple[str, ...]:
    if found.soundings is None or found.lineage is None:
        return ()
    return tuple(
        one_line(f"{counted(row['soundings'], 'sounding')} of {row['file']}: {row['reason']}")
        for row in found.lineage.rejections
    )


def _chart(found: Read) -> dict[str, Any]:
    if found.soundings is not None:
        aside = found.soundings.flag
        return chart(found.shoreline, found.soundings.coordinates, found.soundings.depth, aside)
    parts = [
        (places, np.full(len(places), np.nan) if depth is None else depth)
        for places, depth in found.loose.values()
    ]
    places = np.vstack([np.empty((0, 2)), *(part[0] for part in parts)])
    depth = np.concatenate([np.empty(0), *(part[1] for part in parts)])
    return chart(found.shoreline, places, depth, np.zeros(len(depth), bool))
