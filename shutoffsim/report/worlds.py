"""What nobody knows, in words and a table: kept apart from the intervals of the simulation."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

from shutoffsim.report.text import Column, align, bullet, pack, wrap
from shutoffsim.study.digits import amount

if TYPE_CHECKING:
    from rich.console import RenderableType

    from shutoffsim.study.comparison import Comparison
    from shutoffsim.study.worlds.result import OverWorlds, UnknownWorth, Worlds

_LEAST_WORLDS = 20  # with fewer, 5 % are less than one
_LEAST_SHARE = 0.01  # of the largest reduction: what is worth less is not worth a measurement
_LEAST_WORTH = 1.0  # currency a year
_NAMES_SHOWN = 3


def worlds_pieces(
    result: Comparison, width: int
) -> tuple[list[str], list[RenderableType], list[str]]:
    """Return what a comparison over worlds says: the answer, the ranges, what to find out first.

    Parameters
    ----------
    result : Comparison
        Without worlds there is nothing to print.
    width : int
        Letters in a line.
    """
    worlds = result.worlds
    if worlds is None:
        return [], [], []
    answer = [wrap(known(result), width)]
    if worlds.unknowns == 0 or worlds.worlds < _LEAST_WORLDS:
        return answer, [], []
    lead = (
        f"Over {worlds.worlds:,} worlds, with {worlds.unknowns} values drawn that nobody knows: "
        "mean, and in brackets the range of nine worlds in ten. It is no interval of the "
        "simulation; more histories would not narrow it:"
    )
    tables: list[RenderableType] = ["\n" + wrap(lead, width) + "\n"]
    label = Column("design", tuple(design.name for design in worlds.designs))
    for part in pack(label, _columns(result.currency, worlds), width):
        tables += ["\n", part]
    return answer, tables, _first(result.currency, worlds, width)


def known(result: Comparison) -> str:
    """Return one sentence: how far off the answer may be by what nobody knows; empty: unasked."""
    worlds = result.worlds
    if worlds is None:
        return ""
    if worlds.unknowns == 0:
        return "Every value is stated or documented, so there is nothing that nobody knows."
    if worlds.worlds < _LEAST_WORLDS:
        return (
            f"Too few worlds to say how sure that is given what nobody knows: {worlds.worlds} of "
            f"at least {_LEAST_WORLDS}."
        )
    unit = f"{result.currency} a year in nine worlds of ten"
    if not result.differences:
        damage = worlds.designs[0].expected_annual_damage
        return f"Given what nobody knows, it costs {_between(damage, worlds.worlds)} {unit}."
    name = result.most_reducing().design
    design = worlds.design(name)
    gap = design.difference
    assert gap is not None
    told = "it" if name == result.best else f"“{name}”"
    if gap.p5 == gap.p95 == 0.0:
        return f"Given what nobody knows, {told} makes no difference in any world."
    error = _error(gap, worlds.worlds)
    if gap.p95 < 0.0:
        saves = f"saves between {amount(-gap.p95, error)} and {amount(-gap.p5, error)} {unit}"
    elif gap.p5 > 0.0:
        saves = f"costs between {amount(gap.p5, error)} and {amount(gap.p95, error)} {unit} more"
    else:
        less, more = amount(-gap.p5, error), amount(gap.p95, error)
        saves = f"saves up to {less} or costs up to {more} {unit}"
    best = round(design.least_damage * worlds.worlds)
    return (
        f"Given what nobody knows, {told} {saves}; it has the least expected damage in {best:,} "
        f"of {worlds.worlds:,} worlds."
    )


def _columns(currency: str, worlds: Worlds) -> list[Column]:
    designs, n = worlds.designs, worlds.worlds
    damages = [design.expected_annual_damage for design in designs]
    least = [design.least_damage for design in designs]
    columns = [
        Column(f"expected annual damage, {currency}: mean (what is not known)", _ranges(damages, n))
    ]
    if len(designs) > 1:
        columns.append(_counts("damage", least, n))
    costs = [design.total_cost for design in designs if design.total_cost is not None]
    if len(designs) > 1 and len(costs) == len(designs):
        shares = [design.least_cost or 0.0 for design in designs]
        columns += [
            Column(f"total cost a year, {currency}: mean (what is not known)", _ranges(costs, n)),
            _counts("cost", shares, n),
        ]
    return columns


def _counts(what: str, shares: Sequence[float], n: int) -> Column:
    cells = align([f"{round(share * n, 1):g}" for share in shares])
    return Column(f"least {what}, worlds of {n:,}", cells)


def _first(currency: str, worlds: Worlds, width: int) -> list[str]:
    """Return lines about what is worth finding out."""
    least = max(_LEAST_SHARE * worlds.reduction, _LEAST_WORTH)
    worth = [each for each in worlds.first if each.worth_per_year >= least]
    lines = []
    if len(worlds.designs) > 1:
        low, high = (_money(value) for value in worlds.information)
        whole = f"about {high}" if low == high else f"between {low} and {high}"
        whole = "less than 0.1" if high == "0.0" else whole
        what = (
            "Worth finding out first:" if worth else "For this choice nothing is worth measuring."
        )
        lines.append(
            f"To know all of it before choosing by {worlds.decision} would be worth {whole} "
            f"{currency} a year. {what}"
        )
    lines += [
        f"- {_named(each)}, now {each.value}: {_money(each.worth_per_year)} {currency} a year"
        for each in worth
    ]
    if worlds.moved_back:
        moved = ", ".join(f"{key} in {count}" for key, count in worlds.moved_back.items())
        lines.append(f"Moved back as far as needed to be allowed, in how many worlds: {moved}.")
    shown = [bullet(x[2:], width) if x.startswith("- ") else wrap(x, width) for x in lines]
    return [f"{line}\n" for line in shown]


def _named(unknown: UnknownWorth) -> str:
    names = unknown.entries
    if not names:
        return unknown.key
    more = f" and {len(names) - _NAMES_SHOWN} more" if len(names) > _NAMES_SHOWN else ""
    return f"{unknown.key} ({', '.join(names[:_NAMES_SHOWN])}{more})"


def _ranges(figures: Sequence[OverWorlds], n: int) -> tuple[str, ...]:
    return tuple(
        f"{amount(f.mean, _error(f, n))} ({amount(f.p5, _error(f, n))} to "
        f"{amount(f.p95, _error(f, n))})"
        for f in figures
    )


def _between(figure: OverWorlds, n: int) -> str:
    error = _error(figure, n)
    return f"between {amount(figure.p5, error)} and {amount(figure.p95, error)}"


def _error(figure: OverWorlds, n: int) -> float:
    """Return roughly how far off the ends are by the number of worlds."""
    return (figure.p95 - figure.p5) / math.sqrt(n)


def _money(value: float) -> str:
    return f"{value:,.0f}" if value >= 10.0 else f"{value:.1f}"
