"""From rows to pieces of flow on a clock that never goes back.

Times are whole microseconds and volumes whole nanolitres, so sums do not depend on where a file
is cut into blocks.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from dataclasses import dataclass, field
from typing import Any, NamedTuple

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from shutoffsim.errors import RecordError
from shutoffsim.records import Header, Rows
from shutoffsim.records.cells import MISSING
from shutoffsim.records.times import SECOND
from shutoffsim.study.meter.traits import Traits

NANOLITRE = 1e-9  # litres
MINUTE = 60 * SECOND
MOST_FLOW = 10_000.0  # L/min; the largest domestic meters take some hundreds
MOST_WATER = 4e9  # litres in a record; keeps the sums below what 64 bits hold
LONGEST_RECORD = 400 * 366 * 86_400 * SECOND
_FEW_BACK = 10
_BACK_SHARE = 0.01


class Pieces(NamedTuple):
    """Stretches of flow in order of their starts; arrays of int64, shape (n,).

    ``start`` and ``end`` in microseconds on the record's own clock, ``volume`` in nanolitres,
    ``wall`` the start as the file has it.
    """

    start: np.ndarray
    end: np.ndarray
    volume: np.ndarray
    wall: np.ndarray


@dataclass(frozen=True)
class Flaw:
    """Something odd in a record.

    Parameters
    ----------
    what : str
        What it is.
    rows : int
        In how many rows.
    first_line : int
        Line of the first one.
    done : str
        What was done about it.
    """

    what: str
    rows: int
    first_line: int
    done: str


LEFT_OUT = "left out"


@dataclass
class Account:
    """What was seen while rows went by; everything in microseconds and nanolitres."""

    rows: int = 0
    used: int = 0
    volume: int = 0
    covered: int = 0
    hole_time: int = 0
    holes: int = 0
    back: int = 0
    back_line: int = 0
    first: int | None = None
    last: int = 0
    smallest_flow: float = np.inf
    closest: int | None = None
    flaws: dict[str, Flaw] = field(default_factory=dict)

    def note(self, what: str, lines: np.ndarray, done: str = LEFT_OUT) -> None:
        """Count a flaw in the rows at these lines."""
        if not len(lines):
            return
        old = self.flaws.get(what)
        rows = len(lines) + (old.rows if old else 0)
        self.flaws[what] = Flaw(what, rows, old.first_line if old else int(lines.min()), done)


def empty_pieces() -> Pieces:
    """No flow."""
    return Pieces(*(np.empty(0, np.int64) for _ in range(4)))


class Stream(ABC):
    """Common part of turning rows into pieces.

    Parameters
    ----------
    header : Header
    traits : Traits
    where : str
        Name of the file, for messages.
    hole : int
        Microseconds; a longer pause is not counted as recorded.
    """

    def __init__(self, header: Header, traits: Traits, where: str, hole: int) -> None:
        self.header, self.traits, self.where, self.hole = header, traits, where, hole
        self.account = Account()

    @abstractmethod
    def feed(self, rows: Rows) -> Pieces:
        """Take the next rows and give the flow that is settled by them."""

    def close(self) -> Pieces:
        """Give what was still open, and check the record as a whole.

        Raises
        ------
        RecordError
            When too little of it can be used.
        """
        seen = self.account
        if seen.back > max(_FEW_BACK, _BACK_SHARE * seen.rows):
            raise RecordError.of(
                "the record is not in the order of time",
                where=self.where,
                found=f"time goes back in {seen.back} of {seen.rows} rows, "
                f"first in line {seen.back_line}",
                hint="sort the rows by time",
            )
        if seen.used * 2 < seen.rows or seen.used < 2:
            raise RecordError.of(
                "too few rows can be used",
                where=self.where,
                found=f"{seen.used} of {seen.rows} rows{_worst(seen)}",
                expected="at least two rows, and at least half of all",
            )
        return empty_pieces()

    def _keep(
        self, rows: Rows, readable: list[tuple[str, np.ndarray]], values: list[np.ndarray]
    ) -> np.ndarray:
        """Count what cannot be used and mark the other rows."""
        seen = self.account
        seen.note("row with another number of fields", np.array(list(rows.broken)))
        keep = ~_empty(rows, np.logical_and.reduce([good for _, good in readable]))
        seen.note("empty row", rows.lines[~keep])
        seen.rows += int(keep.sum()) + len(rows.broken)
        for what, good in readable:
            seen.note(what, rows.lines[keep & ~good])
            keep &= good
        for value in values:
            finite = np.isfinite(value)
            seen.note("value that is not a finite number", rows.lines[keep & ~finite])
            keep &= finite
            negative = keep & (value < 0)
            seen.note("negative value", rows.lines[negative])
            keep &= ~negative
        return keep

    def _add_water(self, litres: np.ndarray) -> np.ndarray:
        """Litres as whole nanolitres, added to the account."""
        if self.account.volume * NANOLITRE + float(litres.sum()) > MOST_WATER:
            raise RecordError.of(
                f"the record adds up to more than {MOST_WATER / 1000:.0f} m3",
                where=self.where,
                expected="the water of a dwelling",
                hint="check the unit in the header and the litres per pulse",
            )
        volume = np.rint(litres / NANOLITRE).astype(np.int64)
        self.account.volume += int(volume.sum())
        return volume

    def _check_length(self, elapsed: int, steps: np.ndarray) -> None:
        if elapsed + float(steps.sum(dtype=float)) > LONGEST_RECORD:
            raise RecordError.of("the record spans more than 400 years", where=self.where)


def _worst(seen: Account) -> str:
    if not seen.flaws:
        return ""
    worst: Any = max(seen.flaws.values(), key=lambda flaw: (flaw.rows, -flaw.first_line, flaw.what))
    return f"; mostly: {worst.what}, first in line {worst.first_line}"


def _empty(rows: Rows, readable: np.ndarray) -> np.ndarray:
    """Mark rows in which all columns in use are empty."""
    empty = np.zeros(len(rows.lines), bool)
    places = np.flatnonzero(~readable)
    if len(places):
        chosen = pa.array(places)
        missing = pa.array(sorted(MISSING))
        blank = [
            pc.is_in(pc.utf8_lower(pc.take(column, chosen)), missing).to_numpy(zero_copy_only=False)
            for column in rows.cells.values()
        ]
        empty[places] = np.logical_and.reduce(blank)
    return empty
