"""The commissioning and maintenance sheet of the chosen design."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from shutoffsim.report import wording
from shutoffsim.report.page.blocks import Block, Cell, Facts, Points, Section, Table, Words
from shutoffsim.report.page.cells import Designs
from shutoffsim.report.summary.values import Values
from shutoffsim.study.words import duration

if TYPE_CHECKING:
    from shutoffsim.study.assessment.result import Assessment
    from shutoffsim.study.assessment.upkeep_parts import Maintenance, ServiceLimits


def upkeep(found: Assessment, _designs: Designs) -> Section:
    """Return what is tested and replaced when, limits for service, and what to do when it fails."""
    name = found.chosen
    values, facts = Values(found.ledger(name, used=True)), found.design(name).maintenance
    blocks: list[Block] = [
        Words(
            f"To hang beside the valve, for “{name}”. The intervals are those assumed in the "
            "figures of this report."
        ),
        Points(
            wording.if_it_does_not_close(values),
            ordered=True,
            title="When water runs and the valve does not shut"
            if wording.closes(values)
            else "When water runs",
        ),
        Facts(wording.WHOM_TO_CALL, "Whom to call"),
        _tasks("When the work is done", wording.commissioning(values)),
        _tasks("From then on", wording.upkeep(values)),
    ]
    if facts.limits is not None:
        blocks.append(_limits(facts.limits))
    if facts.override:
        blocks.append(_override(facts))
    return Section("upkeep", "Commissioning and maintenance sheet", blocks)


def _tasks(caption: str, tasks: Sequence[wording.Task]) -> Table:
    rows = [[Cell(text) for text in task] for task in tasks]
    return Table(caption, ["what", "who", "when", "passed when"], rows, wide=True)


def _limits(limits: ServiceLimits) -> Table:
    rows = [
        [
            Cell("Time to close"),
            Cell(duration(limits.closing_time_s), kind="number"),
            Cell(f"{duration(limits.closing_time_limit_s)} or longer", kind="number"),
        ],
        [
            Cell("Motor current while it turns"),
            Cell(f"{limits.current_a:.2g} A", kind="number"),
            Cell(f"{limits.current_limit_a:.2g} A or more", kind="number"),
        ],
        [
            Cell("Motor current at stall"),
            Cell(f"{limits.stall_current_a:.2g} A", kind="number"),
            Cell("longer than the cut-off time", kind="number"),
        ],
    ]
    share = f"{100.0 * limits.torque_share:.0f} %"
    return Table(
        f"Limits that call for service: the drive then needs {share} of its torque",
        ["measured at each exercise", "to be expected", "call for service at"],
        rows,
    )


def _override(facts: Maintenance) -> Table:
    steps = [*facts.override, *([facts.override_total] if facts.override_total else [])]
    rows = [
        [
            Cell(step.what),
            Cell(duration(step.median_s), kind="number"),
            Cell(duration(step.p90_s), kind="number"),
        ]
        for step in steps
    ]
    return Table(
        "Closing by hand, for a person on site",
        ["step", "half are done within", "nine in ten are done within"],
        rows,
    )
