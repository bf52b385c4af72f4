"""Failure on demand of one design as text."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rich.text import Text

from shutoffsim.report.text import Column, percent, plus_minus, print_table, wrap
from shutoffsim.study.digits import amount

if TYPE_CHECKING:
    from rich.console import Console

    from shutoffsim.estimate.estimate import Estimate
    from shutoffsim.study.pfd import FailureOnDemand


_MOSTLY = 2.0 / 3.0  # above it, "one leak in" would be a number between 1 and 2
_LEAST_PART = 1e-3  # of the whole probability: a smaller mode is not worth a line


def _large(result: FailureOnDemand) -> dict[str, Estimate]:
    least = _LEAST_PART * result.probability.value
    return {mode: e for mode, e in result.modes.items() if e.value >= least}


def print_failure_on_demand(console: Console, result: FailureOnDemand) -> None:
    """Print the probability of failure on demand, its failure modes and how it was found.

    Parameters
    ----------
    console : rich.console.Console
        Where to, from :func:`shutoffsim.report.text.make_console`.
    result : FailureOnDemand
        From :func:`shutoffsim.study.pfd.failure_on_demand`.
    """
    width = console.width
    title = f"{result.scenario}, “{result.design}”: probability of failure on demand"
    console.print(Text(wrap(title, width), style="bold"))
    console.print(
        wrap("Share of leaks that automation did not stop in time, ± half the 95 % interval", width)
    )
    console.print()
    rows = {**_large(result), "all": result.probability}
    shares = plus_minus("share of all leaks", list(rows.values()), 100.0, "%")
    print_table(console, Column("failure mode", tuple(rows)), [shares], "")
    if len(result.modes) > 1:
        console.print()
        shares = plus_minus("share of all leaks", list(result.subsystems.values()), 100.0, "%")
        print_table(console, Column("subsystem", tuple(result.subsystems)), [shares], "")
    console.print()
    found = result.probability
    if not found.value > 0.0:
        sentence = (
            f"No failure was seen in {result.histories:,} histories: at most one leak in about "
            f"{float(f'{1.0 / found.high:.2g}'):,.0f} is not stopped in time (95 %)."
        )
    elif set(result.modes) == {"no automation"}:
        sentence = "Nothing fitted can stop a leak: automation fails on all of them."
    elif found.value == 1.0:
        sentence = f"Automation stopped no leak in time: it fails on {percent(found)} of them."
    elif found.value > _MOSTLY:
        sentence = f"Automation does not stop {percent(found)} of all leaks in time."
    else:
        leaks = amount(1.0 / found.value, found.error / found.value**2)
        sentence = f"About one leak in {leaks} is not stopped in time ({percent(found)})."
    console.print(wrap(sentence, width))
    if result.subsystems.get("sensing") and result.given_a_demand.value >= 0.0:
        console.print(
            wrap(
                f"Of the leaks that sensing did not miss, {percent(result.given_a_demand)} are not "
                "stopped in time: the failure given a demand.",
                width,
            )
        )
    if not result.reached:
        reason = "" if found.value > 0.0 else ": it is undefined while no failure has been seen"
        console.print(wrap(f"The requested relative error was not reached{reason}.", width))
    facts = (
        f"{result.histories:,} histories of {result.horizon_years:g} years, seed {result.seed}; "
        f"{result.method}; scenario {result.scenario_hash}, shutoffsim {result.version}."
    )
    console.print()
    console.print(wrap(facts, width))
    console.print(
        wrap("An estimate from stated assumptions, not a certified safety figure.", width)
    )
