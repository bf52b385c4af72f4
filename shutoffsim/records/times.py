"""Texts to times, many at once; what cannot be read is marked, not guessed."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from shutoffsim.errors import RecordError
from shutoffsim.records.cells import Read, Texts, read_numbers, salvage

SECOND = 1_000_000  # times are whole microseconds
EARLIEST = 315_532_800 * SECOND  # 1980
LATEST = 7_258_118_400 * SECOND  # 2200

_MAYBE_TIME = r"^[0-9]{4}-[0-9]{2}"  # what no cast below accepts is sorted out first

_FORMATS = (
    ("year-month-day with two-digit years (19 is 2019)", "%y-%m-%d %H:%M:%S"),
    ("year-month-day", "%Y-%m-%d %H:%M:%S"),
    ("year/month/day", "%Y/%m/%d %H:%M:%S"),
    ("year/month/day", "%Y/%m/%d %H:%M"),
)


@dataclass(frozen=True)
class TimeForm:
    """How the times of a record are written.

    Parameters
    ----------
    name : str
        In words.
    read : callable
        Texts to microseconds since 1970 (int64) and whether each could be read.
    absolute : bool
        Whether a change to or from summer time cannot show (offsets, Unix seconds).
    """

    name: str
    read: Callable[[Texts], Read]
    absolute: bool


def choose_form(texts: Texts, time_format: str | None, where: str) -> TimeForm:
    """Find from the first rows how times are written.

    Parameters
    ----------
    texts : pyarrow array of strings
        Times of the first rows.
    time_format : str or None
        A pattern in the manner of ``strptime``, which settles it.
    where : str
        Name of the file, for messages.

    Raises
    ------
    RecordError
        When fewer than half of them can be read in any one way.
    """
    forms = [_pattern(f"as {time_format}", time_format)] if time_format else _forms()
    for form in forms:
        _, good = form.read(texts)
        if good.sum() * 2 >= len(texts) and good.any():
            return form
    shown = next((str(text) for text in texts.to_pylist() if str(text)), "")
    raise RecordError.of(
        "the times cannot be read",
        where,
        found=f'"{shown[:60]}"',
        expected="ISO 8601 such as 2024-03-31 07:30:00, with or without offset, or Unix seconds"
        if not time_format
        else f"times written as {time_format}",
        hint=_time_hint(texts, time_format),
    )


def show_time(micros: int) -> str:
    """Show a time of the record to the second."""
    return str(np.datetime64(micros // SECOND, "s")).replace("T", " ")


def read_day(text: str) -> date:
    """Return the day of a date or time that begins with the year, as the place's calendar has it.

    Raises
    ------
    ValueError
        When it is none.

    Examples
    --------
    >>> read_day("2026/03/31 18:00")
    datetime.date(2026, 3, 31)
    """
    return date.fromisoformat(text[:10].replace("/", "-"))


def _forms() -> list[TimeForm]:
    return [
        TimeForm("ISO 8601 without offset", _iso(pa.timestamp("us")), False),
        TimeForm("ISO 8601 with offset, shown in UTC", _iso(pa.timestamp("us", "UTC")), True),
        TimeForm("Unix seconds, shown in UTC", _read_unix, True),
        *(_pattern(name, pattern) for name, pattern in _FORMATS),
    ]


def _iso(kind: Any) -> Callable[[Texts], Read]:
    def read(texts: Texts) -> Read:
        values, good = salvage(
            texts, lambda part: pc.cast(pc.cast(part, kind), pa.int64()), _MAYBE_TIME, np.int64
        )
        return _in_range(values, good)

    return read


def _read_unix(texts: Texts) -> Read:
    seconds, good = read_numbers(texts)
    good = good & (seconds >= EARLIEST / SECOND) & (seconds <= LATEST / SECOND)
    return np.rint(np.where(good, seconds, 0.0) * SECOND).astype(np.int64), good


def _pattern(name: str, pattern: str) -> TimeForm:
    def read(texts: Texts) -> Read:
        try:
            stamps = pc.strptime(texts, format=pattern, unit="us", error_is_null=True)
        except (pa.ArrowInvalid, pa.ArrowNotImplementedError) as error:
            raise RecordError.of(
                "the pattern for times is not usable",
                found=f'"{pattern}"',
                expected='a pattern such as "%d.%m.%Y %H:%M:%S"',
            ) from error
        good = pc.is_valid(stamps).to_numpy(zero_copy_only=False)
        values = pc.fill_null(pc.cast(stamps, pa.int64()), 0).to_numpy(zero_copy_only=False)
        return _in_range(values, good)

    return TimeForm(name, read, False)


def _in_range(values: np.ndarray, good: np.ndarray) -> Read:
    return values, good & (values >= EARLIEST) & (values <= LATEST)


def _time_hint(texts: Texts, time_format: str | None) -> str:
    if time_format:
        return "check the pattern against the file"
    seconds, good = read_numbers(texts)
    if good.any() and np.median(seconds[good]) > 1e11:
        return "Unix time in milliseconds: divide by 1000"
    return 'give the pattern of the times (time_format), such as "%d.%m.%Y %H:%M:%S"'
