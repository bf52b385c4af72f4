"""Which assumptions move the answer most."""

from __future__ import annotations

from typing import TYPE_CHECKING

from shutoffsim.report.page import cells, figures
from shutoffsim.report.page.blocks import (
    Block,
    Cell,
    Folded,
    Picture,
    Points,
    Section,
    Table,
    Words,
)
from shutoffsim.report.page.cells import Designs
from shutoffsim.report.page.drawing import picture
from shutoffsim.report.summary.letters import short
from shutoffsim.study.digits import amount

if TYPE_CHECKING:
    from shutoffsim.study.assessment.result import Assessment, Sensitivity, Swing

_MOST = 12


def doubt(found: Assessment, _designs: Designs) -> Section:
    """Return the assumptions by how far the reduction moves over each one's range."""
    title = "Which assumptions move the answer most"
    sensitivity = found.sensitivity
    if sensitivity is None:
        text = (
            "This was not computed."
            if len(found.designs) > 1 and found.chosen != found.reference
            else "There is no difference between two designs to vary."
        )
        return Section("doubt", title, [Words(text)])
    swings = sensitivity.swings[:_MOST]
    blocks: list[Block] = [
        Words(
            f"The reduction by “{sensitivity.design}” against “{sensitivity.reference}”, "
            "recomputed with one value at a time moved to the ends of its range, "
            f"{sensitivity.tried} values in all, each on the same {sensitivity.histories:,} "
            "histories. Measure the values at the top first."
        )
    ]
    if swings:
        blocks.append(_picture(found, sensitivity, swings))
        blocks.append(
            Folded("The values, their ranges and what they change", [_table(found, swings)])
        )
    else:
        blocks.append(Words("No assumption in use could be varied."))
    blocks.append(Folded("How the ranges were made", [Points(sensitivity.rules)]))
    if sensitivity.not_varied:
        rows = [f"{key}: {why}" for key, why in sensitivity.not_varied.items()]
        blocks.append(Folded(f"Not varied: {len(rows)} values", [Points(rows)]))
    return Section("doubt", title, blocks)


def _picture(found: Assessment, sensitivity: Sensitivity, swings: tuple[Swing, ...]) -> Picture:
    base = 0.0 - sensitivity.base.value
    drawn = [
        (
            _row_name(swing),
            0.0 - swing.at_low.value,
            0.0 - swing.at_high.value,
            amount(swing.span, _error(swing)),
        )
        for swing in swings
    ]
    drawing = figures.tornado(drawn, base, f"reduction of damage, {found.currency} a year")
    first = swings[0]
    told = (
        f"As assumed, the reduction is {cells.said(-sensitivity.base)} "
        f"{found.currency} a year with these histories. It moves most with {_in_words(first)}: "
        f"{cells.said(-first.at_low)} at {first.low}, "
        f"{cells.said(-first.at_high)} at {first.high}."
    )
    title = "Reduction over the range of each assumption"
    rows = [
        [
            Cell(_in_words(swing), swing.key),
            cells.number(-swing.at_low),
            cells.number(-swing.at_high),
            cells.plain(amount(swing.span, _error(swing))),
        ]
        for swing in swings
    ]
    heads = ["value", "reduction at its low end", "at its high end", "span"]
    return picture(
        "figure-doubt",
        title,
        told,
        drawing,
        Table(f"Reduction of damage, {found.currency} a year", heads, rows),
        (),
        "Triangle pointing left: value at its "
        "low end; right: at its high end. Line: as assumed. On the right: the swing.",
    )


def _in_words(swing: Swing) -> str:
    """Return what a value is, in words: what it is of, and what it is."""
    section, *_, last = swing.key.split(".")
    return f"{', '.join(swing.entries) or section}: {last}".replace("_", " ")


def _row_name(swing: Swing) -> str:
    more = f" +{len(swing.entries) - 1}" if len(swing.entries) > 1 else ""
    last = swing.key.rsplit(".", 1)[-1].replace("_", " ")
    of = (swing.entries or (swing.key.split(".")[0].replace("_", " "),))[0]
    return f"{short(of, cells.ROW_NAME - len(more))}{more}: {last}"


def _error(swing: Swing) -> float:
    return max(swing.change_at_low.error, swing.change_at_high.error)


def _table(found: Assessment, swings: tuple[Swing, ...]) -> Table:
    rows = []
    for swing in swings:
        rows.append(
            [
                Cell(_in_words(swing), swing.key),
                Cell(swing.value, swing.evidence),
                Cell(swing.low),
                cells.number(-swing.change_at_low),
                Cell(swing.high),
                cells.number(-swing.change_at_high),
            ]
        )
    heads = [
        "value",
        "in use",
        "low end",
        "changes the reduction by",
        "high end",
        "changes the reduction by",
    ]
    return Table(
        f"The values, their ranges, and the change of the reduction, {found.currency} a year",
        heads,
        rows,
    )
