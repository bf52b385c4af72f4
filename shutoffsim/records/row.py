"""One row of a table, cell by cell, with the place of each in every complaint."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import Any

from shutoffsim.errors import RecordError, UnitError, printable
from shutoffsim.records.cells import is_missing, read_quantity
from shutoffsim.records.header import Header
from shutoffsim.records.reader import Row
from shutoffsim.records.times import read_day


class Cells:
    """Reads the texts of one row.

    Parameters
    ----------
    row : Row
    header : Header

    Raises
    ------
    RecordError
        When the row has another number of cells than the header. Its methods raise it too, for
        cells that are not what is asked for.
    """

    def __init__(self, row: Row, header: Header) -> None:
        if row.trouble is not None:
            raise RecordError([row.trouble])
        self.header, self.line = header, row.line
        self.texts = {role: text for role, text in row.cells.items() if not is_missing(text)}

    def trouble(self, role: str, message: str, **more: Any) -> RecordError:
        """Return the error of one cell; it shows the cell unless given what was found."""
        column = self.header.columns.get(role)
        key = f'column "{column.name if column and role in self.texts else role}"'
        if role in self.texts:
            more.setdefault("found", f'"{printable(self.texts[role])}"')
        return RecordError.of(message, key=key, **more)

    def text(self, role: str) -> str:
        """Return a cell as it stands, empty when it is missing."""
        return self.texts.get(role, "")

    def word(self, role: str, meanings: Mapping[str, str], default: str = "") -> str:
        """Return what a word means, whatever its capitals; a missing one means the default."""
        found = " ".join(self.text(role).lower().split()) or default
        if found in meanings:
            return meanings[found]
        choices = ", ".join(f'"{word}"' for word in dict.fromkeys(meanings.values()))
        article = "an" if role[0] in "aeiou" else "a"
        raise self.trouble(role, f"not {article} {role}", expected=f"one of {choices}")

    def number(self, role: str, *, positive: bool = False) -> float | None:
        """Return a quantity in SI that is not negative, None when it is missing.

        Parameters
        ----------
        role : str
        positive : bool
            Whether zero is too little.
        """
        column = self.header.columns.get(role)
        if role not in self.texts or column is None or column.dimension is None:
            return None
        text, comma = self.texts[role], self.header.comma
        try:
            value = read_quantity(text, column.dimension, column.unit, comma=comma)
        except UnitError as error:
            more = {"expected": error.expected, "hint": error.hint}
            raise self.trouble(role, error.message, **more) from None
        if positive and value <= 0.0:
            raise self.trouble(role, "this must be above zero")
        if value < 0.0:
            raise self.trouble(role, "this cannot be negative", expected="zero or more")
        return value

    def day(self, role: str) -> date:
        """Return a day of the calendar."""
        try:
            return read_day(self.text(role))
        except ValueError:
            raise self.trouble(
                role,
                "this is not a date",
                expected="year-month-day, such as 2026-03-31",
                hint="write the year first, with four digits",
            ) from None
