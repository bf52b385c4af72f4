"""From rows of texts to readings in SI: what was measured, when, and how the valve had rested."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

from shutoffsim import units
from shutoffsim.errors import RecordError, UnitError, complain, printable
from shutoffsim.records import Header, Records, Row
from shutoffsim.records.cells import is_missing, read_quantity
from shutoffsim.records.times import read_day

DAY = 86400.0
ONE_VALVE = "the valve"
EXACT, NOT_MOVED, BELOW, BETWEEN = "moved", "did not move", "moved below", "moved between"
#: What may stand under ``outcome``, and what it says of the torque.
OUTCOMES = {
    EXACT: "it began to move at this torque",
    NOT_MOVED: "it did not move at this torque, which is all that was tried",
    BELOW: "it moved at some torque below this one",
    BETWEEN: "it did not move at this torque, but did at the one under “torque to”",
}
_OTHER_WORDS = {
    "exact": EXACT,
    "moved at some torque below": BELOW,
    "interval": BETWEEN,
    "between": BETWEEN,
}
_DIRECTIONS = {"closing": True, "close": True, "opening": False, "open": False}
_LEAST, _MOST = 1e-4, 1e4  # N*m; far beyond anything that a hand or an actuator turns
_STALLED = 0.98  # of the current at standstill, from which a motor can be said to stand still
_BEYOND = 1.05  # of it: more than a meter's error


@dataclass(frozen=True)
class DataSheet:
    """What turns the current of an actuator into torque, from its data sheet; SI.

    Attributes
    ----------
    rated_voltage, stall_torque, stall_current, no_load_current, current_limit : float
    """

    rated_voltage: float
    stall_torque: float
    stall_current: float
    no_load_current: float
    current_limit: float

    def torque(self, current: float) -> float:
        """Return the torque [N*m] at a current [A]: k (I - I_0)."""
        constant = self.stall_torque / (self.stall_current - self.no_load_current)
        return constant * (current - self.no_load_current)

    def standstill(self, voltage: float) -> float:
        """Return the current [A] at standstill with this voltage [V] at the motor."""
        return min(self.current_limit, voltage * self.stall_current / self.rated_voltage)


@dataclass(frozen=True)
class Reading:
    """One reading.

    Attributes
    ----------
    line : int
        In the file.
    day : datetime.date
    valve : str
    closing : bool
    outcome : str
        One of :data:`OUTCOMES`.
    low, high : float
        Limits of the torque [N*m]; equal when it is known, 0 and inf where there is none.
    gauge : bool
        Whether the actuator's current was the gauge.
    idle, age : float or None
        Rest before it and age of the valve, s, where stated.
    """

    line: int
    day: date
    valve: str
    closing: bool
    outcome: str
    low: float
    high: float
    gauge: bool
    idle: float | None
    age: float | None


class _Row:
    """Reads the cells of one row, with their place in each complaint."""

    def __init__(self, header: Header, row: Row, sheet: DataSheet | None) -> None:
        self.header, self.line, self.sheet = header, row.line, sheet
        self.cells = {role: cell for role, cell in row.cells.items() if not is_missing(cell)}

    def trouble(self, role: str, message: str, **more: Any) -> RecordError:
        column = self.header.columns.get(role)
        key = f'column "{column.name if column and role in self.cells else role}"'
        if role in self.cells:
            more.setdefault("found", f'"{printable(self.cells[role])}"')
        return RecordError.of(message, key=key, **more)

    def text(self, role: str) -> str:
        return self.cells.get(role, "")

    def number(self, role: str, least: float = -math.inf) -> float | None:
        """Return a cell in SI, None when empty."""
        if role not in self.cells:
            return None
        column = self.header.columns[role]
        assert column.dimension is not None
        try:
            value = read_quantity(
                self.cells[role], column.dimension, column.unit, comma=self.header.comma
            )
        except UnitError as error:
            more = {"expected": error.expected, "hint": error.hint}
            raise self.trouble(role, error.message, **more) from None
        if value < least:
            raise self.trouble(role, "this cannot be negative", expected="zero or more")
        return value

    def read(self) -> Reading:
        outcome = self.outcome()
        low, high, gauge = self.limits(outcome)
        for limit in (low, high):
            if 0.0 < limit < math.inf and not _LEAST <= limit <= _MOST:
                raise self.trouble(
                    "torque",
                    "this is not the torque of a stop valve",
                    found=units.format(limit, "torque"),
                    expected=f"between {units.format(_LEAST, 'torque')} and "
                    f"{units.format(_MOST, 'torque')}",
                    hint="check the units, and those of the lever",
                )
        age = self.number("age", 0.0)
        idle = self.number("idle", 0.0)
        if age is not None and idle is not None and idle > age + DAY:
            raise self.trouble("idle", "the valve rested for longer than it exists")
        return Reading(
            line=self.line,
            day=self.day(),
            valve=printable(self.text("valve")) or ONE_VALVE,
            closing=self.direction(),
            outcome=outcome,
            low=low,
            high=high,
            gauge=gauge,
            idle=idle,
            age=age,
        )

    def day(self) -> date:
        try:
            return read_day(self.text("date"))
        except ValueError:
            raise self.trouble(
                "date",
                "this is no date",
                expected="year-month-day, such as 2026-03-31",
                hint="write the year first, with four digits",
            ) from None

    def direction(self) -> bool:
        word = self.text("direction").lower()
        if word not in _DIRECTIONS:
            raise self.trouble("direction", "not a direction", expected="closing or opening")
        return _DIRECTIONS[word]

    def outcome(self) -> str:
        word = " ".join(self.text("outcome").lower().split()) or EXACT
        word = _OTHER_WORDS.get(word, word)
        if word not in OUTCOMES:
            raise self.trouble(
                "outcome",
                "not an outcome",
                expected="one of " + ", ".join(f'"{name}"' for name in OUTCOMES),
                hint="write the torque itself under torque",
            )
        return word

    def limits(self, outcome: str) -> tuple[float, float, bool]:
        """Return the limits of the torque [N*m], and whether they come from the current."""
        ways = [way for way in ("torque", "force", "current") if way in self.cells]
        if not ways and outcome == NOT_MOVED and "voltage" in self.cells:
            ways = ["current"]
        if len(ways) != 1:
            found = " and ".join(ways) if ways else "none of them"
            raise self.trouble(
                "torque",
                "a reading needs one measured value",
                found=found,
                expected="either a torque, or a force with its lever, or a current",
            )
        way = ways[0]
        first = self.current(outcome) if way == "current" else self.turning(way)
        if (f"{way} to" in self.cells) != (outcome == BETWEEN):
            raise self.trouble(
                f"{way} to",
                "an upper limit and the outcome do not go together",
                expected=f'a value under "{way} to" exactly where the outcome is "{BETWEEN}"',
            )
        gauge = way == "current"
        if outcome == NOT_MOVED:
            return first, math.inf, gauge
        if outcome == BELOW:
            return 0.0, first, gauge
        if outcome == EXACT:
            return first, first, gauge
        second = self.current(EXACT, "current to") if gauge else self.turning(way, f"{way} to")
        if not first < second:
            raise self.trouble(f"{way} to", "the upper limit is not above the lower one")
        return first, second, gauge

    def turning(self, way: str, role: str | None = None) -> float:
        role = role or way
        value = self.number(role)
        assert value is not None
        if value <= 0.0:
            raise self.trouble(role, "this must be above zero", expected=f"a {way} above zero")
        if way == "torque":
            return value
        lever = self.number("lever")
        if lever is None or lever <= 0.0:
            raise self.trouble(
                "lever",
                "a force needs the length of its lever",
                found=f'"{self.text("lever")}"',
                expected="a length above zero, from the stem to where the scale pulls",
            )
        return value * lever

    def current(self, outcome: str, role: str = "current") -> float:
        sheet = self.sheet
        if sheet is None:
            raise self.trouble(
                role,
                "a current tells a torque only with the actuator's data sheet",
                expected="a scenario and a design whose actuator was the gauge",
                hint="name both (--scenario, --design), or write torques",
            )
        voltage = self.number("voltage")
        if voltage is not None and voltage <= 0.0:
            raise self.trouble("voltage", "this must be above zero")
        value = self.number(role)
        most = math.inf if voltage is None else sheet.standstill(voltage)
        if value is None:
            value = most  # it stood still: the voltage gives the current
        volts = "" if voltage is None else f" at {units.format(voltage, 'voltage')}"
        if value > _BEYOND * most:
            raise self.trouble(
                role,
                "more than the motor can draw",
                expected=f"at most {units.format(most, 'current')}{volts}, by its data sheet",
                hint="check the unit, the voltage at the motor and the actuator's class",
            )
        if outcome == EXACT and value > _STALLED * most:
            raise self.trouble(
                role,
                "at this current the motor stands still, so the valve cannot have moved",
                expected=f"less than {units.format(most, 'current')}{volts}",
                hint=f'write "{NOT_MOVED}" under outcome, or check the voltage at the motor',
            )
        if value <= sheet.no_load_current:
            raise self.trouble(
                role,
                "no more than the motor draws when it turns freely",
                expected=f"above {units.format(sheet.no_load_current, 'current')}",
                hint="the actuator's data sheet in the scenario may be of another unit",
            )
        return sheet.torque(value)


def read_rows(records: Records, data_sheet: DataSheet | None) -> list[Reading]:
    """Read every row.

    Parameters
    ----------
    records : Records
    data_sheet : DataSheet or None
        Of the actuator that was the gauge.

    Raises
    ------
    RecordError
        With all that is wrong, each with line and column.
    """
    readings, problems = [], []
    for row in records.rows():
        try:
            if row.trouble is not None:
                raise RecordError([row.trouble])
            readings.append(_Row(records.header, row, data_sheet).read())
        except RecordError as error:
            problems.append(replace(error.problems[0], where=records.where, line=row.line))
    complain(problems)
    return readings
