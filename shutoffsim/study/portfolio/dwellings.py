"""The table of dwellings: a CSV or Parquet file, read row by row in constant memory."""

from __future__ import annotations

import csv
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

from shutoffsim.errors import ModelError, Problem, ScenarioError, UnitError
from shutoffsim.study.portfolio.columns import Header, read_cell, read_header

if TYPE_CHECKING:
    from shutoffsim.scenario import Scenario

MOST_DWELLINGS = 2**31 - 1
_LISTED = 20  # problems of one kind that are listed
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
    path : pathlib.Path
    header : Header
    count : int
        Rows.
    regions : dict of str to int
        Names of regions and their numbers, in the order of the file.
    """

    path: Path
    header: Header
    count: int
    regions: dict[str, int]

    def rows(self) -> Iterator[Row]:
        """Yield the dwellings in order."""
        for number, cells in enumerate(_body(self.path), start=1):
            yield self._row(number, cells)

    def _row(self, number: int, cells: list[Any]) -> Row:
        head = self.header
        if len(cells) != head.width:
            trouble = Problem(
                "a row of the wrong length",
                found=f"{len(cells)} cells",
                expected=f"{head.width}, as there are columns",
                hint="put cells that hold a comma into quotes",
            )
            return Row(number, _text(cells, head.identifier) or str(number), "", 0, (), trouble)
        identifier = _text(cells, head.identifier) or str(number)
        region = self.regions.get(_text(cells, head.region), 0)
        values: list[Any] = []
        problem = None
        for column in head.columns:
            try:
                values.append(read_cell(column, cells[column.place]))
            except UnitError as error:
                problem = Problem(
                    error.message,
                    key=column.name,
                    found=error.found,
                    expected=error.expected,
                    hint=error.hint,
                )
                break
        design = _text(cells, head.design)
        return Row(number, identifier, design, region, tuple(values), problem)


def open_dwellings(path: str | Path, scenario: Scenario) -> Dwellings:
    """Check a file of dwellings: its columns, identifiers and regions.

    Parameters
    ----------
    path : str or pathlib.Path
        ``.csv`` (UTF-8, separated by commas, semicolons or tabs) or ``.parquet``.
    scenario : Scenario

    Raises
    ------
    ScenarioError
        When a column names no key, or dwellings share an identifier.
    ModelError
        When the file cannot be read or holds no dwelling.
    """
    file = Path(path)
    header = read_header(_names(file), scenario, str(file))
    seen: dict[str, int] = {}
    regions: dict[str, int] = {}
    problems: list[Problem] = []
    count = 0
    for count, cells in enumerate(_body(file), start=1):
        if count > MOST_DWELLINGS:
            raise ModelError("too many dwellings", where=str(file), expected=f"{MOST_DWELLINGS:,}")
        if len(cells) != header.width:
            continue  # a trouble of this row alone
        if header.region is not None:
            regions.setdefault(_text(cells, header.region), len(regions))
        if header.identifier is None or len(problems) == _LISTED:
            continue
        name = _text(cells, header.identifier)
        first = seen.setdefault(name, count)
        if not name or len(name) > _LONGEST_NAME or first != count:
            problems.append(_wrong_name(name, first, count, str(file)))
    if problems:
        raise ScenarioError(problems)
    if count == 0:
        raise ModelError(
            "there is no dwelling", where=str(file), expected="one row for each, below the header"
        )
    return Dwellings(file, header, count, regions or {"": 0})


def _wrong_name(name: str, first: int, number: int, where: str) -> Problem:
    key = f"row {number}"
    if not name:
        return Problem(
            "a dwelling without a name",
            where,
            key,
            expected="a name in column “dwelling”",
            hint="give it one, or remove the column: then rows are numbered",
        )
    if first == number:
        expected = f"at most {_LONGEST_NAME} letters"
        return Problem("the name of a dwelling is too long", where, key, expected=expected)
    return Problem(
        "two dwellings have the same name",
        where,
        key,
        found=f"“{name[:80]}”, which is also in row {first}",
        expected="each name once",
        hint="remove one of the rows, or give it another name",
    )


def _text(cells: list[Any], place: int | None) -> str:
    if place is None or place >= len(cells) or cells[place] is None:
        return ""
    cell = cells[place]
    if isinstance(cell, float) and cell.is_integer():
        cell = int(cell)
    return "" if cell != cell else str(cell).strip()


def _names(file: Path) -> list[str]:
    """Return the names of the columns."""
    where = str(file)
    if file.suffix.lower() not in (".csv", ".parquet"):
        raise ModelError(
            "not a table of dwellings",
            where=where,
            expected="a file whose name ends in .csv or .parquet",
            hint="save the table in one of these forms",
        )
    if not file.is_file():
        raise ModelError(
            "there is no such file",
            where=where,
            expected="a table of dwellings",
            hint="check the spelling and the folder",
        )
    if file.suffix.lower() == ".parquet":
        return list(_parquet(file).schema_arrow.names)
    for _line, cells in _csv(file):
        return cells
    raise ModelError("the file is empty", where=where, expected="a header and one row a dwelling")


def _body(file: Path) -> Iterator[list[Any]]:
    if file.suffix.lower() == ".parquet":
        table = _parquet(file)
        for batch in table.iter_batches(batch_size=4096):
            columns = [column.to_pylist() for column in batch.columns]
            if not columns:
                yield from ([] for _ in range(batch.num_rows))
            yield from (list(cells) for cells in zip(*columns, strict=True))
        return
    lines = _csv(file)
    next(lines, None)
    for _line, cells in lines:
        yield cells


def _parquet(file: Path) -> Any:
    import pyarrow as pa
    import pyarrow.parquet as pq

    try:
        return pq.ParquetFile(file)
    except (OSError, pa.ArrowException) as error:
        raise ModelError(
            "this is not a Parquet file", where=str(file), found=str(error).split("\n")[0][:160]
        ) from None


def _csv(file: Path) -> Iterator[tuple[int, list[str]]]:
    """Yield the lines that are not blank, with their numbers."""
    reader: Any = None
    try:
        with file.open(encoding="utf-8-sig", newline="") as text:
            head = text.readline()
            text.seek(0)
            marks = {mark: head.count(mark) for mark in ",;\t"}
            reader = csv.reader(text, delimiter=max(marks, key=marks.__getitem__), strict=True)
            for cells in reader:
                if any(cell.strip() for cell in cells):
                    yield reader.line_num, cells
    except UnicodeDecodeError as error:
        raise ModelError(
            "this is not a text in UTF-8",
            where=str(file),
            found=f"byte {error.object[error.start]:#04x}",
            hint="save the table as CSV in UTF-8",
        ) from None
    except csv.Error as error:
        line = reader.line_num if reader is not None else 1
        raise ModelError(
            "this is not a table of comma-separated values",
            where=f"{file}, line {line}",
            found=str(error)[:160],
            expected="one row a line, quotes closed",
        ) from None
    except OSError as error:
        raise ModelError(
            "the file cannot be read", where=str(file), found=error.strerror or str(error)
        ) from None
