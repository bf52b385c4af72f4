"""The question, the answer, and the designs side by side."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from shutoffsim.report.page import cells, figures
from shutoffsim.report.page.blocks import Block, Cell, Picture, Section, Table, Tiles, Words
from shutoffsim.report.page.cells import Designs
from shutoffsim.report.page.drawing import picture
from shutoffsim.report.verdict import verdict
from shutoffsim.report.worlds import known
from shutoffsim.study.comparison import FIGURES

if TYPE_CHECKING:
    from shutoffsim.study.assessment.result import Assessment
    from shutoffsim.study.comparison import DesignResult


def answer(found: Assessment, _designs: Designs) -> Section:
    """Return question, answer, the figures that matter most, and what to be careful of."""
    blocks: list[Block] = [
        Words(found.question),
        Words(found.answer, "answer"),
        *(Words(text) for text in (known(found.comparison), _meant(found)) if text),
        Tiles(_tiles(found)),
        *(Words(text, "caution") for text in found.warnings),
        Words(
            "Intervals are 95 % intervals of the simulation: they cover chance in leaks, outages, "
            "failures and people, but not what nobody knows. Numbers show no more digits than "
            "their intervals support.",
            "note",
        ),
    ]
    return Section("answer", "The question and the answer", blocks)


def _meant(found: Assessment) -> str:
    """Return whom the best design helps, how often, and at what cost."""
    return " ".join(verdict(found.comparison)) if found.chosen == found.comparison.best else ""


def _tiles(found: Assessment) -> Sequence[tuple[str, str, str]]:
    by_name = {design.name: design for design in found.comparison.designs}

    def tile(words: str, e: cells.Estimate, rest: str = "") -> tuple[str, str, str]:
        return words, f"{cells.said(e)} {found.currency}", f"{cells.interval(e)}{rest}"

    def damage(name: str) -> tuple[str, str, str]:
        return tile(f"Expected annual damage, “{name}”", by_name[name].expected_annual_damage)

    tiles = [damage(found.chosen)]
    if found.chosen != found.reference:
        before = by_name[found.reference].expected_annual_damage
        gap = _reduction(found, found.chosen)
        part = f"; {100.0 * gap.value / before.value:.0f} % of it" if before.value > 0.0 else ""
        tiles = [damage(found.reference), *tiles, tile("Reduction a year", gap, part)]
    tiles.append(
        (
            f"Failure on demand, “{found.chosen}”",
            cells.percent(by_name[found.chosen].probability_of_failure_on_demand),
            "of leaks are not stopped in time by automation",
        )
    )
    return tiles


def _reduction(found: Assessment, name: str) -> cells.Estimate:
    gap = next(d for d in found.comparison.differences if d.design == name)
    return -gap.expected_annual_damage


def side_by_side(found: Assessment, designs: Designs) -> Section:
    """Return the designs' damage with paired differences, and how they behave."""
    blocks: list[Block] = [_damage_picture(found, designs), _money(found, designs)]
    blocks.append(_behaviour(found, designs))
    told = [(d.name, d.description) for d in found.designs if d.description]
    if told:
        rows = [[designs.cell(name), cells.Cell(text)] for name, text in told]
        blocks.append(Table("What the designs are", ["design", "description"], rows, wide=True))
    return Section("designs", "The designs side by side", blocks)


def _damage_picture(found: Assessment, designs: Designs) -> Picture:
    by_name = {design.name: design.expected_annual_damage for design in found.comparison.designs}
    rows = [designs.range(name, by_name[name]) for name in designs.drawn]
    drawing = figures.ranges(
        rows,
        f"expected annual damage, {found.currency}",
        line_at=by_name[found.reference].value if len(rows) > 1 else None,
    )
    least = min(by_name, key=lambda name: by_name[name].value)
    told = (
        f"The lowest expected annual damage is that of “{least}”, {cells.said(by_name[least])} "
        f"{found.currency}; “{found.reference}” has {cells.said(by_name[found.reference])}."
    )
    table = Table(
        f"Expected annual damage by design, {found.currency}",
        ["design", "expected annual damage", "insured part"],
        [
            [
                designs.cell(design.name),
                cells.number(design.expected_annual_damage),
                cells.number(design.insured_annual_damage),
            ]
            for design in found.comparison.designs
        ],
    )
    title = "Expected annual damage of each design"
    dotted = " Dotted line: the reference." if len(rows) > 1 else ""
    return picture(
        "figure-damage",
        title,
        told,
        drawing,
        table,
        designs.keys(),
        f"{designs.left_out()}Mark: estimate. Bar: 95 % interval.{dotted}",
    )


def _money(found: Assessment, designs: Designs) -> Table:
    gaps = {gap.design: gap for gap in found.comparison.differences}
    rows = []
    for design in found.comparison.designs:
        row = [
            designs.cell(design.name, "reference" if design.name == found.reference else ""),
            cells.number(design.expected_annual_damage, strong=design.name == found.chosen),
        ]
        if gaps:
            gap = gaps.get(design.name)
            row += (
                [cells.plain(cells.NONE), cells.plain(cells.NONE)]
                if gap is None
                else [
                    cells.number(-gap.expected_annual_damage),
                    cells.likely(gap),
                ]
            )
        row += [cells.number(design.insured_annual_damage), cells.number(design.leaks_per_year)]
        rows.append(row)
    heads = ["design", f"expected annual damage, {found.currency}"]
    if gaps:
        heads += [f"reduction a year, {found.currency}", "probability of improvement"]
    heads += [f"insured part a year, {found.currency}", "leaks a year"]
    caption = "Damage, and reduction against the reference, paired history by history"
    return Table(caption if gaps else "Damage", heads, rows)


def _behaviour(found: Assessment, designs: Designs) -> Table:
    evidence = {d.name: d.demand.evidence_class for d in found.designs}
    rows = [
        [
            designs.cell(design.name),
            *_figures(design),
            cells.number(design.escaped_volume_l["median"]),
            cells.number(design.escaped_volume_l["p95"]),
            cells.Cell(evidence[design.name]),
        ]
        for design in found.comparison.designs
    ]
    heads = [
        "design",
        *(figure.label for figure in FIGURES.values() if figure.label),
        "escaped volume, L: median",
        "escaped volume, L: 95th percentile",
        "evidence for failure on demand",
    ]
    return Table("How often it fails, and what escapes", heads, rows)


def _figures(design: DesignResult) -> Iterator[Cell]:
    """Yield every figure with a label."""
    for name, figure in FIGURES.items():
        if figure.label:
            show = cells.share if figure.unit == "1" else cells.number
            yield show(getattr(design, name))
