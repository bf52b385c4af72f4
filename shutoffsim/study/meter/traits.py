"""What the first rows of a record show about the rest: how times are written, how often it looks.

Only a fixed number of rows at the beginning is asked, so nothing depends on how the file is cut
into blocks later.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
import pyarrow.compute as pc

from shutoffsim.study.meter.clock import SECOND, TimeForm, choose_form, read_numbers
from shutoffsim.study.meter.columns import Layout, Role
from shutoffsim.study.meter.errors import MeterError
from shutoffsim.study.meter.reader import Head

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

    def numbers(self, texts: Any) -> tuple[np.ndarray, np.ndarray]:
        """Read numbers, and tell which could be read."""
        if self.decimal_comma:
            texts = pc.replace_substring(texts, ",", ".")
        return read_numbers(texts)


def learn_traits(
    head: Head, where: str, *, time_format: str | None = None, slot: int | None = None
) -> Traits:
    """Learn from the first rows.

    Parameters
    ----------
    head : Head
    where : str
        Name of the file, for messages.
    time_format : str, optional
        Pattern of the times.
    slot : int, optional
        Microseconds that settle the interval.

    Raises
    ------
    MeterError
        When there are no rows, no readable times or values, or the values are readings of a
        counter.
    """
    layout, rows = head.layout, head.rows
    if not len(rows.lines):
        fields = f", {len(rows.broken)} rows with another number of fields"
        raise MeterError(
            "no rows can be read",
            where=where,
            found=f"a header{fields if len(rows.broken) else ' and nothing else'}",
            expected=f"rows of {layout.width} fields",
        )
    clock: Role = "start" if layout.kind == "runs" else "time"
    form = choose_form(rows.texts[clock], time_format, where)
    times, good = form.read(rows.texts[clock])
    comma = layout.delimiter != "," and _has_comma(rows.texts, clock)
    traits = Traits(form, 1, "flow only", comma)
    values = _values(traits, rows.texts, layout, where)
    steps = np.diff(times[good])
    steps = steps[steps > 0]
    if "volume" in layout.columns and layout.kind == "flow samples":
        _refuse_readings(values[good & np.isfinite(values)], where)
    pace: Pace = "flow only"
    if layout.kind == "runs":
        interval = slot or _slot(steps)
    else:
        interval = slot or (int(np.median(steps)) if len(steps) else SECOND)
        pace = _pace(layout, steps, interval, bool((values[good] == 0).any()))
        if layout.kind == "pulses" and pace != "regular":
            interval = slot or _slot(steps)
    if interval > LONGEST_INTERVAL and layout.kind != "runs":
        raise MeterError(
            "the rows are more than a day apart",
            where=where,
            found=f"{interval / SECOND / 86400:.3g} days between rows",
            expected="a record that shows how long water runs: seconds to minutes between rows",
        )
    return Traits(form, interval, pace, comma)


def _values(traits: Traits, texts: dict[Role, Any], layout: Layout, where: str) -> np.ndarray:
    """Values of the first rows; not-a-number where they cannot be read."""
    role: Role = "count" if layout.kind == "pulses" else "volume"
    if role not in texts:
        role = "flow"
    if role not in texts:
        return np.ones(len(next(iter(texts.values()))))
    values, good = traits.numbers(texts[role])
    if not good.any():
        shown = next((str(text) for text in texts[role].to_pylist() if str(text)), "")
        raise MeterError(
            f'no number can be read in the column "{layout.columns[role].name}"',
            where=where,
            found=f'"{shown[:60]}"',
            expected="numbers with a decimal point; a decimal comma only in files separated by "
            "; or tab",
        )
    return np.where(good, values, np.nan)


def _has_comma(texts: dict[Role, Any], clock: Role) -> bool:
    return any(
        pc.any(pc.match_substring(column, ",")).as_py()
        for role, column in texts.items()
        if role not in (clock, "end", "label")
    )


def _pace(layout: Layout, steps: np.ndarray, interval: int, zeros: bool) -> Pace:
    """Tell what makes a recorder write a row."""
    even = len(steps) > 0 and (np.abs(steps - interval) * 2 <= interval).mean() >= _EVEN_SHARE
    if not zeros and (layout.kind == "pulses" or not len(steps)):
        return "flow only"
    if even and (zeros or steps.max() <= REACH * interval):
        return "regular"
    return "on change" if zeros and "flow" in layout.columns else "flow only"


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
        raise MeterError(
            "the volumes never fall: they look like readings of the meter's counter",
            where=where,
            found=f"{values[0]:g} to {values[-1]:g} in the first {len(values)} rows",
            expected="the water used in each interval",
            hint="subtract each reading from the next one",
        )
