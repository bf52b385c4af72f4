"""Torque: what the valve needs, and what the drive gives."""

from __future__ import annotations

from typing import TYPE_CHECKING

from shutoffsim.report.page import cells, figures
from shutoffsim.report.page.blocks import Block, Picture, Section, Table, Words
from shutoffsim.report.page.cells import Designs
from shutoffsim.report.page.drawing import picture
from shutoffsim.report.text import chance, torque_text

if TYPE_CHECKING:
    from shutoffsim.study.assessment.result import Assessment
    from shutoffsim.study.assessment.upkeep_parts import TorqueAt


def torque(found: Assessment, designs: Designs) -> Section:
    """Return the torque margin, now and at the end of the service life."""
    title = "Torque margin"
    groups = _alike(found)
    if not groups:
        return Section("torque", title, [Words("No motor turns the valve in these designs.")])
    blocks: list[Block] = [
        Words(
            "A drive that closes the valve on the day it is fitted may stall on the same valve "
            "years later, idle for months, on a weak supply. Valves that have seized cannot be "
            "turned by any drive; more torque does not help, and may break the stem."
        ),
        _picture(found, designs, groups),
    ]
    return Section("torque", title, blocks)


def _alike(found: Assessment) -> list[tuple[tuple[str, ...], tuple[TorqueAt, ...]]]:
    """Return designs that share all figures of torque together."""
    groups: dict[tuple[TorqueAt, ...], tuple[str, ...]] = {}
    for design in found.designs:
        if design.torque:
            groups[design.torque] = (*groups.get(design.torque, ()), design.name)
    return [(names, rows) for rows, names in groups.items()]


def _picture(
    found: Assessment,
    designs: Designs,
    groups: list[tuple[tuple[str, ...], tuple[TorqueAt, ...]]],
) -> Picture:
    drawn, rows = [], []
    for names, ages in groups:
        letters = designs.letters(names)
        for at in ages:
            when = "when fitted" if at.years == 0.0 else f"after {at.years:.3g} years"
            drawn.append((f"{letters}, {when}", at))
            rows.append(
                [
                    cells.Cell(letters, when),
                    _torque(at.needed_median_n_m),
                    _torque(at.needed_p95_n_m),
                    _torque(at.needed_p99_n_m),
                    _torque(at.available_supply_n_m),
                    _torque(at.available_battery_n_m),
                    _torque(at.available_weak_n_m),
                    cells.plain(chance(at.short)),
                    cells.plain(chance(at.seized)),
                ]
            )
    heads = [
        "design",
        "needed, N·m: median",
        "needed, 95 % of demands",
        "needed, 99 % of demands",
        "available, N·m: supply",
        "battery",
        "weak unit, weaker source",
        "probability that torque falls short",
        "seized",
    ]
    names, ages = next((group for group in groups if found.chosen in group[0]), groups[-1])
    name = found.chosen if found.chosen in names else names[-1]
    told = _told(name, ages[-1])
    title = "Torque needed and torque available"
    return picture(
        "figure-torque",
        title,
        told,
        figures.headroom(drawn),
        Table(title, heads, rows),
        tuple(designs.cell(name) for group, _ in groups for name in group),
        "Bar: torque needed to close, from the median to the value that 99 % of demands stay "
        "below; tick: 95 %. Diamond: available from a median unit on the supply. Triangle: from a "
        "weak unit on the weaker source. The triangle should stand to the right of the bar.",
    )


def _told(name: str, at: TorqueAt) -> str:
    start = "At the end of the service life"
    if at.needed_median_n_m is None or at.needed_p99_n_m is None:
        return f"{start} of “{name}” no valve can be turned: all have seized."
    return (
        f"{start} a weak unit of “{name}” gives {torque_text(at.available_weak_n_m)} N·m; half of "
        f"the demands need {torque_text(at.needed_median_n_m)} N·m or less, 99 % "
        f"{torque_text(at.needed_p99_n_m)} N·m or less, seized valves ({chance(at.seized)}) "
        "excluded."
    )


def _torque(value: float | None) -> cells.Cell:
    return cells.plain(cells.NONE if value is None else torque_text(value))
