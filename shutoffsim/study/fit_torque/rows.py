"""From rows of texts to readings in SI: what was measured, when, and how the valve had rested."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from datetime import date

from shutoffsim import units
from shutoffsim.errors import RecordError, complain, printable
from shutoffsim.records import Cells, Records

DAY = 86400.0
ONE_VALVE = "the valve"
EXACT, NOT_MOVED, BELOW, BETWEEN = "moved", "did not move", "moved below", "moved between"
#: What may stand under ``outcome``, and what it says of the torque.
OUTCOMES = {
    EXACT: "it began to move at this torque",
    NOT_MOVED: "it did not move at this torque, and more was not tried",
    BELOW: "it moved at some torque below this one",
    BETWEEN: "it did not move at this torque, but did at the one under “torque to”",
}
_OUTCOME_WORDS = {outcome: outcome for outcome in OUTCOMES} | {
    "exact": EXACT,
    "moved at some torque below": BELOW,
    "interval": BETWEEN,
    "between": BETWEEN,
}
_DIRECTIONS = {"closing": "closing", "opening": "opening", "close": "closing", "open": "opening"}
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


class _Reader:
    """Reads one row; the actuator's data sheet says what a current means."""

    def __init__(self, cells: Cells, sheet: DataSheet | None) -> None:
        self.cells, self.sheet = cells, sheet

    def read(self) -> Reading:
        cells = self.cells
        outcome = cells.word("outcome", _OUTCOME_WORDS, EXACT)
        low, high, gauge = self.limits(outcome)
        for limit in (low, high):
            if 0.0 < limit < math.inf and not _LEAST <= limit <= _MOST:
                least, most = (units.format(value, "torque") for value in (_LEAST, _MOST))
                raise cells.trouble(
                    "torque",
                    "this is not the torque of a stop valve",
                    found=units.format(limit, "torque"),
                    expected=f"between {least} and {most}",
                    hint="check the units, and those of the lever",
                )
        age, idle = cells.number("age"), cells.number("idle")
        if age is not None and idle is not None and idle > age + DAY:
            raise cells.trouble("idle", "the valve rested for longer than its age")
        closing = cells.word("direction", _DIRECTIONS) == "closing"
        valve = printable(cells.text("valve")) or ONE_VALVE
        day = cells.day("date")
        return Reading(cells.line, day, valve, closing, outcome, low, high, gauge, idle, age)

    def limits(self, outcome: str) -> tuple[float, float, bool]:
        """Return the limits of the torque [N*m], and whether they come from the current."""
        ways = [way for way in ("torque", "force", "current") if way in self.cells.texts]
        if not ways and outcome == NOT_MOVED and "voltage" in self.cells.texts:
            ways = ["current"]
        if len(ways) != 1:
            found = " and ".join(ways) if ways else "none of them"
            raise self.cells.trouble(
                "torque",
                "a reading needs one measured value",
                found=found,
                expected="either a torque, or a force with its lever, or a current",
            )
        way = ways[0]
        first = self.current(outcome) if way == "current" else self.turning(way)
        if (f"{way} to" in self.cells.texts) != (outcome == BETWEEN):
            raise self.cells.trouble(
                f"{way} to",
                "an upper limit and the outcome do not go together",
                expected=f'a value under "{way} to" exactly where the outcome is "{BETWEEN}"',
            )
        gauge = way == "current"
        known = {NOT_MOVED: (first, math.inf), BELOW: (0.0, first), EXACT: (first, first)}
        if outcome in known:
            return *known[outcome], gauge
        second = self.current(EXACT, "current to") if gauge else self.turning(way, f"{way} to")
        if not first < second:
            raise self.cells.trouble(f"{way} to", "the upper limit is not above the lower one")
        return first, second, gauge

    def turning(self, way: str, role: str | None = None) -> float:
        role = role or way
        value = self.cells.number(role, positive=True)
        assert value is not None
        if way == "torque":
            return value
        lever = self.cells.number("lever")
        if lever is None or lever <= 0.0:
            raise self.cells.trouble(
                "lever",
                "a force needs the length of its lever",
                found=f'"{self.cells.text("lever")}"',
                expected="a length above zero, from the stem to where the scale pulls",
            )
        return value * lever

    def current(self, outcome: str, role: str = "current") -> float:
        sheet = self.sheet
        if sheet is None:
            raise self.cells.trouble(
                role,
                "a current gives a torque only with the actuator's data sheet",
                expected="a scenario and a design whose actuator served as the gauge",
                hint="name both (--scenario, --design), or write torques",
            )
        voltage = self.cells.number("voltage", positive=True)
        value = self.cells.number(role)
        most = math.inf if voltage is None else sheet.standstill(voltage)
        if value is None:
            value = most  # it stood still: the voltage gives the current
        volts = "" if voltage is None else f" at {units.format(voltage, 'voltage')}"
        if value > _BEYOND * most:
            raise self.cells.trouble(
                role,
                "more than the motor can draw",
                expected=f"at most {units.format(most, 'current')}{volts}, by its data sheet",
                hint="check the unit, the voltage at the motor and the actuator's class",
            )
        if outcome == EXACT and value > _STALLED * most:
            raise self.cells.trouble(
                role,
                "at this current the motor is stalled, so the valve cannot have moved",
                expected=f"less than {units.format(most, 'current')}{volts}",
                hint=f'write "{NOT_MOVED}" under outcome, or check the voltage at the motor',
            )
        if value <= sheet.no_load_current:
            raise self.cells.trouble(
                role,
                "no more than the motor draws when it turns freely",
                expected=f"above {units.format(sheet.no_load_current, 'current')}",
                hint="the data sheet in the scenario may belong to another actuator",
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
            readings.append(_Reader(Cells(row, records.header), data_sheet).read())
        except RecordError as error:
            problems.append(replace(error.problems[0], where=records.where, line=row.line))
    complain(problems)
    return readings
