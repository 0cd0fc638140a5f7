"""NMEA 0183 logs: what a boat's sounder and receiver said, sentence by sentence."""

from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from toolbox.errors import InputFileError, ParameterError
from toolbox.formats.nmea_epochs import Clock, days_since_1970, runs_of, times_of
from toolbox.formats.nmea_fixes import (
    Columns,
    joined,
    one_an_epoch,
    read_fixes,
    read_motions,
    read_temperatures,
)
from toolbox.formats.nmea_readings import (
    DEPTH_KINDS,
    Readings,
    once_each,
    read_depths,
    spread_in_epochs,
)
from toolbox.formats.nmea_sentences import NO_CHECKSUM, OTHER, Sentences, read_sentences
from toolbox.formats.paths import existing_file
from toolbox.layers.crs import parse_crs
from toolbox.layers.track import MEASURED_FROM, TrackLog
from toolbox.notes import Assumption, Caution
from toolbox.tool import checked
from toolbox.words import counted

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["ANY_DATE", "BACKWARD", "NO_FIX", "REPEATED", "UNREADABLE", "DepthKind", "read_nmea"]

DepthKind = Literal["DPT", "DBS", "DBT", "DBK"]

ANY_DATE = "2000-01-01"
"""Date given to a log that tells the time of day and nothing else."""

UNREADABLE = "unreadable field"
NO_FIX = "receiver without fix"
REPEATED = "repeated reading"
BACKWARD = "time running backward"
_SENTENCES = "sentences"

_USED = {"GGA", "RMC", "GLL", *DEPTH_KINDS, "VTG", "ZDA", "MTW"}


@checked
def read_nmea(
    path: Path,
    *,
    depth_of: DepthKind | None = None,
    lenient_checksum: bool = False,
    date: str | None = None,
    into: str | None = None,
) -> TrackLog:
    """Read a log of NMEA 0183 sentences: depths, fixes and water temperatures.

    Parameters
    ----------
    path : Path
        The log. Lines that are no sentences are counted and passed over, and so is what a logger
        wrote before a sentence on its line.
    depth_of : str, optional
        Kind of sentence to take depths from, and no other; if left out, each reading is taken from
        the best sentence that tells it (see Notes).
    lenient_checksum : bool
        Whether to take sentences without a checksum. Those with a wrong one are never taken.
    date : str, optional
        Date (UTC) of the first sentence, such as "2026-05-12", for a log that tells only the time
        of day. A log that tells dates keeps its own.
    into : str, optional
        CRS in metres to place the depths in; if left out, a suitable one.

    Returns
    -------
    TrackLog
        One depth for each reading, in the order of the log; a reading whose fields are empty is
        missing, not zero. Its counts say what was skipped and why.

    Raises
    ------
    InputFileError
        If the file holds no sentence that tells a depth.
    ParameterError
        If the date cannot be read.

    Notes
    -----
    Read are DPT, DBS, DBT, DBK (depth), MTW (temperature), GGA, RMC, GLL (position and time), VTG
    (speed, course) and ZDA (time), from any talker.

    One reading told by several sentences counts once. Preferred is the depth from the surface (a
    DPT with a positive offset, then read + offset, or DBS), then that from the transducer (DBT, or
    a DPT whose offset is 0, empty, or negative, which is the distance to the keel), then DBK; among
    these the one written most finely. Of feet, metres and fathoms the field with the smallest step
    counts: devices cut digits off, so that ``17.0,f,5.1,M`` is 5.18 m and not 5.1 m.

    A sentence without a time belongs to the moment last told. Where several readings follow one
    such moment, the first has its time and the others follow at the log's usual interval.
    """
    existing_file(path)
    first = _days(date or ANY_DATE)
    counts: Counter[str] = Counter({OTHER: 0})
    gathered = _Gathered()
    for sentences in read_sentences(path, counts, lenient_checksum=lenient_checksum):
        gathered.take(sentences, counts)
    log = _Assembled(gathered, first, depth_of)
    if not len(log.readings):
        raise InputFileError(_no_depths(path, depth_of, counts))
    counts[REPEATED] = log.wanted - len(log.readings)
    counts[OTHER] += log.unwanted
    counts[BACKWARD] = int((np.diff(log.times[1:]) < 0).sum())
    return TrackLog(
        log.fixes(),
        log.depths(),
        log.temperatures(),
        {reason: counts[reason] for reason in sorted(counts)},
        tuple(_notes(log, counts, date, lenient_checksum)),
        None if into is None else parse_crs(into),
    )


def _days(date: str) -> float:
    try:
        year, month, day = (float(part) for part in date.split("-"))
    except ValueError:
        year = month = day = np.nan
    days = float(days_since_1970(*(np.array([part]) for part in (day, month, year)))[0])
    if np.isnan(days):
        raise ParameterError(f"date must be a day such as '2026-05-12', got {date!r}")
    return days


def _no_depths(path: Path, depth_of: str | None, counts: Counter[str]) -> str:
    wanted = depth_of or ", ".join(DEPTH_KINDS)
    skipped = ", ".join(f"{counts[reason]} x {reason}" for reason in sorted(counts))
    hint = "; allow missing checksums with lenient_checksum" if counts[NO_CHECKSUM] else ""
    return f"{path} holds no sentence that tells a depth ({wanted}): {skipped}{hint}"


@dataclass
class _Gathered:
    """What the blocks of a log held."""

    clock: Clock = field(default_factory=Clock)
    depths: list[Readings] = field(default_factory=list)
    fixes: list[Columns] = field(default_factory=list)
    motions: list[Columns] = field(default_factory=list)
    temperatures: list[Columns] = field(default_factory=list)

    def take(self, sentences: Sentences, counts: Counter[str]) -> None:
        """Take in one block and count what it holds."""
        epoch, odd = self.clock.epochs_of(sentences)
        readings, garbled = read_depths(sentences, epoch, counts[_SENTENCES])
        self.depths.append(readings)
        self.temperatures.append(read_temperatures(sentences, epoch))
        self.motions.append(one_an_epoch(read_motions(sentences, epoch)))
        fixes = read_fixes(sentences, epoch, odd)
        counts[NO_FIX] += int((~fixes["valid"]).sum())
        placed = ~np.isnan(fixes["latitude"])
        self.fixes.append(one_an_epoch({name: v[placed] for name, v in fixes.items()}))
        used = sum(len(sentences.rows(kind)) for kind in _USED)
        counts[_SENTENCES] += len(sentences)
        counts[OTHER] += len(sentences) - used
        counts[UNREADABLE] += garbled + int(odd.sum())


class _Assembled:
    """The whole log, each thing with its time."""

    def __init__(self, gathered: _Gathered, first: float, depth_of: str | None) -> None:
        clock = gathered.clock
        dates = clock.known_dates()[1:]
        times = times_of(clock.times_of_day()[1:], dates, first)
        self.times = np.append(_NEVER, times)  # epoch 0 has none
        self.run = np.append(0, runs_of(times))
        self.dated = bool((~np.isnan(dates)).any())
        self._fixes = one_an_epoch(joined(gathered.fixes))
        self._motions = one_an_epoch(joined(gathered.motions))
        self._temperatures = joined(gathered.temperatures)
        readings = Readings.joined(gathered.depths)
        gathered.depths.clear()
        told = len(readings)
        if depth_of is not None:
            readings = readings.at(np.flatnonzero(readings.kind == DEPTH_KINDS.index(depth_of)))
        self.wanted, self.unwanted = len(readings), told - len(readings)
        self.readings = once_each(readings, self.times)

    def fixes(self) -> "pd.DataFrame":
        """Return the best fix of each epoch, and how fast the boat went by its own account."""
        import pandas as pd

        frame = self._timed(self._fixes, "longitude", "latitude", "valid", "hdop")
        speed = pd.DataFrame(self._motions).set_index("epoch")[["speed", "course"]]
        own = speed.reindex(self._fixes["epoch"][self._fixes["epoch"] > 0])
        return frame.assign(speed=own["speed"].to_numpy(), course=own["course"].to_numpy())

    def depths(self) -> "pd.DataFrame":
        """Return the depth readings."""
        import pandas as pd

        one = self.readings
        times = np.full(len(one), _NEVER)
        timed = one.epoch > 0
        times[timed] = spread_in_epochs(one.epoch[timed], self.times)
        return pd.DataFrame(
            {
                "time": _utc(times),
                "depth": one.depth,
                "measured_from": _named(one.reference, MEASURED_FROM),
                "depth_read": one.read,
                "sentence": _named(one.kind, DEPTH_KINDS),
                "offset": one.offset,
                "resolution": one.step,
                "run": self.run[one.epoch],
            }
        )

    def temperatures(self) -> "pd.DataFrame":
        """Return the temperatures of the water."""
        return self._timed(self._temperatures, "temperature")

    def _timed(self, columns: Columns, *names: str) -> "pd.DataFrame":
        import pandas as pd

        timed = columns["epoch"] > 0
        epoch = columns["epoch"][timed]
        data: dict[str, Any] = {"time": _utc(self.times[epoch])}
        data |= {name: columns[name][timed] for name in names}
        return pd.DataFrame(data | {"run": self.run[epoch]})


_NEVER = np.iinfo(np.int64).min // 2
"""Time of what came before the first time; half of the least, so that differences do not wrap."""


def _named(codes: np.ndarray, names: tuple[str, ...]) -> "pd.Categorical[str]":
    import pandas as pd

    return pd.Categorical.from_codes(codes.astype(np.int8), pd.Index(names))


def _utc(times: np.ndarray) -> "pd.DatetimeIndex":
    import pandas as pd

    stamps = times.astype("M8[us]")
    stamps[times == _NEVER] = np.datetime64("NaT", "ns")
    return pd.DatetimeIndex(stamps, tz="UTC")


def _notes(log: _Assembled, counts: Counter[str], date: str | None, lenient: bool) -> "list[str]":
    notes: list[str] = []
    if not log.dated and date is None and len(log.times) > 1:
        notes.append(
            Assumption(f"the log tells no date: its first sentence was taken as of {ANY_DATE}")
        )
    if log.dated and date is not None:
        notes.append(f"the log tells its own dates: date {date} was not needed")
    if lenient and counts[NO_CHECKSUM]:
        notes.append(f"{counted(counts[NO_CHECKSUM], 'sentence')} taken without a checksum")
    if counts[BACKWARD]:
        runs = int(log.run[-1]) + 1
        notes.append(
            Caution(
                f"time runs backward {counted(counts[BACKWARD], 'time')}; runs of the clock: {runs}"
            )
        )
    keel = int((log.readings.offset < 0).sum())
    if keel:
        notes.append(f"{keel} DPT have the offset of the keel: depths are from the transducer")
    return notes
