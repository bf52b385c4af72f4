"""Why leaks were not stopped in time, and how long it took to stop them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from shutoffsim.report.modes import MODES
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
from shutoffsim.study.words import duration

if TYPE_CHECKING:
    from shutoffsim.study.assessment.loss_parts import Times
    from shutoffsim.study.assessment.result import Assessment, DesignAssessment

_WHY = "Why leaks were not stopped in time"
STOPPED = "stopped in time"  # what the mode "none" is called here
_MOST_BARS = 10
_MOST_ROWS = 6
_TICKS = (
    (1.0, "1 s"),
    (60.0, "1 min"),
    (3600.0, "1 h"),
    (86400.0, "1 day"),
    (30 * 86400.0, "30 days"),
)
_SHOWN_UNTIL = 60 * 86400.0
_GRID_ROWS = 14


def modes(found: Assessment, designs: Designs) -> Section:
    """Return the failure modes by design, and the risk reduction worth of each."""
    chosen = found.design(found.chosen)
    blocks: list[Block] = [
        Words(
            "Each leak that automation did not stop in time is counted under the first broken link "
            "of the chain from the water to the shut valve. Leaks that were stopped in time do "
            "some damage too. Risk reduction worth: how much lower the expected annual damage "
            "would be if that failure mode could not occur."
        )
    ]
    if not chosen.modes:
        blocks.append(Words("There were no leaks."))
        return Section("modes", _WHY, blocks)
    blocks += [
        _mode_picture(found, designs, chosen),
        _removal_table(found, chosen, _MOST_ROWS),
        Folded(
            "All failure modes, and the same by design",
            [_removal_table(found, chosen), _all_modes(found, designs)],
        ),
    ]
    if chosen.not_removable:
        rows = [f"{_named(mode)}: {why}" for mode, why in chosen.not_removable.items()]
        title = "Failure modes without a risk reduction worth"
        blocks.append(Folded(title, [Points(rows)]))
    others = [design for design in found.designs if design is not chosen and design.removals]
    if others:
        tables = [_removal_table(found, design) for design in others]
        blocks.append(Folded("The same for the other designs", tables))
    return Section("modes", _WHY, blocks)


def _named(mode: str) -> str:
    return STOPPED if mode == "none" else mode


def _mode_picture(found: Assessment, designs: Designs, chosen: DesignAssessment) -> Picture:
    removals = {removal.mode: removal.reduction.value for removal in chosen.removals}
    shown = chosen.modes[:_MOST_BARS]
    rows = [
        (_named(m.mode), m.damage.value, removals.get(m.mode), cells.said(m.damage)) for m in shown
    ]
    drawing = figures.bars(rows, f"expected annual damage, {found.currency}")
    broken = [m for m in chosen.modes if m.mode != "none" and m.damage.value > 0.0]
    told = f"With “{chosen.name}”, all damage comes from leaks that were stopped in time."
    if broken:
        first = broken[0]
        told = (
            f"With “{chosen.name}”, the costliest broken link is “{first.mode}”: "
            f"{cells.said(first.damage)} {found.currency} a year, "
            f"{cells.said(first.damage_share, 100.0)} % of all damage."
        )
    title = "Damage by first broken link"
    rest = len(chosen.modes) - len(shown)
    note = "Bar and number: damage of the leaks in this mode. Diamond: its risk reduction worth, "
    note += "which is smaller where another link would then break instead."
    table = Table(
        f"Damage by first broken link, {found.currency} a year",
        ["failure mode", "damage a year", "risk reduction worth"],
        [
            [
                Cell(_named(m.mode)),
                cells.number(m.damage),
                cells.number(
                    next((r.reduction for r in chosen.removals if r.mode == m.mode), None)
                ),
            ]
            for m in chosen.modes
        ],
    )
    return picture(
        "figure-modes",
        title,
        told,
        drawing,
        table,
        (designs.cell(chosen.name),),
        f"{note} Smaller ones are in the table only ({rest})." if rest else note,
    )


def _removal_table(found: Assessment, design: DesignAssessment, most: int | None = None) -> Table:
    removals = {removal.mode: removal for removal in design.removals}
    rows = []
    for mode in design.modes[:most]:
        removal = removals.get(mode.mode)
        meaning = MODES.get(mode.mode)
        rows.append(
            [
                Cell(_named(mode.mode), meaning.happened if meaning else ""),
                cells.share(mode.leaks),
                cells.number(mode.damage),
                cells.share(mode.damage_share),
                cells.number(removal.reduction if removal else None),
                Cell(removal.how if removal else ""),
            ]
        )
    heads = [
        "failure mode",
        "share of leaks",
        f"damage a year, {found.currency}",
        "share of damage",
        f"risk reduction worth, {found.currency} a year",
        "how it was removed",
    ]
    which = "Costliest failure" if most is not None and most < len(design.modes) else "Failure"
    return Table(f"{which} modes of “{design.name}”", heads, rows)


def _all_modes(found: Assessment, designs: Designs) -> Table:
    by_design = {d.name: {m.mode: m for m in d.modes} for d in found.designs}
    largest: dict[str, float] = {}
    for mode_by_name in by_design.values():
        for name, mode in mode_by_name.items():
            largest[name] = max(largest.get(name, 0.0), mode.damage.value)
    rows = []
    for name in sorted(largest, key=lambda key: -largest[key]):
        row = [Cell(_named(name))]
        for design in found.designs:
            found_mode = by_design[design.name].get(name)
            row.append(cells.plain("0") if found_mode is None else cells.number(found_mode.damage))
        rows.append(row)
    heads = ["failure mode", *(designs.letter(name) for name in designs.names)]
    return Table(f"Damage by failure mode and design, {found.currency} a year", heads, rows)


def times(found: Assessment, designs: Designs) -> Section:
    """Return how long it takes from the leak to the shut valve."""
    title = "From the leak to the shut valve"
    steps = list(dict.fromkeys(t.step for design in found.designs for t in design.times))
    if not steps:
        return Section("times", title, [Words("There were no leaks to be stopped.")])
    blocks: list[Block] = [_times_picture(found, designs, steps[-1])]
    tables = [_times_table(found, designs, step) for step in steps]
    blocks.append(Folded("How long each step takes, by design", tables))
    return Section("times", title, blocks)


def _of_step(design: DesignAssessment, step: str) -> Times | None:
    return next((t for t in design.times if t.step == step), None)


def _times_picture(found: Assessment, designs: Designs, step: str) -> Picture:
    lines = []
    for name in designs.drawn:
        points = _of_step(found.design(name), step)
        shown = [p for p in points.curve if p.time_s <= _SHOWN_UNTIL] if points else []
        lines.append(designs.line(name, [(point.time_s, point.share) for point in shown]))
    drawing = figures.curves(
        lines, f"time, {step}", "share of all leaks that have reached this step", x_ticks=_TICKS
    )
    title = f"Time from {step}"
    parts = []
    for name in dict.fromkeys((found.reference, found.chosen)):
        points = _of_step(found.design(name), step)
        half = next((q for q in points.quantiles if q.share == 0.5), None) if points else None
        if half is not None:
            within = cells.lasting(half.time_s).text
            parts.append(f"with “{name}” half of all leaks are stopped within {within}")
    told = "Over all leaks: " + "; ".join(parts) + "." if parts else ""
    return picture(
        "figure-times",
        title,
        told,
        drawing,
        _times_grid(found, designs, step),
        designs.keys(),
        f"{designs.left_out()}A curve further to the upper left is better. Shade: 95 % interval.",
    )


def _times_grid(found: Assessment, designs: Designs, step: str) -> Table:
    curves = {
        design.name: points.curve for design in found.designs if (points := _of_step(design, step))
    }
    length = max(map(len, curves.values()), default=0)
    rows = []
    for at in range(0, length, max(1, length // _GRID_ROWS)):
        time_s = next(curve[at].time_s for curve in curves.values())
        row = [cells.plain(duration(time_s))]
        for name in designs.names:
            row.append(cells.share(curves[name][at].share if name in curves else None))
        rows.append(row)
    heads = ["within", *(designs.letter(name) for name in designs.names)]
    return Table(f"Share of all leaks by time, {step}", heads, rows)


def _times_table(found: Assessment, designs: Designs, step: str) -> Table:
    shares = next(
        (
            [q.share for q in points.quantiles]
            for points in (_of_step(design, step) for design in found.designs)
            if points
        ),
        [],
    )
    rows = []
    for design in found.designs:
        points = _of_step(design, step)
        row = [designs.cell(design.name)]
        for share in shares:
            quantiles = points.quantiles if points else ()
            quantile = next((q for q in quantiles if q.share == share), None)
            row.append(
                cells.plain(cells.NONE) if quantile is None else cells.lasting(quantile.time_s)
            )
        row.append(cells.share(points.never if points else None))
        rows.append(row)
    heads = ["design", *(f"{100 * share:g} % within" for share in shares), "never"]
    return Table(step.capitalize(), heads, rows)
