"""From the names in a header to what the columns hold.

A name is a word, a unit, or both: ``flow_l_per_min``, ``Flow (L/min)`` and ``lpm`` are the same.
Case, blanks and brackets do not matter.
"""

from __future__ import annotations

import csv
import difflib
import re
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import islice

from shutoffsim import units
from shutoffsim.errors import LISTED_PROBLEMS, Problem, UnitError, complain, printable
from shutoffsim.records.words import find_unit, size, tidy

_DELIMITERS = (",", ";", "\t")
_BRACKETS = re.compile(r"^(?P<word>.*?)\s*[(\[](?P<unit>[^()\[\]]*)[)\]]$")


@dataclass(frozen=True)
class Role:
    """What a column may hold.

    Parameters
    ----------
    name : str
    words : mapping of str to str or None
        Names of such columns, tidy, and the unit that a name implies.
    dimension : str or None
        One of :func:`shutoffsim.units.dimensions`; None for words, dates and counts.
    alone : bool
        Whether a unit by itself is a name too, as in ``litres``.
    suffix : str
        What must stand behind the unit.
    """

    name: str
    words: Mapping[str, str | None]
    dimension: str | None = None
    alone: bool = False
    suffix: str = ""


@dataclass(frozen=True)
class Column:
    """One column: its role, the unit that the header states, its name as written, its place."""

    role: str
    unit: str | None = None
    dimension: str | None = None
    name: str = ""
    index: int = 0

    @property
    def factor(self) -> float:
        """What turns its numbers into litres, litres per minute or seconds; else into SI."""
        if self.unit is None or self.dimension is None:
            return 1.0
        if self.dimension != "flow":
            return size(self.unit, self.dimension)
        water, _, time = self.unit.partition("/")
        return size(water, "volume") * 60.0 / size(time, "time")


@dataclass(frozen=True)
class Header:
    """What a header says about a file.

    Parameters
    ----------
    form : str
        Which of the forms of its kind the file has.
    columns : dict of str to Column
        The columns in use by role.
    unused : tuple of str
        Names of the others.
    width : int
        Number of all columns.
    delimiter : str
        Empty where cells are not separated by a sign.
    comments : bool
        Whether lines that begin with ``#`` are comments below it too.
    """

    form: str
    columns: dict[str, Column]
    unused: tuple[str, ...]
    width: int
    delimiter: str
    comments: bool

    @property
    def comma(self) -> bool:
        """Whether a comma in a number may be a decimal mark, as it does not separate cells."""
        return self.delimiter != ","


#: Form of the file, roles that it uses, and what is wrong where some are lacking.
Choice = tuple[str, Collection[str], Problem | None]


@dataclass(frozen=True)
class Kind:
    """A kind of table.

    Parameters
    ----------
    described : str
        What such a file is, for messages.
    row : str
        What a row is, such as ``reading``.
    expected : str
        A right header, for messages.
    match : callable
        From a name to its column, without name and place, or to None.
    choose : callable
        From the roles found and all names to a choice.
    unknown : callable
        From a name that matches nothing to a problem, or None where such columns are just unused.
    units : bool
        Whether quantities must have their unit in the header.
    by_hand : bool
        Made by a person: what is no UTF-8 is refused.
    comments : bool
        Whether lines that begin with ``#`` are comments below the header too.
    joined : bool
        Whether a cell in quotation marks may go over several lines.
    suffixes : tuple of str
        Endings of names of files; empty for any.
    most_bytes, most_rows : int or None
    """

    described: str
    row: str
    expected: str
    match: Callable[[str], Column | None]
    choose: Callable[[set[str], Sequence[str]], Choice]
    unknown: Callable[[str], Problem | None] = lambda _: None
    units: bool = False
    by_hand: bool = True
    comments: bool = False
    joined: bool = False
    suffixes: tuple[str, ...] = ()
    most_bytes: int | None = None
    most_rows: int | None = None


def split_header(line: str, kind: Kind) -> tuple[list[str], str]:
    """Split a header at the delimiter that gives most known names.

    Raises
    ------
    csv.Error
    """
    tries = [(next(csv.reader([line], delimiter=mark)), mark) for mark in _DELIMITERS]
    return max(tries, key=lambda one: (sum(kind.match(n) is not None for n in one[0]), len(one[0])))


def read_header(
    names: Sequence[str], kind: Kind, where: str, line: int | None = None, delimiter: str = ""
) -> Header:
    """Identify the columns by their names.

    Parameters
    ----------
    names : sequence of str
    kind : Kind
    where, line
        File and line of the header, for messages.
    delimiter : str

    Raises
    ------
    RecordError
        When columns that are needed are missing, one is there twice, has no unit where it needs
        one, or names nothing where every column must.
    """

    def refuse(problems: Iterable[Problem | None], unlisted: int = 0) -> None:
        told = [replace(one, where=where, line=line) for one in problems if one is not None]
        complain(told, unlisted)

    matched = [kind.match(name) for name in names]
    unknown = [name for name, column in zip(names, matched, strict=True) if column is None]
    # No more than are reported, as the search for names that are alike takes time.
    wrong = list(islice(filter(None, map(kind.unknown, unknown)), LISTED_PROBLEMS))
    refuse(wrong, len(unknown) - len(wrong) if len(wrong) == LISTED_PROBLEMS else 0)
    found = [
        replace(column, name=printable(names[index].strip()), index=index)
        for index, column in enumerate(matched)
        if column is not None
    ]
    form, wanted, lacking = kind.choose({column.role for column in found}, names)
    refuse([lacking])
    columns: dict[str, Column] = {}
    problems: list[Problem | None] = []
    for column in found:
        if column.role in wanted:
            problems += [_twice(columns.setdefault(column.role, column), column)]
            problems += [_unit_problem(column, kind)]
    refuse(problems)
    used = {column.index for column in columns.values()}
    unused = tuple(printable(n.strip()) for index, n in enumerate(names) if index not in used)
    return Header(form, columns, unused, len(names), delimiter, kind.comments)


def _twice(first: Column, second: Column) -> Problem | None:
    if first is second:
        return None
    hint = "; a date and a time of day belong in one column" if first.role == "time" else ""
    return Problem(
        f"two columns say the same thing ({first.role})",
        found=f'"{first.name}" and "{second.name}"',
        expected="one of them",
        hint=f"rename or remove one{hint}",
    )


def _unit_problem(column: Column, kind: Kind) -> Problem | None:
    if column.unit is None:
        if not kind.units or column.dimension is None:
            return None
        return Problem(
            f'the column "{column.name}" has no unit',
            expected="the unit in the header: litres, volume_m3, flow_l_per_min, duration_s",
            hint="write the unit behind the name",
        )
    if column.dimension is None:
        found, expected = f'"{column.name}"', f'"{column.role}"'
        return Problem("this column has no unit", found=found, expected=expected)
    try:
        if not kind.units:  # else it was found among the known ones
            units.parse(f"1 {column.unit}", column.dimension)
    except UnitError as error:
        return replace(
            error.as_problem,
            message="the unit in the header is not known",
            key=f'column "{column.name}"',
            found=f'"{column.unit}"',
        )
    return None


def match_roles(roles: Sequence[Role], raw: str, *, strict: bool) -> Column | None:
    """Return the column that a name stands for; None when it is not known.

    Parameters
    ----------
    roles : sequence of Role
        The first one that fits counts.
    raw : str
    strict : bool
        Whether a known word with a unit that is not known is that column all the same, which
        :func:`read_header` will then complain about.
    """
    name = tidy(raw)
    for role in roles:
        if not name.endswith(role.suffix):
            continue
        if name in role.words:
            return Column(role.name, role.words[name], role.dimension)
        rest = name.removesuffix(role.suffix)
        for start in [f"{word}_" for word in role.words] + ([""] if role.alone else []):
            if role.dimension is None or not rest.startswith(start):
                continue
            unit = find_unit(rest.removeprefix(start), role.dimension, running=role.alone)
            if unit is not None:
                return Column(role.name, unit, role.dimension)
    word, stated = split_unit(raw)
    known = [role for role in roles if strict and stated and tidy(word) in role.words]
    return Column(known[0].name, stated, known[0].dimension) if known else None


def split_unit(name: str) -> tuple[str, str]:
    """Return what stands before brackets at the end of a name, and what stands in them."""
    match = _BRACKETS.match(name.strip())
    return (match["word"], match["unit"].strip()) if match else (name, "")


def nearly_known(roles: Sequence[Role], raw: str) -> Problem | None:
    """Return a problem when a name looks like a slip of the pen for a known one."""
    words = [word.replace("_", " ") for role in roles for word in role.words]
    close = difflib.get_close_matches(tidy(raw).replace("_", " "), words, 1, 0.8)
    if not close:
        return None
    return Problem(
        "an unknown column, close to a known one",
        found=f'"{printable(raw)}"',
        expected=f'"{close[0]}"',
        hint="correct the name, or choose one that is less similar",
    )


def shown(names: Sequence[str]) -> str:
    """Names of columns, for messages."""
    text = ", ".join(printable(name.strip()) for name in names)
    return f"columns {text}" if len(text) <= 200 else f"columns {text[:200]}..."
