"""From the names in a header to what the columns of a file of readings hold."""

from __future__ import annotations

import difflib
import re
from collections.abc import Sequence
from dataclasses import dataclass

from shutoffsim import units
from shutoffsim.errors import Problem, UnitError
from shutoffsim.study.meter.columns import printable
from shutoffsim.study.readings.errors import ReadingsError

#: Columns, and the kind of quantity that their cells hold (None: words).
ROLES: dict[str, str | None] = {
    "date": None,
    "valve": None,
    "direction": None,
    "outcome": None,
    "torque": "torque",
    "torque to": "torque",
    "force": "force",
    "force to": "force",
    "lever": "length",
    "current": "current",
    "current to": "current",
    "voltage": "voltage",
    "idle": "time",
    "age": "time",
}
_OTHER_NAMES = {
    "lever arm": "lever",
    "since last moved": "idle",
    "time since last moved": "idle",
    "valve age": "age",
    "supply voltage": "voltage",
    "supply current": "current",
}
_DAYS_NAMES = ("days since last moved", "idle days", "days idle")
#: A force is read as the torque that it makes on an arm of so many metres.
_FORCES = {
    "N": ("N*m", 1.0),
    "kgf": ("kgf*m", 1.0),
    "gf": ("gf*cm", 0.01),
    "lbf": ("ft*lbf", 0.3048),
    "ozf": ("ozf*in", 0.0254),
}
_MASSES = {"kg": "kgf", "g": "gf", "lb": "lbf", "lbs": "lbf", "oz": "ozf"}
_DECLARED = re.compile(r"^(?P<name>[^(\[]*?)\s*[(\[](?P<unit>[^)\]]*)[)\]]$")
_FORCE = re.compile(r"^\s*(?P<number>\S*?)\s*(?P<unit>[A-Za-z]+)\s*$")
EXPECTED = (
    "a header such as: date, valve, direction, torque, idle, age, outcome (or force and lever, or "
    "current and voltage, in the place of torque)"
)


@dataclass(frozen=True)
class Column:
    """One column in use.

    Attributes
    ----------
    role : str
        One of :data:`ROLES`.
    name : str
        As in the header.
    index : int
        Position, from 0.
    unit : str or None
        Stated in the header.
    """

    role: str
    name: str
    index: int
    unit: str | None = None


def read_header(names: Sequence[str], where: str, line: int | None) -> tuple[Column, ...]:
    """Tell the columns from their names.

    Raises
    ------
    ReadingsError
        When one is there twice, is misspelt, or what every reading needs is missing.
    """
    found: dict[str, Column] = {}
    problems = []
    for index, raw in enumerate(names):
        column = _read_name(raw, index)
        if column is None:
            close = difflib.get_close_matches(_tidy(raw), [*ROLES, *_OTHER_NAMES], 1, 0.8)
            if close:
                problems.append(
                    Problem(
                        "a column that is not known, but nearly",
                        where,
                        line=line,
                        found=f'"{printable(raw)}"',
                        expected=f'"{close[0]}"',
                        hint="correct the name, or choose one that is less alike",
                    )
                )
            continue
        if column.role in found:
            problems.append(
                Problem(
                    "two columns say the same thing",
                    where,
                    line=line,
                    found=f'"{found[column.role].name}" and "{column.name}"',
                    expected=f"one column for {column.role}",
                    hint="rename or remove one",
                )
            )
        found[column.role] = column
        problems += _unit_problems(column, where, line)
    if not problems:
        problems = _lacking(found, names, where, line)
    if problems:
        raise ReadingsError(problems)
    return tuple(found.values())


def _tidy(name: str) -> str:
    return " ".join(re.sub(r"[\s_-]+", " ", name.lower()).split())


def _read_name(raw: str, index: int) -> Column | None:
    match = _DECLARED.match(raw.strip())
    name = _tidy(match["name"] if match else raw)
    unit = match["unit"].strip() if match else None
    if name in _DAYS_NAMES:
        return Column("idle", printable(raw), index, unit or "days")
    role = _OTHER_NAMES.get(name, name)
    return Column(role, printable(raw), index, unit) if role in ROLES else None


def _unit_problems(column: Column, where: str, line: int | None) -> list[Problem]:
    dimension = ROLES[column.role]
    if column.unit is None:
        return []
    if dimension is None:
        return [
            Problem(
                "this column has no unit",
                where,
                line=line,
                found=f'"{column.name}"',
                expected=f'"{column.role}"',
            )
        ]
    try:
        read_quantity(f"1 {column.unit}", dimension)
    except UnitError as error:
        return [
            Problem(
                "the unit in the header is not known",
                where,
                key=f'column "{column.name}"',
                line=line,
                found=f'"{column.unit}"',
                expected=error.expected,
                hint=error.hint,
            )
        ]
    return []


def _lacking(
    found: dict[str, Column], names: Sequence[str], where: str, line: int | None
) -> list[Problem]:
    lacking = [f'"{role}"' for role in ("date", "direction") if role not in found]
    if not {"torque", "force", "current", "voltage"} & set(found):
        lacking.append('"torque" (or "force" and "lever", or "current")')
    if "force" in found and "lever" not in found:
        lacking.append('"lever": the length of the arm on which the force acts')
    if not lacking:
        return []
    shown = ", ".join(printable(name) for name in names)[:200]
    return [
        Problem(
            f"a column is missing: {' and '.join(lacking)}",
            where,
            line=line,
            found=f"columns {shown}",
            expected=EXPECTED,
        )
    ]


def read_quantity(text: str, dimension: str) -> float:
    """Return a text with a unit as an SI number; forces besides what scenarios know.

    Raises
    ------
    UnitError
        When it is not readable.

    Examples
    --------
    >>> round(read_quantity("1 kgf", "force"), 5)
    9.80665
    """
    if dimension != "force":
        return units.parse(text, dimension)
    match = _FORCE.match(text)
    unit = match["unit"] if match else ""
    if match is None or unit not in _FORCES:
        hint = "units here: " + ", ".join(_FORCES)
        if unit.lower() in _MASSES:
            hint = f'{unit} is a mass; a hanging scale shows a force: "{_MASSES[unit.lower()]}"'
        raise UnitError(
            "this is not readable", found=f'"{text}"', expected='a force such as "25 N"', hint=hint
        )
    torque, arm = _FORCES[unit]
    return units.parse(f"{match['number']} {torque}", "torque") / arm
