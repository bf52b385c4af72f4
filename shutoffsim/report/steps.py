"""Steps as a table: what each change alone saves, for whom, what it costs, and what remains."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

from shutoffsim.report.text import Column, align, print_one_table, wrap
from shutoffsim.study.digits import amount

if TYPE_CHECKING:
    from rich.console import Console

    from shutoffsim.estimate.estimate import Estimate
    from shutoffsim.study.comparison import Comparison

_NOT_STATED = "not stated"
_FIGURES = 2  # behind the first, of the largest amount


def print_steps(console: Console, result: Comparison) -> None:
    """Print the steps of a comparison as one table; nothing where there is only one design.

    Parameters
    ----------
    console : rich.console.Console
    result : Comparison
    """
    steps = result.steps
    if not steps:
        return
    least = grain(result)
    columns = [
        Column("design", tuple(step.design for step in steps), wraps=True),
        Column("against", tuple(step.against for step in steps), wraps=True),
        cells("saves", [step.saving for step in steps], least, spread=True),
        cells("of it owner", [step.owner_saving for step in steps], least),
        cells("insurer", [step.insurer_saving for step in steps], least),
    ]
    if any(step.cost_per_year is not None for step in steps):
        columns += [
            cells("costs", [step.cost_per_year for step in steps], least),
            cells("net", [step.net_per_year for step in steps], least, spread=True),
        ]
    head = (
        f"What each step alone saves, of it for whom, costs and leaves, {result.currency} a year "
        f"(± half the 95 % interval); prices spread over {result.horizon_years:g} years:"
    )
    console.print()
    console.print(wrap(head, console.width))
    print_one_table(console, columns)


def grain(result: Comparison) -> float:
    """Return the amount below which nobody asks: three digits of the largest saving, 1 at most."""
    largest = max((abs(step.saving.value) for step in result.totals), default=0)
    return min(10.0 ** (math.floor(math.log10(largest)) - _FIGURES), 1.0) if largest else 0.0


def money(e: Estimate, least: float) -> str:
    """Return an amount with no more digits than its error and the grain leave.

    >>> from shutoffsim.estimate.estimate import Estimate
    >>> money(Estimate(7.87, 0.02, 7.83, 7.91), 1.0), money(Estimate(-0.3, 0.2, -0.7, 0.1), 1.0)
    ('8', '0')
    """
    return amount(e.value, max(e.error, least))


def cells(
    head: str, values: Sequence[Estimate | None], least: float, *, spread: bool = False
) -> Column:
    """Return a column of amounts, where asked for with half their intervals."""
    shown = align(["" if e is None else money(e, least) for e in values])
    halves = align(["" if e is None or not spread else _half(e, least) for e in values])
    joined = [f"{text} {half}".rstrip() for text, half in zip(shown, halves, strict=True)]
    missing = _NOT_STATED if not spread else ""
    return Column(
        head, tuple(missing if e is None else c for e, c in zip(values, joined, strict=True))
    )


def _half(e: Estimate, least: float) -> str:
    """Return half the interval behind its sign; nothing where it is below the grain."""
    half = max(e.high - e.value, e.value - e.low)
    if not math.isfinite(half) or half < least / 2.0 or half == 0.0:
        return ""
    return f"± {amount(half, max(e.error, least))}"
