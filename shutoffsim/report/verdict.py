"""The verdict of a comparison: what to do, and what it is worth to whom."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import TYPE_CHECKING

from shutoffsim.report.modes import MODES
from shutoffsim.report.text import percent
from shutoffsim.study.digits import amount

if TYPE_CHECKING:
    from shutoffsim.estimate.estimate import Estimate
    from shutoffsim.study.comparison import Comparison, DesignResult
    from shutoffsim.study.steps import Step

_WORTH_A_WORD = 0.05  # of all leaks


def verdict(result: Comparison) -> Iterator[str]:
    """Yield the sentences below the first: whom it helps, how often, what it costs, what is left.

    Parameters
    ----------
    result : Comparison
        From :func:`shutoffsim.compare`.
    """
    total = next((step for step in result.totals if step.design == result.best), None)
    if total is None:
        return
    best = _named(result, total.design)
    unit = f"{result.currency} a year"
    owner, insurer = _value(total.owner_saving), _value(total.insurer_saving)
    yield f"Of this the owner saves {owner} and the insurer {insurer} {unit}."
    often, before = (_years(d.damaging_leaks_per_year) for d in (best, result.designs[0]))
    if often and before:
        yield f"A damaging leak then comes once in {often} years instead of {before}."
    yield from _money(result, total)
    yield from _remains(best)


def _named(result: Comparison, name: str) -> DesignResult:
    return next(design for design in result.designs if design.name == name)


def _cash(value: float, error: float = 0.0) -> str:
    """Return an amount of money in the digits that its error supports, one decimal at most.

    >>> _cash(7.874, 0.02), _cash(434.2, 3.0), _cash(0.0002)
    ('7.9', '434', '0')
    """
    text = amount(value, max(error, 0.1) if math.isfinite(error) else 0.1)
    return "0" if float(text.replace(",", "")) == 0.0 else text


def _value(e: Estimate) -> str:
    if e.bounded and e.value == 0.0:
        return "none seen"
    return _cash(e.value, e.error)


def _years(rate: Estimate) -> str:
    """Return once in how many years something comes; empty: it was never seen."""
    if not rate.value > 0.0 or not rate.error > 0.0:
        return ""
    return amount(1.0 / rate.value, max(rate.error / rate.value**2, 1.0))


def _money(result: Comparison, total: Step) -> Iterator[str]:
    """Yield what it costs, and which design is worth most after its cost."""
    unit = f"{result.currency} a year"
    if total.cost_per_year is None or total.net_per_year is None:
        yield "What it costs is not stated in the file (costs.purchase and others)."
        return
    net = total.net_per_year
    sentence = f"It costs {_value(total.cost_per_year)} {unit}, repairs included"
    if net.value >= 0.0:
        yield f"{sentence}: {_value(net)} remain; {_owner_alone(total)}"
    else:
        yield f"{sentence}: {_value(-net)} more than it saves; {_owner_alone(total)}"
    nets = [step for step in result.totals if step.net_per_year is not None]
    most = max(nets, key=_net)
    if most.design != total.design and _net(most) > _net(total):
        if _net(most) > 0.0:
            assert most.net_per_year is not None
            yield (
                f"After its cost “{most.design}” leaves most: {_value(most.net_per_year)} {unit} "
                f"of {_value(most.saving)} saved."
            )
        else:
            yield "No design saves more than it costs."


def _owner_alone(total: Step) -> str:
    """Return what is left for the owner, who bears the cost; the errors may go together."""
    assert total.cost_per_year is not None
    rest = total.owner_saving.value - total.cost_per_year.value
    error = total.owner_saving.error + total.cost_per_year.error
    return f"the owner alone {'gains' if rest >= 0.0 else 'loses'} {_cash(abs(rest), error)}."


def _net(step: Step) -> float:
    assert step.net_per_year is not None
    return step.net_per_year.value


def _remains(design: DesignResult) -> Iterator[str]:
    """Yield the most frequent reason why it still fails, and what makes it rarer."""
    failures = {mode: share for mode, share in design.failure_modes.items() if mode in MODES}
    if not failures:
        return
    mode, share = next(iter(failures.items()))
    if share.value < _WORTH_A_WORD:
        return
    if mode == "no automation":
        yield (
            f"At {percent(share)} of all leaks the actuator has been taken off again, too weak for "
            "the valve: a stronger class, or a new valve."
        )
    else:
        yield (
            f"What still fails most often: {mode}, {percent(share)} of all leaks. What makes it "
            f"rarer: {MODES[mode].remedy}."
        )
