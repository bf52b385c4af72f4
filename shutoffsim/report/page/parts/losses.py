"""How large a loss, how often."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from shutoffsim.report.page import cells, figures
from shutoffsim.report.page.blocks import Block, Folded, Picture, Section, Table, Words
from shutoffsim.report.page.cells import Designs
from shutoffsim.report.page.drawing import picture

if TYPE_CHECKING:
    from shutoffsim.study.assessment.loss_parts import PeriodLoss
    from shutoffsim.study.assessment.result import Assessment

_RAREST = 1e-3  # yearly probability below which a curve is not drawn


def losses(found: Assessment, designs: Designs) -> Section:
    """Return the exceedance curves, with losses at return periods and tail averages."""
    title = "How large a loss, how often"
    if not any(design.yearly_loss.curve for design in found.designs):
        return Section("losses", title, [Words("No leak of these designs causes a loss.")])
    money = found.currency
    tail, of_sum, of_largest = "(tail average)", "a year's losses", "the largest loss"
    captions: dict[str, Callable[[PeriodLoss], cells.Estimate]] = {
        f"Sum of {of_sum} exceeded at each return period": lambda period: period.aggregate,
        f"Mean of {of_sum} beyond each return period {tail}": lambda period: period.aggregate_tail,
        "Largest loss of a year exceeded at each return period": lambda period: period.occurrence,
        f"Mean of {of_largest} beyond each return period {tail}": (
            lambda period: period.occurrence_tail
        ),
    }
    tables = [_by_period(found, designs, f"{c}, {money}", of) for c, of in captions.items()]
    blocks: list[Block] = [
        _picture(found, designs),
        Folded("Losses once in so many years, and beyond, by design", tables),
    ]
    if any(not p.resolved for design in found.designs for p in design.yearly_loss.periods):
        blocks.insert(
            1,
            Words(
                "“Few leaks” marks figures that rest on so few simulated leaks that their true "
                "uncertainty is larger than the interval shows.",
                "note",
            ),
        )
    return Section("losses", title, blocks)


def _picture(found: Assessment, designs: Designs) -> Picture:
    lines = []
    for name in designs.drawn:
        points = [
            point
            for point in found.design(name).yearly_loss.curve
            if point.loss > 0.0 and point.aggregate.value >= _RAREST
        ]
        lines.append(designs.line(name, [(point.loss, point.aggregate) for point in points]))
    drawing = figures.curves(
        lines,
        f"sum of losses in a year, {found.currency}",
        "yearly probability of more than that",
        y_log=True,
    )
    title = "Yearly probability that a loss is exceeded"
    told = _told(found)
    losses = [point.loss for point in found.designs[0].yearly_loss.curve]
    rows = [
        [
            cells.plain(cells.money(loss)),
            *(cells.share(found.design(n).yearly_loss.curve[at].aggregate) for n in designs.names),
        ]
        for at, loss in enumerate(losses)
    ]
    table = Table(
        "Yearly probability that the sum of a year's losses is above",
        [f"loss, {found.currency}", *(designs.letter(name) for name in designs.names)],
        rows,
    )
    return picture(
        "figure-losses",
        title,
        told,
        drawing,
        table,
        designs.keys(),
        f"{designs.left_out()}Line: sum of a year (aggregate). Shade: 95 % interval. A curve "
        "further to the lower left is better. Both scales are logarithmic.",
    )


def _told(found: Assessment) -> str:
    parts = []
    for name in dict.fromkeys((found.reference, found.chosen)):
        periods = found.design(name).yearly_loss.periods
        if periods:
            last = min(periods, key=lambda period: abs(period.period_years - 100.0))
            years = f"{last.period_years:,g}"
            parts.append(
                f"with “{name}” more than {cells.said(last.aggregate)} {found.currency} once in "
                f"{years} years"
                if last.aggregate.value > 0.0
                else f"with “{name}” nothing, except in at most one year in {years}"
            )
    return f"A year's losses come to: {'; '.join(parts)}." if parts else ""


def _by_period(
    found: Assessment,
    designs: Designs,
    caption: str,
    figure: Callable[[PeriodLoss], cells.Estimate],
) -> Table:
    rows = []
    for design in found.designs:
        row = [designs.cell(design.name)]
        for period in design.yearly_loss.periods:
            cell = cells.number(figure(period))
            if not period.resolved and figure(period).value > 0.0:
                cell = cells.Cell(cell.text, f"{cell.note} (few leaks)".strip(), "number")
            row.append(cell)
        rows.append(row)
    first = found.designs[0].yearly_loss.periods
    heads = ["design", *(f"{period.period_years:,g} years" for period in first)]
    return Table(caption, heads, rows)
