"""Readings of an NMEA 0183 log: one for each time the sounder pinged, however often it is told.

A sounder sends one depth in several sentences, from the transducer, from the surface and from the
keel. They are one reading. Sentences of two streams (a stream is one kind from one talker) are
taken for the same reading if each is the nearest of the other stream: within an epoch before all
else, or by the order of the log.
"""

from dataclasses import dataclass

import numpy as np

from toolbox.formats.nmea_sentences import Sentences

__all__ = ["DEPTH_KINDS", "Readings", "once_each", "read_depths", "spread_in_epochs"]

DEPTH_KINDS = ("DPT", "DBS", "DBT", "DBK")
"""Sentences that tell a depth, in the order of preference between equals."""

SURFACE, TRANSDUCER, KEEL = range(3)
_REFERENCE = {"DBS": SURFACE, "DBT": TRANSDUCER, "DBK": KEEL}
_IN_METRES = {"f": (2, 0.3048), "M": (4, 1.0), "F": (6, 1.8288)}
_BURST = 1.0  # s: six sentences of 82 characters at the standard's 4,800 baud


@dataclass(frozen=True, eq=False)
class Readings:
    """Depth sentences, or what is left of them when each reading is taken once; all shape (n,).

    Parameters
    ----------
    order : array of int
        Place in the log, ascending.
    epoch : array of int
        Epoch they belong to.
    stream : array of int
        Code of talker and kind.
    kind : array of int
        Place of the kind in `DEPTH_KINDS`.
    read : array of float
        Depth as the sentence gives it, m; NaN where it gives none.
    offset : array of float
        Offset of a DPT, m, else NaN.
    step : array of float
        Step in which the depth is written, m; NaN where there is none.
    """

    order: np.ndarray
    epoch: np.ndarray
    stream: np.ndarray
    kind: np.ndarray
    read: np.ndarray
    offset: np.ndarray
    step: np.ndarray

    @classmethod
    def joined(cls, parts: "list[Readings]") -> "Readings":
        """Put readings together and in order."""
        names = list(cls.__dataclass_fields__)
        columns = [np.concatenate([getattr(part, name) for part in parts]) for name in names]
        together = cls(*columns)
        if (np.diff(together.order) > 0).all():
            return together
        return together.at(np.argsort(together.order, kind="stable"))

    def at(self, rows: np.ndarray) -> "Readings":
        """Take some of them."""
        return Readings(*(column[rows] for column in vars(self).values()))

    def __len__(self) -> int:
        """Count them."""
        return len(self.order)

    @property
    def depth(self) -> np.ndarray:
        """Depths, m: a positive offset is the draft, and makes them depths from the surface."""
        return self.read + np.where(self.offset > 0, self.offset, 0)

    @property
    def reference(self) -> np.ndarray:
        """What each depth is measured from: 0 surface, 1 transducer, 2 keel."""
        fixed = np.array([_REFERENCE.get(name, TRANSDUCER) for name in DEPTH_KINDS])
        return np.where(self.offset > 0, SURFACE, fixed[self.kind])


def read_depths(sentences: Sentences, epoch: np.ndarray, before: int) -> tuple[Readings, int]:
    """Read the depth sentences of a block.

    Parameters
    ----------
    sentences : Sentences
        The block.
    epoch : (n,) array of int
        Epoch of each sentence.
    before : int
        How many sentences came before this block.

    Returns
    -------
    readings : Readings
        One for each sentence.
    unreadable : int
        How many hold something that is no number.
    """
    parts, unreadable = [], 0
    for number, kind in enumerate(DEPTH_KINDS):
        rows = sentences.rows(kind)
        read, offset, step, odd = (_dpt if kind == "DPT" else _in_three_units)(sentences, rows)
        stream = ((sentences.talker[rows] << 8) + number).astype(np.int32)
        parts.append(
            Readings(
                before + rows,
                epoch[rows],
                stream,
                np.full(len(rows), number, np.int8),
                read,
                offset,
                step,
            )
        )
        unreadable += int(odd.sum())
    return Readings.joined(parts), unreadable


_Columns = tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]


def _dpt(sentences: Sentences, rows: np.ndarray) -> _Columns:
    depth, offset = sentences.number(rows, 1), sentences.number(rows, 2)
    step = np.where(np.isnan(depth.value), np.nan, 10.0**-depth.decimals)
    return depth.value, offset.value, step, depth.unreadable | offset.unreadable


def _in_three_units(sentences: Sentences, rows: np.ndarray) -> _Columns:
    """Read feet, metres and fathoms, and keep for each sentence what is written most finely.

    Devices cut digits off instead of rounding, so 0.1 m is coarser than it looks and 0.1 ft, which
    is 0.03 m, tells more.
    """
    best, step = np.full(len(rows), np.nan), np.full(len(rows), np.nan)
    odd = np.zeros(len(rows), bool)
    for unit, (place, metres) in _IN_METRES.items():
        written = sentences.number(rows, place - 1)
        stated = sentences.letter(rows, place) == ord(unit)
        fine = np.where(stated, metres * 10.0**-written.decimals, np.nan)
        better = ~np.isnan(written.value) & (fine < np.where(np.isnan(step), np.inf, step))
        best = np.where(better, written.value * metres, best)
        step = np.where(better, fine, step)
        odd |= written.unreadable
    return best, np.full(len(rows), np.nan), step, odd


def once_each(sentences: Readings, times: np.ndarray) -> Readings:
    """Take each reading once, from the best sentence that tells it.

    Parameters
    ----------
    sentences : Readings
        All depth sentences of the log.
    times : (n,) array of int
        Microseconds since 1970 of each epoch.

    Returns
    -------
    Readings
        In the order of the log. Best is measured from the surface (a DPT with a positive offset,
        DBS), then from the transducer, then from the keel; among these the most finely written,
        then `DEPTH_KINDS`, then the stream that speaks most often. A sentence without a depth
        yields to one that has it.
    """
    ranked = _ranked_streams(sentences)
    if len(ranked) < 2:
        return sentences
    reading = np.full(len(sentences), -1)
    heads = np.flatnonzero(sentences.stream == ranked[0])
    reading[heads] = np.arange(len(heads))
    for stream in ranked[1:]:
        own = np.flatnonzero(sentences.stream == stream)
        partner = _partners(sentences, own, heads, times)
        alone = own[partner < 0]
        reading[own[partner >= 0]] = reading[heads[partner[partner >= 0]]]
        reading[alone] = len(heads) + np.arange(len(alone))
        heads = np.sort(np.concatenate([heads, alone]))
    rank = np.argsort(ranked)[np.searchsorted(np.sort(ranked), sentences.stream)]
    order = np.lexsort((rank, np.isnan(sentences.read), reading))
    best = order[np.diff(reading[order], prepend=-1) > 0]
    return sentences.at(np.sort(best))


def _ranked_streams(sentences: Readings) -> np.ndarray:
    """Return the codes of the streams, the best first."""
    codes, which, counts = np.unique(sentences.stream, return_inverse=True, return_counts=True)
    keys = []
    for number in range(len(codes)):
        own = sentences.at(np.flatnonzero(which == number))
        told = own.at(np.flatnonzero(~np.isnan(own.read)))
        reference = np.median(told.reference) if len(told) else KEEL + 1
        step = np.median(told.step) if len(told) else np.inf
        keys.append((reference, step, own.kind[0], -counts[number], codes[number]))
    return codes[sorted(range(len(codes)), key=keys.__getitem__)]


def _partners(
    sentences: Readings, own: np.ndarray, heads: np.ndarray, times: np.ndarray
) -> np.ndarray:
    """Return for each sentence of a stream the head that tells the same reading, or -1."""
    ahead = _nearest(sentences, own, heads, behind_first=True)
    back = _nearest(sentences, heads, own, behind_first=False)
    mutual = back[ahead] == np.arange(len(own))
    epoch, other = sentences.epoch[own], sentences.epoch[heads[ahead]]
    near = (np.abs(epoch - other) <= 1) | (np.abs(times[epoch] - times[other]) <= _BURST * 1e6)
    near &= (epoch == other) | _agree(sentences, own, heads[ahead], mutual)
    return np.where(mutual & near, ahead, -1)


def _agree(
    sentences: Readings, own: np.ndarray, others: np.ndarray, mutual: np.ndarray
) -> np.ndarray:
    """Tell which pairs can be one depth, written in two ways from two levels.

    Where a sentence was lost on either side of a fix, what is left of two readings stands as near
    together as one reading that a fix falls into; but only the latter has the usual difference.
    """
    difference = sentences.read[own] - sentences.read[others]
    known = mutual & ~np.isnan(difference)
    together = known & (sentences.epoch[own] == sentences.epoch[others])
    known = together if together.any() else known
    usual = np.median(difference[known]) if known.any() else 0.0
    # each is cut off or rounded by up to its step, and so is the usual difference
    slack = 2 * (sentences.step[own] + sentences.step[others])
    return ~(np.abs(difference - usual) > slack)


def _nearest(
    sentences: Readings, own: np.ndarray, others: np.ndarray, *, behind_first: bool
) -> np.ndarray:
    """Return which of the others is nearest in the log; the same epoch is nearer than any other."""
    after = np.searchsorted(others, own)
    behind, ahead = np.maximum(after - 1, 0), np.minimum(after, len(others) - 1)

    def far(which: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        other = others[which]
        epochs = np.abs(sentences.epoch[other] - sentences.epoch[own])
        return epochs, np.abs(sentences.order[other] - sentences.order[own])

    (epochs_behind, places_behind), (epochs_ahead, places_ahead) = far(behind), far(ahead)
    nearer = places_behind <= places_ahead if behind_first else places_behind < places_ahead
    return np.where(
        (epochs_behind < epochs_ahead) | ((epochs_behind == epochs_ahead) & nearer), behind, ahead
    )


def spread_in_epochs(epoch: np.ndarray, times: np.ndarray) -> np.ndarray:
    """Return when each reading was taken, as microseconds since 1970.

    Parameters
    ----------
    epoch : (n,) array of int
        Epoch of each reading, ascending.
    times : (m,) array of int
        Microseconds since 1970 of each epoch.

    Returns
    -------
    (n,) array of int
        The first reading of an epoch has the time of the epoch. A sounder that pings more often
        than the receiver tells the time has several: they follow at the usual interval of the log,
        or evenly until the next epoch where that comes sooner.
    """
    if not len(epoch):
        return times[epoch]
    first = np.flatnonzero(np.diff(epoch, prepend=-1))
    many = np.diff(first, append=len(epoch))
    until = np.append(times[epoch[first[1:]]] - times[epoch[first[:-1]]], 0) / many
    usual = np.median(until[until > 0]) if (until > 0).any() else 0.0
    interval = np.where(until > 0, np.minimum(until, usual), usual)
    place = np.arange(len(epoch)) - np.repeat(first, many)
    late = np.repeat(interval, many) * place
    return times[epoch] + np.round(late).astype(np.int64)
