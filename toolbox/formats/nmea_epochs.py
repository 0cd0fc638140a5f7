"""Epochs of an NMEA 0183 log: which moment each sentence belongs to, and when that was.

An epoch begins with a sentence that tells another time of day than the one before; all sentences up
to the next such belong to it. Most sentences tell no date, so days are counted: the time of day
falling by more than twelve hours is a midnight.
"""

from dataclasses import dataclass, field

import numpy as np

from toolbox.formats.nmea_sentences import Numbers, Sentences

__all__ = ["LATE", "Clock", "days_since_1970", "runs_of", "times_of"]

LATE = 5.0
"""A clock that falls back by no more than this is a sentence that came late, s (common practice,
no source: a multiplexer holds sentences for a second or two; a receiver that learns its leap
seconds falls back by 13 or more)."""

_DAY = 86_400.0
_TIME_FIELD = {"GGA": 1, "RMC": 1, "GLL": 5, "ZDA": 1}


@dataclass
class Clock:
    """Times of day and dates of the epochs, gathered block by block."""

    times: list[np.ndarray] = field(default_factory=lambda: [np.array([np.nan])])
    dates: list[tuple[np.ndarray, np.ndarray]] = field(default_factory=list)
    epochs: int = 0
    latest: float = np.nan

    def epochs_of(self, sentences: Sentences) -> tuple[np.ndarray, np.ndarray]:
        """Return the number of each sentence's epoch, and which sentences hold an odd time.

        Epoch 0 is all that comes before the first time.
        """
        told, odd = _times_told(sentences)
        timed = np.flatnonzero(~np.isnan(told))
        fresh = np.diff(told[timed], prepend=self.latest) != 0
        begins = np.zeros(len(sentences), np.int64)
        begins[timed[fresh]] = 1
        epoch = self.epochs + np.cumsum(begins)
        self.times.append(told[timed[fresh]])
        self.epochs += int(fresh.sum())
        self.latest = told[timed[-1]] if len(timed) else self.latest
        self._note_dates(sentences, epoch)
        return epoch, odd

    def _note_dates(self, sentences: Sentences, epoch: np.ndarray) -> None:
        rows = sentences.rows("RMC")
        rows = rows[sentences.letter(rows, 2) == ord("A")]  # without a fix, the date may be any
        written = sentences.number(rows, 9)
        date = np.where(written.wholes == 6, written.value, np.nan)
        year = date % 100
        self._note(
            epoch[rows], date // 10_000, date // 100 % 100, year + np.where(year < 80, 2000, 1900)
        )
        rows = sentences.rows("ZDA")
        self._note(epoch[rows], *(sentences.number(rows, place).value for place in (2, 3, 4)))

    def _note(
        self, epoch: np.ndarray, day: np.ndarray, month: np.ndarray, year: np.ndarray
    ) -> None:
        date = days_since_1970(day, month, year)
        known = np.flatnonzero(~np.isnan(date))
        _, once = np.unique(epoch[known], return_index=True)
        self.dates.append((epoch[known[once]], date[known[once]]))

    def times_of_day(self) -> np.ndarray:
        """Return the time of day of each epoch, s; NaN for epoch 0."""
        return np.concatenate(self.times)

    def known_dates(self) -> np.ndarray:
        """Return the date of each epoch in days since 1970; NaN where none is told."""
        dates = np.full(self.epochs + 1, np.nan)
        for epoch, date in self.dates:
            dates[epoch] = date
        return dates


def _times_told(sentences: Sentences) -> tuple[np.ndarray, np.ndarray]:
    """Return the time of day each sentence tells, s, and which tell one that cannot be."""
    told = np.full(len(sentences), np.nan)
    odd = np.zeros(len(sentences), bool)
    for kind, place in _TIME_FIELD.items():
        rows = sentences.rows(kind)
        told[rows], odd[rows] = _time_of_day(sentences.number(rows, place))
    return told, odd


def _time_of_day(written: Numbers) -> tuple[np.ndarray, np.ndarray]:
    """Read ``hhmmss[.sss]``; a leap second counts as the second after it."""
    hour, minute = written.value // 10_000, written.value // 100 % 100
    second = written.value - 10_000 * hour - 100 * minute
    possible = (written.wholes == 6) & (hour < 24) & (minute < 60) & (second < 61)
    odd = written.unreadable | (~possible & ~np.isnan(written.value))
    seconds = np.round((60 * hour + minute) * 60 + second, 6)
    return np.where(possible, seconds, np.nan), odd


def days_since_1970(day: np.ndarray, month: np.ndarray, year: np.ndarray) -> np.ndarray:
    """Count the days up to dates, NaN where there is no such date."""
    known = (year >= 1970) & (year < 2200) & (month >= 1) & (month <= 12) & (day >= 1)
    parts = [
        np.where(known, part, 1).astype(np.int64) for part in (year - 1970, month - 1, day - 1)
    ]
    months = parts[0].astype("M8[Y]").astype("M8[M]") + parts[1]
    days = months.astype("M8[D]") + parts[2]
    known &= days.astype("M8[M]") == months
    return np.where(known, days.astype(np.int64), np.nan)


def times_of(seconds: np.ndarray, dates: np.ndarray, first: float) -> np.ndarray:
    """Return when each epoch was, as microseconds since 1970.

    Parameters
    ----------
    seconds : (n,) array
        Time of day of each epoch, in the order of the log.
    dates : (n,) array
        Days since 1970 where the log tells, else NaN.
    first : float
        Days since 1970 of the first epoch, where the log tells no date at all.

    Returns
    -------
    (n,) array of int64
        An epoch without a date of its own counts days from the last that has one, or back from
        the first.
    """
    day = -np.cumsum(np.round(np.diff(seconds, prepend=seconds[:1]) / _DAY))
    known = np.flatnonzero(~np.isnan(dates))
    if len(known):
        before = np.searchsorted(known, np.arange(len(seconds)), side="right") - 1
        anchor = known[np.maximum(before, 0)]
        day = dates[anchor] + day - day[anchor]
    else:
        day = first + day
    return (day.astype(np.int64) * 86_400_000_000) + np.round(seconds * 1e6).astype(np.int64)


def runs_of(times: np.ndarray) -> np.ndarray:
    """Return the run of each epoch: one begins where the clock falls back by more than `LATE`."""
    return np.cumsum(np.diff(times, prepend=times[:1]) < -LATE * 1e6)
