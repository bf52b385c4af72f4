"""Days and weeks as people write them."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, NamedTuple

from shutoffsim.errors import UnitError
from shutoffsim.scenario.quantities import Value

HALF_HOURS_A_DAY = 48
AWAKE, ASLEEP, OUT, PERHAPS_OUT = "awake", "asleep", "out", "perhaps out"
MONTHS = {
    "January": 31,
    "February": 28,
    "March": 31,
    "April": 30,
    "May": 31,
    "June": 30,
    "July": 31,
    "August": 31,
    "September": 30,
    "October": 31,
    "November": 30,
    "December": 31,
}

_CLOCK = re.compile(r"^(\d\d?):(00|30)$", re.ASCII)
_DATE = re.compile(r"^(\d\d?) ([A-Za-z]+)$", re.ASCII)
_HOME_KEYS = ("wake", "leave", "return", "sleep", "out_chance")
_PLACE_KEYS = ("open", "close")
_FORMS = (
    '{wake = "07:00", sleep = "23:00", leave = "08:30", return = "17:30", out_chance = 0.7}, '
    '{open = "08:00", close = "18:00"} for a place where nobody sleeps, "home" or "out"'
)


class Day(NamedTuple):
    """One day of a week.

    Parameters
    ----------
    half_hours : tuple of str
        48 states: awake, asleep, out or perhaps out.
    out_chance : float
        Chance that "perhaps out" is out.
    """

    half_hours: tuple[str, ...]
    out_chance: float


@dataclass(frozen=True)
class DayPlan(Value):
    """A day as a table of clock times, or one word."""

    def read(self, raw: object) -> Day:
        """Read a day."""
        if raw == "out":
            return Day((OUT,) * HALF_HOURS_A_DAY, 1.0)
        if raw == "home":
            return _at_home({"wake": "07:00", "sleep": "23:00"})
        if not isinstance(raw, Mapping):
            raise UnitError("not a day", found=str(raw)[:60], expected=_FORMS)
        keys = set(raw)
        if keys == set(_PLACE_KEYS):
            return _open_hours(raw)
        if keys <= set(_HOME_KEYS) and {"wake", "sleep"} <= keys:
            return _at_home(raw)
        raise UnitError("not a day", found=", ".join(map(str, raw))[:100], expected=_FORMS)

    def describe(self) -> dict[str, Any]:
        """Return the JSON Schema of the value."""
        clock = {"type": "string", "pattern": "^[0-9]{1,2}:(00|30)$"}
        home: dict[str, Any] = dict.fromkeys(_HOME_KEYS, clock)
        home["out_chance"] = {"type": "number", "minimum": 0, "maximum": 1}
        return {
            "anyOf": [
                {"enum": ["out", "home"]},
                {
                    "type": "object",
                    "properties": home,
                    "required": ["wake", "sleep"],
                    "additionalProperties": False,
                },
                {
                    "type": "object",
                    "properties": dict.fromkeys(_PLACE_KEYS, clock),
                    "required": list(_PLACE_KEYS),
                    "additionalProperties": False,
                },
            ]
        }

    def words(self) -> str:
        """Say what is expected, for the reference page."""
        return f"a day: {_FORMS}"


@dataclass(frozen=True)
class DayOfYear(Value):
    """A date without a year, such as "20 January", as seconds from 1 January."""

    def read(self, raw: object) -> float:
        """Read a date."""
        expected = 'a date such as "20 January"'
        match = _DATE.match(raw) if isinstance(raw, str) else None
        months = list(MONTHS)
        if match is None or match[2].capitalize() not in MONTHS:
            raise UnitError(
                "not a date", found=str(raw)[:60], expected=expected, hint="day, then month in full"
            )
        day, month = int(match[1]), match[2].capitalize()
        if not 1 <= day <= MONTHS[month]:
            raise UnitError("no such day", found=match[0], expected=f"1 to {MONTHS[month]} {month}")
        before = sum(MONTHS[name] for name in months[: months.index(month)])
        return (before + day - 1) * 86400.0

    def describe(self) -> dict[str, Any]:
        """Return the JSON Schema of the value."""
        return {
            "type": "string",
            "pattern": "^[0-9]{1,2} (" + "|".join(MONTHS) + ")$",
            "examples": ["20 January"],
        }

    def words(self) -> str:
        """Say what is expected, for the reference page."""
        return "a date, as `20 January`"


def _half_hour(raw: Mapping[str, object], key: str) -> int:
    text = raw[key]
    match = _CLOCK.match(text) if isinstance(text, str) else None
    index = int(match[1]) * 2 + (match[2] == "30") if match else -1
    if not 0 <= index <= HALF_HOURS_A_DAY:
        raise UnitError(
            "not a time of day",
            found=f"{key} = {str(text)[:60]}",
            expected='a full or half hour from "00:00" to "24:00"',
            hint="put it in quotes and round to the half hour",
        )
    return index


def _in_order(raw: Mapping[str, object], keys: tuple[str, ...]) -> list[int]:
    times = [_half_hour(raw, key) for key in keys]
    if times != sorted(times):
        raise UnitError(
            "times out of order",
            found=", ".join(f"{key} = {raw[key]}" for key in keys),
            expected=" <= ".join(keys),
            hint='a day ends at "24:00"',
        )
    return times


def _open_hours(raw: Mapping[str, object]) -> Day:
    first, last = _in_order(raw, _PLACE_KEYS)
    states = (OUT,) * first + (AWAKE,) * (last - first) + (OUT,) * (HALF_HOURS_A_DAY - last)
    return Day(states, 1.0)


def _at_home(raw: Mapping[str, object]) -> Day:
    given = [key for key in ("leave", "return", "out_chance") if key in raw]
    if given and len(given) < 3 and given != ["leave", "return"]:
        raise UnitError(
            "half a way out", found=", ".join(given), expected="leave and return together"
        )
    keys = ("wake", "leave", "return", "sleep") if given else ("wake", "sleep")
    times = _in_order(raw, keys)
    wake, sleep = times[0], times[-1]
    chance = raw.get("out_chance", 1.0)
    if isinstance(chance, bool) or not isinstance(chance, (int, float)) or not 0 <= chance <= 1:
        raise UnitError(
            "not a chance", found=f"out_chance = {str(chance)[:60]}", expected="between 0 and 1"
        )
    states = [ASLEEP] * HALF_HOURS_A_DAY
    states[wake:sleep] = [AWAKE] * (sleep - wake)
    if given:
        leave, back = times[1], times[2]
        states[leave:back] = [PERHAPS_OUT] * (back - leave)
    return Day(tuple(states), float(chance))
