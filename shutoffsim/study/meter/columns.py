"""From the names in a header to what the columns mean.

A name is a word, a unit, or both: ``flow_l_per_min``, ``Flow (L/min)`` and ``lpm`` are the same.
Case, blanks and brackets do not matter.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from shutoffsim.study.meter.errors import MeterError

Kind = Literal["pulses", "flow samples", "runs"]
Role = Literal["time", "start", "end", "duration", "count", "per pulse", "flow", "volume", "label"]

GALLON = 231 * 0.0254**3 * 1000  # litres: the US gallon is 231 cubic inches by definition
FOOT3 = 0.3048**3 * 1000  # litres
LONGEST_NAME = 80
DELIMITERS = (",", ";", "\t")
EXPECTED = (
    "a header with one of these: time and pulses; time and a flow (flow_l_per_min) or the water in "
    "each interval (litres); start, seconds (or end) and litres"
)

_TIME_WORDS = frozenset(
    [
        "time",
        "timestamp",
        "time_stamp",
        "datetime",
        "date_time",
        "date",
        "unix",
        "unix_time",
        "unix_s",
        "unix_seconds",
        "epoch",
        "epoch_s",
        "time_s",
        "time_utc",
        "time_local",
        "time_unix",
        "timestamp_utc",
    ]
)
_START_WORDS = frozenset(
    [
        "start",
        "starttime",
        "start_time",
        "start_utc",
        "start_unix",
        "start_s",
        "started",
        "begin",
        "begin_time",
    ]
)
_END_WORDS = frozenset(
    ["end", "endtime", "end_time", "end_utc", "end_unix", "end_s", "ended", "stop", "stop_time"]
)
_COUNT_WORDS = frozenset(["pulses", "pulse", "count", "counts", "pulse_count", "number_of_pulses"])
_LABEL_WORDS = frozenset(["label", "fixture", "appliance", "event", "use"])
_FLOW_WORDS = frozenset(["flow", "flowrate", "flow_rate", "rate"])
_VOLUME_WORDS = frozenset(["volume", "vol", "water", "consumption", "quantity"])
_DURATION_WORDS = frozenset(["duration", "dur", "length", "lasted"])

_LITRES = {
    **dict.fromkeys(["l", "litre", "litres", "liter", "liters"], 1.0),
    **dict.fromkeys(["ml", "millilitre", "millilitres", "milliliters"], 1e-3),
    **dict.fromkeys(["m3", "cubic_metres", "cubic_meters"], 1e3),
    **dict.fromkeys(["gal", "gallon", "gallons"], GALLON),
    "ft3": FOOT3,
}
_SECONDS = {
    **dict.fromkeys(["s", "sec", "secs", "second", "seconds"], 1.0),
    **dict.fromkeys(["min", "mins", "minute", "minutes"], 60.0),
    **dict.fromkeys(["h", "hr", "hour", "hours"], 3600.0),
}
_PER_MINUTE = {
    f"{volume}_per_{time}": litres * 60.0 / seconds
    for volume, litres in _LITRES.items()
    for time, seconds in _SECONDS.items()
} | {"lpm": 1.0, "l_min": 1.0, "lph": 1 / 60, "l_h": 1 / 60, "l_s": 60.0, "gpm": GALLON}
_PER_PULSE = {f"{unit}_per_pulse": litres for unit, litres in _LITRES.items()}


@dataclass(frozen=True)
class Column:
    """One column of the record.

    Parameters
    ----------
    role : str
        What it holds.
    name : str
        As written in the header.
    index : int
        Position, from 0.
    factor : float
        Turns its numbers into litres, litres per minute or seconds.
    """

    role: Role
    name: str
    index: int
    factor: float = 1.0


@dataclass(frozen=True)
class Layout:
    """What a header says about a file.

    Parameters
    ----------
    kind : str
    columns : dict of str to Column
        The columns in use by role.
    unused : tuple of str
        Names of the others.
    width : int
        Number of all columns.
    delimiter : str
    """

    kind: Kind
    columns: dict[Role, Column]
    unused: tuple[str, ...]
    width: int
    delimiter: str


def read_header(line: str, where: str) -> Layout:
    """Tell the kind of a record and its columns from the header.

    Parameters
    ----------
    line : str
        The first line that is neither blank nor a comment.
    where : str
        Name of the file, for messages.

    Raises
    ------
    MeterError
        When the columns are of no known kind, lack a unit, or say a thing twice.
    """
    tries = [(mark, split_names(line, mark)) for mark in DELIMITERS]
    known = [sum(_meaning(name) is not None for name in names) for _, names in tries]
    delimiter, names = tries[max(range(len(tries)), key=lambda i: (known[i], len(tries[i][1])))]
    found: list[Column] = []
    for index, name in enumerate(names):
        meaning = _meaning(name)
        if meaning is not None:
            found.append(Column(meaning[0], name, index, meaning[1]))
    return _choose(found, names, delimiter, where)


def split_names(line: str, delimiter: str) -> list[str]:
    """Split a header at a delimiter."""
    names = (name.strip().strip("\"'").strip() for name in line.split(delimiter))
    return [printable(name) for name in names]


def printable(text: str) -> str:
    """Make a text from a file harmless for a terminal: no control signs, not too long."""
    return "".join(sign if sign.isprintable() else "?" for sign in text[:LONGEST_NAME])


def _tidy(name: str) -> str:
    lowered = name.lower().replace("³", "3").replace("/", "_per_")
    return re.sub(r"[\s\[\](){}.,:_-]+", "_", lowered).strip("_")


def _meaning(name: str) -> tuple[Role, float] | None:
    """Role and factor of a column; a factor of 0 marks a missing unit; None: not known."""
    tidy = _tidy(name)
    words: tuple[tuple[frozenset[str], Role], ...] = (
        (_TIME_WORDS, "time"),
        (_START_WORDS, "start"),
        (_END_WORDS, "end"),
        (_COUNT_WORDS, "count"),
        (_LABEL_WORDS, "label"),
    )
    for known, role in words:
        if tidy in known:
            return role, 1.0
    measures: tuple[tuple[frozenset[str], dict[str, float], Role], ...] = (
        (_VOLUME_WORDS, _PER_PULSE, "per pulse"),
        (_FLOW_WORDS, _PER_MINUTE, "flow"),
        (_VOLUME_WORDS, _LITRES, "volume"),
        (_DURATION_WORDS, _SECONDS, "duration"),
    )
    for bases, units, role in measures:
        if tidy in units:
            return role, units[tidy]
        if tidy in bases and role != "per pulse":
            return role, 0.0
        for base in bases:
            rest = tidy.removeprefix(base + "_")
            if rest != tidy and rest in units:
                return role, units[rest]
    return None


def _choose(found: list[Column], names: Sequence[str], delimiter: str, where: str) -> Layout:
    roles = {column.role for column in found}
    if "start" in roles:
        kind: Kind = "runs"
        wanted: tuple[Role, ...] = (
            "start",
            "duration" if "duration" in roles else "end",
            "volume",
            "label",
        )
    elif "time" in roles and roles & {"flow", "volume"}:
        kind = "flow samples"
        wanted = ("time", "volume" if "volume" in roles else "flow")
        if {"flow", "volume"} <= roles:
            raise MeterError(
                "both a flow and a volume are given for each time",
                where=where,
                found=_list(names),
                expected="one of them",
                hint="keep the one that the meter counts and leave out the other",
            )
    elif "time" in roles and ("count" in roles or len(names) == 1):
        kind = "pulses"
        wanted = ("time", "count", "per pulse")
    else:
        raise MeterError(
            "the columns are not known", where=where, found=_list(names), expected=EXPECTED
        )
    columns: dict[Role, Column] = {}
    for column in found:
        if column.role not in wanted:
            continue
        if column.role in columns:
            raise MeterError(
                f"two columns say the same thing ({column.role})",
                where=where,
                found=f'"{columns[column.role].name}" and "{column.name}"',
                expected="one of them",
                hint="rename or remove one; a date and a time of day belong into one column",
            )
        if column.factor == 0.0:
            raise MeterError(
                f'the column "{column.name}" has no unit',
                where=where,
                expected="the unit in the header: litres, volume_m3, flow_l_per_min, duration_s",
                hint="write the unit behind the name",
            )
        columns[column.role] = column
    missing = [role for role in wanted if role not in columns and role in ("end", "volume")]
    if missing:
        lacking = ["seconds (or end)" if role == "end" else "litres" for role in missing]
        raise MeterError(
            f"a record of runs lacks a column: {' and '.join(lacking)}",
            where=where,
            found=_list(names),
            expected="start, seconds (or end) and litres",
        )
    used = {column.index for column in columns.values()}
    unused = tuple(name for index, name in enumerate(names) if index not in used)
    return Layout(kind, columns, unused, len(names), delimiter)


def _list(names: Sequence[str]) -> str:
    text = ", ".join(names)
    return f"columns {text}" if len(text) <= 200 else f"columns {text[:200]}..."
