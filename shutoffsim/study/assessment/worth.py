"""Cost and benefit of a design against the reference.

Net present value = (saving - extra yearly cost) x annuity - extra cost at once, with the annuity
(1 - (1 + i)^-n) / i of yearly payments at the ends of n years at discount rate i. The saving is
taken as the same every year: the mean over the service life.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from shutoffsim.estimate.estimate import Estimate
from shutoffsim.model import layout as L
from shutoffsim.study.assessment.loss_parts import Payback, Worth

if TYPE_CHECKING:
    from shutoffsim.scenario.schema import System

_LONGEST = 1000.0  # years


def worth(
    design: System,
    reference: System,
    saving: Estimate,
    insured: Estimate,
    own: Estimate,
    years: float,
    repairs: tuple[float, float] = (0.0, 0.0),
) -> tuple[Worth | None, str]:
    """Return cost and benefit, or None and why there is none.

    Parameters
    ----------
    design, reference : System
        Resolved.
    saving, insured, own : Estimate
        Reduction of expected annual damage, of its insured part, and of the owner's part.
    years : float
        Service life.
    repairs : tuple of float
        Expected yearly cost of repairs and of hours without water, of the design and of the
        reference.
    """
    costs, before = design.costs, reference.costs
    parts = ("purchase", "fitting", "upkeep_per_year")
    missing = tuple(name for name in parts if getattr(costs, name) is None)
    if len(missing) == len(parts):
        return None, "the scenario states no costs of this design"
    unstated = all(getattr(before, name) is None for name in parts)
    if unstated and reference.element.traits.automated:
        return None, "the scenario states no costs of the reference"
    exercise, exercise_before = exercise_cost(design), exercise_cost(reference)
    first = (costs.purchase or 0.0) + (costs.fitting or 0.0)
    first -= (before.purchase or 0.0) + (before.fitting or 0.0)
    yearly = (costs.upkeep_per_year or 0.0) + exercise + repairs[0]
    yearly -= (before.upkeep_per_year or 0.0) + exercise_before + repairs[1]
    rate = costs.discount_rate
    factor = annuity(rate, years)
    return (
        Worth(
            purchase=costs.purchase or 0.0,
            fitting=costs.fitting or 0.0,
            upkeep_per_year=costs.upkeep_per_year or 0.0,
            exercise_per_year=exercise,
            repairs_per_year=repairs[0],
            not_stated=missing,
            extra_first=first,
            extra_per_year=yearly,
            discount_rate=rate,
            years=years,
            saving_per_year=saving,
            insured_saving_per_year=insured,
            own_saving_per_year=own,
            net_present_value=saving.linear(factor, -yearly * factor - first),
            own_net_present_value=own.linear(factor, -yearly * factor - first),
            worth_up_to=saving.linear(factor, -yearly * factor),
            payback=_payback(saving, yearly, first, 0.0),
            discounted_payback=_payback(saving, yearly, first, rate),
        ),
        "",
    )


def exercise_cost(design: System) -> float:
    """Return what the scheduled exercises of a year cost."""
    if not design.element.traits.closes or not math.isfinite(design.exercise.interval):
        return 0.0
    return (design.costs.per_exercise or 0.0) * L.YEAR / design.exercise.interval


def annuity(rate: float, years: float) -> float:
    """Return the present value of 1 at the end of each of ``years`` years at a yearly ``rate``.

    Examples
    --------
    >>> round(annuity(0.05, 10.0), 4), annuity(0.0, 10.0)
    (7.7217, 10.0)
    """
    return years if rate == 0.0 else -math.expm1(-years * math.log1p(rate)) / rate


def _payback(saving: Estimate, yearly: float, first: float, rate: float) -> Payback:
    # A greater saving pays back sooner, so the ends change places.
    times = (saving.value, saving.high, saving.low)
    return Payback(*(payback_time(value - yearly, first, rate) for value in times))


def payback_time(net: float, first: float, rate: float) -> float | None:
    """Return the years until ``net`` a year has paid ``first``; None: never, or after 1000 years.

    Examples
    --------
    >>> payback_time(50.0, 200.0, 0.0)
    4.0
    >>> round(payback_time(50.0, 200.0, 0.05), 3)
    4.574
    """
    if first <= 0.0:
        return 0.0 if net >= 0.0 or first == 0.0 else None
    if not net > 0.0:
        return None
    if rate == 0.0:
        years = first / net
    else:
        left = 1.0 - first * rate / net
        if left <= 0.0:
            return None
        years = -math.log(left) / math.log1p(rate)
    return years if years <= _LONGEST else None
