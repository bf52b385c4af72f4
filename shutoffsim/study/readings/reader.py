"""A file or a table of readings to rows of texts, each with its place."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, NamedTuple

import pandas as pd

from shutoffsim.errors import Problem
from shutoffsim.study.readings.columns import EXPECTED, Column, read_header
from shutoffsim.study.readings.errors import ReadingsError

MOST_BYTES = 1_000_000
MOST_ROWS = 1000
_DELIMITERS = (",", ";", "\t")
_MANY = 10  # problems told one by one


class Cell(NamedTuple):
    """One cell: its text, and the unit that the header states."""

    text: str
    column: Column


@dataclass(frozen=True)
class Row:
    """One row of a file: its line, and its cells that are not empty, by what they hold."""

    line: int
    cells: Mapping[str, Cell]


@dataclass(frozen=True)
class Sheet:
    """Rows of one file.

    Attributes
    ----------
    where : str
        The file, for messages.
    columns : tuple of Column
    rows : tuple of Row
    unused : tuple of str
        Names of columns that are not used.
    """

    where: str
    columns: tuple[Column, ...]
    rows: tuple[Row, ...]
    unused: tuple[str, ...]


def read_sheet(source: str | Path | pd.DataFrame) -> Sheet:
    """Read the rows of a file, or of a table with the same columns.

    Raises
    ------
    ReadingsError
        When there is no such file, it is no text, is empty, or its columns are not known.
    """
    if isinstance(source, pd.DataFrame):
        return _read_table(source)
    path = Path(source)
    where = str(path)
    lines = [
        (number, line)
        for number, line in enumerate(_read_text(path, where).splitlines(), start=1)
        if line.strip() and not line.lstrip().startswith("#")
    ]
    if not lines:
        raise ReadingsError(
            [Problem("the file is empty", where, found="no header and no rows", expected=EXPECTED)]
        )
    head_line, head = lines[0]
    delimiter = max(_DELIMITERS, key=head.count)
    try:
        names = [name.strip() for name in _split(head, delimiter)]
    except csv.Error as error:
        problem = Problem("the header cannot be read", where, line=head_line, found=str(error)[:80])
        raise ReadingsError([problem]) from None
    columns = read_header(names, where, head_line)
    rows, problems = [], []
    for number, line in lines[1:]:
        try:
            texts = _split(line, delimiter)
        except csv.Error as error:
            problems.append(
                Problem("this row cannot be read", where, line=number, found=str(error)[:80])
            )
            continue
        if len(texts) != len(names):
            problems.append(
                Problem(
                    "this row has another number of cells than the header",
                    where,
                    line=number,
                    found=str(len(texts)),
                    expected=str(len(names)),
                    hint='put a cell that holds the separator in quotes: "stiff, then free"',
                )
            )
            continue
        rows.append(_row(number, texts, columns))
    complain(problems)
    return _sheet(where, columns, rows, names)


def complain(problems: Iterable[Problem]) -> None:
    """Raise all problems as one error, if there are any."""
    told = list(problems)
    if len(told) > _MANY:
        where = told[0].where
        rest = Problem(f"and {len(told) - _MANY} more problems like these", where)
        told = [*told[:_MANY], rest]
    if told:
        raise ReadingsError(told)


def _split(line: str, delimiter: str) -> list[str]:
    return next(csv.reader(io.StringIO(line), delimiter=delimiter))


def _row(line: int, texts: Iterable[str], columns: tuple[Column, ...]) -> Row:
    cells = [text.strip() for text in texts]
    return Row(line, {c.role: Cell(cells[c.index], c) for c in columns if cells[c.index]})


def _sheet(where: str, columns: tuple[Column, ...], rows: list[Row], names: list[str]) -> Sheet:
    if not rows:
        raise ReadingsError(
            [
                Problem(
                    "there is a header but no reading",
                    where,
                    expected="one line for each reading",
                    hint="without readings, use the scenario as it is",
                )
            ]
        )
    if len(rows) > MOST_ROWS:
        raise ReadingsError(
            [
                Problem(
                    "too many readings",
                    where,
                    found=f"{len(rows):,} rows",
                    expected=f"at most {MOST_ROWS:,}",
                    hint="take the ones of the valves in question",
                )
            ]
        )
    used = {column.index for column in columns}
    return Sheet(
        where,
        columns,
        tuple(rows),
        tuple(name for index, name in enumerate(names) if index not in used),
    )


def _read_text(path: Path, where: str) -> str:
    try:
        if path.is_dir():
            raise ReadingsError([Problem("this is a folder", where, expected="a file (CSV)")])
        with path.open("rb") as file:
            data = file.read(MOST_BYTES + 1)
    except FileNotFoundError:
        problem = Problem(
            "there is no such file",
            where,
            expected="readings of a valve's torque (CSV)",
            hint="check the spelling and the folder",
        )
        raise ReadingsError([problem]) from None
    except (OSError, ValueError) as error:
        raise ReadingsError([Problem("the file cannot be read", where, found=str(error))]) from None
    if len(data) > MOST_BYTES:
        raise ReadingsError(
            [
                Problem(
                    "the file is too large for readings of a valve",
                    where,
                    expected=f"at most {MOST_BYTES:,} bytes",
                )
            ]
        )
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        text = "\0"
    if "\0" in text:
        raise ReadingsError(
            [
                Problem(
                    "this is not a text in UTF-8",
                    where,
                    expected="a text file with a header and a line for each reading",
                    hint="export the table as CSV (UTF-8)",
                )
            ]
        )
    return text


def _read_table(table: pd.DataFrame) -> Sheet:
    names = [str(name) for name in table.columns]
    columns = read_header(names, "table", None)
    rows = [
        _row(number, (_text(value) for value in values), columns)
        for number, values in enumerate(table.itertuples(index=False, name=None), start=1)
    ]
    return _sheet("table", columns, rows, names)


def _text(value: Any) -> str:
    if value is None or value is pd.NaT or (isinstance(value, float) and value != value):
        return ""
    if hasattr(value, "isoformat"):
        return str(value.isoformat())[:10]
    return str(value)
