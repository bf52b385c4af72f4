"""A break-even as text: from which value on a design pays, and what each value tried gives."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rich.text import Text

from shutoffsim.report.steps import cells
from shutoffsim.report.text import Column, print_table, wrap
from shutoffsim.study.cautions import ESTIMATE

if TYPE_CHECKING:
    from rich.console import Console

    from shutoffsim.study.breakeven import Breakeven


def print_breakeven(console: Console, result: Breakeven) -> None:
    """Print where a design pays, the values tried, and what it rests on.

    Parameters
    ----------
    console : rich.console.Console
    result : Breakeven
        From :func:`shutoffsim.breakeven`.
    """
    width = console.width
    console.print(Text(f"{result.scenario}: break-even", style="bold"))
    console.print(Text(wrap(answer(result), width), style="bold"))
    least = 0.1
    for crossing in result.crossings:
        net = cells("", [crossing.check.net_per_year], least, spread=True).cells[0]
        console.print(
            wrap(f"Run again at {crossing.value}: {net} {result.currency} a year remain.", width)
        )
    console.print()
    rows = [point.step for point in result.points]
    columns = [
        cells("saves", [step.saving for step in rows], least, spread=True),
        cells("costs", [step.cost_per_year for step in rows], least),
        cells("net", [step.net_per_year for step in rows], least, spread=True),
    ]
    head = f"What it saves and costs more, {result.currency} a year, ± half the 95 % interval:"
    console.print(wrap(head, width))
    label = Column(result.key, tuple(point.value for point in result.points))
    print_table(console, label, columns, "before")
    console.print()
    facts = (
        f"{result.histories:,} histories of each value on the same leaks, outages and people, seed "
        f"{result.seed}; all other values as in the file; scenario {result.scenario_hash}, "
        f"shutoffsim {result.version}."
    )
    console.print(wrap(facts, width))
    console.print(wrap(ESTIMATE, width))


def answer(result: Breakeven) -> str:
    """Return one sentence: where it pays."""
    step = f"“{result.design}” against “{result.against}”"
    first, last = result.points[0].value, result.points[-1].value
    now = f"it is {result.in_use} in the file"
    if result.pays in ("always", "never"):
        pays = "pays for itself" if result.pays == "always" else "does not pay for itself"
        return f"{step} {pays} at any {result.key} from {first} to {last}; {now}."
    places = []
    for crossing in result.crossings:
        ends = [end for end in (crossing.low, crossing.high) if end is not None]
        sure = f" (95 % interval {ends[0]} to {ends[1]})" if len(ends) == 2 else ""
        places.append(f"{crossing.value}{sure}")
    if len(places) > 1:
        return f"{step} breaks even at {result.key} = {' and '.join(places)}; {now}."
    return f"{step} pays for itself where {result.key} is {result.pays} {places[0]}; {now}."
