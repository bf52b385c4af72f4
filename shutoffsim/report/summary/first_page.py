"""The first page: the answer, the site and what is fitted, losses, alternatives."""

from __future__ import annotations

import math
from typing import Any, Final

from shutoffsim.estimate.estimate import Estimate
from shutoffsim.model.elements import ELEMENTS
from shutoffsim.report.summary import facts
from shutoffsim.report.summary.letters import PICTURE, short
from shutoffsim.report.summary.money import (
    answer,
    money,
    money_range,
    percent,
)
from shutoffsim.report.summary.picture import as_svg, draw_curves
from shutoffsim.report.summary.subject import LONGEST_NAME, Subject
from shutoffsim.report.text import UNKNOWN
from shutoffsim.report.wording import closes
from shutoffsim.report.worlds import known
from shutoffsim.study.assessment.loss_parts import PeriodLoss, Times
from shutoffsim.study.assessment.result import DesignAssessment
from shutoffsim.study.comparison import DesignResult
from shutoffsim.study.digits import amount, ends, interval_words
from shutoffsim.study.words import duration

_MOST_DESIGNS: Final = 6
_TOLD_PERIODS: Final = (10.0, 50.0, 250.0)
_SHARES: Final = (0.5, 0.9)
_NO_LOSS: Final = "no loss"


def summary_answer(subject: Subject) -> str:
    """Return the sentence that answers the summary's question."""
    name = short(subject.design, LONGEST_NAME)
    gap, reference = subject.gap, subject.reference
    damage, currency = subject.result.expected_annual_damage, subject.assessment.currency
    if gap is None or reference is None:
        return (
            f"With “{name}” the expected water damage is {money(damage)} {currency} a year, "
            f"{interval_words(damage)}."
        )
    before = reference.expected_annual_damage
    return answer(name, short(reference.name, LONGEST_NAME), gap, before, currency)


def known_of(subject: Subject) -> str:
    """Return how far off that may be by what nobody knows; empty where that was not asked."""
    comparison = subject.assessment.comparison
    if subject.gap is None or comparison.worlds is None:
        return ""
    if comparison.most_reducing().design != subject.design:
        return ""
    return known(comparison)


def tiles(subject: Subject) -> list[dict[str, str]]:
    """Return the few figures that matter most."""
    currency = subject.assessment.currency
    first, second = subject.words
    damage = subject.result.expected_annual_damage
    label = "Expected annual damage"
    if subject.reference is not None and subject.gap is not None:
        before = subject.reference.expected_annual_damage
        less = -subject.gap
        found = [
            _money_tile(f"{label}, {first}", before, currency),
            _money_tile(f"{label}, {second}", damage, currency),
            _money_tile("Reduction a year", less, currency),
        ]
    else:
        found = [_money_tile(label, damage, currency)]
    demand = subject.told.demand
    if not subject.leaks:
        note, value = "no leak was simulated", UNKNOWN
    elif closes(subject.values):
        note = f"of leaks are not stopped in time by automation; {demand.evidence_class}"
        value = percent(demand.probability)
    else:
        note, value = "nothing closes automatically: people stop every leak", "no automation"
    found.append({"label": "Failure on demand (PFD)", "value": value, "note": note})
    if subject.reference is None:
        found.insert(
            1,
            {
                "label": "Leaks a year",
                "value": money(subject.result.leaks_per_year),
                "note": f"of these with damage: {money(subject.result.damaging_leaks_per_year)}",
            },
        )
    return found


def _money_tile(label: str, e: Estimate, currency: str) -> dict[str, str]:
    return {
        "label": label,
        "value": f"{money(e)} {currency}",
        "note": interval_words(e),
    }


def first_page(subject: Subject) -> list[dict[str, Any]]:
    """Return the parts of the first page below its tiles, in order."""
    return [
        _site_and_protection(subject),
        *_gains(subject),
        _losses(subject),
        *_times(subject),
        *_alternatives(subject),
    ]


def _site_and_protection(subject: Subject) -> dict[str, Any]:
    values = subject.values
    return {
        "kind": "pair",
        "left": [{"title": "The site", "facts": facts.site_rows(values)}],
        "right": [{"title": "The protection", "facts": facts.protection_rows(values)}],
    }


def _gains(subject: Subject) -> list[dict[str, Any]]:
    """Return how often damage is done and how large it is, and who gains what at which cost."""
    shown = [d for d in (subject.reference, subject.result) if d is not None]
    rows = [
        ["a leak that does damage, once in", *(_once(d.damaging_leaks_per_year) for d in shown)],
        ["its mean loss", *(_mean_loss(d) for d in shown)],
    ]
    claims = [subject.assessment.design(d.name).claims for d in shown]
    if all(each is not None for each in claims):
        known = [each for each in claims if each is not None]
        rows += [
            ["a loss above the deductible, once in", *(_once(each.per_year) for each in known)],
            ["what the policy pays for it", *(money(each.mean) for each in known)],
        ]
    currency = subject.assessment.currency
    totals = subject.assessment.comparison.totals
    total = next((step for step in totals if step.design == subject.design), None)
    note = ""
    if total is not None:
        cost = total.cost_per_year
        costs = "not stated" if cost is None else f"{money(cost)} {currency}, repairs included"
        note = (
            f"A year the owner saves {money(total.owner_saving)} {currency}, the insurer "
            f"{money(total.insurer_saving)} {currency}; what it costs the owner: {costs}."
        )
    head = [f"claims, {currency}", *subject.words[2 - len(shown) :]]
    return [table("How often, how much, for whom", head, rows, note)]


def _once(rate: Estimate) -> str:
    if not (rate.value > 0.0 and math.isfinite(rate.error)):
        return UNKNOWN
    return f"{amount(1.0 / rate.value, max(rate.error / rate.value**2, 1.0))} years"


def _mean_loss(design: DesignResult) -> str:
    """Return the damage of a damaging leak, in the digits that both its parts support."""
    damage, rate = design.expected_annual_damage, design.damaging_leaks_per_year
    if not (damage.value > 0.0 and rate.value > 0.0):
        return UNKNOWN
    mean = damage.value / rate.value
    return amount(mean, mean * (damage.error / damage.value + rate.error / rate.value))


def _losses(subject: Subject) -> dict[str, Any]:
    assessment = subject.assessment
    first, second = subject.words
    shown = [(second, subject.told)]
    if subject.reference is not None:
        shown.insert(0, (first, assessment.design(subject.reference.name)))
    curves = [(label, told.yearly_loss) for label, told in shown]
    periods = [told.yearly_loss.periods for _, told in shown]
    rows = _period_rows(periods)
    seen = any(point.aggregate.value > 0.0 for _, loss in curves for point in loss.curve)
    return {
        "kind": "losses",
        "title": "How large a loss, how often",
        PICTURE: as_svg(draw_curves(curves, assessment.currency)) if seen else "",
        "told": _told(shown, assessment.currency),
        "table": {
            "head": ["once in", *(label for label, _ in shown)],
            "rows": rows,
        },
        "note": _losses_note(subject, periods),
    }


def _period_rows(periods: list[tuple[PeriodLoss, ...]]) -> list[list[str]]:
    """Return a row for each period; those in which nothing is lost share one."""
    rows: list[list[str]] = []
    for row in zip(*periods, strict=True):
        when = f"{row[0].period_years:,g} years"
        losses = [_period_loss(one) for one in row]
        if rows and losses == rows[-1][1:] == [_NO_LOSS] * len(losses):
            rows.pop()
            when = f"up to {when}"
        rows.append([when, *losses])
    return rows


def _period_loss(loss: PeriodLoss) -> str:
    e = loss.aggregate
    if e.value == 0.0:
        shown = f"at most {ends(e).split(' to ')[1]}" if e.high > 0.0 else _NO_LOSS
    else:
        shown = money_range(e)
    return shown if loss.resolved else f"{shown} *"


def _told(shown: list[tuple[str, DesignAssessment]], currency: str) -> str:
    parts = []
    for label, told in shown:
        periods = told.yearly_loss.periods
        usual = [p for p in periods if p.period_years in _TOLD_PERIODS]
        losses = [
            f"{money(p.aggregate)} {currency} once in {p.period_years:,g} years"
            if p.aggregate.value > 0.0
            else f"nothing, except in at most one year in {p.period_years:,g}"
            for p in usual or periods
        ]
        parts.append(f"{label}: " + (", ".join(losses) or "no losses"))
    return (
        "Curves of the chance that the losses of a year exceed an amount, on logarithmic axes. "
        + "; ".join(parts)
        + "."
    )


def _losses_note(subject: Subject, periods: list[tuple[PeriodLoss, ...]]) -> str:
    currency = subject.assessment.currency
    note = f"Sum of a year's losses, {currency}, by return period (95 % interval)."
    if any(not loss.resolved for own in periods for loss in own):
        note += " * rests on too few simulated leaks."
    own = subject.result.insured_annual_damage
    insured = f"{money(own)} {currency}"
    if subject.reference is not None:
        before = subject.reference.insured_annual_damage
        insured = f"{money(before)} {currency} {subject.words[0]}, {insured} {subject.words[1]}"
    return f"{note} A policy with the deductible and limit above would pay, a year: {insured}."


def _times(subject: Subject) -> list[dict[str, Any]]:
    first, second = subject.words
    steps = [("until automation detects it", "onset to sensed", subject.told)]
    stopped = "until the flow has stopped"
    if subject.reference is None:
        steps.append((stopped, "onset to stopped", subject.told))
    else:
        reference = subject.assessment.design(subject.reference.name)
        steps.append((f"{stopped}, {second}", "onset to stopped", subject.told))
        steps.append((f"{stopped}, {first}", "onset to stopped", reference))
    rows = [
        [label, *(_within(times, share) for share in _SHARES)]
        for label, step, told in steps
        for times in told.times
        if times.step == step and times.never.value < 1.0
    ]
    if not rows:
        return []
    head = ["from the start of a leak", "half of leaks within", "nine in ten within"]
    return [table("How long a leak runs", head, rows)]


def _within(times: Times, share: float) -> str:
    """Return the time by which a step is done for a share of leaks."""
    for quantile in times.quantiles:
        if quantile.share == share:
            return "never" if quantile.time_s is None else duration(quantile.time_s.value)
    return UNKNOWN


def _alternatives(subject: Subject) -> list[dict[str, Any]]:
    comparison = subject.assessment.comparison
    if len(comparison.designs) < 3:
        return []
    kept = {subject.design, subject.assessment.reference}
    others = sorted(
        (d for d in comparison.designs if d.name not in kept),
        key=lambda d: d.expected_annual_damage.value,
    )[: _MOST_DESIGNS - len(kept)]
    names = kept | {design.name for design in others}
    rows = [
        [
            short(design.name, LONGEST_NAME),
            money_range(design.expected_annual_damage),
            money(design.insured_annual_damage),
            percent(design.probability_of_failure_on_demand)
            if ELEMENTS[subject.assessment.design(design.name).element].closes
            else "nothing closes",
        ]
        for design in comparison.designs
        if design.name in names
    ]
    left = len(comparison.designs) - len(rows)
    more = f" {left} more {'was' if left == 1 else 'were'} compared." if left else ""
    note = f"Each design meets the same leaks, outages and people.{more}"
    damage = f"expected annual damage, {comparison.currency} (95 % interval)"
    head = ["design", damage, "insured part", "failure on demand"]
    return [table("Alternatives", head, rows, note)]


def table(title: str, head: list[str], rows: list[list[str]], note: str = "") -> dict[str, Any]:
    """Return a table as a part of a page."""
    return {
        "kind": "table",
        "title": title,
        "table": {"head": head, "rows": rows},
        "note": note,
    }
