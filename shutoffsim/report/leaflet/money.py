"""Amounts, shares and the sentence that answers, as the summary writes them."""

from __future__ import annotations

import math

from shutoffsim.estimate.estimate import Estimate
from shutoffsim.report.text import plus_minus, ranges
from shutoffsim.study.compare import amount

UNKNOWN = "unknown"


def percent(e: Estimate) -> str:
    """Return a share in per cent with half its 95 % interval, or the bound that is known.

    >>> percent(Estimate(0.091, 0.001, 0.089, 0.093))
    '9.1 ± 0.2 %'
    """
    return plus_minus("", [e], 100.0, "%").cells[0].strip() if math.isfinite(e.value) else UNKNOWN


def money(e: Estimate) -> str:
    """Return an amount in honest digits, without currency."""
    return amount(e.value, e.std_error)


def interval(e: Estimate) -> str:
    """Return a 95 % interval as "low to high".

    >>> interval(Estimate(1234.567, 8.0, 1219.0, 1250.0))
    '1,219 to 1,250'
    """
    if not all(map(math.isfinite, (e.low, e.high, e.std_error))):
        return UNKNOWN
    return f"{amount(e.low, e.std_error)} to {amount(e.high, e.std_error)}"


def money_range(e: Estimate) -> str:
    """Return an amount with its interval behind it."""
    return ranges("", [e]).cells[0].strip() or UNKNOWN


def answer(design: str, reference: str, gap: Estimate, before: Estimate, currency: str) -> str:
    """Return the sentence that answers what a design is worth in damage.

    Parameters
    ----------
    design, reference : str
    gap : Estimate
        Paired difference of expected annual damage, design minus reference.
    before : Estimate
        Expected annual damage of the reference.
    currency : str
    """
    less = -gap
    told = f"{money(less)} {currency} a year"
    if not math.isfinite(gap.std_error):
        return f"One history tells nothing of how sure the effect of “{design}” is: run more."
    if gap.high < 0.0:
        share = f" ({100.0 * less.value / before.value:.0f} %)" if before.value > 0.0 else ""
        return (
            f"With “{design}” the expected water damage is {told}{share} less than with "
            f"“{reference}”, 95 % interval {interval(less)}."
        )
    if gap.low > 0.0:
        return (
            f"With “{design}” the expected water damage is {money(gap)} {currency} a year more "
            f"than with “{reference}”, 95 % interval {interval(gap)}."
        )
    return (
        f"“{design}” is not clearly better than “{reference}”: the estimated reduction is {told}, "
        f"95 % interval {interval(less)}."
    )
