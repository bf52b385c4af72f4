"""The second page: what lets water through, what it depends on, upkeep, limits, cautions."""

from __future__ import annotations

from typing import Any, Final

from shutoffsim.report.summary import dependence
from shutoffsim.report.summary.first_page import table
from shutoffsim.report.summary.letters import sentence
from shutoffsim.report.summary.money import money_range, percent
from shutoffsim.report.summary.subject import Subject
from shutoffsim.report.text import brief
from shutoffsim.report.wording import NOT_COVERED, closes, commissioning, residual_risks, upkeep
from shutoffsim.scenario.entries import YOURS
from shutoffsim.scenario.library import EVIDENCE
from shutoffsim.study.cautions import fitting

_MOST_MODES: Final = 7
_LABELS: Final = {YOURS: "of this site", "assumption": "assumptions"}


def second_page(subject: Subject) -> list[dict[str, Any]]:
    """Return the parts of the second page, in order."""
    values, result = subject.values, subject.result
    shares = {mode: e.value for mode, e in result.failure_modes.items()}
    risks = [
        f"{sentence(risk)} What helps: {remedy}." for risk, remedy in residual_risks(values, shares)
    ]
    nuisance = result.nuisance_closings_per_year
    return [
        *_modes(subject),
        {
            "kind": "pair",
            "left": [
                {
                    "title": "Dependence on power",
                    "items": dependence.on_power(values, result.failure_modes, leaks=subject.leaks),
                },
                {
                    "title": "Dependence on people",
                    "items": dependence.on_people(values, nuisance),
                },
                {
                    "title": "To be tested at installation",
                    "items": [f"{task.what} ({task.who})." for task in commissioning(values)],
                },
            ],
            "right": [
                {"title": "Testing and upkeep", "tasks": _tasks(subject)},
                {"title": "What the figures rest on", "items": _evidence(subject)},
            ],
        },
        *([{"kind": "list", "title": "Residual risks", "items": risks}] if risks else []),
        {
            "kind": "pair",
            "left": [{"title": "What the estimate does not cover", "items": list(NOT_COVERED)}],
            "right": [{"title": "Cautions", "items": list(_heed(subject))}],
        },
    ]


def _tasks(subject: Subject) -> list[tuple[str, str]]:
    tasks = [(f"{task.what} ({task.who})", task.when) for task in upkeep(subject.values)]
    limits = subject.told.maintenance.limits
    if limits is not None:
        tasks.append(
            (
                "Call for service",
                f"when closing takes more than {brief(limits.closing_time_limit_s)} s, or draws "
                f"more than {brief(limits.current_limit_a)} A",
            )
        )
    return tasks


def _heed(subject: Subject) -> tuple[str, ...]:
    own = subject.result if closes(subject.values) else None
    return fitting(subject.told.surge, own)


def _modes(subject: Subject) -> list[dict[str, Any]]:
    title = "Why leaks were not stopped in time"
    if not closes(subject.values):
        told = "Nothing fitted closes the valve: each leak runs until a person stops it."
        return [{"kind": "list", "title": title, "items": [told]}]
    modes = [m for m in subject.told.modes if m.mode != "none" and m.leaks.value > 0.0]
    if not modes:
        told = (
            "In the simulation automation stopped every leak in time."
            if subject.leaks
            else "No leak was simulated."
        )
        return [{"kind": "list", "title": title, "items": [told]}]
    currency = subject.assessment.currency
    cured = {removal.mode: removal.reduction for removal in subject.told.removals}
    head = ["first broken link", "share of leaks", "share of damage"]
    if cured:
        head.append(f"risk reduction worth, {currency} a year")
    rows = []
    for one in modes[:_MOST_MODES]:
        row = [one.mode, percent(one.leaks), percent(one.damage_share)]
        if cured:
            row.append(money_range(cured[one.mode]) if one.mode in cured else "–")
        rows.append(row)
    left = len(modes) - len(rows)
    more = f" {left} rarer {'mode is' if left == 1 else 'modes are'} left out." if left else ""
    note = (
        "The first broken link from the water to the shut valve, over leaks that automation did "
        "not stop in time. Risk reduction worth: expected damage saved if that link could not "
        f"break.{more}"
    )
    return [table(title, head, rows, note)]


def _evidence(subject: Subject) -> list[str]:
    demand = subject.told.demand
    counted = [
        f"{demand.values_by_label[label]} {_LABELS.get(label, label)}"
        for label in (YOURS, *EVIDENCE)
        if label in demand.values_by_label
    ]
    told = [f"Values in use: {', '.join(counted)}."] if counted else []
    # Those of other designs begin with a name.
    general = [text for text in subject.assessment.warnings if not text.startswith("“")]
    warnings = [*subject.result.warnings, *general]
    return told + [sentence(text) for text in (demand.evidence, *warnings[:2]) if text]
