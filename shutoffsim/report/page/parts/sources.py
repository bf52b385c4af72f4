"""Cautions and limits, what the figures rest on, and how to do it again."""

from __future__ import annotations

from typing import TYPE_CHECKING

from shutoffsim.report import wording
from shutoffsim.report.page.blocks import (
    Block,
    Cell,
    Code,
    Facts,
    Points,
    Section,
    Table,
    Words,
)
from shutoffsim.report.page.cells import Designs
from shutoffsim.report.summary.values import Values
from shutoffsim.study.cautions import fitting

if TYPE_CHECKING:
    from shutoffsim.study.assessment.result import Assessment

#: Labels from the weakest to the strongest, and what they mean.
LABELS = {
    "assumption": "no data were found",
    "from memory": "not checked against a document",
    "common practice": "trade knowledge",
    "secondary": "read in a page that quotes the source",
    "published": "read in the source itself",
    "your scenario": "written in the scenario file",
}


def cautions(found: Assessment, _designs: Designs) -> Section:
    """Return what must be heeded, what can still go wrong, and what the figures leave out."""
    chosen = found.design(found.chosen)
    result = next(d for d in found.comparison.designs if d.name == chosen.name)
    shares = {mode.mode: mode.leaks.value for mode in chosen.modes}
    values = Values(found.ledger(found.chosen, used=True))
    risks = wording.residual_risks(values, shares)
    own = fitting(chosen.surge, result if wording.closes(values) else None)
    blocks: list[Block] = [Points(own, title="Cautions")]
    if risks:
        blocks.append(
            Points(
                [f"{what}. Rarer with: {remedy}." for what, remedy in risks],
                title=f"Residual risks with “{chosen.name}”",
            )
        )
    blocks.append(Points(wording.NOT_COVERED, title="What the figures do not cover"))
    return Section("cautions", "Cautions and limits", blocks)


def sources(found: Assessment, _designs: Designs) -> Section:
    """Return how well founded the values in use are, and where they are listed."""
    used = [value for value in found.values if value.used_in]
    demand = found.design(found.chosen).demand
    counts = [(label, str(demand.values_by_label.get(label, 0))) for label in LABELS]
    blocks: list[Block] = [
        Words(f"“{found.chosen}”: {demand.evidence}"),
        Table(
            f"Values in use in “{found.chosen}” by label",
            ["label", "values", "meaning"],
            [
                [Cell(label), Cell(number, kind="number"), Cell(LABELS[label])]
                for label, number in counts
            ],
        ),
    ]
    blocks.append(
        Words(
            f"Each of the {len(used)} values in use, with its source, is in the table that "
            "“shutoffsim check FILE --csv values.csv” writes, and in assessment.json of a saved "
            "result. Those that move the answer most are above."
        )
    )
    return Section("sources", "What the figures rest on", blocks)


def again(found: Assessment, _designs: Designs) -> Section:
    """Return what is needed to compute the same again."""
    blocks: list[Block] = [
        Words("The same command, program version and scenario file give the same figures:"),
        Code(found.command),
        Facts(
            (
                ("Scenario", f"“{found.scenario}”, content {found.scenario_hash}"),
                ("Program", f"shutoffsim {found.version}"),
                (
                    "Simulation",
                    f"{found.histories:,} histories of {found.horizon_years:g} years for each "
                    f"design, {found.probes} probes each, seed {found.seed}",
                ),
                ("Currency", found.currency),
            )
        ),
    ]
    return Section("again", "How to reproduce this", blocks)
