"""Pulses and flow samples: from rows to pieces of flow."""

from __future__ import annotations

import numpy as np

from shutoffsim.errors import RecordError
from shutoffsim.records import Header, Rows
from shutoffsim.records.times import SECOND, show_time
from shutoffsim.study.meter.flow import MINUTE, MOST_FLOW, Pieces, Stream, empty_pieces
from shutoffsim.study.meter.traits import REACH, Traits

HOUR = 3600 * SECOND
_CLOCK_INTERVAL = 10 * MINUTE  # a missing hour in coarser records may just be missing rows


class SampleStream(Stream):
    """Pulses and flow samples: each row stands for the time until the next, within reason.

    Parameters
    ----------
    header, traits, where, hole
        As for :class:`Stream`.
    litres_per_pulse : float or None
        For pulses without such a column.
    """

    def __init__(
        self,
        header: Header,
        traits: Traits,
        where: str,
        hole: int,
        litres_per_pulse: float | None = None,
    ) -> None:
        super().__init__(header, traits, where, hole)
        self.litres_per_pulse = litres_per_pulse
        #: Largest litres per pulse so far; 0 when there are no pulses.
        self.pulse_volume = (litres_per_pulse or 0.0) if header.form == "pulses" else 0.0
        if traits.pace == "regular":
            self._reach = REACH * traits.interval
        elif traits.pace == "on change":
            self._reach = hole
        else:
            self._reach = 0 if header.form == "pulses" else traits.interval * 3 // 2
        # The last row that counts: its end is known only when the next one comes.
        self._time = self._elapsed = self._line = 0
        self._value = self._last_value = 0.0
        self._started = False

    def feed(self, rows: Rows) -> Pieces:
        """Take the next rows and give the flow that is settled by them."""
        times, values, keep = self._read(rows)
        times, values, lines = times[keep], values[keep], rows.lines[keep]
        if not len(times):
            return empty_pieces()
        seen = self.account
        if self._started:
            before = np.concatenate(([self._last_value], values[:-1]))
            same = np.diff(times, prepend=self._time) == 0
        else:
            before = np.concatenate(([np.nan], values[:-1]))
            same = np.concatenate(([False], np.diff(times) == 0))
        self._last_value = float(values[-1])
        if "count" in self.header.columns or self.header.form != "pulses":
            seen.note("duplicate row", lines[same & (values == before)])
            other = same & (values != before)
            seen.note("another value for the same time", lines[other], "the first one counts")
            times, values, lines = times[~same], values[~same], lines[~same]
        else:
            seen.note("pulse in the same instant as the one before", lines[same], "counted")
        seen.used += len(times)
        if self._started:
            times = np.concatenate(([self._time], times))
            values = np.concatenate(([self._value], values))
            lines = np.concatenate(([self._line], lines))
        elif len(times):
            seen.first = int(times[0])
        if not len(times):
            return empty_pieces()
        self._started = True
        steps = self._steps(times, lines[1:])
        self._check_length(self._elapsed, steps)
        elapsed = self._elapsed + np.concatenate(([0], np.cumsum(steps)))
        pieces = self._pieces(times[:-1], values[:-1], elapsed[:-1], steps, lines[1:])
        self._time, self._value, self._line = int(times[-1]), float(values[-1]), int(lines[-1])
        self._elapsed = int(elapsed[-1])
        return pieces

    def close(self) -> Pieces:
        """Let the last row stand for one interval and check the record."""
        super().close()
        seen, interval = self.account, self.traits.interval
        if self._elapsed == 0:
            raise RecordError.of(
                "the record covers no time",
                where=self.where,
                found=f"all usable rows are at {show_time(self._time)}",
                expected="rows at different times",
            )
        seen.last = self._time
        seen.covered += interval
        return self._flow(
            np.array([self._time]),
            np.array([self._value]),
            np.array([self._elapsed]),
            np.array([interval]),
        )

    def _read(self, rows: Rows) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Times, values and which rows can be used; values in litres or litres per minute."""
        traits, columns = self.traits, self.header.columns
        times, timed = traits.form.read(rows.cells["time"])
        readable = [("time that cannot be read", timed)]
        values = np.ones(len(times))
        parts: list[np.ndarray] = []
        for role in ("count", "per pulse", "flow", "volume"):
            if role not in columns:
                continue
            numbers, good = traits.numbers(rows.cells[role])
            readable.append(("number that cannot be read", good))
            parts.append(numbers)
            values = values * numbers * columns[role].factor
        if self.header.form == "pulses" and "per pulse" not in columns:
            values = values * (self.litres_per_pulse or 0.0)
        keep = self._keep(rows, readable, parts)
        most = MOST_FLOW
        if "flow" not in columns:
            most *= max(traits.interval, MINUTE) / MINUTE
        too_much = keep & (values > most)
        self.account.note(f"more than {MOST_FLOW:.0f} L/min", rows.lines[too_much])
        keep &= ~too_much
        if "per pulse" in columns and keep.any():
            stated = traits.numbers(rows.cells["per pulse"])[0] * columns["per pulse"].factor
            self.pulse_volume = max(self.pulse_volume, float(stated[keep].max()))
        return times, values, keep

    def _steps(self, times: np.ndarray, lines: np.ndarray) -> np.ndarray:
        """Time that really passed between rows, whatever the clock did."""
        steps = np.diff(times)
        seen, interval = self.account, self.traits.interval
        on_time = np.zeros(len(steps), bool)
        regular = self.traits.pace == "regular" and interval <= _CLOCK_INTERVAL
        if regular and not self.traits.form.absolute:
            # Summer time: the missing hour ends, and the repeated hour begins, on the hour.
            on_time = times[1:] % HOUR <= interval
            forward = on_time & (np.abs(steps - HOUR - interval) * 2 <= interval)
            back = on_time & (np.abs(steps + HOUR - interval) * 2 <= interval)
            seen.note("clock put forward an hour", lines[forward], "time went on without a hole")
            seen.note("clock put back an hour", lines[back], "time went on without a repetition")
            steps = steps - HOUR * forward + HOUR * back
        back = steps < 0
        if back.any():
            seen.back += int(back.sum())
            seen.back_line = seen.back_line or int(lines[back][0])
            seen.note("time goes back", lines[back], "time went on from there")
        return np.where(back, interval if self.traits.pace == "regular" else 0, steps)

    def _pieces(
        self,
        times: np.ndarray,
        values: np.ndarray,
        elapsed: np.ndarray,
        steps: np.ndarray,
        lines: np.ndarray,
    ) -> Pieces:
        interval, seen = self.traits.interval, self.account
        hold = np.where(steps <= self._reach, steps, interval)
        hole = steps > self.hole
        seen.holes += int(hole.sum())
        seen.hole_time += int((steps[hole] - interval).sum())
        seen.covered += int(steps[~hole].sum()) + interval * int(hole.sum())
        seen.note("hole in the recording", lines[hole], "not counted as recorded time")
        if self.traits.pace != "flow only":
            cut = hole & (values > 0)
            seen.note("run cut by a hole", lines[cut], "its true length is not known")
        return self._flow(times, values, elapsed, hold)

    def _flow(
        self, times: np.ndarray, values: np.ndarray, elapsed: np.ndarray, hold: np.ndarray
    ) -> Pieces:
        """Pieces of the rows with flow."""
        runs = values > 0
        times, values, elapsed, hold = times[runs], values[runs], elapsed[runs], hold[runs]
        if "flow" in self.header.columns:
            litres, flows = values * (hold / MINUTE), values
        else:
            litres, flows = values, values / (self.traits.interval / MINUTE)
        if len(flows):
            self.account.smallest_flow = min(self.account.smallest_flow, float(flows.min()))
        return Pieces(elapsed, elapsed + hold, self._add_water(litres), times)
