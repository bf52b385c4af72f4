"""The table of dwellings, read row by row in constant memory."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

from shutoffsim.errors import LISTED_PROBLEMS, Problem, UnitError, complain
from shutoffsim.records import Records, open_records
from shutoffsim.records import Row as Record
from shutoffsim.study.portfolio.columns import (
    DESIGN,
    IDENTIFIER,
    REGION,
    Key,
    dwellings_kind,
    find_keys,
    keys_of,
    read_cell,
)

if TYPE_CHECKING:
    from shutoffsim.scenario import Scenario

_LONGEST_NAME = 200


class Row(NamedTuple):
    """One dwelling as it stands in the file.

    Attributes
    ----------
    number : int
        From 1.
    identifier, design : str
        ``design`` is empty where the file leaves it open.
    region : int
        Number of its region, from 0.
    cells : tuple
        One cell for each column that sets a key, as read by :func:`read_cell`.
    trouble : Problem or None
        Why the row cannot be read, if so.
    """

    number: int
    identifier: str
    design: str
    region: int
    cells: tuple[Any, ...]
    trouble: Problem | None = None


@dataclass(frozen=True)
class Dwellings:
    """A file of dwellings that has been looked through once.

    Attributes
    ----------
    records : Records
    keys : tuple of Key
        What its columns set.
    count : int
        Rows.
    regions : dict of str to int
        Names of regions and their numbers, in the order of the file.
    """

    records: Records
    keys: tuple[Key, ...]
    count: int
    regions: dict[str, int]

    @property
    def with_region(self) -> bool:
        """Whether there is a column ``region``."""
        return REGION in self.records.header.columns

    def rows(self) -> Iterator[Row]:
        """Yield the dwellings in order."""
        for number, record in enumerate(self.records.rows(), start=1):
            yield self._row(number, record)

    def _row(self, number: int, record: Record) -> Row:
        identifier = _text(record, IDENTIFIER) or str(number)
        if record.trouble is not None:
            return Row(number, identifier, "", 0, (), record.trouble)
        values: list[Any] = []
        problem = None
        for key in self.keys:
            try:
                comma = self.records.header.comma
                values.append(read_cell(key, record.cells[key.name], comma=comma))
            except UnitError as error:
                problem = replace(error.as_problem, key=key.name)
                break
        region = self.regions.get(_text(record, REGION), 0)
        return Row(number, identifier, _text(record, DESIGN), region, tuple(values), problem)


def open_dwellings(path: str | Path, scenario: Scenario) -> Dwellings:
    """Check a file of dwellings: its columns, identifiers and regions.

    Parameters
    ----------
    path : str or pathlib.Path
        ``.csv`` (UTF-8, separated by commas, semicolons or tabs) or ``.parquet``.
    scenario : Scenario

    Raises
    ------
    RecordError
        When the file cannot be read or holds no dwelling, a column names no key, or dwellings
        share an identifier.
    """
    known = find_keys(scenario)
    records = open_records(Path(path), dwellings_kind(known))
    columns = records.header.columns
    seen: dict[str, int] = {}
    regions: dict[str, int] = {}
    problems: list[Problem] = []
    count = unlisted = 0
    for count, record in enumerate(records.rows(), start=1):
        if record.trouble is not None:
            continue  # a trouble of this row alone
        if REGION in columns:
            regions.setdefault(_text(record, REGION), len(regions))
        if IDENTIFIER not in columns:
            continue
        name = _text(record, IDENTIFIER)
        first = seen.setdefault(name, count)
        if not name or len(name) > _LONGEST_NAME or first != count:
            unlisted += len(problems) == LISTED_PROBLEMS
            problem = replace(_wrong_name(name, first, count), where=records.where)
            problems = [*problems, problem][:LISTED_PROBLEMS]
    complain(problems, unlisted)
    return Dwellings(records, keys_of(records.header, known, scenario), count, regions or {"": 0})


def _wrong_name(name: str, first: int, number: int) -> Problem:
    key = f"row {number}"
    if not name:
        return Problem(
            "a dwelling without a name",
            key=key,
            expected="a name in column “dwelling”",
            hint="give it one, or remove the column: then rows are numbered",
        )
    if first == number:
        expected = f"at most {_LONGEST_NAME} letters"
        return Problem("the name of a dwelling is too long", key=key, expected=expected)
    return Problem(
        "two dwellings have the same name",
        key=key,
        found=f"“{name[:80]}”, which is also in row {first}",
        expected="each name once",
        hint="remove one of the rows, or give it another name",
    )


def _text(record: Record, role: str) -> str:
    """Return a name; what is no value is an empty one."""
    cell = record.cells.get(role)
    if isinstance(cell, float) and cell.is_integer():
        cell = int(cell)
    return "" if cell is None or cell != cell else str(cell).strip()
