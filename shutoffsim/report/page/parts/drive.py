"""Torque: what the valve needs, and what the drive gives."""

from __future__ import annotations

from typing import TYPE_CHECKING

from shutoffsim.report.page import cells, figures
from shutoffsim.report.page.blocks import Block, Picture, Section, Table, Words
from shutoffsim.report.page.cells import Designs
from shutoffsim.report.page.drawing import picture
from shutoffsim.report.summary.letters import short
from shutoffsim.report.text import chance, torque_text

if TYPE_CHECKING:
    from shutoffsim.study.assessment.result import Assessment
    from shutoffsim.study.assessment.upkeep_parts import TorqueAt


def torque(found: Assessment, _designs: Designs) -> Section:
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
        _picture(found, groups),
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
    groups: list[tuple[tuple[str, ...], tuple[TorqueAt, ...]]],
) -> Picture:
    drawn, rows = [], []
    for names, ages in groups:
        more = f" +{len(names) - 1}" if len(names) > 1 else ""
        row = f"{short(names[0], cells.ROW_NAME - len(more))}{more}"
        for at in ages:
            when = "when fitted" if at.years == 0.0 else f"after {at.years:.3g} years"
            age = "new" if at.years == 0.0 else f"{at.years:.3g} years"
            drawn.append((f"{row}, {age}", at, chance(at.short)))
            rows.append(
                [
                    cells.Cell(", ".join(names), when),
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
    alike = any(len(group) > 1 for group, _ in groups)
    told = _told(name, ages[-1])
    title = "Torque needed and torque available"
    return picture(
        "figure-torque",
        title,
        told,
        figures.headroom(drawn),
        Table(title, heads, rows),
        (),
        "Bar: torque needed to close, from the median to the value that 99 % of demands stay "
        "below; tick: 95 %. Diamond: available from a median unit on the supply. Triangle: from a "
        "weak unit on the weaker source; it should stand to the right of the bar. On the right: "
        "share of demands for which that is too little."
        + (" “+1”: and one more design with the same torque." if alike else ""),
    )


def _told(name: str, at: TorqueAt) -> str:
    if at.needed_median_n_m is None or at.needed_p99_n_m is None:
        return (
            f"At the end of the service life of “{name}” no valve can be turned: all have seized."
        )
    return (
        f"“{name}” is too weak for {chance(at.short)} of demands at the end of the service life. A "
        f"weak unit then gives {torque_text(at.available_weak_n_m)} N·m. Half of the demands need "
        f"{torque_text(at.needed_median_n_m)} N·m or less, nearly all "
        f"{torque_text(at.needed_p99_n_m)} N·m or less. Seized valves, {chance(at.seized)}, are "
        "not counted."
    )


def _torque(value: float | None) -> cells.Cell:
    return cells.plain(cells.NONE if value is None else torque_text(value))
