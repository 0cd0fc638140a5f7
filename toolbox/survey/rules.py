"""Rules: what the keys of a survey file ask of each other, each told in words of its own."""

from collections.abc import Callable, Iterator
from contextlib import suppress
from typing import Any

from toolbox.survey.sections import Rule, Unsound, keys_fit

__all__ = ["BED", "SOURCE", "SURVEY"]

_SOURCE_KINDS: dict[str, tuple[str, ...]] = {
    **dict.fromkeys(("pings", "wrap", "longest"), ("casts",)),
    **dict.fromkeys(("date", "lenient_checksum", "latency", "max_gap"), ("nmea",)),
    **dict.fromkeys(("source", "layer", "where", "by_record"), ("points",)),
    **dict.fromkeys(
        ("easting", "northing", "depth", "elevation", "unit", "positive"), ("points", "xyz")
    ),
    **dict.fromkeys(("empty_canopy", "timezone"), ("points", "casts")),
}
"""Keys that do not fit every kind of source, and those they fit."""


def _casts_have_pings(source: Any) -> Iterator[str]:
    if source.kind == "casts" and source.pings is None:
        yield "casts need pings, the file of their readings"


def _one_way_to_correct(source: Any) -> Iterator[str]:
    if source.bar_check is not None and (source.draft or source.speed_set):
        yield "a bar check holds draft and speed of sound: give it or these"


def _one_water_level(source: Any) -> Iterator[str]:
    if source.by_record and source.water_level is not None:
        yield "give water_level or by_record, not both"


def _speed_of_sound_is_known(source: Any) -> Iterator[str]:
    heat = (source.temperature is not None) + (source.profile is not None)
    if source.speed_set is not None and heat != 1:
        yield "speed_set needs a temperature or a profile, one of them"


SOURCE: tuple[Rule, ...] = (
    *keys_fit(_SOURCE_KINDS),
    _casts_have_pings,
    _one_way_to_correct,
    _one_water_level,
    _speed_of_sound_is_known,
)


def _fitted_beds_follow_no_lines(bed: Any) -> Iterator[str]:
    if bed.breaklines is not None and bed.method == "fitted":
        yield "breaklines are for method = 'triangulated', got method = 'fitted'"


BED: tuple[Rule, ...] = (_fitted_beds_follow_no_lines,)


def _those(settings: Any, wanted: Callable[[Any], bool]) -> list[int]:
    """Return the numbers of the soundings of which something holds, as far as they are sound."""
    numbers = []
    for number, source in enumerate(settings.soundings, start=1):
        with suppress(Unsound):
            if wanted(source):
                numbers.append(number)
    return numbers


def _elevations_have_a_datum(settings: Any) -> Iterator[str]:
    """Tell the first that needs a datum: one is enough for all."""
    if settings.datum.elevation is not None:
        return
    if settings.stage is not None:
        yield "a stage table needs datum.elevation"
        return
    with suppress(Unsound):
        if settings.water.shoreline_level is not None:
            yield "water.shoreline_level needs datum.elevation"
            return
    own = _those(settings, lambda each: each.water_level is not None or each.elevation is not None)
    recorded = _those(settings, lambda each: each.by_record)
    if own:
        yield f"soundings {own[0]}: an elevation needs datum.elevation"
    elif recorded:
        yield f"soundings {recorded[0]}: by_record needs datum.elevation"


def _records_are_named(settings: Any) -> Iterator[str]:
    if settings.datum.record is None and _those(settings, lambda each: each.by_record):
        yield "by_record needs datum.record"


def _streams_are_thinned(settings: Any) -> Iterator[str]:
    if not _those(settings, lambda each: each.kind == "xyz"):
        return
    if settings.thinning.cell is None or settings.thinning.by == "median":
        yield "kind = 'xyz' needs thinning.cell, and thinning.by no median"


def _one_way_to_tabulate(settings: Any) -> Iterator[str]:
    if settings.make.step is not None and settings.make.levels is not None:
        yield "give make.step or make.levels, not both"


def _one_way_to_draw_isobaths(settings: Any) -> Iterator[str]:
    make = settings.make
    if make.isobath_interval is not None and make.isobath_levels is not None:
        yield "give make.isobath_interval or make.isobath_levels, not both"


def _plans_need_a_fitted_bed(settings: Any) -> Iterator[str]:
    if settings.plan is not None and settings.bed.method == "triangulated":
        yield (
            "a plan needs bed.method = 'fitted' or 'auto', got bed.method = 'triangulated', "
            "which does not know its own error"
        )


def _species_need_profiles(settings: Any) -> Iterator[str]:
    if settings.species is not None and settings.profiles is None:
        yield "species need profiles of temperature and oxygen: give [profiles]"


SURVEY: tuple[Rule, ...] = (
    _elevations_have_a_datum,
    _records_are_named,
    _streams_are_thinned,
    _one_way_to_tabulate,
    _one_way_to_draw_isobaths,
    _plans_need_a_fitted_bed,
    _species_need_profiles,
)
