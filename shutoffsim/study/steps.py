"""Steps: what a change of design alone saves, whom, what it costs, and what is left."""

from __future__ import annotations

import math
from dataclasses import dataclass, fields
from typing import TYPE_CHECKING, Any

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
    cost_per_year : Estimate or None
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
    cost_per_year: Estimate | None
    net_per_year: Estimate | None

    def row(self) -> dict[str, Any]:
        """Return the values for a row of a table; nan where costs are not stated."""
        values = {known.name: getattr(self, known.name) for known in fields(self)[2:]}
        return {
            "step_against": self.against,
            **{f"step_{name}": math.nan if e is None else e.value for name, e in values.items()},
        }


def step(scenario: Scenario, names: tuple[str, ...], tally: Tally, d: int, other: int) -> Step:
    """Return design ``d`` against design ``other``, both by their place in a tally."""
    saving, insured, own = savings(tally, d, other)
    design, reference = (scenario.design(names[k]).system for k in (d, other))
    found, _why = worth(design, reference, saving, insured, own, tally.years)
    cost = net = None
    if found is not None:
        stated = found.extra_first / annuity(found.discount_rate, found.years)
        stated += found.extra_per_year
        cost = tally.difference(d, T.RUNNING, other).linear(1.0, stated)
        net = tally.difference(d, T.OUTLAY, other).linear(-1.0, -stated)
    return Step(names[d], names[other], saving, own, insured, cost, net)


def savings(tally: Tally, d: int, other: int) -> tuple[Estimate, Estimate, Estimate]:
    """Return the reductions of all damage, of its insured part and of the owner's part."""
    whole, insured, own = (-tally.difference(d, f, other) for f in (T.LOSS, T.INSURED, T.OWN))
    return whole, insured, own


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
