"""Reduce: every source of a survey read, and brought to one CRS, one water level, one layer."""

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from toolbox.errors import InputFileError, LayerError, ParameterError, ToolboxError
from toolbox.features.canopies import says_plants_alone, with_bare_bed
from toolbox.formats.casts_file import read_casts
from toolbox.formats.doors import read_table
from toolbox.formats.nmea import read_nmea
from toolbox.formats.shoreline_file import read_breaklines, read_centreline, read_shoreline
from toolbox.formats.soundings_file import read_soundings
from toolbox.formats.times import TAKEN_AS_UTC
from toolbox.formats.xyz import thin_xyz
from toolbox.layers import Breaklines, Centreline, Shoreline, Soundings, Table
from toolbox.layers.geodesy import areal_scale
from toolbox.notes import Assumption, Caution, same_kind
from toolbox.reduction.bar_check import apply_bar_check, fit_bars
from toolbox.reduction.casts import place_casts
from toolbox.reduction.cleaning import clean, reject_outside
from toolbox.reduction.draft import add_draft
from toolbox.reduction.sound_speed import correct_sound_speed
from toolbox.reduction.tracks import place_soundings
from toolbox.reduction.water_level import reduce_to_datum
from toolbox.survey.exchanged import exchanged_rows
from toolbox.survey.levels import record_of
from toolbox.survey.lineage import Lineage
from toolbox.survey.settings import Settings, Source

__all__ = ["Inputs", "read_inputs"]

_SCALE_TOLERANCE = 0.01  # a local CRS keeps within a fraction of this


@dataclass(frozen=True)
class Inputs:
    """What a bed is made of, in one CRS and at one water level."""

    shoreline: Shoreline
    soundings: Soundings
    breaklines: Breaklines | None
    centreline: Centreline | None = None

    @property
    def crs(self) -> str:
        """The one CRS, as further layers are read into it."""
        assert self.shoreline.crs is not None  # its reader makes sure of it
        return self.shoreline.crs.to_wkt()


def read_inputs(settings: Settings, lineage: Lineage) -> Inputs:
    """Read all layers of a survey, reduce its soundings to its datum and clean them."""
    shoreline = _read_shoreline(settings, lineage)
    record = record_of(settings.datum)
    if record is not None and record.notes:
        lineage.step("read levels", record.notes, file=str(settings.datum.record))
    parts = _read_sources(settings, shoreline, record, lineage)
    bare = [_empty_is_bare(*pair, lineage) for pair in zip(settings.soundings, parts, strict=True)]
    soundings = _cleaned(Soundings.joined(parts), shoreline, settings)
    if any(bare):  # only now: cleaning judges by the plants that were met
        counts = [len(part) for part in parts]
        soundings = with_bare_bed(soundings, np.repeat(bare, counts))
    lineage.rejected(soundings)
    kept = len(soundings) - sum(soundings.rejections().values())
    judged = "clean" if settings.cleaning.on else "reject outside"
    lineage.step(judged, soundings_in=len(soundings), soundings_kept=kept)
    return Inputs(
        shoreline,
        soundings,
        _read_breaklines(settings, shoreline, lineage),
        _read_centreline(settings, shoreline, lineage),
    )


def _empty_is_bare(source: Source, soundings: Soundings, lineage: Lineage) -> bool:
    """Tell whether an empty canopy of a source means bare bed: as it says, or as it looks."""
    if "canopy" not in soundings.frame or source.empty_canopy is not None:
        return "canopy" in soundings.frame and source.empty_canopy == "bare"
    if not says_plants_alone(soundings):
        return False
    empty = int(soundings.frame["canopy"].isna().sum())
    note = Assumption(
        f"{source.file.name}: notes plants and hardly ever bare bed, so that its {empty} of "
        f"{len(soundings)} soundings without a canopy count as bare "
        '(empty_canopy = "unknown" if nobody looked there)'
    )
    lineage.step("empty canopies", (note,), file=str(source.file), soundings=empty)
    return True


def _read_shoreline(settings: Settings, lineage: Lineage) -> Shoreline:
    water = settings.water
    shoreline = read_shoreline(
        water.shoreline,
        crs=water.shoreline_crs,
        layer=water.layer,
        where=water.where,
        depth=settings.shore_depth,
        open_edges=water.open_edges,
        open_within=water.open_within,
        into=water.crs,
    )
    notes = shoreline.notes + _scale_note(shoreline)
    lineage.step("read shoreline", notes, file=str(water.shoreline))
    return shoreline


def _scale_note(shoreline: Shoreline) -> tuple[str, ...]:
    """Warn where a metre on the map is not a metre on the ground."""
    middle = np.array(shoreline.polygons.centroid.coords)
    scale = float(np.sqrt(areal_scale(shoreline.crs, middle)[0]))
    if abs(scale - 1) < _SCALE_TOLERANCE:
        return ()
    name = shoreline.crs.name if shoreline.crs else "a plane"
    return (
        Caution(
            f"in {name} a metre on the ground is {scale:.3f} m on the map: areas and volumes are "
            "corrected, but slopes and distances are off by that much; set water.crs to a local CRS"
        ),
    )


def _read_sources(
    settings: Settings, shoreline: Shoreline, record: Table | None, lineage: Lineage
) -> list[Soundings]:
    """Read every source; of those that cannot be read, tell all at once."""
    parts: list[Soundings] = []
    faults: list[ToolboxError] = []
    for source in settings.soundings:
        try:
            parts.append(_read_source(source, settings, shoreline, record, lineage))
        except (InputFileError, LayerError, ParameterError) as error:
            faults.append(error)
    if len(faults) == 1:
        raise faults[0]
    if faults:
        raise InputFileError(*(text for error in faults for text in error.faults)) from faults[0]
    return parts


def _read_source(
    source: Source, settings: Settings, shoreline: Shoreline, record: Table | None, lineage: Lineage
) -> Soundings:
    placed = _placed(source, settings, shoreline)
    notes = _without_idle(placed, source, settings) + exchanged_rows(source, placed, shoreline)
    told = _named(source, notes)
    lineage.step("read soundings", told, file=str(source.file), soundings_out=len(placed))
    reduced = _at_datum(_corrected(source, placed), source, settings, record)
    told = _named(source, reduced.notes[len(placed.notes) :])
    lineage.step("reduce soundings", told, soundings_in=len(placed), soundings_out=len(reduced))
    numbers = np.arange(1, len(reduced) + 1)
    return Soundings(reduced.frame.assign(file=source.file.name, record=numbers), reduced.notes)


def _without_idle(placed: Soundings, source: Source, settings: Settings) -> tuple[str, ...]:
    """Leave out what was assumed of times where no level is looked up for them."""
    record = settings.datum.record is not None and settings.datum.elevation is not None
    used = source.by_record if source.kind == "points" else not _levels_noted(placed)
    if record and used and source.water_level is None:
        return placed.notes
    return tuple(note for note in placed.notes if note != TAKEN_AS_UTC)


def _levels_noted(soundings: Soundings) -> bool:
    """Tell whether every sounding brings the level of its water."""
    noted = soundings.frame.get("water_level")
    return noted is not None and bool(noted.notna().all())


def _named(source: Source, notes: tuple[str, ...]) -> tuple[str, ...]:
    return tuple(same_kind(note, f"{source.file.name}: {note}") for note in notes)


def _placed(source: Source, settings: Settings, shoreline: Shoreline) -> Soundings:
    """Read a source and give each of its depths a place in the survey's CRS."""
    assert shoreline.crs is not None  # every reader makes sure of it
    text: dict[str, Any] = source.model_dump(include={"delimiter", "decimal", "encoding"})
    if source.kind == "nmea":
        log = read_nmea(source.file, lenient_checksum=source.lenient_checksum, date=source.date)
        placed = place_soundings(log, latency=source.latency, max_gap=source.max_gap)
        return placed.to_crs(shoreline.crs)
    if source.kind == "xyz":
        return _streamed(source, settings).to_crs(shoreline.crs)
    options = text | source.model_dump(include={"crs", "pegs", "declination", "timezone"})
    options["into"] = shoreline.crs.to_wkt()
    if source.kind == "casts":
        assert source.pings is not None  # the settings make sure of it
        casts = read_casts(source.file, pings=source.pings, wrap=source.wrap, **options)
        return place_casts(casts, shoreline, longest=source.longest)
    options |= source.model_dump(
        include={"layer", "where", "easting", "northing", "depth", "elevation", "unit", "positive"}
    )
    points = read_soundings(source.file, datum=settings.datum.elevation, **options)
    return Soundings(points.frame.assign(source=source.source), points.notes)


def _streamed(source: Source, settings: Settings) -> Soundings:
    """Thin a file that may not fit into memory while it is read."""
    by, cell = settings.thinning.by, settings.thinning.cell
    assert cell is not None  # the settings make sure of it
    assert by != "median"
    return thin_xyz(
        source.file,
        cell=cell,
        by=by,
        depth=source.depth or source.elevation,
        datum=settings.datum.elevation if source.elevation else None,
        **source.model_dump(
            include={
                "crs",
                "easting",
                "northing",
                "unit",
                "positive",
                "delimiter",
                "decimal",
                "encoding",
            }
        ),
    )


def _corrected(source: Source, soundings: Soundings) -> Soundings:
    """Correct what the instrument gave: by a bar check, or for draft and speed of sound."""
    if source.bar_check is not None:
        table = read_table(source.bar_check)
        fit = fit_bars(table.column("bar_m"), table.column("reading_m"))
        return apply_bar_check(soundings, offset=fit.offset, scale=fit.scale)
    if source.draft:
        soundings = add_draft(soundings, draft=source.draft)
    if source.speed_set is None:
        return soundings
    profile = read_table(source.profile) if source.profile else None
    return correct_sound_speed(
        soundings,
        profile,
        speed_set=source.speed_set,
        temperature=source.temperature,
        draft=max(source.draft, 0.0),
    )


def _at_datum(
    soundings: Soundings, source: Source, settings: Settings, record: Table | None
) -> Soundings:
    """Reduce depths to the datum by the level given, noted or recorded."""
    datum = settings.datum.elevation
    if datum is None:
        return soundings
    if source.water_level is not None:
        return reduce_to_datum(soundings, water_level=source.water_level, datum=datum)
    if source.kind == "points" and not source.by_record:
        return _without_record(soundings, settings)
    if _levels_noted(soundings):
        return reduce_to_datum(soundings, datum=datum)
    if record is not None:
        if source.by_record and soundings.frame["time"].isna().all():
            raise InputFileError(f"{source.file} tells no times, which by_record needs")
        return reduce_to_datum(soundings, record, datum=datum)
    note = Assumption("no water level is known, depths are taken as at the datum")
    return replace(soundings, notes=(*soundings.notes, note))


def _without_record(soundings: Soundings, settings: Settings) -> Soundings:
    """Say that levels at hand are not used for points, which are taken as at the datum."""
    if settings.datum.record is None:
        return soundings
    note = Assumption(
        f"taken as at the datum, without the levels of {settings.datum.record.name}; if these "
        "depths were read on the water of their day, give by_record = true"
    )
    return replace(soundings, notes=(*soundings.notes, note))


def _cleaned(soundings: Soundings, shoreline: Shoreline, settings: Settings) -> Soundings:
    cleaning = settings.cleaning
    if not cleaning.on:
        return reject_outside(soundings, shoreline)
    overrides = read_table(cleaning.overrides) if cleaning.overrides else None
    return clean(
        soundings,
        shoreline,
        overrides,
        min_depth=cleaning.min_depth,
        max_depth=cleaning.max_depth,
    )


def _read_breaklines(
    settings: Settings, shoreline: Shoreline, lineage: Lineage
) -> Breaklines | None:
    source = settings.bed.breaklines
    if source is None:
        return None
    options = source.model_dump(exclude={"file"})
    assert shoreline.crs is not None
    options |= {"datum": settings.datum.elevation, "into": shoreline.crs.to_wkt()}
    lines = read_breaklines(source.file, **options)
    lineage.step("read breaklines", lines.notes, file=str(source.file), lines=len(lines.lines))
    return lines


def _read_centreline(
    settings: Settings, shoreline: Shoreline, lineage: Lineage
) -> Centreline | None:
    path = settings.bed.centreline
    if path is None:
        return None
    assert shoreline.crs is not None
    centreline = read_centreline(path, into=shoreline.crs.to_wkt())
    lineage.step("read centreline", file=str(path), lines=len(centreline.lines))
    return centreline
