"""Order, rest and age of readings: what a file says of them must fit together."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

from shutoffsim.errors import Problem, complain
from shutoffsim.study.fit_torque.rows import DAY, NOT_MOVED, Reading
from shutoffsim.study.words import duration

_SLACK_DAYS = 1.5  # dates are whole days
_SLACK_SHARE = 0.05  # "a month" is 28 to 31 days


@dataclass(frozen=True)
class Complete:
    """A reading whose rest and age are known.

    Attributes
    ----------
    reading : Reading
    idle, age : float
        s.
    idle_stated, age_stated : bool
        False where it follows from another reading, or from the scenario.
    """

    reading: Reading
    idle: float
    age: float
    idle_stated: bool
    age_stated: bool


def complete(readings: list[Reading], where: str, scenario_age: float) -> list[Complete]:
    """Fill in rest and age, and check that they fit the dates.

    The rest is the time since the reading before it, and its rest too when that one did not move
    the valve. The age
    follows from another reading of the valve, or else is the scenario's at the last reading.

    Parameters
    ----------
    readings : list of Reading
        In the order of the file.
    where : str
        The file, for messages.
    scenario_age : float
        Age [s] that the scenario gives to the valve.

    Raises
    ------
    RecordError
        When dates go backwards, rest or age contradict them, or the rest cannot be known.
    """
    problems: list[Problem] = []
    by_valve: dict[str, list[Reading]] = {}
    for reading in readings:
        by_valve.setdefault(reading.valve, []).append(reading)
    done: dict[int, Complete] = {}
    for rows in by_valve.values():
        found = list(_order_problems(rows, where))
        problems += found
        if found:
            continue
        rested = _rest(rows, where, problems)
        aged = _age(rows, where, scenario_age, problems)
        for row, idle, age in zip(rows, rested, aged, strict=True):
            done[id(row)] = Complete(row, idle, age, row.idle is not None, row.age is not None)
    complain(sorted(problems, key=lambda problem: problem.line or 0))
    return [done[id(reading)] for reading in readings]


def _order_problems(rows: list[Reading], where: str) -> Iterator[Problem]:
    for before, row in pairwise(rows):
        if row.day < before.day:
            yield Problem(
                "the dates of a valve go backwards",
                where,
                'column "date"',
                row.line,
                found=f"{row.day} after {before.day} (line {before.line}), {row.valve}",
                expected="the readings of each valve in the order in which they were taken",
            )


def _rest(rows: list[Reading], where: str, problems: list[Problem]) -> list[float]:
    """Return the rest [s] before each reading: what is stated, else what the one before left."""
    rests: list[float] = []
    for number, row in enumerate(rows):
        most = None
        if number:
            before = rows[number - 1]
            kept = rests[-1] if before.outcome == NOT_MOVED else 0.0
            most = kept + (row.day - before.day).days * DAY
        if row.idle is None and most is None:
            problems.append(
                Problem(
                    "the rest of the valve before this reading is not known",
                    where,
                    'column "idle"',
                    row.line,
                    found="nothing",
                    expected="the time since it was last moved, such as 2 years",
                    hint="an estimate will do; the torque grows with its logarithm",
                )
            )
        if row.idle is not None and most is not None:
            slack = max(_SLACK_DAYS * DAY, _SLACK_SHARE * most)
            if row.idle > most + slack:
                problems.append(
                    Problem(
                        "the rest contradicts the dates",
                        where,
                        'column "idle"',
                        row.line,
                        found=f"{duration(row.idle)}, but by line {before.line} of {before.day} it "
                        f"is at most {most / DAY:.0f} days",
                        expected=f"at most {most / DAY:.0f} days",
                        hint="leave the cell empty to take the time since the last reading",
                    )
                )
        stated = row.idle if row.idle is not None else most
        rests.append(stated if stated is not None else 0.0)
    return rests


def _age(
    rows: list[Reading], where: str, scenario_age: float, problems: list[Problem]
) -> list[float]:
    known = [row for row in rows if row.age is not None]
    for before, row in pairwise(known):
        assert before.age is not None
        assert row.age is not None
        grown = row.age - before.age
        if grown < 0.0:
            problems.append(
                Problem(
                    "the age of the valve goes down",
                    where,
                    'column "age"',
                    row.line,
                    found=f"{duration(row.age)} on {row.day}, {duration(before.age)} on "
                    f"{before.day} (line {before.line})",
                    expected="an age that grows with the dates",
                    hint="a renewed valve counts as another valve: give it another name",
                )
            )
    if known:
        base_day, base_age = known[0].day, known[0].age
    else:
        base_day, base_age = rows[-1].day, scenario_age
    assert base_age is not None
    filled = [
        row.age if row.age is not None else max(base_age + (row.day - base_day).days * DAY, 0.0)
        for row in rows
    ]
    return filled
