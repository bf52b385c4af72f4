"""What the first rows of a record show about the rest: how times are written, how often it looks.

Only a fixed number of rows at the beginning is asked, so nothing depends on how the file is cut
into blocks later.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
import pyarrow.compute as pc

from shutoffsim.errors import RecordError
from shutoffsim.records import Header, Records
from shutoffsim.records.cells import Read, Texts, read_numbers
from shutoffsim.records.times import SECOND, TimeForm, choose_form

LONGEST_INTERVAL = 86_400 * SECOND
REACH = 5  # a sample holds until the next one if that comes within so many intervals
_REGULAR_SHARE = 0.95  # of the steps that are whole multiples of the commonest one


_EVEN_SHARE = 0.8  # of the steps that are about an interval

Pace = Literal["regular", "on change", "flow only"]


@dataclass(frozen=True)
class Traits:
    """How a record is kept.

    Parameters
    ----------
    form : TimeForm
        How times are written.
    interval : int
        Microseconds: the sampling interval, or the slot that a pulse's time stands for; for runs
        the fineness of their starts.
    pace : str
        ``regular``: a row for each interval, with flow or without; ``on change``: a row when the
        flow changes; ``flow only``: rows without flow are left out.
    decimal_comma : bool
        Whether a comma in a number is a decimal point.
    """

    form: TimeForm
    interval: int
    pace: Pace
    decimal_comma: bool

    def numbers(self, texts: Texts) -> Read:
        """Read numbers, and return which could be read."""
        return read_numbers(texts, comma=self.decimal_comma)


def learn_traits(
    records: Records, *, time_format: str | None = None, slot: int | None = None
) -> Traits:
    """Learn from the first rows.

    Parameters
    ----------
    records : Records
    time_format : str, optional
        Pattern of the times.
    slot : int, optional
        Microseconds that settle the interval.

    Raises
    ------
    RecordError
        When there are no rows, no readable times or values, or the values are readings of a
        counter.
    """
    header, rows, where = records.header, records.sample(), records.where
    if not len(rows.lines):
        fields = f", {len(rows.broken)} rows with another number of fields"
        raise RecordError.of(
            "no rows can be read",
            where=where,
            found=f"a header{fields if len(rows.broken) else ' and nothing else'}",
            expected=f"rows of {header.width} fields",
        )
    clock = "start" if header.form == "runs" else "time"
    form = choose_form(rows.cells[clock], time_format, where)
    times, good = form.read(rows.cells[clock])
    comma = header.comma and _has_comma(rows.cells, clock)
    traits = Traits(form, 1, "flow only", comma)
    values = _values(traits, rows.cells, header, where)
    steps = np.diff(times[good])
    steps = steps[steps > 0]
    if "volume" in header.columns and header.form == "flow samples":
        _refuse_readings(values[good & np.isfinite(values)], where)
    pace: Pace = "flow only"
    if header.form == "runs":
        interval = slot or _slot(steps)
    else:
        interval = slot or (int(np.median(steps)) if len(steps) else SECOND)
        pace = _pace(header, steps, interval, bool((values[good] == 0).any()))
        if header.form == "pulses" and pace != "regular":
            interval = slot or _slot(steps)
    if interval > LONGEST_INTERVAL and header.form != "runs":
        raise RecordError.of(
            "the rows are more than a day apart",
            where=where,
            found=f"{interval / SECOND / 86400:.3g} days between rows",
            expected="a record that shows how long water runs: seconds to minutes between rows",
        )
    return Traits(form, interval, pace, comma)


def _values(traits: Traits, texts: dict[str, Texts], header: Header, where: str) -> np.ndarray:
    """Values of the first rows; not-a-number where they cannot be read."""
    role = "count" if header.form == "pulses" else "volume"
    if role not in texts:
        role = "flow"
    if role not in texts:
        return np.ones(len(next(iter(texts.values()))))
    values, good = traits.numbers(texts[role])
    if not good.any():
        shown = next((str(text) for text in texts[role].to_pylist() if str(text)), "")
        raise RecordError.of(
            f'no number can be read in the column "{header.columns[role].name}"',
            where=where,
            found=f'"{shown[:60]}"',
            expected="numbers with a decimal point; a decimal comma only in files separated by "
            "; or tab",
        )
    return np.where(good, values, np.nan)


def _has_comma(texts: dict[str, Texts], clock: str) -> bool:
    return any(
        pc.any(pc.match_substring(column, ",")).as_py()
        for role, column in texts.items()
        if role not in (clock, "end", "label")
    )


def _pace(header: Header, steps: np.ndarray, interval: int, zeros: bool) -> Pace:
    """Find what makes a recorder write a row."""
    even = len(steps) > 0 and (np.abs(steps - interval) * 2 <= interval).mean() >= _EVEN_SHARE
    if not zeros and (header.form == "pulses" or not len(steps)):
        return "flow only"
    if even and (zeros or steps.max() <= REACH * interval):
        return "regular"
    return "on change" if zeros and "flow" in header.columns else "flow only"


def _slot(steps: np.ndarray) -> int:
    """Width of the slots that times are rounded to, from the steps between them."""
    if not len(steps):
        return SECOND
    sizes, counts = np.unique(steps, return_counts=True)
    common = int(sizes[counts.argmax()])
    if (steps % common == 0).mean() >= _REGULAR_SHARE:
        return common
    return int(np.gcd.reduce(sizes))


def _refuse_readings(values: np.ndarray, where: str) -> None:
    """Readings of a counter never fall; taken for amounts they would be nonsense."""
    if len(values) < 20:
        return
    if (np.diff(values) >= 0).all() and len(np.unique(values)) > 10:
        raise RecordError.of(
            "the volumes never fall: they look like readings of the meter's counter",
            where=where,
            found=f"{values[0]:g} to {values[-1]:g} in the first {len(values)} rows",
            expected="the water used in each interval",
            hint="subtract each reading from the next one",
        )
