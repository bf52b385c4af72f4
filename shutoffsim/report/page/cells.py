"""Numbers as they stand in the page: honest digits, intervals, units."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

from shutoffsim.estimate.estimate import Estimate
from shutoffsim.report.page.blocks import Cell
from shutoffsim.report.page.figures import Line, Range
from shutoffsim.report.page.theme import SERIES, letter
from shutoffsim.report.summary.letters import short
from shutoffsim.report.text import UNKNOWN, bound, improvement
from shutoffsim.study.digits import ends, told
from shutoffsim.study.words import duration

if TYPE_CHECKING:
    from shutoffsim.study.assessment.result import Assessment
    from shutoffsim.study.comparison import Difference

NONE = "–"
ROW_NAME = 20  # letters of a name beside a row: more leaves no room for the bars on a phone
_MOST_ROWS = 20


class Designs:
    """The designs of an assessment with their letters, and which of them the figures draw.

    Parameters
    ----------
    assessment : Assessment
    """

    def __init__(self, assessment: Assessment) -> None:
        self.names = tuple(design.name for design in assessment.designs)
        self.reference, self.chosen = assessment.reference, assessment.chosen
        first = list(self.names[:SERIES])
        if self.chosen in self.names[SERIES:]:
            first[-1] = self.chosen
        self.drawn = tuple(first)
        self.rows = self.names if len(self.names) <= _MOST_ROWS else self.drawn

    def letter(self, name: str) -> str:
        """Return the letter of a design."""
        return letter(self.names.index(name))

    def number(self, name: str) -> int:
        """Return the place among those drawn, -1 for others."""
        return self.drawn.index(name) if name in self.drawn else -1

    def cell(self, name: str, note: str = "") -> Cell:
        """Return the cell that names a design."""
        return Cell(name, note, "design", self.letter(name), self.number(name))

    def range(self, name: str, e: Estimate) -> Range:
        """Return the row of a range plot that shows an estimate of a design."""
        row = short(name, ROW_NAME)
        return Range(row, e.value, e.low, e.high, said(e), self.number(name))

    def line(self, name: str, points: Sequence[tuple[float, Estimate]]) -> Line:
        """Return the curve of a design, with the interval of what is never below zero."""
        estimates = [e for _, e in points]
        return Line(
            self.letter(name),
            self.number(name),
            [x for x, _ in points],
            [e.value for e in estimates],
            [max(e.low, 0.0) for e in estimates],
            [e.high for e in estimates],
        )

    def keys(self) -> tuple[Cell, ...]:
        """Return the cells of those drawn."""
        return tuple(self.cell(name) for name in self.drawn)

    def left_out(self, shown: Sequence[str] = ()) -> str:
        """Return a remark on designs that are not among those shown (by default: drawn)."""
        rest = len(self.names) - len(shown or self.drawn)
        are = "design is" if rest == 1 else "designs are"
        return f"{rest} more {are} in the tables only. " if rest else ""


def said(e: Estimate, factor: float = 1.0) -> str:
    """Return the value of an estimate in honest digits; a bound where nothing was seen.

    >>> said(Estimate(0.0, math.nan, 0.0, 0.002), 100.0)
    '< 0.2'
    """
    limit = bound(e, factor)
    if limit and limit != UNKNOWN:
        return f"{limit[0]} {limit[1:]}"
    return limit or told(e, factor)


def percent(e: Estimate) -> str:
    """Return a share in per cent, or that it is unknown."""
    text = said(e, 100.0)
    return text if text == UNKNOWN else f"{text} %"


def interval(e: Estimate, factor: float = 1.0) -> str:
    """Return "low to high"; empty where there is no interval.

    >>> interval(Estimate(120.0, 5.0, 110.0, 130.0))
    '110 to 130'
    """
    if not math.isfinite(e.value) or bound(e, factor) or e.low == e.high:
        return ""
    if not (math.isfinite(e.low) and math.isfinite(e.high)):
        return "interval unknown"
    return ends(e, factor)


def number(
    e: Estimate | None, *, factor: float = 1.0, unit: str = "", strong: bool = False
) -> Cell:
    """Return a cell with value and interval."""
    if e is None or not math.isfinite(e.value):
        return Cell(NONE, kind="number")
    text = said(e, factor)
    return Cell(
        text if text == UNKNOWN else f"{text}{unit}", interval(e, factor), "number", strong=strong
    )


def share(e: Estimate | None, *, strong: bool = False) -> Cell:
    """Return a cell with a share in per cent."""
    return number(e, factor=100.0, unit=" %", strong=strong)


def plain(text: str, note: str = "") -> Cell:
    """Return a cell with a number that is already text."""
    return Cell(text, note, "number")


def likely(difference: Difference) -> Cell:
    """Return a cell with the chance of being better, never rounded to certainty."""
    return plain(improvement(difference))


def lasting(e: Estimate | None) -> Cell:
    """Return a cell with a time [s] and its interval; None: it never happens."""
    if e is None:
        return plain("never")
    if not math.isfinite(e.value):
        return plain(UNKNOWN)
    if not (math.isfinite(e.low) and math.isfinite(e.high)) or e.low == e.high:
        return plain(duration(e.value))
    low, high = duration(max(e.low, 0.0)), duration(e.high)
    return plain(duration(e.value), f"{low} to {high}" if low != high else "")


def money(value: float) -> str:
    """Return an amount that is exactly known.

    >>> money(1250.0), money(12.5)
    ('1,250', '12.5')
    """
    return f"{value:,.0f}" if abs(value) >= 100.0 or value == int(value) else f"{value:,.4g}"


def years(value: float | None) -> str:
    """Return a number of years, to a tenth where that matters.

    >>> years(1.234), years(None)
    ('1.2', 'never')
    """
    if value is None or not math.isfinite(value):
        return "never"
    return f"{value:.1f}" if value < 10.0 else f"{value:,.0f}"
