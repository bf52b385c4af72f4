"""Plain text that fits: aligned numbers, and tables packed into the width at hand."""

from __future__ import annotations

import math
import re
import textwrap
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TextIO

from rich import box
from rich.console import Console
from rich.table import Table
from rich.text import Text

from shutoffsim.estimate.estimate import Estimate
from shutoffsim.study.comparison import Difference
from shutoffsim.study.digits import amount, ends, told

_GAP = 3  # one letter of padding on each side, one between
_CLOSE = 2  # one letter of padding, one between
_SLACK = 4  # room that keeps the head of a narrow column to few lines
UNKNOWN = "unknown"
_PER_CENT = 100.0
_LONGEST_LABEL = 26  # a longer name wraps
_LEAST_LABEL = 10


@dataclass(frozen=True)
class Column:
    """One column of a table: its head and one cell a row."""

    head: str
    cells: tuple[str, ...]
    wraps: bool = False

    @property
    def width(self) -> int:
        """Letters it needs: the widest cell, or a head that wraps to a few lines."""
        words = self.head.split()
        least = min(max(len(word) for word in words) + _SLACK, len(self.head))
        return max(least, *(len(cell) for cell in self.cells))


def brief(value: float, digits: int = 2) -> str:
    """Return a number rounded to a few digits, never with an exponent below a million.

    >>> brief(103.2), brief(0.0347), brief(12345.0, 3)
    ('100', '0.035', '12,300')
    """
    return f"{float(f'{value:.{digits}g}'):,.6g}"


def torque_text(value: float) -> str:
    """Return a torque [N*m] in two digits, without its unit.

    >>> torque_text(0.874), torque_text(4.96), torque_text(17.2), torque_text(131.0)
    ('0.87', '5.0', '17', '131')
    """
    if value >= 10.0:
        return f"{value:.0f}"
    return f"{value:.1f}" if value >= 1.0 else f"{value:.2f}"


def make_console(file: TextIO | None = None, *, stderr: bool = False) -> Console:
    """Return a console that prints names as they are: no markup, no colours of its own."""
    return Console(file=file, stderr=stderr, markup=False, emoji=False, highlight=False)


def wrap(text: str, width: int) -> str:
    r"""Break a paragraph into lines; a number stays with its unit.

    >>> wrap("about 95 % of them", 8)
    'about\n95 % of\nthem'
    """
    glued = re.sub(r"(?<=\d) (?=\S)", "\N{NO-BREAK SPACE}", text)
    lines = textwrap.wrap(glued, max(width, 1), break_on_hyphens=False)
    return "\n".join(lines).replace("\N{NO-BREAK SPACE}", " ")


def bullet(text: str, width: int) -> str:
    """Return a point of a list, its later lines set in.

    >>> bullet("about 95 % of them", 10)
    '- about\\n  95 % of\\n  them'
    """
    return "- " + wrap(text, width - 2).replace("\n", "\n  ")


def align(texts: Sequence[str]) -> tuple[str, ...]:
    """Pad numbers so that their decimal points stand below each other.

    >>> align(["1.25", "10", "3 %"])
    (' 1.25', '10   ', ' 3    %')
    """
    parts = []
    for text in texts:
        number, _, unit = text.partition(" ")
        whole, point, fraction = number.partition(".")
        parts.append((whole, point + fraction, f" {unit}" if unit else ""))
    before = max((len(whole) for whole, _, _ in parts), default=0)
    after = max((len(rest) for _, rest, _ in parts), default=0)
    return tuple(f"{whole:>{before}}{rest:<{after}}{unit}" for whole, rest, unit in parts)


def ranges(head: str, values: Sequence[Estimate | None]) -> Column:
    """Return a column of values with their 95 % intervals as "value (low to high)".

    Parameters
    ----------
    head : str
        Its head.
    values : sequence of Estimate or None
        None leaves the cell empty.
    """
    shown = align(["" if e is None else told(e) for e in values])
    intervals = ["" if e is None else _interval(e) for e in values]
    return Column(head, tuple(map(_joined, shown, intervals)))


def plus_minus(
    head: str, values: Sequence[Estimate], factor: float = 1.0, unit: str = ""
) -> Column:
    """Return a column of values as "value ± half the 95 % interval", in honest digits.

    A share of which nothing, or nothing else, was seen is given by its bound.

    Parameters
    ----------
    head : str
        Its head.
    values : sequence of Estimate
    factor : float
        Multiplies everything (100 for a share in per cent).
    unit : str
        Stands behind each value.
    """
    tail = f" {unit}" if unit else ""
    bounds = [bound(e, factor) for e in values]
    shown = align([limit or told(e, factor) for e, limit in zip(values, bounds, strict=True)])
    spreads = ["" if limit else _spread(e, factor) for e, limit in zip(values, bounds, strict=True)]
    joined = [_joined(*pair) for pair in zip(shown, align(spreads), strict=True)]
    return Column(
        head,
        tuple(
            f"{text}{'' if UNKNOWN in text else tail}" if text.strip() else "" for text in joined
        ),
    )


def _joined(value: str, rest: str) -> str:
    return f"{value} {rest}".rstrip() if value.strip() else ""


def _interval(e: Estimate) -> str:
    if not (math.isfinite(e.low) and math.isfinite(e.high)):
        return f"({UNKNOWN})" if math.isfinite(e.value) else ""
    if e.low == e.high:
        return ""
    return f"({ends(e)})"


def bound(e: Estimate, factor: float = 1.0) -> str:
    """Return the bound that is all that is known of a value; empty where more is known.

    Parameters
    ----------
    e : Estimate
    factor : float
        Multiplies it; 100 for a share in per cent.

    Examples
    --------
    >>> bound(Estimate(0.0, math.nan, 0.0, 0.002), 100.0)
    '<0.2'
    >>> bound(Estimate(1.0, math.nan, 0.0, 1.0), 100.0), bound(Estimate.exact(1.0), 100.0)
    ('unknown', '')
    """
    if not e.bounded or not (math.isfinite(e.low) and math.isfinite(e.high)):
        return ""
    if factor == _PER_CENT and e.low <= 0.0 and e.high >= 1.0:
        return UNKNOWN  # a share that may be anything
    if e.value == e.low:
        return f"<{brief(factor * e.high)}"
    if e.value == e.high:
        return f">{_down(factor * e.low)}"
    return ""


def percent(e: Estimate) -> str:
    """Return a share in per cent in honest digits.

    >>> percent(Estimate(0.091, 0.001, 0.089, 0.093)), percent(Estimate(math.nan, 1.0, 0.0, 1.0))
    ('9.1 %', 'unknown')
    """
    text = bound(e, _PER_CENT) or told(e, _PER_CENT)
    return text if text == UNKNOWN else f"{text} %"


def improvement(difference: Difference) -> str:
    """Return how sure it is that a design is better than the reference."""
    gap = difference.expected_annual_damage
    if gap.certain:
        return "equal" if gap.value == 0.0 else "certain" if gap.value < 0.0 else "none"
    return chance(difference.probability_of_improvement)


def _down(value: float) -> str:
    """Return a number below 100 with four digits, rounded down so that the bound holds."""
    return f"{math.floor(value * 100.0) / 100.0:g}"


def _spread(e: Estimate, factor: float) -> str:
    half = max(e.high - e.value, e.value - e.low)
    if not math.isfinite(half) or not math.isfinite(e.error) or half == 0.0:
        return ""
    return f"± {amount(factor * half, factor * e.error)}"


def chance(value: float) -> str:
    """Return a probability in per cent, never rounded to certainty.

    >>> chance(0.99999), chance(0.5), chance(0.0)
    ('> 99.9 %', '50 %', '< 0.1 %')
    """
    if not math.isfinite(value):
        return "unknown"
    if value > 0.999:
        return "> 99.9 %"
    if value < 0.001:
        return "< 0.1 %"
    return f"{100.0 * value:.3g} %"


def pack(label: Column, columns: Sequence[Column], width: int) -> Iterator[Table]:
    """Yield tables that show ``columns`` in order, as many side by side as ``width`` holds.

    A column that wraps must be the only one; it gets what the labels leave.
    """
    first = min(label.width, _LONGEST_LABEL, max(width // 3, 8))
    row: list[Column] = []
    taken = first
    for column in columns:
        if column.wraps:
            room = max(width - first - _GAP, 8)
            column = Column(column.head, tuple(wrap(cell, room) for cell in column.cells), True)
        if row and taken + _GAP + column.width > width:
            yield _table(label, first, row)
            row, taken = [], first
        row.append(column)
        taken += _GAP + column.width
    if row:
        yield _table(label, first, row)


def print_one_table(console: Console, columns: Sequence[Column]) -> None:
    """Print all columns side by side, those that wrap sharing the room that the others leave.

    Where it is less than a name needs, the table comes in parts.
    """
    fixed = [column for column in columns if not column.wraps]
    loose = [column for column in columns if column.wraps]
    widths = [max(map(len, (*column.head.split(), *column.cells))) for column in fixed]
    room = console.width - sum(widths) - _CLOSE * (len(columns) - 1)
    most = [max(map(len, (column.head, *column.cells))) for column in loose]
    each = [min(need, max(room // len(loose), room - sum(most) + need)) for need in most]
    if min(each) < min(_LEAST_LABEL, *most):
        print_table(console, columns[0], columns[1:], "before")
        return
    table = _empty_table(before=0)
    shown = dict(zip((c.head for c in (*fixed, *loose)), (*widths, *each), strict=True))
    for column in columns:
        width = shown[column.head]
        table.add_column(wrap(column.head, width), width=width, overflow="fold")
    for cells in zip(*(column.cells for column in columns), strict=True):
        table.add_row(*cells)
    console.print()
    console.print(table)


def print_table(
    console: Console, label: Column, columns: Sequence[Column], empty: str = "after"
) -> None:
    """Print a table in as many parts as the width asks for.

    ``empty`` says where an empty line stands: ``before`` or ``after`` each part, or nowhere.
    """
    for part in pack(label, columns, console.width):
        if empty == "before":
            console.print()
        console.print(part)
        if empty == "after":
            console.print()


def print_section(console: Console, head: str, before: str = "\n") -> None:
    """Print a head in bold, by default after an empty line."""
    console.print(Text(f"{before}{wrap(head, console.width)}", style="bold"))


def _empty_table(before: int = 1) -> Table:
    padding = (0, 1, 0, before)
    return Table(box=box.SIMPLE_HEAD, show_edge=False, pad_edge=False, padding=padding)


def _table(label: Column, first: int, columns: Sequence[Column]) -> Table:
    table = _empty_table()
    table.add_column(label.head, width=first, overflow="fold")
    for column in columns:
        head = column.head if column.wraps else wrap(column.head, column.width)
        table.add_column(head, width=None if column.wraps else column.width)
    for cells in zip(label.cells, *(column.cells for column in columns), strict=True):
        table.add_row(*cells)
    return table
