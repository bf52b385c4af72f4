"""From the text of a cell to its value: missing cells, decimal commas, units of the header."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from shutoffsim import units
from shutoffsim.errors import UnitError

#: What people and programs write where there is no value; "none" is a value of some columns.
MISSING = frozenset(["", "-", "–", "—", "na", "n/a", "#n/a", "nan", "nat", "null"])

Texts = Any  # a pyarrow array of strings
Read = tuple[np.ndarray, np.ndarray]

_COMMA = re.compile(r"([+-]?[0-9]+),([0-9]+)(?![0-9,.])")
_THOUSANDS = re.compile(r"[+-]?[1-9][0-9]{0,2},[0-9]{3}(?![0-9])")
# What no cast accepts is sorted out first, so that a file full of dashes stays quick.
_MAYBE_NUMBER = r"(?i)^[-+]?[.]?([0-9]|nan|inf)"


def is_missing(cell: Any) -> bool:
    """Whether a cell holds nothing: empty, a number that is none, or a word of :data:`MISSING`."""
    if isinstance(cell, str):
        return len(cell) < 9 and cell.strip().lower() in MISSING
    return cell is None or bool(cell != cell)


def with_point(text: str) -> str:
    """Return a number whose decimal mark is a comma with a point; other texts as they are.

    For files in which a comma does not separate cells.

    Raises
    ------
    UnitError
        When the comma may as well stand between thousands.

    Examples
    --------
    >>> with_point("2,5 N*m"), with_point("0,125 bar"), with_point("hall, left")
    ('2.5 N*m', '0.125 bar', 'hall, left')
    """
    if "," not in text or not _COMMA.match(text):
        return text
    if _THOUSANDS.match(text):
        raise UnitError(
            "the comma may mark thousands or decimals",
            found=f'"{text[:80]}"',
            expected=f'"{text.replace(",", ".", 1)[:80]}" or "{text.replace(",", "", 1)[:80]}"',
            hint="write a decimal point, and nothing between thousands",
        )
    return _COMMA.sub(r"\1.\2", text, count=1)


def with_unit(text: str, unit: str | None) -> str:
    """Return a plain number with the unit of its column's header; a text with a unit as it is.

    Raises
    ------
    UnitError
        When a cell's own unit is another than that of the header.
    """
    if unit is None:
        return text
    whole, stated = f"{text} {unit}", units.split(text)[1]
    if units.split(whole)[0] == text:
        return whole
    if not stated or stated.replace(" ", "") == unit.replace(" ", ""):
        return text
    raise UnitError(
        "the cell's unit is not that of the header",
        found=f'"{text[:80]}"',
        expected=f"numbers in {unit}",
        hint="take the unit out of the header, or write all cells in it",
    )


def read_quantity(text: str, dimension: str, unit: str | None, *, comma: bool) -> float:
    """Return a cell as an SI number.

    Parameters
    ----------
    text : str
    dimension : str
        One of :func:`shutoffsim.units.dimensions`.
    unit : str or None
        That of the header.
    comma : bool
        Whether a comma may be a decimal mark.

    Raises
    ------
    UnitError
    """
    return units.parse(with_unit(with_point(text) if comma else text, unit), dimension)


def read_numbers(texts: Texts, *, comma: bool = False) -> Read:
    """Texts to numbers (not-a-number and infinity included) and whether each could be read.

    Parameters
    ----------
    texts : pyarrow array of strings
    comma : bool
        Whether a comma is a decimal mark.
    """
    if comma:
        texts = pc.replace_substring(texts, ",", ".")
    return salvage(texts, lambda part: pc.cast(part, pa.float64()), _MAYBE_NUMBER, np.float64)


def salvage(texts: Texts, cast: Callable[[Texts], Any], maybe: str, dtype: type) -> Read:
    """Cast all texts; where that fails, cast halves, down to the single texts that do not cast.

    Parameters
    ----------
    texts : pyarrow array of strings
    cast : callable
        From texts to a pyarrow array; raises where one text is not right.
    maybe : str
        Regular expression of what could be right at all.
    dtype : type
        Of the values.
    """
    values: np.ndarray = np.zeros(len(texts), dtype)
    good = np.zeros(len(texts), bool)

    def halve(part: Texts, places: np.ndarray) -> None:
        try:
            values[places] = cast(part).to_numpy(zero_copy_only=False)
            good[places] = True
        except pa.ArrowInvalid:
            middle = len(places) // 2
            if middle:
                halve(part[:middle], places[:middle])
                halve(part[middle:], places[middle:])

    try:
        values[:] = cast(texts).to_numpy(zero_copy_only=False)
        good[:] = True
    except pa.ArrowInvalid:
        likely = pc.match_substring_regex(texts, maybe)
        places = np.flatnonzero(likely.to_numpy(zero_copy_only=False))
        if len(places):
            halve(pc.take(texts, pa.array(places)), places)
    return values, good
