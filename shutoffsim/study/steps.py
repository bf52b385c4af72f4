"""Steps: what a change of design alone saves, whom, what it costs, and what is left."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from shutoffsim.estimate import tally as T
from shutoffsim.estimate.estimate import Estimate
from shutoffsim.estimate.tally import Tally
from shutoffsim.study.assessment.worth import annuity, worth

if TYPE_CHECKING:
    from shutoffsim.scenario import Scenario


@dataclass(frozen=True)
class Step:
    """A design against another one, on the same leaks, outages and people.

    Attributes
    ----------
    design, against : str
    saving, owner_saving, insurer_saving : Estimate
        Reduction of expected annual damage, and the parts of it that the owner bears and that the
        policy pays, money a year.
    cost_per_year : float or None
        What it costs more a year: purchase and fitting spread over the service life at the discount
        rate, upkeep, exercises, repairs and hours without water. None: costs are not stated.
    net_per_year : Estimate or None
        Saving less cost.
    """

    design: str
    against: str
    saving: Estimate
    owner_saving: Estimate
    insurer_saving: Estimate
    cost_per_year: float | None
    net_per_year: Estimate | None


def step(scenario: Scenario, names: tuple[str, ...], tally: Tally, d: int, other: int) -> Step:
    """Return design ``d`` against design ``other``, both by their place in a tally."""
    saving, insured, own = savings(tally, d, other)
    design, reference = (scenario.design(names[k]).system for k in (d, other))
    hour = scenario.design(names[0]).system.costs.per_hour_without_water or 0.0
    after, before = (upkeep_by_events(tally, k, hour) for k in (d, other))
    found, _why = worth(design, reference, saving, insured, own, tally.years, (after, before))
    cost = None
    if found is not None:
        spread = annuity(found.discount_rate, found.years)
        cost = found.extra_first / spread + found.extra_per_year
    net = None if cost is None else saving.linear(1.0, -cost)
    return Step(names[d], names[other], saving, own, insured, cost, net)


def savings(tally: Tally, d: int, other: int) -> tuple[Estimate, Estimate, Estimate]:
    """Return the reductions of all damage, of its insured part and of the owner's part."""
    whole, insured, own = (-tally.difference(d, f, other) for f in (T.LOSS, T.INSURED, T.OWN))
    return whole, insured, own


def upkeep_by_events(tally: Tally, d: int, hour: float) -> float:
    """Return the expected cost a year of repairs, and of hours without water at a price each."""
    total = tally.total[d, T.REPAIR_COST] + hour * tally.total[d, T.DRY]
    return float(total / tally.n)


def base_of(scenario: Scenario, names: tuple[str, ...], d: int) -> int:
    """Return the place of the design that design ``d`` is like; of the reference if it is none.

    Designs that are not compared are passed over.
    """
    like = scenario.design(names[d]).like
    while like and like not in names:
        like = scenario.design(like).like
    return names.index(like) if like else 0


def all_steps(
    scenario: Scenario, names: tuple[str, ...], tally: Tally
) -> tuple[tuple[Step, ...], tuple[Step, ...]]:
    """Return every design but the first against the one it is like, and against the reference."""
    others = range(1, len(names))
    steps = [step(scenario, names, tally, d, base_of(scenario, names, d)) for d in others]
    totals = [step(scenario, names, tally, d, 0) for d in others]
    return tuple(steps), tuple(totals)
