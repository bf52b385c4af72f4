"""Records of runs: from rows to pieces of flow."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from shutoffsim.errors import RecordError
from shutoffsim.records import Header, Rows
from shutoffsim.records.times import SECOND
from shutoffsim.study.meter.flow import (
    LONGEST_RECORD,
    MOST_FLOW,
    NANOLITRE,
    Pieces,
    Stream,
    empty_pieces,
)
from shutoffsim.study.meter.traits import Traits


class LabelRows(NamedTuple):
    """Labels of the latest rows with their lengths (microseconds) and water (nanolitres)."""

    names: np.ndarray
    spans: np.ndarray
    volumes: np.ndarray


class RunStream(Stream):
    """Runs: each row is a stretch of flow with its length and water."""

    def __init__(self, header: Header, traits: Traits, where: str, hole: int) -> None:
        super().__init__(header, traits, where, hole)
        self._time = self._elapsed = self._end = 0
        self._before: tuple[tuple[float, ...], tuple[str, ...]] | None = None
        self.labels: LabelRows | None = None

    def feed(self, rows: Rows) -> Pieces:
        """Take the next rows and give their flow."""
        starts, spans, litres, keep = self._read(rows)
        seen = self.account
        places = np.flatnonzero(keep)
        if not len(places):
            self.labels = None
            return empty_pieces()
        same = self._find_duplicates(rows, np.stack([starts, spans, litres]), places)
        seen.note("duplicate row", rows.lines[keep & same])
        keep &= ~same
        dry = keep & (litres == 0)
        seen.note("run without water", rows.lines[dry])
        seen.used += int(keep.sum())
        keep &= ~dry
        starts, spans, litres = starts[keep], spans[keep], litres[keep]
        if "label" in self.header.columns:
            names = np.asarray(rows.cells["label"].to_pylist(), dtype=object)[keep]
            self.labels = LabelRows(names, spans, np.rint(litres / NANOLITRE).astype(np.int64))
        return self._pieces(starts, spans, litres, rows.lines[keep])

    def _read(self, rows: Rows) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
        """Starts and lengths in microseconds, litres, and which rows can be used."""
        traits, columns = self.traits, self.header.columns
        starts, timed = traits.form.read(rows.cells["start"])
        litres, counted = traits.numbers(rows.cells["volume"])
        litres = litres * columns["volume"].factor
        readable = [("time that cannot be read", timed), ("number that cannot be read", counted)]
        if "duration" in columns:
            seconds, good = traits.numbers(rows.cells["duration"])
            seconds = seconds * columns["duration"].factor
            readable.append(("number that cannot be read", good))
        else:
            ends, good = traits.form.read(rows.cells["end"])
            seconds = (ends - starts) / SECOND
            readable.append(("time that cannot be read", good))
        keep = self._keep(rows, readable, [seconds, litres])
        too_much = keep & (litres > MOST_FLOW * np.maximum(seconds, 60) / 60)
        self.account.note(f"more than {MOST_FLOW:.0f} L/min", rows.lines[too_much])
        too_long = keep & (seconds * SECOND > LONGEST_RECORD // 400)
        self.account.note("run of more than a year", rows.lines[too_long])
        keep &= ~(too_much | too_long)
        spans = np.rint(np.where(keep, seconds, 0.0) * SECOND).astype(np.int64)
        return starts, spans, np.where(keep, litres, 0.0), keep

    def _find_duplicates(self, rows: Rows, table: np.ndarray, places: np.ndarray) -> np.ndarray:
        """Mark rows that say in all columns what the usable row before says."""

        def whole(place: int) -> tuple[tuple[float, ...], tuple[str, ...]]:
            others = tuple(str(column[place]) for column in rows.others)
            return tuple(table[:, place].tolist()), others

        same = np.zeros(len(rows.lines), bool)
        same[places[0]] = self._before == whole(int(places[0]))
        alike = (np.diff(table[:, places]) == 0).all(axis=0)
        for before in np.flatnonzero(alike).tolist():
            first, second = int(places[before]), int(places[before + 1])
            same[second] = whole(first) == whole(second)
        self._before = whole(int(places[-1]))
        return same

    def _pieces(
        self, starts: np.ndarray, spans: np.ndarray, litres: np.ndarray, lines: np.ndarray
    ) -> Pieces:
        seen = self.account
        if not len(starts):
            return empty_pieces()
        begun = seen.first is not None
        if not begun:
            seen.first = self._time = int(starts[0])
        steps = np.diff(starts, prepend=self._time)
        back = steps < 0
        if back.any():
            seen.back += int(back.sum())
            seen.back_line = seen.back_line or int(lines[back][0])
            seen.note("time goes back", lines[back], "time went on from there")
        steps = np.where(back, 0, steps)
        self._check_length(self._elapsed, steps)
        elapsed = self._elapsed + np.cumsum(steps)
        ends = elapsed + spans
        ahead = np.maximum.accumulate(np.concatenate(([self._end], ends)))
        pauses = elapsed - ahead[:-1]
        hole = pauses > self.hole
        seen.note("hole in the recording", lines[hole], "not counted as recorded time")
        seen.holes += int(hole.sum())
        seen.hole_time += int(pauses[hole].sum())
        apart = pauses[pauses > 0]
        if len(apart):
            least = int(apart.min())
            seen.closest = least if seen.closest is None else min(seen.closest, least)
        self._time, self._elapsed, self._end = int(starts[-1]), int(elapsed[-1]), int(ahead[-1])
        seen.last = max(seen.last, int((starts + spans).max()))
        seen.covered = self._end - seen.hole_time
        return Pieces(elapsed, ends, self._add_water(litres), starts)

    def close(self) -> Pieces:
        """Check the record."""
        super().close()
        if self.account.covered == 0:
            raise RecordError.of(
                "the record covers no time",
                where=self.where,
                found="no run has a length, and all start at the same time",
            )
        return empty_pieces()
