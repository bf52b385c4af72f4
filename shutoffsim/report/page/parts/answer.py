"""The question, the answer, and the designs side by side."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from shutoffsim.report.page import cells, figures
from shutoffsim.report.page.blocks import Block, Cell, Folded, Picture, Section, Table, Tiles, Words
from shutoffsim.report.page.cells import Designs
from shutoffsim.report.page.drawing import picture
from shutoffsim.report.verdict import verdict
from shutoffsim.report.worlds import known
from shutoffsim.study.comparison import FIGURES
from shutoffsim.study.digits import amount

if TYPE_CHECKING:
    from shutoffsim.study.assessment.result import Assessment
    from shutoffsim.study.comparison import DesignResult


def answer(found: Assessment, designs: Designs) -> Section:
    """Return question, answer, the figures that matter most, and what to be careful of."""
    blocks: list[Block] = [
        Words(found.question),
        Words(found.answer, "answer"),
        Tiles(_tiles(found)),
        *([_reduction_picture(found, designs)] if len(found.designs) > 1 else []),
        *(Words(text) for text in (known(found.comparison), _meant(found)) if text),
        *(Words(text, "caution") for text in found.warnings),
    ]
    return Section("answer", "The question and the answer", blocks)


def _meant(found: Assessment) -> str:
    """Return whom the best design helps, how often, and at what cost."""
    return " ".join(verdict(found.comparison)) if found.chosen == found.comparison.best else ""


def _tiles(found: Assessment) -> Sequence[tuple[str, str, str]]:
    """Return who saves what, what it costs, and how far off that may be."""
    total = next((step for step in found.comparison.totals if step.design == found.chosen), None)
    if total is None:
        damage = found.comparison.designs[0].expected_annual_damage
        value = f"{cells.said(damage)} {found.currency}"
        return [("Expected annual damage", value, cells.interval(damage))]

    def tile(words: str, e: cells.Estimate) -> tuple[str, str, str]:
        return words, f"{cells.said(e)} {found.currency}", cells.interval(e)

    cost = total.cost_per_year
    tiles = [
        tile("The owner saves a year", total.owner_saving),
        tile("The insurer saves a year", total.insurer_saving),
        ("It costs a year", "not stated", "") if cost is None else tile("It costs a year", cost),
    ]
    far = _far(found, found.chosen)
    if far is not None:
        tiles.append(
            (
                "Saved in all a year, given what nobody knows",
                f"{amount(far[0], 1.0)} to {amount(far[1], 1.0)} {found.currency}",
                "in nine worlds of ten",
            )
        )
    else:
        tiles.append(tile("Saved in all a year", total.saving))
    return tiles


def _far(found: Assessment, name: str) -> tuple[float, float] | None:
    """Return the range of a design's reduction over nine worlds in ten; None: not asked for."""
    worlds = found.comparison.worlds
    each = next((d for d in worlds.designs if d.name == name), None) if worlds else None
    if each is None or each.difference is None:
        return None
    return -each.difference.p95, -each.difference.p5


def _reduction_picture(found: Assessment, designs: Designs) -> Picture:
    """Return the picture of what each design saves: chance thick, what nobody knows thin."""
    names = [name for name in designs.rows if name != found.reference]
    rows = [
        replace(designs.range(name, _reduction(found, name)), far=_far(found, name))
        for name in names
    ]
    steps = found.comparison.steps
    table = Table(
        f"Reduction of expected annual damage, {found.currency}",
        ["design", "reduction", "nine worlds in ten"],
        [
            [designs.cell(name), cells.number(_reduction(found, name)), _far_cell(found, name)]
            for name in designs.names
            if name != found.reference
        ],
    )
    told = ""
    if steps:
        most = max(steps, key=lambda step: step.saving.value)
        told = (
            f"The step that saves most is “{most.design}” against “{most.against}”: "
            f"{cells.said(most.saving)} {found.currency} a year."
        )
    return picture(
        "figure-reduction",
        f"What each design saves a year against “{found.reference}”",
        told,
        figures.ranges(rows, f"reduction of expected annual damage, {found.currency}", line_at=0.0),
        table,
        (),
        f"{designs.left_out(designs.rows)}Mark: estimate. Thick bar: 95 % interval of the "
        "simulation. Thin line: nine worlds in ten, given what nobody knows.",
    )


def _reduction(found: Assessment, name: str) -> cells.Estimate:
    gap = next(d for d in found.comparison.differences if d.design == name)
    return -gap.expected_annual_damage


def _far_cell(found: Assessment, name: str) -> Cell:
    far = _far(found, name)
    return cells.plain(
        cells.NONE if far is None else f"{amount(far[0], 1.0)} to {amount(far[1], 1.0)}"
    )


def _steps(found: Assessment, designs: Designs) -> Table:
    """Return what each step saves, whom, and what it costs."""
    return Table(
        f"What each step saves, costs and leaves, {found.currency} a year",
        ["step", "against", "saves", "owner's part", "insurer's part", "costs", "net"],
        [
            [
                designs.cell(step.design),
                Cell(step.against),
                cells.number(step.saving),
                cells.number(step.owner_saving),
                cells.number(step.insurer_saving),
                cells.number(step.cost_per_year),
                cells.number(step.net_per_year, strong=step.design == found.chosen),
            ]
            for step in found.comparison.steps
        ],
    )


def side_by_side(found: Assessment, designs: Designs) -> Section:
    """Return what each step saves, and how the designs behave."""
    blocks: list[Block] = [
        *([_steps(found, designs)] if found.comparison.steps else []),
        _behaviour(found, designs),
        *_shares(found, designs),
        Folded(
            "Damage of each design, and reduction against the reference", [_money(found, designs)]
        ),
    ]
    told = [(d.name, d.description) for d in found.designs if d.description]
    if told:
        rows = [[designs.cell(name), cells.Cell(text)] for name, text in told]
        blocks.append(Table("What the designs are", ["design", "description"], rows, wide=True))
    blocks.append(
        Words(
            "Intervals are 95 % intervals of the simulation: they cover chance in leaks, outages, "
            "failures and people, but not what nobody knows.",
            "note",
        )
    )
    return Section("designs", "The designs side by side", blocks)


def _shares(found: Assessment, designs: Designs) -> Iterator[Table]:
    """Yield what a fitting test shows and what takes the water away; what never happens is out."""
    columns = [
        (head, of, name, show)
        for of, head, show in (
            ("fitting_test", "fitting test: {}", cells.share),
            ("hours_without_water_by_cause", "hours without water a year: {}", cells.number),
        )
        for name in dict.fromkeys(
            name
            for design in found.comparison.designs
            for name, e in getattr(design, of).items()
            if e.value
        )
    ]
    rows = [
        [designs.cell(d.name), *(show(getattr(d, of).get(name)) for _, of, name, show in columns)]
        for d in found.comparison.designs
        if any(getattr(d, of) for _, of, _, _ in columns)
    ]
    if rows:
        heads = ["design", *(head.format(name) for head, _, name, _ in columns)]
        yield Table("What a fitting test shows, and what takes the water away", heads, rows)


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
    classes = sorted(set(evidence.values()))
    rows = [
        [
            designs.cell(design.name, evidence[design.name] if len(classes) > 1 else ""),
            *_figures(design),
            cells.number(design.escaped_volume_l["median"]),
            cells.number(design.escaped_volume_l["p95"]),
        ]
        for design in found.comparison.designs
    ]
    heads = [
        "design",
        *(figure.label for figure in FIGURES.values() if figure.label),
        "escaped volume, L: median",
        "escaped volume, L: 95th percentile",
    ]
    known = f"; all {classes[0]}" if len(classes) == 1 else ""
    return Table(f"How often it fails, and what escapes{known}", heads, rows)


def _figures(design: DesignResult) -> Iterator[Cell]:
    """Yield every figure with a label."""
    for name, figure in FIGURES.items():
        if figure.label:
            show = cells.share if figure.unit == "1" else cells.number
            yield show(getattr(design, name))
