"""What a design costs and what it saves."""

from __future__ import annotations

from typing import TYPE_CHECKING

from shutoffsim.report.page import cells, figures
from shutoffsim.report.page.blocks import Block, Folded, Picture, Points, Section, Table, Words
from shutoffsim.report.page.cells import Designs
from shutoffsim.report.page.drawing import picture

if TYPE_CHECKING:
    from shutoffsim.study.assessment.loss_parts import Payback, Worth
    from shutoffsim.study.assessment.result import Assessment, DesignAssessment


def worth(found: Assessment, designs: Designs) -> Section:
    """Return costs, savings, present value and payback of each design."""
    valued = [(design, design.worth) for design in found.designs if design.worth is not None]
    blocks: list[Block] = []
    if valued:
        terms = valued[0][1]
        blocks += [
            Words(
                f"Against “{found.reference}”, over {terms.years:g} years, with later amounts "
                f"discounted by {100.0 * terms.discount_rate:.3g} % a year. Intervals come from "
                "the paired difference in damage; prices are treated as exact."
            ),
            _picture(found, designs, valued),
            Folded(
                "What each design saves and costs",
                [_savings(found, designs, valued), _costs(found, designs, valued)],
            ),
        ]
    reasons = [
        f"“{design.name}”: {design.no_worth}"
        for design in found.designs
        if design.no_worth and design.name != found.reference
    ]
    if reasons:
        blocks.append(Points(reasons, title="Not valued"))
    if not blocks:
        blocks.append(Words(found.designs[0].no_worth or "There is nothing to compare with."))
    return Section("worth", "Cost and benefit", blocks)


def _picture(
    found: Assessment, designs: Designs, valued: list[tuple[DesignAssessment, Worth]]
) -> Picture:
    rows = [
        designs.range(design.name, found_worth.net_present_value)
        for design, found_worth in valued
        if design.name in designs.rows
    ]
    drawing = figures.ranges(rows, f"net present value, {found.currency}", line_at=0.0)
    best, value = max(valued, key=lambda pair: pair[1].net_present_value.value)
    told = (
        f"The highest net present value is that of “{best.name}”: "
        f"{cells.said(value.net_present_value)} {found.currency}."
    )
    title = "Net present value of each design"
    table = Table(
        f"Net present value, {found.currency}",
        ["design", "whole saving", "owner's part only"],
        [
            [
                designs.cell(design.name),
                cells.number(found_worth.net_present_value),
                cells.number(found_worth.own_net_present_value),
            ]
            for design, found_worth in valued
        ],
    )
    return picture(
        "figure-worth",
        title,
        told,
        drawing,
        table,
        (),
        f"{designs.left_out(designs.rows)}Mark: estimate. Bar: 95 % interval. To the right of "
        "zero the design pays for itself, counting all losses, insured or not.",
    )


def _costs(
    found: Assessment, designs: Designs, valued: list[tuple[DesignAssessment, Worth]]
) -> Table:
    rows = []
    for design, w in valued:
        missing = ", ".join(w.not_stated).replace("_", " ")
        rows.append(
            [
                designs.cell(design.name, f"not stated: {missing}" if missing else ""),
                cells.plain(cells.money(w.purchase)),
                cells.plain(cells.money(w.fitting)),
                cells.plain(cells.money(w.upkeep_per_year)),
                cells.plain(cells.money(w.exercise_per_year)),
                cells.plain(cells.money(w.repairs_per_year)),
                cells.plain(cells.money(w.extra_first)),
                cells.plain(cells.money(w.extra_per_year)),
            ]
        )
    heads = [
        "design",
        "purchase",
        "fitting",
        "upkeep a year",
        "exercise a year",
        "repairs a year",
        "extra initial cost over the reference",
        "and yearly",
    ]
    return Table(f"What it costs, {found.currency}", heads, rows)


def _savings(
    found: Assessment, designs: Designs, valued: list[tuple[DesignAssessment, Worth]]
) -> Table:
    rows = [
        [
            designs.cell(design.name),
            cells.number(w.saving_per_year),
            cells.number(w.insured_saving_per_year),
            cells.number(w.own_saving_per_year),
            cells.number(w.net_present_value, strong=design.name == found.chosen),
            cells.number(w.own_net_present_value),
            cells.number(w.worth_up_to),
            _payback(w.payback),
            _payback(w.discounted_payback),
        ]
        for design, w in valued
    ]
    heads = [
        "design",
        "saving a year",
        "insurer's part",
        "owner's part",
        "net present value",
        "the same, owner's part only",
        "break-even price",
        "payback, years",
        "discounted payback, years",
    ]
    return Table(f"What it saves, {found.currency}", heads, rows)


def _payback(found: Payback) -> cells.Cell:
    if found.years is None:
        return cells.plain("never")
    low, high = cells.years(found.low), cells.years(found.high)
    return cells.plain(cells.years(found.years), f"{low} to {high}" if low != high else "")
