"""A portfolio as text."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rich.text import Text

from shutoffsim.report.text import Column, plus_minus, print_table, ranges, wrap
from shutoffsim.study.cautions import ESTIMATE
from shutoffsim.study.digits import amount
from shutoffsim.study.portfolio.result import rough_error

if TYPE_CHECKING:
    from rich.console import Console

    from shutoffsim.estimate.estimate import Estimate
    from shutoffsim.study.portfolio import PortfolioResult

_SHOWN = 10  # failures that are printed


def print_portfolio(console: Console, result: PortfolioResult, file: str) -> None:
    """Print the figures of a whole portfolio, and which dwellings could not be run.

    Parameters
    ----------
    console : rich.console.Console
    result : PortfolioResult
        From :func:`shutoffsim.study.portfolio.portfolio`.
    file : str
        The table of dwellings.
    """
    width = console.width
    many = f"{result.dwellings:,} dwelling{'' if result.dwellings == 1 else 's'}"
    console.print(Text(f"{result.scenario}: {many}", style="bold"))
    console.print(wrap("with the 95 % interval of the simulation", width))
    label = Column("whole portfolio", ("all dwellings",))
    print_table(console, label, _totals(result), "before")
    if result.curves:
        _print_curves(console, result)
    console.print()
    console.print(Text(wrap(result.answer(), width), style="bold"))
    console.print()
    for note in result.notes:
        console.print(wrap(f"{note[0].upper()}{note[1:]}.", width))
    console.print(
        wrap(
            "The intervals cover the simulation only: the scenario and the table of dwellings are "
            "taken as correct.",
            width,
        )
    )
    if result.failed:
        _print_failures(console, result, file)
    console.print()
    console.print(
        wrap(
            f"{result.histories:,} histories of {result.horizon_years:g} years a dwelling, "
            f"{result.probes} probes each, seed {result.seed}; scenario {result.scenario_hash}, "
            f"shutoffsim {result.version}.",
            width,
        )
    )
    console.print(wrap(ESTIMATE, width))


def _totals(result: PortfolioResult) -> list[Column]:
    return [
        ranges(f"expected annual damage, {result.currency}", [result.expected_annual_damage]),
        ranges(f"insured part, {result.currency} a year", [result.insured_annual_damage]),
        plus_minus("leaks a year", [result.leaks_per_year]),
        plus_minus("damaging leaks a year", [result.damaging_leaks_per_year]),
        plus_minus(
            "probability of failure on demand",
            [result.probability_of_failure_on_demand],
            100.0,
            "%",
        ),
    ]


def _print_curves(console: Console, result: PortfolioResult) -> None:
    periods = sorted({years for curve in result.curves.values() for years in curve.at_periods})
    if not periods:
        return
    heads = {"occurrence": "largest event of a year", "aggregate": "all losses of a year"}
    label = Column("once in ... years", tuple(f"{years:,g} years" for years in periods))
    columns = [
        Column(
            f"{heads[name]} exceeds, {result.currency}",
            tuple(_loss(curve.at_periods.get(years)) for years in periods),
        )
        for name, curve in result.curves.items()
    ]
    print_table(console, label, columns, "before")


def _loss(e: Estimate | None) -> str:
    """Return an amount with its interval; its digits follow from that."""
    if e is None:
        return "not resolved"
    error = rough_error(e)
    high = "?" if e.high == float("inf") else amount(e.high, error)
    return f"{amount(e.value, error)} ({amount(e.low, error)} to {high})"


def _print_failures(console: Console, result: PortfolioResult, file: str) -> None:
    console.print()
    more = f" (the first {_SHOWN})" if result.failed > _SHOWN else ""
    console.print(wrap(f"Rows that could not be run: {result.failed:,}{more}", console.width))
    for failure in result.failures[:_SHOWN]:
        console.print(f"{file}, row {failure.row} (“{failure.dwelling}”): {failure.problem}")
