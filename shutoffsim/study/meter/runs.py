"""Runs of flow at a gap tolerance, and the counts that are kept of them.

A run is flow that did not stop for longer than the gap tolerance. It lasts from the start of its
first piece to the end of its last one, pauses included.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from shutoffsim.errors import printable
from shutoffsim.records.times import SECOND
from shutoffsim.study.meter.flow import NANOLITRE, Pieces, empty_pieces
from shutoffsim.study.meter.run_rows import LabelRows

MOST_RUNS = 100_000  # kept one by one for each gap tolerance
MOST_LABELS = 50
OTHER_LABELS = "other labels"
_BINS_PER_E = 200  # bins of half a percent for quantiles
_BINS = 45 * _BINS_PER_E


class Joiner:
    """Join pieces whose gaps do not exceed a tolerance, whatever blocks they come in.

    Parameters
    ----------
    gap : int
        Microseconds.
    """

    def __init__(self, gap: int) -> None:
        self.gap = gap
        self._open = empty_pieces()

    def feed(self, pieces: Pieces) -> Pieces:
        """Take the next pieces and give the runs that are over."""
        if not len(pieces.start):
            return empty_pieces()
        start, end, volume, wall = (
            np.concatenate(pair) for pair in zip(self._open, pieces, strict=True)
        )
        ahead = np.maximum.accumulate(end)
        first = np.concatenate(([0], np.flatnonzero(start[1:] - ahead[:-1] > self.gap) + 1))
        last = np.concatenate((first[1:], [len(start)])) - 1
        runs = Pieces(start[first], ahead[last], np.add.reduceat(volume, first), wall[first])
        self._open = Pieces(*(column[-1:] for column in runs))
        return Pieces(*(column[:-1] for column in runs))

    def close(self) -> Pieces:
        """Give the run that is still open."""
        runs, self._open = self._open, empty_pieces()
        return runs


class Tally:
    """Counts of runs over limits, their quantiles, and the longest of them.

    Parameters
    ----------
    times : ndarray of int, ascending
        Limits in microseconds.
    volumes : ndarray of int, ascending
        Limits in nanolitres.
    """

    def __init__(self, times: np.ndarray, volumes: np.ndarray) -> None:
        self._times, self._volumes = times, volumes
        self._over = np.zeros((len(times) + 1, len(volumes) + 1), np.int64)
        self.lengths = Quantiles()
        self.amounts = Quantiles()
        self._kept = empty_pieces()
        self.runs = 0

    def add(self, runs: Pieces) -> None:
        """Count runs."""
        if not len(runs.start):
            return
        lengths = runs.end - runs.start
        self.runs += len(lengths)
        rows = np.searchsorted(self._times, lengths, side="left")
        columns = np.searchsorted(self._volumes, runs.volume, side="left")
        np.add.at(self._over, (rows, columns), 1)
        self.lengths.add(lengths)
        self.amounts.add(runs.volume)
        self._kept = Pieces(*(np.concatenate(pair) for pair in zip(self._kept, runs, strict=True)))
        if len(self._kept.start) > 2 * MOST_RUNS:
            self._kept = _longest(self._kept)

    def trips(self, time: int | None, volume: int | None) -> int:
        """Count the runs longer than the time or with more water than the volume.

        Parameters
        ----------
        time, volume : int or None
            Places in the limits; None: no such limit.
        """
        calm = self._over
        if time is not None:
            calm = calm[: time + 1]
        if volume is not None:
            calm = calm[:, : volume + 1]
        return self.runs - int(calm.sum())

    def kept(self) -> Pieces:
        """Give the runs in order of time: all, or the longest when there are very many."""
        longest = _longest(self._kept)
        order = np.argsort(longest.start, kind="stable")
        return Pieces(*(column[order] for column in longest))


class Quantiles:
    """Quantiles of positive whole numbers in bounded memory, to half a percent."""

    def __init__(self) -> None:
        self._counts = np.zeros(_BINS, np.int64)
        self._sums = np.zeros(_BINS, np.int64)
        self.largest = 0

    def add(self, values: np.ndarray) -> None:
        """Count values."""
        places = (np.log(np.maximum(values, 1)) * _BINS_PER_E).astype(np.int64)
        self._counts += np.bincount(places, minlength=_BINS)
        np.add.at(self._sums, places, values)
        self.largest = max(self.largest, int(values.max()))

    @property
    def total(self) -> int:
        """Sum of all values."""
        return int(self._sums.sum())

    def at(self, share: float) -> float:
        """Give the value that a share of all values does not exceed; not-a-number without any."""
        total = int(self._counts.sum())
        if total == 0:
            return float("nan")
        place = int(np.searchsorted(np.cumsum(self._counts), max(1, np.ceil(share * total))))
        # The mean of a bin: whole numbers of seconds come out as they went in.
        return float(self._sums[place] / self._counts[place])


class LabelCount(NamedTuple):
    """What was counted of one label: events, litres, longest [s], events over each time limit."""

    events: int
    litres: float
    longest: float
    over: tuple[int, ...]


class LabelTally:
    """Counts by label, each row by itself.

    Parameters
    ----------
    times : ndarray of int, ascending
        Limits in microseconds.
    """

    def __init__(self, times: np.ndarray) -> None:
        self._times = times
        self._seen: dict[str, tuple[int, int, int, np.ndarray]] = {}

    def add(self, rows: LabelRows) -> None:
        """Count rows."""
        if not len(rows.names):
            return
        names, first, codes = np.unique(rows.names, return_index=True, return_inverse=True)
        events = np.bincount(codes)
        volumes, longest = np.zeros((2, len(names)), np.int64)
        over = np.zeros((len(names), len(self._times)), np.int64)
        np.add.at(volumes, codes, rows.volumes)
        np.maximum.at(longest, codes, rows.spans)
        np.add.at(over, codes, rows.spans[:, None] > self._times)
        for place in np.argsort(first):
            key = printable(names[place]) or "(no label)"
            if key not in self._seen and len(self._seen) >= MOST_LABELS:
                key = OTHER_LABELS
            old = self._seen.get(key, (0, 0, 0, np.zeros(len(self._times), np.int64)))
            self._seen[key] = (
                old[0] + int(events[place]),
                old[1] + int(volumes[place]),
                max(old[2], int(longest[place])),
                old[3] + over[place],
            )

    def counts(self) -> dict[str, LabelCount]:
        """Give the counts, the label with the longest event first."""
        order = sorted(self._seen.items(), key=lambda item: (-item[1][2], item[0]))
        return {
            name: LabelCount(
                events, volume * NANOLITRE, longest / SECOND, tuple(int(n) for n in over)
            )
            for name, (events, volume, longest, over) in order
        }


def _longest(runs: Pieces) -> Pieces:
    """Keep the longest runs; among equals the earlier ones."""
    if len(runs.start) <= MOST_RUNS:
        return runs
    order = np.lexsort((runs.start, runs.start - runs.end))[:MOST_RUNS]
    return Pieces(*(column[order] for column in runs))
