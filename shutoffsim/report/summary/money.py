"""Amounts, shares and the sentence that answers, as the summary writes them."""

from __future__ import annotations

import math

from shutoffsim.estimate.estimate import Estimate
from shutoffsim.report.text import UNKNOWN, bound, plus_minus, ranges
from shutoffsim.study.comparison import no_difference
from shutoffsim.study.digits import ends, told


def percent(e: Estimate) -> str:
    """Return a share in per cent with half its 95 % interval, or the bound that is known.

    >>> percent(Estimate(0.091, 0.001, 0.089, 0.093))
    '9.1 ± 0.2 %'
    """
    return plus_minus("", [e], 100.0, "%").cells[0].strip() if math.isfinite(e.value) else UNKNOWN


def money(e: Estimate) -> str:
    """Return an amount in honest digits, without currency."""
    return bound(e) or told(e)


def interval(e: Estimate) -> str:
    """Return a 95 % interval as "low to high".

    >>> interval(Estimate(1234.567, 8.0, 1219.0, 1250.0))
    '1,219 to 1,250'
    """
    if not (math.isfinite(e.low) and math.isfinite(e.high)):
        return UNKNOWN
    return ends(e)


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
    change = f"{money(less)} {currency} a year"
    if gap.certain and gap.value == 0.0:
        return (
            f"“{design}” is equal to “{reference}” in every value: expected water damage is the "
            f"same, {money(before)} {currency} a year."
        )
    if not (math.isfinite(gap.low) and math.isfinite(gap.high)):
        return f"The uncertainty of the effect of “{design}” is unknown: run more histories."
    if gap.bounded and gap.value == 0.0:
        return no_difference(design, reference, gap, f"{currency} a year")
    if gap.high < 0.0:
        share = f" ({100.0 * less.value / before.value:.0f} %)" if before.value > 0.0 else ""
        return (
            f"With “{design}” the expected water damage is {change}{share} less than with "
            f"“{reference}”, 95 % interval {interval(less)}."
        )
    if gap.low > 0.0:
        return (
            f"With “{design}” the expected water damage is {money(gap)} {currency} a year more "
            f"than with “{reference}”, 95 % interval {interval(gap)}."
        )
    return (
        f"“{design}” is not clearly better than “{reference}”: the estimated reduction is "
        f"{change}, 95 % interval {interval(less)}."
    )
