"""Every value of every design once, with where it comes from and where it has an effect."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from shutoffsim.estimate import tally as T
from shutoffsim.estimate.tally import Tally
from shutoffsim.scenario.entries import Entry, words
from shutoffsim.scenario.ledger import in_use
from shutoffsim.scenario.library import WEAK
from shutoffsim.study.assessment.loss_parts import FailureEvidence
from shutoffsim.study.assessment.result import UsedValue

if TYPE_CHECKING:
    from shutoffsim.scenario import Scenario


def collect_values(scenario: Scenario, names: Sequence[str]) -> tuple[UsedValue, ...]:
    """Return the values of the designs; equal ones are listed once, with their designs."""
    found: dict[Any, tuple[Entry, list[str], list[str]]] = {}
    for name in names:
        design = scenario.design(name)
        for path, entry in design.entries.items():
            alike = (path, words(entry.written), entry.source, entry.evidence)
            _, holders, users = found.setdefault(alike, (entry, [], []))
            holders.append(name)
            if in_use(path, design.system):
                users.append(name)
    return tuple(
        UsedValue(
            *(entry.path, entry.written, entry.dimension),
            *(entry.source, entry.evidence, entry.drives),
            tuple(holders),
            tuple(users),
        )
        for entry, holders, users in found.values()
    )


def failure_on_demand(
    tally: Tally, d: int, name: str, values: Sequence[UsedValue]
) -> FailureEvidence:
    """Return the probability of failure on demand with the evidence that it rests on.

    Parameters
    ----------
    tally : Tally
        Of the comparison.
    d, name : int, str
        The design.
    values : sequence of UsedValue
        Of all designs.
    """
    labels = Counter(value.evidence for value in values if name in value.used_in)
    weak = sum(labels[label] for label in WEAK) / max(labels.total(), 1)
    return FailureEvidence(
        probability=tally.share(d, T.FAILED),
        leaks_per_year=tally.mean(d, T.LEAKS, 0.0),
        failures_per_year=tally.mean(d, T.FAILED, 0.0),
        evidence_class="simulated, not proven",
        evidence=(
            f"Simulated from {labels.total()} values, of which {weak:.0%} rest on an assumption or "
            "on memory. No field data of this installation, no test and no certificate stand "
            "behind it; the interval covers only chance in the simulation."
        ),
        values_by_label=dict(labels.most_common()),
        assumed_share=weak,
    )
